"""How far free-form faces and edges bend away from straight, by their control points: bounds that hold everywhere.

Owns the bounds on second derivatives of B-spline curves and surfaces, rational ones too, over a span of their
parameters. A derivative of a spline is a spline whose control points are differences of the first one's, and it lies
within their hull: so their greatest length is a bound that no sampling can miss. Between parameters as far apart as
(du, dv) a surface strays from the triangle through its corners by no more than
(M_uu du^2 + 2 M_uv du dv + M_vv dv^2) / 8 (Filip, Magedson, Markot, Surface algorithms using bounds on derivatives,
CAGD 3, 1986; mark M); across a kink it strays by no more than it is long.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.tolerances import ALIKE, ROUNDING, TINY

_PARTS = 8  # into which a knot span is cut at most
_SPANS = 64  # above which no more are made of a surface's spans either way
_SAME = 1e-12  # of the whole range: knots nearer than this are one


class Spline:
    """Control points (n, m, 4) (weighted point and weight) and flat knots of a B-spline surface; a curve has m = 1."""

    def __init__(self, poles: Floats, knots: tuple[Floats, Floats], degrees: tuple[int, int]) -> None:
        self.poles, self.knots, self.degrees = poles, knots, degrees

    def strays(self, lo: Floats, hi: Floats, normals: Floats | None = None) -> tuple[Floats, Floats]:
        """Bounds (k,), mm, on how far the surface over parameter boxes (k, 2) strays from any triangle in them, point
        for point; and on the part of that along the triangles' normals (k, 3)."""
        whole, off = np.empty(len(lo)), np.empty(len(lo))
        lo, hi = self._within(lo, hi)
        groups: dict[tuple[int, int, int, int], list[int]] = {}
        for k in range(len(lo)):
            u = _spans(self.knots[0], self.degrees[0], lo[k, 0], hi[k, 0])
            v = _spans(self.knots[1], self.degrees[1], lo[k, 1], hi[k, 1])
            groups.setdefault((*u, *v), []).append(k)
        for (u0, u1, v0, v1), members in groups.items():
            at = np.array(members)
            du, dv = (hi[at] - lo[at]).T
            weights = np.stack([du * du, 2 * du * dv, dv * dv], axis=1) / 8
            net = _Net(self, (u0, u1), (v0, v1))
            slope, bend = net.bounds(None)
            straight = (slope * np.stack([du, dv], axis=1)).sum(axis=1)  # no two of its points are farther apart
            bent = np.full(len(at), np.inf) if net.kinked else (bend * weights).sum(axis=1)
            whole[at] = np.minimum(straight, bent)
            off[at] = whole[at]
            if normals is not None and not net.kinked:
                off[at] = np.minimum(whole[at], (net.bounds(normals[at])[1] * weights).sum(axis=1))
        return whole, off

    def _within(self, lo: Floats, hi: Floats) -> tuple[Floats, Floats]:
        """The boxes with parameters of a closed surface brought back into its range; the whole range where they cross
        its ends."""
        lo, hi = lo.copy(), hi.copy()
        for way, knots in enumerate(self.knots):
            degree = self.degrees[way]
            start, end = float(knots[degree]), float(knots[-degree - 1])
            slack = ROUNDING * (end - start)
            turns = np.floor((lo[:, way] - start + slack) / (end - start)) * (end - start)
            lo[:, way] -= turns
            hi[:, way] -= turns
            over = hi[:, way] > end + slack
            lo[over, way], hi[over, way] = start, np.maximum(hi[over, way], end)
        return lo, hi

    def off_chords(self, t: Floats) -> float:
        """Bound, mm, on how far a curve strays from its chords between the parameters t (n,).

        Part of the point-for-point bound may lie along the chord, where it is no distance: what counts is across it.
        """
        lo, hi = np.minimum(t[1:], t[:-1]), np.maximum(t[1:], t[:-1])
        zero = np.zeros(len(lo))
        boxes = np.stack([lo, zero], axis=1), np.stack([hi, zero], axis=1)
        ends = np.array([self.point(float(x)) for x in t])
        chord = ends[1:] - ends[:-1]
        chord /= np.maximum(np.linalg.norm(chord, axis=1), TINY)[:, None]
        x = np.cross(chord, np.eye(3)[np.argmin(np.abs(chord), axis=1)])
        x /= np.maximum(np.linalg.norm(x, axis=1), TINY)[:, None]
        whole, one = self.strays(*boxes, x)
        _, other = self.strays(*boxes, np.cross(chord, x))
        return float(np.minimum(whole, np.hypot(one, other)).max(initial=0.0))

    def point(self, u: float) -> Floats:
        """The curve's point (3,) at a parameter, by de Boor's steps."""
        p, knots = self.degrees[0], self.knots[0]
        k, _ = _spans(knots, p, u, u)
        d = self.poles[k - p : k + 1, 0].copy()
        for r in range(1, p + 1):
            for j in range(p, r - 1, -1):
                i = j + k - p
                a = (u - knots[i]) / max(knots[i + p - r + 1] - knots[i], TINY)
                d[j] = (1 - a) * d[j - 1] + a * d[j]
        out: Floats = d[p, :3] / d[p, 3]
        return out


