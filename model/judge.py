"""What two bodies are to each other: overlapping, in contact, apart, or not to be known.

Owns the rules by which independent tests are weighed: boxes, overlap volume, point in solid both ways, and triangle
distance on the meshes; the enclosures of the true surfaces; and the exact kernel where the verdict hangs on less than
the meshes' bounds. Tests that disagree, and that the exact kernel cannot settle, give `unknown`; never the nicer one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.depth import Depth, depth_of
from elbowroom.model.enclosure import pair_gaps, slab_gap
from elbowroom.model.exact import ExactPair
from elbowroom.model.facing import facing_point
from elbowroom.model.judged import Judged, Method, Point
from elbowroom.model.meshes import Surface
from elbowroom.model.narrow import Kernel, Nearest, close_pairs, common, held, nearest
from elbowroom.model.tolerances import CONTACT_MM, EXACT_MM, FINER, NEAR_MM, VOLUME_REL

Array = NDArray[np.float64]


class Refiner(Protocol):
    """Gives a pair's more exact forms, when asked."""

    def exact(self) -> ExactPair | None: ...

    def finer(self, factor: float) -> tuple[Kernel, Kernel] | None: ...


@dataclass(frozen=True, slots=True, eq=False)
class _Pair:
    a: Kernel
    b: Kernel
    turn: Array
    move: Array

    @property
    def bound(self) -> float:
        return self.a.bound + self.b.bound

    @property
    def slack(self) -> float:
        return CONTACT_MM + self.a.grain + self.b.grain

    def into_b(self, point: Array) -> Array:
        out: Array = (point - self.move) @ self.turn
        return out

    def clear_of_curves(self, point: Array) -> bool:
        """Whether meshes and true solids are the same at the point, which is in a's coordinates."""
        return (
            self.a.enclosure.from_curved(point) > self.a.bound
            and self.b.enclosure.from_curved(self.into_b(point)) > self.b.bound
        )


def judge(a: Kernel, b: Kernel, turn: Array, move: Array, refiner: Refiner) -> Judged:
    """Judge body a against body b, which `turn` and `move` place in a's coordinates."""
    for kernel in (a, b):
        if kernel.fault is not None:
            return Judged("unknown", reason=f"a mesh is not sound: {kernel.fault}")
    pair = _Pair(a, b, turn, move)
    found = _by_meshes(pair)
    return found if found.kind != "unknown" else _settle(pair, refiner, found.reason)


def sharpen(a: Kernel, b: Kernel, turn: Array, move: Array, refiner: Refiner) -> Judged:
    """A narrower interval for a pair that was judged apart: by enclosures, the exact distance, finer meshes."""
    best = judge(a, b, turn, move, refiner)
    if best.kind != "apart":
        return best
    best = _narrower(best, _gap(_Pair(a, b, turn, move), nearest(a, b, turn, move), certify=True))
    low, high = _interval(best)
    if high - low <= EXACT_MM:
        return best
    exact = refiner.exact()
    if exact is not None and exact.mean_depth <= EXACT_MM and not exact.inner and _agrees(best, exact.distance):
        return _apart_exactly(exact)
    for factor in FINER:
        finer = refiner.finer(factor)
        if finer is None:
            break
        best = _narrower(best, _gap(_Pair(*finer, turn, move), nearest(*finer, turn, move), certify=True))
    return best


def _narrower(one: Judged, other: Judged) -> Judged:
    """Of two sound intervals, what both allow."""
    (low_1, high_1), (low_2, high_2) = _interval(one), _interval(other)
    low, high = max(low_1, low_2), min(high_1, high_2)
    at = one if high_1 < high_2 else other
    gap = min(max(at.gap or 0.0, low), high)
    bound = max(high - gap, gap - low)
    method: Method = "exact" if bound <= CONTACT_MM else "mesh"
    return Judged(
        "apart", 0.0, 0.0, gap, low, high, at.point_a, at.point_b, method, 0.0 if method == "exact" else bound
    )


def _agrees(found: Judged, distance: float) -> bool:
    low, high = _interval(found)
    return low - EXACT_MM <= distance <= high + EXACT_MM


def _interval(found: Judged) -> tuple[float, float]:
    """The interval of a gap between judged bodies."""
    assert found.low is not None
    assert found.high is not None
    return found.low, found.high


def _point(p: Array) -> Point:
    return (float(p[0]), float(p[1]), float(p[2]))


# By the meshes --------------------------------------------------------------------------------------------------------


def _by_meshes(pair: _Pair) -> Judged:
    near = nearest(pair.a, pair.b, pair.turn, pair.move)
    if near.distance > pair.bound + pair.slack:
        return _surfaces_apart(pair, near)
    return _surfaces_close(pair, near)


def _boxes_meet(pair: _Pair) -> bool:
    """Whether b's box, turned, and a's box share room: where they do not, no volume is shared."""
    b = pair.b
    corners = np.array([[x, y, z] for x in (b.lo[0], b.hi[0]) for y in (b.lo[1], b.hi[1]) for z in (b.lo[2], b.hi[2])])
    placed = corners @ pair.turn.T + pair.move
    return bool((placed.min(axis=0) <= pair.a.hi).all() and (placed.max(axis=0) >= pair.a.lo).all())


