"""The order in which a build goes together: everything taken apart, told backward.

Owns the stages of the search - straight ways first, then two legs, then what must be loose - what counts as late in a
build, and the value that holds the plan. Every way in it is played again by `replay` before it is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from elbowroom.model.insertion.building import Building, Move, Why
from elbowroom.model.insertion.items import Fastening, Items
from elbowroom.model.insertion.order import Apart, Taken, apart, least_loose
from elbowroom.model.insertion.replay import Replay, Replayed


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
class Plan:
    """steps: in the order of building. unfound: tubes for which no way in was found. loosened: pieces that must be
    loose for others to pass, with those that then do. stuck: pieces that do not come out of what is left, and why."""

    steps: tuple[Step, ...]
    unfound: tuple[str, ...] = ()
    loosened: tuple[tuple[frozenset[str], tuple[str, ...]], ...] = ()
    stuck: tuple[tuple[str, Why | None], ...] = ()

    @property
    def complete(self) -> bool:
        return not self.stuck and not self.unfound


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
    loosened: list[tuple[frozenset[str], tuple[str, ...]]] = []

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
        tubes = [n for n in order if n in left and n in building.items.tubes]
        if tubes:
            unfound += tubes
            left -= frozenset(tubes)
            continue
        found = least_loose(order, left, building.take)
        if found is None:
            break
        loose, rest = found
        loosened.append((loose, tuple(t.item for t in rest.taken)))
        left -= loose
        note(rest)
        left |= loose
    stuck = tuple((n, building.why(n)) for n in order if n in left)
    steps = tuple(Step(t.item, t.how, there) for t, there in reversed(taken))
    return Plan(steps, tuple(unfound), tuple(loosened), stuck)


def _parts_in(building: Building, there: frozenset[str]) -> bool:
    return any(n in there for n in building.items.parts)


def played(building: Building, found: Plan) -> Plan:
    """The plan with every step played again."""
    replay = Replay(building.blocking)
    return replace(found, steps=tuple(replace(s, played=play(building, replay, s)) for s in found.steps))


def play(building: Building, replay: Replay, step: Step) -> Replayed:
    units = frozenset((*step.move.pieces, *(f.name for f in step.move.inner)))
    loose = frozenset(e for n in step.move.pieces for e in building.items.ends.get(n, ()))
    cases = frozenset() if step.bench else building.items.cases
    return replay.play(units, (step.there | cases) - units - loose, step.move.way)


def on_the_bench(building: Building, step: Step) -> tuple[Step, ...]:
    """How the pieces of a step that go in as one are put together before."""
    move = step.move
    if len(move.pieces) < 2:
        return ()
    names = frozenset((*move.pieces, *(f.name for f in move.inner)))
    building.bench = True
    try:
        order: Sequence[str] = [n for n in ranked(building.items) if n in names]
        found = apart(
            order, lambda i, there: building.take(i, there) if len(there & set(move.pieces)) > 1 else None, names
        )
    finally:
        building.bench = False
    left, out = names, []
    for t in found.taken:
        left -= t.goes
        out.append(Step(t.item, t.how, left, bench=True))
    return tuple(reversed(out))
