"""From open heights to numbers: the range that fits, a height of it, and the checks' word on it.

Owns the order of groups, the choice within a range (the least whole layer, or the middle), the parts' own checks at the
height taken, and keeping the answer by content. A group is solved without the pieces that move with a later one, which
then has to fit beside it. Leaves what is at fault where to `limits`.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from importlib import metadata
from pathlib import Path as FilePath
from typing import Any

from elbowroom.model.findings import FAILING, UNDECIDED, Finding
from elbowroom.model.heights.limits import Limit, limits
from elbowroom.model.heights.moved import Moved
from elbowroom.model.heights.ranges import Stretch, chain, left
from elbowroom.model.heights.telling import Choice, finding
from elbowroom.model.heights.tying import Group, pieces_of, tie
from elbowroom.model.heights.words import Wishes, with_numbers
from elbowroom.model.layout import Layout
from elbowroom.model.pairs import Progress, engine_version
from elbowroom.model.place import place
from elbowroom.model.plumbing import plumb
from elbowroom.model.problems import Path
from elbowroom.model.reach.keep import pack, unpack
from elbowroom.model.resolve import Build, load
from elbowroom.model.solidify import code_version, solidify
from elbowroom.model.source import Document
from elbowroom.model.store import Store
from elbowroom.model.tolerances import EXACT_MM

_TRIES = 5  # layers tried before it is said that the checks do not bear a height out
_SECTIONS = ("case", "stacks", "parts", "mates", "gaps")  # of a build, that a height depends on
_CODE = (
    "place.py", "resolve.py", "stacks.py", "layout.py", "implied.py", "through_sheet.py", "findings.py",
    "checks/interference.py", "checks/keep_out.py", "checks/mates.py", "checks/containment.py", "checks/wordings.py",
)  # fmt: skip


def solve(
    document: Document, wishes: Wishes, build: Build, store: Store, progress: Progress | None = None
) -> tuple[Document, list[Finding]]:
    """The document with every open height written in, and a finding about each.

    build: of the document with the wishes' trial numbers. Raises BuildError where heights and lifts do not belong
    together, InputError where a piece cannot be drawn or followed.
    """
    layer = float(build.printer.layer)
    key = _key(document, wishes, build, layer)
    kept = _recalled(store, key)
    if kept is None:
        kept = _Solver(document, wishes, build, layer, store, progress).run()
        rows = [[list(path), value] for path, value in kept[0].items()]
        store.write(f"{key}.height", json.dumps([rows, pack(kept[1]).decode()]).encode())
    numbers, findings = kept
    return with_numbers(document, numbers), findings


class _Solver:
    def __init__(
        self, document: Document, wishes: Wishes, build: Build, layer: float, store: Store, progress: Progress | None
    ) -> None:
        self.document, self.wishes, self.build = document, wishes, build
        self.layer, self.store, self.progress = layer, store, progress
        self.numbers: dict[Path, float] = {}

    def run(self) -> tuple[dict[Path, float], list[Finding]]:
        layout = place(self.build)
        plumb(self.build, layout)  # faults of the loop are told before anything is drawn
        groups = tie(self.document, self.wishes, self.build, layout)
        findings = []
        for n, group in enumerate(groups):
            later = frozenset().union(*(g.moves for g in groups[n + 1 :])) - (
                frozenset() if group.lift is None else frozenset({group.lift})
            )
            findings.append(self._solved(group, later))
        return self.numbers, findings

    def _placed(self, group: Group, height: float, without: frozenset[str]) -> tuple[Build, Layout]:
        numbers = self.wishes.trial() | self.numbers | group.numbers(height)
        build = load(with_numbers(self.document, numbers))
        layout = place(build)
        pieces = tuple(p for p in layout.pieces if p.name not in without)
        mates = tuple(m for m in layout.mates if not {m.piece, m.to_piece} & without)
        return build, replace(layout, pieces=pieces, mates=mates)

    def _solved(self, group: Group, without: frozenset[str]) -> Finding:
        ends = (group.lo, (group.lo + group.hi) / 2, group.hi)
        placed = [self._placed(group, h, without) for h in ends]
        fields = {p.name: w.field for w in group.wishes for p in pieces_of(*placed[0], w.entry)}
        layouts = (placed[0][1], placed[1][1], placed[2][1])
        moved = Moved(group.lo, group.hi, layouts, fields, self.store)
        found = limits(moved, self.progress)
        choice = self._choice(group, found)
        if choice.within is not None:
            choice = self._borne_out(group, choice, moved, without, found)
        self.numbers |= group.numbers(choice.height)
        _, layout = self._placed(group, choice.height, without)
        return finding(group, layout, found, choice)

    def _choice(self, group: Group, found: Sequence[Limit]) -> Choice:
        lo, hi = group.lo, group.hi
        fits = left((s for x in found for s in x.bad), lo, hi)
        aside: tuple[Limit, ...] = ()
        if not fits:  # what no height mends does not help to choose one
            aside = tuple(x for x in found if not left(x.bad, lo, hi))
            fits = left((s for x in found if x not in aside for s in x.bad), lo, hi)
        if fits:
            height, within = chosen(fits, group.wish.fit.fit, self.layer)
            return Choice(height, tuple(fits), within, self.layer, aside)
        rest = [(s, n) for n, x in enumerate(found) if x not in aside for s in x.bad]
        links = [s for s, _ in chain(rest, lo, hi)]
        _, nearest = min((links[k][1] - links[k + 1][0], (links[k][1] + links[k + 1][0]) / 2)
                         for k in range(len(links) - 1)) if len(links) > 1 else (0.0, (lo + hi) / 2)  # fmt: skip
        return Choice(_layered(nearest, self.layer, math.floor), (), None, self.layer, aside)

    def _borne_out(
        self, group: Group, choice: Choice, moved: Moved, without: frozenset[str], found: Sequence[Limit]
    ) -> Choice:
        """The choice at the first height, from the one chosen up, that the parts' own checks agree to."""
        assert choice.within is not None
        first = choice
        for k in range(_TRIES):
            at = replace(choice, height=round(choice.height + k * self.layer, 6))
            if at.height > choice.within[1] + 2 * EXACT_MM:
                break
            doubt = self._doubt(group, at, moved, without, found)
            if not doubt:
                return at
            if k == 0:
                first = replace(at, doubt=doubt)
        return first

    def _doubt(
        self, group: Group, at: Choice, moved: Moved, without: frozenset[str], limits_: Sequence[Limit]
    ) -> tuple[str, ...]:
        """What the checks of the parts have against a height that another might mend."""
        from elbowroom.model import checks

        _, layout = self._placed(group, at.height, without)
        found = checks.run(solidify(layout, self.store, self.progress), self.store, self.progress)
        known = {frozenset(x.parts) for x in at.aside}
        mates = {frozenset(x.parts) for x in limits_ if x.question == "mate"}  # that a height changes
        return tuple(
            f.text
            for f in found
            if f.verdict in FAILING | UNDECIDED
            and frozenset(f.parts) not in known
            and (frozenset(f.parts) in mates if f.question == "mate" else _varies(f, moved))
        )


