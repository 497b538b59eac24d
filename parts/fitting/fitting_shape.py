"""A fitting's extents and envelopes as arithmetic on its fields: no kernel, so they can be asked thousands of times.

Owns where each kind's round bodies begin and end, its box, its cylinders, what its swivel sweeps and the pose of its
next port. The drawing reads the same numbers, so drawn and declared agree. Lengths in millimetres, angles in degrees.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from elbowroom.parts.fitting.fitting_kinds import HEX_KINDS, RING_KINDS, SWIVELS, TILT
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.base import Box
from elbowroom.parts.vocabulary.pose import Pose, pose, rotation, turn

if TYPE_CHECKING:
    from elbowroom.parts.fitting.fitting import Fitting

Point = tuple[float, float, float]
Segment = tuple[Point, Point, float]  # from, to, radius

# Drawn gap between round surfaces one inside the other (thread in port, tube in collar, stem in tube), on the radius.
# Twice the chord error that solids are meshed with (0.05 mm), so that no two facets of such a pair can cross.
CLEAR = 0.1
WALL = 0.5  # mm: least wall that is drawn anywhere in a fitting; common practice, no source (P)
RING_WALL = 1.2  # mm: wall of a collar around its thread; common practice, no source (P)
LIP = 2.0  # mm: a hard-tube collar's lip over the sleeve it is screwed on; common practice, no source (P)
TOP = 0.5  # mm that a rotary's drum stands above its arm, so that the arm's side is not tangent to the drum's top
RISE = 1.0  # mm: gap between a valve's body and its handle; common practice, no source (P)
OFFSET_DISCS = 6  # cylinders that cover an offset fitting's body: 6 keep the excess under 2 % of the offset


def stub_radius(f: Fitting) -> float:
    """Radius a male thread is drawn at: inside a port bored at the minor diameter, free of it by CLEAR."""
    return f.thread_data.minor / 2 - CLEAR


def shank_diameter(f: Fitting) -> float:
    """Diameter of a pass-through's shank: free in its panel hole by CLEAR."""
    return f.panel_hole - 2 * CLEAR


def is_hex(f: Fitting) -> bool:
    return f.kind in HEX_KINDS and f.hex_af > 0


def foot_diameter(f: Fitting) -> float:
    """Diameter of the face that lies on the port's land (a hexagon's across flats)."""
    if is_hex(f):
        return float(f.hex_af)
    return float(f.collar_od if f.kind in SWIVELS else f.body_od)


def foot_height(f: Fitting) -> float:
    """Height of the body that lies on the port's land, up to its first step."""
    if f.kind in SWIVELS:
        return float(f.collar_height)
    if f.kind in RING_KINDS:
        return f.height - f.collar_height
    return f.height - f.insertion if f.kind == "barb" else float(f.height)


def _around(f: Fitting) -> float:
    """Radius that holds the foot: of a hexagon, over its corners."""
    return foot_diameter(f) / 2 / (math.cos(math.pi / 6) if is_hex(f) else 1.0)


def stem_radius(f: Fitting) -> float:
    """Radius of the stem that a soft tube is pushed on, drawn free of the tube's unstretched bore by CLEAR."""
    return f.tube_id / 2 - CLEAR


def direction(f: Fitting) -> Point:
    """Unit vector of the next axis, in part coordinates."""
    tilt = math.radians(TILT.get(f.kind, 0.0))
    a = turn(rotation((0, 0, 1), float(f.angle)), (math.sin(tilt), 0.0, math.cos(tilt)))
    return (float(a[0]), float(a[1]), float(a[2]))


def next_pose(f: Fitting) -> Pose:
    """Pose of the next port: on its seal face, z out; x up the thread axis, or, where that is z, toward `angle`."""
    toward = turn(rotation((0, 0, 1), float(f.angle)), (1.0, 0.0, 0.0)) if f.kind in SWIVELS else np.array((1.0, 0, 0))
    if f.kind in TILT:
        z = np.array(direction(f))
        return pose((0, 0, f.axis_height) + f.next_distance * z, z, (0, 0, 1))
    at = f.sidestep * toward if f.kind == "offset" else np.zeros(3)
    return pose((at[0], at[1], f.height), (0, 0, 1), toward)


