"""Where the air goes: what stands in line with each fan, the wall and the opening it blows through.

Owns that geometry, from declared boxes and frames alone. A fan's line is the run of parts that let air through - fans,
radiators, and soft layers - standing one behind the other along its axis, over a good part of its disc. Leaves what is
right or wrong about it to `checks.air`. Millimetres, case coordinates.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from elbowroom.model.build.spec import WALLS
from elbowroom.model.geometry.meshes import Surface
from elbowroom.model.geometry.scene import Solid
from elbowroom.model.layout.directions import open_side_of, toward
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.parts.case.case import Case
from elbowroom.parts.case.case_openings import FACE_AXES
from elbowroom.parts.fan.fan import Fan
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.base import Frame
from elbowroom.parts.vocabulary.pose import Pose, apply, compose, inverse, turn
from elbowroom.parts.water.radiator import Radiator

IN_LINE_MM = 25.0  # air is held together over a gap like this, and beyond it spreads: common practice, no source (P)
SHARE = 0.25  # of a fan's square that another part must stand before to be in its line: common practice, no source (P)
HALF = 0.5  # of a fan's disc: what leaves less open is worth a look; common practice, no source (P)
SAMPLES = 89  # rays over a fan's disc
ALONG = 0.966  # cosine: axes up to 15 degrees apart blow the same way; common practice, no source (P)
_LAYERS = frozenset({"gasket", "washer", "dust-filter", "adapter"})  # let air through, as layers of a stack are made to


@dataclass(frozen=True, slots=True, eq=False)
class Blown:
    """One fan: the way its air goes (unit vector, and in words), and what stands in line, nearest first, ahead and
    behind.

    wall: the wall its line ends at, within IN_LINE_MM; gap: mm from there to it, 0 where the line goes through it.
    opening: the case's opening there (piece.frame). closed: the wall is a closed panel there. inward: 1 where the air
    goes into the case through that wall, -1 out of it, 0 where there is no wall.
    """

    piece: Piece
    flow: Floats
    toward: str
    ahead: tuple[Piece, ...]
    behind: tuple[Piece, ...]
    wall: str | None = None
    gap: float = 0.0
    opening: str | None = None
    closed: bool = False
    inward: int = 0

    @property
    def name(self) -> str:
        return self.piece.name

    @property
    def line(self) -> tuple[Piece, ...]:
        return (*self.behind, *self.ahead)

    @property
    def middle(self) -> tuple[float, float, float]:
        x, y, z = apply(self.piece.pose, np.mean([self.piece.part.box().lo, self.piece.part.box().hi], axis=0))
        return float(x), float(y), float(z)


def fans(layout: Layout) -> list[Blown]:
    """Every fan of the layout, in its order."""
    airy = [p for p in layout.pieces if _airy(p)]
    side = open_side_of(layout)
    return [_at_wall(layout, _blown(p, airy, side)) for p in airy if isinstance(p.part, Fan)]


def openings(layout: Layout) -> dict[str, tuple[Piece, Frame]]:
    """The openings that fans can be screwed to, by piece.frame: whole rows, seen from inside."""
    return {
        f"{p.name}.{f.name}": (p, f)
        for p in layout.pieces
        for f in p.part.frames()
        if f.kind == "opening" and not f.name.endswith("-outside") and not f.name.rpartition("-")[2].isdigit()
    }


def opposed(a: Blown, b: Blown) -> bool:
    """Whether two fans blow against each other along one axis."""
    return float(a.flow @ b.flow) < -ALONG


@dataclass(frozen=True, slots=True, eq=False)
class Moved:
    """Fans that move air one way, of each line of them one, and what they move together, m3/h, with nothing in their
    way; None where a fan has no figure.
    """

    fans: tuple[Blown, ...]
    flow: float | None


def free_flow(fan: Blown) -> float | None:
    """What a fan is said to move with nothing in its way, m3/h."""
    part = fan.piece.part
    return float(part.free_flow) if isinstance(part, Fan) and part.free_flow is not None else None


def moved(here: Sequence[Blown], every: Sequence[Blown]) -> Moved:
    """What some fans of one way move. Of fans one behind the other, which move the same air, the strongest counts, and
    one that another fan blows against moves none.
    """
    lines: list[list[Blown]] = []
    for f in here:
        if any(opposed(f, g) and (g.piece in f.line or f.piece in g.line) for g in every):
            continue
        own = next((line for line in lines if any(f.piece in g.line or g.piece in f.line for g in line)), None)
        if own is None:
            lines.append([f])
        else:
            own.append(f)
    flows = [[free_flow(f) for f in line] for line in lines]
    known = [max(v for v in line if v is not None) for line in flows if None not in line]
    return Moved(tuple(line[0] for line in lines), sum(known) if len(known) == len(lines) else None)


def open_share(fan: Blown, solids: Sequence[Solid]) -> float:
    """Share of the fan's disc, its hub left out, that bodies in its line leave open: rays along its axis that meet
    none of them. SAMPLES rays: good to a few hundredths, which is all that is told of it.
    """
    points, way = _rays(fan)
    free = np.ones(SAMPLES, dtype=bool)
    for solid in solids:
        for sign in (1.0, -1.0):
            free[free] &= np.isinf(_along(solid, points[free], sign * way))
    return float(free.mean())


def hits(fan: Blown, solids: Sequence[Solid], sign: float, within: float) -> tuple[list[str], Floats]:
    """What stands within so many mm before a fan (sign 1) or behind it (-1): the pieces, and the distance from its face
    along each ray over its disc, infinite where there is nothing.
    """
    points, way = _rays(fan)
    box = fan.piece.part.box()
    far = float(box.hi[2] - box.lo[2]) / 2  # rays set out from the middle of the frame
    points = points + way * (float(box.hi[2] + box.lo[2]) / 2 - _middle(fan))
    reach, names = np.full(SAMPLES, np.inf), dict[str, None]()
    ends = np.concatenate([points, points + sign * way * (far + within)])
    lo, hi = ends.min(axis=0), ends.max(axis=0)
    for solid in solids:
        if (solid.lo > hi).any() or (solid.hi < lo).any():
            continue
        found = _along(solid, points, sign * way) - far
        found[found > within] = np.inf
        if np.isfinite(found).any():
            names[solid.piece.name] = None
        reach = np.minimum(reach, np.maximum(found, 0.0))
    return list(names), reach


def _middle(fan: Blown) -> float:
    part = fan.piece.part
    assert isinstance(part, Fan)
    return float(part.depth) / 2


def _rays(fan: Blown) -> tuple[Floats, Floats]:
    """Points in the middle of a fan's depth, spread evenly over its disc but for the hub, and its axis."""
    part = fan.piece.part
    assert isinstance(part, Fan)
    hub, rim = part.hub / 2, part.bore / 2
    k = np.arange(SAMPLES)
    radius, turned = np.sqrt(hub**2 + (rim**2 - hub**2) * (k + 0.5) / SAMPLES), k * np.pi * (3 - np.sqrt(5))
    # Along a spiral of the golden angle.
    ring = np.stack([radius * np.cos(turned), radius * np.sin(turned), np.full(SAMPLES, _middle(fan))], axis=1)
    return apply(fan.piece.pose, ring), fan.piece.pose[:3, 2]


