"""Fingers and hands: can what is tightened be turned, and can a hand come to it?

Owns the envelopes of a fingertip beside a collar, of a finger and of the hand behind it, and the search over
directions. The case's side panels are off. A straight way is looked for; not finding one does not prove that there is
none.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from elbowroom.model.geometry.envelopes import NO_MARGIN, Rod, posed
from elbowroom.model.geometry.freespace import FREE
from elbowroom.model.geometry.looked import everywhere
from elbowroom.model.layout.layout import piece_of
from elbowroom.model.reach.chains import Interval, grid, intervals, turns
from elbowroom.model.reach.rooms import Rooms, bars_met, stands_free
from elbowroom.parts.fitting.fitting import Fitting
from elbowroom.parts.vocabulary.arrays import Floats, Mask
from elbowroom.parts.vocabulary.pose import pose

FINGER = 16.0  # mm: width of one finger; common practice, no source (P)
HAND = (75.0, 100.0)  # mm: section of a hand, and the room it takes along the arm; common practice, no source (P)
FINGER_LENGTH = (45.0, 75.0)  # mm from the fingertip to the hand, bent and stretched; common practice, no source (P)
STEP = 10  # deg between the sides of a collar that are tried
_TIPS = 3  # a finger is sent to one in so many sides of a collar
_SIDES = 8  # ways round the collar's axis that a hand may come from, at each slope
_TIPS_TOLD = 3  # sides of a collar that are tried where it is only told what is in the way
_SUSPECTS = 6  # pieces in a hand's way that are tried away alone, those met most
_PAIRED = 4  # of them that are tried away two at a time
_SLOPES = (30.0, 60.0, 90.0)  # deg off the axis


@dataclass(frozen=True, slots=True)
class Grip:
    """What fingers find at one collar: degrees about its axis at which a fingertip fits beside it, and a hand's way."""

    fingers: tuple[Interval, ...]
    hand: bool


def fingertip(fitting: Fitting, lift: float) -> tuple[Rod, ...]:
    """A fingertip beside what fingers turn, on its +x side: `finger_room` thick, FINGER wide, as tall as the ring."""
    radius, low, high = fitting.finger_ring()
    room = float(fitting.finger_room)
    z0, x = max(low, lift), radius + room / 2
    spread = max(0.0, (FINGER - room) / 2)
    sides = (-spread, 0.0, spread) if spread > 0 else (0.0,)
    return tuple(Rod((x, y, z0), (x, y, high), room / 2) for y in sides)


