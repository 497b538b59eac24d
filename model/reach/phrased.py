"""A verdict on a port in words: what can be screwed in and how it may stand, or what is in its way.

Owns the sentences and with them which of them make a caution. The tests behind them are `trial`, `land` and `why`.
"""

from __future__ import annotations

from collections.abc import Sequence

from elbowroom.model.layout.directions import open_side_of
from elbowroom.model.loop.plumbing import Link
from elbowroom.model.reach.land import Land
from elbowroom.model.reach.rooms import Rooms, Site
from elbowroom.model.reach.told import hands_told, tube_leaves, turns_told
from elbowroom.model.reach.trial import Trial
from elbowroom.model.reach.why import Reason
from elbowroom.model.told.findings import Verdict
from elbowroom.model.told.wordings import lacking, mm2


def verdict_on(
    rooms: Rooms, site: Site, trial: Trial, reason: Reason | None, ground: Land, broken: bool
) -> tuple[Verdict, str, str]:
    """The verdict, all that is said of it, and of a caution what it is about."""
    name, here = sizes_of(trial.links), str(site.port)
    if broken:
        return "fail", f"{here}: {name} does not seal: {ground_told(ground)}", ""
    if trial.problem is not None:
        return "fail", f"{here}: {_problem(name, trial, reason)}", ""
    told = [f"{name} can be screwed in"]
    for i, a in zip(_free(trial.links), trial.angles, strict=True):
        told.append(f"{trial.links[i].size} may stand {turns_told(rooms, trial, i, a)}")
    if trial.leaving is not None:
        told.append(tube_leaves(trial, open_side_of(rooms.layout)))
    cautions = hands_told(rooms, site, trial)
    land = trial.links[0].fitting.land
    if ground.diameter < land:
        cautions.append(f"its seal face is {ground.diameter:g} wide, {land:g} are wanted")
    if ground.state == "broken":
        cautions.append(f"{ground_told(ground)}, outside the seal ring")
    if ground.seam:
        cautions.append(f"its seal lies across the seam of {' and '.join(ground.seam)}")
    text = f"{here}: " + "; ".join(told + cautions)
    return ("caution", text, f"{here}: {cautions[0]}") if cautions else ("pass", text, "")


def _problem(name: str, trial: Trial, reason: Reason | None) -> str:
    if trial.rule:
        return f"{name} cannot be screwed in: {trial.rule}"
    if reason is None:
        return f"{name} cannot be screwed in: its own pieces are in each other's way"
    stands_in = f"{reason.blockage.obstacle} is {lacking(reason.short)} in its way"
    if reason.blockage.manner == "near":
        stands_in = f"{reason.blockage.obstacle} is {lacking(reason.short)} too near"
    also = "".join(
        f"; {b.obstacle} is {lacking(b.shortfall)} {'too near' if b.manner == 'near' else 'in its way'} as well"
        for b in reason.also
    )
    return {
        "stands": f"{name} cannot be screwed in: {stands_in}{also}",
        "comes in": f"{name} cannot be screwed in: {stands_in} on its way in{also}",
        "pushed": f"no tube can be pushed into {name}: {stands_in}",
        "leaves": f"the tube cannot leave {name}: {stands_in}",
        "fingers": f"fingers cannot turn {name}: {stands_in}",
    }[reason.stage]


def ground_told(ground: Land) -> str:
    if ground.state == "blocked":
        return f"{ground.obstacle} lies on its seal face"
    return f"{mm2(ground.missing)} of its seal face of {ground.diameter:g} are missing"


def sizes_of(links: Sequence[Link]) -> str:
    return " + ".join(li.size for li in links)


def _free(links: Sequence[Link]) -> list[int]:
    return [i for i, li in enumerate(links) if li.free]
