"""Answers about open heights, kept by content: whole ones, and which screws each height has.

Owns the keys (of a whole answer the words that place parts and fittings, the parts themselves, and the code; of screws
the pieces they join alone) and the form in the store. No kernel is loaded to read one. Leaves finding an answer to
`solving` and `stages`.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import struct
from collections.abc import Callable
from typing import Any

from elbowroom.model import digest
from elbowroom.model.build.entries import Build
from elbowroom.model.build.problems import Path
from elbowroom.model.build.source import Document
from elbowroom.model.heights.words import Wishes
from elbowroom.model.store import Store
from elbowroom.model.told.findings import Finding
from elbowroom.model.told.kept_findings import pack, unpack

# Sections of a build that a height depends on.
_SECTIONS = ("case", "stacks", "parts", "mates", "gaps", "screws", "loop", "tube", "fittings", "coolant", "cut")

Numbers = dict[Path, float]


def key_of(document: Document, wishes: Wishes, build: Build, layer: float) -> str:
    """Name of an answer in the store."""
    words = {k: document.values.get(k) for k in _SECTIONS}
    entries = [*([build.case] if build.case else []), *build.parts]
    entries += [e for s in build.stacks for e in (*s.layers, *s.outside)]
    parts = [[e.name, e.part.shape_key(), sorted((f, list(s)) for f, s in e.sources.items())] for e in entries]
    facts = [digest.version(), words, parts, [list(w.path) for w in wishes.heights], list(wishes.lifts), layer]
    return hashlib.blake2b(json.dumps(facts, default=str).encode(), digest_size=16).hexdigest()


def keep(store: Store, key: str, numbers: Numbers, findings: list[Finding]) -> None:
    rows = [[list(path), value] for path, value in numbers.items()]
    store.write(f"{key}.height", json.dumps([rows, pack(findings).decode()]).encode())


def recalled(store: Store, key: str) -> tuple[Numbers, list[Finding]] | None:
    data = store.read(f"{key}.height")
    if data is None:
        return None
    try:
        rows, findings = json.loads(data)
        numbers: Numbers = {tuple(path): float(value) for path, value in rows}
        return numbers, unpack(findings.encode())
    except (ValueError, TypeError, IndexError, AttributeError):
        return None


class Alike:
    """What is chosen and told of the same joints at each height, kept by content. facts: all it depends on beside."""

    def __init__(self, facts: list[Any], store: Store) -> None:
        text = json.dumps([digest.version(), "alike", facts])
        self._key = hashlib.blake2b(text.encode(), digest_size=16).digest()
        self._store = store

    def at(self, h: float, ask: Callable[[], tuple[str, tuple[str, ...]]]) -> tuple[str, tuple[str, ...]]:
        """What is chosen at height h, in words, and the ids of what is told against it."""
        key = hashlib.blake2b(self._key + struct.pack("<d", h), digest_size=16).digest()
        data: bytes | None = self._store.recall("record", key) or self._store.records([key]).get(key)
        if data is not None:
            with contextlib.suppress(ValueError, TypeError):
                chosen, told = json.loads(data)
                return str(chosen), tuple(map(str, told))
        found = ask()
        data = json.dumps(found).encode()
        self._store.remember("record", key, data)
        self._store.keep_records({key: data})
        return found
