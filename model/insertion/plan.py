"""The order in which a build goes together: everything taken apart, told backward.

Owns the stages of the search - straight ways first, then two legs, then what must be loose - what counts as late in a
build, and the value that holds the plan. Every way in it is played again by `replay` before it is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from elbowroom.model.insertion.blocking import Slide
from elbowroom.model.insertion.building import Building, Move, Why
from elbowroom.model.insertion.items import Fastening, Items
from elbowroom.model.insertion.order import Apart, Taken, apart, least_loose, to_free
from elbowroom.model.insertion.replay import Replayed
from elbowroom.model.insertion.ways import Leg, Way
from elbowroom.parts.vocabulary.arrays import Vector
from elbowroom.parts.vocabulary.pose import shift

MOST_TILTED = 12  # parts of what is stuck that are tried to be tilted out, at each stage
ASIDE_MM = (1.0, 2.0, 3.0, 5.0, 8.0, 12.0, 20.0, 30.0)  # mm that a loose part is moved aside: by choice


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """What is done at once: pieces go in, then screws are driven. there: the parts and joints that stand before it.
    played: what came of playing it again, None where it was not played. bench: outside the case. loose: joints of it
    that are driven only later, once another part is in. after: joints of earlier parts that are driven now."""

    item: str
    move: Move
    there: frozenset[str]
    played: Replayed | None = None
    bench: bool = False
    held_off: tuple[str, ...] = ()

    @property
    def driven(self) -> tuple[Fastening, ...]:
        return tuple(u.fastening for u in self.move.undone)


@dataclass(frozen=True, slots=True, eq=False)
class Aside:
    """A piece that stands loose, `far` mm along `way` off its place, while another goes in past it, and is then pushed
    back. Both were held against all that stands."""

    piece: str
    passes: str
    way: Vector
    far: float


@dataclass(frozen=True, slots=True, eq=False)
class Loosened:
    """Pieces that had to be left out for others to pass: the fewest that do. aside: how far each is moved aside for
    that; None where no such move was found, so that it is not known whether they go in together."""

    pieces: frozenset[str]
    others: tuple[str, ...]
    aside: tuple[Aside, ...] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """steps: in the order of building. unfound: tubes for which no way in was found. loosened: pieces that bar
    others wherever in the order they come. stuck: pieces that do not come out of what is left, and why;
    impossible: those of them that do not in any order."""

    steps: tuple[Step, ...]
    unfound: tuple[str, ...] = ()
    loosened: tuple[Loosened, ...] = ()
    stuck: tuple[tuple[str, Why | None], ...] = ()
    impossible: frozenset[str] = frozenset()

    @property
    def complete(self) -> bool:
        sure = all(s.played is None or s.played.free for s in self.steps)
        return sure and not self.stuck and not self.unfound and all(x.aside for x in self.loosened)


def never(building: Building, why: Why | None) -> bool:
    """Whether what keeps a piece from going in does so whatever else stands: a joint that the case itself, or what is
    screwed on by it, keeps every tool from."""
    if why is None or why.joint is None or why.reached is None:
        return False
    return why.reached.blockers <= building.items.cases | why.joint.holds


def ranked(items: Items) -> tuple[str, ...]:
    """The parts, those first that come out first: tubes, fittings, what is plugged in and held by the case, then the
    others from the last of the file to the first, and last what others are plugged into."""

    def rank(at: int, name: str) -> tuple[int, int]:
        plug = items.plugs.get(name)
        if name in items.tubes:
            return 0, -at
        if plug is not None and plug.screwed:
            return 1, -at
        if plug is not None and any(m.piece == name and m.to_piece in items.cases for m in items.scene.layout.mates):
            return 2, -at
        if plug is not None:
            return 5, -at
        hosts = any(not items.plugs[g].screwed for g in items.guests.get(name, ()))
        return (4 if hosts else 3), -at

    return tuple(n for _, n in sorted((rank(i, n), n) for i, n in enumerate(items.parts)))


def plan(building: Building) -> Plan:
    """The order of a build, each way of it played again."""
    order = ranked(building.items)
    left = building.everything
    taken: list[tuple[Taken[Move], frozenset[str]]] = []
    unfound: list[str] = []
    loosened: list[Loosened] = []

    def note(found: Apart[Move]) -> None:
        nonlocal left
        for t in found.taken:
            taken.append((t, left - t.goes))
            left -= t.goes

    while True:
        building.legs = False
        note(apart(order, building.take, left))
        if not _parts_in(building, left):
            break
        building.legs = True
        one = next((t for i in order if i in left and (t := building.take(i, left)) is not None), None)
        building.legs = False
        if one is not None:
            note(Apart((one,), left))
            continue
        building.legs = building.tilt = True
        rigid = [n for n in order if n in left and n not in building.items.tubes][:MOST_TILTED]
        one = next((t for i in rigid if (t := building.take(i, left)) is not None), None)
        building.legs = building.tilt = False
        if one is not None:
            note(Apart((one,), left))
            continue
        tubes = [n for n in order if n in left and n in building.items.tubes]
        if tubes:
            unfound += tubes
            left -= frozenset(tubes)
            continue
        tried = [x for n in order if n in left and (x := _loose(building, order, left, [n])) is not None]
        best = next((x for x in tried if x[0].aside is not None), None) or next(iter(tried), None)
        best = best or _loose(building, order, left, order)
        if best is None:
            break
        loose, rest = best[0].pieces, best[1]
        loosened.append(best[0])
        left -= loose
        note(rest)
        left |= loose
    stuck = tuple((n, building.why(n)) for n in order if n in left)
    steps = tuple(Step(t.item, t.how, there) for t, there in reversed(taken))
    impossible = frozenset(n for n, why in stuck if never(building, why))
    return Plan(steps, tuple(unfound), tuple(loosened), stuck, impossible)


def _loose(
    building: Building, order: Sequence[str], left: frozenset[str], candidates: Sequence[str]
) -> tuple[Loosened, Apart[Move]] | None:
    """The fewest of some pieces that open a way for the rest by being loose, and the rest's way."""
    found = least_loose(order, left, building.take, candidates)
    if found is None or not found[1].taken:
        return None
    return _loosened(building, *found, left), found[1]


