"""The verdict on one port and its words: a finding of the question "port-reach".

Owns what counts as what. A port that a chain is meant for fails where the chain does not go on; one that nobody uses
cannot fail, and is a caution where nothing would go on. A hand's way that was not found is a caution: not finding it
does not prove that there is none. Where a mesh nearby is unsound, nothing passes. Leaves the tests to `trial`, `land`,
`volume`; leaves neighbours to `neighbours`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from elbowroom.model.loop.plumbing import Link, Tubing
from elbowroom.model.reach.chains import Postures
from elbowroom.model.reach.choices import all_that_go_on, lowest, remedies
from elbowroom.model.reach.land import Land, land_state
from elbowroom.model.reach.phrased import ground_told, sizes_of, verdict_on
from elbowroom.model.reach.resting import basis_of, rests_on_fault, unsound
from elbowroom.model.reach.rooms import RUN_STEP, SLICES, Rooms, Site
from elbowroom.model.reach.told import named, turned
from elbowroom.model.reach.trial import Trial, attempt
from elbowroom.model.reach.volume import Volume, kits, volume
from elbowroom.model.reach.why import Reason, why
from elbowroom.model.told.findings import Basis, Finding, Point, Verdict, rounded
from elbowroom.model.told.particulars import AtPort, Fingers
from elbowroom.model.told.wordings import tenths
from elbowroom.parts.fitting.fitting_choice import holds
from elbowroom.parts.tube.tube_stock import tube_stocks
from elbowroom.parts.vocabulary.threads import thread

LONGEST = 300.0  # mm of free axis that are looked for: longer than any fitting with its tube's straight leg
USUAL_LAND = 17.0  # mm: least land where a port states none; common practice, no source (P)


@dataclass(frozen=True, slots=True, eq=False)
class Wanted:
    """What is meant for a port: links from the port outward, and the tube at their end. Empty: nobody said."""

    links: tuple[Link, ...] = ()
    tubing: Tubing | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """A port's finding with the solid of its reachable space."""

    finding: Finding
    solid: Any  # scene.Mesh or None


def answer(rooms: Rooms, site: Site, wanted: Wanted, usual: Tubing | None) -> Answer:
    """The verdict on one port. usual: the loop's tube, for the reachable space of ports that no run ends at."""
    links = wanted.links
    ground = land_state(rooms, site, land_of(site, links))
    if ground.state in ("covered", "taken"):
        return Answer(_covered(site, links, ground), None)
    axis = _axis(rooms, site, links)
    tubing = wanted.tubing or (usual if not links else None)
    room = volume(rooms, site, kits(site, tubing, links), tubing)
    finding = (
        _chosen(rooms, site, wanted, ground, axis, room, usual) if links else _open(rooms, site, ground, axis, room)
    )
    return Answer(finding, room.solid)


@dataclass(frozen=True, slots=True)
class _Axis:
    """How far the axis is free, mm from the land: for the thread's width, and for a fitting's, with what stops each."""

    bare: float
    bare_stop: str | None
    wide: float
    wide_stop: str | None
    width: float


def land_of(site: Site, links: Sequence[Link]) -> float:
    if site.frame.land is not None:
        return float(site.frame.land)
    return float(links[0].fitting.land) if links else USUAL_LAND


def _axis(rooms: Rooms, site: Site, links: Sequence[Link]) -> _Axis:
    first = links[0] if links else lowest(site, None)
    width = max(r for _, _, r in first.fitting.cylinders()) if first is not None else USUAL_LAND / 2
    start = site.origin + site.lift * site.axis
    bore = thread(site.frame.thread).major / 2 if site.frame.thread else USUAL_LAND / 4
    bare, bare_stop = rooms.standing.free_length(start, site.axis, bore, LONGEST, step=RUN_STEP, slices=SLICES)
    wide, wide_stop = rooms.standing.free_length(start, site.axis, width, LONGEST, step=RUN_STEP, slices=SLICES)
    return _Axis(bare + site.lift, bare_stop, wide + site.lift, wide_stop, 2 * width)


# Findings -------------------------------------------------------------------------------------------------------------


