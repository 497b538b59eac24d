"""At which heights drivers get to the screws and the fittings meant for a port go on: proved over stretches of height.

Owns the questions (a port, a joint) that something moves against, and the search over a range for each. At one height a
question is asked twice over: with every obstacle widened by what it can move within a stretch around that height, where
a yes holds for all of the stretch, and with every bar thinned by as much, where a no does. What neither decides is
halved, down to `EDGE_MM` or until `MOST_ASKED` answers are given; what is then open is told as open and counts as at
fault. A port that is at fault with all that moves taken away is at fault at every height. Leaves the whole check's word
on a height to `bearing_out`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from elbowroom.model import reach
from elbowroom.model.checks.drivers import CLEAR_MM, KEY_MM, KEY_ROOM_MM, REMOVABLE, over_head
from elbowroom.model.envelopes import Rods, obstacles_of
from elbowroom.model.freespace import FREE, Space
from elbowroom.model.heights.limits import Limit, Question
from elbowroom.model.heights.looking import closed
from elbowroom.model.heights.moved import Moved
from elbowroom.model.heights.ranges import Stretch, left, merged
from elbowroom.model.heights.stages import SAME_MM, Stages
from elbowroom.model.plumbing import Port
from elbowroom.model.reach.passing import cannot, passes
from elbowroom.model.reach.rooms import LIFT, LIFT_OVER, Rooms, Site
from elbowroom.model.reach.verdicts import Wanted
from elbowroom.model.scene import Scene, Solid
from elbowroom.model.screws.choosing import Chosen
from elbowroom.model.store import Store
from elbowroom.parts.screw_tables import DRIVER

Array = NDArray[np.float64]
EDGE_MM = 0.02  # to which the edge of what drivers and fittings allow is halved down: under the finest layer (P)
MOST_ASKED = 600  # answers in one search, a few hundredths of a second each: some twenty seconds. By choice
MOST_STRETCHES = 40  # stretches of other screws in one search, some 0.3 s each
_HAND = 60.0  # mm around a chain with its tube in which something could be in its way: a fingertip is 16 wide
_SLIVER = 1e-6  # mm
_LEAST = 1e-4  # mm: a stretch no longer than this is read with the cell beside it


@dataclass(frozen=True, slots=True)
class Reached:
    """Where drivers and fittings get in: stretches, what stands against the rest (`limits`, those that are open among
    them), what no height mends (`aside`), and the height from which on nothing was asked.
    """

    fits: tuple[Stretch, ...]
    limits: tuple[Limit, ...]
    aside: tuple[Limit, ...] = ()
    ended: float | None = None


class _Asked(Protocol):
    """A question over heights near h: `fine` proves a yes, `bad` a no, for all that lie within `half` mm of it."""

    name: str
    question: Question
    parts: tuple[str, ...]

    def fine(self, h: float, half: float) -> bool: ...
    def bad(self, h: float, half: float) -> bool: ...


class Access:
    """Drivers and fittings of a layout with its screws, at any height. told: a fault's words at a height, by the name
    of what is asked (a port or a joint).
    """

    def __init__(self, stages: Stages, told: Callable[[float], dict[str, str]], store: Store) -> None:
        self.stages, self.told, self.store = stages, told, store
        self.left = MOST_ASKED
        self.ports: frozenset[str] = frozenset()  # pieces whose ports something moves against

    def over(self, fits: Sequence[Stretch], enough: Callable[[Sequence[Stretch]], bool]) -> Reached:
        """What of some stretches is left. enough: whether a height can be taken from these, so that stretches beyond
        the one it lies in need not be asked.
        """
        bad: list[Limit] = []
        aside: dict[str, Limit] = {}
        count, ended = 0, None
        done: list[Stretch] = []
        cells: list[Stretch] = []  # between two stretches of different screws: read, not asked about
        for a, b in fits:
            if done and enough(_left(done, closed(bad, cells))):
                ended = a
                break
            at = a
            while at < b - _SLIVER:
                if count >= MOST_STRETCHES or self.left <= 0:
                    ended = at
                    break
                count += 1
                end = self.stages.alike_from(at, b)
                if end - at > _LEAST:
                    new, never = self._stretch(at, end)
                    bad += new
                    aside |= {x.names[0]: x for x in never}
                if end >= b - _SLIVER:
                    break
                cells.append((end, min(end + SAME_MM, b)))
                at = cells[-1][1]
            done.append((a, b if ended is None else ended))
            if ended is not None:
                break
        bad = _joined(closed(bad, cells))
        return Reached(tuple(_left(done, bad)), tuple(bad), tuple(aside.values()), ended)

    def _stretch(self, a: float, b: float) -> tuple[list[Limit], list[Limit]]:
        """The limits of a stretch in which the screws are alike, and what is at fault whatever the height."""
        layouts = (self.stages.screwed(a), self.stages.screwed((a + b) / 2), self.stages.screwed(b))
        moved = Moved(a, b, layouts, self.store)
        found: list[Limit] = []
        never: list[Limit] = []
        every: list[_Asked] = [*self._ports(moved), *self._joints(moved, a, b)]
        for asked in every:
            if isinstance(asked, _OfPort) and asked.never():
                said = self.told(a).get(asked.name, f"{asked.name} cannot be used")
                lo, hi = self.stages.moved.lo, self.stages.moved.hi
                never.append(Limit(asked.question, asked.parts, (asked.name, asked.name), None, ((lo, hi),), said=said))
            else:
                found += self._search(asked, a, b)
        return found, never

    def _search(self, asked: _Asked, a: float, b: float) -> list[Limit]:
        bad: list[Stretch] = []
        open_: list[Stretch] = []
        rest = [(a, b)]
        while rest:
            lo, hi = rest.pop()
            h, half = (lo + hi) / 2, (hi - lo) / 2
            if self.left <= 0:
                open_.append((lo, hi))
                continue
            self.left -= 2
            if asked.fine(h, half):
                continue
            if asked.bad(h, half):
                bad.append((lo, hi))
            elif hi - lo <= EDGE_MM:
                open_.append((lo, hi))
            else:
                rest += [(h, hi), (lo, h)]
        out: list[Limit] = []
        names = (asked.name, asked.name)
        said = ""
        for start, end in merged([*bad, *open_]):
            sure = [s for s in merged(bad) if start - _SLIVER <= s[0] and s[1] <= end + _SLIVER]
            unread = (end - start) - sum(y - x for x, y in sure)
            if sure:
                x, y = max(sure, key=lambda s: s[1] - s[0])
                said = self.told(at := round((x + y) / 2, 1)).get(asked.name, "")
                said = f"at {at:g} mm, {said}" if said else ""
            if not sure or not said:
                said = f"it was not found out whether {asked.name} can be got at"
            wide = unread > 4 * EDGE_MM
            out.append(
                Limit(asked.question, asked.parts, names, None, ((start, end),), unread if wide else 0.0,
                      unread if wide else 0.0, said=said)
            )  # fmt: skip
        return out

    # What is asked ----------------------------------------------------------------------------------------------------

    def _ports(self, moved: Moved) -> list[_OfPort]:
        plumbing = self.stages.plumbing
        if plumbing is None:
            return []
        wanted = reach.meant(plumbing)
        names = {p.name for p in moved.layout.pieces}
        out = []
        for port, w in wanted.items():
            if w.links and port.piece in names:
                one = _OfPort(moved, port, w, self.store)
                if one.moving or port.piece in self.stages.movers:
                    out.append(one)
        self.ports |= {o.port.piece for o in out}
        return out

    def _joints(self, moved: Moved, a: float, b: float) -> list[_OfJoint]:
        ends = [{(c.joint.name, c.rows): c for c in self.stages.chosen(h)} for h in (a, b)]
        both = [(c, ends[1][key]) for key, c in ends[0].items() if key in ends[1]]
        driven = [(c, d) for c, d in both if c.length is not None and not c.why and c.joint.ends != "stud"]
        found = [_OfJoint(moved, c, d) for c, d in driven]
        return [j for j in found if j.moving]


def _left(done: Sequence[Stretch], bad: Sequence[Limit]) -> list[Stretch]:
    every = [s for x in bad for s in x.bad]
    return [s for a, b in done if b - a > _SLIVER for s in left(every, a, b)]


def _joined(found: Sequence[Limit]) -> list[Limit]:
    """Limits about the same thing as one, where the words are alike."""
    out: dict[tuple[str, str], Limit] = {}
    for x in found:
        key = (x.names[0], x.said)
        if key in out:
            one = out[key]
            bad = tuple(merged([*one.bad, *x.bad], SAME_MM * 1.01))
            x = replace(one, bad=bad, read=max(one.read, x.read), unread=one.unread + x.unread)
        out[key] = x
    return list(out.values())


class _Near:
    """The solids that come near a box that stands still in the coordinates of what is asked about, at any height."""

    def __init__(
        self, moved: Moved, rates: Callable[[Solid], float], velocity: Array, lo: Array, hi: Array, keep: Sequence[int]
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


class _OfPort:
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
        return not passes(*self._rooms(self.moved.lo, 0.0, still=True), self.wanted)

    def fine(self, h: float, half: float) -> bool:
        return passes(*self._rooms(h, half), self.wanted, self.moving)

    def bad(self, h: float, half: float) -> bool:
        most = max((r for r in self.near.rate.values()), default=0.0)
        return cannot(*self._rooms(h, half, max(most * half, _SLIVER)), self.wanted)


class _OfJoint:
    """Whether a driver, or at least a slim key, gets at the screws of a joint: what stands in the way for good is the
    case and what the screws hold; anything else goes in later.
    """

    question: Question = "tool-access"

    def __init__(self, moved: Moved, first: Chosen, last: Chosen) -> None:
        self.moved = moved
        self.name = first.joint.name
        self.starts = np.array([over_head(first, row) for row in first.rows])
        ends = np.array([over_head(last, row) for row in last.rows])
        self.ways = np.array([first.joint.axes[row].out for row in first.rows])
        high = moved.hi - moved.lo
        self.velocity = (ends[0] - self.starts[0]) / high if high > 0 else np.zeros(3)
        self.parts: tuple[str, ...] = (first.joint.axes[0].piece.name,)
        sunk = first.joint.axes[first.rows[0]].passed[-1].opening if first.joint.axes[first.rows[0]].passed else None
        self.fixed = set() if sunk is not None and sunk.under_head is not None else {p.name for p in first.pieces}
        room = DRIVER.length + DRIVER.diameter
        keep = [
            k for k, s in enumerate(moved.scene.solids)
            if s.body.keep_out is None and not s.piece.part.small
            and not (s.piece.part.family == "case" and s.body.name in REMOVABLE)
        ]  # fmt: skip

        def rate(s: Solid) -> float:
            off = float(np.linalg.norm(moved.velocity[s.piece.name] - self.velocity))
            return (off if off > _SLIVER else 0.0) + moved.growth(s.piece.name)

        self.near = _Near(
            moved, rate, self.velocity, self.starts.min(axis=0) - room, self.starts.max(axis=0) + room, keep
        )
        # Only what is there for good can be a fault, and only what moves can make one at some heights alone.
        self.moving = frozenset(n for n in self.near.moving if self._stays(n.split("/")[0]))

    def _stays(self, name: str) -> bool:
        return bool(self.fixed) and (name == "case" or name in self.fixed)

    def _free(
        self, solids: Sequence[Solid], h: float, radius: float, room: float, less: float = 0.0
    ) -> NDArray[np.bool_]:
        starts = self.starts + self.velocity * (h - self.moved.lo)
        bars = Rods(starts + CLEAR_MM * self.ways, starts + room * self.ways, np.full(len(starts), radius), False)
        found = Space(obstacles_of(Scene(self.moved.layout, tuple(solids))), less=less).met(bars)
        free: NDArray[np.bool_] = found == FREE
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
