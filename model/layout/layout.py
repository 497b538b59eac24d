"""The nouns between placing and making solids: posed parts, declared mates, wanted gaps.

Owns the frozen values that placement produces and that the engine, the checks and the writers read. No algorithm
lives here beyond looking things up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from elbowroom.model.build.spec import DEFAULT_GAP
from elbowroom.model.layout.identity import Entered, Identity, row_of
from elbowroom.parts.vocabulary.base import ASSUMED, Box, Frame, Mark, Part
from elbowroom.parts.vocabulary.pose import Pose, compose

_ONE = Entered("")  # of a piece whose maker says no more than its name


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """A part standing somewhere. `name` is unique in the layout; `pose` maps part to case coordinates.

    assembly: the sub-assembly it belongs to in files ("floor stack"). given: fields the build itself states.
    sources: (source, mark) of each field that the build does not state. outside: meant to stand outside the case.
    identity: who it is; left out, it is the one piece of an entry of its name.
    """

    name: str
    part: Part
    pose: Pose
    assembly: str
    given: frozenset[str] = frozenset()
    sources: Mapping[str, tuple[str, Mark]] = field(default_factory=lambda: MappingProxyType({}))
    outside: bool = False
    identity: Identity = _ONE

    def __post_init__(self) -> None:
        if self.identity is _ONE:
            object.__setattr__(self, "identity", Entered(self.name))

    @property
    def stack(self) -> str | None:
        """The stack it is a layer of; None where it is none."""
        return self.identity.stack if isinstance(self.identity, Entered) else None

    @property
    def row(self) -> str:
        """What it is called without its number: `fan` of `fan 2`."""
        return row_of(self.identity)[0]

    @property
    def number(self) -> int | None:
        """Its number in its row; None where it stands alone."""
        return row_of(self.identity)[1]

    def answers_to(self, word: str) -> bool:
        """Whether a word of the build file that names a piece, or all pieces of an entry, means this one."""
        return word == self.name or (isinstance(self.identity, Entered) and word in (self.identity.entry, self.row))

    @property
    def assumed(self) -> tuple[str, ...]:
        """Fields whose value rests on memory or common practice, so that a measurement should replace them; those that
        mean nothing to the part's variant aside.
        """
        unused = self.part.unused_fields()
        return tuple(sorted(f for f, (_, mark) in self.sources.items() if mark in ASSUMED and f not in unused))

    def frame(self, name: str) -> Frame:
        return self.part.frame(name)

    def frame_pose(self, name: str) -> Pose:
        """Pose of one of the part's frames in case coordinates."""
        return compose(self.pose, self.part.frame(name).pose)


@dataclass(frozen=True, slots=True)
class Mate:
    """Two frames brought together, by name: the bodies at them may touch, and no gap is wanted between them.

    contact: the faces are meant to meet, and that is checked; False where they may but need not.
    placed: the mate is how the first piece got its pose (False: stated beside the placement, to be checked alone).
    """

    piece: str
    frame: str
    to_piece: str
    to_frame: str
    contact: bool = True
    placed: bool = True


@dataclass(frozen=True, slots=True)
class Joined:
    """Two bodies (piece/body) that may touch without a frame of either: a screw and what it holds. `why` in a word."""

    body: str
    to_body: str
    why: str


@dataclass(frozen=True, slots=True)
class Gaps:
    """Wanted gaps, mm: a default, one for each pair of families (sorted names), one for each piece. Largest wins."""

    default: float = DEFAULT_GAP
    families: Mapping[tuple[str, str], float] = field(default_factory=lambda: MappingProxyType({}))
    pieces: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))

    def wanted(self, a: Piece, b: Piece) -> float:
        pair = (min(a.part.family, b.part.family), max(a.part.family, b.part.family))
        return max(
            self.default, self.families.get(pair, 0.0), self.pieces.get(a.name, 0.0), self.pieces.get(b.name, 0.0)
        )


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """Every piece of a build in case coordinates. `interior` is the case's free inner box; None without a case."""

    title: str
    pieces: tuple[Piece, ...]
    mates: tuple[Mate, ...]
    gaps: Gaps
    interior: Box | None = None
    joined: tuple[Joined, ...] = ()

    def piece(self, name: str) -> Piece:
        for p in self.pieces:
            if p.name == name:
                return p
        raise KeyError(name)


def piece_of(body: str) -> str:
    """The piece's name in a body's, `piece/body`. A piece may have a stroke in its own name: `6-32 x 1/4 in at ...`."""
    return body.rpartition("/")[0]
