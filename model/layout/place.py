"""Placing: from a typed build to posed parts, by frames brought together or by measured distances.

Owns the order of placement, the resolving of `piece.frame` references and their faults (unknown, in a circle, over- or
under-stated), and the poses of single parts. Stacks of layers are laid by `stacks`, distances are `measured`. No
geometry kernel is used: frames and declared boxes are arithmetic.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from elbowroom.model.build.entries import Build, Entry, StackEntries
from elbowroom.model.build.faults import Faults
from elbowroom.model.build.problems import BuildError, Path, choices, shown
from elbowroom.model.build.spec import AXES, MAX_PIECES, At, Placement
from elbowroom.model.layout.identity import Entered, numbered
from elbowroom.model.layout.implied import implied_mates
from elbowroom.model.layout.layout import Layout, Mate, Piece
from elbowroom.model.layout.measured import Walls, faults, moves
from elbowroom.model.layout.neighbours import neighbours
from elbowroom.model.layout.stacks import Laid, Tier, lay, layer_names
from elbowroom.model.layout.through_sheet import held_apart
from elbowroom.model.layout.wanted import gaps
from elbowroom.model.layout.wildcard import matches
from elbowroom.model.layout.windows import cut_windows, in_field
from elbowroom.parts.vocabulary.base import Frame
from elbowroom.parts.vocabulary.pose import IDENTITY, Pose, bring_together, compose, rotation, shift

SQUARE = 1 - 1e-9  # cosine: a wall along the case's own axes, from arithmetic alone


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """A build with its parts in their places: the first state. Nothing is drawn, screwed or laid yet."""

    build: Build
    layout: Layout


def placed(build: Build) -> Placed:
    """A build's first state; raises BuildError with every fault found."""
    return Placed(build, place(build))


def place(build: Build) -> Layout:
    """The layout of a build: every piece posed, every mate listed; raises BuildError with every fault found."""
    placer = _Placer(build)
    placer.run()
    wanted = gaps(build, placer.pieces.values(), placer.faults)
    placer.faults.stop()
    mates = tuple(placer.mates)
    pieces = tuple(cut_windows(list(placer.pieces.values()), mates))
    joined = (*held_apart(pieces, mates, wanted), *neighbours(pieces, mates, placer.tiers, wanted))
    return Layout(build.title, pieces, mates, wanted, placer.walls.interior, joined)


class _Unplaced(Exception):
    """Something this piece stands on could not be placed; that fault is already noted."""


class _Needs(Exception):
    """Something must be placed before this piece can be: it is, and then the piece is taken up again."""

    def __init__(self, item: Entry | StackEntries) -> None:
        self.item = item


