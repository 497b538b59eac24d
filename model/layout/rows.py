"""Rows of places along an opening: which ones the copies of a layer take up.

Owns that fans, and frames for one fan each, follow the hole rows of the radiator their screws go into, else those of
the opening, and which layers those screws go through on the way. Leaves heights, turns and poses to `stacks`. Lengths
in mm, along and across the opening's row from its middle.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from elbowroom.model.build.entries import Entry
from elbowroom.model.build.spec import Layering
from elbowroom.parts.fan.layers import FanLayer
from elbowroom.parts.vocabulary.base import Frame, Part
from elbowroom.parts.vocabulary.pose import compose, inverse


@dataclass(frozen=True, slots=True, eq=False)
class Row:
    """Places along the row that a screwed-on neighbour takes up, and how far across it they lie."""

    places: tuple[float, ...]
    across: float = 0.0


def row_of(part: Part, frame: Frame) -> Row:
    """Places of the numbered frames `<frame>-1`, `-2` ... along the frame's own x axis."""
    numbered = [
        f for f in part.frames() if f.name.rpartition("-")[0] == frame.name and f.name.rpartition("-")[2].isdigit()
    ]
    inv = inverse(frame.pose)
    return Row(tuple(sorted(float(compose(inv, f.pose)[0, 3]) for f in numbered)))


def own_row(entry: Entry) -> Row | None:
    """The row a layer itself offers to fans (a radiator), where it lies; None for layers without one."""
    if entry.part.moves_air or entry.part.seat is None or not entry.part.holds_coolant:
        return None
    words = entry.words
    assert isinstance(words, Layering)
    row = row_of(entry.part, entry.part.frame(entry.part.seat))
    if not row.places:
        return None
    return Row(tuple(p + float(words.slide) for p in row.places), float(words.aside))


def holder(entries: Sequence[Entry], i: int, other: Sequence[Entry] = ()) -> tuple[Entry, bool] | None:
    """The radiator that the screws of fans in layer `i` go into, through whatever layers hold nothing, and whether it
    lies beyond the panel: what lies farther from the panel first, then what lies nearer, and through the panel the
    layers on its `other` side. None where neither way has one.
    """
    farther, nearer = [(e, False) for e in entries[i + 1 :]], [(e, False) for e in entries[:i][::-1]]
    for way in (farther, [*nearer, *((e, True) for e in other)]):
        for entry, beyond in way:
            if own_row(entry) is not None:
                return entry, beyond
            if not held_through(entry):
                break
    return None


def held_to(entries: Sequence[Entry], i: int, other: Sequence[Entry] = ()) -> Row | None:
    """The row of that radiator; None where there is none."""
    found = holder(entries, i, other)
    own = None if found is None else own_row(found[0])
    if own is None or found is None:
        return None
    # Seen from its other side the panel's row runs the same way, and what lies across it is turned round.
    return replace(own, across=-own.across) if found[1] else own


def held_through(entry: Entry) -> bool:
    """Whether screws go through a layer into what lies behind it: a fan's do, and those of gaskets, shims and such."""
    return entry.part.moves_air or entry.part.loose_layer


def follows(entry: Entry) -> bool:
    """Whether a layer's copies lie where the fans of its row do: fans, and several frames for one fan each."""
    words = entry.words
    assert isinstance(words, Layering)
    several = (words.count or 1) > 1
    return entry.part.moves_air or (several and isinstance(entry.part, FanLayer) and entry.part.fans == 1)


def middle_of(places: list[float], count: int) -> list[float]:
    """The `count` places nearest the middle of the row, the earlier ones where it cannot be even."""
    start = (len(places) - count) // 2
    return places[start : start + count]


def footprint(part: Part, clock: float) -> float:
    """mm along the row that a layer takes up, turned by quarter turns."""
    size = part.box().size
    return size[1] if round(clock / 90.0) % 2 else size[0]
