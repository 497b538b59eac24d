"""Where a computation looked: the part of space outside of which nothing bears on its answer.

Owns the record and its form in the store. Whoever asks what stands somewhere (`freespace`, lists of what is near) notes
the box that was asked about, widened by what was wanted there; a body whose own box meets none of these cannot have had
a part in the answer, neither as what stood in the way nor as what did not. So an answer is kept under the bodies that
meet its record, and whatever happens elsewhere leaves it standing. Records are made of blocks, so that many boxes take
little room: a block is noted where a box only grazes it, which looks farther, never less far.
"""

from __future__ import annotations

import contextlib
import struct
import zlib
from collections.abc import Iterator
from contextvars import ContextVar

import numpy as np

from elbowroom.parts.vocabulary.arrays import Floats, Ints, Mask

BLOCK = 8.0  # mm: a finger is 16 wide; finer records tell few more bodies apart
_MOST = 20_000_000  # blocks of a record: 2 m each way; a wider one is not made
_SLACK = 0.01  # mm over all rounding and every tolerance of the engine that boxes are compared with

_NOW: ContextVar[Looked | None] = ContextVar("looked", default=None)


class Looked:
    """Boxes that were asked about, in case coordinates."""

    def __init__(self) -> None:
        self._lo: list[Floats] = []
        self._hi: list[Floats] = []

    def add(self, lo: Floats, hi: Floats) -> None:
        self._lo.append(np.array(lo, dtype=float).reshape(-1, 3) - _SLACK)
        self._hi.append(np.array(hi, dtype=float).reshape(-1, 3) + _SLACK)

    def record(self) -> Blocks | None:
        """The blocks that the boxes meet; None where they are too many, or a box has no end."""
        if not self._lo:
            return Blocks(np.zeros(3, dtype=np.int64), np.zeros((1, 1, 1), dtype=bool))
        ends = np.floor(np.hstack([np.concatenate(self._lo), np.concatenate(self._hi)]) / BLOCK)
        if not (np.abs(ends) < 1e6).all():
            return None
        rows = np.unique(ends.astype(np.int64), axis=0)
        first = rows[:, :3].min(axis=0)
        shape = rows[:, 3:].max(axis=0) - first + 1
        if shape.prod() > _MOST:
            return None
        filled = np.zeros(shape, dtype=bool)
        for a, b, c, d, e, f in (rows - np.tile(first, 2)).tolist():
            filled[a : d + 1, b : e + 1, c : f + 1] = True
        return Blocks(first, filled)


class Blocks:
    """A record: which blocks of space were looked at."""

    def __init__(self, first: Ints, filled: Mask) -> None:
        self.first, self.filled = first, filled

    def met(self, lo: Floats, hi: Floats) -> Ints:
        """Which of some boxes (n, 3) meet it."""
        n = np.array(self.filled.shape)
        a = np.floor(lo / BLOCK) - self.first
        b = np.floor(hi / BLOCK) - self.first
        near = np.nonzero(((a < n) & (b >= 0)).all(axis=1))[0]
        a, b = np.clip(a[near], 0, n).astype(int), np.clip(b[near] + 1, 0, n).astype(int)
        kept = [
            k
            for k, (i, j, m), (p, q, r) in zip(near.tolist(), a.tolist(), b.tolist(), strict=True)
            if self.filled[i:p, j:q, m:r].any()
        ]
        return np.array(kept, dtype=np.int64)

    def pack(self) -> bytes:
        head = struct.pack("<6q", *self.first.tolist(), *self.filled.shape)
        return head + zlib.compress(np.packbits(self.filled).tobytes(), 1)

    @classmethod
    def unpack(cls, data: bytes) -> Blocks:
        """The inverse of `pack`; raises ValueError, struct.error or zlib.error where the bytes are none of it."""
        numbers = struct.unpack("<6q", data[:48])
        shape = numbers[3:]
        if min(shape) < 1 or shape[0] * shape[1] * shape[2] > _MOST:
            raise ValueError("no record")
        bits = np.frombuffer(zlib.decompress(data[48:]), dtype=np.uint8)
        filled = np.unpackbits(bits, count=shape[0] * shape[1] * shape[2]).astype(bool).reshape(shape)
        return cls(np.array(numbers[:3], dtype=np.int64), filled)


def note(lo: Floats, hi: Floats, wider: float = 0.0) -> None:
    """Note boxes that are asked about, `wider` mm all round, where anyone keeps a record."""
    if (looked := _NOW.get()) is not None:
        looked.add(lo - wider, hi + wider)


def everywhere() -> None:
    """Note that an answer may depend on anything: it makes no record."""
    note(np.full(3, -np.inf), np.full(3, np.inf))


@contextlib.contextmanager
def looking() -> Iterator[Looked]:
    """Keep a record of all that is asked meanwhile; a record within a record is part of both."""
    outer, own = _NOW.get(), Looked()
    token = _NOW.set(own)
    try:
        yield own
    finally:
        _NOW.reset(token)
        if outer is not None:
            for lo, hi in zip(own._lo, own._hi, strict=True):
                outer.add(lo, hi)


@contextlib.contextmanager
def looking_aside() -> Iterator[None]:
    """Keep no record meanwhile: for questions about a body that the record holds already."""
    token = _NOW.set(None)
    try:
        yield
    finally:
        _NOW.reset(token)