def drum_top(f: Fitting) -> float:
    """Top of a rotary's turning drum: TOP above the root of its arm."""
    return f.axis_height + f.next_od / 2 * math.sin(math.radians(TILT[f.kind])) + TOP


def swing_radius(f: Fitting) -> float:
    """Farthest that the swivel reaches from the thread axis: on the rim of the next port's face, or the drum."""
    r = f.next_od / 2
    if f.kind == "offset":
        return f.sidestep + r
    tilt = math.radians(TILT[f.kind])
    # On the rim at t = cos(phi): squared distance (a + b t)^2 + r^2 (1 - t^2), a concave parabola in t for b < r.
    a, b = f.next_distance * math.sin(tilt), r * math.cos(tilt)
    t = min(1.0, a * b / (r**2 - b**2))
    return max(math.sqrt((a + b * t) ** 2 + r**2 * (1 - t**2)), f.body_od / 2)


def swing_profile(f: Fitting) -> list[tuple[float, float]]:
    """See `Fitting.swing_profile`."""
    if f.kind not in SWIVELS:
        return []
    z0, swing = float(f.collar_height), f.swing
    if f.kind == "offset":
        return [(0.0, z0), (swing, z0), (swing, float(f.height)), (0.0, float(f.height))]
    tilt = math.radians(TILT[f.kind])
    drum, top, up = f.body_od / 2, drum_top(f), f.next_od / 2 * math.sin(tilt)
    low, high = max(z0, f.axis_height - up), f.axis_height + f.next_distance * math.cos(tilt) + up
    end = max(top, high)
    steps = [(drum, z0), (drum, low), (swing, low), (swing, high), (drum, high), (drum, end)]
    steps = steps[0 if low > z0 else 2 : 6 if top > high else 4]
    return [(0.0, z0), *steps, (0.0, end)]


def handle_box(f: Fitting) -> Box:
    """The valve's handle at angle 0, pointing up as it does when open."""
    x, half, pivot = f.body_od / 2 + RISE, f.handle_width / 2, f.height / 2
    return Box((x, -half, pivot - half), (x + f.handle_thickness, half, pivot + handle_length(f)))


def handle_length(f: Fitting) -> float:
    """From the pivot to the handle's end: its corners lie on the sweep radius."""
    return math.sqrt(f.handle_sweep**2 - (f.handle_width / 2) ** 2)


def box(f: Fitting) -> Box:
    """See `Part.box`."""
    spans = [_round(s) for s in cylinders(f) if f.kind != "ball-valve"]
    if f.kind == "pass-through":
        nut = f.nut_af / 2
        corner = nut / math.cos(math.pi / 6)
        spans.append(Box((-corner, -nut, -f.panel - f.nut_height), (corner, nut, -float(f.panel))))
        spans.append(_round(((0, 0, -float(f.tail)), (0, 0, 0.0), shank_diameter(f) / 2)))
        return _union(spans)
    spans.append(_round(((0, 0, -float(f.thread_length)), (0, 0, 0.0), stub_radius(f))))
    if is_hex(f):
        # Corners of the hexagon lie on the x axis, flats square to y.
        half, corner = f.hex_af / 2, _around(f)
        spans[0] = Box((-corner, -half, 0.0), (corner, half, foot_height(f)))
    if f.kind == "male-male":
        spans.append(_round(((0, 0, float(f.height)), (0, 0, f.height + f.thread_length), stub_radius(f))))
    if f.kind == "offset":
        r, at = f.next_od / 2, next_pose(f)[:2, 3]
        z = (float(f.collar_height), float(f.height))
        spans = [spans[0], spans[-1], *(_round(((x, y, z[0]), (x, y, z[1]), r)) for x, y in ((0.0, 0.0), at))]
    if f.kind == "ball-valve":
        spans.append(_round(((0, 0, 0.0), (0, 0, float(f.height)), f.body_od / 2)))
        turned = [turn(rotation((0, 0, 1), float(f.angle)), c) for c in handle_box(f).corners()]
        spans.append(Box(_least(turned), _most(turned)))
    return _union(spans)


