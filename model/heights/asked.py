"""One question of access as a function of the height: does a port's chain go on, does a driver get to a joint's screws?

Owns the proofs. At one height a question is asked twice over: with every obstacle widened by what it can move within a
stretch around that height, where a yes holds for all of the stretch, and with every bar thinned by as much, where a no
does. A port that is at fault with all that moves taken away is at fault at every height. Leaves the search to `access`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Protocol

import numpy as np

from elbowroom.model.geometry.envelopes import Rods, obstacles_of
from elbowroom.model.geometry.freespace import FREE, Space
from elbowroom.model.geometry.scene import Scene, Solid
from elbowroom.model.heights.limits import Question
from elbowroom.model.heights.moved import Moved
from elbowroom.model.heights.ranges import Stretch
from elbowroom.model.layout.identity import Port
from elbowroom.model.layout.layout import piece_of
from elbowroom.model.reach.keep import proved
from elbowroom.model.reach.passing import cannot, passes
from elbowroom.model.reach.rooms import LIFT, LIFT_OVER, Rooms, Site
from elbowroom.model.reach.verdicts import Wanted
from elbowroom.model.screws.choosing import Chosen
from elbowroom.model.screws.drivers import CLEAR_MM, KEY_MM, KEY_ROOM_MM, over_head
from elbowroom.model.store import Store
from elbowroom.parts.screw.screw_tables import DRIVER
from elbowroom.parts.vocabulary.arrays import Floats, Mask

_HAND = 60.0  # mm around a chain with its tube in which something could be in its way: a fingertip is 16 wide
_SLIVER = 1e-6  # mm


class Asked(Protocol):
    """A question over heights near h: `fine` proves a yes, `bad` a no, for all that lie within `half` mm of it."""

    name: str
    question: Question
    parts: tuple[str, ...]

    def fine(self, h: float, half: float) -> bool: ...
    def bad(self, h: float, half: float) -> bool: ...


class _Near:
    """The solids that come near a box that stands still in the coordinates of what is asked about, at any height."""

    def __init__(
        self,
        moved: Moved,
        rates: Callable[[Solid], float],
        velocity: Floats,
        lo: Floats,
        hi: Floats,
        keep: Sequence[int],
    ) -> None:
        self.moved, self.kept, self.rate = moved, list[int](), dict[int, float]()
        for k in keep:
            a, b = (self._at(k, h) for h in (moved.lo, moved.hi))
            back = velocity * (moved.hi - moved.lo)
            low = np.minimum(a.lo, b.lo - back) - a.mesh.bound
            high = np.maximum(a.hi, b.hi - back) + a.mesh.bound
            if (low <= hi).all() and (high >= lo).all():
                self.kept.append(k)
                self.rate[k] = rates(moved.scene.solids[k])
        self.moving = frozenset(moved.scene.solids[k].name for k in self.kept if self.rate[k] > 0)

    def _at(self, k: int, h: float) -> Solid:
        stretched = self.moved.scene.solids[k].piece.part.family in ("riser", "spacer")
        return self.moved.stretched(k, h) if stretched else self.moved.solid(k, h)

    def solids(self, h: float, half: float, *, still: bool = False) -> tuple[Solid, ...]:
        """As they stand at height h, each with what it moves within `half` mm of height as more of bound. still: only
        those that do not move at all.
        """
        out = []
        for k in self.kept:
            r = self.rate[k] * half
            if still and (self.rate[k] > 0 or self.moved.scene.solids[k].piece.part.small):
                continue
            s = self._at(k, h)
            out.append(
                s if r == 0 else replace(s, mesh=replace(s.mesh, bound=s.mesh.bound + r), lo=s.lo - r, hi=s.hi + r)
            )
        return tuple(out)


class OfPort:
    question: Question = "port-reach"

    def __init__(self, moved: Moved, port: Port, wanted: Wanted, store: Store) -> None:
        self.moved, self.port, self.wanted, self.store = moved, port, wanted, store
        self.name = str(port)
        self.parts: tuple[str, ...] = (port.piece,)
        self.piece = moved.layout.piece(port.piece)
        own = [s.mesh.bound for s in moved.scene.solids if s.piece.name == port.piece and s.body.keep_out is None]
        self.lift = max(LIFT, max(own, default=0.0) + LIFT_OVER)
        links, tube = wanted.links, wanted.tubing
        out = sum(max(li.fitting.reach_length, li.fitting.swing) for li in links) + _HAND
        if tube is not None:
            insertion = float(links[-1].fitting.insertion)
            out += insertion + tube.stock.straight_leg(insertion) + 2 * tube.radius + tube.stock.od
        at = self.piece.frame_pose(port.frame)[:3, 3]
        mine = self.piece.name
        every = range(len(moved.scene.solids))

        def rate(s: Solid) -> float:
            return 0.0 if s.piece.name == mine else moved.rate(mine, s.piece.name)

        self.near = _Near(moved, rate, moved.velocity[mine], at - out, at + out, every)
        self.moving = self.near.moving

    def _rooms(self, h: float, half: float, less: float = 0.0, *, still: bool = False) -> tuple[Rooms, Site]:
        solids = self.near.solids(h, 0.0 if less > 0 else half, still=still)
        rooms = Rooms(Scene(self.moved.layout, solids), self.store, less=less)
        piece = self.moved.piece(self.piece, h)
        frame = piece.part.frame(self.port.frame)
        return rooms, Site(self.port, piece, frame, piece.frame_pose(self.port.frame), self.lift)

    def never(self) -> bool:
        """Whether it is at fault with all taken away that moves against it."""
        rooms, site = self._rooms(self.moved.lo, 0.0, still=True)
        return not proved(rooms, site, self.wanted, (), lambda: passes(rooms, site, self.wanted))

    def fine(self, h: float, half: float) -> bool:
        rooms, site = self._rooms(h, half)
        return proved(rooms, site, self.wanted, self.moving, lambda: passes(rooms, site, self.wanted, self.moving))

    def bad(self, h: float, half: float) -> bool:
        most = max((r for r in self.near.rate.values()), default=0.0)
        rooms, site = self._rooms(h, half, max(most * half, _SLIVER))
        return proved(rooms, site, self.wanted, ("cannot",), lambda: cannot(rooms, site, self.wanted))


class OfJoint:
    """Whether a driver, or at least a slim key, gets at the screws of a joint: what stands in the way for good is the
    case and what the screws hold; anything else goes in later.
    """

    question: Question = "tool-access"

    def __init__(self, moved: Moved, first: Chosen, last: Chosen, between: Stretch) -> None:
        """first, last: the same screws at the ends of a stretch."""
        self.moved = moved
        self.name = first.joint.name
        starts = np.array([over_head(first, row) for row in first.rows])
        ends = np.array([over_head(last, row) for row in last.rows])
        self.ways = np.array([first.joint.axes[row].out for row in first.rows])
        self.velocity = (ends[0] - starts[0]) / (between[1] - between[0])
        self.starts = starts - self.velocity * (between[0] - moved.lo)  # at the least height of all
        self.parts: tuple[str, ...] = (first.joint.axes[0].piece.name,)
        sunk = first.joint.axes[first.rows[0]].passed[-1].opening if first.joint.axes[first.rows[0]].passed else None
        self.fixed = set() if sunk is not None and sunk.under_head is not None else {p.name for p in first.pieces}
        keep = [
            k for k, s in enumerate(moved.scene.solids)
            if s.body.keep_out is None and not s.piece.part.small
            and s.body.name not in s.piece.part.comes_off
        ]  # fmt: skip

        def rate(s: Solid) -> float:
            off = float(np.linalg.norm(moved.velocity[s.piece.name] - self.velocity))
            return (off if off > _SLIVER else 0.0) + moved.growth(s.piece.name)

        path = np.concatenate([self.starts, self.starts + DRIVER.length * self.ways])
        lo, hi = path.min(axis=0) - DRIVER.diameter / 2, path.max(axis=0) + DRIVER.diameter / 2
        self.near = _Near(moved, rate, self.velocity, lo, hi, keep)
        # Only what is there for good can be a fault, and only what moves can make one at some heights alone.
        self.moving = frozenset(n for n in self.near.moving if self._stays(piece_of(n)))

    def _stays(self, name: str) -> bool:
        return bool(self.fixed) and (name == "case" or name in self.fixed)

    def _free(self, solids: Sequence[Solid], h: float, radius: float, room: float, less: float = 0.0) -> Mask:
        starts = self.starts + self.velocity * (h - self.moved.lo)
        bars = Rods(starts + CLEAR_MM * self.ways, starts + room * self.ways, np.full(len(starts), radius), False)
        found = Space(obstacles_of(Scene(self.moved.layout, tuple(solids))), less=less).met(bars)
        free: Mask = found == FREE
        return free

    def fine(self, h: float, half: float) -> bool:
        solids = self.near.solids(h, half)
        staying = [s for s in solids if self._stays(s.piece.name)]
        driver = self._free(staying, h, DRIVER.diameter / 2, DRIVER.length)
        return bool((driver | self._free(solids, h, KEY_MM / 2, KEY_ROOM_MM)).all())

    def bad(self, h: float, half: float) -> bool:
        wide = self.near.solids(h, half)
        other = [s for s in wide if not self._stays(s.piece.name)]
        alone = self._free(other, h, DRIVER.diameter / 2, DRIVER.length)  # whatever is first in the way stays there
        less = max(max(self.near.rate.values(), default=0.0) * half, _SLIVER)
        staying = [s for s in self.near.solids(h, 0.0) if self._stays(s.piece.name)]
        return bool((alone & ~self._free(staying, h, KEY_MM / 2, KEY_ROOM_MM, less)).any())