class _Net:
    """The control points of a spline and its derivatives over knot spans u and v (their first and last, inclusive)."""

    def __init__(self, spline: Spline, u: tuple[int, int], v: tuple[int, int]) -> None:
        (p, q), (ku, kv) = spline.degrees, spline.knots
        own = spline.poles[u[0] - p : u[1] + 1, v[0] - q : v[1] + 1].copy()
        ku, kv = ku[u[0] - p : u[1] + p + 2], kv[v[0] - q : v[1] + q + 2]
        self.least = float(own[..., 3].min(initial=np.inf))
        self.kinked, self.points = True, []
        if not 0 < self.least < np.inf:
            self.least = 0.0
            return
        own[..., :3] -= own[..., 3:] * (own[..., :3].reshape(-1, 3).sum(axis=0) / own[..., 3].sum())
        self.kinked = _kinked(ku, p) or _kinked(kv, q)
        du, dv = _differed(own, ku, p, 0), _differed(own, kv, q, 1)
        duu, duv = _differed(du, ku[1:-1], p - 1, 0), _differed(du, kv, q, 1)
        dvv = _differed(dv, kv[1:-1], q - 1, 1)
        self.points += [np.concatenate([own[..., :3] / own[..., 3:], own[..., 3:]], axis=-1), du, dv, duu, duv, dvv]

    def bounds(self, along: Floats | None) -> tuple[Floats, Floats]:
        """Bounds (k, 2) on |S_u|, |S_v| and (k, 3) on |S_uu|, |S_uv|, |S_vv|; of their parts along (k, 3), if given."""
        if self.least <= 0:
            return np.full((1, 2), np.inf), np.full((1, 3), np.inf)

        def of(d: Floats) -> tuple[Floats, float]:
            if d.size == 0:
                return np.zeros(1), 0.0
            flat = d.reshape(-1, 4)
            size = np.linalg.norm(flat[:, :3], axis=1)[:, None] if along is None else np.abs(flat[:, :3] @ along.T)
            return size.max(axis=0), float(np.abs(flat[:, 3]).max())

        # By the quotient rule; a constant weight has no derivatives, and only the points' own are left.
        (size, _), (a_u, w_u), (a_v, w_v), (a_uu, w_uu), (a_uv, w_uv), (a_vv, w_vv) = (of(d) for d in self.points)
        s_u, s_v = (a_u + w_u * size) / self.least, (a_v + w_v * size) / self.least
        s_uu = (a_uu + 2 * w_u * s_u + w_uu * size) / self.least
        s_uv = (a_uv + w_u * s_v + w_v * s_u + w_uv * size) / self.least
        s_vv = (a_vv + 2 * w_v * s_v + w_vv * size) / self.least
        n = 1 if along is None else len(along)
        wide = [np.broadcast_to(x, (n,)) for x in (s_u, s_v, s_uu, s_uv, s_vv)]
        return np.stack(wide[:2], axis=1), np.stack(wide[2:], axis=1)


def _spans(knots: Floats, degree: int, lo: float, hi: float) -> tuple[int, int]:
    """First and last knot span (index of its first knot) that parameters from lo to hi touch from within."""
    slack = _SAME * (knots[-1] - knots[0])
    last = len(knots) - degree - 2
    first = int(np.searchsorted(knots, lo + slack, side="right")) - 1
    end = int(np.searchsorted(knots, hi - slack, side="left")) - 1
    first = min(max(first, degree), last)
    return first, min(max(end, first), last)


def _kinked(knots: Floats, degree: int) -> bool:
    """Whether a knot within these spans is so often repeated that the first derivative may jump there."""
    inner = knots[degree + 1 : -degree - 1]
    if degree == 0 or not len(inner):
        return False
    _, uses = np.unique(inner, return_counts=True)
    return bool(uses.max() >= degree)


