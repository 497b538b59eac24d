"""Runs drawn by hand: the corners that a build's own points or bends come to between two mouths.

Owns the meaning of the words. Points are corners where the straight legs would meet. Bends are told as they are made
on the bench, from the mouth the run starts at: the straight before the bend (mm), the turn of the tube since the bend
before it, and the angle of the bend (deg). The first bend's turn is counted from upward (from forward where the tube
sets out upright). The last straight is as long as it takes. Whether the run holds is for `verify` to say.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import product

import numpy as np

from elbowroom.model.tubes.rules import Candidate
from elbowroom.parts.vocabulary.bends import BendError, Run, bend_run, points_of, setback

Corners = tuple[tuple[float, float, float], ...]
UPRIGHT = 0.99  # cosine to the vertical from which a tube counts as setting out upright


def corners_of(
    start: Candidate, end: Candidate, through: Corners | None, bends: Corners | None, radius: float
) -> Corners:
    """First mouth, corners, last mouth, mm; raises BendError where the bends cannot be made."""
    if through is not None:
        return (start.point, *through, end.point)
    rows: Sequence[tuple[float, float, float]] = bends or ()
    axis = np.asarray(start.axis)
    side = (1.0, 0.0, 0.0) if abs(axis[2]) > UPRIGHT else (0.0, 0.0, 1.0)
    if not rows:
        return (start.point, end.point)
    probe = np.asarray(points_of(rows, 1.0, radius, start=start.point, direction=start.axis, side=side))
    way = probe[-1] - probe[-2]
    way = way / np.linalg.norm(way)
    last = float((np.asarray(end.point) - probe[-2]) @ way) - setback(radius, rows[-1][2])
    if last <= 0:
        raise BendError(f"after the last bend the tube is already {-last:.1f} mm past the mouth it is meant for")
    return points_of(rows, last, radius, start=start.point, direction=start.axis, side=side)


def drawn_run(
    ends: Sequence[Sequence[Candidate]], through: Corners | None, bends: Corners | None, radius: float
) -> tuple[Run, tuple[int, int]]:
    """The run as drawn, and which candidate of each end it uses: the pair whose mouths look along its legs the best.

    Raises BendError where it cannot be bent from any.
    """
    best: tuple[float, Run, tuple[int, int]] | None = None
    fault: BendError | None = None
    for (i, a), (j, b) in product(enumerate(ends[0]), enumerate(ends[1])):
        try:
            corners = corners_of(a, b, through, bends, radius)
            off = _off_axis(a, corners[1]) + _off_axis(b, corners[-2]) + math.dist(corners[-1], b.point)
            if best is None or off < best[0]:
                best = (off, bend_run(corners, radius), (i, j))
        except BendError as e:
            fault = fault or e
    if best is None:
        raise fault or BendError("there is nothing to draw it between")
    return best[1], best[2]


def _off_axis(mouth: Candidate, corner: Sequence[float]) -> float:
    """mm that a corner lies off a mouth's axis; behind it counts twice."""
    axis, v = np.asarray(mouth.axis), np.asarray(corner) - np.asarray(mouth.point)
    along = float(v @ axis)
    return float(np.linalg.norm(v - along * axis)) + 2 * max(0.0, -along)
