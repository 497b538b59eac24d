"""Pairs of bodies: which are near enough to judge, what is already known of them, and judging the rest.

Owns the broad phase on boxes, the key a judged pair is kept under, and the `Checker`, which holds the kernels and every
judgement made in this process, so that after one part has moved only its own pairs are judged again. A pair is judged
in the coordinates of whichever body comes first by key, from their relative pose alone: so the answer cannot depend on
which of the two is asked about, nor on how the case stands. Leaves what a judgement means to the checks.
"""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property, partial
from typing import TYPE_CHECKING

import numpy as np

from elbowroom.model import digest
from elbowroom.model.geometry.judged import Apart, Judged, Point, Undecided, carried, from_bytes, to_bytes
from elbowroom.model.geometry.scene import Scene, Solid
from elbowroom.model.layout.layout import Piece
from elbowroom.model.store import Store
from elbowroom.model.tolerances import CONTACT_MM, FINER, POSE_MOVE_DIGITS, POSE_TURN_DIGITS
from elbowroom.parts.imported import child
from elbowroom.parts.vocabulary.arrays import Floats, Ints
from elbowroom.parts.vocabulary.base import Frame

if TYPE_CHECKING:
    from elbowroom.model.geometry.narrow import Kernel
    from elbowroom.model.geometry.refining import Exactly

Key = tuple[bytes, int, int, Floats]  # of a record; the pair in its canonical order; pose of the second in the first


class Boxes:
    """Boxes that hold all solids of a scene, as arrays."""

    def __init__(self, scene: Scene) -> None:
        n = len(scene.solids)
        # The true surface may stand out of its mesh by the mesh's bound: a gap between boxes must hold for it, too.
        bound = np.array([s.mesh.bound for s in scene.solids]).reshape(n, 1)
        self.lo = np.array([s.lo for s in scene.solids]).reshape(n, 3) - bound
        self.hi = np.array([s.hi for s in scene.solids]).reshape(n, 3) + bound

    def gap(self, i: Ints, j: Ints) -> Floats:
        """Distance between boxes i and j, mm; 0 where they meet."""
        return box_gap(self.lo[i], self.hi[i], self.lo[j], self.hi[j])


def box_gap(lo_a: Floats, hi_a: Floats, lo_b: Floats, hi_b: Floats) -> Floats:
    """Distance between boxes, mm, over the last axis; 0 where they meet."""
    out: Floats = np.linalg.norm(np.maximum(np.maximum(lo_b - hi_a, lo_a - hi_b), 0.0), axis=-1)
    return out


