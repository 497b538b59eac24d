"""Points along a bent tube's centre line, the tube's extents, and how near the line comes back to itself.

Owns turning the straights and arcs of a `bends.Run` into points with a known chord error, the exact box of the tube
around them, and the test whether a tube runs through itself. Leaves the arithmetic of bends to `bends`. Millimetres.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.base import Box
from elbowroom.parts.vocabulary.bends import Arc, Run, Straight
from elbowroom.parts.vocabulary.tolerances import NO_LENGTH


def sample(run: Run, chord_error: float, *, ends: bool = False) -> Floats:
    """Points along the centre line, (n, 3): every tangent point, and arcs cut so that no chord strays further.

    The points lie on the centre line; the chords between them stray from it by at most `chord_error` mm. With `ends`
    the inserted lengths are included.
    """
    if not chord_error > 0:
        raise ValueError("chord_error must be above 0 mm")

    def parts(arc: Arc) -> int:
        step = 2 * math.degrees(math.acos(max(0.0, 1 - chord_error / arc.radius)))
        return math.ceil(arc.angle / step - NO_LENGTH)

    return _points(run.whole if ends else run.pieces, lambda p: parts(p) if isinstance(p, Arc) else 1)


def tube_box(run: Run, od: float) -> Box:
    """Extents of a tube of outer diameter `od` along the whole run, insertions included: exact."""
    lo, hi = np.full(3, np.inf), np.full(3, -np.inf)
    for piece in run.whole:
        for axis in range(3):
            for sign in (-1.0, 1.0):
                edge = _farthest(piece, axis, sign, od / 2)
                lo[axis], hi[axis] = min(lo[axis], sign * edge), max(hi[axis], sign * edge)
    return Box((float(lo[0]), float(lo[1]), float(lo[2])), (float(hi[0]), float(hi[1]), float(hi[2])))


def self_gap(run: Run, step: float = 2.0) -> float:
    """Least distance between two places where the centre line comes back to itself, mm; inf where it never does.

    A tube whose bend radii are at least half its diameter runs through itself exactly where this is less than its
    diameter. Insertions are included. Taken between points at most `step` mm apart, so that a true distance d comes out
    as at most about `d + step**2 / (4 d)`, never as less.
    """
    p = _points(run.whole, lambda piece: math.ceil(piece.length / step))
    gap = np.sqrt(sum((p[:, None, k] - p[None, :, k]) ** 2 for k in range(3)))
    # A return shows as a local minimum of the distance over both places at once. Near the diagonal there is none: the
    # distance falls steadily toward 0 there.
    padded = np.pad(gap, 1, constant_values=np.inf)
    n = len(p)
    low = np.ones_like(gap, dtype=bool)
    for i in (-1, 0, 1):
        for j in (-1, 0, 1):
            if i or j:
                low &= gap <= padded[1 + i : n + 1 + i, 1 + j : n + 1 + j]
    low &= np.arange(n)[:, None] + 1 < np.arange(n)[None, :]
    return float(gap[low].min()) if low.any() else math.inf


def _points(pieces: Sequence[Straight | Arc], parts: Callable[[Straight | Arc], int]) -> Floats:
    """The pieces' ends and, between them, points that cut each into as many equal parts as `parts` says."""
    out = [np.array([pieces[0].start])]
    for piece in pieces:
        t = np.linspace(0, 1, max(1, parts(piece)) + 1)[1:]
        if isinstance(piece, Arc):
            out.append(_on_arc(piece, t * piece.angle))
        else:
            a, b = np.array(piece.start), np.array(piece.end)
            out.append(a + t[:, None] * (b - a))
    return np.vstack(out)


def _farthest(piece: Straight | Arc, axis: int, sign: float, r: float) -> float:
    """How far a tube of radius r around a piece reaches along +axis or -axis, counted that way."""
    if isinstance(piece, Straight):
        n = np.subtract(piece.end, piece.start) / piece.length
        ends = max(sign * piece.start[axis], sign * piece.end[axis])
        return float(ends + r * math.sqrt(max(0.0, 1 - n[axis] ** 2)))
    u, v = _basis(piece)
    # Along the arc the reach is R A cos(s) + r sqrt(1 - A^2 sin(s)^2), s counted from where it is greatest; for R >= r
    # it falls all the way to s = 180, so the nearest place the arc has is its farthest reach.
    a = math.hypot(u[axis], v[axis])
    best = math.degrees(math.atan2(sign * v[axis], sign * u[axis]))
    off = min(abs((t - best + 180.0) % 360.0 - 180.0) for t in (0.0, piece.angle))
    if (best % 360.0) <= piece.angle:
        off = 0.0
    c, k = math.cos(math.radians(off)), math.sin(math.radians(off))
    return float(sign * piece.centre[axis] + piece.radius * a * c + r * math.sqrt(max(0.0, 1 - (a * k) ** 2)))


def _on_arc(arc: Arc, degrees: Floats) -> Floats:
    """Points of an arc at angles from its start, (n, 3)."""
    u, v = _basis(arc)
    t = np.radians(degrees)[:, None]
    points: Floats = np.array(arc.centre) + arc.radius * (np.cos(t) * u + np.sin(t) * v)
    return points


def _basis(arc: Arc) -> tuple[Floats, Floats]:
    """Unit vectors in the arc's plane: from its centre to its start, and the way it sets out."""
    half = math.radians(arc.angle / 2)
    u = np.subtract(arc.start, arc.centre) / arc.radius
    v = (np.subtract(arc.middle, arc.centre) / arc.radius - math.cos(half) * u) / math.sin(half)
    return u, v
