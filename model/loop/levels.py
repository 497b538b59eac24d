"""Heights in a loop, with the case standing on any of its sides: where ports lie, where air collects, what stays below.

Owns that arithmetic. A part counts by what bounds its coolant best without its inside being known: a pump by its tank,
a radiator by its outside with both tanks, any other by its ports (for air) or its outside (for what stays in it). Tubes
count by their centre line. Leaves verdicts to `checks.coolant`. Millimetres.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from elbowroom.model.build.spec import WALLS
from elbowroom.model.layout.identity import Port
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.loop.hydraulics import Network, ports_at
from elbowroom.model.loop.plumbing import Line
from elbowroom.model.told.findings import Point
from elbowroom.parts.fitting.fitting import Fitting
from elbowroom.parts.tube.tube import TubeRun
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.base import Box
from elbowroom.parts.vocabulary.centre_line import sample
from elbowroom.parts.vocabulary.pose import apply
from elbowroom.parts.water.pump import Pump
from elbowroom.parts.water.radiator import Radiator

LEVEL_MM = 1.0  # heights nearer than this are one: a floor is out of level by more over a case; common practice (P)
CHORD_MM = 0.1  # between a tube's bent centre line and the points it is taken at: a tenth of LEVEL_MM


@dataclass(frozen=True, slots=True, eq=False)
class Stand:
    """A case standing on one of its sides. Heights are counted from that side's inside, or, without a case, from the
    middle of the coordinates."""

    side: str
    up: Floats
    zero: float

    def height(self, point: Point | Floats) -> float:
        return float(self.up @ np.asarray(point)) - self.zero

    def span(self, piece: Piece, box: Box) -> tuple[float, float]:
        """Lowest and highest corner of a box in part coordinates."""
        heights = apply(piece.pose, box.corners()) @ self.up - self.zero
        return float(heights.min()), float(heights.max())


def standing_on(layout: Layout, side: str) -> Stand:
    """The layout's case standing on `side`: a key of `spec.WALLS`."""
    axis, at_high = WALLS[side]
    up = np.zeros(3)
    up[axis] = -1.0 if at_high else 1.0
    inner = layout.interior
    wall = 0.0 if inner is None else (inner.hi if at_high else inner.lo)[axis]
    return Stand(side, up, float(up[axis] * wall))


def seal_middle(layout: Layout, port: Port) -> Floats:
    """The middle of a port's seal face in case coordinates."""
    out: Floats = layout.piece(port.piece).frame_pose(port.frame)[:3, 3]
    return out


def held_in(piece: Piece) -> Box:
    """The box in part coordinates that holds the piece's coolant: a pump's tank, else the part's own extents."""
    part = piece.part
    if not isinstance(part, Pump):
        return part.box()
    low = float(part.housing_height + part.base_height)
    x, y = (part.tank / 2, part.tank / 2) if part.kind == "tube" else (part.length / 2, part.width / 2)
    return Box((-x, -y, low), (x, y, low + part.tank_height))


def free_ports(layout: Layout, net: Network) -> list[Port]:
    """Female ports that open into a waterway of the loop and that no tube or part occupies but a plug."""
    users = net.users()
    plugged = {a if _is_plug(layout, b) else b for a, b in net.joints if _is_plug(layout, a) or _is_plug(layout, b)}
    return [
        p
        for way in net.at
        for p in net.ways[way].ports
        if net.frames[p].depth is not None and (p not in users or p in plugged)
    ]


def _is_plug(layout: Layout, port: Port) -> bool:
    part = layout.piece(port.piece).part
    return isinstance(part, Fitting) and part.kind == "plug"


@dataclass(frozen=True, slots=True)
class Peak:
    """A place from which air cannot rise any further: in a way (by number) or in a run."""

    height: float
    where: Point
    way: int | None
    line: Line | None


def line_points(layout: Layout, line: Line, tube: Piece | None) -> Floats:
    """Points along a run from port to port: its laid tube's centre line, or the straight between the two lands."""
    a, b = (seal_middle(layout, p) for p in ports_at(line))
    if tube is None or not isinstance(tube.part, TubeRun):
        return np.array([a, b])
    return np.vstack([a, apply(tube.pose, sample(tube.part.run, CHORD_MM, ends=True)), b])


def peaks(layout: Layout, net: Network, tubes: Mapping[str, Piece], at: Stand) -> list[Peak]:
    """The high points along the loop, highest first.

    A place is one where no way on, along tubes and through parts, leads higher without first falling LEVEL_MM.
    """
    heights: list[float] = []
    places: list[tuple[Point, int | None, Line | None]] = []
    joined: list[list[int]] = []

    def vertex(point: Floats, height: float, way: int | None, line: Line | None) -> int:
        heights.append(height)
        places.append(((float(point[0]), float(point[1]), float(point[2])), way, line))
        joined.append([])
        return len(heights) - 1

    def join(a: int, b: int) -> None:
        joined[a].append(b)
        joined[b].append(a)

    of_port: dict[Port, int] = {}
    for way in net.at:
        top = _top(layout, net, way, at)
        crown = vertex(*top, way, None)
        for port in net.ways[way].ports:
            where = seal_middle(layout, port)
            of_port[port] = vertex(where, at.height(where), way, None)
            join(crown, of_port[port])
    for line in net.pipes:
        points = line_points(layout, line, tubes.get(line.name))
        start, end = (of_port[p] for p in ports_at(line))
        chain = [start, *(vertex(p, at.height(p), None, line) for p in points[1:-1]), end]
        for a, b in pairwise(chain):
            join(a, b)
    found, seen = [], set[int]()
    for i in sorted(range(len(heights)), key=lambda i: -heights[i]):
        if i in seen:
            continue
        around = _around(i, heights, joined)
        if all(heights[j] <= heights[i] for j in around):
            found.append(Peak(heights[i], *places[i]))
        seen |= around
    return found


def _around(start: int, heights: list[float], joined: list[list[int]]) -> set[int]:
    """Vertices reached from one without falling LEVEL_MM below it."""
    seen, todo = {start}, [start]
    while todo:
        for j in joined[todo.pop()]:
            if j not in seen and heights[j] >= heights[start] - LEVEL_MM:
                seen.add(j)
                todo.append(j)
    return seen


def _top(layout: Layout, net: Network, way: int, at: Stand) -> tuple[Floats, float]:
    """The highest place of a waterway and its height."""
    points = [seal_middle(layout, p) for p in net.ways[way].ports]
    for name in net.ways[way].pieces:
        piece = layout.piece(name)
        if isinstance(piece.part, (Pump, Radiator)):
            points += list(apply(piece.pose, held_in(piece).corners()))
    best = max(points, key=at.height)
    return best, at.height(best)


def below(layout: Layout, line: Line, tube: Piece | None, at: Stand, height: float) -> float:
    """The share of a run's length that lies below a height, 0 to 1."""
    points = line_points(layout, line, tube)
    lengths = np.linalg.norm(np.diff(points, axis=0), axis=1)
    h = np.array([at.height(p) for p in points])
    low, high = np.minimum(h[:-1], h[1:]), np.maximum(h[:-1], h[1:])
    rise = np.where(high > low, high - low, 1.0)
    part = np.where(high > low, np.clip((height - low) / rise, 0.0, 1.0), (low < height).astype(float))
    total = float(lengths.sum())
    return float((lengths * part).sum()) / total if total > 0 else 0.0