class Checker:
    """Judges pairs of bodies of one scene; remembers in the store, on disk and in memory."""

    def __init__(self, scene: Scene, store: Store) -> None:
        self.scene = scene
        self.store = store
        self.boxes = Boxes(scene)
        self._identity = [f"{s.shape.key}/{s.body.name}" for s in scene.solids]
        # Which body of a pair is the first is told by what they are: were it told by their keys, which hold the digest
        # of all code, another of several equally near points might be told with every new version.
        parts = {s.shape.key: f"{s.piece.part.family}|{s.piece.part.shape_key()}" for s in scene.solids}
        self._named = [f"{parts[s.shape.key]}/{s.body.name}" for s in scene.solids]
        self._turn = np.array([s.pose[:3, :3] for s in scene.solids]).reshape(-1, 3, 3)
        self._move = np.array([s.pose[:3, 3] for s in scene.solids]).reshape(-1, 3)
        self._pieces = {p.name: p for p in scene.layout.pieces}
        self._order: dict[tuple[int, int], tuple[int, int, Floats]] = {}
        self._fresh: dict[bytes, bytes] = {}

    # Frames ---------------------------------------------------------------------------------------------------------

    def piece(self, name: str) -> Piece:
        """The layout's piece of that name; KeyError where there is none."""
        return self._pieces[name]

    def frame(self, piece: Piece, name: str) -> Frame:
        """A frame of a piece's part; KeyError where it has none."""
        return piece.frame(name)

    # Keys -----------------------------------------------------------------------------------------------------------

    def _index(self, pairs: Sequence[tuple[int, int]]) -> None:
        """Work out canonical order, relative pose and its bytes of pairs not asked about before."""
        new = [p for p in pairs if p not in self._order]
        if not new:
            return
        i, j = np.array(new).T
        there, back = self._poses_in(i, j), self._poses_in(j, i)
        for k, (one, other) in enumerate(new):
            name, other_name = self._named[one], self._named[other]
            swap = name > other_name or (name == other_name and back[k].tobytes() < there[k].tobytes())
            self._order[(one, other)] = (other, one, back[k]) if swap else (one, other, there[k])

    def _poses_in(self, i: Ints, j: Ints) -> Floats:
        """Rounded poses (k, 3, 4) of solids j in the coordinates of solids i."""
        back = self._turn[i].transpose(0, 2, 1)
        rel = np.empty((len(i), 3, 4))
        rel[:, :, :3] = np.round(back @ self._turn[j], POSE_TURN_DIGITS)
        rel[:, :, 3] = np.round((back @ (self._move[j] - self._move[i])[:, :, None])[:, :, 0], POSE_MOVE_DIGITS)
        return rel + 0.0  # no negative zero: it would be another key

    def key(self, i: int, j: int, sort: str) -> Key:
        """Key of a pair's record of that sort, the pair's canonical order, and its relative pose."""
        self._index([(i, j)])
        first, second, rel = self._order[(i, j)]
        text = f"{sort}|{self._identity[first]}|{self._identity[second]}|".encode()
        return (
            hashlib.blake2b(digest.version().encode() + text + rel.tobytes(), digest_size=16).digest(),
            first,
            second,
            rel,
        )

    # Records --------------------------------------------------------------------------------------------------------

    def recall(self, key: bytes) -> bytes | None:
        """A record made earlier, in this process or another."""
        found: bytes | None = self.store.recall("record", key)
        if found is None:
            found = self.store.records([key]).get(key)
            if found is not None:
                self.store.remember("record", key, found)
        return found

    def keep(self, key: bytes, value: bytes) -> None:
        """Remember a record; `flush` writes it out."""
        self.store.remember("record", key, value)
        self._fresh[key] = value

    def flush(self) -> None:
        """Write out what was judged since the last time."""
        self.store.keep_records(self._fresh)
        self._fresh = {}

    def prefetch(self, pairs: Sequence[tuple[int, int]], sort: str = "pair") -> None:
        """Read the records of many pairs at once."""
        self._index(pairs)
        keys = [self.key(i, j, sort)[0] for i, j in pairs]
        absent = [k for k in keys if self.store.recall("record", k) is None]
        for key, value in self.store.records(absent).items():
            self.store.remember("record", key, value)

    # Judging --------------------------------------------------------------------------------------------------------

    def kernel(self, solid: Solid) -> Kernel:
        """The mesh kernels of a solid's body, shared by all that look the same."""
        from elbowroom.model.geometry.narrow import Kernel

        key = (solid.shape.key, solid.body.name)
        found: Kernel | None = self.store.recall("kernel", key)
        if found is None:
            found = Kernel(solid.mesh)
            self.store.remember("kernel", key, found)
        return found

    def judge(self, i: int, j: int, wanted: float | None = None) -> Judged:
        """What solids i and j are to each other; points in case coordinates, on i and on j.

        Where the gap's interval straddles `wanted` (mm), it is narrowed until it clears it, as far as can be.
        """
        found = self._judged(i, j, "pair", None)
        if isinstance(found, Apart) and wanted is not None and _straddles(found, wanted):
            found = self._judged(i, j, "sharp", found)
        return found

    def _judged(self, i: int, j: int, sort: str, rough: Judged | None) -> Judged:
        """The pair's record; `rough` is the judgement to sharpen, in case coordinates, where that is asked."""
        key, first, second, rel = self.key(i, j, sort)
        data = self.recall(key)
        found = None
        if data is not None:
            try:
                found = from_bytes(data)
            except (ValueError, TypeError):  # a record of no use is made again
                found = None
        if found is None:
            found, sure = self._make(first, second, rel, rough)
            if sure:
                self.keep(key, to_bytes(found))
            else:  # in memory only: another run may have more time
                self.store.remember("record", key, to_bytes(found))
        return carried(found, partial(self._placed, first), swapped=first != i)

    def _make(self, first: int, second: int, rel: Floats, rough: Judged | None) -> tuple[Judged, bool]:
        """The judgement, and whether it is all that can be had of the pair."""
        from elbowroom.model.geometry.judge import judge, sharpen
        from elbowroom.model.geometry.refining import Refiner

        one, other = self.scene.solids[first], self.scene.solids[second]
        a, b = self.kernel(one), self.kernel(other)
        turn, move = np.ascontiguousarray(rel[:, :3]), np.ascontiguousarray(rel[:, 3])
        refiner = Refiner(self, one, other, turn, move)
        found = judge(a, b, turn, move, refiner) if rough is None else sharpen(a, b, turn, move, refiner)
        if refiner.lost is not None and isinstance(found, Undecided):
            found = replace(found, reason=f"{found.reason}, and the exact kernel gave no answer: {refiner.lost}")
        return found, refiner.lost is None

    def finer(self, solid: Solid, factor: float) -> Kernel:
        """A body's kernels at a finer chord, a user's mesh as it is; `child.Lost` where it cannot be drawn again."""
        from elbowroom.model.geometry.narrow import Kernel

        key = (solid.shape.key, solid.body.name, factor)
        found: Kernel | None = self.store.recall("kernel", key)
        if found is None:
            mesh = None if solid.mesh.bound == 0.0 else self.exactly.finer(solid, factor)
            found = self.kernel(solid) if mesh is None else Kernel(mesh)
            self.store.remember("kernel", key, found)
        return found

    def reach(self, i: int, along: Floats, limits: Sequence[float]) -> tuple[float, float]:
        """Least and most that solid i's farthest point along a unit direction of the case may have as its coordinate,
        mm; known better and better as long as one of the limits lies between."""
        from elbowroom.model.geometry.extents import reach

        solid = self.scene.solids[i]
        turned = np.round(along @ self._turn[i], POSE_TURN_DIGITS) + 0.0
        off = float(along @ self._move[i])
        marks = np.round(np.array(limits) - off, POSE_MOVE_DIGITS) + 0.0
        text = f"reach|{self._identity[i]}|".encode()
        key = hashlib.blake2b(
            digest.version().encode() + text + turned.tobytes() + marks.tobytes(), digest_size=16
        ).digest()
        data = self.recall(key)
        if data is not None and len(data) == 16:
            low, high = struct.unpack("<2d", data)
            return low + off, high + off
        low, high = reach(self.kernel(solid).enclosure, turned)
        sure = True
        for factor in FINER:
            if solid.mesh.bound == 0.0 or not any(low <= m < high for m in marks):
                break
            try:
                closer = reach(self.finer(solid, factor).enclosure, turned)
            except child.Lost:
                sure = False
                break
            low, high = max(low, closer[0]), max(min(high, closer[1]), low, closer[0])
        if sure:
            self.keep(key, struct.pack("<2d", low, high))
        return low + off, high + off

    @cached_property
    def exactly(self) -> Exactly:
        from elbowroom.model.geometry.refining import Exactly

        return Exactly(self.store)

    def _placed(self, i: int, point: Point) -> Point:
        """A point of solid i's coordinates in the case's."""
        p = self._turn[i] @ np.array(point) + self._move[i]
        return (float(p[0]), float(p[1]), float(p[2]))


def _straddles(found: Apart, wanted: float) -> bool:
    return found.low < wanted - CONTACT_MM <= found.high