def _along(solid: Solid, points: Floats, way: Floats) -> Floats:
    """Distance from each point to a body along a direction, infinite where it is not met."""
    back = inverse(solid.pose)
    surface = Surface(solid.mesh.vertices[solid.mesh.triangles])
    along = turn(back, way)
    return np.array([float(surface.along_ray(start, along, 0.0)) for start in apply(back, points)])


def _airy(piece: Piece) -> bool:
    return isinstance(piece.part, (Fan, Radiator)) or piece.part.family in _LAYERS or piece.stack is not None


def _blown(fan: Piece, airy: Sequence[Piece], side: str) -> Blown:
    box = fan.part.box()
    middle = (box.lo[2] + box.hi[2]) / 2
    sides: dict[bool, list[tuple[float, float, Piece]]] = {True: [], False: []}
    for other in airy:
        if other is fan:
            continue
        seen = compose(inverse(fan.pose), other.pose)
        if isinstance(other.part, (Fan, Radiator)) and abs(seen[2, 2]) < ALONG:
            continue  # its air goes another way
        lo, hi = _extent(other, seen)
        if _share(lo, hi, box.hi[0]) >= SHARE:
            ahead = (lo[2] + hi[2]) / 2 > middle
            near, far = (lo[2] - box.hi[2], hi[2]) if ahead else (box.lo[2] - hi[2], -lo[2])
            sides[ahead].append((near, far, other))
    flow = np.asarray(fan.part.air_flow()) @ fan.pose[:3, :3].T
    words = toward([float(c) for c in flow], side)
    return Blown(fan, flow, words, _walk(sides[True], box.hi[2]), _walk(sides[False], -box.lo[2]))


