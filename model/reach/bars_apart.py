"""How far apart two flat-ended bars are, and where: what neighbouring collars are measured with.

Owns that measure. Bars along one direction, as collars on one face are, in closed form, how deep they overlap included;
others by the engine's distance.
"""

from __future__ import annotations

from collections.abc import Sequence

import coal
import numpy as np

from elbowroom.model.geometry.envelopes import Point, Rod
from elbowroom.model.geometry.trees import THIN

_PARALLEL = 1e-9  # sine of the angle under which directions are one: rounding of composed poses is 1e-15


def apart(a: Rod, b: Rod) -> tuple[float, Point, Point]:
    """Distance of two bars, mm (below 0: how deep they overlap), and a point of each where it is that."""
    (p, u, la), (q, v, lb) = _line(a), _line(b)
    if np.linalg.norm(np.cross(u, v)) <= _PARALLEL:
        return _side_by_side(p, u, la, a.radius, q, lb, b.radius)
    request, result = coal.DistanceRequest(True, 0.0, 0.0), coal.DistanceResult()
    shapes = coal.Cylinder(a.radius, la), coal.Cylinder(b.radius, lb)
    d = coal.distance(shapes[0], _place(p, u), shapes[1], _place(q, v), request, result)
    if d > 0:
        return float(d), _point(result.getNearestPoint1()), _point(result.getNearestPoint2())
    # The engine knows no depth here: that of the same bars with round ends is no less.
    axis = coal.distance(
        coal.Capsule(THIN, la), _place(p, u), coal.Capsule(THIN, lb), _place(q, v), request, result
    )  # fmt: skip
    depth = min(0.0, max(0.0, float(axis)) - a.radius - b.radius)
    return depth, _point(result.getNearestPoint1()), _point(result.getNearestPoint2())


def least(one: Sequence[Rod], other: Sequence[Rod]) -> tuple[float, Point, Point, int, int]:
    """The least of all distances between two sets of bars, with the numbers of the two bars."""
    found = [(*apart(a, b), i, j) for i, a in enumerate(one) for j, b in enumerate(other)]
    return min(found, key=lambda f: (f[0], f[3], f[4]))


def clear(one: Sequence[Rod], other: Sequence[Rod], gap: float) -> bool:
    """Whether no two bars of two sets are nearer than `gap` mm."""
    if not one or not other:
        return True
    (p, r), (q, s) = _balls(one), _balls(other)
    spare = np.linalg.norm(p[:, None] - q[None], axis=2) - r[:, None] - s[None]
    near = np.argsort(spare, axis=None)[: int((spare < gap).sum())]
    return all(apart(one[k // len(other)], other[k % len(other)])[0] >= gap for k in near.tolist())


def _balls(bars: Sequence[Rod]) -> tuple[np.ndarray, np.ndarray]:
    """Middles and radii of balls that hold the bars."""
    a, b = np.array([r.start for r in bars]), np.array([r.end for r in bars])
    return (a + b) / 2, np.hypot(np.linalg.norm(b - a, axis=1) / 2, np.array([r.radius for r in bars]))


def _side_by_side(
    p: np.ndarray, u: np.ndarray, la: float, ra: float, q: np.ndarray, lb: float, rb: float
) -> tuple[float, Point, Point]:
    along = float((q - p) @ u)
    across = (q - p) - along * u
    off = float(np.linalg.norm(across))
    toward = across / off if off > 0 else np.cross(u, np.eye(3)[int(np.argmin(np.abs(u)))])
    side, end = off - ra - rb, abs(along) - (la + lb) / 2
    low, high = max(-la / 2, along - lb / 2), min(la / 2, along + lb / 2)
    middle = (low + high) / 2
    on_a = p + middle * u + min(ra, off) * toward
    on_b = p + middle * u + across - min(rb, off) * toward
    if side > 0 or end > 0:
        return float(np.hypot(max(side, 0.0), max(end, 0.0))), _point(on_a), _point(on_b)
    return max(side, end), _point(on_a), _point(on_b)


def _line(r: Rod) -> tuple[np.ndarray, np.ndarray, float]:
    """Middle, direction and length of a bar."""
    a, b = np.array(r.start), np.array(r.end)
    length = float(np.linalg.norm(b - a))
    return (a + b) / 2, (b - a) / length, length


def _place(middle: np.ndarray, u: np.ndarray) -> coal.Transform3s:
    from elbowroom.parts.vocabulary.pose import pose

    return coal.Transform3s(np.ascontiguousarray(pose((0, 0, 0), u)[:3, :3]), np.ascontiguousarray(middle))


def _point(v: np.ndarray) -> Point:
    return (float(v[0]), float(v[1]), float(v[2]))
