"""A lattice of corners in free space, and legs of any length along its directions.

Owns where a lattice lies, which of its corners and steps the map calls free, and the scan that carries the cost of a
state along a direction to every corner it can reach. Leaves turns, ends and the search itself to `sweep`. Millimetres.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.geometry.envelopes import Floats
from elbowroom.model.tubes.field import Floats32
from elbowroom.model.tubes.lines import Map
from elbowroom.model.tubes.task import Task

Node = tuple[int, int, int]
Ints = NDArray[np.int64]

NODES = 60_000  # corners of a lattice: 8-9 mm apart in a large case; ten times as many would take ten times as long
STEP = 7.0  # mm: a finer lattice than this would hold nothing that local search does not find
PROBE = 6.0  # mm between the points of a step held against the map
INF = np.float32(np.inf)

AXES_ONLY: Ints = np.array([v for v in itertools.product((-1, 0, 1), repeat=3) if sum(map(abs, v)) == 1])
WITH_DIAGONALS: Ints = np.array([v for v in itertools.product((-1, 0, 1), repeat=3) if sum(map(abs, v)) in (1, 2)])


@dataclass(frozen=True, slots=True, eq=False)
class Lattice:
    """Corners at origin + turn @ ((i, j, k) * spacing). directions (d, 3): index steps along which tubes run."""

    origin: Floats
    turn: Floats
    spacing: Floats
    shape: Node
    directions: Ints

    def nodes(self) -> Floats:
        ijk = np.stack(np.meshgrid(*(np.arange(n) for n in self.shape), indexing="ij"), axis=-1)
        out: Floats = self.origin + (ijk * self.spacing) @ self.turn.T
        return out

    def steps(self) -> Floats:
        """World vectors of the directions, mm (d, 3)."""
        out: Floats = (self.directions * self.spacing) @ self.turn.T
        return out

    def node_at(self, point: Floats) -> Node | None:
        """The corner at a point, None where there is none."""
        ijk = ((point - self.origin) @ self.turn) / self.spacing
        near = np.round(ijk)
        if np.abs(ijk - near).max() > 1e-6 or not self.holds(near):
            return None
        return _node(near)

    def holds(self, ijk: Sequence[float] | Floats) -> bool:
        return all(0 <= v < n for v, n in zip(ijk, self.shape, strict=True))

    def ahead(self, node: Node, d: int, k: int) -> Node:
        """The corner k steps along a direction, which may lie outside."""
        return _node(np.array(node) + k * self.directions[d])


def _node(ijk: Floats | Ints) -> Node:
    i, j, k = (int(v) for v in ijk)
    return (i, j, k)


def through_ends(task: Task, i: int, j: int) -> Lattice | None:
    """A lattice along the case axes that both ends lie on; None where an end's axis is none of the case's."""
    p, q = task.starts[0][i], task.ends[0][j]
    if min(np.abs(task.starts[1][i]).max(), np.abs(task.ends[1][j]).max()) < 1 - 1e-9:
        return None
    lo, hi = _extent(task)
    base = max(STEP, float(np.prod(hi - lo) / NODES) ** (1 / 3))
    apart = np.abs(q - p)
    spacing = np.where(apart < base / 2, base, apart / np.maximum(np.round(apart / base), 1))
    k = np.floor((p - lo) / spacing)
    shape = np.floor((hi - p) / spacing) + k + 1
    return Lattice(p - k * spacing, np.eye(3), spacing, _node(np.maximum(shape, 1)), AXES_ONLY)


def turned(task: Task, turn: Floats, anchor: Floats, shift: float, scale: float = 1.0) -> Lattice:
    """A lattice with diagonals along the axes of `turn` (columns), with a corner at the anchor moved by shift steps."""
    lo, hi = _extent(task)
    corners = np.array(list(itertools.product(*zip(lo, hi, strict=True)))) @ turn
    low, high = corners.min(axis=0), corners.max(axis=0)
    step = scale * max(STEP, float(np.prod(high - low) / NODES) ** (1 / 3))
    at = anchor @ turn + shift * step
    k = np.floor((at - low) / step)
    shape = np.floor((high - at) / step) + k + 1
    return Lattice(turn @ (at - k * step), turn, np.full(3, step), _node(np.maximum(shape, 1)), WITH_DIAGONALS)


def _extent(task: Task) -> tuple[Floats, Floats]:
    f = task.map.field
    lo, hi = f.lo, f.lo + np.array(f.shape) * f.cell
    if task.within is not None:
        lo, hi = np.array(task.within.lo) + task.map.radius, np.array(task.within.hi) - task.map.radius
    return lo, np.maximum(hi, lo + 1.0)


def moved(a: Floats32, d: Ints, k: int = 1) -> Floats32:
    """b with b[node] = a[node - k d], infinite where that lies outside."""
    out = np.full_like(a, INF)
    to, source = [], []
    for n, s in zip(a.shape, (int(v) for v in d * k), strict=True):
        if abs(s) >= n:
            return out
        to.append(slice(max(s, 0), n + min(s, 0)))
        source.append(slice(max(-s, 0), n + min(-s, 0)))
    out[tuple(to)] = a[tuple(source)]
    return out


Plane = tuple[slice | int, ...]


def _planes(shape: Node, step: Ints) -> list[tuple[Plane, Plane]]:
    """(plane, the plane a step behind it) in the order a scan along the step visits them."""
    axis = int(np.nonzero(step)[0][0])
    order = range(1, shape[axis]) if step[axis] > 0 else range(shape[axis] - 2, -1, -1)
    out = []
    for i in order:
        to: list[slice | int] = []
        source: list[slice | int] = []
        for k in range(3):
            s, n = int(step[k]), shape[k]
            to.append(i if k == axis else slice(max(s, 0), n + min(s, 0)))
            source.append(i - s if k == axis else slice(max(-s, 0), n + min(-s, 0)))
        out.append((tuple(to), tuple(source)))
    return out


class Grid:
    """A lattice held against the map. `slack`: mm of room that corners and legs may lack, to be found by repair.

    nodes (..., 3): where the corners are; free: which stand free; lengths, units: of the directions; runs[d]: free
    steps behind each corner along d.
    """

    def __init__(self, lattice: Lattice, the_map: Map, slack: float) -> None:
        self.lattice = lattice
        self.nodes = lattice.nodes()
        self.free = the_map.room(self.nodes) >= -slack
        steps = lattice.steps()
        self.lengths = np.linalg.norm(steps, axis=1)
        self.units = steps / self.lengths[:, None]
        self.planes = [_planes(lattice.shape, step) for step in lattice.directions]
        self.edges: list[Floats32] = []
        for d, step in enumerate(lattice.directions):
            back = int(np.nonzero((lattice.directions == -step).all(axis=1))[0][0])
            self.edges.append(moved(self.edges[back], step) if back < d else self._edge(d, steps[d], the_map, slack))
        self.runs = [self._free_run(d) for d in range(len(steps))]

    def _edge(self, d: int, step: Floats, the_map: Map, slack: float) -> Floats32:
        """Cost of the step that arrives at each corner along d: its length where it is free, else infinite."""
        ok = self.free & (moved(self.free.astype(np.float32), self.lattice.directions[d]) == 1)
        parts = 1 + int(self.lengths[d] / PROBE)
        for t in np.arange(1, parts + 1) / (parts + 1):
            where = np.nonzero(ok)
            ok[where] = the_map.room(self.nodes[where] - step * t) >= -slack
        return np.where(ok, np.float32(self.lengths[d]), INF)

    def _free_run(self, d: int) -> NDArray[np.int16]:
        out = np.zeros(self.lattice.shape, dtype=np.int16)
        for to, source in self.planes[d]:
            np.copyto(out[to], out[source] + 1, where=np.isfinite(self.edges[d][to]))
        return out

    def steps_for(self, d: int, length: float) -> int:
        """Steps along d that are at least so long, one at least."""
        return max(1, math.ceil(length / float(self.lengths[d]) - 1e-9))

    def carried(self, d: int, offers: list[tuple[Floats32, int]]) -> Floats32:
        """Cheapest cost at each corner of coming along d by a free leg from states, each with the least steps to it."""
        from elbowroom.model.tubes import stepping  # compiled: loaded only where a run is looked for

        best = np.full(self.lattice.shape, INF)
        i, j, n = self.lattice.directions[d].tolist()
        for state, k in offers:
            stepping.take_offer(state, k, np.float32(k * self.lengths[d]), i, j, n, self.runs[d], best)
        if np.isfinite(best).any():
            stepping.carry(self.edges[d], i, j, n, best)
        return best
