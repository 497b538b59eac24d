"""How far the true surfaces over two triangles are apart at least.

Owns the sound lower bound of a pair's gap. Two enclosures with a plane between them hold surfaces at least as far apart
as the enclosures' extents along the plane's normal; and what stays within a round face all round stays off it by what
it has left. Every triangle pair near enough to matter is given such a plane; the least of these gaps is a lower bound
for the solids, with no regard to the chord error where faces are flat or round, or touch a tangent plane of a sphere or
torus.
"""

from __future__ import annotations

import numpy as np

from elbowroom.model.geometry.enclosure import CURVED, ROUND, Enclosure, about_axis
from elbowroom.parts.vocabulary.arrays import Floats, Ints
from elbowroom.parts.vocabulary.tolerances import ALIKE, ROUNDING, TINY


def extents(e: Enclosure, which: Ints, along: Floats) -> tuple[Floats, Floats]:
    """Least and most reach (k, d) of the surface over each triangle along its own unit directions (k, d, 3), mm.

    Of a ROUND triangle it is that of the arcs at its two ends themselves, so that a plane that touches the arc parts it
    from what lies beyond with nothing lost; of spheres and tori no more than the whole surface's.
    """
    reach = np.einsum("kdi,kpi->kdp", along, e.corners[which])
    stray = e.stray[which][:, None]
    lo, hi = reach.min(axis=2) - stray, reach.max(axis=2) + stray
    rows = e.rows[which]
    ring = np.flatnonzero(rows[:, 0] == ROUND)
    if len(ring):
        own, d = rows[ring], along[ring]
        heights, _, middle, half = about_axis(e.corners[which[ring]], own)
        radius = np.abs(own[:, 7:8] + own[:, 8:9] * heights)[:, None]  # (k, 1, 2)
        base = own[:, None, 1:4] + heights[:, :, None] * own[:, None, 4:7]
        at = np.einsum("kdi,kpi->kdp", d, base)
        x = np.einsum("kdi,ki->kd", d, middle)
        y = np.abs(np.einsum("kdi,ki->kd", d, np.cross(own[:, 4:7], middle)))
        most, least = arc_reach(x, y, half[:, None]), -arc_reach(-x, y, half[:, None])
        lo[ring] = (at + radius * least[:, :, None]).min(axis=2)
        hi[ring] = (at + radius * most[:, :, None]).max(axis=2)
    whole = np.flatnonzero((rows[:, 0] == CURVED) & (rows[:, 7] > 0))
    if len(whole):
        own, d = rows[whole], along[whole]
        at = np.einsum("kdi,ki->kd", d, own[:, 1:4])
        across = np.linalg.norm(np.cross(d, own[:, None, 4:7]), axis=2)  # of a sphere, which has no axis, 0
        ball = np.linalg.norm(own[:, 4:7], axis=1) < 0.5
        out = np.where(ball[:, None], own[:, 7:8], own[:, 7:8] * across + own[:, 8:9])
        lo[whole], hi[whole] = np.maximum(lo[whole], at - out), np.minimum(hi[whole], at + out)
    return lo, hi


def arc_reach(x: Floats, y: Floats, half: Floats) -> Floats:
    """Most of x cos t + y sin t for t in [-half, half] and y >= 0."""
    end = x * np.cos(half) + y * np.sin(half)
    out: Floats = np.where(np.arctan2(y, x) <= half, np.hypot(x, y), end)
    return out


def _inside_gap(own: Floats, corners: Floats, other: Floats, other_corners: Floats) -> Floats:
    """Gap (k,) of a ROUND surface round other triangles, by how far they stay within it, mm; negative where they do
    not.

    own: its rows, corners: triangles at its heights; other, other_corners: rows and triangles inside. The signed
    distance from a whole cylinder or cone changes by no more than a point moves, and along any straight line it is
    convex: so it is largest at a triangle's corners, or on the arcs at the ends of a ROUND one, and there no more than
    at their centre plus their radius.
    """
    axis, growth = own[:, 4:7], own[:, 8]
    heights = np.einsum("kpi,ki->kp", corners - own[:, None, 1:4], axis)
    sign = np.sign(own[:, 7] + growth * heights.mean(axis=1))
    level, growth = own[:, 7] * sign, growth * sign
    points, radius = other_corners.copy(), np.zeros(other_corners.shape[:2])
    ring = np.flatnonzero(other[:, 0] == ROUND)
    if len(ring):
        rows = other[ring]
        inner, _, _, _ = about_axis(other_corners[ring], rows)
        ends = rows[:, None, 1:4] + inner[:, :, None] * rows[:, None, 4:7]
        reach = np.abs(rows[:, 7:8] + rows[:, 8:9] * inner)
        points[ring], radius[ring] = ends[:, [0, 1, 1]], reach[:, [0, 1, 1]]
    off = points - own[:, None, 1:4]
    height = np.einsum("kpi,ki->kp", off, axis)
    out = np.linalg.norm(off - height[:, :, None] * axis[:, None], axis=2)
    tilt = np.linalg.norm(np.cross(axis, other[:, 4:7]), axis=1)[:, None]
    over = out + radius - level[:, None] - growth[:, None] * height + np.abs(growth)[:, None] * radius * tilt
    found: Floats = -over.max(axis=1) / np.hypot(1.0, growth)
    return np.where(sign == 0, -np.inf, found)


