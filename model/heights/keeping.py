"""Answers about open heights, kept by content.

Owns the key (the words that place parts and fittings, the parts themselves, and the code) and the form in the store. No
kernel is loaded to read one. Leaves finding an answer to `solving`.
"""

from __future__ import annotations

import hashlib
import json

from elbowroom.model import digest
from elbowroom.model.build.problems import Path
from elbowroom.model.build.resolve import Build
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
