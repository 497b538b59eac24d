"""One body slid straight past another: does it run into it, and after how many millimetres?

Owns the exact answer for two meshes. Of two bodies that share no room, one runs into the other along a direction if and
only if some line along it leaves the first and then enters the second; how far it goes before is the least such way
between a face that looks ahead and one that looks back. So every pair of such faces is held against each other, seen
along the slide: no step is taken, and nothing can be stepped over. Flat bodies are exact to rounding; where curved ones
pass by less than their meshes are known to, it is `thin` and not decided here. What lies flush and is slid along has no
width. Leaves which bodies may brush each other, and what is made of an answer, to its callers.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.tolerances import CONTACT_MM
from elbowroom.parts.vocabulary.arrays import Floats, Ints

LEVEL_MM = 2 * CONTACT_MM  # heights along a slide nearer than this are one: what touches ahead is ahead
FILM_MM = 2 * CONTACT_MM  # what is no wider, seen along a slide, lies flush
EDGEWISE = 1e-7  # cosine to the slide under which a face stands along it and meets nothing; rounding of poses is 1e-12
FAR = 1e7  # mm: a slide without an end
_CELLS = (
    48  # squares each way at most that the faces of a body are listed by: beyond it squares cost more than they save
)


@dataclass(frozen=True, slots=True)
class Ran:
    """A body that is run into after `travel` mm. at: where, in case coordinates, on the body that stands. thin: what
    meets is nowhere wider than the meshes are known to, so that the true bodies may pass."""

    travel: float
    at: tuple[float, float, float]
    thin: bool = False


def along(way: Floats) -> tuple[Floats, bool]:
    """Axes (3, 3) as columns, the last along `way` or against it, one set for both; and whether it is against."""
    d = np.asarray(way, dtype=float)
    first = int(np.flatnonzero(np.abs(d) > EDGEWISE)[0])
    against = bool(d[first] < 0)
    z = -d if against else d
    x = np.cross(np.eye(3)[int(np.argmin(np.abs(z)))], z)
    x /= np.linalg.norm(x)
    return np.column_stack([x, np.cross(z, x), z]), against


@dataclass(frozen=True, eq=False)
class Side:
    """The faces of a body that look one way along a slide: corners (n, 6), planes (n, 3) and boxes (n, 6)."""

    corners: Floats
    planes: Floats
    boxes: Floats

    @cached_property
    def squares(self) -> tuple[Ints, Ints, Floats]:
        """The faces by squares of the ground that they stand over, and the grid of these."""
        from elbowroom.model.geometry.inside import spans

        if not len(self.boxes):
            return np.zeros(2, dtype=np.int64), np.zeros(0, dtype=np.int64), np.array([0.0, 0.0, 1.0, 1.0, 1.0])
        lo, hi = self.boxes[:, [0, 2]].min(axis=0), self.boxes[:, [1, 3]].max(axis=0)
        n = int(np.clip(np.sqrt(len(self.boxes)), 1, _CELLS))
        cell = np.maximum((hi - lo) / n, CONTACT_MM)
        i0, i1 = (
            np.clip(np.floor((self.boxes[:, k] - lo) / cell).astype(np.int64), 0, n - 1) for k in ([0, 2], [1, 3])
        )
        wide = i1 - i0 + 1
        owner, k = spans(wide[:, 0] * wide[:, 1])
        where = (i0[owner, 0] + k // wide[owner, 1]) * n + i0[owner, 1] + k % wide[owner, 1]
        order = np.argsort(where, kind="stable")
        first = np.searchsorted(where[order], np.arange(n * n + 1)).astype(np.int64)
        return first, np.ascontiguousarray(owner[order]), np.array([*lo, *cell, float(n)])


def _side(seen: Floats, turned: bool) -> Side:
    """Faces (n, 3, 3) with their corners the right way round, or turned."""
    t = seen[:, [0, 2, 1]] if turned else seen
    e, f = t[:, 1] - t[:, 0], t[:, 2] - t[:, 0]
    twice = e[:, 0] * f[:, 1] - e[:, 1] * f[:, 0]
    p = (e[:, 2] * f[:, 1] - e[:, 1] * f[:, 2]) / twice
    q = (e[:, 0] * f[:, 2] - e[:, 2] * f[:, 0]) / twice
    planes = np.column_stack([p, q, t[:, 0, 2] - p * t[:, 0, 0] - q * t[:, 0, 1]])
    boxes = np.stack([t.min(axis=1), t.max(axis=1)], axis=2).reshape(-1, 6)
    return Side(np.ascontiguousarray(t[..., :2].reshape(-1, 6)), planes, np.ascontiguousarray(boxes))


@dataclass(frozen=True, eq=False)
class Profile:
    """A body as it is seen along a direction: vertices (n, 3) in the axes of `along`, triangles (m, 3) outward."""

    vertices: Floats
    triangles: NDArray[np.int32]

    @cached_property
    def lo(self) -> Floats:
        out: Floats = self.vertices.min(axis=0)
        return out

    @cached_property
    def hi(self) -> Floats:
        out: Floats = self.vertices.max(axis=0)
        return out

    @cached_property
    def _leaning(self) -> tuple[Floats, Floats]:
        seen = self.vertices[self.triangles]
        normal = np.cross(seen[:, 1] - seen[:, 0], seen[:, 2] - seen[:, 0])
        lean = normal[:, 2] / np.maximum(np.linalg.norm(normal, axis=1), CONTACT_MM**2)
        return seen, lean

    @cached_property
    def ahead(self) -> Side:
        seen, lean = self._leaning
        return _side(seen[lean > EDGEWISE], False)

    @cached_property
    def back(self) -> Side:
        seen, lean = self._leaning
        return _side(seen[lean < -EDGEWISE], True)


def profile(vertices: Floats, triangles: NDArray[np.int32], axes: Floats) -> Profile:
    return Profile(vertices @ axes, triangles)


def run_into(a: Profile, b: Profile, axes: Floats, against: bool, shift: Floats, far: float, wide: float) -> Ran | None:
    """What becomes of body a, moved by `shift` and then slid `far` mm along the last axis, or against it: None where it
    passes b. wide: mm; what is no wider, seen along the slide, is thin.
    """
    s = shift @ axes
    off = s if not against else -s
    front, rear = (a, b) if not against else (b, a)
    lo, hi = front.lo + off, front.hi + off
    if (np.minimum(hi, rear.hi) - np.maximum(lo, rear.lo))[:2].min() <= FILM_MM:
        return None
    if rear.hi[2] < lo[2] - LEVEL_MM or rear.lo[2] - hi[2] > far:
        return None
    from elbowroom.model.insertion.kernels import CORNERS, KEPT
    from elbowroom.model.insertion.kernels import run_into as compiled

    one, other = front.ahead, rear.back
    first, items, grid = other.squares
    best = np.array([np.inf, 0.0, 0.0, 0.0])
    thin, corners, thin_far = np.empty((KEPT, CORNERS, 2)), np.zeros(KEPT, dtype=np.int64), np.zeros(KEPT)
    n = compiled(
        one.corners, one.planes, one.boxes, other.corners, other.planes, other.boxes, first, items, grid,
        np.ascontiguousarray(off), LEVEL_MM, far, FILM_MM, max(wide, FILM_MM), best, thin, corners, thin_far,
    )  # fmt: skip
    slight = False
    if not np.isfinite(best[0]):
        if not n:
            return None
        kept = min(n, KEPT)
        slight = n <= KEPT and _nowhere_wider([thin[k, : corners[k]] for k in range(kept)], wide)
        k = int(np.argmin(thin_far[:kept]))
        best[:3] = thin_far[k], *thin[k, : corners[k]].mean(axis=0)
        best[3] = rear.lo[2] if not against else rear.hi[2]
    where = axes @ best[1:]
    if against:  # the point is on a as it stood
        where = where + shift - axes[:, 2] * best[0]
    return Ran(float(best[0]), (float(where[0]), float(where[1]), float(where[2])), slight)


def _nowhere_wider(places: list[Floats], wide: float) -> bool:
    """Whether polygons together hold no disc of that diameter, mm."""
    import shapely

    whole = shapely.union_all([shapely.Polygon(p).buffer(0) for p in places if len(p) > 2])
    return bool(whole.buffer(-wide / 2).is_empty)
