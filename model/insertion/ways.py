"""The ways a group of pieces can leave: straight, or straight one way and then another.

Owns which directions are tried (those of the case, of the pieces themselves, and of the faces they are mated by), and
the search for a second leg. A leg is a move that was judged exactly, wherever it ends. Leaves what stands to its
callers.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from elbowroom.model.insertion.blocking import NOWHERE, Blocking, Met, Slide
from elbowroom.model.insertion.sliding import FAR, along
from elbowroom.parts.vocabulary.arrays import Vector
from elbowroom.parts.vocabulary.pose import Pose
from elbowroom.parts.vocabulary.tolerances import ALIKE

BEYOND = 10.0  # mm that a piece ends clear of all others: a finger's breadth on; by choice
OFF_MM = 0.01  # mm kept to what ends a first leg: what calipers show. By choice
LEGS = 8  # places on a first leg from which a second is tried, beside those where boxes come clear
MOST_PLACES = 24  # places on a first leg that are tried in all, in one direction of the second

_CASE = np.array([(0, -1, 0), (0, 0, 1), (1, 0, 0), (-1, 0, 0), (0, 0, -1), (0, 1, 0)], dtype=float)


@dataclass(frozen=True, slots=True, eq=False)
class Leg:
    """A straight move: unit vector and mm."""

    way: Vector
    far: float


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """How a group leaves, leg by leg, from where it stands. poses: of a path that turns, each a motion of the group in
    case coordinates, moved through evenly; then the legs go on from the last. in_hand: it ends clear of what it was
    screwed into, in the hand, and not outside the case."""

    legs: tuple[Leg, ...]
    poses: tuple[Pose, ...] = ()
    in_hand: bool = False

    @property
    def kind(self) -> str:
        return "tilt" if self.poses else "straight" if len(self.legs) < 2 else "two legs"


@dataclass(frozen=True, slots=True, eq=False)
class Moving:
    """Units that are to leave together, those that stand, the directions tried, and the one they must begin with.
    far: mm along `first` after which they are in the hand."""

    units: frozenset[str]
    standing: frozenset[str]
    ways: Sequence[Vector]
    first: Vector | None = None
    far: float | None = None


def directions(extra: Collection[Vector]) -> list[Vector]:
    """Unit vectors to try: the extra ones first, then those of the case; none twice."""
    out: list[Vector] = []
    for v in [*extra, *_CASE]:
        n = np.where(np.abs(v) < ALIKE, 0.0, np.asarray(v, dtype=float))
        n = n / np.linalg.norm(n)
        if not any(float(np.abs(n - o).max()) < ALIKE for o in out):
            out.append(n)
    return out


def straight(blocking: Blocking, moving: Moving) -> tuple[Way | None, list[Met]]:
    """A straight way out, or what is met in each direction that was tried."""
    found: list[Met] = []
    for way in [moving.first] if moving.first is not None else moving.ways:
        slide = Slide.of(way, far=FAR if moving.far is None else moving.far)
        met = blocking.met(moving.units, moving.standing, slide, first=True)
        if not met:
            return _out(blocking, moving, NOWHERE, (), way), []
        found += met
    return None, found


def _out(blocking: Blocking, moving: Moving, start: Vector, legs: tuple[Leg, ...], way: Vector) -> Way:
    """The way with its last leg as long as it takes to leave all others behind."""
    if moving.far is not None:
        return Way((*legs, Leg(way, moving.far)), in_hand=True)
    return Way((*legs, Leg(way, _reach(blocking, moving, start, way))))


def _reach(blocking: Blocking, moving: Moving, start: Vector, way: Vector) -> float:
    axes, against = along(way)
    view = blocking.view(axes)
    others = [k for n in moving.standing for k in blocking.rows[n].tolist()]
    own = [k for n in moving.units for k in blocking.rows[n].tolist()]
    if not others or not own:
        return BEYOND
    s = float(start @ axes[:, 2])
    if against:
        far = float(view.hi[own, 2].max()) + s - float(view.lo[others, 2].min())
    else:
        far = float(view.hi[others, 2].max()) - float(view.lo[own, 2].min()) - s
    return max(far, 0.0) + BEYOND


def two_legs(blocking: Blocking, moving: Moving) -> Way | None:
    """A way of two legs; None where none of those tried is free."""
    for one in [moving.first] if moving.first is not None else moving.ways:
        met = blocking.met(moving.units, moving.standing, Slide.of(one))
        most = min((m.ran.travel for m in met), default=_reach(blocking, moving, NOWHERE, one)) - OFF_MM
        if most <= OFF_MM:
            continue
        for other in moving.ways:
            if abs(float(one @ other)) > 1 - ALIKE or not _leads_out(blocking, moving, other):
                continue
            far = _second(blocking, moving, one, other, most)
            if far is not None:
                return _out(blocking, moving, one * far, (Leg(one, far),), other)
    return None


def _leads_out(blocking: Blocking, moving: Moving, way: Vector) -> bool:
    """Whether a direction is worth trying for a second leg: no wall of a case lies across all of what is ahead.

    A wall whose box covers that of everything that moves bars it wherever the first leg, which is short of that, ends;
    unless that wall has a hole as large as the piece, where it is tried first straight.
    """
    axes, against = along(way)
    view = blocking.view(axes)
    own = [k for n in moving.units for k in blocking.rows[n].tolist()]
    lo, hi = view.lo[own].min(axis=0), view.hi[own].max(axis=0)
    for n in moving.standing & blocking.items.cases:
        for k in blocking.rows[n].tolist():
            ahead = view.hi[k, 2] <= lo[2] if against else view.lo[k, 2] >= hi[2]
            if ahead and (view.lo[k, :2] <= lo[:2]).all() and (view.hi[k, :2] >= hi[:2]).all():
                return False
    return True


def _second(blocking: Blocking, moving: Moving, one: Vector, other: Vector, most: float) -> float | None:
    """How far the first leg goes so that the second is free, at most `most` mm."""
    axes, against = along(one)
    view = blocking.view(axes)
    tried: set[float] = set()
    for far in [*(most * (k + 0.5) / LEGS for k in range(LEGS)), most]:
        while far <= most and len(tried) < MOST_PLACES and round(far, 3) not in tried:
            tried.add(round(far, 3))
            met = blocking.met(moving.units, moving.standing, Slide.of(other, one * far), first=True)
            if not met:
                return far
            i, j = met[0].bodies
            clear = float(view.hi[i, 2] - view.lo[j, 2]) if against else float(view.hi[j, 2] - view.lo[i, 2])
            if clear + OFF_MM <= far:
                break
            far = clear + OFF_MM
    return None
