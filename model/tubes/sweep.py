"""Runs with any number of bends through clutter: a search over a lattice of corners, one bend at a time.

Owns the sweep. A state is a corner, the way the tube leaves it, and how sharp its bend there is; the cheapest cost of
every state with k bends gives those with k + 1 in a few array operations: a scan along every direction, with legs long
enough for the bends at both their ends, then a turn at every corner. Legs in any direction lead from the ends' own axes
to the lattice and back. Everything is held against the map; what comes out is a start for `improve`, not yet a run.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.geometry.envelopes import Floats
from elbowroom.model.tubes.field import Floats32
from elbowroom.model.tubes.lattice import INF, Grid, Ints, Lattice, Node
from elbowroom.model.tubes.task import Task, free_axis

WORK, LINK_WORK = 250.0, 40.0  # of one lattice and of every end whose axis is joined to it (`task.BODY_WORK`)
LINKS = 1200  # corners tried from each place on an end's axis
LINK_REACH = 220.0  # mm: the longest free leg between an end's axis and the lattice
LINK_PROBE = 6.0  # mm between the points of a free leg held against the map
PLACES = 7  # places on each end's axis from which free legs set out
SOURCES = 16  # candidates of an end that the search starts from
BEST = 6  # lines taken from each number of bends
ANGLES = (45.0, 60.0, 90.0)  # deg: what neighbouring directions of a lattice turn by
SHARPEST = 110.0  # deg: the most that a free leg turns from its end's axis; sharper returns take a corner more
_COST_EPS = 0.1  # mm: costs are sums of single-precision lengths


@dataclass(frozen=True, slots=True, eq=False)
class Link:
    """Free legs from a corner on an end's axis, `along` mm from its port, to corners of the lattice."""

    end: int
    corner: Floats
    along: float
    nodes: Ints  # flat indices
    units: Floats  # from the corner
    lengths: Floats


