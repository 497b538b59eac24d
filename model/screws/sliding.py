"""Slides as a person would write them: which entries of the build file are given another place, and in what words.

Owns the way from pieces that are to move by a vector to the fewest words of the file that move them, and the sentence
that names what slides. Copies of a layer stand under one entry and move together; fans follow their radiator, and parts
that stand on another part follow that, so that those are given nothing. Whether a slide mends anything is `remedies`'
question.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from elbowroom.model.build.entries import Build, Entry, StackEntries
from elbowroom.model.build.problems import BuildError
from elbowroom.model.build.spec import WALLS, At, Layering, Placement
from elbowroom.model.layout.identity import Entered
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.layout.place import Placed, placed
from elbowroom.model.layout.rows import follows, holder
from elbowroom.model.layout.stacks import layer_names
from elbowroom.model.layout.wildcard import matches
from elbowroom.parts.vocabulary.arrays import Vector
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import Pose

EVEN_MM = 0.05  # a slide is told to this: less than anyone can set it to
WRITTEN = 4  # decimals of a millimetre that a place is written to
FOLLOWED_MM = (
    1e-3  # a piece stands where it was to be moved to: more than what WRITTEN leaves, less than anyone can set
)


@dataclass(frozen=True, slots=True, eq=False)
class Slid:
    """A slide: the build with it, placed, and in words what is slid how far and what is written for it."""

    placed: Placed
    words: str


@dataclass(frozen=True, slots=True, eq=False)
class _Item:
    """An entry that has pieces to be moved. stack: the one it is a layer of. frame: what its place is counted in, x
    along the row; None for a part with measured distances.
    """

    entry: Entry
    pieces: tuple[Piece, ...]
    stack: StackEntries | None = None
    frame: Pose | None = None
    written: dict[str, Any] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """What it is called: copies as `fan 1 to 3`."""
        names = [p.name for p in self.pieces]
        to = "and" if len(names) == 2 else "to"
        return names[0] if len(names) == 1 else f"{names[0]} {to} {self.pieces[-1].number}"


def copies(build: Build, layout: Layout, name: str) -> set[str]:
    """The pieces that stand under one entry of the build file with a piece, itself included."""
    for item in _items(build, layout):
        if name in (names := {p.name for p in item.pieces}):
            return names
    return {name}


def row_axes(build: Build, layout: Layout, moving: Collection[str], plane: Pose) -> Pose:
    """The frame that a slide is counted in: the opening's of the stack that moves, else the plane of the holes."""
    for item in _items(build, layout):
        if item.stack is not None and item.frame is not None and {p.name for p in item.pieces} & set(moving):
            return item.frame
    return plane


def slid(build: Build, layout: Layout, moving: Collection[str], by: Vector, axes: Pose) -> Slid | None:
    """The build with those pieces moved by a vector, mm in case coordinates; None where no words of it do that.

    axes: what the way is told along and across, where it is a stack that slides.
    """
    items = [i for i in _items(build, layout) if {p.name for p in i.pieces} & set(moving)]
    moved = {id(i.entry) for i in items}
    led = [i for i in items if not _led(i, moved, moving)]
    if not led or set(moving) - {p.name for i in items for p in i.pieces}:
        return None
    changed: dict[int, _Item] = {}
    for item in led:
        words = _words(item, by)
        if words is None:
            return None
        changed[id(item.entry)] = words
    made = _placed(build, changed)
    if made is None:
        return None
    # A row that is not full is counted from its middle until a slide is written, and then from its first place.
    off = {i: _off(item, made.layout, by) for i, item in changed.items()}
    if any(float(np.abs(o).max()) > FOLLOWED_MM for o in off.values()):
        for i, item in changed.items():
            again = _words(item, off[i])
            if again is None:
                return None
            changed[i] = again
        made = _placed(build, changed)
    if made is None:
        return None
    before = {p.name: p.pose[:3, 3] for p in layout.pieces}
    after = {p.name: p.pose[:3, 3] for p in made.layout.pieces}
    if any(n not in after or np.abs(after[n] - before[n] - by).max() > FOLLOWED_MM for n in moving):
        return None
    return Slid(made, _sentence(list(changed.values()), [i for i in items if id(i.entry) not in changed], by, axes))


