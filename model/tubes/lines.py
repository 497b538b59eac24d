"""Many bent lines at once: the arithmetic of the planner's attempts, as arrays.

Owns what a batch of corner polylines with one bend radius comes to: straights, turns, length, cost, what the rules lack
and how much room the map grants; the loops themselves are in `kernels`. `parts.bends` holds the same arithmetic for one
run and is what a plan is finally made with. Millimetres; turns in radians.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.geometry.envelopes import Floats
from elbowroom.model.geometry.looked import note
from elbowroom.model.tolerances import SQUARE_COS
from elbowroom.model.tubes.field import Field, Floats32
from elbowroom.model.tubes.rules import Rules

TOGETHER = 3  # cells each way that are noted as one: a block of the record is about as large
SAMPLE = 4.0  # mm between the points at which an attempt is held against the map: about a cell


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """n lines with k corners each. points (n, k + 2, 3); straights (n, k + 1); turns, setbacks (n, k); length, cost,
    lack (n,): centre line, cost under the rules, and the mm by which the worst leg is too short (0: bendable).
    """

    points: Floats
    directions: Floats
    straights: Floats
    turns: Floats
    setbacks: Floats
    length: Floats
    cost: Floats
    lack: Floats

    def take(self, rows: np.ndarray) -> Lines:
        return Lines(
            self.points[rows], self.directions[rows], self.straights[rows], self.turns[rows], self.setbacks[rows],
            self.length[rows], self.cost[rows], self.lack[rows],
        )  # fmt: skip


def measure(points: Floats, rules: Rules) -> Lines:
    """Corner polylines (n, k + 2, 3), bent with the least radius."""
    from elbowroom.model.tubes.kernels import measure_lines  # compiled: loaded only where a run is looked for

    points = np.ascontiguousarray(points, dtype=float)
    n, k = points.shape[0], points.shape[1] - 2
    out = Lines(
        points, np.empty((n, k + 1, 3)), np.empty((n, k + 1)), np.empty((n, k)), np.empty((n, k)), np.empty(n),
        np.empty(n), np.empty(n),
    )  # fmt: skip
    measure_lines(
        points, rules.radius, rules.end_leg, rules.between, math.radians(rules.largest_bend), rules.most_bends,
        SQUARE_COS if rules.square else 0.0, rules.bend_worth, out.directions, out.straights, out.turns, out.setbacks,
        out.length, out.cost, out.lack,
    )  # fmt: skip
    return out


@dataclass(frozen=True, slots=True, eq=False)
class Map:
    """The map a run is planned on: the field, the tube's radius, and how far from each end it is not looked at (mm).
    seen: which cells of the field have been asked.
    """

    field: Field
    radius: float
    skip: tuple[float, float]
    seen: NDArray[np.uint8]

    @classmethod
    def of(cls, field: Field, radius: float, skip: tuple[float, float]) -> Map:
        return cls(field, radius, skip, field.blank())

    def noted(self) -> None:
        """Note all that the cells asked so far depend on, where anyone keeps a record (`geometry.looked`)."""
        f = self.field
        blocks = np.unique(np.argwhere(self.seen) // TOGETHER, axis=0) * TOGETHER
        lo = f.lo + blocks * f.cell
        note(lo, lo + TOGETHER * f.cell, f.influence)

    def room(self, points: Floats) -> Floats32:
        """Upper bound, mm, of the excess of room around a tube's centre line at each point (..., 3)."""
        out = self.field.excess(points, seen=self.seen)
        out -= np.float32(self.radius)
        return out

    def least_room(self, lines: Lines, bend: float, *, tight: bool = False, floors: Floats | None = None) -> Floats:
        """The least room along each line, mm (n,), looked at in steps of at most SAMPLE.

        floors: a line that is seen to have less room than its floor is looked at no further; what is given for it is
        then only known to lie below the floor.
        """
        from elbowroom.model.tubes.kernels import least_room

        n = len(lines.cost)
        out = np.empty(n)
        # As finely for all lines as the longest leg of any asks for.
        straight_parts = 1 + (np.maximum(lines.straights.max(axis=0, initial=0.0), 0.0) / SAMPLE).astype(np.int64)
        arc_parts = 2 + (bend * lines.turns.max(axis=0, initial=0.0) / SAMPLE).astype(np.int64)
        least_room(
            self.field.near, *self.field.place, np.float32(self.radius), *self.skip, straight_parts, arc_parts,
            lines.points, lines.directions, lines.straights, lines.turns, lines.setbacks, lines.length, bend, tight,
            np.full(n, -np.inf) if floors is None else floors, self.seen, out,
        )  # fmt: skip
        return out
