"""From a ring of many short chords back to few straight sides and arcs.

Owns the fit: every corner and every chord's middle of the ring lies within the tolerance of the result, which starts
and ends at corners of the ring, so that it strays by no more to either side. A ring that is a circle becomes one.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.contour import Contour, Vertex, circle
from elbowroom.parts.vocabulary.tolerances import NO_LENGTH

STRAIGHT_MM = 2e-3  # a straight side strays by no more, whatever the tolerance: else it swallows the start of an arc
LEAST_POINTS = 4  # of an arc: three lie on a circle whatever they are
LARGEST_RADIUS = 5000.0  # mm: a flatter arc is drawn straight or not at all
HALF = math.pi * (1 + 1e-9)  # an arc turns by no more: beyond, its bulge loses digits


def fitted(ring: Floats, tolerance: float) -> Contour:
    """The ring (n, 2), its first point not repeated, as sides and arcs within `tolerance` mm of it."""
    whole = _round(ring, tolerance)
    if whole is not None:
        return whole
    ring = np.roll(ring, -_sharpest(ring), axis=0)
    chain = np.vstack([ring, ring[:1]])
    middles = (chain[:-1] + chain[1:]) / 2
    out: list[Vertex] = []
    i, last = 0, len(ring)
    while i < last:
        straight = _reach(last, i + 1, _Run(chain, middles, i, tolerance).is_straight)
        arc, bent = _Run(chain, middles, i, tolerance), 0
        if i + LEAST_POINTS - 1 <= last and arc.is_bent(i + LEAST_POINTS - 1):
            bent = _reach(last, i + LEAST_POINTS - 1, arc.is_bent)
        j = max(straight, bent)
        bulge = (_bulge(chain[i : j + 1], middles[i:j], tolerance) or 0.0) if bent > straight else 0.0
        out.append((float(chain[i, 0]), float(chain[i, 1]), bulge))
        i = j
    return tuple(out)


class _Run(NamedTuple):
    """A run of the chain from its i-th point on."""

    chain: Floats
    middles: Floats
    i: int
    tolerance: float

    def is_straight(self, j: int) -> bool:
        return _is_straight(self.chain[self.i : j + 1], min(self.tolerance, STRAIGHT_MM))

    def is_bent(self, j: int) -> bool:
        return _bulge(self.chain[self.i : j + 1], self.middles[self.i : j], self.tolerance) is not None


def _reach(last: int, sure: int, fits: Callable[[int], bool]) -> int:
    """The farthest point up to which a run fits, found by doubling and halving; `sure` fits."""
    step, good = 1, sure
    while good + step <= last and fits(good + step):
        good += step
        step *= 2
    while step >= 1:
        if good + step <= last and fits(good + step):
            good += step
        step //= 2
    return good


def _sharpest(ring: Floats) -> int:
    """The corner at which the ring turns most."""
    before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    turns = np.abs(np.arctan2(cross, np.einsum("ij,ij->i", before, after)))
    return int(turns.argmax())


def _is_straight(points: Floats, tolerance: float) -> bool:
    d = points[-1] - points[0]
    length = float(np.hypot(*d))
    if length < NO_LENGTH:
        return False
    off = points - points[0]
    along = off @ d / length
    across = np.abs(off[:, 0] * d[1] - off[:, 1] * d[0]) / length
    return bool(across.max() <= tolerance and (np.diff(along) > 0).all())


def _bulge(points: Floats, middles: Floats, tolerance: float) -> float | None:
    """Bulge of the arc from the first point to the last through the one in the middle; None where it does not fit."""
    a, m, b = points[0], points[len(points) // 2], points[-1]
    centre = _centre(a, m, b)
    if centre is None:
        return None
    radius = float(np.hypot(*(a - centre)))
    if radius > LARGEST_RADIUS:
        return None
    off = np.hypot(*(np.vstack([points, middles]) - centre).T) - radius
    if np.abs(off).max() > tolerance:
        return None
    angles = np.unwrap(np.arctan2(points[:, 1] - centre[1], points[:, 0] - centre[0]))
    steps = np.diff(angles)
    sweep = float(angles[-1] - angles[0])
    if not ((steps > 0).all() or (steps < 0).all()) or abs(sweep) > HALF:
        return None
    return math.tan(sweep / 4)


def _centre(a: Floats, b: Floats, c: Floats) -> Floats | None:
    """Centre of the circle through three points; None where they lie on a line."""
    p, q = b - a, c - a
    double = 2 * float(p[0] * q[1] - p[1] * q[0])
    if abs(double) < NO_LENGTH:
        return None
    pp, qq = float(p @ p), float(q @ q)
    return a + np.array([q[1] * pp - p[1] * qq, p[0] * qq - q[0] * pp]) / double


def _round(ring: Floats, tolerance: float) -> Contour | None:
    """The ring as a circle, where it is one: least squares (Kasa), then held against every point and chord."""
    if len(ring) < 8:
        return None
    mean = ring.mean(axis=0)
    x, y = (ring - mean).T
    (a, b, c), *_ = np.linalg.lstsq(np.column_stack([x, y, np.ones(len(x))]), x * x + y * y, rcond=None)
    centre = mean + np.array([a, b]) / 2
    radius = math.sqrt(float(c) + (float(a) ** 2 + float(b) ** 2) / 4)
    all_ = np.vstack([ring, (ring + np.roll(ring, -1, axis=0)) / 2])
    if np.abs(np.hypot(*(all_ - centre).T) - radius).max() > tolerance:
        return None
    return circle(float(centre[0]), float(centre[1]), 2 * radius)
