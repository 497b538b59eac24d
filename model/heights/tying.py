"""Which risers carry which part: found by placing the build with one height changed, and seeing what moved.

Owns the groups that share one height, the order they are solved in, and what a lift is beside the height of its risers
(the same, unless the part is placed by another frame than the one the risers bear on). Faults of that are problems.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from elbowroom.model.build.entries import Build, Entry
from elbowroom.model.build.faults import Faults
from elbowroom.model.build.problems import Path
from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import Document
from elbowroom.model.build.spec import Placement
from elbowroom.model.heights.moved import with_height
from elbowroom.model.heights.words import LIFT, Wish, Wishes, range_of, with_numbers
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.layout.place import place
from elbowroom.model.tolerances import MATE_PLANE_MM
from elbowroom.parts.made.riser import Riser
from elbowroom.parts.made.spacer import Spacer
from elbowroom.parts.vocabulary.pose import Pose, compose
from elbowroom.parts.vocabulary.tolerances import ALIKE

_SAME = 1e-9  # mm and shares: poses from the same arithmetic, one number changed


@dataclass(frozen=True, slots=True)
class Group:
    """Heights left open that must be one, and the entry they lift, if its lift is left open too.

    lo, hi: the range of the height, mm. offset: the lift less the height, mm. moves: pieces that move with it.
    ends: why it goes no lower and no higher, in words. whole: the range of all heights such a part can have, mm.
    """

    wishes: tuple[Wish, ...]
    lift: str | None
    lo: float
    hi: float
    offset: float
    moves: frozenset[str]
    ends: tuple[str, str]
    whole: tuple[float, float]

    @property
    def wish(self) -> Wish:
        return self.wishes[0]

    def numbers(self, height: float) -> dict[Path, float]:
        """What is written into the build for a height of this group."""
        out: dict[Path, float] = {w.path: height for w in self.wishes}
        if self.lift is not None:
            out["parts", self.lift, LIFT] = height + self.offset
        return out


def tie(document: Document, wishes: Wishes, build: Build, layout: Layout) -> list[Group]:
    """The groups, in the order they are to be solved: what carries others first. Raises BuildError with every fault.

    build and layout: of the document with the wishes' trial numbers.
    """
    return _Tying(document, wishes, build, layout).groups()


@dataclass(frozen=True, slots=True)
class Range:
    """The heights asked of a wish's part, mm, why they end there, and all that it can have."""

    lo: float
    hi: float
    ends: tuple[str, str]
    whole: tuple[float, float]


def ranged(wish: Wish, build: Build) -> Range:
    """The heights the wish's part can have: a long enough part is sound at the most, so the least is looked for."""
    part = _entry(build, wish.entry).part

    def sound(h: float) -> bool:
        try:
            with_height(part, wish.field, h)
        except ValueError:
            return False
        return True

    least, most = range_of(part.family, wish.field)
    at_fault, can = least, most
    if sound(least):
        at_fault = can = least
    while can - at_fault > ALIKE:
        middle = (can + at_fault) / 2
        at_fault, can = (at_fault, middle) if sound(middle) else (middle, can)
    asked = wish.fit.at_least
    if asked is not None:
        lo, why = max(float(asked), can), "that is the least asked for"
        if can > float(asked):
            why = "its threads and walls need as much"
    else:
        lo, why = part.sensible_height() if isinstance(part, Riser | Spacer) else (can, "")
        why = f"that is {why}"
        if can > lo:
            lo, why = can, "its threads and walls need as much"
    most_why = "that is the most asked for" if wish.fit.at_most is not None else "none higher is made here"
    return Range(lo, wish.most, (why, most_why), (can, most))


def pieces_of(build: Build, layout: Layout, entry: str) -> list[Piece]:
    """The pieces an entry made."""
    part = _entry(build, entry).part
    return [p for p in layout.pieces if p.part is part]


def _entry(build: Build, name: str) -> Entry:
    return next(e for e in build.parts if e.name == name)