def _surfaces_apart(pair: _Pair, near: Nearest) -> Judged:
    """The surfaces do not meet, even the true ones: either one body is inside the other, or there is a gap."""
    shared = common(pair.a, pair.b, pair.turn, pair.move) if _boxes_meet(pair) else None
    a_in_b, b_in_a = held(pair.a, pair.b, pair.turn, pair.move)
    deep = None if shared is None else depth_of(shared, pair.bound)
    if a_in_b or b_in_a:
        if deep is None or deep.depth <= pair.slack:
            return Judged("unknown", reason="a point of one lies in the other, yet they share no volume")
        return _overlap(pair, deep, certified=True)
    if deep is not None and deep.volume_mm3 > VOLUME_REL * min(pair.a.mesh.volume_mm3, pair.b.mesh.volume_mm3):
        return Judged("unknown", reason="they share volume, yet their surfaces are apart and neither holds the other")
    return _gap(pair, near, certify=False)


def _gap(pair: _Pair, near: Nearest, certify: bool) -> Judged:
    """The interval of a gap. `certify` looks at every near triangle pair rather than at the whole extents only."""
    d, e = near.distance, pair.bound
    if e == 0.0:
        return Judged("apart", 0.0, 0.0, d, d, d, _point(near.point_a), _point(near.point_b), "exact", 0.0)
    a, b = pair.a.enclosure, pair.b.enclosure
    low, p, q = max(d - e, 0.0), near.point_a, near.point_b
    if d > 0.0:
        low = max(low, slab_gap(a, b, pair.turn, pair.move, (q - p) / d))
    if certify:
        low = max(low, _certified(pair, d) or 0.0)
    true_p, off_p = a.true_point(near.triangle_a, p)
    true_q, off_q = b.true_point(near.triangle_b, pair.into_b(q))
    true_q = true_q @ pair.turn.T + pair.move
    high = min(d + e, float(np.linalg.norm(true_q - true_p)) + off_p + off_q)
    if high - low > CONTACT_MM and (certify or d <= NEAR_MM):
        facing = facing_point(pair.a, pair.b, pair.turn, pair.move, d + CONTACT_MM, pair.clear_of_curves)
        if facing is not None:
            p, q = facing
            high = min(high, float(np.linalg.norm(q - p)))
    high = max(high, low)
    gap = min(max(d, low), high)
    bound = max(gap - low, high - gap)
    exact = bound <= CONTACT_MM
    return Judged(
        "apart", 0.0, 0.0, gap, low, high, _point(p), _point(q), "exact" if exact else "mesh", 0.0 if exact else bound
    )


def _certified(pair: _Pair, distance: float) -> float | None:
    """Sound lower bound of the true surfaces' gap (negative: not certified); None where nothing can be said."""
    margin = distance + 2 * pair.bound + pair.slack
    pairs = close_pairs(pair.a, pair.b, pair.turn, pair.move, margin)
    if pairs is None:
        return None
    i, j, towards = pairs
    if len(i) == 0:
        return margin - pair.bound
    gaps = pair_gaps(pair.a.enclosure, pair.b.enclosure, pair.turn, pair.move, (i, j), towards)
    return min(float(gaps.min()), margin - pair.bound)


def _surfaces_close(pair: _Pair, near: Nearest) -> Judged:
    """The surfaces meet, or are nearer than the bounds: overlap, contact or a small gap."""
    deep = depth_of(common(pair.a, pair.b, pair.turn, pair.move), pair.bound)
    if deep is not None and deep.depth > pair.slack:
        for point in deep.inner:
            if (
                (pair.bound == 0.0 or pair.clear_of_curves(point))
                and pair.a.holds(point)
                and pair.b.holds(pair.into_b(point))
            ):
                return _overlap(pair, deep, certified=False)
        return Judged("unknown", reason="they overlap by less than their curved faces are known to")
    if pair.bound == 0.0:
        if any(held(pair.a, pair.b, pair.turn, pair.move)) and near.distance > pair.slack:
            return Judged("unknown", reason="a point of one lies in the other, yet they share no volume")
        at = _point(near.point_a)
        if near.distance == 0.0:
            at = _touching_at(pair, at)
        return Judged("contact", 0.0, 0.0, 0.0, 0.0, 0.0, at, at, "exact", 0.0)
    low = _certified(pair, near.distance)
    if low is None or low < -pair.slack:
        return Judged("unknown", reason="their curved faces are nearer than they are known to")
    if low > pair.slack:
        return _gap(pair, near, certify=True)
    facing = facing_point(pair.a, pair.b, pair.turn, pair.move, pair.slack, pair.clear_of_curves)
    if facing is None:
        return Judged("unknown", reason="their faces meet within less than their curves are known to")
    return Judged("contact", 0.0, 0.0, 0.0, 0.0, 0.0, _point(facing[0]), _point(facing[0]), "exact", 0.0)


