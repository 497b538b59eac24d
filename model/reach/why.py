"""Why a chain does not go on: the obstacle to name, the mm that are short, and where.

Owns choosing the one blockage that a person should read. Where a swivel leaves a choice, the posture that is short by
least speaks for all. Leaves the test itself to `trial`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from elbowroom.model.geometry.envelopes import Blockage, Rod, posed
from elbowroom.model.geometry.freespace import FREE, Space
from elbowroom.model.loop.plumbing import Tubing
from elbowroom.model.reach.chains import Item, free_postures, grid, items, turns
from elbowroom.model.reach.hands import STEP, fingertip
from elbowroom.model.reach.leaving import bent, straight_on
from elbowroom.model.reach.rooms import Rooms, Site
from elbowroom.model.reach.trial import Trial, leg_of
from elbowroom.parts.vocabulary.arrays import Floats

_SPREAD = {0: 360, 1: 30, 2: 60, 3: 90}  # deg between the postures that are asked, by the count of free swivels
_ASKED = 3  # postures for which the mm are worked out


@dataclass(frozen=True, slots=True)
class Reason:
    """What is in the way of what: `stage` says at which question.

    also: what else is in the way in the same posture, each obstacle once, the one that is short by most first.
    """

    blockage: Blockage
    stage: str  # stands, comes in, pushed, leaves, fingers
    also: tuple[Blockage, ...] = ()

    @property
    def short(self) -> float:
        return self.blockage.shortfall


def why(rooms: Rooms, site: Site, trial: Trial, tubing: Tubing | None) -> Reason | None:
    """The reason a trial failed by something in the way; None where plain numbers were the reason."""
    parts = items(trial.links, site)
    if trial.problem == "stands":
        return _body(rooms, site, parts)
    if trial.problem == "leaves" and trial.posture is not None and trial.posture.ends is not None:
        leg = leg_of(trial.links, tubing)
        assert leg is not None
        end = trial.posture.ends[0]
        pushed = _worst(rooms.workshop, [leg.pushed], end)
        if pushed is not None and (straight_on(rooms, end[None], leg)[0] or bent(rooms, end[None], leg).any()):
            return Reason(pushed, "pushed")
        # What lets no tube lie there asks for more room than what keeps it from being pushed in.
        for rod in (leg.leg, leg.ahead):
            if (worst := _worst(rooms.tubes, [rod], end)) is not None:
                return Reason(worst, "leaves")
        return None if pushed is None else Reason(pushed, "pushed")
    if trial.problem == "fingers" and trial.posture is not None:
        for i, (one, base) in enumerate(zip(parts, trial.posture.links, strict=True)):
            tip = fingertip(one.link.fitting, site.lift if i == 0 else 0.0)
            sides = base[0][None] @ turns(grid(3 * STEP))
            if not (rooms.workshop.stack(tip, sides) == FREE).any():
                found = [b for at in sides if (b := _worst(rooms.workshop, tip, at)) is not None]
                return Reason(min(found, key=lambda b: (b.shortfall, b.obstacle)), "fingers") if found else None
    return None


def _body(rooms: Rooms, site: Site, parts: Sequence[Item]) -> Reason | None:
    """The least blockage over the postures that meet fewest obstacles with fewest bars."""
    count = sum(one.link.free for one in parts)
    every = free_postures(rooms, site, parts, [grid(_SPREAD.get(count, 180))] * count, judge=False)
    standing, coming = [(*p.fixed, *p.turning) for p in parts], [(*p.fixed_in, *p.turning_in) for p in parts]
    for stage, space, rods in (("stands", rooms.standing, standing), ("comes in", rooms.workshop, coming)):
        hits = np.zeros(len(every), dtype=int)
        for own, base in zip(rods, every.links, strict=True):
            for rod in own:
                hits += space.met(posed(rod, base)) != FREE
        if not (hits == 0).any() or stage == "comes in":
            rows = [r for r in np.argsort(hits, kind="stable") if hits[r]][:_ASKED]
            found = [b for r in rows if (b := _of_chain(space, rods, [p[r] for p in every.links]))]
            if found:
                first, *also = min(found, key=lambda b: (b[0].shortfall, b[0].obstacle))
                return Reason(first, stage, tuple(also))
    return None


def _of_chain(space: Space, rods: Iterable[Sequence[Rod]], bases: Iterable[Floats]) -> list[Blockage]:
    return _each_once([b for own, base in zip(rods, bases, strict=True) for b in _blocking(space, own, base)])


def _worst(space: Space, rods: Sequence[Rod], at: Floats) -> Blockage | None:
    """The blockage that is short by most, over bars posed by `at`."""
    return next(iter(_blocking(space, rods, at)), None)


def _blocking(space: Space, rods: Sequence[Rod], at: Floats) -> list[Blockage]:
    """What keeps bars posed by `at` from standing free: every obstacle once, the one that is short by most first."""
    found: list[Blockage] = []
    for rod in rods:
        bars = posed(rod, np.asarray(at)[None])
        if space.met(bars)[0] != FREE:
            found += space.blockages(bars.one(0))
    return _each_once(found)


def _each_once(found: Iterable[Blockage]) -> list[Blockage]:
    worst: dict[str, Blockage] = {}
    for b in sorted(found, key=lambda b: (-b.shortfall, b.obstacle)):
        worst.setdefault(b.obstacle, b)
    return list(worst.values())
