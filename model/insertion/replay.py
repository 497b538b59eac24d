"""A step played again: do the pieces really pass, and by how much at the narrowest?

Owns the second opinion on every way that is told. It shares nothing with how ways are found: here bodies are moved
along and their distance is asked for over and over, each time farther on by no more than they are apart, so that they
cannot meet in between. Where they touch, or are meant to slide along each other, what they share is looked at every
STEP_MM; it must stay within what the meshes are known to. Also tells the least gap along the way, within NARROW_MM, and
where.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import coal
import numpy as np

from elbowroom.model.digest import version
from elbowroom.model.geometry.depth import depth_of
from elbowroom.model.geometry.narrow import Kernel
from elbowroom.model.insertion.blocking import Blocking
from elbowroom.model.insertion.ways import Way
from elbowroom.model.store import Store
from elbowroom.model.tolerances import CONTACT_MM, POSE_MOVE_DIGITS
from elbowroom.parts.vocabulary.arrays import Floats, Ints, Vector
from elbowroom.parts.vocabulary.pose import Pose, apply, compose, inverse, shift

STEP_MM = 1.0  # mm between two looks at bodies that touch; they are held apart or together by what they slide on
NARROW_MM = 0.25  # mm: a gap along a way is told to this, and lower by it where it is told at worst; by choice
FINE_MM = 0.01  # mm: the least step between two looks at bodies that all but touch: what calipers show
WIDE_MM = 5.0  # mm: wider gaps are not told; a hand guides a part through less
TOUCHING_MM = 1e-4  # mm: bodies nearer than this are taken to touch: the engine's distance is good to 1e-5

_HERE = coal.Transform3s()


@dataclass(frozen=True, slots=True)
class Narrowest:
    """The least gap of a way, mm: at least `low`, between which bodies (piece/body), and where on them."""

    gap: float
    low: float
    bodies: tuple[str, str]
    at: tuple[tuple[float, float, float], tuple[float, float, float]]


@dataclass(frozen=True, slots=True)
class Replayed:
    """What came of a step played again. hits: bodies that share room on the way, after how many mm, and how deep.
    narrowest: None where nothing is nearer than WIDE_MM beside what the pieces slide along."""

    hits: tuple[tuple[str, str, float, float], ...]
    narrowest: Narrowest | None

    @property
    def free(self) -> bool:
        return not self.hits


@dataclass(frozen=True, slots=True, eq=False)
class _Stretch:
    """Part of a way in which every point moves at most `far` mm: from one motion to another, evenly."""

    start: Pose
    way: Vector | None
    far: float
    end: Pose | None = None

    def at(self, t: float) -> Pose:
        if self.way is not None:
            return compose(shift(*(float(v) for v in self.way * t)), self.start)
        assert self.end is not None
        return between(self.start, self.end, t / self.far if self.far > 0 else 1.0)


def between(a: Pose, b: Pose, share: float) -> Pose:
    """The motion a share of the way from one to another: its turn about one axis, its origin along a line."""
    turn = a[:3, :3].T @ b[:3, :3]
    angle = float(np.arccos(np.clip((np.trace(turn) - 1) / 2, -1.0, 1.0)))
    axis = np.array([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]])
    size = float(np.linalg.norm(axis))
    out = np.eye(4)
    out[:3, :3] = a[:3, :3]
    if size > 0:
        x, y, z = axis / size
        k = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
        some = angle * share
        out[:3, :3] = a[:3, :3] @ (np.eye(3) + np.sin(some) * k + (1 - np.cos(some)) * (k @ k))
    out[:3, 3] = (1 - share) * a[:3, 3] + share * b[:3, 3]
    return out


def farthest_moved(a: Pose, b: Pose, points: Floats) -> float:
    """mm that no point of a hull moves more than, along the motion of `between` from a to b."""
    turn = a[:3, :3].T @ b[:3, :3]
    angle = float(np.arccos(np.clip((np.trace(turn) - 1) / 2, -1.0, 1.0)))
    return float(np.linalg.norm(b[:3, 3] - a[:3, 3])) + angle * float(np.linalg.norm(points, axis=1).max())


class Replay:
    """Plays ways in one scene."""

    def __init__(self, blocking: Blocking, store: Store) -> None:
        self.blocking, self.scene, self.store = blocking, blocking.scene, store

    def kernel(self, k: int) -> Kernel:
        return self.blocking.checker.kernel(self.scene.solids[k])

    def play(self, units: Iterable[str], standing: Iterable[str], way: Way, start: Pose | None = None) -> Replayed:
        """start: a motion of the units that the way begins from; left out, from where they stand."""
        moving = np.array([k for n in sorted(units) for k in self.blocking.rows[n].tolist()], dtype=np.int64)
        others = np.array([k for n in sorted(standing) for k in self.blocking.rows[n].tolist()], dtype=np.int64)
        parts = [(part, self._near(moving, others, part)) for part in self._stretches(way, moving, start)]
        key = self._key(parts)
        kept = self.store.records([key]).get(key)
        if kept is not None:
            return _unpacked(kept)
        found = self._played(parts)
        self.store.keep_records({key: json.dumps([found.hits, _plain(found.narrowest)]).encode()})
        return found

    def _key(self, parts: Sequence[tuple[_Stretch, list[tuple[int, int, float]]]]) -> bytes:
        """All that an answer depends on: the way, and every two bodies that come near each other on it."""
        digest = hashlib.blake2b(f"{version()}|replay|".encode(), digest_size=16)
        for part, near in parts:
            for p in (part.at(0.0), part.at(part.far)):
                digest.update((np.round(p, POSE_MOVE_DIGITS) + 0.0).tobytes())
            for i, j, _ in near:
                for k in (i, j):
                    s = self.scene.solids[k]
                    digest.update(f"{s.name}|{s.shape.key}|".encode())
                    digest.update((np.round(s.pose, POSE_MOVE_DIGITS) + 0.0).tobytes())
                digest.update(bytes([(i, j) in self.blocking.mated, (i, j) in self.blocking.let_by]))
        return digest.digest()

    def _played(self, parts: Sequence[tuple[_Stretch, list[tuple[int, int, float]]]]) -> Replayed:
        hits: list[tuple[str, str, float, float]] = []
        best: Narrowest | None = None
        gone = 0.0
        for part, near in parts:
            for i, j, least in near:
                slides = (i, j) in self.blocking.mated
                if least >= (-2 * CONTACT_MM if slides else WIDE_MM if best is None else best.gap - NARROW_MM):
                    continue
                if (i, j) in self.blocking.let_by or self.blocking.clashing(i, j):
                    continue
                hit, best = self._pair(i, j, part, best, least)
                if hit is not None:
                    one, other = self.scene.solids[i].name, self.scene.solids[j].name
                    hits.append((one, other, gone + hit[0], hit[1]))
            gone += part.far
        return Replayed(tuple(hits), best)

    def _stretches(self, way: Way, moving: Ints, start: Pose | None) -> Iterator[_Stretch]:
        here: Pose = np.eye(4) if start is None else start
        points = np.vstack([self.blocking.vertices[k] for k in moving])
        for pose in way.poses:
            yield _Stretch(here, None, farthest_moved(here, pose, points), pose)
            here = pose
        for leg in way.legs:
            part = _Stretch(here, leg.way, leg.far)
            yield part
            here = part.at(leg.far)

    def _near(self, moving: Ints, others: Ints, part: _Stretch) -> list[tuple[int, int, float]]:
        """Pairs of which the one may come within WIDE_MM of the other, with what they are apart at least all the way.

        A plane that parts two bodies, and that the one moves along or away from, parts them all the way: they are apart
        by the room between it and them at least, below 0 where there is no such plane among those along the case.
        """
        if not len(others):
            return []
        boxes, own = self.blocking.checker.boxes, self.blocking.bounds[others][:, None]
        out = []
        for i in moving.tolist():
            v = self.blocking.vertices[i]
            ends = [v @ p[:3, :3].T + p[:3, 3] for p in (part.at(0.0), part.at(part.far))]
            more = 0.0 if part.way is not None else part.far / 2
            # Boxes of the meshes themselves: what these may be off by is counted where a gap is told.
            a = np.minimum(ends[0].min(axis=0), ends[1].min(axis=0)) - more
            b = np.maximum(ends[0].max(axis=0), ends[1].max(axis=0)) + more
            lo, hi = boxes.lo[others] + own, boxes.hi[others] - own
            apart = np.maximum(lo - b, a - hi).max(axis=1)
            out += [(i, int(others[k]), float(apart[k])) for k in np.flatnonzero(apart <= WIDE_MM).tolist()]
        return sorted(out, key=lambda p: (-p[2], p[0], p[1]))

    def _pair(
        self, i: int, j: int, part: _Stretch, best: Narrowest | None, surely: float
    ) -> tuple[tuple[float, float] | None, Narrowest | None]:
        """surely: mm that they are apart at least; where that is not below 0, only the gap is asked."""
        parted = surely >= -2 * CONTACT_MM
        a, b = self.kernel(i), self.kernel(j)
        one, other = self.scene.solids[i], self.scene.solids[j]
        slides = (i, j) in self.blocking.mated
        bound = a.bound + b.bound
        stands = coal.Transform3s(np.ascontiguousarray(other.pose[:3, :3]), np.ascontiguousarray(other.pose[:3, 3]))
        request, result = coal.DistanceRequest(True, 0.0, 0.0), coal.DistanceResult()
        t = 0.0
        while True:
            at = compose(part.at(t), one.pose)
            place = coal.Transform3s(np.ascontiguousarray(at[:3, :3]), np.ascontiguousarray(at[:3, 3]))
            result.clear()
            d = max(0.0, float(coal.distance(a.bvh, place, b.bvh, stands, request, result)))
            if d <= TOUCHING_MM and not parted:
                deep = self._deep(a, b, compose(inverse(at), other.pose), bound)
                if deep > 0:
                    return (t, deep), best
            least = WIDE_MM if best is None else best.gap
            if not slides and d < least - NARROW_MM:
                p, q = (tuple(float(x) for x in n) for n in (result.getNearestPoint1(), result.getNearestPoint2()))
                best = Narrowest(d, max(0.0, d - bound - NARROW_MM), (one.name, other.name), (_three(p), _three(q)))
                least = d
            if t >= part.far or (parted and least <= max(surely, 0.0) + NARROW_MM):
                return None, best
            if d <= TOUCHING_MM:
                on = STEP_MM
            else:
                # Two looks h apart leave no more than h / 2 unseen: the gap is told to NARROW_MM.
                on = max(d - least, 0.0) + 2 * NARROW_MM if not slides else max(d, STEP_MM)
                on = on if parted or slides else min(on, max(d, FINE_MM))
            t = min(part.far, t + on)

    def meets(self, moving: Iterable[str], standing: Iterable[str], motion: Pose) -> bool:
        """Whether some units, moved by a motion of the case, share room with those that stand."""
        boxes = self.blocking.checker.boxes
        others = np.array([k for n in sorted(standing) for k in self.blocking.rows[n].tolist()], dtype=np.int64)
        for i in [k for n in sorted(moving) for k in self.blocking.rows[n].tolist()]:
            v = apply(motion, self.blocking.vertices[i])
            near = (boxes.lo[others] <= v.max(axis=0)).all(axis=1) & (boxes.hi[others] >= v.min(axis=0)).all(axis=1)
            one = self.scene.solids[i]
            at = compose(motion, one.pose)
            for j in others[near].tolist():
                if (i, j) in self.blocking.let_by or self.blocking.clashing(i, j):
                    continue
                a, b = self.kernel(i), self.kernel(j)
                if self._deep(a, b, compose(inverse(at), self.scene.solids[j].pose), a.bound + b.bound) > 0:
                    return True
        return False

    @staticmethod
    def _deep(a: Kernel, b: Kernel, rel: Pose, bound: float) -> float:
        """mm that touching bodies share beyond what their meshes are known to; 0 for none."""
        from elbowroom.model.geometry.narrow import common

        shared = common(a, b, np.ascontiguousarray(rel[:3, :3]), np.ascontiguousarray(rel[:3, 3]))
        found = depth_of(shared, CONTACT_MM, bound)
        allowed = max(bound, 2 * CONTACT_MM)
        return 0.0 if found is None or found.high <= allowed or found.depth <= allowed else found.depth


def _three(p: tuple[float, ...]) -> tuple[float, float, float]:
    return (p[0], p[1], p[2])


def _plain(n: Narrowest | None) -> Any:
    return None if n is None else [n.gap, n.low, n.bodies, n.at]


def _unpacked(data: bytes) -> Replayed:
    hits, n = json.loads(data)
    narrowest = None
    if n is not None:
        one, other = (_three(tuple(p)) for p in n[3])
        narrowest = Narrowest(n[0], n[1], (n[2][0], n[2][1]), (one, other))
    return Replayed(tuple((a, b, float(t), float(d)) for a, b, t, d in hits), narrowest)
