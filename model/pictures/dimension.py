"""Dimension lines: a length between two points of a page, its ends marked, its number where it can be read.

Owns how a length is drawn however short it is: ticks within where there is room, arrows from outside where there is
none, and a framed number on a leader beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from elbowroom.model.pictures.sheet import INK, PAPER, SOFT, TEXT, Box, Sheet
from elbowroom.model.templates.lettering import wide
from elbowroom.parts.vocabulary.arrays import Floats

ARROW = 9.0  # px: an arrow's head
TAIL = 34.0  # px that an arrow from outside is long
LEADERS = (78.0, 120.0, 170.0)  # px from the length to its number, tried in this order
PARALLEL_PX = 1e-3  # px between ends that are one point of the page


def dimension(sheet: Sheet, a: Floats, b: Floats, words: str, room: Box, colour: str = INK) -> None:
    """The length from a to b with its number, which stands beside it within the room and on no other words."""
    a, b = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
    d = b - a
    length = float(np.hypot(*d))
    along = d / length if length > PARALLEL_PX else np.array([0.0, 1.0])
    side = np.array([-along[1], along[0]])
    with sheet.group(id="dimension", data_length=words):
        if length <= PARALLEL_PX:
            _at(sheet, a, words, room, colour)
            return
        sheet.lines([[tuple(a + 13 * side), tuple(a - 13 * side)], [tuple(b + 13 * side), tuple(b - 13 * side)]],
                    PAPER, 4)  # fmt: skip
        sheet.lines([[tuple(a + 13 * side), tuple(a - 13 * side)], [tuple(b + 13 * side), tuple(b - 13 * side)]],
                    colour, 1.6)  # fmt: skip
        inside = length > 4 * ARROW
        if inside:
            _line(sheet, [tuple(a), tuple(b)], colour)
            _arrow(sheet, a, -along, colour)
            _arrow(sheet, b, along, colour)
        else:
            for end, way in ((a, along), (b, -along)):
                _line(sheet, [tuple(end - TAIL * way), tuple(end)], colour)
                _arrow(sheet, end, way, colour)
            _line(sheet, [tuple(a), tuple(b)], colour)
        middle = (a + b) / 2
        at = _beside(sheet, middle, side, along, words, room)
        _line(sheet, [tuple(middle), tuple(at)], colour)
        sheet.circle(float(middle[0]), float(middle[1]), 3, fill=colour)
        sheet.tag(float(at[0]), float(at[1]), words, colour)


def _at(sheet: Sheet, point: Floats, words: str, room: Box, colour: str) -> None:
    """The number at a place where there is no length to draw: what is measured ends in one point, or is none."""
    at = _beside(sheet, point, np.array([1.0, 0.0]), np.array([0.0, 1.0]), words, room)
    _line(sheet, [tuple(point), tuple(at)], colour)
    x, y = float(point[0]), float(point[1])
    sheet.circle(x, y, 11, stroke=PAPER, width_px=5)
    sheet.circle(x, y, 11, stroke=colour, width_px=2)
    sheet.circle(x, y, 2.5, fill=colour)
    sheet.tag(float(at[0]), float(at[1]), words, colour)


def _beside(sheet: Sheet, middle: Floats, side: Floats, along: Floats, words: str, room: Box) -> Floats:
    w, h = wide(words, TEXT + 3) / 2 + 12, 20.0
    ways = [side, -side, side + along, side - along, -side + along, -side - along, along, -along]
    for far in LEADERS:
        for way in ways:
            unit = way / np.hypot(*way)
            at = middle + unit * (far + abs(unit[0]) * w)
            box = (at[0] - w, at[1] - h, at[0] + w, at[1] + h)
            fits = box[0] >= room[0] and box[1] >= room[1] and box[2] <= room[2] and box[3] <= room[3]
            if fits and sheet.free(box):
                return np.asarray(at)
    return np.array([min(max(middle[0], room[0] + w), room[2] - w), min(max(middle[1] + 60, room[1] + h), room[3] - h)])


def _line(sheet: Sheet, points: Sequence[tuple[float, ...]], colour: str) -> None:
    path = [(p[0], p[1]) for p in points]
    sheet.lines([path], PAPER, 5)
    sheet.lines([path], colour, 2)


def _arrow(sheet: Sheet, tip: Floats, way: Floats, colour: str) -> None:
    """A head at `tip` that points along `way`."""
    side = np.array([-way[1], way[0]])
    back = tip - ARROW * way
    points = [tip, back + 0.38 * ARROW * side, back - 0.38 * ARROW * side, tip]
    sheet.lines([[(float(p[0]), float(p[1])) for p in points]], colour, 2)


def span(sheet: Sheet, a: tuple[float, float], b: tuple[float, float], words: str, off: float) -> None:
    """A length of a whole drawing, its line `off` px beside it (to the right of the way from a to b on the page), with
    thin lines from its ends; the number stands on the line."""
    p, q = np.array(a), np.array(b)
    along = (q - p) / np.hypot(*(q - p))
    side = np.array([-along[1], along[0]])
    x, y = p + off * side, q + off * side
    over = math.copysign(7.0, off) * side
    with sheet.group(id="dimension", data_length=words):
        near = math.copysign(6.0, off) * side
        sheet.lines([[tuple(p + near), tuple(x + over)], [tuple(q + near), tuple(y + over)]], SOFT, 1)
        sheet.lines([[tuple(x), tuple(y)]], INK, 1.5)
        _arrow(sheet, x, -along, INK)
        _arrow(sheet, y, along, INK)
    m = (x + y) / 2
    w = wide(words, TEXT)
    steps = [(0.0, 0.0), (0.0, 20.0), (0.0, -20.0), (26.0, 0.0), (-26.0, 0.0)]
    spots = [(float(m[0] + dx), float(m[1] + 6 + dy), "middle") for dx, dy in steps]
    if abs(along[1]) > abs(along[0]):
        beside = w / 2 + 10
        right = float(m[0] + math.copysign(beside, float(side[0] * off)))
        spots = [(right, float(m[1] + 6 + dy), "middle") for dy in (0.0, 24.0, -24.0)] + spots
    at = sheet.placed(spots, words, TEXT)
    if at is not None:  # the line is broken for its number
        sheet.rect(at[0] - w / 2 - 5, at[1] - 16, w + 10, 22, fill=PAPER)