def _differed(poles: Floats, knots: Floats, degree: int, axis: int) -> Floats:
    """Control points of the derivative along an axis; knots: those of the points, degree + 1 more than there are."""
    if degree < 1:
        return np.zeros((0,))
    n = poles.shape[axis]
    step = knots[degree + 1 : degree + n] - knots[1:n]
    shape = [1] * poles.ndim
    shape[axis] = n - 1
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = np.where(step > 0, degree / step, 0.0).reshape(shape)
    out: Floats = np.diff(poles, axis=axis) * factor
    return out


def surface_spline(surface: Any) -> Spline:
    """The control net of an OCCT B-spline surface (Geom_BSplineSurface, changed if it is periodic), made close."""
    for way in "UV":
        if getattr(surface, f"Is{way}Periodic")():
            getattr(surface, f"Set{way}NotPeriodic")()
    rational = surface.IsURational() or surface.IsVRational()

    def point(i: int, j: int) -> list[float]:
        w = surface.Weight(i, j) if rational else 1.0  # of a plain surface the kernel has named 0
        return [*(c * w for c in _xyz(surface.Pole(i, j))), w]

    poles = np.array(
        [[point(i, j) for j in range(1, surface.NbVPoles() + 1)] for i in range(1, surface.NbUPoles() + 1)]
    )
    return _close(poles, (_flat(surface, "U"), _flat(surface, "V")), (surface.UDegree(), surface.VDegree()))


def curve_spline(curve: Any) -> Spline:
    """The control points of an OCCT B-spline curve (Geom_BSplineCurve, changed if it is periodic), made close: a
    surface that is one point wide."""
    if curve.IsPeriodic():
        curve.SetNotPeriodic()
    weights = [curve.Weight(i) if curve.IsRational() else 1.0 for i in range(1, curve.NbPoles() + 1)]
    weighted = [[[*(c * w for c in _xyz(curve.Pole(i))), w]] for i, w in enumerate(weights, 1)]
    knots = [curve.Knot(i) for i in range(1, curve.NbKnots() + 1) for _ in range(curve.Multiplicity(i))]
    return _close(np.array(weighted), (np.array(knots), np.array([0.0, 1.0])), (curve.Degree(), 0))


def _close(poles: Floats, knots: tuple[Floats, Floats], degrees: tuple[int, int]) -> Spline:
    """The same spline with knots put into its spans, so that its net lies close and bounds by it are little more than
    needed."""
    both = list(knots)
    for way in (0, 1):
        for fresh in _between(both[way], degrees[way]):
            turned, both[way] = _inserted(np.moveaxis(poles, way, 0), both[way], degrees[way], float(fresh))
            poles = np.moveaxis(turned, 0, way)
    return Spline(np.ascontiguousarray(poles), (both[0], both[1]), degrees)


def _inserted(poles: Floats, knots: Floats, degree: int, fresh: float) -> tuple[Floats, Floats]:
    """Boehm's step: the same spline with one knot more along the first axis."""
    k = int(np.searchsorted(knots, fresh, side="right")) - 1
    i = np.arange(k - degree + 1, k + 1)
    a = ((fresh - knots[i]) / (knots[i + degree] - knots[i])).reshape(-1, *([1] * (poles.ndim - 1)))
    mixed = (1 - a) * poles[i - 1] + a * poles[i]
    return np.concatenate([poles[: k - degree + 1], mixed, poles[k:]]), np.insert(knots, k + 1, fresh)


def _between(knots: Floats, degree: int) -> Floats:
    """Knots to put into the spans of a direction that bends."""
    spans = np.unique(knots[degree : len(knots) - degree])
    wide = np.diff(spans) > ALIKE * (spans[-1] - spans[0])
    if degree < 2:
        return np.zeros(0)
    parts = int(np.clip(_SPANS / (len(spans) - 1), 1, _PARTS))
    steps = np.arange(1, parts) / parts
    out: Floats = (spans[:-1][wide, None] + np.diff(spans)[wide, None] * steps).ravel()
    return out


def _flat(surface: Any, way: str) -> Floats:
    count = getattr(surface, f"Nb{way}Knots")()
    knot, uses = getattr(surface, f"{way}Knot"), getattr(surface, f"{way}Multiplicity")
    return np.array([knot(i) for i in range(1, count + 1) for _ in range(uses(i))])


def _xyz(p: Any) -> tuple[float, float, float]:
    return (p.X(), p.Y(), p.Z())
