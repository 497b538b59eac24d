"""Point in solid: which closed meshes hold which points.

Owns one vectorised test for many (point, mesh) pairs. A ray along a fixed oblique direction counts signed crossings;
where it passes too near an edge or vertex to tell, and for meshes that are not closed, the solid angle of the whole
mesh decides (generalised winding number). Both answer "inside" where the mesh winds around the point at all, so
overlapping shells and inverted meshes are solid too.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from elbowroom.parts.vocabulary.arrays import Floats, Ints, Mask
from elbowroom.parts.vocabulary.pose import compose, rotation
from elbowroom.parts.vocabulary.tolerances import NO_LENGTH, TINY
from elbowroom.parts.vocabulary.winding import winding

# Faces of parts lie along the case axes or at round angles to them; rays in this frame graze none of them.
_OBLIQUE = compose(rotation((1, 0, 0), 23.719), rotation((0, 1, 0), 41.283), rotation((0, 0, 1), 17.531))[:3, :3].T

# Share of a triangle's own edge product below which a crossing is too near an edge to be told by its sign: far above
# rounding (1e-16), far below what any ray meets by chance more than once in a million.
GRAZE = 1e-9
_MOST_BINS = 64  # bins an edge of one mesh's shadow: beyond it bins cost more than they save
_CHUNK = 4_000_000  # (point, triangle) pairs worked on at once: bounds memory to some hundred MB


def spans(counts: Ints) -> tuple[Ints, Ints]:
    """For counts (n,): the owner of each of sum(counts) items, and its place among its owner's items."""
    owner = np.repeat(np.arange(len(counts)), counts)
    first = np.cumsum(counts) - counts
    return owner, np.arange(len(owner)) - first[owner]


class Insides:
    """Meshes prepared for point-in-solid questions."""

    def __init__(self, meshes: Sequence[tuple[Floats, NDArray[np.int32]]], closed: Sequence[bool]) -> None:
        self._plain = [v[f] for v, f in meshes]
        self._closed = np.array(closed, dtype=bool)
        self._bins: dict[int, _Bins] = {}  # of the meshes that were asked about: of most, none ever is

    def test(self, points: Floats, mesh: Ints) -> Mask:
        """Whether points[i] lies inside mesh number mesh[i]."""
        out = np.zeros(len(points), dtype=bool)
        for m in np.unique(mesh).tolist():
            if m not in self._bins:
                self._bins[m] = _bins(self._plain[m] @ _OBLIQUE)
            rows = np.nonzero(mesh == m)[0]
            if self._closed[m]:
                turns, sure = _crossings(points[rows] @ _OBLIQUE, self._bins[m])
                out[rows] = turns != 0
                rows = rows[~sure]
            if len(rows):
                out[rows] = np.abs(winding(points[rows], self._plain[m])) > 0.5
        return out


class _Bins:
    """One mesh's triangles in the oblique frame, listed by the square of the ground plane they stand over."""

    __slots__ = ("cell", "first", "items", "lo", "shape", "triangles")

    def __init__(
        self, triangles: Floats, lo: Floats, cell: Floats, shape: tuple[int, int], first: Ints, items: Ints
    ) -> None:
        self.triangles, self.lo, self.cell, self.shape, self.first, self.items = (
            triangles,
            lo,
            cell,
            shape,
            first,
            items,
        )


def _bins(t: Floats) -> _Bins:
    lo2, hi2 = t[..., :2].min(axis=1), t[..., :2].max(axis=1)
    lo, hi = lo2.min(axis=0), hi2.max(axis=0)
    n = int(np.clip(np.sqrt(len(t)), 1, _MOST_BINS))
    cell = np.maximum((hi - lo) / n, NO_LENGTH)
    i0 = np.clip(((lo2 - lo) / cell).astype(np.int64), 0, n - 1)
    i1 = np.clip(((hi2 - lo) / cell).astype(np.int64), 0, n - 1)
    wide = i1 - i0 + 1
    owner, k = spans(wide[:, 0] * wide[:, 1])
    where = (i0[owner, 0] + k // wide[owner, 1]) * n + i0[owner, 1] + k % wide[owner, 1]
    order = np.argsort(where, kind="stable")
    first = np.searchsorted(where[order], np.arange(n * n + 1))
    return _Bins(t, lo, cell, (n, n), first, owner[order])


def _crossings(p: Floats, bins: _Bins) -> tuple[Ints, Mask]:
    """Signed crossings of the upward ray of each point, and whether every one of them was clear of edges."""
    n = bins.shape[0]
    ij = np.floor((p[:, :2] - bins.lo) / bins.cell).astype(np.int64)
    inside = np.all((ij >= 0) & (ij < n), axis=1)
    square = np.where(inside, ij[:, 0] * n + ij[:, 1], 0)
    counts = np.where(inside, bins.first[square + 1] - bins.first[square], 0)
    turns, sure = np.zeros(len(p), dtype=np.int64), np.ones(len(p), dtype=bool)
    step = max(1, _CHUNK // max(1, int(counts.max(initial=1))))
    for at in range(0, len(p), step):
        part = slice(at, at + step)
        owner, k = spans(counts[part])
        if not len(owner):
            continue
        t = bins.triangles[bins.items[bins.first[square[part]][owner] + k]]
        rel = t - p[part][owner][:, None, :]
        x, y, z = rel[..., 0], rel[..., 1], rel[..., 2]
        nxt = [1, 2, 0]
        edge = x * y[:, nxt] - y * x[:, nxt]  # twice the area each edge spans with the ray's foot
        size = np.abs(x * y[:, nxt]) + np.abs(y * x[:, nxt]) + TINY
        up, down = np.all(edge > 0, axis=1), np.all(edge < 0, axis=1)
        # A foot near an edge line matters only when it is not clearly outside another edge.
        vague = np.abs(edge) <= GRAZE * size
        unsure = vague.any(axis=1) & (np.all((edge > 0) | vague, axis=1) | np.all((edge < 0) | vague, axis=1))
        area = edge.sum(axis=1)
        height = (edge[:, 0] * z[:, 2] + edge[:, 1] * z[:, 0] + edge[:, 2] * z[:, 1]) / np.where(area == 0, 1.0, area)
        sign = np.where(up & (height > 0), 1, 0) - np.where(down & (height > 0), 1, 0)
        turns[part] += np.bincount(owner, weights=sign, minlength=len(turns[part])).astype(np.int64)
        sure[part] &= np.bincount(owner, weights=unsure, minlength=len(turns[part])) == 0
    return turns, sure
