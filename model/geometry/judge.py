"""What two bodies are to each other: overlapping, in contact, apart, or not to be known.

Owns the rules by which independent tests are weighed: boxes, overlap volume, point in solid both ways, and triangle
distance on the meshes; the enclosures of the true surfaces; and the exact kernel where the verdict hangs on less than
the meshes' bounds. Tests that disagree, and that the exact kernel cannot settle, give `unknown`; never the nicer one.
"""

from __future__ import annotations

from typing import Protocol, assert_never

import numpy as np

from elbowroom.model.geometry.depth import Depth
from elbowroom.model.geometry.enclosure import slab_gap
from elbowroom.model.geometry.exact import ExactPair
from elbowroom.model.geometry.judged import Apart, Contact, Judged, Method, Overlap, Point, Undecided
from elbowroom.model.geometry.narrow import Kernel
from elbowroom.model.geometry.posed_pair import PosedPair
from elbowroom.model.tolerances import (
    CONTACT_MM,
    CURVE_FAULT_MM,
    EXACT_MM,
    FINER,
    NEAR_MM,
    SHALLOW,
    SHARPER,
    VOLUME_REL,
)
from elbowroom.parts.vocabulary.arrays import Floats


class Refiner(Protocol):
    """Gives a pair's more exact forms, when asked."""

    def exact(self) -> ExactPair | None: ...

    def finer(self, factor: float) -> tuple[Kernel, Kernel] | None: ...


def judge(a: Kernel, b: Kernel, turn: Floats, move: Floats, refiner: Refiner) -> Judged:
    """Judge body a against body b, which `turn` and `move` place in a's coordinates."""
    for kernel in (a, b):
        if kernel.fault is not None:
            return Undecided(f"a mesh is not sound: {kernel.fault}")
    pair = PosedPair(a, b, turn, move)
    found = _by_meshes(pair)
    match found:
        case Undecided():
            return _settle(pair, refiner, found.reason)
        case Overlap():
            return _deeper(found, pair, refiner) if found.bound > SHALLOW * found.depth else found
        case Apart() | Contact():
            return found
        case _:
            assert_never(found)


def _deeper(found: Overlap, pair: PosedPair, refiner: Refiner) -> Overlap:
    """A shallow overlap of curved bodies, whose facets make up much of its depth, measured on finer meshes."""
    finer = refiner.finer(FINER[0])
    if finer is None or any(k.fault is not None for k in finer):
        return found
    better = _by_meshes(PosedPair(*finer, pair.turn, pair.move))
    return better if isinstance(better, Overlap) else found


def sharpen(a: Kernel, b: Kernel, turn: Floats, move: Floats, refiner: Refiner) -> Judged:
    """A narrower interval for a pair that was judged apart: by enclosures and finer meshes, then the exact distance.

    The exact distance is one between two points, so it bounds the gap from above only, unless its line stands square on
    both faces: between cylinders a fraction of a degree off parallel the kernel's extrema stop up to 6 um too far apart
    (measured).
    """
    best = judge(a, b, turn, move, refiner)
    if not isinstance(best, Apart):
        return best
    best = _narrower(best, _gap(PosedPair(a, b, turn, move), certify=True))
    if best.high - best.low <= EXACT_MM:
        return best
    for factor in SHARPER:
        finer = refiner.finer(factor)
        if finer is None:
            break
        best = _narrower(best, _gap(PosedPair(*finer, turn, move), certify=True))
    exact = refiner.exact() if best.high - best.low > EXACT_MM else None
    if exact is not None and exact.mean_depth <= EXACT_MM and not exact.inner and _agrees(best, exact.distance):
        return _narrower(best, _above(exact, exact.distance if exact.square else best.low))
    return best


def _narrower(one: Apart, other: Apart) -> Apart:
    """Of two sound intervals, what both allow."""
    low, high = max(one.low, other.low), min(one.high, other.high)
    at = one if one.high < other.high else other
    gap = min(max(at.gap, low), high)
    bound = max(high - gap, gap - low)
    method: Method = "exact" if bound <= CONTACT_MM else "mesh"
    return Apart(gap, low, high, at.point_a, at.point_b, method, 0.0 if method == "exact" else bound)


def _agrees(found: Apart, distance: float) -> bool:
    return found.low - EXACT_MM <= distance <= found.high + EXACT_MM