def cylinders(f: Fitting) -> list[Segment]:
    """See `Fitting.cylinders`."""
    foot = _upright(_around(f), 0.0, foot_height(f))
    if f.kind in RING_KINDS:
        return [foot, _upright(f.collar_od / 2, foot_height(f), float(f.height))]
    if f.kind == "barb":
        return [foot, _upright(stem_radius(f), foot_height(f), float(f.height))]
    if f.kind in TILT:
        at, face = (0.0, 0.0, float(f.axis_height)), next_pose(f)[:3, 3]
        drum = _upright(f.body_od / 2, float(f.collar_height), drum_top(f))
        return [foot, drum, (at, (float(face[0]), float(face[1]), float(face[2])), f.next_od / 2)]
    if f.kind == "offset":
        far, half = next_pose(f)[:2, 3], f.sidestep / (2 * (OFFSET_DISCS - 1))
        r, z = math.hypot(f.next_od / 2, half), (float(f.collar_height), float(f.height))
        steps = [far * (i / (OFFSET_DISCS - 1)) for i in range(OFFSET_DISCS)]
        return [foot, *(((float(x), float(y), z[0]), (float(x), float(y), z[1]), r) for x, y in steps)]
    if f.kind == "ball-valve":
        b, way = handle_box(f), turn(rotation((0, 0, 1), float(f.angle)), (1.0, 0.0, 0.0))
        mid = (b.lo[0] + b.hi[0]) / 2 * way
        bar = math.hypot(f.handle_width / 2, f.handle_thickness / 2)
        root = b.lo[0] * way
        pivot = f.height / 2
        return [
            foot,
            ((0.0, 0.0, pivot), (float(root[0]), float(root[1]), pivot), f.handle_width / 2),
            ((float(mid[0]), float(mid[1]), b.lo[2]), (float(mid[0]), float(mid[1]), b.hi[2]), bar),
        ]
    return [foot]


def cylinder_excess(f: Fitting) -> float:
    """See `Fitting.cylinder_excess`."""
    if is_hex(f):
        return _around(f) - f.hex_af / 2
    if f.kind == "offset":
        return math.hypot(f.next_od / 2, f.sidestep / (2 * (OFFSET_DISCS - 1))) - f.next_od / 2
    if f.kind == "ball-valve":
        return math.hypot(f.handle_width / 2, f.handle_thickness / 2) - min(f.handle_width, f.handle_thickness) / 2
    return 0.0


def finger_ring(f: Fitting) -> tuple[float, float, float]:
    """See `Fitting.finger_ring`."""
    if f.kind in RING_KINDS:
        return (f.collar_od / 2, foot_height(f), float(f.height))
    return (_around(f), 0.0, foot_height(f))


def channel_length(f: Fitting) -> float:
    """Length along its axes of the coolant's way through, up to where a tube ends."""
    if f.kind == "pass-through":
        return float(f.tail + f.height)
    if f.kind in TILT:
        return float(f.thread_length + f.axis_height + f.next_distance)
    if f.kind == "offset":
        return float(f.thread_length + f.height + f.sidestep)
    if f.kind in ("barb", "compression", "collar"):
        return float(f.thread_length + f.height - f.insertion)
    return float(f.thread_length + f.height + (f.thread_length if f.kind == "male-male" else 0.0))


def _upright(radius: float, z0: float, z1: float) -> Segment:
    return ((0.0, 0.0, z0), (0.0, 0.0, z1), radius)


def _round(s: Segment) -> Box:
    """Box of a flat-ended cylinder."""
    a, b = np.array(s[0]), np.array(s[1])
    n = (b - a) / np.linalg.norm(b - a)
    reach = s[2] * np.sqrt(np.maximum(0.0, 1 - n**2))
    ends = [a - reach, a + reach, b - reach, b + reach]
    return Box(_least(ends), _most(ends))


def _union(boxes: Iterable[Box]) -> Box:
    every = list(boxes)
    return Box(_least([np.array(b.lo) for b in every]), _most([np.array(b.hi) for b in every]))


def _least(points: Iterable[Floats]) -> Point:
    x, y, z = np.min(np.array(list(points)), axis=0)
    return (float(x), float(y), float(z))


def _most(points: Iterable[Floats]) -> Point:
    x, y, z = np.max(np.array(list(points)), axis=0)
    return (float(x), float(y), float(z))