def pair_gaps(
    a: Enclosure, b: Enclosure, turn: Floats, move: Floats, pairs: tuple[Ints, Ints], towards: Floats
) -> Floats:
    """Sound lower bound (k,) of the gap of each triangle pair, mm. `towards` (k, 3): a likely direction of each.

    Negative where no plane tried has the two enclosures on its two sides. Tried are planes along both triangles, along
    both axes' normals, along the ends of arcs, the plane that both triangles stand square to, and planes square to the
    line between two axes; and one round face inside another.
    """
    i, j = pairs
    _, sides_a = a.hulls_and_sides(i)
    _, sides_b = b.hulls_and_sides(j)
    rows_a, rows_b = a.rows[i], _placed_rows(b.rows[j], turn, move)
    sides_b = sides_b @ turn.T
    normals_a, normals_b = a.normals[i], b.normals[j] @ turn.T
    axis_a, axis_b = rows_a[:, 4:7], rows_b[:, 4:7]
    # Two round faces touch along the line that stands square on both axes; between parallel ones, from axis to axis.
    between = np.where(((rows_a[:, 7] != 0) & (rows_b[:, 7] != 0))[:, None], rows_b[:, 1:4] - rows_a[:, 1:4], 0.0)
    between -= np.einsum("ki,ki->k", between, axis_a)[:, None] * axis_a
    single = [
        towards, normals_a, normals_b, axis_a, axis_b, np.cross(normals_a, normals_b), between, np.cross(axis_a, axis_b)
    ]  # fmt: skip
    tries = np.concatenate([np.stack(single, axis=1), sides_a, sides_b], axis=1)
    length = np.linalg.norm(tries, axis=2, keepdims=True)
    tries = tries / np.maximum(length, TINY)
    lo_a, hi_a = extents(a, i, tries)
    lo_b, hi_b = extents(b, j, tries @ turn)
    off = tries @ move
    gap = np.maximum(lo_b + off - hi_a, lo_a - hi_b - off)
    gap = np.where(length[:, :, 0] > ALIKE, gap, -np.inf)  # a zero vector, or all rounding, is no direction
    out: Floats = gap.max(axis=1)
    ca, cb = a.corners[i], b.corners[j] @ turn.T + move
    for outer, my, rows, yours, your, stray, placed in (
        (a, i, rows_a, rows_b, cb, b.stray[j], None),
        (b, j, rows_b, rows_a, ca, a.stray[i], (turn, move)),
    ):
        corners = cb if placed else ca
        holes = [(np.flatnonzero(rows[:, 0] == ROUND), rows)]
        for n in outer.beside[my].T:
            at = np.flatnonzero(n >= 0)
            around = np.zeros_like(rows)
            around[at] = _placed_rows(outer.rows[n[at]], *placed) if placed else outer.rows[n[at]]
            holes.append((at, around))
        for at, around in holes:
            if len(at):
                within = _inside_gap(around[at], corners[at], yours[at], your[at]) - stray[at]
                out[at] = np.maximum(out[at], within)
    return out


def flat_gaps(one: Floats, other: Floats) -> Floats:
    """Gap (k,) of each pair of flat triangles (k, 3, 3) along the direction that parts them best, mm; negative where
    they cross. Tried are all directions among which one parts two triangles that do not: their normals, the common
    normals of their edges and, for those in one plane, the normals of edges in it."""
    edges = [np.roll(t, -1, axis=1) - t for t in (one, other)]
    normals = [np.cross(e[:, 0], e[:, 1]) for e in edges]
    tries = [n[:, None] for n in normals]
    tries += [np.cross(edges[0][:, :, None], edges[1][:, None]).reshape(len(one), 9, 3)]
    tries += [np.cross(e, n[:, None]) for e, n in zip(edges, normals, strict=True)]
    along = np.concatenate(tries, axis=1)
    length = np.linalg.norm(along, axis=2, keepdims=True)
    scale = max(float(np.abs(e).max(initial=0.0)) for e in edges)
    along = along / np.maximum(length, TINY)
    p, q = (np.einsum("kdi,kpi->kdp", along, t) for t in (one, other))
    gap = np.maximum(q.min(axis=2) - p.max(axis=2), p.min(axis=2) - q.max(axis=2))
    out: Floats = np.where(length[:, :, 0] > ROUNDING * scale, gap, -np.inf).max(axis=1)
    return out


def _placed_rows(rows: Floats, turn: Floats, move: Floats) -> Floats:
    """Rows of surfaces whose body is placed by `turn` and `move`."""
    out = rows.copy()
    out[:, 1:4] = rows[:, 1:4] @ turn.T + move
    out[:, 4:7] = rows[:, 4:7] @ turn.T
    return out