def _covered(site: Site, links: Sequence[Link], ground: Land) -> Finding:
    by = ground.obstacle or ""
    words = f"{by} is screwed into it" if ground.state == "taken" else f"covered by {by}, not blocked"
    text = f"{site.port}: {words}"
    if links:
        text += f"; {sizes_of(links)} cannot be screwed in as well"
    return _finding(site, "fail" if links else "pass", text, ground, where=_at(ground), more=(("covered_by", by),))


def _open(rooms: Rooms, site: Site, ground: Land, axis: _Axis, room: Volume) -> Finding:
    """A port that nobody chose anything for."""
    on = all_that_go_on(rooms, site) if ground.state == "free" else ()
    verdict: Verdict = "pass"
    where = _at(ground)
    if ground.state == "unknown":
        verdict, text = "unknown", f"{site.port}: unknown what can be screwed in; {ground.fault}"
    elif ground.state != "free":
        verdict, text = "caution", f"{site.port}: nothing is chosen, and nothing would seal: {ground_told(ground)}"
    elif not on:
        verdict = "caution"
        first = axis.wide_stop or axis.bare_stop
        stop = f"; its axis is free for {tenths(axis.wide)}, up to {first}" if first else ""
        text = f"{site.port}: nothing is chosen, and no fitting of the catalogue can be screwed in{stop}"
    else:
        text = f"{site.port}: nothing is chosen; {len(on)} of the catalogue's fittings can be screwed in"
    if verdict == "pass" and (fault := unsound(rooms, site, ())):
        verdict, text = "unknown", f"{site.port}: unknown what can be screwed in; {fault}"
    return _finding(
        site, verdict, text, ground, axis=axis, room=room, where=where, basis=basis_of(rooms, site, (), None),
        fittings=tuple(on),
    )  # fmt: skip


def _chosen(
    rooms: Rooms, site: Site, wanted: Wanted, ground: Land, axis: _Axis, room: Volume, usual: Tubing | None
) -> Finding:
    links, meant = wanted.links, wanted.tubing or _tube_for(wanted.links, usual)
    tubing = meant
    trial = attempt(rooms, site, links, tubing, full=True)
    idle = wanted.tubing is None and trial.problem == "leaves"
    if idle and (bare := attempt(rooms, site, links, None, full=True)).problem is not None:
        trial, tubing, idle = bare, None, False  # what stands in the fitting's own way comes before its tube's
    reason = why(rooms, site, trial, tubing) if trial.problem else None
    broken = ground_fails(rooms, site, ground, links)
    others: tuple[Trial, ...] = ()
    if trial.problem is not None and not broken:
        others = remedies(rooms, site, links, meant, seals=partial(_seals, rooms, site, ground))
    verdict, text, short = verdict_on(rooms, site, trial, reason, ground, broken)
    if idle and not broken:
        verdict, text = "caution", f"{text}; no run ends here: none could"
    fault = unsound(rooms, site, links)
    if ground.state == "unknown" or (fault and (verdict != "fail" or rests_on_fault(rooms, reason))):
        verdict = "unknown"
        text = f"{site.port}: unknown whether {sizes_of(links)} can be screwed in; {ground.fault or fault}"
    measured, required, where = axis.wide, links[0].fitting.reach_length, _at(ground)
    if reason is not None:
        b = reason.blockage
        measured, required, where = b.clearance, b.required, (b.at, b.on)
    return _finding(
        site, verdict, text, ground, axis=axis, room=room, where=where, measured=measured, required=required,
        basis=basis_of(rooms, site, links, reason), remedies=tuple(named(rooms, t) for t in others),
        more=_details(trial, reason), trial=trial, short=short if verdict == "caution" else "",
    )  # fmt: skip


def _tube_for(links: Sequence[Link], usual: Tubing | None) -> Tubing | None:
    """The tube that a chain no run ends at is meant for: the loop's where its last fitting holds that, else the first
    of the catalogue that it does, bent as narrowly as that can be. None where it holds none.
    """
    end = links[-1].fitting
    if not end.holds_tube:
        return None
    if usual is not None and holds(end, usual.stock.od, usual.stock.id, usual.stock.kind):
        return usual
    stock = next((t for t in tube_stocks().values() if holds(end, t.od, t.id, t.kind)), None)
    return None if stock is None else Tubing(stock, stock.least_radius, 0.0, 0.0)


