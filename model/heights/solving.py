"""From open heights to numbers: a height of the range that fits, and the whole check's word on it.

Owns the order of groups, the choice within a range (the least whole layer, or the middle), what the check of the parts
with their screws and fittings has against it, and looking outside what was asked where nothing in it fits. A group is
solved without the pieces that move with a later one, which then has to fit beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from elbowroom.model.build.entries import Build
from elbowroom.model.build.problems import Path
from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import Document
from elbowroom.model.heights.bearing_out import advised, borne_out
from elbowroom.model.heights.choosing import layered, whole
from elbowroom.model.heights.looking import Look, look
from elbowroom.model.heights.moved import Moved
from elbowroom.model.heights.ranges import Stretch
from elbowroom.model.heights.stages import Stages
from elbowroom.model.heights.telling import Choice, finding
from elbowroom.model.heights.tying import Group, tie
from elbowroom.model.heights.words import Wishes, with_numbers
from elbowroom.model.layout.layout import Layout, piece_of
from elbowroom.model.layout.place import place
from elbowroom.model.loop.plumbing import Plumbing, plumb
from elbowroom.model.store import Store
from elbowroom.model.told.findings import Finding
from elbowroom.model.told.progress import Progress

_LEAST_RANGE = 0.05  # mm: outside what was asked, less than the finest layer is not looked at


def solve(
    document: Document, wishes: Wishes, build: Build, store: Store, progress: Progress | None = None
) -> tuple[dict[Path, float], list[Finding]]:
    """A number for every open height and lift, and a finding about each.

    build: of the document with the wishes' trial numbers. Raises BuildError where heights and lifts do not belong
    together, InputError where a piece cannot be drawn or followed.
    """
    return _Solver(document, wishes, build, store, progress).run()


class _Solver:
    def __init__(
        self, document: Document, wishes: Wishes, build: Build, store: Store, progress: Progress | None
    ) -> None:
        self.document, self.wishes, self.build = document, wishes, build
        self.layer, self.store, self.progress = float(build.printer.layer), store, progress
        self.numbers: dict[Path, float] = {}
        self.plumbing: Plumbing | None = None

    def run(self) -> tuple[dict[Path, float], list[Finding]]:
        layout = place(self.build)
        self.plumbing = plumb(self.build, layout)  # faults of the loop are told before anything is drawn
        groups = tie(self.document, self.wishes, self.build, layout)
        findings = []
        for n, group in enumerate(groups):
            later = frozenset().union(*(g.moves for g in groups[n + 1 :])) - (
                frozenset() if group.lift is None else frozenset({group.lift})
            )
            findings.append(self._solved(group, later))
        return self.numbers, findings

    def _placed(self, group: Group, height: float, without: frozenset[str]) -> Layout:
        numbers = self.wishes.trial() | self.numbers | group.numbers(height)
        layout = place(load(with_numbers(self.document, numbers)))
        pieces = tuple(p for p in layout.pieces if p.name not in without)
        mates = tuple(m for m in layout.mates if not {m.piece, m.to_piece} & without)
        joined = tuple(j for j in layout.joined if not {piece_of(j.body), piece_of(j.to_body)} & without)
        return replace(layout, pieces=pieces, mates=mates, joined=joined)

    def _solved(self, group: Group, without: frozenset[str]) -> Finding:
        got, choice = self._chosen(group, group.lo, group.hi, without)
        shut = any(x.question == "port-reach" for x in choice.aside)  # no other height mends that either
        if (choice.within is None or choice.aside) and not choice.open and not shut:
            choice = replace(choice, beyond=self._beyond(group, without))
        choice = replace(choice, advised=advised(got, choice.needs, self.store, self.progress))
        self.numbers |= group.numbers(choice.height)
        return finding(group, self._placed(group, choice.height, without), got, choice, self._tubes(group))

    def _tubes(self, group: Group) -> tuple[str, ...]:
        """The runs that end on what moves: they are laid once a height is chosen, and asked about at no other."""
        lines = () if self.plumbing is None else self.plumbing.lines
        return tuple(x.name for x in lines if {x.start.port.piece, x.end.port.piece} & group.moves)

    def _chosen(self, group: Group, lo: float, hi: float, without: frozenset[str]) -> tuple[Look, Choice]:
        first, middle, last = (self._placed(group, h, without) for h in (lo, (lo + hi) / 2, hi))
        moved = Moved(lo, hi, (first, middle, last), self.store)

        def stages_at(h: float) -> Stages:
            return Stages(self.build, self.plumbing, moved, h, self.store)

        def enough(fits: Sequence[Stretch]) -> bool:
            return group.wish.fit.fit == "least" and any(whole(a, b, self.layer) is not None for a, b in fits)

        got = look(moved, stages_at, enough, self.store, self.progress)
        if not got.fits:
            height = got.needs[0].height if got.needs else layered((lo + hi) / 2, self.layer, math.floor)
            height = round(min(max(height, lo), hi), 6)
            return got, Choice(height, (), None, self.layer, got.aside, needs=got.needs, ended=got.ended)
        return got, borne_out(got, group.wish.fit.fit, self.layer, enough, self.store, self.progress)

    def _beyond(self, group: Group, without: frozenset[str]) -> tuple[Stretch, float] | None:
        """The nearest stretch outside what was asked in which the part fits, and the height in it nearest to that."""
        found: list[tuple[float, Stretch, float]] = []
        fit = group.wish.fit
        below, above = (group.whole[0], group.lo), (group.hi, group.whole[1])
        for (lo, hi), asked in ((below, fit.at_least), (above, fit.at_most)):
            if asked is None or hi - lo <= _LEAST_RANGE:
                continue
            _, choice = self._chosen(group, lo, hi, without)
            if choice.within is None or choice.doubt or choice.aside:
                continue
            a, b = choice.fits[-1] if hi <= group.lo else choice.fits[0]
            found.append((group.lo - b if hi <= group.lo else a - group.hi, (a, b), choice.height))
        return min(found)[1:] if found else None