def _point(p: Floats) -> Point:
    return (float(p[0]), float(p[1]), float(p[2]))


# By the meshes --------------------------------------------------------------------------------------------------------


def _by_meshes(pair: PosedPair) -> Judged:
    apart = pair.near.distance > pair.bound + pair.slack
    return _surfaces_apart(pair) if apart else _surfaces_close(pair)


def _surfaces_apart(pair: PosedPair) -> Judged:
    """The surfaces do not meet, even the true ones: either one body is inside the other, or there is a gap."""
    deep = pair.deep
    if pair.held():
        if deep is None or deep.low <= pair.slack:
            return Undecided("a point of one lies in the other, yet they share no volume")
        return _overlap(pair, deep)
    if deep is not None and deep.volume_mm3 > VOLUME_REL * min(pair.a.mesh.volume_mm3, pair.b.mesh.volume_mm3):
        return Undecided("they share volume, yet their surfaces are apart and neither holds the other")
    return _gap(pair, certify=False)


def _gap(pair: PosedPair, certify: bool) -> Apart:
    """The interval of a gap. `certify` looks at every near triangle pair rather than at the whole extents only."""
    near, e = pair.near, pair.bound
    d = near.distance
    if e == 0.0:
        return Apart(d, d, d, _point(near.point_a), _point(near.point_b), "exact", 0.0)
    a, b = pair.a.enclosure, pair.b.enclosure
    low, p, q = max(d - e, 0.0), near.point_a, near.point_b
    if d > 0.0:
        low = max(low, slab_gap(a, b, pair.turn, pair.move, (q - p) / d))
    if certify:
        low = max(low, pair.certified(d) or 0.0)
    true_p, off_p = a.true_point(near.triangle_a, p)
    true_q, off_q = b.true_point(near.triangle_b, pair.into_b(q))
    true_q = true_q @ pair.turn.T + pair.move
    high = min(d + e, float(np.linalg.norm(true_q - true_p)) + off_p + off_q)
    if high - low > CONTACT_MM and (certify or d <= NEAR_MM):
        facing = pair.facing(d + CONTACT_MM)
        if facing is not None:
            p, q = facing
            high = min(high, float(np.linalg.norm(q - p)))
    high = max(high, low)
    gap = min(max(d, low), high)
    bound = max(gap - low, high - gap)
    exact = bound <= CONTACT_MM
    return Apart(gap, low, high, _point(p), _point(q), "exact" if exact else "mesh", 0.0 if exact else bound)


def _surfaces_close(pair: PosedPair) -> Judged:
    """The surfaces meet, or are nearer than the bounds: overlap, contact or a small gap."""
    near, deep = pair.near, pair.deep
    if deep is not None and not pair.film(pair.slack):
        if deep.low > pair.slack and _surely_shared(pair, deep):
            return _overlap(pair, deep)
        return Undecided("they overlap by less than their faces are known to")
    if pair.bound == 0.0:
        if pair.held() and near.distance > pair.slack:
            return Undecided("a point of one lies in the other, yet they share no volume")
        return Contact(_point(pair.touching_at(near.point_a) if near.distance == 0.0 else near.point_a))
    low = pair.certified(near.distance)
    if low is None or low < -pair.slack:
        return Undecided("their curved faces are nearer than they are known to")
    if low > pair.slack:
        return _gap(pair, certify=True)
    facing = pair.facing(pair.slack)
    if facing is None:
        return Undecided("their faces meet within less than their curves are known to")
    return Contact(_point(facing[0]))


def _surely_shared(pair: PosedPair, deep: Depth) -> bool:
    """Whether some point well inside what the meshes share lies in both true solids."""
    return any(
        (pair.bound == 0.0 or pair.clear_of_curves(point)) and pair.a.holds(point) and pair.b.holds(pair.into_b(point))
        for point in deep.inner
    )


def _overlap(pair: PosedPair, deep: Depth) -> Overlap:
    # Either end of the depth may lie on either body.
    bound = 0.0 if pair.bound == 0.0 or pair.between_flats(deep) else 2 * max(pair.a.bound, pair.b.bound)
    low, high = max(deep.low - bound, 0.0), deep.high + bound
    off = max(deep.depth - low, high - deep.depth)
    exact = off <= CONTACT_MM
    return Overlap(
        deep.volume_mm3, deep.depth, low, high, _point(deep.point_a), _point(deep.point_b),
        "exact" if exact else "mesh", 0.0 if exact else off,
    )  # fmt: skip


