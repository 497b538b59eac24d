"""Capsules in a plane - all places within some distance of a segment - and where several of them have room in common.

Owns the plane geometry under `slots`: distances, where the borders of capsules meet, the most central place in several,
the place of several nearest to the origin, and how far one may go along an axis. Leaves screws and holes to `slots`.
Arrays: `a`, `b` (k, 2) ends of the cores, `r` (k,) radii, mm; a point is a core of no length.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from elbowroom.parts.vocabulary.arrays import Floats, Index, Mask

Box = tuple[Floats, Floats]  # lower and upper corner, mm

CENTRE_MM = 2e-7
"""mm by which the greatest residual at a central place may exceed the least possible: far below any tolerance."""
STEPS = 300  # of cuts through the centroid: each leaves at most 1 - 1/e of the area (Gruenbaum), so 60 do for a plane
WIDEST, MOST = 4000, 200_000  # capsules, and overlaps of two, up to which the memory for a search stays below 1 GB
PARALLEL = 1e-12  # sine below which two borders do not cross: over 1 m they part by less than a rounding
NO_AREA_MM2 = 1e-24  # twice the area of a polygon that is all rounding: a square of NO_LENGTH


@dataclass(frozen=True, slots=True, eq=False)
class Capsules:
    """`k` capsules."""

    a: Floats
    b: Floats
    r: Floats

    def __len__(self) -> int:
        return len(self.r)

    def take(self, index: Index | Mask | list[int]) -> Capsules:
        return Capsules(self.a[index], self.b[index], self.r[index])

    def wider(self, by: float) -> Capsules:
        """All radii `by` mm larger, none below zero before that."""
        return Capsules(self.a, self.b, np.maximum(self.r, 0.0) + by)

    def bounds(self) -> Box:
        """Lower and upper corners of each, (k, 2)."""
        r = self.r[:, None]
        return np.minimum(self.a, self.b) - r, np.maximum(self.a, self.b) + r


def foot(p: Floats, a: Floats, b: Floats) -> Floats:
    """The point of each segment a-b nearest to p; shapes broadcast over (..., 2)."""
    u = b - a
    square = (u * u).sum(-1)
    t = ((p - a) * u).sum(-1) / np.where(square > 0, square, 1.0)
    found: Floats = a + np.clip(t, 0.0, 1.0)[..., None] * u
    return found


def distance(p: Floats, a: Floats, b: Floats) -> Floats:
    """Distance from p to each segment a-b, mm; shapes broadcast over (..., 2)."""
    v = p - foot(p, a, b)
    return np.hypot(v[..., 0], v[..., 1])


def inside(p: Floats, c: Capsules, slack: float) -> Mask:
    """Which points (n, 2) lie within `slack` mm of which capsules, (n, k)."""
    lo, hi = c.bounds()
    within = np.ones((len(p), len(c)), dtype=bool)
    for k in (0, 1):
        within &= p[:, None, k] >= lo[None, :, k] - slack
        within &= p[:, None, k] <= hi[None, :, k] + slack
    at, of = np.nonzero(within)
    within[at, of] = distance(p[at], c.a[of], c.b[of]) <= c.r[of] + slack
    return within


def between(c: Capsules, i: Index, j: Index) -> tuple[Floats, Floats]:
    """Distance between the cores of capsules i and j, mm, and the middle of the shortest way between them."""
    a, b, p, q = c.a[i], c.b[i], c.a[j], c.b[j]
    ends = [(a, foot(a, p, q)), (b, foot(b, p, q)), (p, foot(p, a, b)), (q, foot(q, a, b))]
    gaps = np.stack([np.hypot(*(x - y).T) for x, y in ends])
    best = gaps.argmin(0)
    rows = np.arange(len(i))
    gap, middle = gaps[best, rows], np.stack([(x + y) / 2 for x, y in ends])[best, rows]
    cross = (_side(a, b, p) * _side(a, b, q) < 0) & (_side(p, q, a) * _side(p, q, b) < 0)
    met = _line_line(a, b - a, p, q - p)
    return np.where(cross, 0.0, gap), np.where(cross[:, None], met, middle)


def _side(a: Floats, b: Floats, p: Floats) -> Floats:
    found: Floats = (b[:, 0] - a[:, 0]) * (p[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (p[:, 0] - a[:, 0])
    return found


def overlapping(c: Capsules) -> tuple[Index, Index, Floats, Floats]:
    """Pairs i < j that have a place in common, with core distance and the middle between the cores."""
    if len(c) > WIDEST:
        raise ValueError(f"{len(c)} ways for a screw to pass are more than the {WIDEST} that can be compared")
    lo, hi = c.bounds()
    near = np.ones((len(c), len(c)), dtype=bool)
    for k in (0, 1):
        near &= lo[:, None, k] <= hi[None, :, k]
    i, j = np.nonzero(np.triu(near & near.T, 1))
    gap, middle = between(c, i, j)
    meet = gap <= c.r[i] + c.r[j]
    if int(meet.sum()) > MOST:
        raise ValueError(f"{len(c)} ways for a screw to pass overlap {int(meet.sum())} times: more than {MOST}")
    return i[meet], j[meet], gap[meet], middle[meet]


def _line_line(o: Floats, u: Floats, p: Floats, v: Floats) -> Floats:
    """Where lines o + s u and p + t v cross; not a number where they are parallel or no lines."""
    det = u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0]
    size = np.hypot(u[..., 0], u[..., 1]) * np.hypot(v[..., 0], v[..., 1])
    w = p - o
    with np.errstate(divide="ignore", invalid="ignore"):
        s = (w[..., 0] * v[..., 1] - w[..., 1] * v[..., 0]) / np.where(np.abs(det) > PARALLEL * size, det, np.nan)
    found: Floats = o + s[..., None] * u
    return found


def _line_circle(o: Floats, u: Floats, c: Floats, r: Floats) -> Floats:
    """Both places where line o + s u meets a circle, (..., 2, 2); its nearest point where it passes by."""
    length = np.hypot(u[..., 0], u[..., 1])
    with np.errstate(divide="ignore", invalid="ignore"):
        e = u / np.where(length > 0, length, np.nan)[..., None]
    f = o + ((c - o) * e).sum(-1)[..., None] * e
    h = np.sqrt(np.maximum(r * r - ((f - c) ** 2).sum(-1), 0.0))[..., None] * e
    return np.stack([f + h, f - h], -2)


def _circle_circle(c: Floats, r: Floats, d: Floats, s: Floats) -> Floats:
    """Both places where two circles meet, (..., 2, 2); where they do not, a place on the line of their centres."""
    v = d - c
    gap = np.hypot(v[..., 0], v[..., 1])
    with np.errstate(divide="ignore", invalid="ignore"):
        e = v / np.where(gap > 0, gap, np.nan)[..., None]
        along = (gap * gap + r * r - s * s) / (2 * np.where(gap > 0, gap, np.nan))
    h = np.sqrt(np.maximum(r * r - along * along, 0.0))[..., None] * np.stack([-e[..., 1], e[..., 0]], -1)
    m = c + along[..., None] * e
    return np.stack([m + h, m - h], -2)


def _sides(c: Capsules) -> tuple[Floats, Floats]:
    """A point on each straight side and its direction, (k, 2, 2) and (k, 1, 2)."""
    u = c.b - c.a
    length = np.hypot(u[:, 0], u[:, 1])
    with np.errstate(divide="ignore", invalid="ignore"):
        n = np.stack([-u[:, 1], u[:, 0]], -1) * (c.r / np.where(length > 0, length, np.nan))[:, None]
    return c.a[:, None] + np.stack([n, -n], 1), u[:, None]


def corners(c: Capsules, box: Box) -> tuple[Floats, tuple[Index, Index, Floats, Floats]]:
    """Places that hold the deepest of every overlap within a box, (c, 2), and the pairs that overlap.

    What closed sets have in common has, on its border, either a corner where two borders cross, or none; then its
    tightest arc rolls inside it (Blaschke), so that the arc's centre, an end of a core, belongs to it.
    """
    lo, hi = box
    pairs = overlapping(c)
    i, j, _, middle = pairs
    o, u = _sides(c)
    ends = np.stack([c.a, c.b], 1)
    r = c.r[:, None]
    both = [
        _line_line(o[i][:, :, None], u[i][:, :, None], o[j][:, None], u[j][:, None]).reshape(-1, 4, 2),
        _line_circle(o[i][:, :, None], u[i][:, :, None], ends[j][:, None], r[j][:, None]).reshape(-1, 8, 2),
        _line_circle(o[j][:, :, None], u[j][:, :, None], ends[i][:, None], r[i][:, None]).reshape(-1, 8, 2),
        _circle_circle(ends[i][:, :, None], r[i][:, :, None], ends[j][:, None], r[j][:, None]).reshape(-1, 8, 2),
        middle[:, None],
    ]
    met = np.concatenate(both, 1)
    slack = CENTRE_MM / 10
    keep = np.ones(met.shape[:2], dtype=bool)
    for k in (i, j):
        keep &= distance(met, c.a[k][:, None], c.b[k][:, None]) <= c.r[k][:, None] + slack
    walls = np.array([[lo[0], lo[1]], [lo[0], lo[1]], [hi[0], hi[1]], [hi[0], hi[1]]])
    ways = np.array([[1.0, 0.0], [0.0, 1.0], [1.0, 0.0], [0.0, 1.0]])
    found = [
        met[keep],
        c.a,
        c.b,
        np.array([[x, y] for x in (lo[0], hi[0]) for y in (lo[1], hi[1])]),
        _line_line(o[:, :, None], u[:, :, None], walls, ways).reshape(-1, 2),
        _line_circle(walls, ways, ends[:, :, None], r[:, :, None]).reshape(-1, 2),
    ]
    points = np.concatenate(found)
    inside = ((points >= lo - slack) & (points <= hi + slack)).all(1)
    return np.clip(points[inside], lo, hi), pairs


def nearest(c: Capsules, box: Box, known: Floats) -> Floats:
    """The place of all capsules and the box nearest to the origin, (2,); `known` is one place they have in common."""
    points, _ = corners(c, box)
    v = foot(np.zeros(2), c.a, c.b)
    out = np.hypot(v[:, 0], v[:, 1])
    own = v * np.maximum(1.0 - c.r / np.where(out > 0, out, 1.0), 0.0)[:, None]
    points = np.concatenate([points, own, np.zeros((1, 2)), known[None]])
    slack = CENTRE_MM / 10
    fits: Mask = np.asarray((distance(points[:, None], c.a, c.b) <= c.r + slack).all(1))
    fits &= ((points >= box[0] - slack) & (points <= box[1] + slack)).all(1)
    fits[-1] = True
    points = np.clip(points[fits], *box)
    found: Floats = points[np.hypot(points[:, 0], points[:, 1]).argmin()]
    return found


def central(c: Capsules, box: Box) -> tuple[float, Floats]:
    """The least value within a box of the greatest residual (distance to a core less its radius), mm, and where.

    The greatest residual is convex, so it is found by cuts through the centroid of the polygon that still holds the
    place: to CENTRE_MM above a lower bound proved on the way.
    """
    rows = list(zip(*(v.tolist() for v in (*c.a.T, *c.b.T, c.r)), strict=True))
    lo, hi = c.bounds()
    x0, y0 = (float(v) for v in np.maximum(lo.max(0), box[0]))
    x1, y1 = (float(v) for v in np.minimum(hi.min(0), box[1]))
    polygon = [(x0, y0), (max(x0, x1), y0), (max(x0, x1), max(y0, y1)), (x0, max(y0, y1))]
    best, at, least = math.inf, polygon[0], -math.inf
    for _ in range(STEPS):
        x, y = _centroid(polygon)
        f, gx, gy = _greatest(rows, x, y)
        if f < best:
            best, at = f, (x, y)
        least = max(least, f + min(gx * (vx - x) + gy * (vy - y) for vx, vy in polygon))
        if best - least <= CENTRE_MM:
            break
        polygon = _clipped(polygon, gx, gy, gx * x + gy * y + best - f)
        if len(polygon) < 3:
            break
    return best, np.array(at)


def _greatest(rows: list[tuple[float, float, float, float, float]], x: float, y: float) -> tuple[float, float, float]:
    """The greatest residual at a place and its gradient there."""
    best, gx, gy = -math.inf, 0.0, 0.0
    for ax, ay, bx, by, r in rows:
        ux, uy = bx - ax, by - ay
        square = ux * ux + uy * uy
        t = min(1.0, max(0.0, ((x - ax) * ux + (y - ay) * uy) / square)) if square > 0 else 0.0
        vx, vy = x - ax - t * ux, y - ay - t * uy
        d = math.hypot(vx, vy)
        if d - r > best:
            best = d - r
            gx, gy = (vx / d, vy / d) if d > 0 else (0.0, 0.0)
    return best, gx, gy


def _centroid(polygon: list[tuple[float, float]]) -> tuple[float, float]:
    """Centroid of a convex polygon; the mean of its corners where it has no area left."""
    ox, oy = polygon[0]
    area = sx = sy = 0.0
    for (px, py), (qx, qy) in pairwise(polygon[1:]):
        w = (px - ox) * (qy - oy) - (py - oy) * (qx - ox)
        area, sx, sy = area + w, sx + w * (px + qx - 2 * ox), sy + w * (py + qy - 2 * oy)
    if abs(area) < NO_AREA_MM2:
        return sum(p[0] for p in polygon) / len(polygon), sum(p[1] for p in polygon) / len(polygon)
    return ox + sx / (3 * area), oy + sy / (3 * area)


def _clipped(polygon: list[tuple[float, float]], gx: float, gy: float, limit: float) -> list[tuple[float, float]]:
    """The part of a convex polygon where gx x + gy y <= limit."""
    out = []
    for (px, py), (qx, qy) in zip(polygon, [*polygon[1:], polygon[0]], strict=True):
        p, q = gx * px + gy * py - limit, gx * qx + gy * qy - limit
        if p <= 0:
            out.append((px, py))
        if (p < 0) != (q < 0) and p != q and p != 0 and q != 0:
            t = p / (p - q)
            out.append((px + t * (qx - px), py + t * (qy - py)))
    return out


def span(c: Capsules, at: Floats, axis: int) -> tuple[float, float]:
    """How far one may go from `at` back and forth along an axis (0 x, 1 y) inside all capsules, mm: (<= 0, >= 0)."""
    e = np.eye(2)[axis]
    o, u = _sides(c)
    ends = np.stack([c.a, c.b], 1)
    met = np.concatenate(
        [
            _line_line(o, u, at, e),
            _line_circle(at, e, ends, c.r[:, None]).reshape(-1, 4, 2),
        ],
        1,
    )
    on = distance(met, c.a[:, None], c.b[:, None]) <= c.r[:, None] + CENTRE_MM / 10
    way = met[..., axis] - at[axis]
    low = np.where(on, way, np.inf).min(1).max()
    high = np.where(on, way, -np.inf).max(1).min()
    return min(float(low), 0.0), max(float(high), 0.0)
