"""Bend arithmetic: what a run of tube with given corners and bend radii is made of, and what to cut, mark and turn.

Owns the textbook relations (arc = R theta, setback = R tan(theta/2), neutral axis on the centre line) and everything
that follows from them without a kernel: straights, arcs, cut length, the bend table, the way back from a table to
corners. Leaves points along the line to `centre_line`, which radius a tube bears to the tube stocks, and the solid
of a tube to the `tube` family. Millimetres and degrees.

Rotation, everywhere in this module: the angle the tube is turned between two bends, from the side the last bend curved
toward to the side the next one curves toward, positive by the right-hand rule about the way of travel from the first
cut end to the last. The first bend's rotation is 0: it sets the plane the others are counted from.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.tolerances import NO_LENGTH

Point = tuple[float, float, float]
Points = Sequence[Sequence[float]] | Floats

STRAIGHT_DEG = 1e-6  # deg: a corner that turns less is no bend; far under what any bender or protractor can set
RETURN_DEG = 179.0  # deg: a single corner cannot turn further, its setback (over 114 R) has no use as a drawing point
LENGTH_EPS = 1e-9  # mm: rounding of coordinates up to a metre in float64; a leg short by less is not short


class BendError(ValueError):
    """A run that cannot be bent as drawn. `faults` lists every leg that is too short, in order."""

    def __init__(self, text: str, faults: tuple[LegFault, ...] = ()) -> None:
        super().__init__(text)
        self.faults = faults


@dataclass(frozen=True, slots=True)
class LegFault:
    """A leg (0 = the first) too short for the bends at its ends: its length, what they need, and the difference, mm."""

    leg: int
    length: float
    needed: float

    @property
    def short(self) -> float:
        return self.needed - self.length

    def __str__(self) -> str:
        return f"leg {self.leg + 1} is {self.length:.3f} mm, its bends need {self.needed:.3f}: {self.short:.3f} short"


@dataclass(frozen=True, slots=True)
class Straight:
    """A straight piece of centre line."""

    start: Point
    end: Point

    @property
    def length(self) -> float:
        return math.dist(self.start, self.end)


@dataclass(frozen=True, slots=True)
class Arc:
    """A circular piece of centre line: from `start` through `middle` to `end` about `centre`; `angle` in degrees."""

    start: Point
    middle: Point
    end: Point
    centre: Point
    radius: float
    angle: float

    @property
    def length(self) -> float:
        return arc_length(self.radius, self.angle)


@dataclass(frozen=True, slots=True)
class Bend:
    """One row of a bend table.

    start: mm along the tube from its cut end to where the bend begins. rotation: degrees from the last bend's plane
    (see the module). angle: degrees the tube is to end up bent. setting: degrees to bend it to before it springs back.
    """

    start: float
    rotation: float
    angle: float
    setting: float
    radius: float
    setback: float
    arc: float


@dataclass(frozen=True, slots=True)
class Run:
    """A bent tube's centre line. `points` are its corners and both mouths; insertions lie beyond the mouths.

    straights: the n + 1 straight lengths between mouths and tangent points. bends: n rows, measured from the cut end.
    length: along the centre line from mouth to mouth. cut_length: that and both insertions.
    """

    points: tuple[Point, ...]
    straights: tuple[float, ...]
    bends: tuple[Bend, ...]
    pieces: tuple[Straight | Arc, ...]
    insertion: tuple[float, float]

    @property
    def length(self) -> float:
        return math.fsum(self.straights) + math.fsum(b.arc for b in self.bends)

    @property
    def cut_length(self) -> float:
        return self.length + self.insertion[0] + self.insertion[1]

    @property
    def whole(self) -> tuple[Straight | Arc, ...]:
        """The pieces with the inserted lengths at both ends: from cut end to cut end."""
        head, tail = self.insertion
        pieces = list(self.pieces)
        if head > 0:
            d, at = np.array(self.direction_start), np.array(self.points[0])
            pieces[0:1] = _joined(Straight(_tuple(at - head * d), _tuple(at)), pieces[0])
        if tail > 0:
            d, at = np.array(self.direction_end), np.array(self.points[-1])
            pieces[-1:] = _joined(pieces[-1], Straight(_tuple(at), _tuple(at + tail * d)))
        return tuple(pieces)

    @property
    def direction_start(self) -> Point:
        """Unit vector the tube sets out along."""
        return _tuple(_unit(np.subtract(self.points[1], self.points[0])))

    @property
    def direction_end(self) -> Point:
        """Unit vector the tube arrives along."""
        return _tuple(_unit(np.subtract(self.points[-1], self.points[-2])))


def arc_length(radius: float, angle: float) -> float:
    """Length of a bend along the centre line, mm."""
    return radius * math.radians(angle)


def setback(radius: float, angle: float) -> float:
    """From a corner to the tangent points of its bend, mm."""
    return radius * math.tan(math.radians(angle) / 2)


def volume_ml(bore: float, length: float) -> float:
    """What a tube of inner diameter `bore` holds over `length`, both mm."""
    return math.pi * bore**2 / 4 * length / 1000.0


def corners(points: Points) -> tuple[Floats, Floats, Floats]:
    """Points without repeated corners, the unit directions of the legs, and the turn at each inner point, degrees.

    Raises BendError for fewer than two points, a leg without length, or a corner that turns back on itself.
    """
    p = np.asarray(points, dtype=float)
    if p.ndim != 2 or p.shape[1] != 3 or len(p) < 2 or not np.isfinite(p).all():
        raise BendError("a run needs at least two points of three finite coordinates")
    legs = np.diff(p, axis=0)
    lengths = np.linalg.norm(legs, axis=1)
    if (lengths < LENGTH_EPS).any():
        raise BendError(f"points {int(np.argmin(lengths)) + 1} and the next are the same: a leg needs length")
    d = legs / lengths[:, None]
    # atan2 of sine and cosine: acos alone loses half its digits near 0 and 180.
    turns = np.degrees(
        np.arctan2(np.linalg.norm(np.cross(d[:-1], d[1:]), axis=1), np.einsum("ij,ij->i", d[:-1], d[1:]))
    )
    if (turns > RETURN_DEG).any():
        i = int(np.argmax(turns))
        raise BendError(f"corner {i + 1} turns {turns[i]:.1f} deg: draw a return as two corners")
    return p, d, turns


def bend_run(
    points: Points,
    radius: float | Sequence[float],
    *,
    insertion: tuple[float, float] = (0.0, 0.0),
    over_bend: float = 1.0,
) -> Run:
    """The run through `points` (mouth, corners, mouth) with one centre-line radius, or one for each corner, mm.

    insertion: mm of tube inside the fitting at either end. over_bend: the user's own springback figure; a bend is set
    to `angle * over_bend`. Corners that do not turn are taken out. Raises BendError, naming every short leg.
    """
    if min(insertion) < 0:
        raise BendError(f"an insertion cannot be negative ({min(insertion):g} mm)")
    if not (math.isfinite(over_bend) and over_bend > 0):
        raise BendError(f"over_bend must be a positive factor, not {over_bend:g}")
    p, d, turns, radii = _cleaned(points, radius)
    faults = _faults(p, turns, radii)
    if faults:
        raise BendError("; ".join(map(str, faults)), faults)
    backs = [setback(r, a) for r, a in zip(radii, turns, strict=True)]
    reach = [0.0, *backs, 0.0]
    straights = tuple(
        max(0.0, float(np.linalg.norm(p[i + 1] - p[i])) - reach[i] - reach[i + 1]) for i in range(len(p) - 1)
    )
    bends: list[Bend] = []
    pieces: list[Straight | Arc] = []
    along, at, side = insertion[0], p[0], None
    for i, (r, angle, back) in enumerate(zip(radii, turns, backs, strict=True)):
        begin, end = p[i + 1] - back * d[i], p[i + 1] + back * d[i + 1]
        inward = _unit(d[i + 1] - d[i] * float(d[i] @ d[i + 1]))  # from the bend's start toward its centre
        centre = begin + r * inward
        along += straights[i]
        rotation = 0.0 if side is None else _signed(side, inward, d[i])
        if straights[i] > LENGTH_EPS:
            pieces.append(Straight(_tuple(at), _tuple(begin)))
        middle = centre + r * _unit(p[i + 1] - centre)
        pieces.append(Arc(_tuple(begin), _tuple(middle), _tuple(end), _tuple(centre), r, angle))
        bends.append(Bend(along, rotation, angle, angle * over_bend, r, back, arc_length(r, angle)))
        along += bends[-1].arc
        at, side = end, (centre - end) / r
    if straights[-1] > LENGTH_EPS:
        pieces.append(Straight(_tuple(at), _tuple(p[-1])))
    return Run(tuple(map(_tuple, p)), straights, tuple(bends), tuple(pieces), insertion)


def points_of(
    table: Iterable[tuple[float, float, float]],
    last: float,
    radius: float | Sequence[float],
    *,
    start: Sequence[float] = (0, 0, 0),
    direction: Sequence[float] = (1, 0, 0),
    side: Sequence[float] = (0, 1, 0),
) -> tuple[Point, ...]:
    """Corners and both ends of the run a length-rotation-angle table makes: the inverse of `bend_run`.

    table: for each bend the straight before it (mm), the rotation and the bend angle (deg); last: the straight after
    the last bend. direction: the way the tube sets out; side: what the first bend curves toward when its rotation is 0.
    """
    rows = list(table)
    radii = _radii(radius, len(rows))
    d = _unit(np.asarray(direction, dtype=float))
    s = np.asarray(side, dtype=float)
    s = _unit(s - d * float(s @ d))
    at = np.asarray(start, dtype=float)
    out, carry = [_tuple(at)], 0.0
    for n, ((straight, rotation, angle), r) in enumerate(zip(rows, radii, strict=True), 1):
        if straight < 0 or not 0 < angle <= RETURN_DEG:
            raise BendError(f"row {n}: needs a straight of 0 or more and an angle above 0 and to {RETURN_DEG:g} deg")
        back = setback(r, angle)
        at = at + (carry + straight + back) * d
        out.append(_tuple(at))
        s = _turned(s, d, rotation)
        c, k = math.cos(math.radians(angle)), math.sin(math.radians(angle))
        d, s = _unit(c * d + k * s), _unit(c * s - k * d)
        carry = back
    if last < 0 or carry + last < LENGTH_EPS:
        raise BendError("the last straight must not be negative, and a run needs length")
    return (*out, _tuple(at + (carry + last) * d))


def _joined(a: Straight | Arc, b: Straight | Arc) -> list[Straight | Arc]:
    """Two pieces in a row; two straights, which here always share a direction, as one."""
    if isinstance(a, Straight) and isinstance(b, Straight):
        return [Straight(a.start, b.end)]
    return [a, b]


def _cleaned(points: Points, radius: float | Sequence[float]) -> tuple[Floats, Floats, list[float], list[float]]:
    """Points, directions, turns and radii with corners that do not turn taken out."""
    p, d, turns = corners(points)
    radii = _radii(radius, len(turns))
    bent = [i for i, a in enumerate(turns) if a > STRAIGHT_DEG]
    if len(bent) < len(turns):
        p = p[[0, *(i + 1 for i in bent), len(p) - 1]]
        p, d, turns = corners(p)
    return p, d, [float(a) for a in turns], [radii[i] for i in bent]


def _radii(radius: float | Sequence[float], bends: int) -> list[float]:
    if isinstance(radius, (int, float)):
        radii = [float(radius)] * bends
    else:
        radii = [float(r) for r in radius]
        if len(radii) != bends:
            raise BendError(f"{len(radii)} radii for {bends} corners")
    if any(not (math.isfinite(r) and r > 0) for r in radii):
        raise BendError("a bend radius must be above 0 mm")
    return radii


def _faults(p: Floats, turns: Sequence[float], radii: Sequence[float]) -> tuple[LegFault, ...]:
    reach = [0.0, *(setback(r, a) for r, a in zip(radii, turns, strict=True)), 0.0]
    lengths = np.linalg.norm(np.diff(p, axis=0), axis=1)
    return tuple(
        LegFault(i, float(length), reach[i] + reach[i + 1])
        for i, length in enumerate(lengths)
        if reach[i] + reach[i + 1] - length > LENGTH_EPS
    )


def _unit(v: Floats) -> Floats:
    length = float(np.linalg.norm(v))
    if length < NO_LENGTH:
        raise BendError("a direction needs length")
    return v / length


def _signed(a: Floats, b: Floats, axis: Floats) -> float:
    """Degrees from a to b about `axis`, right-hand rule, in (-180, 180]."""
    angle = math.degrees(math.atan2(float(np.cross(a, b) @ axis), float(a @ b)))
    return 180.0 if angle <= -180.0 + STRAIGHT_DEG else angle


def _turned(v: Floats, axis: Floats, degrees: float) -> Floats:
    """A vector square to `axis` turned about it, right-hand rule."""
    t = math.radians(degrees)
    turned: Floats = math.cos(t) * v + math.sin(t) * np.cross(axis, v)
    return turned


def _tuple(v: Floats) -> Point:
    return (float(v[0]), float(v[1]), float(v[2]))