class _Tying:
    def __init__(self, document: Document, wishes: Wishes, build: Build, layout: Layout) -> None:
        self.document, self.wishes, self.build, self.layout = document, wishes, build, layout
        self.faults = Faults(document)
        self.own = {w.entry: {p.name for p in pieces_of(build, layout, w.entry)} for w in wishes.heights}

    def groups(self) -> list[Group]:
        trial = self.wishes.trial()
        lifted: dict[str, frozenset[str]] = {}
        for name in self.wishes.lifts:
            path: Path = ("parts", name, LIFT)
            lifted[name] = self._moved({path: trial[path] + 1.0})
        carriers = {w.entry: self._carried(w, lifted) for w in self.wishes.heights}
        out = []
        for name in self.wishes.lifts:
            tied = [w for w in self.wishes.heights if carriers[w.entry] == name]
            if not tied:
                said = f"nothing says how high: no riser with height: fit stands under {name} (on: {name}.mount-*)"
                self.faults.add(("parts", name, LIFT), said)
            elif self._alike(tied, name):
                out.append(self._group(tuple(tied), name, lifted[name]))
        for w in self.wishes.heights:
            if carriers[w.entry] is None:
                group = self._bare(w)
                out += [] if group is None else [group]
        self.faults.stop()
        return sorted(out, key=lambda g: -len(g.moves))

    def _carried(self, wish: Wish, lifted: Mapping[str, frozenset[str]]) -> str | None:
        """The lifted entry that carries the riser along: the nearest, where one stands on another."""
        own = self.own[wish.entry]
        able = [name for name, moved in lifted.items() if own & moved]
        return min(able, key=lambda name: len(lifted[name]), default=None)

    def _alike(self, tied: list[Wish], name: str) -> bool:
        first = tied[0]
        for w in tied[1:]:
            if w.fit != first.fit:
                said = f"{w.entry} and {first.entry} both carry {name}, and ask for different heights; ask for one"
                self.faults.add(w.path, said)
                return False
        return True

    def _group(self, tied: tuple[Wish, ...], name: str, moves: frozenset[str]) -> Group:
        asked = self._range(tied)
        try:
            offset = self._offset(tied, name, asked.hi)
        except _Untied:
            offset = 0.0
        own: set[str] = set().union(*(self.own[w.entry] for w in tied))
        return Group(tied, name, asked.lo, asked.hi, offset, frozenset(moves | own), asked.ends, asked.whole)

    def _bare(self, wish: Wish) -> Group | None:
        """A height on which other parts stand by their own placement."""
        asked = self._range((wish,))
        moves = self._moved({wish.path: asked.lo}) - self.own[wish.entry]
        if not moves:
            said = f"nothing moves with this height: write lift: fit at the part that {wish.entry} carries"
            self.faults.add(wish.path, said)
            return None
        moves = frozenset(moves | self.own[wish.entry])
        return Group((wish,), None, asked.lo, asked.hi, 0.0, moves, asked.ends, asked.whole)

    def _range(self, tied: tuple[Wish, ...]) -> Range:
        ranges = [ranged(w, self.build) for w in tied]
        low, high = max(ranges, key=lambda r: r.lo), min(ranges, key=lambda r: r.hi)
        if low.lo >= high.hi:
            why = "" if tied[-1].fit.at_least is not None else f" ({low.ends[0]}; at_least says otherwise)"
            said = f"no height is left: at least {low.lo:g}{why} and at most {high.hi:g} mm"
            self.faults.add(tied[-1].path, said)
        whole = (max(r.whole[0] for r in ranges), min(r.whole[1] for r in ranges))
        return Range(low.lo, high.hi, (low.ends[0], high.ends[1]), whole)

    def _placed(self, numbers: Mapping[Path, float]) -> tuple[Build, Layout]:
        build = load(with_numbers(self.document, self.wishes.trial() | dict(numbers)))
        return build, place(build)

    def _moved(self, numbers: Mapping[Path, float]) -> frozenset[str]:
        """The pieces that stand elsewhere with these numbers."""
        _, layout = self._placed(numbers)
        was = {p.name: p.pose for p in self.layout.pieces}
        return frozenset(p.name for p in layout.pieces if np.abs(p.pose - was[p.name]).max() > _SAME)

    def _offset(self, tied: tuple[Wish, ...], name: str, height: float) -> float:
        """The lift less the height with which the risers' free ends lie in the face they stand on."""
        group = Group(tied, name, 0.0, height, 0.0, frozenset(), ("", ""), (0.0, height))
        build, layout = self._placed(group.numbers(height))
        found: list[float] = []
        for w in tied:
            words = _entry(build, w.entry).words
            by = (words.by if isinstance(words, Placement) else None) or _entry(build, w.entry).part.seat
            if by not in w.ends:
                said = f"expected a riser placed by {' or '.join(w.ends)}, so that its other end stands on something"
                self.faults.add(("parts", w.entry, "by"), said)
                raise _Untied
            free = w.ends[0] if by == w.ends[1] else w.ends[1]
            for piece in pieces_of(build, layout, w.entry):
                end, plane = piece.frame_pose(free), _stands_on(build, layout, piece, free, name, height)
                if float(end[:3, 2] @ plane[:3, 2]) > -1 + _SAME:
                    said = (
                        f'{piece.name} does not stand between {name} and what that is lifted off: its "{free}" looks '
                        f"elsewhere; place it by: {free}"
                    )
                    self.faults.add(w.path, said)
                    raise _Untied
                found.append(float((end[:3, 3] - plane[:3, 3]) @ plane[:3, 2]))
        if max(found) - min(found) > MATE_PLANE_MM:
            said = f"one height cannot reach all: their far ends stand {max(found) - min(found):.2f} mm apart in height"
            self.faults.add(tied[-1].path, said)
            raise _Untied
        return -found[0] if abs(found[0]) > _SAME else 0.0


class _Untied(Exception):
    """The fault is noted; nothing more can be said of this group."""


def _stands_on(build: Build, layout: Layout, piece: Piece, free: str, name: str, lift: float) -> Pose:
    """The face a riser's free end is meant to stand on: that of its mate, else the one its part is lifted off."""
    for m in layout.mates:
        if not m.placed and (m.piece, m.frame) == (piece.name, free):
            return layout.piece(m.to_piece).frame_pose(m.to_frame)
        if not m.placed and (m.to_piece, m.to_frame) == (piece.name, free):
            return layout.piece(m.piece).frame_pose(m.frame)
    above = pieces_of(build, layout, name)
    bears = next((m.to_piece for m in layout.mates if m.placed and m.piece == piece.name), None)
    carried = next((p for p in above if p.name == bears), above[0])
    entry = _entry(build, name)
    words = entry.words
    assert isinstance(words, Placement)
    own = carried.frame_pose(words.by or entry.part.seat or "")
    out = own.copy()
    out[:3, :3] = compose(own)[:3, :3] if words.flip else own[:3, :3] @ np.diag([1.0, -1.0, -1.0])
    out[:3, 3] -= out[:3, 2] * lift
    return out