@dataclass
class _Placer:
    build: Build
    pieces: dict[str, Piece] = field(default_factory=dict)
    mates: list[Mate] = field(default_factory=list)
    lifted: list[Mate] = field(default_factory=list)  # placements off a face rather than on it
    faults: Faults = field(init=False)
    tiers: list[list[Tier]] = field(default_factory=list)
    walls: Walls = field(default_factory=Walls)
    made: dict[int, list[str]] = field(default_factory=dict)  # names each entry or stack made, by id
    failed: set[int] = field(default_factory=set)
    under_way: list[Entry | StackEntries] = field(default_factory=list)  # each waits for the next

    def __post_init__(self) -> None:
        self.faults = Faults(self.build.document)

    @cached_property
    def items(self) -> list[Entry | StackEntries]:
        return [*self.build.stacks, *self.build.parts]

    @cached_property
    def by_base(self) -> dict[str, list[Entry | StackEntries]]:
        """The entries and stacks by the names of what they make, without the numbers of several."""
        found: dict[str, list[Entry | StackEntries]] = {}
        for item in self.items:
            for base in dict.fromkeys(_bases(item)):
                found.setdefault(base, []).append(item)
        return found

    def run(self) -> None:
        if self.build.case is not None:
            case = self.build.case
            self._add(Piece("case", case.part, IDENTITY, "case", case.given, case.sources), case.path)
            self.walls = Walls(getattr(case.part, "interior_box", None), getattr(case.part, "tray_back", None))
        for item in self.items:
            self._place(item)
        for i, (a, b) in enumerate(self.build.mates):
            self._declare(a, b, ("mates", i))
        self.mates += implied_mates(list(self.pieces.values()), self.mates, self.lifted)

    def _place(self, first: Entry | StackEntries) -> None:
        """Place an entry or a stack once, what it stands on first: a pile may be as high as a build has parts."""
        self.under_way.append(first)
        while self.under_way:
            item = self.under_way[-1]
            if id(item) not in self.made and id(item) not in self.failed:
                before = set(self.pieces)
                try:
                    if isinstance(item, StackEntries):
                        self._stack(item)
                    else:
                        self._entry(item)
                except _Needs as e:
                    self._wait_for(e.item)
                    continue
                except _Unplaced:
                    self.failed.add(id(item))
                else:
                    self.made[id(item)] = [n for n in self.pieces if n not in before]
            self.under_way.pop()

    def _wait_for(self, item: Entry | StackEntries) -> None:
        waiting = [id(i) for i in self.under_way]
        if id(item) not in waiting:
            self.under_way.append(item)
            return
        names = [i.name for i in self.under_way[waiting.index(id(item)) :]]
        self.faults.add(item.path, f"the placement goes in a circle: {_circle([*names, item.name])}")
        self.failed.update(waiting)
        self.under_way.clear()

    # -- one part -----------------------------------------------------------------------------------------------------

    def _entry(self, entry: Entry) -> None:
        words = entry.words
        assert isinstance(words, Placement)
        if words.on is None:
            pose = self._measured(entry, words)
            self._add(self._piece(entry, None, pose), entry.path)
            return
        if words.turn:
            self.faults.add((*entry.path, "turn"), 'a part on a frame is turned with "clock" and "flip", not "turn"')
            raise _Unplaced
        targets = self._targets(words.on, (*entry.path, "on"), entry.name)
        several = not isinstance(words.on, str) or "*" in words.on
        for i, (to, frame) in enumerate(targets, 1):
            own = self._own_frame(entry, words.by)
            target = to.frame_pose(frame.name)
            x, y = (0.0, 0.0) if words.at or words.clock or words.flip else in_field(entry.part, own, frame)
            offset = (x + words.offset[0], y + words.offset[1])
            pose = bring_together(own.pose, target, clock=words.clock, flip=words.flip, offset=offset, lift=words.lift)
            if words.at is not None:
                pose = self._slid_on_wall(entry, words.at, frame, target, pose)
            piece = self._piece(entry, i if several else None, pose)
            self._add(piece, entry.path)
            mate = Mate(piece.name, own.name, to.name, frame.name, words.contact)
            (self.lifted if words.lift else self.mates).append(mate)

    def _piece(self, entry: Entry, copy: int | None, pose: Pose) -> Piece:
        outside, who = bool(getattr(entry.words, "outside", False)), Entered(entry.name, copy)
        return Piece(str(who), entry.part, pose, "parts", entry.given, entry.sources, outside, who)

    def _own_frame(self, entry: Entry, by: str | None) -> Frame:
        frames = {f.name: f for f in entry.part.frames()}
        wanted = by if by is not None else entry.part.seat
        if wanted is None or wanted not in frames:
            what = "the part has no seat of its own: name one of its frames with by" if by is None else (
                f"the {entry.part.family} has no frame {shown(by)}"
            )  # fmt: skip
            self.faults.add((*entry.path, "by"), what + choices(by or "", frames, 30))
            raise _Unplaced
        return frames[wanted]

    def _measured(self, entry: Entry, words: Placement) -> Pose:
        """Pose by measured distances: every axis exactly once."""
        ignored = [k for k in ("by", "clock", "flip", "offset", "lift") if k in words.model_fields_set]
        if ignored:
            self.faults.add((*entry.path, ignored[0]), f'"{ignored[0]}" belongs to a part that is "on" a frame')
            raise _Unplaced
        if words.at is None:
            if entry.part.own_place:
                return IDENTITY
            self.faults.add(entry.path, 'is not placed: say what it is "on" (piece.frame) or where it is "at"')
            raise _Unplaced
        turned = IDENTITY
        for t in words.turn:
            axis = t.axis or tuple(1.0 if getattr(t, k) is not None else 0.0 for k in "xyz")
            by = next(v for v in (t.by, t.x, t.y, t.z) if v is not None)
            turned = compose(rotation(axis, by), turned)
        move = self._moves(entry, words.at, turned, range(3))
        return compose(shift(*move), turned)

    def _slid_on_wall(self, entry: Entry, at: At, frame: Frame, target: Pose, pose: Pose) -> Pose:
        """On a wall the wall fixes one axis; the other two are measured."""
        axis = int(np.argmax(np.abs(target[:3, 2])))
        if frame.kind != "wall" or abs(target[axis, 2]) < SQUARE:
            self.faults.add((*entry.path, "at"), '"at" goes with "on" only for a wall, such as case.floor-wall')
            raise _Unplaced
        if "offset" in entry.words.model_fields_set:
            self.faults.add((*entry.path, "offset"), 'the place on the wall is given twice: by "at" and by "offset"')
            raise _Unplaced
        if twice := at.axis(axis):
            self.faults.add((*entry.path, "at", twice[0]), f"{AXES[axis]} is already given by the wall it is on")
            raise _Unplaced
        move = self._moves(entry, at, pose, [i for i in range(3) if i != axis])
        return compose(shift(*move), pose)

    def _moves(self, entry: Entry, at: At, pose: Pose, axes: Sequence[int]) -> list[float]:
        """How far to move a part standing at `pose` so that it has its measured distances along `axes`."""
        found = faults(entry.part, at, axes, self.walls)
        for key, said in found:
            self.faults.add((*entry.path, "at", *key), said)
        if found:
            raise _Unplaced
        return moves(entry.part, at, pose, axes, self.walls)

    # -- stacks -------------------------------------------------------------------------------------------------------

    def _stack(self, stack: StackEntries) -> None:
        opening = stack.spec.opening or stack.name
        reference = opening if "." in opening else f"case.{opening}"
        path = (*stack.path, "opening") if stack.spec.opening else stack.path
        [(to, frame)] = self._targets(reference, path, stack.name)[:1]
        try:
            laid: Laid = lay(stack, to, frame, self.build.document)
        except BuildError as e:
            self.faults.take(e.problems)
            raise _Unplaced from None
        for piece, at in laid.pieces:
            self._add(piece, at)
        self.mates += laid.mates
        self.tiers += laid.tiers

    # -- references ---------------------------------------------------------------------------------------------------

    def _targets(self, on: str | list[str], path: Path, asking: str) -> list[tuple[Piece, Frame]]:
        found: list[tuple[Piece, Frame]] = []
        for i, text in enumerate([on] if isinstance(on, str) else on):
            found += self._frames(text, path if isinstance(on, str) else (*path, i), asking)
        if len(found) > MAX_PIECES:
            self.faults.add(path, f"{len(found)} frames match; a build holds at most {MAX_PIECES} parts")
            raise _Unplaced
        return found

    def _frames(self, text: str, path: Path, asking: str) -> list[tuple[Piece, Frame]]:
        """The frames a reference `piece.frame` names, placing what it needs first; `*` matches any characters."""
        piece_name, dot, frame_name = text.rpartition(".")
        if not dot or not piece_name or not frame_name:
            self.faults.add(path, f"{shown(text)} is not a frame; write piece.frame, such as board.slot-1")
            raise _Unplaced
        if piece_name == asking:
            self.faults.add(path, f'"{asking}" cannot be placed on itself')
            raise _Unplaced
        for item in self._makers(piece_name):
            if id(item) in self.failed:
                raise _Unplaced
            if id(item) not in self.made:
                raise _Needs(item)
        if "*" in piece_name:
            pieces = [p for p in self.pieces.values() if matches(p.name, piece_name)]
        else:
            pieces = [self.pieces[piece_name]] if piece_name in self.pieces else []
        if not pieces:
            if piece_name == "case" and self.build.case is None:
                self.faults.add(path, "the build has no case")
            else:
                self._unknown(piece_name, path)
            raise _Unplaced
        frames = [(p, f) for p in pieces for f in p.part.frames() if matches(f.name, frame_name)]
        if not frames:
            known = [f.name for f in pieces[0].part.frames()]
            gone = [n for n in getattr(pieces[0].part, "notes", ()) if re.search(_quoted(frame_name), n)]
            said = f"{pieces[0].name} has no frame {shown(frame_name)}{choices(frame_name, known, 30)}"
            self.faults.add(path, "; ".join([said, *gone]))
            raise _Unplaced
        return frames

    def _unknown(self, name: str, path: Path) -> None:
        """No piece has that name: it is another's misspelt, or that of an entry whose pieces are numbered."""
        copies = [p.name for p in self.pieces.values() if p.row == name]
        if copies:
            row = copies[0] if len(copies) == 1 else f"{copies[0]} to {copies[-1]}"
            said = (
                f"{shown(name)} is numbered: {row}; write {shown(copies[0])}, or {shown(name + ' *')} for all of them"
            )
            self.faults.add(path, said)
            return
        known = ["case", *(e.name for e in self.build.parts), *self.pieces]
        self.faults.add(path, f"no part {shown(name)}{choices(name, known)}")

    def _makers(self, pattern: str) -> list[Entry | StackEntries]:
        """The entries and stacks that may make a piece the pattern names."""
        if "*" in pattern:
            return [item for item in self.items if _makes(item, pattern)]
        row, number = numbered(pattern)
        copies = self.by_base.get(row, []) if number is not None else []
        return [*self.by_base.get(pattern, []), *(i for i in copies if i not in self.by_base.get(pattern, []))]

    def _declare(self, a: str, b: str, path: Path) -> None:
        """A mate stated beside the placement: every frame of `a` meets the nearest frame that `b` names."""
        try:
            first, second = self._frames(a, (*path, 0), ""), self._frames(b, (*path, 1), "")
        except _Unplaced:
            return
        for piece, frame in first:
            others = [(p, f) for p, f in second if p.name != piece.name]
            if not others:
                self.faults.add(path, f'"{piece.name}" cannot be mated to itself')
                return
            here = piece.frame_pose(frame.name)[:3, 3]
            to, met = min(others, key=lambda t: float(np.linalg.norm(t[0].frame_pose(t[1].name)[:3, 3] - here)))
            self.mates.append(Mate(piece.name, frame.name, to.name, met.name, True, placed=False))

    # -- the rest -----------------------------------------------------------------------------------------------------

    def _add(self, piece: Piece, path: Path) -> None:
        if piece.name in self.pieces:
            self.faults.add(path, f'two parts would be called "{piece.name}"; give one of them another name')
            raise _Unplaced
        if len(self.pieces) >= MAX_PIECES:
            self.faults.add(path, f"more than {MAX_PIECES} parts in one build")
            raise _Unplaced
        self.pieces[piece.name] = piece


def _quoted(frame: str) -> str:
    """What finds an opening's name in a note, from the name of any of its frames."""
    base = re.sub(r"-\d+$", "", frame)
    return f'"{re.escape(base.removesuffix("-outside"))}"'


def _bases(item: Entry | StackEntries) -> list[str]:
    return list(layer_names(item)) if isinstance(item, StackEntries) else [item.name]


def _makes(item: Entry | StackEntries, pattern: str) -> bool:
    """Whether placing `item` may make a piece that a pattern with * names."""
    return any(matches(b, pattern) or matches(f"{b} 1", pattern) for b in _bases(item))


_CIRCLE_TOLD = 12  # names of a circle that are told


def _circle(names: list[str]) -> str:
    if len(names) > _CIRCLE_TOLD:
        half = _CIRCLE_TOLD // 2
        names = [*names[:half], f"... ({len(names) - 2 * half} more)", *names[-half:]]
    return " on ".join(names)