def _varies(f: Finding, moved: Moved) -> bool:
    """Whether a finding is of pieces that move against each other, or against the case."""
    if len(f.parts) == 1:
        return f.parts[0] in moved.fields or bool(moved.velocity[f.parts[0]].any())
    faulty = any(s.mesh.fault is not None for s in moved.scene.solids if s.name in f.bodies)
    return moved.rate(f.parts[0], f.parts[1]) > 0.0 and not faulty


def chosen(fits: Sequence[Stretch], how: str, layer: float) -> tuple[float, Stretch]:
    """A height of the stretches and the one it lies in: the least whole layer, or the middle of the widest.

    Where no stretch holds a whole layer, the middle of the widest is taken.
    """
    widest = max(fits, key=lambda s: (s[1] - s[0], -s[0]))
    middle = (widest[0] + widest[1]) / 2
    if how == "middle":
        near = _layered(middle, layer, round)
        return (near if widest[0] <= near <= widest[1] else round(middle, 3)), widest
    for a, b in fits:
        height = _layered(a, layer, math.ceil)
        if height <= b + 2 * EXACT_MM:
            return height, (a, b)
    return round(middle, 3) if widest[0] <= round(middle, 3) <= widest[1] else middle, widest


def _layered(height: float, layer: float, rounding: Any) -> float:
    """A height as whole layers; what is over a whole one by less than a gap is known to is one."""
    steps = height / layer
    whole = round(steps)
    return round((whole if abs(steps - whole) * layer < 2 * EXACT_MM else rounding(steps)) * layer, 6)


# Keeping --------------------------------------------------------------------------------------------------------------


@cache
def _code() -> str:
    """Digest of the code that an answer depends on."""
    here = FilePath(__file__).parent
    digest = hashlib.blake2b(engine_version() + code_version().encode(), digest_size=16)
    for path in (*sorted(here.glob("*.py")), *(here.parent / name for name in _CODE)):
        digest.update(path.name.encode() + b"\0" + path.read_bytes())
    digest.update(metadata.version("coal").encode())
    return digest.hexdigest()


def _key(document: Document, wishes: Wishes, build: Build, layer: float) -> str:
    """Name of an answer in the store: the words that place the parts, the parts themselves, and the code."""
    words = {k: document.values.get(k) for k in _SECTIONS}
    entries = [*([build.case] if build.case else []), *build.parts]
    entries += [e for s in build.stacks for e in (*s.layers, *s.outside)]
    parts = [[e.name, e.part.shape_key(), sorted((f, list(s)) for f, s in e.sources.items())] for e in entries]
    facts = [_code(), words, parts, [list(w.path) for w in wishes.heights], list(wishes.lifts), layer]
    return hashlib.blake2b(json.dumps(facts, default=str).encode(), digest_size=16).hexdigest()


def _recalled(store: Store, key: str) -> tuple[dict[Path, float], list[Finding]] | None:
    data = store.read(f"{key}.height")
    if data is None:
        return None
    try:
        rows, findings = json.loads(data)
        numbers: dict[Path, float] = {tuple(path): float(value) for path, value in rows}
        return numbers, unpack(findings.encode())
    except (ValueError, TypeError, IndexError, AttributeError):
        return None