def left_out(build: Build, layout: Layout, name: str) -> Slid | None:
    """The build without the layer that a piece belongs to; None where it is no layer, or others stand on it."""
    item = next((i for i in _items(build, layout) if i.stack is not None and name in {p.name for p in i.pieces}), None)
    if item is None:
        return None
    new = build.with_entries(lambda e: None if e is item.entry else e)
    try:
        return Slid(placed(new), f"leave out {item.name}")
    except BuildError:
        return None


# Entries and their pieces ---------------------------------------------------------------------------------------------


def _items(build: Build, layout: Layout) -> list[_Item]:
    out = []
    for stack in build.stacks:
        for names, entries, outside in _sides(stack):
            frame = _opening(stack, layout, outside)
            for name, entry in zip(names, entries, strict=True):
                own = _of_entry(layout, name, stack.name)
                out.append(_Item(entry, own, stack, frame))
    for entry in build.parts:
        own = _of_entry(layout, entry.name, None)
        words = entry.words
        frame = None
        if isinstance(words, Placement) and isinstance(words.on, str) and "*" not in words.on:
            frame = _frame(layout, words.on)
        out.append(_Item(entry, own, None, frame))
    return [i for i in out if i.pieces]


def _sides(stack: StackEntries) -> list[tuple[list[str], tuple[Entry, ...], bool]]:
    names, n = layer_names(stack), len(stack.layers)
    return [(names[:n], stack.layers, False), (names[n:], stack.outside, True)]


def _of_entry(layout: Layout, name: str, stack: str | None) -> tuple[Piece, ...]:
    """The pieces of an entry, by its name and the stack it is a layer of."""
    return tuple(
        p
        for p in layout.pieces
        if isinstance(p.identity, Entered) and (p.identity.entry, p.identity.stack) == (name, stack)
    )


def _opening(stack: StackEntries, layout: Layout, outside: bool) -> Pose | None:
    opening = stack.spec.opening or stack.name
    return _frame(layout, (opening if "." in opening else f"case.{opening}") + ("-outside" if outside else ""))


def _frame(layout: Layout, reference: str) -> Pose | None:
    name, _, frame = reference.rpartition(".")
    piece = next((p for p in layout.pieces if p.name == name), None)
    if piece is None or all(f.name != frame for f in piece.part.frames()):
        return None
    return piece.frame_pose(frame)


def _led(item: _Item, moved: Collection[int], moving: Collection[str]) -> bool:
    """Whether an entry's pieces move by themselves when the others do."""
    if item.stack is not None:
        opening = item.stack.spec.opening or ""
        if "." in opening and any(_names(opening, name) for name in moving):
            return True
        outside = item.entry in item.stack.outside
        own, other = (item.stack.outside, item.stack.layers) if outside else (item.stack.layers, item.stack.outside)
        held = holder(own, own.index(item.entry), other) if follows(item.entry) else None
        return held is not None and id(held[0]) in moved
    words = item.entry.words
    if not isinstance(words, Placement) or words.on is None or words.at is not None:
        return False
    on = [words.on] if isinstance(words.on, str) else words.on
    return all(any(_names(reference, name) for name in moving) for reference in on)


def _names(reference: str, piece: str) -> bool:
    return matches(piece, reference.rpartition(".")[0])


# Words ----------------------------------------------------------------------------------------------------------------


