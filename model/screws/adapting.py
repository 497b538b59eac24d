"""The adapter plate that would join a part's screw holes to a panel's slots where they do not meet.

Owns planning it: which of the part's holes and which slots get a screw, where on its slot each panel screw goes so that
no two holes of the plate come too near each other, how thick the plate must be, and the reason where there is none.
Holes of the part get a clearance hole with its head sunk in the face that lies on the panel; panel screws go into
inserts or threads of the plate. Leaves the plate itself to `made.adapter`, and what holds to `holding`.

All places are in one plane with z from the panel to the part: x and y as seen looking at the plate's face a.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

from pydantic import ValidationError

from elbowroom.model.screws.holding import Holding, Point, holding
from elbowroom.model.screws.slot import Slot
from elbowroom.parts.made.adapter import FLOOR, Adapter
from elbowroom.parts.made.adapter_holes import AdapterHole, AirOpening
from elbowroom.parts.screw.captive import INSERTS
from elbowroom.parts.screw.screw_tables import ENGAGEMENT, Style, head
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.threads import thread
from elbowroom.parts.vocabulary.tolerances import NO_LENGTH, ROUNDING
from elbowroom.parts.vocabulary.webs import Spot

Span = tuple[float, float]
Rectangle = tuple[Point, Point]
Stuff = Literal["printed", "plastic", "acrylic", "aluminium"]

# All common practice, no source (P).
WEB = 2.0  # mm of wall between two holes of the plate, to its outline and to its openings
HEAD_PLAY = 0.8  # mm a recess is wider than the head in it
HEAD_SUNK = 0.3  # mm a head lies below the face
UNDER_HEAD = 2.0  # mm of plate under a head
STEP = 0.2  # mm, layers a printed plate is rounded up to
STOCK = (3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0)  # mm, sheets that are sold
CORNER = 3.0  # mm, radius of the plate's corners
RANK = ("does not hold", "holds poorly", "holds")
PARALLEL = 1e-12  # sine below which two straights do not cross
ROUNDING_MM = 1e-6  # mm: a stretch is taken shorter by it at each cut, so that sums of dimensions keep the wall


@dataclass(frozen=True, slots=True)
class Planned:
    """A plate and what it does, or the reason why there is none.

    centre: of the plate, in the plane of points and slots. points, slots: indices of those that get a screw, in the
    order of the plate's holes_a and holes_b. part_side, panel_side: what holds by them.
    """

    part: Adapter | None
    reason: str
    centre: Point = (0.0, 0.0)
    points: tuple[int, ...] = ()
    slots: tuple[int, ...] = ()
    part_side: Holding | None = None
    panel_side: Holding | None = None


def adapter_for(
    points: Sequence[Point],
    slots: Sequence[Slot],
    *,
    screw: str = "M3",
    panel_screw: str | None = None,
    room: Rectangle | None = None,
    openings: Sequence[AirOpening] = (),
    shut: Sequence[Sequence[Span]] = (),
    material: Stuff = "printed",
    style: Style = "pan",
    diagonal: bool = False,
) -> Planned:
    """The plate between a part with threaded holes `screw` at `points` and a panel with `slots`.

    panel_screw: thread of the screws through the panel; left out: `screw`. room: what the plate may fill, lower and
    upper corner. openings: for the air, placed in this plane; a plate without any is closed. shut: for each slot the
    stretches of its centre line, mm from its first end, where something stands in a head's way. diagonal: as in
    `holding`. Raises KeyError for a screw of no known thread or head.
    """
    return _Plan(points, slots, screw, panel_screw or screw, room, openings, material, style, diagonal, shut).made()


class _Plan:
    def __init__(
        self, points: Sequence[Point], slots: Sequence[Slot], screw: str, panel_screw: str, room: Rectangle | None,
        openings: Sequence[AirOpening], material: Stuff, style: Style, diagonal: bool, shut: Sequence[Sequence[Span]],
    ) -> None:  # fmt: skip
        self.points = [(float(x), float(y)) for x, y in points]
        self.slots, self.openings, self.diagonal = list(slots), list(openings), diagonal
        self.material: Stuff = material
        self.screw, self.panel_screw = thread(screw), thread(panel_screw)
        own = head(style, screw)
        self.clearance = self.screw.clearance["medium"]
        self.recess, self.sunk = own.diameter + HEAD_PLAY, own.height + HEAD_SUNK
        self.insert = material in ("printed", "plastic") and panel_screw in INSERTS
        self.bore = INSERTS[panel_screw].pilot if self.insert else self.panel_screw.bore
        self.room = room or ((-math.inf, -math.inf), (math.inf, math.inf))
        web = max(WEB, INSERTS[panel_screw].wall if self.insert else 0.0)
        # How far apart axes must be, by which side their holes are for, and from room and openings.
        self.part_part = self.recess + WEB
        self.part_panel = self.recess / 2 + self.bore / 2 + web
        self.panel_panel = self.bore + web
        self.part_edge, self.panel_edge = self.recess / 2 + WEB, self.bore / 2 + web
        self.scores: dict[frozenset[int], tuple[float, ...]] = {}
        self.free = [self._free(s) for s in self.slots]
        if shut:
            self.free = [_without(free, cuts) for free, cuts in zip(self.free, shut, strict=True)]
        self.blocked = [[_near(s, (p, p, 0.0), self.part_panel) for p in self.points] for s in self.slots]

    def made(self) -> Planned:
        widest = max((s.width for s in self.slots), default=0.0)
        if widest < self.panel_screw.major:
            said = f"{widest:g} mm at most" if self.slots else "there is none"
            return Planned(None, f"no slot of the panel lets a screw of {self.panel_screw.name} pass: {said}")
        usable = self._usable()
        if not usable or not any(self.free):
            what = "hole of the part" if not usable else "slot of the panel"
            return Planned(None, f"no {what} lies where the plate has room for it")
        best = frozenset[int]()
        for start in self._starts(usable):
            best = max(best, self._climbed(start, usable), key=self._score)
            if self._score(best)[0] == RANK.index("holds"):
                break
        placed = self._placed(best)
        part_side, panel_side = self._held(best, placed)
        if RANK.index(part_side.verdict) == 0 or RANK.index(panel_side.verdict) == 0:
            said = f"at best {len(best)} screws into the part and {len(placed)} through the panel: that does not hold"
            return Planned(None, f"with {WEB:g} mm of wall between the holes of a plate there are {said}")
        return self._plate(best, placed, part_side, panel_side)

    def _usable(self) -> list[int]:
        """Points whose hole fits the room and the openings, the earlier of two that are too near each other."""
        kept: list[int] = []
        for i, p in enumerate(self.points):
            fits = self._in_room(p, self.part_edge) and all(o.gap((p, p, 0.0)) >= self.part_edge for o in self.openings)
            if fits and all(math.dist(p, self.points[k]) >= self.part_part for k in kept):
                kept.append(i)
        return kept

    def _in_room(self, p: Point, edge: float) -> bool:
        lo, hi = self.room
        return all(lo[k] + edge <= p[k] <= hi[k] - edge for k in (0, 1))

    def _free(self, slot: Slot) -> list[Span]:
        """Stretches of a slot's centre line, mm from its first end, where a panel hole fits room and openings."""
        if slot.width < self.panel_screw.major:
            return []
        (ax, ay), (bx, by) = slot.ends
        low, high = 0.0, slot.length
        for a, b, lo, hi in ((ax, bx, self.room[0][0], self.room[1][0]), (ay, by, self.room[0][1], self.room[1][1])):
            u = (b - a) / slot.length if slot.length else 0.0
            lo, hi = lo + self.panel_edge, hi - self.panel_edge
            if abs(u) < NO_LENGTH:
                high = high if lo <= a <= hi else -1.0
            else:
                one, two = (lo - a) / u, (hi - a) / u
                low, high = max(low, min(one, two)), min(high, max(one, two))
        if low > high:
            return []
        # An opening is convex, so what its edges keep of the line's whole length is one stretch, ends and all between.
        kept = [[c for s in o.spots() if (c := _near(slot, s, self.panel_edge))] for o in self.openings]
        cuts = [(min(a for a, _ in near), max(b for _, b in near)) for near in kept if near]
        return _without([(low, high)], cuts)

    def _placed(self, kept: frozenset[int]) -> dict[int, Point]:
        """Where on its slot each panel screw goes beside the part's screws at `kept`: as near its middle as it can."""
        stretches = {}
        for s, free in enumerate(self.free):
            left = _without(free, [b for i, b in enumerate(self.blocked[s]) if b and i in kept])
            if left:
                stretches[s] = left
        out: dict[int, Point] = {}
        for s in sorted(stretches, key=lambda s: (sum(b - a for a, b in stretches[s]), s)):
            slot = self.slots[s]
            taken = [_near(slot, (p, p, 0.0), self.panel_panel) for p in out.values()]
            left = _without(stretches[s], [t for t in taken if t])
            if left:
                middle = slot.length / 2
                out[s] = _at(slot, min((min(max(middle, a), b) for a, b in left), key=lambda t: abs(t - middle)))
        return dict(sorted(out.items()))

    def _held(self, kept: frozenset[int], placed: dict[int, Point]) -> tuple[Holding, Holding]:
        panel = [placed.get(s, (slot.x, slot.y)) for s, slot in enumerate(self.slots)]
        part_side = holding(self.points, kept, diagonal=self.diagonal)
        return part_side, holding(panel, placed.keys(), diagonal=self.diagonal)

    def _score(self, kept: frozenset[int]) -> tuple[float, ...]:
        """What is better: first that both sides hold, then more screws, then the wider span on the weaker side."""
        if (known := self.scores.get(kept)) is not None:
            return known
        placed = self._placed(kept)
        sides = self._held(kept, placed)
        ranks = [RANK.index(h.verdict) for h in sides]
        second = sum(ranks) if min(ranks) else min(len(kept), len(placed))  # where a side does not hold, what it has
        found = min(ranks), second, len(kept) + len(placed), min(h.share for h in sides)
        self.scores[kept] = found
        return found

    def _starts(self, usable: Sequence[int]) -> Iterator[frozenset[int]]:
        """All the part's screws; and every second of them, counted to and fro along the rows, both ways round."""
        yield frozenset(usable)
        order = sorted(usable, key=lambda i: (round(self.points[i][0], 3), round(self.points[i][1], 3)))
        for first in (0, 1):
            yield frozenset(i for k, i in enumerate(order) if (k + k // 2 + first) % 2 == 0)

    def _climbed(self, kept: frozenset[int], usable: Sequence[int]) -> frozenset[int]:
        """The best set reached by giving or taking one screw at a time, and by trading two where that does not hold."""
        while True:
            moves: list[frozenset[int]] = [kept ^ {i} for i in usable]
            if self._score(kept)[0] == 0:
                moves += [kept ^ {i, j} for i, j in combinations(usable, 2)]
            best = max(moves, key=self._score)
            if self._score(best) <= self._score(kept):
                return kept
            kept = best

    def _plate(
        self, kept: frozenset[int], placed: dict[int, Point], part_side: Holding, panel_side: Holding
    ) -> Planned:
        held = tuple(sorted(kept))
        reach = [(*self.points[i], self.part_edge) for i in held] + [(*p, self.panel_edge) for p in placed.values()]
        for o in self.openings:
            r = (o.diameter or 0.0) / 2 + WEB
            reach += [(x, y, r) for x, y in (o.corners() or [(float(o.at[0]), float(o.at[1]))])]
        lo = [max(self.room[0][k], math.floor(min(q[k] - q[2] for q in reach))) for k in (0, 1)]
        hi = [min(self.room[1][k], math.ceil(max(q[k] + q[2] for q in reach))) for k in (0, 1)]
        cx, cy = (lo[0] + hi[0]) / 2, (lo[1] + hi[1]) / 2

        def at(p: Point) -> tuple[Mm, Mm]:
            return (Mm(round(p[0] - cx, 6)), Mm(round(p[1] - cy, 6)))

        sunk = {"recess": Mm(self.recess), "recess_depth": Mm(self.sunk), "diameter": Mm(self.clearance)}
        try:
            part = Adapter(
                material=self.material, length=Mm(hi[0] - lo[0]), width=Mm(hi[1] - lo[1]),
                thickness=Mm(self.thickness()),
                corner=Mm(CORNER), holes_a=tuple(AdapterHole(at=at(self.points[i]), **sunk) for i in held),
                holes_b=tuple(AdapterHole(at=at(p), thread=self.panel_screw.name, insert=self.insert)
                              for p in placed.values()),
                openings=tuple(o.model_copy(update={"at": at((o.at[0], o.at[1]))}) for o in self.openings),
            )  # fmt: skip
        except ValidationError as fault:
            said = "; ".join(f"{'.'.join(map(str, e['loc']))} {e['msg']}".strip() for e in fault.errors())
            return Planned(None, f"the plate cannot be made: {said}")
        worse = min((part_side.verdict, panel_side.verdict), key=RANK.index)
        said = f"{len(held)} screws into the part, {len(placed)} through the panel: it {worse}"
        return Planned(part, said, (cx, cy), held, tuple(placed), part_side, panel_side)

    def thickness(self) -> float:
        """Enough for the heads and what is under them, and for the insert or the engagement of the panel's screws."""
        needs = ENGAGEMENT[self.material][0] * self.panel_screw.major
        thread_needs = INSERTS[self.panel_screw.name].length if self.insert else needs
        least = max(self.sunk + max(UNDER_HEAD, FLOOR), thread_needs)
        if self.material == "printed":
            return round(math.ceil(round(least / STEP, 6)) * STEP, 6)
        return next((t for t in STOCK if t >= least - ROUNDING), least)


def _at(slot: Slot, t: float) -> Point:
    (ax, ay), (bx, by) = slot.ends
    k = t / slot.length if slot.length else 0.0
    return (ax + k * (bx - ax), ay + k * (by - ay))


def _near(slot: Slot, spot: Spot, apart: float) -> Span | None:
    """The stretch of a slot's centre line, or of it drawn out, that is nearer than `apart` to a spot; None for none."""
    (ax, ay), (bx, by) = slot.ends
    ux, uy = ((bx - ax) / slot.length, (by - ay) / slot.length) if slot.length else (1.0, 0.0)
    p, q, r = spot
    reach, ends = r + apart, []
    for x, y in {p, q}:
        t, off = (x - ax) * ux + (y - ay) * uy, -(x - ax) * uy + (y - ay) * ux
        if abs(off) < reach:
            half = math.sqrt(reach * reach - off * off)
            ends += [t - half, t + half]
    size = math.dist(p, q)
    if size > 0:
        vx, vy = (q[0] - p[0]) / size, (q[1] - p[1]) / size
        across = -ux * vy + uy * vx  # how fast the line leaves the straight
        if abs(across) > PARALLEL:
            off = -(ax - p[0]) * vy + (ay - p[1]) * vx
            for side in (-reach, reach):
                t = (side - off) / across
                if 0 <= (ax + t * ux - p[0]) * vx + (ay + t * uy - p[1]) * vy <= size:
                    ends.append(t)
    return (min(ends), max(ends)) if ends else None


def _without(spans: Sequence[Span], cuts: Sequence[Span]) -> list[Span]:
    """What is left of closed stretches without open ones, a little shorter at each cut."""
    left = list(spans)
    for low, high in cuts:
        left = [
            s
            for a, b in left
            for s in ((a, min(b, low - ROUNDING_MM)), (max(a, high + ROUNDING_MM), b))
            if s[0] <= s[1]
        ]
    return left