def _extent(piece: Piece, at: Pose) -> tuple[Floats, Floats]:
    corners = apply(at, piece.part.box().corners())
    return corners.min(axis=0), corners.max(axis=0)


def _share(lo: Floats, hi: Floats, half: float) -> float:
    """Share of a square about the axis, `half` to each side, that a rectangle covers."""
    wide = np.minimum(hi[:2], half) - np.maximum(lo[:2], -half)
    return float(np.prod(np.maximum(wide, 0.0))) / (2 * half) ** 2


def _walk(side: list[tuple[float, float, Piece]], end: float) -> tuple[Piece, ...]:
    """The pieces of one side that follow each other without a gap of more than IN_LINE_MM, nearest first.

    near is counted from the fan's own face, far and `end` from its origin.
    """
    found, start = [], end
    for near, far, piece in sorted(side, key=lambda s: s[0]):
        if start + near - end > IN_LINE_MM:
            break
        found.append(piece)
        end = max(end, far)
    return tuple(found)


def _at_wall(layout: Layout, fan: Blown) -> Blown:
    """The fan with the wall its line ends at, and what that wall is there."""
    inner = layout.interior
    axis = int(np.argmax(np.abs(fan.flow)))
    if inner is None or abs(fan.flow[axis]) < ALONG:
        return fan
    own = np.array([_extent(p, p.pose) for p in (fan.piece, *fan.line)])
    low, high = float(own[:, 0, axis].min()), float(own[:, 1, axis].max())
    found = []
    for wall, (k, far) in WALLS.items():
        if k == axis:
            plane = (inner.hi if far else inner.lo)[axis]
            through = low < plane < high
            gap = 0.0 if through else min(abs(plane - low), abs(plane - high))
            found.append((gap, wall, far))
    gap, wall, far = min(found)
    if gap > IN_LINE_MM:
        return fan
    inward = 1 if (fan.flow[axis] < 0) == far else -1
    opening = next((n for n, (p, f) in openings(layout).items() if _looks_through(fan, p, f, axis)), None)
    closed = opening is None and _closed(layout, fan, wall)
    return replace(fan, wall=wall, gap=gap, opening=opening, closed=closed, inward=inward)


def _looks_through(fan: Blown, piece: Piece, frame: Frame, axis: int) -> bool:
    """Whether a fan's line meets an opening: parallel to it, in its row, and at its plane."""
    at = piece.frame_pose(frame.name)
    if abs(at[axis, 2]) < ALONG or frame.size is None:
        return False
    boxes = [_extent(p, compose(inverse(at), p.pose)) for p in (fan.piece, *fan.line)]
    low, high = min(lo[2] for lo, _ in boxes), max(hi[2] for _, hi in boxes)
    if low > IN_LINE_MM or high < -IN_LINE_MM:
        return False
    lo, hi = boxes[0]
    wide = [min(hi[i], frame.size[i] / 2) - max(lo[i], -frame.size[i] / 2) for i in (0, 1)]
    square = float((hi[0] - lo[0]) * (hi[1] - lo[1]))
    return bool(min(wide) > 0 and wide[0] * wide[1] >= SHARE * square)


def _closed(layout: Layout, fan: Blown, wall: str) -> bool:
    """Whether a wall is a panel that lets no air through before a fan; False where the case does not say so."""
    case = next((p.part for p in layout.pieces if isinstance(p.part, Case)), None)
    if case is None or case.panel(wall) is None:
        return False
    lo, hi = _extent(fan.piece, fan.piece.pose)
    i, j = ("xyz".index(a) for a in FACE_AXES[wall])
    free = 0.0
    for cuts in case.fixed_cuts(wall).values():
        for r in (c.rect for c in cuts):
            wide, high = min(hi[i], r.u1) - max(lo[i], r.u0), min(hi[j], r.v1) - max(lo[j], r.v0)
            free += max(0.0, wide) * max(0.0, high)
    for hole in case.holes:
        if hole.face == wall:
            u, v = hole.centre(case.face_size(wall))
            if lo[i] < u < hi[i] and lo[j] < v < hi[j]:
                free += float(np.pi * hole.diameter**2 / 4)
    return free < SHARE * float((hi[i] - lo[i]) * (hi[j] - lo[j]))