def _words(item: _Item, by: Vector) -> _Item | None:
    """The entry with what is written for it to move; None where its words cannot say it."""
    words = item.entry.words
    written = dict(item.written)
    new: dict[str, Any] = {}
    if isinstance(words, Layering) and item.frame is not None:
        for key, axis in (("slide", item.frame[:3, 0]), ("aside", item.frame[:3, 1])):
            if abs(float(axis @ by)) > FOLLOWED_MM:
                new[key] = Mm(round(float(getattr(words, key)) + float(axis @ by), WRITTEN) + 0.0)
    elif isinstance(words, Placement) and words.at is not None:
        at = _at(words.at, by)
        if at is None:
            return None
        written |= {f"at.{k}": getattr(at, k) for k in type(at).model_fields if getattr(at, k) != getattr(words.at, k)}
        return _Item(_with(item.entry, {"at": at}), item.pieces, item.stack, item.frame, written)
    elif isinstance(words, Placement) and item.frame is not None:
        x, y = (float(item.frame[:3, k] @ by) for k in (0, 1))
        new["offset"] = tuple(Mm(round(float(o) + d, WRITTEN) + 0.0) for o, d in zip(words.offset, (x, y), strict=True))
    else:
        return None
    return _Item(_with(item.entry, new), item.pieces, item.stack, item.frame, written | new)


def _at(at: At, by: Vector) -> At | None:
    """Measured distances after a move; None where an axis of the move is not measured."""
    new = {}
    for axis in range(3):
        if abs(float(by[axis])) <= FOLLOWED_MM:
            continue
        keys = at.axis(axis)
        if len(keys) != 1:
            return None
        sign = -1.0 if keys[0] in WALLS and WALLS[keys[0]][1] else 1.0
        new[keys[0]] = Mm(round(float(getattr(at, keys[0])) + sign * float(by[axis]), WRITTEN) + 0.0)
    return at.model_copy(update=new)


def _with(entry: Entry, new: dict[str, Any]) -> Entry:
    words = entry.words
    return replace(entry, words=words.model_copy(update=new))


def _placed(build: Build, changed: dict[int, _Item]) -> Placed | None:
    new = build.with_entries(lambda e: changed[id(e)].entry if id(e) in changed else e)
    try:
        return placed(new)
    except BuildError:
        return None


def _off(item: _Item, layout: Layout, by: Vector) -> Vector:
    """mm that an entry's first piece is short of where it was to be moved to."""
    first = item.pieces[0]
    at = next((p.pose[:3, 3] for p in layout.pieces if p.name == first.name), first.pose[:3, 3] + by)
    found: Vector = first.pose[:3, 3] + by - at
    return found


def _sentence(items: Sequence[_Item], others: Sequence[_Item], by: Vector, axes: Pose) -> str:
    names = [i.name for i in items]
    in_stack = any(i.stack is not None for i in items)
    way = along_row(axes, by) if in_stack else toward_walls(by)
    told = [_written(i.written) for i in items]
    same = told[0] if len(set(told)) == 1 else "; ".join(f"{n}: {t}" for n, t in zip(names, told, strict=True))
    along = f"; {_listed([i.name for i in others])} go with it" if others else ""
    return f"slide {_listed(names)} by {way} ({same}{along})"


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _written(words: Mapping[str, Any]) -> str:
    """What is written in the build file, as it is written there."""
    out = []
    for key, value in words.items():
        numbers = isinstance(value, tuple)
        out.append(f"{key}: [{', '.join(f'{v:.7g}' for v in value)}]" if numbers else f"{key}: {value:.7g}")
    at = ", ".join(o.removeprefix("at.") for o in out if o.startswith("at."))
    return ", ".join([*(o for o in out if not o.startswith("at.")), *([f"at: {{{at}}}"] if at else [])])


def along_row(axes: Pose, by: Vector) -> str:
    """A slide along and across a row, and toward which walls."""
    told = []
    for way, axis in (("along", axes[:3, 0]), ("across", axes[:3, 1])):
        d = float(axis @ by)
        if abs(d) > EVEN_MM:
            told.append(f"{abs(d):.2f} mm {way} the row, toward the {_wall(d * axis)}")
    return " and ".join(told) or "nothing"


def toward_walls(by: Vector) -> str:
    """A slide by the walls it goes toward."""
    told = [
        f"{abs(float(by[k])):.2f} mm toward the {_wall(np.where(np.arange(3) == k, by, 0.0))}"
        for k in range(3)
        if abs(float(by[k])) > EVEN_MM
    ]
    return " and ".join(told) or "nothing"


def _wall(way: Vector) -> str:
    k = int(np.abs(way).argmax())
    return next(w for w, (i, far) in WALLS.items() if i == k and far == bool(way[k] > 0))