def _touching_at(pair: _Pair, otherwise: Point) -> Point:
    """A point where two flat bodies touch: of meeting triangles the kernel's witness points are not to be trusted."""
    facing = facing_point(pair.a, pair.b, pair.turn, pair.move, pair.slack, lambda _: True)
    if facing is not None:
        return _point(facing[0])
    own, other = pair.a.enclosure, pair.b.enclosure
    placed = pair.b.mesh.vertices @ pair.turn.T + pair.move
    for vertices, corners in ((placed, own.corners), (pair.a.mesh.vertices, other.corners @ pair.turn.T + pair.move)):
        surface = Surface(corners)
        for v in vertices[:200]:
            if surface.nearest(v)[0] <= pair.slack:
                return _point(v)
    return otherwise


def _overlap(pair: _Pair, deep: Depth, certified: bool) -> Judged:
    # Either end of the depth may lie on either body.
    bound = 0.0 if pair.bound == 0.0 or _between_flats(pair, deep) else 2 * max(pair.a.bound, pair.b.bound)
    return Judged(
        "overlap", deep.volume_mm3, deep.depth, None, max(deep.depth - bound, 0.0), deep.depth + bound,
        _point(deep.point_a), _point(deep.point_b), "exact" if bound == 0.0 else "mesh", bound,
    )  # fmt: skip


def _between_flats(pair: _Pair, deep: Depth) -> bool:
    """Whether the depth is that between two flat faces, owing nothing to tessellation.

    So it is where both its ends lie clear of curves, and beyond each end no curved face near the overlap of at least
    one of the bodies reaches.
    """
    if not all(pair.clear_of_curves(p) for p in (deep.point_a, deep.point_b)):
        return False
    along = (deep.point_b - deep.point_a) / max(deep.depth, 1e-300)
    start, end = float(deep.point_a @ along), float(deep.point_b @ along)
    box = deep.box + np.array([[-pair.bound], [pair.bound]])
    a = pair.a.enclosure.curved_extent(box, np.eye(3), np.zeros(3), along)
    b = pair.b.enclosure.curved_extent(box, pair.turn, pair.move, along)
    return max(a[0], b[0]) >= start - CONTACT_MM and min(a[1], b[1]) <= end + CONTACT_MM


# By the exact kernel, and by finer meshes -----------------------------------------------------------------------------


def _settle(pair: _Pair, refiner: Refiner, reason: str) -> Judged:
    """Decide what the meshes could not; `reason` says why they could not."""
    exact = refiner.exact()
    if exact is not None:
        found = _by_exact(pair, exact)
        if found.kind != "unknown":
            return found
        reason = f"{reason}; {found.reason}"
    for factor in FINER:
        finer = refiner.finer(factor)
        if finer is None:
            break
        if all(k.fault is None for k in finer):
            found = _by_meshes(_Pair(*finer, pair.turn, pair.move))
            if found.kind != "unknown":
                return found
    return Judged("unknown", reason=reason, bound=pair.bound)


def _by_exact(pair: _Pair, exact: ExactPair) -> Judged:
    """The exact kernel's answer, where volume, distance and the meshes tell one story."""
    deep = depth_of(common(pair.a, pair.b, pair.turn, pair.move), pair.bound)
    mesh_depth = 0.0 if deep is None else deep.depth
    distance = nearest(pair.a, pair.b, pair.turn, pair.move).distance
    if exact.mean_depth > EXACT_MM:
        if exact.distance > EXACT_MM and not exact.inner:
            return Judged("unknown", reason="the exact kernel finds both a common volume and a distance")
        if exact.mean_depth > mesh_depth + 2 * pair.bound + EXACT_MM:
            return Judged("unknown", reason="the exact kernel finds a common volume that the meshes do not")
        if deep is not None and mesh_depth > 2 * pair.bound:
            bound = 2 * max(pair.a.bound, pair.b.bound)
            ends, depth = (_point(deep.point_a), _point(deep.point_b)), mesh_depth
            return Judged("overlap", exact.volume_mm3, depth, None, depth - bound, depth + bound, *ends, "mesh", bound)
        high = max(exact.mean_depth, mesh_depth + pair.bound)
        middle = _point(exact.point_a if deep is None else (deep.point_a + deep.point_b) / 2)
        d = exact.mean_depth
        return Judged("overlap", exact.volume_mm3, d, None, d, high, middle, middle, "exact", 0.0)
    if mesh_depth > 4 * pair.bound + EXACT_MM:
        return Judged("unknown", reason="the meshes share a volume that the exact kernel does not find")
    if exact.inner or abs(exact.distance - distance) > pair.bound + EXACT_MM:
        return Judged("unknown", reason="the exact kernel's distance does not agree with the meshes")
    if exact.distance <= EXACT_MM:
        at = _point(exact.point_a)
        return Judged("contact", 0.0, 0.0, 0.0, 0.0, 0.0, at, at, "exact", 0.0)
    return _apart_exactly(exact)


def _apart_exactly(exact: ExactPair) -> Judged:
    d = exact.distance
    return Judged("apart", 0.0, 0.0, d, d, d, _point(exact.point_a), _point(exact.point_b), "exact", 0.0)
