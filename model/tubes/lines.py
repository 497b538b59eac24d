"""Many bent lines at once: the arithmetic of the planner's attempts, as arrays.

Owns what a batch of corner polylines with one bend radius comes to: straights, turns, length, cost, what the rules lack
and sample points. `parts.bends` holds the same arithmetic for one run and is what a plan is finally made with.
Millimetres; turns in radians.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from elbowroom.model.geometry.envelopes import Floats
from elbowroom.model.tolerances import SQUARE_COS
from elbowroom.model.tubes.field import Field, Floats32
from elbowroom.model.tubes.rules import Rules

SAMPLE = 4.0  # mm between the points at which an attempt is held against the map: about a cell
TURN_EPS = 1e-8  # rad: less is no bend
_FAR = 1e6  # mm: stands for a setback no leg can hold
_SLACK = 1e-7  # mm: rounding a leg may lack


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
    legs = np.diff(points, axis=1)
    lengths = np.sqrt(np.einsum("nkd,nkd->nk", legs, legs))
    d = legs / np.maximum(lengths, 1e-12)[..., None]
    cos = np.clip(np.einsum("nkd,nkd->nk", d[:, :-1], d[:, 1:]), -1.0, 1.0)
    # From the chord of the unit directions: exact where the turn is small, unlike the arc cosine.
    chord = d[:, 1:] - d[:, :-1]
    turns = 2 * np.arcsin(np.clip(np.sqrt(np.einsum("nkd,nkd->nk", chord, chord)) / 2, 0.0, 1.0))
    half = np.where(cos > -0.9999, np.tan(turns / 2), _FAR)
    setbacks = rules.radius * half
    straights = lengths.copy()
    straights[:, :-1] -= setbacks
    straights[:, 1:] -= setbacks
    need = np.full(straights.shape[1], rules.between)
    need[[0, -1]] = rules.end_leg
    lack = (need - straights).max(axis=1)
    if turns.shape[1]:
        over = turns.max(axis=1) - math.radians(rules.largest_bend)
        lack = np.maximum(lack, np.where(over > 1e-9, over * rules.radius, 0.0))
    bends = (turns > TURN_EPS).sum(axis=1)
    lack = np.where(bends > rules.most_bends, _FAR, lack)
    if rules.square:
        aslant = (np.abs(d).max(axis=2) < SQUARE_COS) & (lengths > _SLACK)
        lack = np.where(aslant.any(axis=1), _FAR, lack)
    length = straights.sum(axis=1) + rules.radius * turns.sum(axis=1)
    cost = length + rules.bend_worth * bends
    return Lines(points, d, straights, turns, setbacks, length, cost, np.where(lack <= _SLACK, 0.0, lack))


def sample(lines: Lines, radius: float) -> tuple[Floats, Floats]:
    """Points along each line, (n, s, 3), at most about SAMPLE apart, and how far along it each lies, mm (n, s)."""
    n, k = lines.turns.shape
    out, along = [], []
    at = np.zeros(n)
    back = np.concatenate([np.zeros((n, 1)), lines.setbacks], axis=1)
    for i in range(k + 1):
        straight = np.maximum(lines.straights[:, i], 0.0)
        t = np.linspace(0.0, 1.0, 2 + int(straight.max(initial=0.0) / SAMPLE))
        begin = lines.points[:, i] + lines.directions[:, i] * back[:, i, None]
        s = straight[:, None] * t
        out.append(begin[:, None] + lines.directions[:, i, None] * s[..., None])
        along.append(at[:, None] + s)
        at = at + straight
        if i < k:
            turn, d0, d1 = lines.turns[:, i], lines.directions[:, i], lines.directions[:, i + 1]
            inward = d1 - d0 * np.cos(turn)[:, None]
            inward /= np.maximum(np.linalg.norm(inward, axis=1), 1e-12)[:, None]
            m = 2 + int(radius * turn.max(initial=0.0) / SAMPLE)
            phi = turn[:, None] * np.linspace(0.0, 1.0, m + 1)[1:-1]
            begin = lines.points[:, i + 1] - d0 * lines.setbacks[:, i, None]
            out.append(
                begin[:, None]
                + radius * (np.sin(phi)[..., None] * d0[:, None] + (1 - np.cos(phi))[..., None] * inward[:, None])
            )
            along.append(at[:, None] + radius * phi)
            at = at + radius * turn
    return np.concatenate(out, axis=1), np.concatenate(along, axis=1)


@dataclass(frozen=True, slots=True, eq=False)
class Map:
    """The map a run is planned on: the field, the tube's radius, and how far from each end it is not looked at (mm)."""

    field: Field
    radius: float
    skip: tuple[float, float]

    def room(self, points: Floats, *, tight: bool = False) -> Floats32:
        """Upper bound, mm, of the excess of room around a tube's centre line at each point (..., 3)."""
        out = self.field.tight_excess(points) if tight else self.field.excess(points)
        out -= np.float32(self.radius)
        return out

    def least_room(self, lines: Lines, bend: float, *, tight: bool = False) -> Floats:
        """The least room along each line, mm (n,)."""
        points, along = sample(lines, bend)
        room = self.room(points, tight=tight)
        if self.skip[0] > 0:
            room[along < self.skip[0]] = np.inf
        if self.skip[1] > 0:
            room[along > lines.length[:, None] - self.skip[1]] = np.inf
        out: Floats = room.min(axis=1).astype(float)
        return out