def _loosened(building: Building, loose: frozenset[str], rest: Apart[Move], left: frozenset[str]) -> Loosened:
    """What others need of a loose piece: which of them it bars, and how far it is moved aside for each."""
    others = tuple(t.item for t in rest.taken)
    if len(loose) > 1:
        return Loosened(loose, others)
    (one,) = loose
    there, found = left, []
    for t in rest.taken:
        there -= t.goes
        if one not in building.items.parts:
            return Loosened(loose, others)
        barred = any(building.blocking.met(t.goes, {one}, slide) for slide in slides(t.how.way))
        if not barred:
            continue
        aside = _aside(building, one, t, there)
        if aside is None:
            return Loosened(loose, others)
        found.append(aside)
    return Loosened(loose, tuple(a.passes for a in found) or others, tuple(found))


def _aside(building: Building, one: str, other: Taken[Move], there: frozenset[str]) -> Aside | None:
    """The least of the moves tried that clears the way of what goes out past a loose piece."""
    blocking = building.blocking
    standing = (there | building.items.cases) - {one} - {f.name for f in building.items.held_by.get(one, ())}
    units = frozenset((*other.how.pieces, *(f.name for f in other.how.inner)))
    ways = building.lines(one)
    # As long as the other is in, the loose piece moves only where it leaves that alone as well.
    free = {}
    for k, way in enumerate(ways):
        met = blocking.met({one}, standing | units, Slide.of(way))
        free[k] = min((m.ran.travel for m in met), default=ASIDE_MM[-1])
    for far in ASIDE_MM:
        for k, way in enumerate(ways):
            if far > free[k]:
                continue
            moved = (Slide.of(s.way, s.shift - way * far, s.far) for s in slides(other.how.way))
            if not any(blocking.met(units, {one}, s) for s in moved):
                return Aside(one, other.item, way, far)
    return None


def slides(way: Way) -> list[Slide]:
    """The legs of a way as slides from where a group stands."""
    out, at = [], np.zeros(3)
    for leg in way.legs:
        out.append(Slide.of(leg.way, at, leg.far))
        at = at + leg.way * leg.far
    return out


def _parts_in(building: Building, there: frozenset[str]) -> bool:
    return any(n in there for n in building.items.parts)


def played(building: Building, found: Plan) -> Plan:
    """The plan with every step played again."""
    steps = tuple(replace(s, played=play(building, s)) for s in found.steps)
    return replace(found, steps=steps, loosened=tuple(_played_aside(building, found, x) for x in found.loosened))


def _played_aside(building: Building, found: Plan, loosened: Loosened) -> Loosened:
    """The same, without the moves aside where one of them, or what passes meanwhile, is not free when played."""
    for a in loosened.aside or ():
        step = next(s for s in found.steps if a.passes in s.move.pieces)
        units = frozenset((*step.move.pieces, *(f.name for f in step.move.inner)))
        own = {f.name for f in building.items.held_by.get(a.piece, ())}
        standing = (step.there | building.items.cases | units) - own - {a.piece}
        x, y, z = (float(c) for c in -a.way * a.far)
        moved = building.replay.play({a.piece}, standing, Way((Leg(a.way, a.far),)))
        passed = building.replay.play(units, {a.piece}, step.move.way, shift(x, y, z))
        if not (moved.free and passed.free):
            return replace(loosened, aside=None)
    return loosened


def play(building: Building, step: Step) -> Replayed:
    units = frozenset((*step.move.pieces, *(f.name for f in step.move.inner)))
    loose = frozenset(e for n in step.move.pieces for e in building.items.ends.get(n, ()))
    cases = frozenset() if step.bench else building.items.cases
    return building.replay.play(units, (step.there | cases) - units - loose, step.move.way)


def on_the_bench(building: Building, step: Step) -> tuple[Step, ...]:
    """How the pieces of a step that go in as one are put together before."""
    move = step.move
    if len(move.pieces) < 2:
        return ()
    names = frozenset((*move.pieces, *(f.name for f in move.inner)))
    pieces = frozenset(move.pieces)
    items = building.items
    order: Sequence[str] = sorted(move.pieces, key=lambda n: (n not in items.plugs, items.bulk(n), n))

    def take(item: str, there: frozenset[str]) -> Taken[Move] | None:
        found = building.take(item, there)
        return None if found is None or there & pieces <= found.goes else found  # something stays to be put to

    building.bench = True
    try:
        found = apart(order, take, names)
    finally:
        building.bench = False
    left, out = names, []
    for t in found.taken:
        left -= t.goes
        out.append(Step(t.item, t.how, left, bench=True))
    return tuple(reversed(out))


def freed(building: Building, wanted: str) -> Apart[Move] | None:
    """What must come out to service a part, with nothing that need not."""
    order = ranked(building.items)
    building.legs = False
    found = to_free((*order, *building.joints), wanted, building.take)
    if found is None:
        building.legs = True
        found = to_free((*order, *building.joints), wanted, building.take)
        building.legs = False
    return found
