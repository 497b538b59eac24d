"""Joints: screws that go into one pattern together, and whether each passes the holes before it.

Owns the grouping of axes into joints with the names a build file calls them by, the thread a bolt gets where no hole is
threaded, and for every piece on the way how far each hole is off, the best slide, and what is lost. Lengths are
`choosing`'s, verdicts those of the checks.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from elbowroom.model.layout.layout import Piece
from elbowroom.model.layout.wildcard import matches
from elbowroom.model.screws.faces import edge
from elbowroom.model.screws.lines import Axis, Ends
from elbowroom.model.screws.slots import Slide, Slot, best_slide, joined, residuals
from elbowroom.parts.case.case_openings import LEAST_WEB
from elbowroom.parts.vocabulary.base import HolePattern
from elbowroom.parts.vocabulary.threads import THREADS, thread

Words = TypeVar("Words")

FAN_SCREW = "fan-screw"
FAN_SCREW_NECK = (
    4.0  # mm that a panel's hole must let pass of a thread-forming fan screw; common practice, no source (P)
)
REACH = 40.0  # mm that a part is slid at most when its best place on the slots is looked for: under half a fan (P)
FAR = 1e3  # mm that a screw for which there is no hole left is told to be off by; no case is larger (P)
PASSES = 1e-6  # mm: rounding of positions
BOLTS = ("M5", "M4", "M3", "M2.5")  # what a bolt with a nut is tried from, widest first


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """How a joint's screws pass one piece's pattern. rows: which of the joint's axes go through it; off: mm that the
    nearest hole misses each by (0 or less: it passes); slide: the best move of the screws, with what they hold, over
    that pattern.
    """

    piece: Piece
    pattern: HolePattern
    rows: tuple[int, ...]
    off: tuple[float, ...]
    slide: Slide


@dataclass(frozen=True, slots=True, eq=False)
class Joint:
    """Screws into one pattern. thread: designation, or fan-screw; diameter: mm that must pass every hole."""

    name: str
    axes: tuple[Axis, ...]
    ends: Ends
    thread: str
    diameter: float
    fits: tuple[Fit, ...]

    @property
    def blocked(self) -> dict[int, str]:
        """Axes that a piece without a hole stands in, by its name."""
        return {i: a.blocked for i, a in enumerate(self.axes) if a.blocked is not None}

    @property
    def lost(self) -> frozenset[int]:
        """Axes that no screw can take as the parts stand."""
        missed = {i for f in self.fits for i, off in zip(f.rows, f.off, strict=True) if off > PASSES}
        return frozenset(missed | set(self.blocked))

    def bars(self, row: int) -> tuple[str, ...]:
        """Names of the pieces that keep a screw out of one axis: those whose holes it misses, or that have none."""
        missed = [
            f.piece.name for f in self.fits for i, off in zip(f.rows, f.off, strict=True) if i == row and off > PASSES
        ]
        return tuple(dict.fromkeys([*missed, *([self.blocked[row]] if row in self.blocked else [])]))

    @property
    def drilled(self) -> tuple[int, ...]:
        """Axes with a wall that has no hole yet."""
        return tuple(i for i, a in enumerate(self.axes) if any(p.pattern is None for p in a.passed))


def joints(axes: Sequence[Axis]) -> list[Joint]:
    """The joints of a layout's axes, in the order of the axes."""
    groups: dict[tuple[str, str, Ends], list[Axis]] = defaultdict(list)
    for axis in axes:
        groups[axis.piece.name, axis.pattern.name, axis.ends].append(axis)
    return [_joint(f"{piece}.{pattern}", ends, group) for (piece, pattern, ends), group in groups.items()]


def words_for(name: str, use: Mapping[str, Words]) -> Words | None:
    """What a build's words say of a joint: its exact name before any pattern, then the pattern that spells out most of
    it, in whatever order they are written.
    """
    fitting = [pattern for pattern in use if matches(name, pattern)]
    if not fitting:
        return None
    return use[max(fitting, key=lambda p: (p == name, len(p.replace("*", "")), -p.count("*")))]


def _joint(name: str, ends: Ends, axes: list[Axis]) -> Joint:
    if ends == "thread":
        screw = axes[0].receiver.thread
        assert screw is not None
        wide = thread(screw).major
    elif ends == "stud":
        screw = axes[0].receiver.thread or ""
        wide = thread(screw).major
    elif ends == "forming":
        screw, wide = FAN_SCREW, FAN_SCREW_NECK
    else:
        screw = _bolt(axes)
        wide = thread(screw).major
    through: dict[tuple[str, str], list[int]] = defaultdict(list)
    for i, axis in enumerate(axes):
        for p in axis.passed:
            if p.pattern is not None:
                through[p.piece.name, p.pattern.name].append(i)
    fits = tuple(_fit(axes, rows, piece, pattern, wide) for (piece, pattern), rows in through.items())
    return Joint(name, tuple(axes), ends, screw, wide, fits)


def _bolt(axes: Sequence[Axis]) -> str:
    """The widest bolt that passes every hole: the thread a piece is made for, else by the narrowest hole."""
    for axis in axes:
        for p in axis.passed:
            own = getattr(p.piece.part, "thread", None)
            if isinstance(own, str) and own in THREADS and THREADS[own].clearance:
                return own
    least = min((h.diameter for a in axes for p in a.passed if (h := p.opening) is not None), default=0.0)
    return next((t for t in BOLTS if THREADS[t].clearance["fine"] <= least + PASSES), BOLTS[-1])


def _fit(axes: Sequence[Axis], rows: Sequence[int], piece: str, pattern: str, wide: float) -> Fit:
    passed = [next(p for p in axes[i].passed if p.piece.name == piece) for i in rows]
    first = passed[0]
    assert first.pattern is not None
    points = np.array([p.at for p in passed], dtype=float)
    # Slots of a case that would leave too little sheet between them are drawn as one.
    slots = joined(slots_of(first.pattern), LEAST_WEB if first.piece.part.family == "case" else 0.0)
    try:
        off = residuals(points, wide, slots)[0]
        slide = best_slide(points, wide, slots, reach=(REACH, REACH))
    except ValueError:  # screws nearer to each other than they are thick, or more of them than are compared
        hole = [min(edge(h, x, y) for h in first.pattern.holes) + wide / 2 for x, y in points]
        passing = tuple(k for k, o in enumerate(hole) if o <= PASSES)
        lost = tuple(k for k in range(len(hole)) if k not in passing)
        still = Slide(0.0, 0.0, passing, lost, tuple(hole), (-1,) * len(hole), passing, ((0.0, 0.0), (0.0, 0.0)))
        return Fit(first.piece, first.pattern, tuple(rows), tuple(hole), still)
    return Fit(first.piece, first.pattern, tuple(rows), tuple(min(float(r), FAR) for r in off), slide)


def slots_of(pattern: HolePattern) -> list[Slot]:
    """A pattern's holes as slots in its plane."""
    return [Slot(h.x, h.y, h.diameter, h.slot, h.angle) for h in pattern.holes]