def ground_fails(rooms: Rooms, site: Site, ground: Land, links: Sequence[Link]) -> bool:
    """Whether the chosen seal does not lie wholly on sound ground."""
    if ground.state == "blocked":
        return True
    if ground.state != "broken":
        return False
    return land_state(rooms, site, float(links[0].fitting.seal_od)).state in ("broken", "blocked")


def _seals(rooms: Rooms, site: Site, ground: Land, links: Sequence[Link]) -> bool:
    return not ground_fails(rooms, site, ground, links)


def mended_beside(
    rooms: Rooms, site: Site, wanted: Wanted, finding: Finding, beside: Callable[[Sequence[Link], Postures], bool]
) -> Finding:
    """A finding about a chain that does not go on, with only what would go on beside the fittings of other ports."""
    seals = partial(_seals, rooms, site, land_state(rooms, site, land_of(site, wanted.links)))
    meant = wanted.tubing or _tube_for(wanted.links, None)
    found = remedies(rooms, site, wanted.links, meant, seals=seals, beside=beside)
    return replace(finding, remedies=tuple(turned(rooms, t) for t in found))


# What it rests on -----------------------------------------------------------------------------------------------------


# Form -----------------------------------------------------------------------------------------------------------------


def _finding(
    site: Site, verdict: Verdict, text: str, ground: Land, *, axis: _Axis | None = None, room: Volume | None = None,
    where: tuple[Point, ...] = (), measured: float | None = None, required: float | None = None,
    basis: Basis | None = None, remedies: tuple[str, ...] = (), more: tuple[tuple[str, Any], ...] = (),
    fittings: tuple[str, ...] | None = None, trial: Trial | None = None, short: str = "",
) -> Finding:  # fmt: skip
    extra: list[tuple[str, Any]] = [
        ("land", {"diameter": rounded(ground.diameter), "missing_mm2": rounded(ground.missing)})
    ]
    if axis is not None:
        extra += [
            ("axis_free", axis.bare), ("axis_stop", axis.bare_stop), ("axis_free_fitting", axis.wide),
            ("axis_stop_fitting", axis.wide_stop), ("axis_width", axis.width),
        ]  # fmt: skip
    if room is not None:
        extra += [("volume_cm3", room.mm3 / 1000.0), ("volume_share", room.share)]
    if measured is None and axis is not None:
        measured = axis.wide
    slack = 0.0 if basis is None else basis.bound
    return Finding(
        "port-reach", verdict, (site.piece.name,), text, (), measured, "mm", required,
        None if measured is None else measured - slack, None if measured is None else measured + slack, where,
        basis or Basis("mesh"), remedies, (*extra, *more), site.frame.name,
        _about(site, ground, fittings, trial), short=short,
    )  # fmt: skip


def _about(site: Site, ground: Land, fittings: tuple[str, ...] | None, trial: Trial | None) -> AtPort:
    if trial is None:
        return AtPort(str(site.port), ground.state, fittings)
    fingers = tuple(Fingers(i, tuple(g.fingers), g.hand) for i, g in enumerate(trial.grips))
    return AtPort(str(site.port), ground.state, fittings, tuple(trial.degrees.items()), fingers)


def _details(trial: Trial, reason: Reason | None) -> tuple[tuple[str, Any], ...]:
    """What is told of a chain beside how it stands and who gets at it, as plain JSON values."""
    out: list[tuple[str, Any]] = [("chain", [li.size for li in trial.links])]
    swivels = [i for i, li in enumerate(trial.links) if li.free]
    out.append(("angles", [{"link": i, "free": _lists(a)} for i, a in zip(swivels, trial.angles, strict=False)]))
    if trial.leaving is not None:
        v = trial.leaving
        out.append(("tube_leaves", {"straight": v.straight, "count": v.count, "of": 36, "bends": _lists(v.bends)}))
    if trial.problem is not None:
        out.append(("problem", trial.problem))
    if reason is not None:
        out += [("obstacle", reason.blockage.obstacle), ("short_mm", reason.short)]
        out.append(("also", [{"obstacle": b.obstacle, "short_mm": b.shortfall} for b in reason.also]))
    elif trial.rule:
        out.append(("short_mm", trial.short))
    return tuple(out)


def _lists(found: Sequence[tuple[int, int]]) -> list[list[int]]:
    return [list(i) for i in found]


def _at(ground: Land) -> tuple[Point, ...]:
    return () if ground.at is None else (ground.at,)
