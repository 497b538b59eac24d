"""Answers kept under what they looked at, so that they stand whatever happens elsewhere.

Owns how they lie in the store: where an answer looked (`looked`) is kept by the question alone, and the answer under
that record and all that stands in it. An answer is found again in every scene in which the same things meet its record.
Leaves to the caller what a question is, what stands where, and the form of an answer.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import struct
import zlib
from collections.abc import Callable
from typing import Any

from elbowroom.model import digest
from elbowroom.model.geometry.looked import Blocks, Looked
from elbowroom.model.store import Store


def digest_of(facts: list[Any]) -> bytes:
    """One key for facts that go into JSON, 16 bytes."""
    return hashlib.blake2b(json.dumps(facts).encode(), digest_size=16).digest()


class Alike:
    """One question's answers. facts: all that an answer depends on beside what stands about; standing: what meets a
    record here, told so that whatever an answer can take from it is in it.
    """

    MOST = 6  # records of one question: what comes and goes while one thinks about it

    def __init__(self, facts: list[Any], standing: Callable[[Blocks], list[Any]], store: Store) -> None:
        self.question = digest_of(["looked", digest.version(), *facts])
        self.standing, self.store = standing, store

    def _records(self) -> list[bytes]:
        data = self.store.records([self.question]).get(self.question)
        out = []
        while data:
            size = int.from_bytes(data[:4], "little")
            out.append(data[4 : 4 + size])
            data = data[4 + size :]
        return out

    def _key(self, record: bytes) -> bytes:
        there = self.standing(Blocks.unpack(record))
        return digest_of([self.question.hex(), hashlib.blake2b(record, digest_size=16).hexdigest(), there])

    def recall(self) -> bytes | None:
        """An answer that was kept."""
        keys = []
        for record in self._records():
            with contextlib.suppress(ValueError, struct.error, zlib.error):
                keys.append(self._key(record))
        found = self.store.records(keys)
        return next((found[k] for k in keys if k in found), None)

    def keep(self, looked: Looked, answer: bytes) -> None:
        blocks = looked.record()
        if blocks is None:
            return
        record = blocks.pack()
        records = [record, *(r for r in self._records() if r != record)][: self.MOST]
        index = b"".join(len(r).to_bytes(4, "little") + r for r in records)
        self.store.keep_records({self.question: index, self._key(record): answer})