def finger_sides(rooms: Rooms, base: Floats, fitting: Fitting, lift: float) -> Mask:
    """For each side of the collar (36) of a fitting posed by `base` whether a fingertip fits there."""
    if fitting.finger_room <= 0:
        return np.ones(360 // STEP, dtype=bool)
    poses = base[None] @ turns(grid(STEP))
    out: Mask = stands_free(rooms.workshop, fingertip(fitting, lift), poses)
    return out


def any_finger(rooms: Rooms, base: Floats, fitting: Fitting, lift: float) -> bool:
    """Whether a fingertip fits beside the collar on any side; asks a few sides first."""
    if fitting.finger_room <= 0:
        return True
    tip, every = fingertip(fitting, lift), base[None] @ turns(grid(STEP))
    first = np.arange(len(every)) % 9 == 0
    return any(stands_free(rooms.workshop, tip, part).any() for part in (every[first], every[~first]))


def fingers_at_once(rooms: Rooms, wanted: Sequence[tuple[Floats, Fitting, float]]) -> list[bool]:
    """`any_finger` for many (base, fitting, lift): each distinct collar is asked once, a few sides of all together."""
    rings: dict[tuple[tuple[float, float, float], float, float], tuple[Floats, Fitting, float]] = {}
    for base, fitting, lift in wanted:
        rings.setdefault((fitting.finger_ring(), float(fitting.finger_room), lift), (base, fitting, lift))
    first = turns(grid(90))
    bars = [
        (key, (r, base[None] @ first))
        for key, (base, f, lift) in rings.items()
        if key[1] > 0
        for r in fingertip(f, lift)
    ]
    free = {key: np.ones(len(first), dtype=bool) for key in rings}
    met = bars_met(rooms.workshop, [b for _, b in bars]).reshape(len(bars), len(first))
    for (key, _), hits in zip(bars, met, strict=True):
        free[key] &= ~hits
    held = {key: bool(free[key].any()) or any_finger(rooms, *rings[key]) for key in rings}
    return [held[(f.finger_ring(), float(f.finger_room), lift)] for _, f, lift in wanted]


def grip(rooms: Rooms, base: Floats, fitting: Fitting, lift: float) -> Grip:
    sides = finger_sides(rooms, base, fitting, lift)
    return Grip(intervals(sides, STEP), bool(sides.any()) and _hand(rooms, base, fitting, lift, sides))


def _hand(rooms: Rooms, base: Floats, fitting: Fitting, lift: float, sides: Mask) -> bool:
    """Whether a straight finger comes to one of the free sides from a hand that stands behind the collar's middle."""
    radius, low, high = fitting.finger_ring()
    z = max((low + high) / 2, lift + FINGER / 2)
    angles = np.radians(grid(STEP)[::_TIPS][sides[::_TIPS]].astype(float))
    r = radius + FINGER / 2
    tips = np.stack([r * np.cos(angles), r * np.sin(angles), np.full(len(angles), z)], axis=1)
    frames = np.array([pose((0, 0, z), way) for way in _ways()])
    for part in (frames[:1], frames[1:]):  # along the axis, which mostly answers; then all other ways
        for length in FINGER_LENGTH:
            fingers = np.repeat(part, len(tips), axis=0)
            fingers[:, :3, 3] = np.tile(tips, (len(part), 1))
            free = stands_free(rooms.workshop, [Rod((0, 0, 0), (0, 0, length), FINGER / 2)], base[None] @ fingers)
            ways = base[None] @ part[free.reshape(len(part), len(tips)).any(axis=1)]
            if any(stands_free(rooms.workshop, hand, ways).any() for hand in _hands(length)):
                return True
    return False


def in_the_way(rooms: Rooms, base: Floats, fitting: Fitting, lift: float, own: str) -> tuple[tuple[str, ...], bool]:
    """What keeps a hand from a collar: the pieces, and whether a way opens once they are away.

    One piece that alone opens a way is looked for first, then two; else those met most are named. own: the piece the
    fitting is screwed into, which cannot be away. The case is named last, as it is what all others go into.
    """
    everywhere()  # which of several is met is told here, and that may depend on what stands anywhere
    space, ways = rooms.workshop, _approaches(base, fitting, lift, finger_sides(rooms, base, fitting, lift))
    met: dict[str, int] = {}
    for index in np.concatenate([space.met(posed(rod, at)) for rods, at in ways for rod in rods]):
        if index != FREE:
            name = piece_of(space.names[index])
            met[name] = met.get(name, 0) + 1
    encloses = {s.piece.name: s.piece.part.encloses for s in rooms.real}
    order = sorted((n for n in met if n != own), key=lambda n: (encloses[n], -met[n], n))[:_SUSPECTS]
    every = [*((n,) for n in order), *combinations(order[:_PAIRED], 2)]
    for away in sorted(every, key=lambda names: (len(names), any(encloses[n] for n in names))):
        ignored = {n for n in space.names if piece_of(n) in away}
        if any((space.stack(rods, at, NO_MARGIN, ignored) == FREE).any() for rods, at in ways):
            return tuple(away), True
    return tuple(order[:2]), False


def _approaches(
    base: Floats, fitting: Fitting, lift: float, sides: Mask
) -> list[tuple[tuple[Rod, ...], Floats]]:  # fmt: skip
    """A finger with its hand, as bars in coordinates of the fingertip's way, and their poses: some tips for each way.

    The hand stands behind the collar's middle, so that a tip aside of it bends the finger toward it.
    """
    radius, low, high = fitting.finger_ring()
    z, r = max((low + high) / 2, lift + FINGER / 2), radius + FINGER / 2
    angles = np.radians(grid(STEP)[::_TIPS][sides[::_TIPS]].astype(float))
    angles = angles[:: max(1, len(angles) // _TIPS_TOLD)]
    out = []
    for way in _ways():
        frame = pose((0, 0, z), way)
        for angle in angles:
            tip = np.linalg.inv(frame) @ np.array([r * math.cos(angle), r * math.sin(angle), z, 1.0])
            for length in FINGER_LENGTH:
                x, y, s = (float(c) for c in tip[:3])
                finger = Rod((x, y, s), (x, y, s + length), FINGER / 2)
                out += [((finger, *hand), (base @ frame)[None]) for hand in _hands(length)]
    return out


def _hands(length: float) -> tuple[tuple[Rod, ...], ...]:
    """A hand behind a finger along z, with its broad side along x and along y."""
    half, step, end = HAND[0] / 2, (HAND[1] - HAND[0]) / 2, length + HAND[1]
    return tuple(
        tuple(Rod((s * x, s * y, length), (s * x, s * y, end), half) for s in (-step, step))
        for x, y in ((1, 0), (0, 1))
    )


def _ways() -> list[tuple[float, float, float]]:
    """Unit vectors from the collar toward where a hand may come from, along the axis first."""
    out = [(0.0, 0.0, 1.0)]
    for slope in _SLOPES:
        s, c = math.sin(math.radians(slope)), math.cos(math.radians(slope))
        for k in range(_SIDES):
            t = 2 * math.pi * k / _SIDES
            out.append((s * math.cos(t), s * math.sin(t), c))
    return out
