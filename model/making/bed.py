"""Parts on the printer's bed: whether one fits, how it has to be turned, where to split one that does not, and how all
lie on as few beds as may be.

Owns the arrangement. A part takes the rectangle about it, as it lies or turned by 90 or 45 degrees; rectangles are laid
in rows, the deepest first, with the printer's spacing between them and to the bed's edge. The same parts give the same
beds. What is written of a bed belongs to `threemf`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from elbowroom.model.build.make_spec import PrinterSpec
from elbowroom.model.making.mesh import Skin
from elbowroom.model.making.rules import WALL, Z_MM
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.pose import Pose, apply, compose, rotation, shift

SLANT = 45.0  # degrees: along the diagonal, for a part longer than both sides of the bed
TURNS = (0.0, 90.0, SLANT)  # degrees tried on the bed, in this order
AXES = "xyz"


@dataclass(frozen=True, slots=True, eq=False)
class Item:
    """One copy of a part on a bed: `index` of the part, and the pose of its skin on the bed."""

    index: int
    pose: Pose


@dataclass(frozen=True, slots=True)
class _Place:
    """A part as it would be laid: turned by `angle`, its lowest corner at (x, y) of its own, and its rectangle."""

    index: int
    angle: float
    low: tuple[float, float]
    size: tuple[float, float]


@dataclass(slots=True)
class _Laid:
    rows: list[tuple[float, float, float]] = field(default_factory=list)  # y, depth, x that is still free
    items: list[tuple[_Place, float, float]] = field(default_factory=list)


def turn_to_fit(skin: Skin, printer: PrinterSpec) -> float | None:
    """The first turn on the bed, degrees, by which the part fits; None where none does."""
    return next((a for a in TURNS if _fits(_rectangle(skin, a)[1], skin, printer)), None)


def _fits(size: tuple[float, float], skin: Skin, printer: PrinterSpec) -> bool:
    x, y, z = (float(e) + Z_MM for e in printer.bed)
    return size[0] <= x and size[1] <= y and skin.size[2] <= z


def _rectangle(skin: Skin, angle: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Lowest corner and size of the rectangle about the part turned by `angle`, mm."""
    flat = apply(rotation((0, 0, 1), angle), skin.vertices)[:, :2]
    low, size = flat.min(axis=0), np.ptp(flat, axis=0)
    return (float(low[0]), float(low[1])), (float(size[0]), float(size[1]))


def arranged(parts: Sequence[tuple[Skin, int]], printer: PrinterSpec) -> list[list[Item]]:
    """The items of each bed, for parts with their counts; a part that does not fit the bed is on none."""
    gap, (width, depth, _) = float(printer.spacing), (float(e) for e in printer.bed)
    todo: list[_Place] = []
    for index, (skin, count) in enumerate(parts):
        angle = turn_to_fit(skin, printer)
        if angle is not None:
            todo += [_Place(index, angle, *_rectangle(skin, angle))] * count
    made: list[_Laid] = []
    for place in sorted(todo, key=lambda p: (-p.size[1], -p.size[0], p.index)):
        if not any(_put(laid, place, width - 2 * gap, depth - 2 * gap, gap) for laid in made):
            fresh = _Laid()
            if not _put(fresh, place, width - 2 * gap, depth - 2 * gap, gap):  # fits with less room at the edge
                fresh.items.append((place, 0.0, 0.0))
                fresh.rows.append((0.0, depth, width))
            made.append(fresh)
    return [_centred(laid, width, depth) for laid in made]


def _put(laid: _Laid, place: _Place, width: float, depth: float, gap: float) -> bool:
    """Lay a part in the first row with room for it, or in a new one; False where the bed has none."""
    w, d = place.size
    for i, (y, high, x) in enumerate(laid.rows):
        if d <= high + Z_MM and x + w <= width + Z_MM:
            laid.items.append((place, x, y))
            laid.rows[i] = (y, high, x + w + gap)
            return True
    y = laid.rows[-1][0] + laid.rows[-1][1] + gap if laid.rows else 0.0
    if y + d > depth + Z_MM or w > width + Z_MM:
        return False
    laid.rows.append((y, d, w + gap))
    laid.items.append((place, 0.0, y))
    return True


def _centred(laid: _Laid, width: float, depth: float) -> list[Item]:
    right = max(x + p.size[0] for p, x, _ in laid.items)
    back = max(y + p.size[1] for p, _, y in laid.items)
    dx, dy = (width - right) / 2, (depth - back) / 2
    return [
        Item(p.index, compose(shift(dx + x - p.low[0], dy + y - p.low[1]), rotation((0, 0, 1), p.angle)))
        for p, x, y in laid.items
    ]


def splits(skin: Skin, part: Part, pose: Pose, printer: PrinterSpec) -> list[tuple[str, tuple[float, ...]]]:
    """Planes that part what is too large into pieces that fit: (axis of the STL, mm along it) for each axis over.

    Near even pieces; moved so that no plane runs through one of the part's holes, where that is possible.
    """
    room = [float(e) for e in printer.bed]
    size = skin.size
    as_it_lies = [max(0, math.ceil((s - Z_MM) / r) - 1) for s, r in zip(size, room, strict=True)]
    turned = [max(0, math.ceil((s - Z_MM) / r) - 1) for s, r in zip(size, (room[1], room[0], room[2]), strict=True)]
    if sum(turned) < sum(as_it_lies):
        as_it_lies, room = turned, [room[1], room[0], room[2]]
    low = skin.vertices.min(axis=0)
    out = []
    for axis, cuts in enumerate(as_it_lies):
        if cuts:
            at = _cuts(size[axis], room[axis], cuts, _bored(part, pose, skin, axis) - float(low[axis]))
            out.append((AXES[axis], tuple(round(c + float(low[axis]), 1) for c in at)))
    return out


def _bored(part: Part, pose: Pose, skin: Skin, axis: int) -> Floats:
    """Stretches along an axis of the STL that a cut should miss: (n, 2) mm, a hole and a wall on both sides of it."""
    out = []
    for pattern in part.patterns():
        for hole in pattern.holes:
            half = hole.slot / 2 + hole.diameter / 2 + WALL
            at = apply(compose(pose, pattern.pose), (hole.x, hole.y, 0.0)) - [0.0, 0.0, skin.lifted]
            out.append((float(at[axis]) - half, float(at[axis]) + half))
    return np.array(out).reshape(-1, 2)


def _cuts(length: float, room: float, cuts: int, bored: Floats) -> list[float]:
    out: list[float] = []
    for i in range(1, cuts + 1):
        least, most = length - (cuts + 1 - i) * room, i * room
        if out:
            most = min(most, out[-1] + room)
        even = min(max(i * length / (cuts + 1), least), most)
        free = [c for c in (even, *bored.ravel().tolist()) if least <= c <= most and not _hit(c, bored)]
        out.append(min(free, key=lambda c: abs(c - even)) if free else even)
    return out


def _hit(at: float, bored: Floats) -> bool:
    return bool(((bored[:, 0] + Z_MM < at) & (at < bored[:, 1] - Z_MM)).any())