class Sweep:
    """The search over one lattice."""

    def __init__(self, task: Task, lattice: Lattice, slack: float = 0.0) -> None:
        self.task, self.lattice, self.slack = task, lattice, slack
        task.work += WORK + LINK_WORK * sum(min(SOURCES, len(side[0])) for side in (task.starts, task.ends))
        self.grid = Grid(lattice, task.map, slack)
        rules = task.rules
        self.angles = (ANGLES[-1],) if len(lattice.directions) == 6 else ANGLES
        self.backs = [rules.radius * math.tan(math.radians(a) / 2) for a in self.angles]
        # The last class is that of a leg from an end on the lattice: no setback, but the straight leg of the fitting.
        self.backs.append(rules.end_leg - rules.between)
        self.turns = np.degrees(np.arccos(np.clip(self.grid.units @ self.grid.units.T, -1, 1)))
        # Directions that lie opposed turn into no leg: kept below a half turn only to stay finite.
        self.saved = self._saved(np.radians(np.minimum(self.turns, 170.0)))
        self.layers: list[list[list[Floats32]]] = []  # by bends, direction, class
        self.picked: dict[Node, Floats] = {}
        # By direction and class: which of `links` led to a corner, -1 for none.
        self.entries: dict[tuple[int, int], NDArray[np.int32]] = {}
        self.entered: list[Link] = []

    def run(self, most_bends: int, limit: float) -> list[Floats]:
        """Corner lines from start to end that cost less than `limit`, cheapest first."""
        directions = range(len(self.turns))
        square = self.task.rules.square  # free legs are aslant
        out_links, in_links = ([], []) if square else (self._links(at_end=False), self._links(at_end=True))
        leaving = self._empty()
        self._start_on_lattice(leaving)
        found: list[tuple[float, Floats]] = []
        worth = np.float32(self.task.rules.bend_worth)
        for bends in range(most_bends + 1):
            if bends == 2:
                self._enter(leaving, out_links)
            self.layers.append(leaving)
            found += self._straight_goals(bends, limit)
            if bends == most_bends:
                break
            arriving = [self._arrivals(d, leaving[d]) for d in directions]
            if bends + 2 <= most_bends:
                found += self._link_goals(bends, arriving, in_links, limit)
            leaving = self._empty()
            for d, e in itertools.product(directions, directions):
                c = self._class(self.turns[d, e])
                if c is not None:
                    saved = np.float32(self.saved[d, e])
                    np.minimum(leaving[e][c], arriving[d][c] + (worth - saved), out=leaving[e][c])
        return [line for _, line in sorted(found, key=lambda f: f[0])]

    def _empty(self) -> list[list[Floats32]]:
        return [[np.full(self.lattice.shape, INF) for _ in self.backs] for _ in self.turns]

    def _saved(self, turn: Floats) -> Floats:
        """What the arcs of bends (radians) save against their corners, mm."""
        out: Floats = self.task.rules.radius * (2 * np.tan(turn / 2) - turn)
        return out

    def _class(self, turn: float) -> int | None:
        """The bend class at least as sharp as a turn (degrees); None for no turn and for too sharp a one."""
        if turn < 1e-6:
            return None
        return next((c for c, a in enumerate(self.angles) if turn <= a + 1e-6), None)

    def _least(self, d: int, c: int, c2: int) -> int:
        """Steps along d that hold the setbacks of both classes and the straight between them."""
        return self.grid.steps_for(d, self.backs[c] + self.backs[c2] + self.task.rules.between)

    def _arrivals(self, d: int, leaving: list[Floats32]) -> list[Floats32]:
        """Cheapest arrival at each corner along d, by the class of the bend that is to follow there."""
        live = [(c, s) for c, s in enumerate(leaving) if np.isfinite(s).any()]
        return [self.grid.carried(d, [(s, self._least(d, c, c2)) for c, s in live]) for c2 in range(len(self.angles))]

    # Ends ---------------------------------------------------------------------------------------------------------

    def _start_on_lattice(self, leaving: list[list[Floats32]]) -> None:
        """Starts on the lattice: the tube is picked up at the first corner past what the start does not count."""
        picked = []
        for point, axis in zip(*self.task.starts[:2], strict=True):
            node, along = self.lattice.node_at(point), self.grid.units @ axis
            if node is None or along.max() < 1 - 1e-12:
                continue
            d = int(np.argmax(along))
            k = math.ceil(self.task.map.skip[0] / self.grid.lengths[d] - 1e-9)
            at = self.lattice.ahead(node, d, k)
            if self.lattice.holds(at) and self.grid.free[at]:
                picked.append((d, at, k * float(self.grid.lengths[d]), point))
        if picked:
            self.backs[-1] -= min(length for _, _, length, _ in picked)
        for d, at, length, point in picked:
            leaving[d][-1][at] = length
            self.picked[at] = point

    def _links(self, *, at_end: bool) -> list[Link]:
        """Free legs between the axes of an end's candidates and the lattice."""
        points, axes, _ = self.task.ends if at_end else self.task.starts
        rules, r = self.task.rules, self.task.rules.radius
        flat = np.nonzero(self.grid.free.ravel())[0]
        nodes = self.grid.nodes.reshape(-1, 3)[flat]
        chosen = np.linspace(0, len(points) - 1, min(SOURCES, len(points))).round().astype(int)
        skip = self.task.map.skip[1 if at_end else 0]
        room = free_axis(self.task.map, points[chosen], axes[chosen], LINK_REACH, skip)
        first = rules.end_leg + r * math.tan(math.radians(15))
        out = []
        for i, most in zip(chosen, room, strict=True):
            reach = LINK_REACH + max(first, min(LINK_REACH, float(most)) + 0.6 * r)
            within = np.nonzero((np.abs(nodes - points[i]) < reach).all(axis=1))[0]
            close, names = nodes[within], flat[within]
            for t in np.linspace(first, max(first, min(LINK_REACH, float(most)) + 0.6 * r), PLACES):
                corner = points[i] + t * axes[i]
                d = close - corner
                length = np.sqrt(np.einsum("nd,nd->n", d, d))
                near = np.nonzero((length < LINK_REACH) & (length > 0.5 * r))[0]
                near = near[:: max(1, len(near) // LINKS)]
                unit = d[near] / length[near][:, None]
                cos = np.clip(unit @ axes[i], -1, 1)
                back = r * np.sqrt((1 - cos) / np.maximum(1 + cos, 1e-9))
                good = (cos > math.cos(math.radians(SHARPEST))) & (t - back >= rules.end_leg) & (t - back <= most)
                good &= length[near] > back + rules.between
                near, unit, back = near[good], unit[good], back[good]
                if not len(near):
                    continue
                # The arc leaves the corner aside, so the leg is looked at from near its arc's end on.
                s = np.minimum(back, 0.8 * r)[:, None]
                walk = s + (length[near][:, None] - s) * np.linspace(0, 1, 2 + int(LINK_REACH / LINK_PROBE))
                clear = (self.task.map.room(corner + walk[..., None] * unit[:, None]) >= -self.slack).all(axis=1)
                inward = unit - axes[i]
                size = np.linalg.norm(inward, axis=1)[:, None]
                crest = np.hypot(r, back) - r  # from the corner to the middle of its arc
                middle = corner + crest[:, None] * inward / np.maximum(size, 1e-12)
                clear &= self.task.map.room(middle) >= -self.slack
                if clear.any():
                    near, unit = near[clear], unit[clear]
                    out.append(Link(int(i), corner, float(t), names[near], unit, length[near]))
        return out

    def _enter(self, leaving: list[list[Floats32]], links: list[Link]) -> None:
        """Lines that come from a start's axis by a free leg and turn into the lattice: two bends so far."""
        rules, r = self.task.rules, self.task.rules.radius
        self.entered = links
        for number, link in enumerate(links):
            first = np.arccos(np.clip(link.units @ self.task.starts[1][link.end], -1, 1))
            base = link.along + link.lengths + 2 * rules.bend_worth - self._saved(first)
            for d, c, turn, ok in self._turns_to(link.units):
                ok &= link.lengths >= r * np.tan(first / 2) + self.backs[c] + rules.between
                rows = np.nonzero(ok)[0]
                cost = base[rows] - self._saved(turn[rows])
                state = leaving[d][c].reshape(-1)
                better = cost < state[link.nodes[rows]] - 1e-3
                state[link.nodes[rows[better]]] = cost[better]
                if better.any():
                    if (d, c) not in self.entries:
                        self.entries[d, c] = np.full(state.shape, -1, dtype=np.int32)
                    self.entries[d, c][link.nodes[rows[better]]] = number

    def _turns_to(self, units: Floats) -> list[tuple[int, int, Floats, NDArray[np.bool_]]]:
        """For each direction and class: the turns between legs and the direction, and which are of that class."""
        out = []
        for d in range(len(self.turns)):
            turn = np.arccos(np.clip(units @ self.grid.units[d], -1, 1))
            for c, a in enumerate(self.angles):
                lower = math.radians(self.angles[c - 1]) if c else 0.0
                out.append((d, c, turn, (turn <= math.radians(a)) & (turn > lower)))
        return out

    def _link_goals(
        self, bends: int, arriving: list[list[Floats32]], links: list[Link], limit: float
    ) -> list[tuple[float, Floats]]:
        """Lines that turn from the lattice into a free leg to an end's axis: two bends more."""
        rules, r = self.task.rules, self.task.rules.radius
        out: list[tuple[float, Floats]] = []
        for link in links:
            last = np.arccos(np.clip(link.units @ self.task.ends[1][link.end], -1, 1))
            rest = link.along + link.lengths + 2 * rules.bend_worth - self._saved(last)
            best = (limit, 0, 0, -1)
            for d, c, turn, ok in self._turns_to(-link.units):
                ok &= link.lengths >= r * np.tan(last / 2) + r * np.tan(turn / 2) + rules.between
                if not ok.any():
                    continue
                total = np.where(ok, arriving[d][c].reshape(-1)[link.nodes] + rest - self._saved(turn), np.inf)
                n = int(np.argmin(total))
                if total[n] < best[0]:
                    best = (float(total[n]), d, c, n)
            cost, d, c, n = best
            if n >= 0:
                i, j, k = (int(v) for v in np.unravel_index(int(link.nodes[n]), self.lattice.shape))
                head = self._before(bends, d, c, (i, j, k))
                if head is not None:
                    line = [*head, self.grid.nodes[i, j, k], link.corner, self.task.ends[0][link.end]]
                    out.append((cost, np.array(line)))
        return sorted(out, key=lambda f: f[0])[:BEST]

    def _straight_goals(self, bends: int, limit: float) -> list[tuple[float, Floats]]:
        """Lines whose last leg runs along a direction into an end that lies on the lattice."""
        out = []
        for point, axis in zip(*self.task.ends[:2], strict=True):
            node, along = self.lattice.node_at(point), self.grid.units @ -axis
            if node is None or along.max() < 1 - 1e-12:
                continue
            got = self._into(bends, int(np.argmax(along)), node)
            if got is not None and got[0] < limit:
                out.append((got[0], np.array([*got[1], point])))
        return out

    def _into(self, bends: int, d: int, node: Node) -> tuple[float, list[Floats]] | None:
        layer, step = self.layers[bends][d], float(self.grid.lengths[d])
        best: tuple[float, int, Node] = (math.inf, 0, node)
        k, at = 0, node
        while True:
            # The last steps may lie in what the end does not count, so there the map is not asked.
            if k * step >= self.task.map.skip[1] and not np.isfinite(self.grid.edges[d][at]):
                break
            k, at = k + 1, self.lattice.ahead(node, d, -k - 1)
            if not self.lattice.holds(at):
                break
            for c, state in enumerate(layer):
                need = self.task.rules.end_leg + (self.backs[c] if c < len(self.angles) else 0.0)
                cost = float(state[at]) + k * step
                if k * step >= need - 1e-9 and cost < best[0]:
                    best = (cost, c, at)
        if not math.isfinite(best[0]):
            return None
        head = self._from(bends, d, best[1], best[2])
        return None if head is None else (best[0], head)

    # Back ---------------------------------------------------------------------------------------------------------

    def _origin(self, bends: int, d: int, c2: int, node: Node) -> tuple[float, int, Node]:
        """Cost, class and corner of the cheapest state from which a leg along d arrives at a corner to bend by c2."""
        layer = self.layers[bends][d]
        best: tuple[float, int, Node] = (math.inf, 0, node)
        for k in range(1, int(self.grid.runs[d][node]) + 1):
            at = self.lattice.ahead(node, d, -k)
            for c, state in enumerate(layer):
                cost = float(state[at]) + k * float(self.grid.lengths[d])
                if cost < best[0] and k >= self._least(d, c, c2):
                    best = (cost, c, at)
        return best

    def _before(self, bends: int, d: int, c2: int, node: Node) -> list[Floats] | None:
        """Corners, in order, of the cheapest line with so many bends that arrives at a corner along d to bend by c2."""
        cost, c, at = self._origin(bends, d, c2, node)
        return self._from(bends, d, c, at) if math.isfinite(cost) else None

    def _from(self, bends: int, d: int, c: int, node: Node) -> list[Floats] | None:
        """Corners of the line whose state leaves a corner along d after a bend of class c, that corner included."""
        if c == len(self.angles):
            return [self.picked[node]]
        here = self.grid.nodes[node]
        if bends == 2 and (d, c) in self.entries:
            number = int(self.entries[d, c][int(np.ravel_multi_index(node, self.lattice.shape))])
            if number >= 0:
                link = self.entered[number]
                return [self.task.starts[0][link.end], link.corner, here]
        value = float(self.layers[bends][d][c][node]) - self.task.rules.bend_worth
        for e in range(len(self.turns) if bends else 0):
            if self._class(self.turns[e, d]) != c:
                continue
            cost, _, _ = self._origin(bends - 1, e, c, node)
            if abs(cost - self.saved[e, d] - value) < _COST_EPS:
                head = self._before(bends - 1, e, c, node)
                if head is not None:
                    return [*head, here]
        return None
