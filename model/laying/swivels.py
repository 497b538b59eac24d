"""Turns of free swivels: which stand free, what a run may choose from, and what is set where no run decides.

Owns the angles of the fittings that may be turned. What stands free is asked of `reach`, so that a range told for a
port and the turns tried for its run are one; of the free turns, those that keep the wanted gaps come first. Chains
without a run are set to the middle of their widest free range, side by side so that none meets another where a
combination exists.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from elbowroom.model.geometry.envelopes import Margins, Rod, posed
from elbowroom.model.geometry.freespace import FREE
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.layout.identity import Port
from elbowroom.model.layout.layout import Gaps, piece_of
from elbowroom.model.loop.plumbing import Chain
from elbowroom.model.reach.bars_apart import clear
from elbowroom.model.reach.chains import Item, Postures, free_postures, grid, intervals, items
from elbowroom.model.reach.neighbours import GAP
from elbowroom.model.reach.rooms import Rooms, Site
from elbowroom.model.store import Store
from elbowroom.parts.vocabulary.arrays import Floats, Ints, Mask
from elbowroom.parts.vocabulary.pose import apply

Turns = tuple[float, ...]  # degrees of a chain's free swivels, in the chain's order

# deg between the turns that are asked, by how many swivels a chain has: some hundred to a thousand postures.
STEPS = {1: 1, 2: 15, 3: 30, 4: 60, 5: 90, 6: 120}
ROUND = 10  # deg: of a single swivel's free turns those at whole tens are offered, and the ends and middles of ranges
MOST = 48  # turns offered to a run at one end
NEAR = (1, 2, 3, 5, 7, 10, 14)  # deg either way looked at round a turn that was found
ASIDE = 40.0  # mm that a whole turn of the tube's direction counts for when turns are spread out
OPTIONS = 24  # turns of one chain tried beside its neighbours
MOST_STEPS = 20_000  # of the search for turns that go together


class Swivels:
    """A scene with all that stands for certain, asked about chains that may be turned."""

    def __init__(self, scene: Scene, store: Store) -> None:
        self.rooms = Rooms(scene, store)
        self.gaps: Gaps = scene.layout.gaps
        self._sites = {s.port: s for s in self.rooms.sites}
        self._free: dict[Port, Postures] = {}
        self._clear: dict[Port, Mask] = {}

    def parts(self, chain: Chain) -> tuple[Site, list[Item]]:
        """The chain's port, and its links as bars."""
        site = self._sites[chain.port]
        return site, items(chain.links, site)

    def free(self, chain: Chain) -> Postures:
        """The postures on the grid of STEPS that stand free and come in."""
        if chain.port not in self._free:
            site, parts = self.parts(chain)
            count = len(chain.free)
            found = free_postures(self.rooms, site, parts, [grid(STEPS[count])] * count)
            for k in range(count if not len(found) and count > 1 else 0):
                # Narrow windows: each swivel by single degrees, as the port's own trial looks for them.
                found = free_postures(self.rooms, site, parts, [grid(1 if i == k else 30) for i in range(count)])
                if len(found):
                    break
            self._free[chain.port] = found
        return self._free[chain.port]

    def clear(self, chain: Chain) -> Mask:
        """Which of the free postures keep the wanted gaps too."""
        if chain.port not in self._clear:
            self._clear[chain.port] = self._keeping(chain, self.free(chain))
        return self._clear[chain.port]

    def _keeping(self, chain: Chain, found: Postures) -> Mask:
        site, parts = self.parts(chain)
        space, special = self.rooms.standing, {}
        for s in self.rooms.scene.solids:
            pair = ("fitting", s.piece.part.family)
            wanted = self.gaps.families.get((min(pair), max(pair)), 0.0)
            special[s.name] = max(self.gaps.default, wanted, self.gaps.pieces.get(s.piece.name, 0.0))
            if s.body.keep_out is not None:
                special[s.name] = 0.0
        own = [n for n in space.names if piece_of(n) == site.piece.name]  # what it is screwed to it touches
        out = np.ones(len(found), dtype=bool)
        for one, base in zip(parts, found.links, strict=True):
            for rod in (*one.fixed, *one.turning):
                rows = np.nonzero(out)[0]
                out[rows] = space.met(posed(rod, base[rows]), Margins(self.gaps.default, special), own) == FREE
        return out

    # For runs -----------------------------------------------------------------------------------------------------

    def offered(self, chain: Chain, *, tight: bool = False) -> list[Turns]:
        """Turns to choose a run's end from: those that keep the wanted gaps, or (tight) the free ones that do not."""
        found, keeps = self.free(chain), self.clear(chain)
        rows = np.nonzero(keeps != tight)[0]
        return [_turns(r) for r in found.degrees[rows[self._some(found.take(rows))]]]

    @staticmethod
    def _some(found: Postures) -> Ints:
        """A few postures that stand for all: of one swivel whole tens and the ends and middles of its ranges."""
        if not len(found):
            return np.zeros(0, dtype=np.int64)
        if found.degrees.shape[1] == 1:
            here = found.degrees[:, 0]
            mask = np.zeros(360, dtype=bool)
            mask[here] = True
            picked = set(range(0, 360, ROUND))
            for a, b in intervals(mask, 1):
                picked |= {a % 360, b % 360, (a + b) // 2 % 360}
            rows: Ints = np.nonzero(np.isin(here, list(picked)))[0]
            return rows
        ends = found.links[-1] if found.ends is None else found.ends
        return _spread(np.hstack([ends[:, :3, 3], ASIDE * ends[:, :3, 2]]), MOST)

    def near(self, chain: Chain, turns: Turns) -> list[Turns]:
        """A turn that was found and free ones round it, each swivel by itself; they keep the gaps where it does."""
        site, parts = self.parts(chain)
        here = [np.array([v]) for v in turns]
        kept = bool(self._keeping(chain, free_postures(self.rooms, site, parts, here, judge=False)).all())
        out = [turns]
        for k, v in enumerate(turns):
            some = np.array([(v + sign * off) % 360 for off in NEAR for sign in (-1, 1)])
            found = free_postures(self.rooms, site, parts, [*here[:k], some, *here[k + 1 :]])
            if kept:
                found = found.take(self._keeping(chain, found))
            out += [_turns(row) for row in found.degrees]
        return out

    # Where no run decides -----------------------------------------------------------------------------------------

    def options(self, chain: Chain) -> list[Turns]:
        """The turns a chain may be set to, best first: the middle of the widest free range, then outward from it."""
        found = self.free(chain)
        if not len(found):
            return []
        keeps = self.clear(chain)
        some = found.take(keeps) if keeps.any() else found
        order = _middle_first(some.degrees[:, 0]) if some.degrees.shape[1] == 1 else _roomiest(some.degrees)
        return [_turns(some.degrees[r]) for r in order[:OPTIONS]]

    def bars(self, chain: Chain, turns: Turns) -> tuple[Rod, ...]:
        """A chain turned so, as bars in case coordinates."""
        site, parts = self.parts(chain)
        p = free_postures(self.rooms, site, parts, [np.array([v]) for v in turns], judge=False)
        out = []
        for one, base in zip(parts, p.links, strict=True):
            for r in (*one.fixed, *one.turning):
                a, b = apply(base[0], [r.start, r.end]).tolist()
                out.append(Rod((a[0], a[1], a[2]), (b[0], b[1], b[2]), r.radius, r.round_ends))
        return tuple(out)


def _turns(row: Ints | Floats) -> Turns:
    return tuple(float(v) for v in row)


def _spread(places: Floats, most: int) -> Ints:
    """Rows of places that lie far from one another, the first among them; in their order."""
    if len(places) <= most:
        return np.arange(len(places))
    picked = [0]
    far = np.linalg.norm(places - places[0], axis=1)
    while len(picked) < most:
        k = int(np.argmax(far))
        picked.append(k)
        far = np.minimum(far, np.linalg.norm(places - places[k], axis=1))
    return np.array(sorted(picked), dtype=np.int64)


def _middle_first(degrees: Ints) -> list[int]:
    """Rows of a single swivel's free degrees: the middle of the widest range, then outward through it in steps, then
    the middles of the others.
    """
    mask = np.zeros(360, dtype=bool)
    mask[degrees] = True
    row = {int(d): i for i, d in enumerate(degrees)}
    out: list[int] = []
    wide = sorted(intervals(mask, 1), key=lambda s: (s[0] - s[1], s[0]))
    for a, b in wide:
        middle, half = (a + b) // 2, (b - a) // 2
        step = max(1, half // 8)
        for off in range(0, half + 1, step) if (a, b) == wide[0] else (0, half):
            for at in dict.fromkeys((middle + off, middle - off)):
                if (k := row.get(at % 360)) is not None and k not in out:
                    out.append(k)
    return out


def _roomiest(degrees: Ints) -> list[int]:
    """Rows of several swivels' free degrees, those with most free ones round them first."""
    step = STEPS[degrees.shape[1]]
    off = np.abs((degrees[:, None] - degrees[None] + 180) % 360 - 180).max(axis=2)
    count = (off <= 1.5 * step).sum(axis=1)
    return [int(k) for k in np.argsort(-count, kind="stable")]


@dataclass(frozen=True, slots=True)
class Settled:
    """What chains without a run are set to, by port; and the ports at which no turn stands free."""

    turns: Mapping[Port, Turns]
    stuck: tuple[Port, ...]


def settle(swivels: Swivels, chains: Sequence[Chain]) -> Settled:
    """Turns for chains that no run decides: each the best it can be, so that as many as possible go together."""
    options = {c.port: [(t, swivels.bars(c, t)) for t in swivels.options(c)] for c in chains}
    order = sorted((c.port for c in chains if options[c.port]), key=lambda p: (len(options[p]), p))
    gap = max(GAP, swivels.gaps.default)
    best: dict[Port, int] = {}
    now: dict[Port, int] = {}
    steps = 0

    def fits(port: Port, k: int) -> bool:
        mine = options[port][k][1]
        return all(clear(mine, options[p][j][1], gap) for p, j in now.items())

    def search(at: int) -> bool:
        nonlocal best, steps
        if len(now) > len(best):
            best = dict(now)
        if at == len(order):
            return len(now) == len(order)
        for k in range(len(options[order[at]])):
            steps += 1
            if steps > MOST_STEPS:
                return True
            if fits(order[at], k):
                now[order[at]] = k
                if search(at + 1):
                    return True
                del now[order[at]]
        return False

    search(0)
    now = dict(best)
    for port in order:  # where not all go together the rest stand as they would alone
        if port not in now:
            now[port] = next((k for k in range(len(options[port])) if fits(port, k)), 0)
    turns = {p: options[p][now[p]][0] for p in order}
    return Settled(turns, tuple(c.port for c in chains if not options[c.port]))
