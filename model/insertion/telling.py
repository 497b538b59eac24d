"""The steps of a build in words, as one reads them at the bench.

Owns the wording. What is told was found by `plan` and played again by `replay`; nothing is worked out here but which
later step covers a screw and which earlier part a screw holds as well.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from elbowroom.model.insertion import Assembly
from elbowroom.model.insertion.building import Move, Why
from elbowroom.model.insertion.items import Fastening
from elbowroom.model.insertion.order import Apart
from elbowroom.model.insertion.plan import Step
from elbowroom.model.insertion.replay import Narrowest
from elbowroom.model.layout.directions import named, open_side_of
from elbowroom.model.told.wordings import tenths
from elbowroom.parts.vocabulary.arrays import Vector
from elbowroom.parts.vocabulary.pose import Pose

NARROW_TOLD_MM = 5.0  # mm: wider gaps are guided through without a thought; no source (P)


def names(words: Sequence[str]) -> str:
    """Some names as one says them: "a, b and c"."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


class Telling:
    """Words about one assembly."""

    def __init__(self, made: Assembly) -> None:
        self.made, self.building = made, made.building
        self.layout = made.building.scene.layout
        self.side = open_side_of(self.layout)
        self.number = {n: k for k, s in enumerate(made.plan.steps, 1) for n in s.move.pieces}
        self.driven = {u.fastening.name: k for k, s in enumerate(made.plan.steps, 1) for u in s.move.undone}
        self.holds = {f.name: f for f in self.building.items.fastenings}

    # Steps ------------------------------------------------------------------------------------------------------------

    def lines(self) -> Iterator[str]:
        """The whole as text, a line at a time."""
        plan = self.made.plan
        yield f"{self.layout.title}: {len(plan.steps)} steps"
        yield self._open()
        for k, step in enumerate(plan.steps, 1):
            own = self.made.bench.get(k, ())
            yield f"{k:3} {self.step(k, step)}"
            for b in own:
                yield f"      before that, on the bench: {self.bench(b)}"
            for more in self.notes(k, step):
                yield f"      {more}"
        yield from self.unsolved()
        yield from self.clashing()
        bends = sorted(self.building.items.bending)
        if bends:
            yield f"Led last, and not asked about, since they bend: {names(bends)}"

    def _open(self) -> str:
        off = [b.rpartition("/")[2] for b in sorted(self.made.off) if self.is_there(b)]
        why = "as the build says" if self.made.said else "taken as usual; building: {open: [...]} says otherwise"
        return f"Off the case meanwhile: {names(off) if off else 'nothing'} ({why})"

    def _named(self, way: Vector) -> str:
        return named([float(c) for c in way], self.side)

    def is_there(self, body: str) -> bool:
        return any(s.name == body for s in self.building.scene.solids)

    def step(self, k: int, step: Step) -> str:
        move = step.move
        main = max(move.pieces, key=self.building.items.bulk)
        first = [main, *(n for n in move.pieces if n != main)]
        if move.way.in_hand:
            turned = f", turned by {move.turned}" if move.turned else ""
            return f"{names(first)}: screwed in from {self._named(move.way.legs[0].way)}{turned}"
        text = f"{names(first)}{' as one' if len(first) > 1 else ''}: {self._in(step)}"
        if move.undone:
            text += f"; drive {self._joints(step)}"
        return text

    def _in(self, step: Step) -> str:
        """How it goes in: the way out, told backward."""
        way = step.move.way
        last = way.legs[-1]
        text = f"in from {self._named(last.way)}"
        for leg in reversed(way.legs[:-1]):
            text += f", then {tenths(leg.far)} toward {self._named(-leg.way)}"
        if way.poses:
            text += f", tilted by {tilt_deg(way.poses[-1]):.0f} degrees, then turned into place"
        return text

    def _joints(self, step: Step) -> str:
        told = []
        for u in step.move.undone:
            count = len(u.fastening.screws)
            told.append(f"{count} screw{'s' if count > 1 else ''} of {u.fastening.name} with a {u.by}")
        return names(told)

    def bench(self, step: Step) -> str:
        move = step.move
        text = f"{names(list(move.pieces))} put to it from {self._named(move.way.legs[-1].way)}"
        return text + (f", {self._joints(step)}" if move.undone else "")

    def notes(self, k: int, step: Step) -> Iterator[str]:
        """What else there is to a step."""
        if step.played is not None and step.played.hits:
            one, other, after, deep = step.played.hits[0]
            yield (
                f"? played again, {one} meets {other} after {tenths(after)}, by {tenths(deep)}: "
                "cannot say that it goes in this way"
            )
        elif step.played is not None and step.played.narrowest is not None:
            told = self._narrowest(step.played.narrowest)
            if told:
                yield told
        later = self.covered(k, step)
        for joint, others in later:
            yield (
                f"tighten {joint.name} now: {names(others)} (step {self.number[others[0]]}) "
                f"cover{'s' if len(others) == 1 else ''} {'them' if len(joint.screws) > 1 else 'it'}"
            )
        held = self.held_until(k, step)
        if held is not None:
            joint, at = held
            yield f"held or lying loose until step {at}, when {joint.name} is driven"
        loose = self.loose_until(k, step)
        for joint, at in loose:
            yield f"leave {joint.name} loose until step {at}: what it holds is screwed on there as well"

    def _narrowest(self, found: Narrowest) -> str:
        if found.gap > NARROW_TOLD_MM:
            return ""
        one, other = found.bodies
        if found.low <= 0:
            return f"{one} goes past {other} with nothing to spare, as near as that is known: take care"
        return f"{one} passes {other} by {tenths(found.gap)} (at worst {tenths(found.low)})"

    def covered(self, k: int, step: Step) -> list[tuple[Fastening, list[str]]]:
        """Screws of a step that a part of a later one comes to stand before."""
        out = []
        for u in step.move.undone:
            met: set[str] = set()
            for _, straight, _ in self.building.access.drivers.get(u.fastening.name, ()):
                met |= {n for n in straight if self.number.get(n, 0) > k}
            if met:
                out.append((u.fastening, sorted(met, key=lambda n: (self.number[n], n))))
        return out

    def held_until(self, k: int, step: Step) -> tuple[Fastening, int] | None:
        """The first joint that holds what a step puts in, where that is of a later one."""
        own = [f for n in step.move.pieces for f in self.building.items.held_by.get(n, ()) if f.name in self.driven]
        at = [(self.driven[f.name], f.name, f) for f in own]
        if not at or min(at)[0] <= k or any(n in self.building.items.plugs for n in step.move.pieces):
            return None
        first = min(at, key=lambda a: a[:2])
        return first[2], first[0]

    def loose_until(self, k: int, step: Step) -> list[tuple[Fastening, int]]:
        """Joints driven at a step whose pieces are screwed on again at a later one, so that they must give a little."""
        out = []
        for u in step.move.undone:
            more = [
                self.driven[f.name] for n in u.fastening.holds for f in self.building.items.held_by.get(n, ())
                if self.driven.get(f.name, 0) > k
            ]  # fmt: skip
            if more:
                out.append((u.fastening, max(more)))
        return out

    # What has no answer -----------------------------------------------------------------------------------------------

    def unsolved(self) -> Iterator[str]:
        """What did not come out, and what locks what."""
        plan = self.made.plan
        for x in plan.loosened:
            own, others = sorted(x.pieces), names(list(x.others[:6]))
            for a in x.aside or ():
                to = self._named(a.way)
                yield (
                    f"! {a.passes} goes in while {a.piece} is loose: move {a.piece} {tenths(a.far)} toward {to}, "
                    f"put {a.passes} in, move it back and screw it down. With {a.piece} screwed down no way was found, "
                    "in any order"
                )
            if x.aside is None:
                it = "it" if len(own) == 1 else "them"
                yield (
                    f"? {names(own)} and {others} stood before each other in every order tried: cannot say how they "
                    f"go in together. With {names(own)} left out the rest goes in; no move of {it} aside was found "
                    "that lets the others pass"
                )
        for n in plan.unfound:
            yield (
                f"? {n}: cannot say how it goes in. As stiff as it is, no straight way was found, nor one of two legs, "
                "with its ends out of their fittings; loosen a fitting at one end, or fit it with the part it leads to"
            )
        for n, why in plan.stuck:
            yield f"✖ {n}: {self.why(n, why)}"

    def clashing(self) -> Iterator[str]:
        """What no way is judged past, since it is in the way already."""
        for one, other in self.made.clashes:
            yield f"✖ {one} and {other} share room where they stand: how they pass each other is not judged"

    def why(self, name: str, why: Why | None) -> str:
        """Why a piece did not come out."""
        if why is None:
            return "no way was found"
        if why.joint is not None and why.reached is not None:
            before = sorted(why.reached.blockers)
            return (
                f"neither a straight driver nor a short key reaches the screws of {why.joint.name}: {names(before)} "
                f"stand{'s' if len(before) == 1 else ''} before them"
            )
        if why.joint is not None:
            met = sorted({m.other for m in why.screw})
            return (
                f"the screws of {why.joint.name} do not come out: {names(met)} bar{'s' if len(met) == 1 else ''} them"
            )
        if why.reached is not None:
            return f"no finger gets to its collar: {names(sorted(why.reached.blockers))} in the way"
        told = []
        for m in sorted(why.met, key=lambda m: m.ran.travel):
            body = self.building.scene.solids[m.bodies[1]].name
            far = "at once" if m.ran.travel < NARROW_NOTHING_MM else f"after {tenths(m.ran.travel)}"
            sure = "" if m.sure else ", as near as the meshes are known"
            told.append(f"{body} {far}{sure}")
        return f"no way out was found, straight, in two legs or tilted first; it meets {', '.join(dict.fromkeys(told))}"

    # Service ----------------------------------------------------------------------------------------------------------

    def service(self, wanted: str, found: Apart[Move] | None) -> Iterator[str]:
        """What comes out to get at a part."""
        if found is None:
            why = self.building.why(wanted)
            yield f"{wanted}: cannot say how it comes out: {self.why(wanted, why)}"
            return
        before = found.taken[:-1]
        if not before:
            yield f"{wanted} comes out with all else in place"
        else:
            yield f"{wanted} comes out once {names([t.item for t in before])} {'is' if len(before) == 1 else 'are'} out"
        for k, t in enumerate(found.taken, 1):
            move = t.how
            undo = f"undo {names([u.fastening.name for u in move.undone])}; " if move.undone else ""
            others = [n for n in move.pieces if n != t.item]
            out = self._named(move.way.legs[0].way)
            with_ = f" with {names(others)} on it" if others else ""
            verb = "unscrew" if move.way.in_hand else "take out"
            yield f"{k:3} {undo}{verb} {t.item}{with_}, toward {out}"
        yield from self.clashing()


NARROW_NOTHING_MM = 0.05  # mm: a shorter way is none: what calipers hardly show


def tilt_deg(motion: Pose) -> float:
    """By how much a motion turns."""
    return math.degrees(math.acos(max(-1.0, min(1.0, (float(np.trace(motion[:3, :3])) - 1) / 2))))
