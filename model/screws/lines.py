"""A screw's line and the pieces on it.

Owns the frozen values that the walk along axes gives and that everything about screws reads.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from elbowroom.model.layout.layout import Piece
from elbowroom.parts.vocabulary.arrays import Vector
from elbowroom.parts.vocabulary.base import Hole, HolePattern

Ends = Literal["thread", "nut", "forming", "stud"]


@dataclass(frozen=True, slots=True, eq=False)
class Passed:
    """A piece on an axis. pattern, hole: which hole of it is nearest, None where it has none there and one would have
    to be drilled. at: the axis in that pattern's plane, mm. near: the point where the axis enters. thickness: mm along
    the axis, None where it cannot be said. recess: diameter and depth of a wider hole at its far end, that a head may
    be sunk in.
    """

    piece: Piece
    pattern: HolePattern | None
    hole: int | None
    at: tuple[float, float]
    near: tuple[float, float, float]
    thickness: float | None
    recess: tuple[float, float] | None = None

    @property
    def opening(self) -> Hole | None:
        return None if self.pattern is None or self.hole is None else self.pattern.holes[self.hole]


@dataclass(frozen=True, slots=True, eq=False)
class Axis:
    """One screw's line. `piece`, `pattern`, `hole`: what it ends in. origin: on that piece's face, in case coordinates;
    out: unit vector from there to the head. passed: from the face to the head. blocked: a piece on the way that has no
    hole for it and is no wall to drill. free: mm from the face to what lies behind a hole that goes through; None: no
    end to it, or the hole has its own. stud: mm that the piece's own stud stands out along the axis.
    fan: of a thread-forming screw, the fan it is cut into as a bolt would pass it.
    """

    piece: Piece
    pattern: HolePattern
    hole: int
    ends: Ends
    origin: tuple[float, float, float]
    out: tuple[float, float, float]
    passed: tuple[Passed, ...]
    blocked: str | None = None
    free: float | None = None
    stud: float | None = None
    fan: Passed | None = None

    @property
    def receiver(self) -> Hole:
        return self.pattern.holes[self.hole]

    def point(self, height: float) -> Vector:
        """The point `height` mm above the receiving face."""
        return np.array(self.origin) + height * np.array(self.out)


def bolted(axis: Axis) -> Axis:
    """The line of a thread-forming screw as that of a bolt through the fan, with a nut on its far side."""
    assert axis.fan is not None
    return replace(axis, ends="nut", origin=axis.fan.near, passed=(axis.fan, *axis.passed), fan=None)


def as_point(v: Vector) -> tuple[float, float, float]:
    return (float(v[0]), float(v[1]), float(v[2]))
