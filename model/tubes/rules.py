"""The nouns of tube runs: what the tube allows, where it may start and end, and what a plan comes out as.

Owns frozen values only. Millimetres and degrees. Leaves finding runs to `planner`, judging them to `verify`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from elbowroom.model.geometry.envelopes import Margins, Point, Rod
from elbowroom.parts.vocabulary.bends import Run

BEND_WORTH = (
    40.0  # mm of tube that one bend less is worth: a bend costs a builder a try; common practice, no source (P)
)
MOST_BENDS = 6  # bends in one piece of tube: beyond it builders use fittings; common practice, no source (P)
CLOSED_BENDS = 3  # bends up to which lines are drawn in closed form (`families`)
LARGEST_BEND = 150.0  # deg: a tighter return is drawn as two bends; its setback would be over 3.7 radii


@dataclass(frozen=True, slots=True)
class Rules:
    """What a tube allows.

    od: outer diameter. radius: least centre-line radius. end_leg: straight at each fitting. between: straight between
    two bends. clearance: wanted distance from the tube's surface to everything, with figures of their own for some
    obstacles. soft: arcs may be larger than the least radius (a hose); else every bend has exactly that radius (a
    former). Either way a run is straights and arcs: a hose lies at least as smoothly as the run drawn for it.
    bend_worth: mm of tube one bend counts for when runs are compared: cost = length + bend_worth x bends. square: every
    leg lies along an axis of the case.
    """

    od: float
    radius: float
    end_leg: float = 0.0
    between: float = 0.0
    clearance: Margins = field(default_factory=Margins)
    soft: bool = False
    bend_worth: float = BEND_WORTH
    most_bends: int = MOST_BENDS
    largest_bend: float = LARGEST_BEND
    square: bool = False

    def __post_init__(self) -> None:
        numbers = (self.od, self.radius, self.end_leg, self.between, self.bend_worth, self.largest_bend)
        if not all(math.isfinite(v) for v in numbers) or self.od <= 0 or min(numbers) < 0:
            raise ValueError("tube rules need finite lengths of 0 or more and a diameter above 0")
        if self.radius < self.od / 2:
            raise ValueError(f"a centre-line radius of {self.radius:g} is under half the tube ({self.od / 2:g})")
        if not 0 < self.largest_bend < 179 or self.most_bends < 0:
            raise ValueError("largest_bend must lie between 0 and 179 deg, most_bends must not be negative")


@dataclass(frozen=True, slots=True)
class Candidate:
    """One way a tube may leave: where it comes out of its fitting, and the unit axis outward.

    label: what the user reads ("rotary 90 at 35 deg"). body: bars of the fitting that this choice brings along; they
    must stand free themselves, and later runs keep clear of them. turns: degrees of the fitting's free swivels here.
    """

    point: Point
    axis: Point
    label: str = ""
    body: tuple[Rod, ...] = ()
    turns: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        length = math.hypot(*self.axis)
        if not (math.isfinite(length) and length > 0):
            raise ValueError("a tube's axis needs a direction")
        object.__setattr__(self, "axis", tuple(c / length for c in self.axis))
        object.__setattr__(self, "point", tuple(float(c) for c in self.point))


@dataclass(frozen=True, slots=True)
class End:
    """One end of a run: the candidates to choose from, and the obstacles not counted within `reach` mm of tube from it
    (the fitting it comes out of, the part that is screwed to). The candidates' own bodies are never in their own way.
    settled: how many of the space's first obstacles these bodies are known to stand free of.
    """

    candidates: tuple[Candidate, ...]
    exempt: tuple[str, ...] = ()
    reach: float = 0.0
    settled: int = 0

    def __post_init__(self) -> None:
        if not self.candidates:
            raise ValueError("the end of a run needs at least one candidate")


Kind = Literal[
    "clearance", "inside", "bounds", "self", "radius", "leg", "between", "bend", "bends", "axis", "end", "square"
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Violation:
    """One rule a run breaks. place: `leg 2` or `bend 1`, counted from the start. obstacle, at: for clearance, where."""

    kind: Kind
    place: str
    measured: float
    required: float
    text: str
    obstacle: str | None = None
    at: Point | None = None

    @property
    def shortfall(self) -> float:
        return self.required - self.measured


@dataclass(frozen=True, slots=True)
class Found:
    """A run that holds under the rules: verified after planning."""

    run: Run
    start: Candidate
    end: Candidate
    cost: float

    @property
    def found(self) -> bool:
        return True


@dataclass(frozen=True, slots=True)
class Reason:
    """Why no run can exist, with the numbers to check it again.

    kind: `leg` (the straight leg has no room), `turn` (after the leg, no bend of the least radius has), `sealed` (no
    passage wide enough leads out), `legs` (the straight legs of both ends meet). free, needed: mm (for `sealed`: the
    volume open to the tube, cm3, and 0). obstacles: what is in the way, nearest first.
    """

    kind: Literal["leg", "turn", "sealed", "legs"]
    end: Literal["start", "end", "both"]
    free: float
    needed: float
    obstacles: tuple[str, ...]
    at: Point
    text: str


@dataclass(frozen=True, slots=True)
class Tried:
    """What a search went through before it gave up.

    turns: choices at the start and at the end whose straight leg stands free, of those there were. lines: drawn in
    closed form. lattices: swept, of up to `bends` bends; step: mm between the corners of the finest. cell: mm of the
    map. tests: lines held against the solids themselves.
    """

    turns: tuple[tuple[int, int], tuple[int, int]] = ((0, 0), (0, 0))
    lines: int = 0
    lattices: int = 0
    bends: int = 0
    step: float = 0.0
    cell: float = 0.0
    tests: int = 0

    @property
    def text(self) -> str:
        """In words."""
        out = []
        for (free, of), side in zip(self.turns, ("start", "end"), strict=True):
            if of > 1:
                out.append(f"{free} of {of} turns at the {side}")
        out.append(f"{self.lines} ways of up to {CLOSED_BENDS} bends")
        if self.lattices:
            out.append(f"ways of up to {self.bends} bends along {self.lattices} grids of {self.step:.1f} mm")
        return "tried: " + ", ".join(out) + f"; the room mapped in steps of {self.cell:.1f} mm"


@dataclass(frozen=True, slots=True)
class NotFound:
    """No run was found. `impossible` only with `reasons`, each of which proves it alone; else the search came to its
    end, and `blockers` names what stood in the way of the nearest attempt (obstacle, mm short), worst first. at: where
    that attempt is short by most.
    """

    reasons: tuple[Reason, ...]
    blockers: tuple[tuple[str, float], ...]
    attempt: Run | None
    text: str
    tried: Tried = field(default_factory=Tried)
    at: Point | None = None

    @property
    def found(self) -> bool:
        return False

    @property
    def impossible(self) -> bool:
        return bool(self.reasons)


Result = Found | NotFound
