"""What a part offers to others, by the names a build file calls it: places, ports and hole patterns.

Owns those words, for the catalogue and for a piece that stands in a build; rows of places that differ by their number
alone are one.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from elbowroom.parts.vocabulary.arrays import Vector
from elbowroom.parts.vocabulary.base import Frame, Hole, HolePattern, Part

_NUMBERED = re.compile(r"(.+)-(\d+)")
_KINDS = {
    "face": "face", "wall": "wall", "opening": "opening", "port": "port", "slot": "slot", "socket": "socket",
    "exit": "where a cable or tube leaves", "axis": "axis",
}  # fmt: skip
ALONG = 0.999  # cosine within which a place looks along an axis of the part
PORT, HOLES, PLACE = "port", "holes", "place"


@dataclass(frozen=True, slots=True)
class Offered:
    """One name, or a row of them. sort: port, holes or place. looks: the part's axis that it looks along, "" where
    there is none.
    """

    names: tuple[str, ...]
    sort: str
    words: str
    looks: str

    @property
    def name(self) -> str:
        return self.names[0] if len(self.names) == 1 else f"{self.names[0]} to {self.names[-1]}"


def offered(part: Part, rows: bool = True) -> list[Offered]:
    """All that a part offers: places first, then ports, then holes. rows: what differs by its number alone as one."""
    frames = list(part.frames())
    found = [
        Offered((f.name,), PORT if f.kind == "port" else PLACE, frame_words(f), axis_of(f.pose[:3, 2])) for f in frames
    ]
    found.sort(key=lambda o: o.sort == PORT)
    found += [Offered((p.name,), HOLES, holes_words(p), axis_of(p.pose[:3, 2])) for p in part.patterns()]
    return _rows(found) if rows else found


def _rows(found: Sequence[Offered]) -> list[Offered]:
    out: list[Offered] = []
    for o in found:
        last = out[-1] if out else None
        if last is not None and _follows(last, o):
            out[-1] = Offered((*last.names, *o.names), o.sort, o.words, o.looks)
        else:
            out.append(o)
    return out


def _follows(row: Offered, other: Offered) -> bool:
    a, b = _NUMBERED.fullmatch(row.names[-1]), _NUMBERED.fullmatch(other.names[0])
    if a is None or b is None or a[1] != b[1] or int(b[2]) != int(a[2]) + 1:
        return False
    return (row.sort, row.words, row.looks) == (other.sort, other.words, other.looks)


def frame_words(frame: Frame) -> str:
    """A place in words: what it is, how large, with which thread."""
    said = [_KINDS[frame.kind]]
    if frame.size is not None:
        said.append(f"{_n(frame.size[0])} x {_n(frame.size[1])} mm")
    if frame.thread is not None:
        said.append(frame.thread)
    if frame.depth is not None:
        said.append(f"{_n(frame.depth)} mm deep")
    if frame.flow is not None:
        said.append(f"coolant goes {frame.flow}")
    return ", ".join(said)


def holes_words(pattern: HolePattern) -> str:
    """A hole pattern in words: how many of each kind."""
    kinds = Counter(map(_hole, pattern.holes))
    return ", ".join(f"{n} x {kind}" for kind, n in kinds.items())


def _hole(hole: Hole) -> str:
    deep = "" if hole.depth is None else f", {_n(hole.depth)} mm deep" + (f" to the {hole.stop}" if hole.stop else "")
    if hole.thread is not None:
        return f"{hole.thread}{deep}"
    if hole.slot:
        return f"slot {_n(hole.diameter)} x {_n(hole.slot + hole.diameter)} mm{deep}"
    return f"hole {_n(hole.diameter)} mm{deep}"


def axis_of(way: Vector) -> str:
    """The axis that a unit vector lies along, with its sign; empty where it lies along none."""
    k = max(range(3), key=lambda i: abs(float(way[i])))
    return f"{'+' if way[k] > 0 else '-'}{'xyz'[k]}" if abs(way[k]) > ALONG else ""


def _n(value: float) -> str:
    return f"{round(float(value), 2) + 0.0:g}"
