"""Does this run hold? The exact check of any tube run, planned or drawn by hand.

Owns the judgement: legs, radii and bends against the rules, axes against the ends, and the swept tube against free
space, itself and the bounds, every distance certified by `freespace` with the arcs' chord error added. Leaves where
runs come from to others. Millimetres and degrees.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.geometry.envelopes import Blockage, Floats
from elbowroom.model.geometry.freespace import FREE, Space
from elbowroom.model.tolerances import SQUARE_COS
from elbowroom.model.tubes.bars import FINE_DEG, Bars, bars_of, self_gap
from elbowroom.model.tubes.rules import Candidate, End, Rules, Violation
from elbowroom.parts.vocabulary.base import Box
from elbowroom.parts.vocabulary.bends import Arc, Run
from elbowroom.parts.vocabulary.centre_line import tube_box

LENGTH_EPS = 1e-6  # mm: legs and radii nearer to their limit than this hold: rounding of chained coordinates is 1e-9
AXIS_DEG = 0.05  # deg: a run leaves along its port where it is nearer than this: over a 20 mm leg it is 0.02 mm
ANGLE_EPS = 1e-6  # deg: rounding of a bend's angle
END_MM = 0.01  # mm: a run starts at its port where it is nearer than this: calipers read 0.02


def place_of(run: Run, piece: int) -> str:
    """`leg n` or `bend n` of one of the run's pieces."""
    bends = sum(isinstance(p, Arc) for p in run.pieces[: piece + 1])
    return f"bend {bends}" if isinstance(run.pieces[piece], Arc) else f"leg {bends + 1}"


def verify(run: Run, space: Space, rules: Rules, start: End, end: End, *, within: Box | None = None) -> list[Violation]:
    """Every rule the run breaks, the gravest first; empty where it holds. `within`: the tube may not leave this box."""
    out = [*_ends(run, start, end), *_shape(run, rules)]
    bars = bars_of(run, rules.od, FINE_DEG, cuts_of(run, start, end))
    out += _clearance(run, bars, space, rules, start, end)
    gap, at = self_gap(bars, rules.radius)
    if gap < rules.od - LENGTH_EPS:
        text = f"the tube meets itself: centre lines {gap:.2f} mm apart, tube {rules.od:g}"
        out.append(Violation("self", "run", gap - rules.od, 0.0, text, None, at))
    if within is not None:
        out += _bounds(run, bars, rules, within)
    return sorted(out, key=lambda v: (-v.shortfall, v.kind, v.place, v.obstacle or ""))


def cuts_of(run: Run, start: End, end: End) -> tuple[float, ...]:
    """mm along the run at which an end's exemptions stop and begin."""
    return tuple(c for c in (start.reach, run.length - end.reach) if 0 < c < run.length)


def zones(bars: Bars, length: float, start: End, end: End) -> list[tuple[frozenset[str], NDArray[np.bool_]]]:
    """The bars (as a mask) by what is not counted for them."""
    at_start = bars.last <= start.reach + LENGTH_EPS
    at_end = bars.first >= length - end.reach - LENGTH_EPS
    out = []
    for s in (True, False):
        for e in (True, False):
            mask = (at_start == s) & (at_end == e)
            if mask.any():
                out.append((frozenset(start.exempt if s else ()) | frozenset(end.exempt if e else ()), mask))
    return out


def holds(run: Run, space: Space, rules: Rules, start: End, end: End, within: Box | None, step: float) -> bool:
    """Whether the swept tube is free of obstacles, itself and the bounds: `verify` without the figures."""
    bars = bars_of(run, rules.od, step, cuts_of(run, start, end))
    if within is not None and _outside(run, bars, rules, within)[0] > LENGTH_EPS:
        return False
    if self_gap(bars, rules.radius)[0] < rules.od - LENGTH_EPS:
        return False
    for ignore, mask in zones(bars, run.length, start, end):
        # The bars of a zone hang together: one that is free of surfaces on the whole is inside a solid or outside.
        for _, rods in bars.batches(mask):
            if (space.met(rods, rules.clearance, ignore, solid=False) != FREE).any():
                return False
        heads = np.nonzero(mask & ~np.concatenate([[False], mask[:-1]]))[0]
        if (space.inside(bars.rods.starts[heads], ignore) != FREE).any():
            return False
    return True


def _ends(run: Run, start: End, end: End) -> list[Violation]:
    out = []
    mouths = ((start, run.points[0], run.direction_start, "start"), (end, run.points[-1], run.direction_end, "end"))
    for which, point, direction, name in mouths:
        out_of = np.array(direction) * (1 if name == "start" else -1)

        def far(c: Candidate, point: tuple[float, ...] = point, out_of: Floats = out_of) -> tuple[float, float]:
            turn = math.degrees(math.atan2(float(np.linalg.norm(np.cross(out_of, c.axis))), float(out_of @ c.axis)))
            return (math.dist(c.point, point), turn)

        off, turn = min((far(c) for c in which.candidates), key=lambda f: (max(f[0] - END_MM, 0.0), f[1]))
        if off > END_MM:
            out.append(Violation("end", name, -off, 0.0, f"the {name} is {off:.2f} mm off its port", None, point))
        elif turn > AXIS_DEG:
            text = f"the {name} is {turn:.2f} deg off its port's axis"
            out.append(Violation("axis", name, -turn, 0.0, text, None, point))
    return out


