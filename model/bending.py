"""How far free-form faces and edges bend away from straight, by their control points: bounds that hold everywhere.

Owns the bounds on second derivatives of B-spline curves and surfaces, rational ones too, over a span of their
parameters. A derivative of a spline is a spline whose control points are differences of the first one's, and it lies
within their hull: so their greatest length is a bound that no sampling can miss. Between parameters as far apart as
(du, dv) a surface strays from the triangle through its corners by no more than
(M_uu du^2 + 2 M_uv du dv + M_vv dv^2) / 8 (Filip, Magedson, Markot, Surface algorithms using bounds on derivatives,
CAGD 3, 1986; mark M). Where a spline has a kink inside the span nothing is promised: infinity.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
_SAME = 1e-12  # of the whole range: knots nearer than this are one


class Spline:
    """Control points (n, m, 4) (weighted point and weight) and flat knots of a B-spline surface; a curve has m = 1."""

    def __init__(self, poles: Array, knots: tuple[Array, Array], degrees: tuple[int, int]) -> None:
        self.poles, self.knots, self.degrees = poles, knots, degrees

    def bend(self, lo: Array, hi: Array) -> Array:
        """Bounds (k, 3) of |S_uu|, |S_uv|, |S_vv| over parameter boxes (k, 2) each; infinite across a kink."""
        out = np.empty((len(lo), 3))
        grid: dict[tuple[int, int, int, int], Array] = {}
        for k in range(len(lo)):
            u = _spans(self.knots[0], self.degrees[0], lo[k, 0], hi[k, 0])
            v = _spans(self.knots[1], self.degrees[1], lo[k, 1], hi[k, 1])
            if (*u, *v) not in grid:
                grid[(*u, *v)] = self._bend(u, v)
            out[k] = grid[(*u, *v)]
        return out

    def _bend(self, u: tuple[int, int], v: tuple[int, int]) -> Array:
        """The bounds over knot spans u[0] to u[1] and v[0] to v[1] (indices of their first knots, inclusive)."""
        (p, q), (ku, kv) = self.degrees, self.knots
        own = self.poles[u[0] - p : u[1] + 1, v[0] - q : v[1] + 1]
        ku, kv = ku[u[0] - p : u[1] + p + 2], kv[v[0] - q : v[1] + q + 2]
        if _kinked(ku, p) or _kinked(kv, q):
            return np.full(3, np.inf)
        middle = own[..., :3].reshape(-1, 3).sum(axis=0) / own[..., 3].sum()
        own = own.copy()
        own[..., :3] -= own[..., 3:] * middle  # near the origin the quotient's terms are small
        least = float(own[..., 3].min())
        if least <= 0:
            return np.full(3, np.inf)

        def of(d: Array) -> tuple[float, float]:
            """Greatest lengths of a derivative's points and weights; 0 where it has none left."""
            if d.size == 0:
                return 0.0, 0.0
            return float(np.linalg.norm(d[..., :3], axis=-1).max()), float(np.abs(d[..., 3]).max())

        du, dv = _differed(own, ku, p, 0), _differed(own, kv, q, 1)
        duu, dvv = _differed(du, ku[1:-1], p - 1, 0), _differed(dv, kv[1:-1], q - 1, 1)
        duv = _differed(du, kv, q, 1)
        size = float((np.linalg.norm(own[..., :3], axis=-1) / own[..., 3]).max())  # the surface lies within it
        (a_u, w_u), (a_v, w_v), (a_uu, w_uu), (a_uv, w_uv), (a_vv, w_vv) = (of(d) for d in (du, dv, duu, duv, dvv))
        s_u, s_v = (a_u + w_u * size) / least, (a_v + w_v * size) / least
        return np.array(
            [
                (a_uu + 2 * w_u * s_u + w_uu * size) / least,
                (a_uv + w_u * s_v + w_v * s_u + w_uv * size) / least,
                (a_vv + 2 * w_v * s_v + w_vv * size) / least,
            ]
        )


def _spans(knots: Array, degree: int, lo: float, hi: float) -> tuple[int, int]:
    """First and last knot span (index of its first knot) that parameters from lo to hi touch from within."""
    slack = _SAME * (knots[-1] - knots[0])
    last = len(knots) - degree - 2
    first = int(np.searchsorted(knots, lo + slack, side="right")) - 1
    end = int(np.searchsorted(knots, hi - slack, side="left")) - 1
    first = min(max(first, degree), last)
    return first, min(max(end, first), last)


def _kinked(knots: Array, degree: int) -> bool:
    """Whether a knot within these spans is so often repeated that the first derivative may jump there."""
    inner = knots[degree + 1 : -degree - 1]
    if degree == 0 or not len(inner):
        return False
    _, uses = np.unique(inner, return_counts=True)
    return bool(uses.max() >= degree)


def _differed(poles: Array, knots: Array, degree: int, axis: int) -> Array:
    """Control points of the derivative along an axis; knots: those of the points, degree + 1 more than there are."""
    if degree < 1:
        return np.zeros((0,))
    n = poles.shape[axis]
    step = knots[degree + 1 : degree + n] - knots[1:n]
    shape = [1] * poles.ndim
    shape[axis] = n - 1
    with np.errstate(divide="ignore", invalid="ignore"):
        factor = np.where(step > 0, degree / step, 0.0).reshape(shape)
    out: Array = np.diff(poles, axis=axis) * factor
    return out


def surface_spline(surface: Any) -> Spline:
    """The control net of an OCCT B-spline surface (Geom_BSplineSurface)."""
    poles = np.array(
        [
            [
                [*(c * surface.Weight(i, j) for c in _xyz(surface.Pole(i, j))), surface.Weight(i, j)]
                for j in range(1, surface.NbVPoles() + 1)
            ]
            for i in range(1, surface.NbUPoles() + 1)
        ]
    )
    knots = _flat(surface, "U"), _flat(surface, "V")
    return Spline(poles, knots, (surface.UDegree(), surface.VDegree()))


def curve_spline(curve: Any) -> Spline:
    """The control points of an OCCT B-spline curve (Geom_BSplineCurve), as a surface that is one point wide."""
    weighted = [
        [[*(c * curve.Weight(i) for c in _xyz(curve.Pole(i))), curve.Weight(i)]] for i in range(1, curve.NbPoles() + 1)
    ]
    knots = [curve.Knot(i) for i in range(1, curve.NbKnots() + 1) for _ in range(curve.Multiplicity(i))]
    return Spline(np.array(weighted), (np.array(knots), np.array([0.0, 1.0])), (curve.Degree(), 0))


def _flat(surface: Any, way: str) -> Array:
    count = getattr(surface, f"Nb{way}Knots")()
    knot, uses = getattr(surface, f"{way}Knot"), getattr(surface, f"{way}Multiplicity")
    return np.array([knot(i) for i in range(1, count + 1) for _ in range(uses(i))])


def _xyz(p: Any) -> tuple[float, float, float]:
    return (p.X(), p.Y(), p.Z())
