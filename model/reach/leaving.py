"""How a tube can leave a fitting's mouth: pushed in straight, a straight leg, then a quarter bend or straight on.

Owns the directions a tube is tried in and what it sweeps. Pushing it in needs the straight length that ends inside the
fitting and the straight leg behind it, in front of the mouth, with the case's side panels off; lying there it needs the
leg and one bend of the tube's radius through 90 degrees, or the leg and as much straight on as such a bend comes
forward: to what faces a mouth nearer than that no tube that has to turn aside can go. Leaves whole runs to `tubes`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from elbowroom.model.geometry.envelopes import Rod
from elbowroom.model.loop.plumbing import Tubing
from elbowroom.model.reach.chains import Interval, grid, intervals, turns
from elbowroom.model.reach.rooms import Rooms, stands_free
from elbowroom.parts.vocabulary.arrays import Floats, Mask

STEP = 10  # deg between the directions a tube is bent in
CHORD = 10.0  # deg of arc that one bar stands for: at a radius of 28 its bar is 0.053 mm thicker than the tube


@dataclass(frozen=True, slots=True, eq=False)
class Leg:
    """A tube at a mouth: diameter, radius, straight outside the mouth and length inside it, mm."""

    od: float
    radius: float
    straight: float
    insertion: float

    @classmethod
    def of(cls, tubing: Tubing, insertion: float) -> Leg:
        return cls(tubing.stock.od, tubing.radius, tubing.stock.straight_leg(insertion), insertion)

    @property
    def pushed(self) -> Rod:
        return Rod((0, 0, 0), (0, 0, self.insertion + self.straight), self.od / 2)

    @property
    def leg(self) -> Rod:
        return Rod((0, 0, 0), (0, 0, self.straight), self.od / 2)

    @property
    def ahead(self) -> Rod:
        return Rod((0, 0, 0), (0, 0, self.straight + self.radius + self.od / 2), self.od / 2)

    def bend(self, chord: float = CHORD) -> tuple[Rod, ...]:
        """The quarter bend toward +x as flat-ended bars that hold it, each run on past its joints to the mitre."""
        n = round(90.0 / chord)
        half = math.radians(90.0 / n / 2)
        out = 2 * self.radius / (1 + math.cos(half))  # chords half inside, half outside the arc
        thick = self.od / 2 + out - self.radius
        t = np.linspace(0.0, math.pi / 2, n + 1)
        p = np.stack([self.radius - out * np.cos(t), 0 * t, self.straight + out * np.sin(t)], axis=1)
        bars = []
        for i, (a, b) in enumerate(pairwise(p)):
            past = thick * math.tan(half) * (b - a) / np.linalg.norm(b - a)
            a, b = a - past, b + past * (i < n - 1)
            bars.append(Rod((a[0], a[1], a[2]), (b[0], b[1], b[2]), thick))
        return tuple(bars)


@dataclass(frozen=True, slots=True)
class Leaving:
    """Ways out of one mouth: straight on; and the directions a bend may go, degrees about the mouth's axis."""

    pushed: bool
    straight: bool
    bends: tuple[Interval, ...]
    count: int  # of the directions tried

    @property
    def any(self) -> bool:
        return self.straight or self.count > 0


def pushed_in(rooms: Rooms, mouths: Floats, leg: Leg) -> Mask:
    """For each mouth (n, 4, 4) whether the tube's straight end can be brought in front of it and lie there."""
    free: Mask = stands_free(rooms.workshop, [leg.pushed], mouths)
    free[free] = stands_free(rooms.tubes, [leg.leg], mouths[free])
    return free


def straight_on(rooms: Rooms, mouths: Floats, leg: Leg) -> Mask:
    out: Mask = stands_free(rooms.tubes, [leg.ahead], mouths)
    return out


def bent(rooms: Rooms, mouths: Floats, leg: Leg) -> Mask:
    """For each mouth and direction (n, 36) whether the bend stands free; the leg before it is not asked again."""
    directions = turns(grid(STEP))
    poses = (mouths[:, None] @ directions[None]).reshape(-1, 4, 4)
    out: Mask = stands_free(rooms.tubes, leg.bend()[::-1], poses)
    return out.reshape(len(mouths), len(directions))


def leaves(rooms: Rooms, mouths: Floats, leg: Leg) -> Mask:
    """For each mouth whether a tube can leave it at all."""
    out = pushed_in(rooms, mouths, leg)
    rows = np.nonzero(out)[0]
    rows = rows[~straight_on(rooms, mouths[rows], leg)]
    if len(rows):
        out[rows] = bent(rooms, mouths[rows], leg).any(axis=1)
    return out


def leaving(rooms: Rooms, mouth: Floats, leg: Leg) -> Leaving:
    """Every way out of one mouth (4, 4)."""
    one = mouth[None]
    if not pushed_in(rooms, one, leg)[0]:
        return Leaving(False, False, (), 0)
    mask = bent(rooms, one, leg)[0]
    return Leaving(True, bool(straight_on(rooms, one, leg)[0]), intervals(mask, STEP), int(mask.sum()))