def _shape(run: Run, rules: Rules) -> list[Violation]:
    out = _aslant(run) if rules.square else []
    last = len(run.straights) - 1
    for i, s in enumerate(run.straights):
        at_end = i in (0, last)
        need = rules.end_leg if at_end else rules.between
        if s < need - LENGTH_EPS:
            what = "at the fitting" if at_end else "between bends"
            text = f"leg {i + 1}: {s:.2f} mm straight {what}, {need:g} wanted"
            out.append(Violation("leg" if at_end else "between", f"leg {i + 1}", s, need, text, None, run.points[i]))
    for i, b in enumerate(run.bends, 1):
        place, at = f"bend {i}", run.points[i]
        if b.radius < rules.radius - LENGTH_EPS:
            text = f"{place}: radius {b.radius:.2f}, the tube allows {rules.radius:g}"
            out.append(Violation("radius", place, b.radius, rules.radius, text, None, at))
        if b.angle > rules.largest_bend + ANGLE_EPS:
            text = f"{place}: {b.angle:.1f} deg, at most {rules.largest_bend:g}"
            out.append(Violation("bend", place, -b.angle, -rules.largest_bend, text, None, at))
    if len(run.bends) > rules.most_bends:
        text = f"{len(run.bends)} bends, at most {rules.most_bends}"
        out.append(Violation("bends", "run", -float(len(run.bends)), -float(rules.most_bends), text))
    return out


def _aslant(run: Run) -> list[Violation]:
    """Legs along no axis of the case."""
    legs = np.diff(np.array(run.points), axis=0)
    most = np.abs(legs).max(axis=1) / np.linalg.norm(legs, axis=1)
    out = []
    for i in np.nonzero(most < SQUARE_COS)[0].tolist():
        off = math.degrees(math.acos(min(1.0, float(most[i]))))
        text = f"leg {i + 1}: {off:.2f} deg off the nearest axis of the case, square runs lie along them"
        out.append(Violation("square", f"leg {i + 1}", -off, 0.0, text, None, run.points[i]))
    return out


def _clearance(run: Run, bars: Bars, space: Space, rules: Rules, start: End, end: End) -> list[Violation]:
    worst: dict[tuple[str, str], Blockage] = {}
    for ignore, mask in zones(bars, run.length, start, end):
        for rows, rods in bars.batches(mask):
            for i in np.nonzero(space.met(rods, rules.clearance, ignore) != FREE)[0]:
                place = place_of(run, int(bars.piece[rows[i]]))
                for b in space.blockages(rods.one(int(i)), rules.clearance, ignore, across=True):
                    key = (b.obstacle, place)
                    if key not in worst or b.shortfall > worst[key].shortfall:
                        worst[key] = b
    out = []
    for (name, place), b in worst.items():
        what = {"inside": "lies inside", "through": "runs through"}.get(b.manner, "is too near")
        figure = (
            f"{b.clearance:.2f} mm, {b.required:g} wanted" if b.clearance >= 0 else f"{-b.clearance:.2f} mm too deep"
        )
        out.append(Violation("inside" if b.manner == "inside" else "clearance", place, b.clearance, b.required,
                             f"{place} {what} {name}: {figure}", name, b.at))  # fmt: skip
    return out


def _outside(run: Run, bars: Bars, rules: Rules, within: Box) -> tuple[float, int]:
    """How far the tube leaves a box, mm (0 or less: not at all), and by which bar."""
    lo, hi = bars.boxes()
    by = np.maximum((np.array(within.lo) - lo).max(axis=1), (hi - np.array(within.hi)).max(axis=1))
    k = int(np.argmax(by))
    if by[k] <= LENGTH_EPS:
        return float(by[k]), k
    exact = tube_box(
        replace(run, insertion=(0.0, 0.0)), rules.od
    )  # the bars of arcs are a little thicker than the tube
    lower, upper = np.subtract(within.lo, exact.lo), np.subtract(exact.hi, within.hi)
    return float(max(lower.max(), upper.max())), k


def _bounds(run: Run, bars: Bars, rules: Rules, within: Box) -> list[Violation]:
    by, k = _outside(run, bars, rules, within)
    if by <= LENGTH_EPS:
        return []
    place, at = place_of(run, int(bars.piece[k])), bars.rods.one(k).end
    return [Violation("bounds", place, -by, 0.0, f"{place} leaves the case by {by:.2f} mm", None, at)]