# By the exact kernel, and by finer meshes -----------------------------------------------------------------------------


def _settle(pair: PosedPair, refiner: Refiner, reason: str) -> Judged:
    """Decide what the meshes could not; `reason` says why they could not.

    The exact kernel's word that nothing is shared is not enough for contact or a gap, since its common of near-tangent
    faces has come out empty: meshes must show the same, by what their faces can reach at most.
    """
    exact = refiner.exact()
    touching = False
    if exact is not None:
        found = _by_exact(pair, exact)
        if not isinstance(found, Undecided):
            return found
        reason = f"{reason}; {found.reason}"
        touching = exact.mean_depth <= EXACT_MM and exact.distance <= EXACT_MM and not exact.inner
    for factor in FINER:
        if factor > SHARPER[-1] and not touching:
            break  # only to tell touch is so fine a mesh worth its time
        finer = refiner.finer(factor)
        if finer is None:
            break
        if all(k.fault is None for k in finer):
            closer = PosedPair(*finer, pair.turn, pair.move)
            found = _by_meshes(closer)
            if not isinstance(found, Undecided):
                return found
            if exact is not None and touching and _only_touches(closer, CURVE_FAULT_MM):
                return Contact(_point(exact.point_a))
    return Undecided(reason, pair.bound)


def _only_touches(pair: PosedPair, within: float) -> bool:
    """Whether the meshes show that the true bodies share nothing thicker than `within` mm."""
    low = pair.certified(pair.near.distance, flats=not pair.film(within))
    return low is not None and low >= -within


def _by_exact(pair: PosedPair, exact: ExactPair) -> Judged:
    """The exact kernel's answer, where volume, distance and the meshes tell one story."""
    deep = pair.deep
    low_depth, high_depth = (0.0, 0.0) if deep is None else (deep.low, deep.high)
    distance = pair.near.distance
    either = 2 * max(pair.a.bound, pair.b.bound)  # both ends of a depth may lie on the coarser body
    if exact.mean_depth > EXACT_MM:
        if exact.distance > EXACT_MM and not exact.inner:
            return Undecided("the exact kernel finds both a common volume and a distance")
        if exact.mean_depth > high_depth + 2 * pair.bound + EXACT_MM:
            return Undecided("the exact kernel finds a common volume that the meshes do not")
        if deep is None or deep.low <= pair.slack:  # nowhere do the meshes share enough to be sure of it
            low = pair.certified(distance)
            if low is not None and low >= -pair.slack:
                return Undecided("the exact kernel finds a common volume, and the faces do not cross")
        low, high = max(exact.mean_depth, low_depth - either), max(high_depth + either, exact.mean_depth)
        if deep is not None and deep.low > either:
            depth, ends = deep.depth, (_point(deep.point_a), _point(deep.point_b))
        else:
            depth, ends = low, (_point(exact.point_a),) * 2
        bound = max(depth - low, high - depth)
        return Overlap(exact.volume_mm3, depth, low, high, *ends, "mesh", bound)
    if low_depth > either + EXACT_MM:
        return Undecided("the meshes share a volume that the exact kernel does not find")
    if exact.inner or abs(exact.distance - distance) > pair.bound + EXACT_MM:
        return Undecided("the exact kernel's distance does not agree with the meshes")
    if exact.distance <= EXACT_MM:
        if _only_touches(pair, pair.slack):
            return Contact(_point(exact.point_a))
        return Undecided("the exact kernel finds contact, and no more than that is sure")
    low_gap = pair.certified(distance, flats=not pair.film(pair.slack))
    if low_gap is None or low_gap <= pair.slack:
        return Undecided("the exact kernel finds a gap that the meshes do not show")
    return _above(exact, min(low_gap, exact.distance))


def _above(exact: ExactPair, low: float) -> Apart:
    """Apart by no more than the exact kernel's distance, and no less than `low`, which others have certified."""
    d = exact.distance
    bound = d - low
    method: Method = "exact" if bound <= CONTACT_MM else "mesh"
    return Apart(d, low, d, _point(exact.point_a), _point(exact.point_b), method, bound)
