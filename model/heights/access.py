"""At which heights drivers get to the screws and the fittings meant for a port go on: proved over stretches of height.

Owns which ports and joints are asked about, and the search over a range for each: what is neither a proved yes nor a
proved no over a stretch (`asked`) is halved, down to `EDGE_MM` or until `MOST_ASKED` answers are given; what is then
open is told as open and counts as at fault. Leaves the whole check's word on a height to `bearing_out`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from elbowroom.model import reach
from elbowroom.model.heights.asked import Asked, OfJoint, OfPort
from elbowroom.model.heights.limits import Limit
from elbowroom.model.heights.looking import closed
from elbowroom.model.heights.moved import Moved
from elbowroom.model.heights.ranges import Stretch, left, merged
from elbowroom.model.heights.stages import SAME_MM, Stages
from elbowroom.model.layout.identity import Port
from elbowroom.model.reach.verdicts import Wanted
from elbowroom.model.store import Store

EDGE_MM = 0.02  # to which the edge of what drivers and fittings allow is halved down: under the finest layer (P)
MOST_ASKED = 600  # answers in one search, a few hundredths of a second each: some twenty seconds. By choice
MOST_STRETCHES = 40  # stretches of other screws in one search, some 0.3 s each
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


class Access:
    """Drivers and fittings of a layout with its screws, at any height. told: a fault's words at a height, by the name
    of what is asked (a port, of these pieces besides those of the moving parts, or a joint).
    """

    def __init__(self, stages: Stages, told: Callable[[float, frozenset[str]], dict[str, str]], store: Store) -> None:
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
                end, after = self.stages.alike_from(at, b)
                if end - at > _LEAST:
                    new, never = self._stretch(at, end)
                    bad += new
                    aside |= {x.names[0]: x for x in never}
                if end >= b - _SLIVER:
                    break
                cells.append((end, after))
                at = cells[-1][1]
            done.append((a, b if ended is None else ended))
            if ended is not None:
                break
        bad = _joined(closed(bad, cells))
        return Reached(tuple(_left(done, bad)), tuple(bad), tuple(aside.values()), ended)

    def _stretch(self, a: float, b: float) -> tuple[list[Limit], list[Limit]]:
        """The limits of a stretch in which the screws are alike, and what is at fault whatever the height."""
        every: list[Asked] = [*self._ports(a, b), *self._joints(a, b)]
        found: list[Limit] = []
        never: list[Limit] = []
        for asked in every:
            if isinstance(asked, OfPort) and asked.never():
                said = self.told(a, self.ports).get(asked.name, f"{asked.name} cannot be used")
                lo, hi = self.stages.moved.lo, self.stages.moved.hi
                never.append(Limit(asked.question, asked.parts, (asked.name, asked.name), None, ((lo, hi),), said=said))
            else:
                found += self._search(asked, a, b)
        return found, never

    def _search(self, asked: Asked, a: float, b: float) -> list[Limit]:
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
                said = self.told(at := round((x + y) / 2, 1), self.ports).get(asked.name, "")
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

    @cached_property
    def _wanted(self) -> dict[Port, Wanted]:
        """What is meant for those ports that stand on what moves or near it."""
        plumbing, bare = self.stages.plumbing, self.stages.moved
        if plumbing is None:
            return {}
        names = {p.name for p in bare.layout.pieces}
        found = {
            port: w
            for port, w in reach.meant(plumbing).items()
            if w.links and port.piece in names
            and (port.piece in self.stages.movers or OfPort(bare, port, w, self.store).moving)
        }  # fmt: skip
        self.ports = frozenset(port.piece for port in found)
        return found

    def _ports(self, a: float, b: float) -> list[OfPort]:
        if not self._wanted:
            return []
        layouts = (self.stages.screwed(a), self.stages.screwed((a + b) / 2), self.stages.screwed(b))
        moved = Moved(a, b, layouts, self.store)
        return [OfPort(moved, port, w, self.store) for port, w in self._wanted.items()]

    def _joints(self, a: float, b: float) -> list[OfJoint]:
        """The joints that something moves against which is there for good; screws themselves are in no driver's way."""
        ends = [{(c.joint.name, c.rows): c for c in self.stages.chosen(h)} for h in (a, b)]
        both = [(c, ends[1][key]) for key, c in ends[0].items() if key in ends[1]]
        driven = [(c, d) for c, d in both if c.length is not None and not c.why and c.joint.ends != "stud"]
        found = [OfJoint(self.stages.moved, c, d, (a, b)) for c, d in driven]
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
