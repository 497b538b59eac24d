"""Cable bundles: a round soft bundle laid along legs that are joined by arcs.

Owns the path's bend arithmetic - setbacks, length, extents - and the check that every leg is long enough for its arcs.
The points are the corners where the straight legs would meet, in case coordinates unless the bundle is placed. Leaves
finding a way for a cable, and the room its plugs need, to others.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from pydantic import model_validator

from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.base import Body, Box, Frame, Part, dim
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import pose

if TYPE_CHECKING:
    from cadquery import Shape


_PRACTICE = "common practice, no source"
_USER = "stated by the build"
SHORT = 1e-9  # mm: rounding of sums of leg lengths; a leg exactly used up by its two arcs is long enough
# Below this turn (rad) two legs count as one: a corner between legs of 500 mm lies 0.0025 mm off the straight line.
STRAIGHT = 1e-5
# mm: an arc shorter than this is laid with a wider radius instead; the kernel cannot sweep along shorter ones.
LEAST_ARC = 0.5
REVERSED = math.radians(179.0)  # beyond it the setback grows past any leg (tan of half the turn)
MOST_PIECES = 2000  # pieces a path is cut into for the self-contact test: a few million pairs at most
SAG_STEP = math.radians(10.0)  # arcs are taken as chords of this turn in the self-contact test: sagitta 0.4 % of radius


@dataclass(frozen=True, slots=True, eq=False)
class Bend:
    """One corner: tangent points `start`, `end`, arc `centre`, unit vectors `u` (centre to start) and `v` (along)."""

    start: Floats
    end: Floats
    centre: Floats
    u: Floats
    v: Floats
    turn: float  # rad
    radius: float  # mm, centre line
    setback: float  # mm from the corner to each tangent point


class CableBundle(Part):
    """A round cable bundle along legs and arcs."""

    family: ClassVar[str] = "cable"
    led: ClassVar[bool] = True
    seat: ClassVar[str | None] = "start"
    own_place: ClassVar[bool] = True

    points: tuple[tuple[Mm, Mm, Mm], ...] = dim(
        ..., "Corners of the path, where its straight legs would meet", source=_USER, mark="V",
        min_length=2, max_length=200,
    )  # fmt: skip
    diameter: Mm = dim(Mm(8), "Diameter of the bundle", source=_PRACTICE, mark="P", gt=0.2, le=80)
    bend_radius: Mm = dim(Mm(20), "Centre-line radius of its bends", source=_PRACTICE, mark="P", gt=0.2, le=500)

    @model_validator(mode="after")
    def _can_be_laid(self) -> CableBundle:
        if self.bend_radius <= self.diameter / 2:
            raise ValueError(f"bend_radius {self.bend_radius} is not more than half the diameter {self.diameter}")
        corners = self._corners()
        for i, (a, b) in enumerate(pairwise(corners), 1):
            if float(np.linalg.norm(b - a)) < SHORT:
                raise ValueError(f"points {i} and {i + 1} are the same")
        back = [0.0, *(self._setback(i) for i in range(1, len(corners) - 1)), 0.0]
        short = []
        for i, (a, b) in enumerate(pairwise(corners)):
            missing = back[i] + back[i + 1] - float(np.linalg.norm(b - a))
            if missing > SHORT:
                short.append(f"leg {i + 1} is {missing:.1f} mm too short for bends of radius {self.bend_radius:g}")
        if short:
            raise ValueError("; ".join(short))
        self._keeps_off_itself()
        return self

    def _corners(self) -> list[Floats]:
        return [np.array([float(c) for c in p]) for p in self.points]

    def _turn(self, i: int) -> float:
        c = self._corners()
        a, b = c[i] - c[i - 1], c[i + 1] - c[i]
        return math.atan2(float(np.linalg.norm(np.cross(a, b))), float(a @ b))

    def _setback(self, i: int) -> float:
        turn = self._turn(i)
        if turn > REVERSED:
            raise ValueError(f"the path turns straight back at point {i + 1}; give the turn two corners")
        return 0.0 if turn < STRAIGHT else self._radius(turn) * math.tan(turn / 2)

    def _radius(self, turn: float) -> float:
        return max(float(self.bend_radius), LEAST_ARC / turn)

    def bends(self) -> tuple[Bend, ...]:
        """The arcs along the path, in order; corners that do not turn have none."""
        out: list[Bend] = []
        c = self._corners()
        for i in range(1, len(c) - 1):
            turn = self._turn(i)
            if turn < STRAIGHT:
                continue
            r = self._radius(turn)
            back = r * math.tan(turn / 2)
            before, after = (c[i] - c[i - 1]), (c[i + 1] - c[i])
            before, after = before / np.linalg.norm(before), after / np.linalg.norm(after)
            start, end = c[i] - before * back, c[i] + after * back
            side = after - before * float(after @ before)
            side = side / np.linalg.norm(side)
            out.append(Bend(start, end, start + side * r, -side, before, turn, r, back))
        return tuple(out)

    def straights(self) -> tuple[tuple[Floats, Floats], ...]:
        """The straight pieces between the arcs, in order; a leg used up by its arcs has length 0."""
        c, bends = self._corners(), self.bends()
        starts = [c[0], *(b.end for b in bends)]
        return tuple(zip(starts, [*(b.start for b in bends), c[-1]], strict=True))

    def length(self) -> float:
        """Length along the centre line, mm: straights and arcs."""
        straight = sum(float(np.linalg.norm(b - a)) for a, b in self.straights())
        return straight + sum(b.radius * b.turn for b in self.bends())

    def _line(self) -> Floats:
        """The centre line as points (n, 3) close enough for the self-contact test."""
        bends = self.bends()
        step = max(self.bend_radius * math.pi / 8, self.length() / MOST_PIECES)
        line = [self._corners()[0][None]]
        for i, (a, b) in enumerate(self.straights()):
            n = math.ceil(float(np.linalg.norm(b - a)) / step)
            line.append(a + (b - a) * (np.arange(1, n + 1) / max(n, 1))[:, None])
            if i < len(bends):
                s = bends[i]
                n = math.ceil(s.turn / SAG_STEP)
                t = (s.turn * np.arange(1, n + 1) / n)[:, None]
                line.append(s.centre + s.radius * (np.cos(t) * s.u + np.sin(t) * s.v))
        return np.concatenate(line)

    def _keeps_off_itself(self) -> None:
        """ValueError where the bundle runs into itself, by more than the arcs' sagitta."""
        path = self._line()
        legs = np.linalg.norm(np.diff(path, axis=0), axis=1)
        run = np.concatenate([[0.0], np.cumsum(legs)])
        middle = (path[1:] + path[:-1]) / 2
        d = float(self.diameter)
        # A line that nowhere bends tighter than R keeps points nearer than pi R along it farther apart than if it were
        # a circle (Schur's theorem), so that only pieces at least that far along can meet.
        reach = math.pi * self.bend_radius
        sagitta = 2 * self.bend_radius * (1 - math.cos(SAG_STEP / 2))
        worst, where = d - sagitta - SHORT, None
        for i in range(len(legs) - 1):
            first = int(np.searchsorted(run, run[i + 1] + reach))
            far = np.linalg.norm(middle[first:] - middle[i], axis=1) - (legs[first:] + legs[i]) / 2
            for j in np.flatnonzero(far < d) + first:
                gap, at = _apart(path[i], path[i + 1], path[j], path[j + 1])
                if gap < worst:
                    worst, where = gap, at
        if where is not None:
            x, y, z = where
            raise ValueError(f"the bundle runs into itself by {d - worst:.1f} mm near ({x:.1f}, {y:.1f}, {z:.1f})")

    def box(self) -> Box:
        """Extents of the bundle: those of its straight pieces, and of each arc where it bulges beyond its ends."""
        r = self.diameter / 2
        lo, hi = np.full(3, np.inf), np.full(3, -np.inf)
        for p, q in self.straights():
            d = q - p
            n = float(np.linalg.norm(d))
            if n < SHORT:
                continue
            across = r * np.sqrt(np.clip(1.0 - (d / n) ** 2, 0.0, None))
            lo, hi = np.minimum(lo, np.minimum(p, q) - across), np.maximum(hi, np.maximum(p, q) + across)
        for bend in self.bends():
            for k in range(3):
                # Along axis k the arc's centre line is centre + R A cos(t - phase). The round section adds at most its
                # radius there, and where that sum is greatest the tangent is square to the axis: at t = phase.
                amp = math.hypot(bend.u[k], bend.v[k])
                phase = math.atan2(bend.v[k], bend.u[k])
                for sign, into in ((1.0, hi), (-1.0, lo)):
                    top = (phase if sign > 0 else phase + math.pi) % (2 * math.pi)
                    for t in (0.0, bend.turn, top) if top < bend.turn else (0.0, bend.turn):
                        beside = r * math.sqrt(max(0.0, 1.0 - (amp * math.sin(t - phase)) ** 2))
                        value = float(bend.centre[k]) + bend.radius * amp * math.cos(t - phase) + sign * beside
                        into[k] = max(into[k], value) if sign > 0 else min(into[k], value)
        return Box((float(lo[0]), float(lo[1]), float(lo[2])), (float(hi[0]), float(hi[1]), float(hi[2])))

    def bodies(self) -> tuple[Body, ...]:
        return (Body("bundle", "cable"),)

    def frames(self) -> tuple[Frame, ...]:
        c = self._corners()
        d = (float(self.diameter), float(self.diameter))
        return (
            Frame("start", "exit", pose(c[0], c[0] - c[1]), ("bundle",), size=d),
            Frame("end", "exit", pose(c[-1], c[-1] - c[-2]), ("bundle",), size=d),
        )

    def solids(self) -> dict[str, Shape]:
        import cadquery as cq

        from elbowroom.parts.vocabulary import draw

        edges, bends = [], self.bends()
        for i, (a, b) in enumerate(self.straights()):
            if float(np.linalg.norm(b - a)) > SHORT:
                edges.append(cq.Edge.makeLine(cq.Vector(*a), cq.Vector(*b)))
            if i < len(bends):
                s = bends[i]
                half = s.centre + s.radius * (math.cos(s.turn / 2) * s.u + math.sin(s.turn / 2) * s.v)
                edges.append(cq.Edge.makeThreePointArc(cq.Vector(*s.start), cq.Vector(*half), cq.Vector(*s.end)))
        return {"bundle": draw.pipe(cq.Wire.assembleEdges(edges), self.diameter)}


def _apart(p: Floats, q: Floats, a: Floats, b: Floats) -> tuple[float, Floats]:
    """Least distance between segments pq and ab, and the point midway where they come nearest."""
    u, v, w = q - p, b - a, p - a
    uu, uv, vv, uw, vw = float(u @ u), float(u @ v), float(v @ v), float(u @ w), float(v @ w)
    det = uu * vv - uv * uv
    s = min(max((uv * vw - vv * uw) / det, 0.0), 1.0) if det > SHORT * uu * vv else 0.0
    t = (uv * s + vw) / vv if vv else 0.0
    if t < 0 or t > 1:
        t = min(max(t, 0.0), 1.0)
        s = min(max((uv * t - uw) / uu, 0.0), 1.0) if uu else 0.0
    near, far = p + s * u, a + t * v
    return float(np.linalg.norm(near - far)), (near + far) / 2
