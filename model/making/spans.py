"""What a print has to carry over air: overhangs that need support, and bridges with the length of their span.

Owns finding the surfaces that lean over 45 degrees, and telling which of them are held at both ends. A region is seen
in plan; a line across it bridges where it ends on both sides at edges from which the surface goes on downward. All
lines of a region run one way, as a slicer lays them; where no one way serves, each point is asked by itself. Points
and directions are samples (`SPAN_POINTS`, `SPAN_DIRECTIONS`): a span between them may be longer by a step. Bridges over
another overhang count as held. Points and edges that begin in the air count as overhangs.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from elbowroom.model.making.mesh import Skin, spread
from elbowroom.model.making.rules import FACET_DEG, OVERHANG_DEG, SPAN_DIRECTIONS, SPAN_POINTS, Z_MM
from elbowroom.parts.vocabulary.arrays import Floats, Ints, Mask
from elbowroom.parts.vocabulary.tolerances import NO_LENGTH, ROUNDING

NO_AREA_MM2 = 1e-9  # what triangles that are none still stand for, so that their points have a distance
NO_EDGE_MM2 = 1e-18  # square of an edge's length: one under 1e-9 mm is a point, and no divisor


@dataclass(frozen=True, slots=True)
class Span:
    """One region over air. area: mm2 that lean too far. span: length of its bridges, mm; None where part of it is held
    by no bridge. one_way: whether bridges in one direction hold all of it. open_area: mm2 held by no bridge. reach: how
    far that lies from what holds, mm (infinite: nothing does). where: its middle on the bed.
    """

    area: float
    span: float | None
    one_way: bool
    open_area: float
    reach: float
    where: tuple[float, float, float]


def spans(skin: Skin) -> list[Span]:
    """Every region that leans over 45 degrees and does not lie on the bed, and every point that begins in the air."""
    corners = skin.vertices[skin.triangles]
    low = skin.areas > 0
    low &= -skin.normals[:, 2] > math.sin(math.radians(OVERHANG_DEG + FACET_DEG))
    low &= corners[:, :, 2].max(axis=1) > Z_MM
    partner = _partners(skin.triangles)
    found = [_span(skin, corners, region, partner) for region in _regions(low, partner)]
    return found + _beginnings(skin, low)


def _partners(triangles: Ints) -> Ints:
    """For each triangle and each of its edges (corner i to i + 1), the triangle on the other side; -1 where none is."""
    known: dict[tuple[int, int], int] = {}
    for t, (a, b, c) in enumerate(triangles.tolist()):
        known[a, b] = known[b, c] = known[c, a] = t
    return np.array(
        [[known.get((b, a), -1), known.get((c, b), -1), known.get((a, c), -1)] for a, b, c in triangles.tolist()]
    ).reshape(-1, 3)


def _regions(low: Mask, partner: Ints) -> list[list[int]]:
    """Triangles that hang together by edges, among those chosen."""
    left, out = set(np.flatnonzero(low).tolist()), []
    while left:
        start = min(left)
        left.discard(start)
        region, todo = [start], [start]
        while todo:
            for n in partner[todo.pop()].tolist():
                if n in left:
                    left.discard(n)
                    region.append(n)
                    todo.append(n)
        out.append(sorted(region))
    return out


def _span(skin: Skin, corners: Floats, region: list[int], partner: Ints) -> Span:
    inside = set(region)
    edges, held = [], []
    for t in region:
        for i in range(3):
            other = int(partner[t, i])
            if other in inside:
                continue
            a, b = (int(skin.triangles[t, k % 3]) for k in (i, i + 1))
            ends = skin.vertices[[a, b]]
            third = [v for v in skin.triangles[other].tolist() if v not in (a, b)] if other >= 0 else []
            edges.append(ends[:, :2])
            held.append(bool(third) and skin.vertices[third[0], 2] < ends[:, 2].mean() - Z_MM)
    area = float(skin.areas[region].sum())
    middle = np.average(corners[region].mean(axis=1), axis=0, weights=skin.areas[region])
    where = (float(middle[0]), float(middle[1]), float(middle[2]))
    points, weights = _points(corners[region][:, :, :2], skin.areas[region])
    lengths = _bridges(points, np.array(edges), np.array(held))
    ways = np.where(np.isfinite(lengths).all(axis=0), lengths.max(axis=0), np.inf)
    if np.isfinite(ways).any():
        return Span(area, float(ways.min()), True, 0.0, 0.0, where)
    best = lengths.min(axis=1)
    open_points = ~np.isfinite(best)
    if not open_points.any():
        return Span(area, float(best.max()), False, 0.0, 0.0, where)
    reach = _reach(points[open_points], np.array(edges)[held])
    return Span(area, None, False, float(weights[open_points].sum()), reach, where)


def _points(flat: Floats, areas: Floats) -> tuple[Floats, Floats]:
    """Points spread over triangles seen in plan, and the area each stands for."""
    step = math.sqrt(max(float(areas.sum()), NO_AREA_MM2) / SPAN_POINTS)
    points, weights = [], []
    for corners, area in zip(flat, areas.tolist(), strict=True):
        longest = max(float(np.linalg.norm(corners[i] - corners[i - 1])) for i in range(3))
        n = max(1, min(24, math.ceil(longest / step)))
        u, v = spread(n)
        points.append(corners[0] * (1 - u - v) + corners[1] * u + corners[2] * v)
        weights += [area / len(u)] * len(u)
    every = math.ceil(len(weights) / (4 * SPAN_POINTS))  # a region of many small triangles is sampled, too
    return np.concatenate(points)[::every], np.array(weights)[::every] * every


def _bridges(points: Floats, edges: Floats, held: Mask) -> Floats:
    """For each point and direction the length of the line across the region; infinite where an end is not held."""
    out = np.full((len(points), SPAN_DIRECTIONS), np.inf)
    start, along = edges[:, 0], edges[:, 1] - edges[:, 0]
    off = start[None] - points[:, None]
    for k in range(SPAN_DIRECTIONS):
        angle = math.pi * k / SPAN_DIRECTIONS
        d = np.array([math.cos(angle), math.sin(angle)])
        across = d[0] * along[:, 1] - d[1] * along[:, 0]
        with np.errstate(divide="ignore", invalid="ignore"):
            t = (off[:, :, 0] * along[:, 1] - off[:, :, 1] * along[:, 0]) / across
            s = (off[:, :, 0] * d[1] - off[:, :, 1] * d[0]) / across
        met = (np.abs(across) > NO_LENGTH) & (s >= -ROUNDING) & (s <= 1 + ROUNDING)
        total, good = np.zeros(len(points)), np.ones(len(points), dtype=bool)
        for sign in (1.0, -1.0):
            ahead = np.where(met & (sign * t > 0), sign * t, np.inf)
            nearest = ahead.argmin(axis=1)
            total += ahead[np.arange(len(points)), nearest]
            good &= held[nearest]
        out[good, k] = total[good]
    return out


def _reach(points: Floats, edges: Floats) -> float:
    """The greatest distance in plan from any of the points to the nearest of the edges; infinite without edges."""
    if len(edges) == 0:
        return math.inf
    start, along = edges[:, 0], edges[:, 1] - edges[:, 0]
    off = points[:, None] - start[None]
    t = np.clip((off * along).sum(axis=2) / np.maximum((along**2).sum(axis=1), NO_EDGE_MM2), 0, 1)
    return float(np.linalg.norm(off - t[:, :, None] * along, axis=2).min(axis=1).max())


def _beginnings(skin: Skin, low: Mask) -> list[Span]:
    """Points and edges over the bed that all of the surface about them rises from: a print begins there in the air.

    Flat ones are regions already. A hollow's lowest point has its triangles facing upward, and is no beginning.
    """
    z = skin.vertices[:, 2]
    near: dict[int, set[int]] = defaultdict(set)
    for t in skin.triangles.tolist():
        for v in t:
            near[v].update(t)
    downward = np.ones(len(z), dtype=bool)
    np.logical_and.at(downward, skin.triangles.reshape(-1), np.repeat(skin.normals[:, 2] <= 0, 3))
    in_region = np.zeros(len(z), dtype=bool)
    in_region[skin.triangles[low].reshape(-1)] = True
    out, seen = [], set[int]()
    for v in np.flatnonzero((z > Z_MM) & downward & ~in_region).tolist():
        if v in seen:
            continue
        level, todo, lowest = {v}, [v], True
        while todo:
            for n in near[todo.pop()]:
                if z[n] < z[v] - Z_MM:
                    lowest = False
                elif abs(z[n] - z[v]) <= Z_MM and n not in level:
                    level.add(n)
                    todo.append(n)
        seen |= level
        if lowest:
            x, y, height = skin.vertices[v]
            out.append(Span(0.0, None, False, 0.0, math.inf, (float(x), float(y), float(height))))
    return out
