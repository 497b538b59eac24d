"""Who a piece is: the entry of the build file it comes from, or what the tool put in it stands for.

Owns identity as data, and the names that are made of it. A name is for people and is unique in its layout; what else a
piece is - which copy, on which port, in which joint - is asked here, and never read back out of a name. The one text
that is taken apart is what a builder wrote: who numbers parts by hand, `ssd 1` and `ssd 2`, means a row of them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_BY_HAND = re.compile(r"(.+) (\d+)", re.DOTALL)


@dataclass(frozen=True, slots=True, order=True)
class Port:
    """A port of a placed piece, by name."""

    piece: str
    frame: str

    def __str__(self) -> str:
        return f"{self.piece}.{self.frame}"


@dataclass(frozen=True, slots=True)
class Entered:
    """A piece of an entry of the build file. copy: which of several, from 1; None where the entry makes one. stack: the
    stack it is a layer of.
    """

    entry: str
    copy: int | None = None
    stack: str | None = None

    def __str__(self) -> str:
        return self.entry if self.copy is None else f"{self.entry} {self.copy}"


@dataclass(frozen=True, slots=True)
class Fitted:
    """A fitting on a port. link: its place in the chain, from the port outward, the first 0; of: links of the chain."""

    size: str
    port: Port
    link: int = 0
    of: int = 1

    def __str__(self) -> str:
        return f"{self.size} at {self.port}" + (f" ({self.link + 1})" if self.of > 1 else "")


@dataclass(frozen=True, slots=True)
class Screwed:
    """A screw, nut or washer of a joint. item: what it is called; row: of the joint's axes, from 0. washer: which of
    several on one axis, from 0.
    """

    item: str
    joint: str
    row: int
    washer: int | None = None

    def __str__(self) -> str:
        return f"{self.item} at {self.joint} {self.row + 1}" + ("" if self.washer is None else f" ({self.washer + 1})")


@dataclass(frozen=True, slots=True)
class Run:
    """The tube of a run of the loop: of the line with that name, the number-th of the build, from 1."""

    line: str
    number: int

    def __str__(self) -> str:
        return f"tube {self.number}"


Identity = Entered | Fitted | Screwed | Run


def numbered(word: str) -> tuple[str, int | None]:
    """What a builder wrote, taken apart into the name of a row and a number in it."""
    found = _BY_HAND.fullmatch(word)
    return (found[1], int(found[2])) if found else (word, None)


def row_of(identity: Identity) -> tuple[str, int | None]:
    """What a piece has in common with those numbered beside it, and its number; its own name where it stands alone."""
    match identity:
        case Entered(entry, None):
            return numbered(entry)
        case Entered(entry, copy):
            return entry, copy
        case Screwed(item, joint, row):
            return f"{item} at {joint}", row + 1
        case Run(_, number):
            return "tube", number
        case Fitted():
            return str(identity), None
