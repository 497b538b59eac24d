"""Bodies with more near pairs of triangles than can be listed: parted first, by planes and then by halves.

Owns the sound lower bound of a gap where flush plates are full of holes. A plane that a flat face lies in has most of
one body on its one side and most of the other beyond it: those pairs are as far apart as the two reach towards each
other, and only what is left on either side is looked at in pairs. Where no plane parts much, the first body is halved.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from elbowroom.model.geometry.enclosure import FLAT, Enclosure
from elbowroom.model.geometry.narrow import ClosePairs, close_pairs
from elbowroom.model.geometry.parting import extents
from elbowroom.model.tolerances import MAX_CLOSE_PAIRS, MOST_CLOSE_PAIRS
from elbowroom.parts.vocabulary.arrays import Floats, Ints, Mask

if TYPE_CHECKING:
    from elbowroom.model.geometry.posed_pair import PosedPair

_PLANES = 6  # of the planes that near flat triangles lie in, the most frequent are tried
_MUCH = 0.2  # share of all pairs that a plane must part to be worth it
_FEWEST = 2  # triangles of a body that are still halved


@dataclass
class _Budget:
    """Pairs that may still be listed."""

    left: int = MOST_CLOSE_PAIRS


def parted(pair: PosedPair, listed: ClosePairs, margin: float, flats: bool) -> float | None:
    """Sound lower bound, mm, of the gap between all triangles nearer than `margin`; None where that is too much work.

    `listed`: some of the pairs; flats: whether flat triangles count, too.
    """
    every = (np.arange(len(pair.a.mesh.triangles)), np.arange(len(pair.b.mesh.triangles)))
    return _least(pair, every, listed, margin, flats, _Budget())


def _least(
    pair: PosedPair, some: tuple[Ints, Ints], listed: ClosePairs | None, margin: float, flats: bool, budget: _Budget
) -> float | None:
    a, b = some
    if not len(a) or not len(b):
        return float("inf")
    if listed is None:
        listed = close_pairs(pair.a, pair.b, pair.turn, pair.move, margin, MAX_CLOSE_PAIRS, some)
        budget.left -= len(listed.i)
        if listed.complete:
            return pair.least(listed, flats)
    if budget.left <= 0:
        return None
    best = _best_plane(pair, some, listed)
    if best is None:
        if len(a) < _FEWEST:
            return None
        centres = pair.a.enclosure.corners[a].mean(axis=1)
        order = np.argsort(centres[:, int(np.argmax(np.ptp(centres, axis=0)))], kind="stable")
        half = len(a) // 2
        rest = [(a[order[:half]], b), (a[order[half:]], b)]
        low = float("inf")
    else:
        low, this, beyond = best
        rest = [(a[~this], b), (a[this], b[~beyond])]
    for part in rest:
        found = _least(pair, part, None, margin, flats, budget)
        if found is None:
            return None
        low = min(low, found)
    return low


def _best_plane(pair: PosedPair, some: tuple[Ints, Ints], listed: ClosePairs) -> tuple[float, Mask, Mask] | None:
    """The plane that parts most pairs: how far apart it shows them to be, mm, and which of a and b it parts."""
    a, b = some
    best, most = None, _MUCH * len(a) * len(b)
    for normal, height in _planes(pair, listed):
        _, top = _reach(pair.a.enclosure, a, normal)
        bottom, _ = _reach(pair.b.enclosure, b, pair.turn.T @ normal)
        bottom = bottom + float(pair.move @ normal)
        this, beyond = top <= height + pair.slack, bottom >= height - pair.slack
        if int(this.sum()) * int(beyond.sum()) > most:
            most = int(this.sum()) * int(beyond.sum())
            best = (float(bottom[beyond].min() - top[this].max()), this, beyond)
    return best


def _planes(pair: PosedPair, listed: ClosePairs) -> list[tuple[Floats, float]]:
    """Planes (normal from a to b, height in a's coordinates) that many of the listed flat triangles lie in."""
    ea, eb = pair.a.enclosure, pair.b.enclosure
    i, j = np.unique(listed.i[ea.kind[listed.i] == FLAT]), np.unique(listed.j[eb.kind[listed.j] == FLAT])
    normals = np.concatenate([ea.normals[i], -(eb.normals[j] @ pair.turn.T)])
    points = np.concatenate([ea.corners[i, 0], eb.corners[j, 0] @ pair.turn.T + pair.move])
    heights = np.einsum("ki,ki->k", normals, points)
    rounded = np.round(np.column_stack([normals * 1e5, heights * 1e3])).astype(np.int64)
    _, first, count = np.unique(rounded, axis=0, return_index=True, return_counts=True)
    order = np.argsort(-count, kind="stable")[:_PLANES]
    return [(normals[k], float(heights[k])) for k in first[order]]


def _reach(e: Enclosure, which: Ints, along: Floats) -> tuple[Floats, Floats]:
    """Least and most reach (k,) of the surface over each triangle along one direction, mm."""
    lo, hi = extents(e, which, np.broadcast_to(along, (len(which), 1, 3)))
    return lo[:, 0], hi[:, 0]
