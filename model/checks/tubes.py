"""Has every run of the loop a tube that can be bent and laid?

Owns one finding for each run: cut length, what is inserted and the bends where it has a way; what blocks it, or the
proof that there is none, where it has not; and what swivels without a run are set to. Finding the way is `routing`'s
work.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from elbowroom.model.laying.laying import Laid
from elbowroom.model.laying.routing import Route, drawn
from elbowroom.model.laying.swivels import Settled
from elbowroom.model.layout.directions import open_side_of, toward
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.loop.fitted import pointing
from elbowroom.model.loop.plumbing import Chain, Line, Plumbing
from elbowroom.model.told.cautions import BENDING, HARD_TUBE
from elbowroom.model.told.findings import Basis, Finding, Point
from elbowroom.model.told.wordings import assumed_by, mm
from elbowroom.parts.tube.tube import TubeRun
from elbowroom.parts.vocabulary.bends import Bend


def check(layout: Layout, plumbing: Plumbing, laid: Laid) -> list[Finding]:
    """One finding for each run that was asked for, and one for each port whose swivels no run decides."""
    lines = [line for line in plumbing.lines if line.name in laid.routes]
    runs = [_run(layout, line, laid.routes[line.name], laid.tubes.get(line.name)) for line in lines]
    return [*runs, *(_set(layout, c, laid.settled) for c in plumbing.chains.values() if _is_set(c, laid.settled))]


def _is_set(chain: Chain, settled: Settled) -> bool:
    return chain.port in settled.turns or chain.port in settled.stuck


def _set(layout: Layout, chain: Chain, settled: Settled) -> Finding:
    """What was done with swivels that no run decides."""
    names = " + ".join(link.size for link in chain.links)
    turns = settled.turns.get(chain.port)
    where = (_at(layout, chain),)
    if turns is None:
        text = f"{names} at {chain.port} is left out: no run decides which way it is turned, and no way is free"
        return Finding("tube", "caution", (chain.port.piece,), text, where=where, place=chain.port.frame)
    text = f"{names} at {chain.port} is turned {_pointed(layout, chain, turns)}: no run decides that, and this is "
    text += "the middle of its widest free range, or near it beside its neighbours"
    extra = (("turns", {str(i): t for i, t in zip(chain.free, turns, strict=True)}),)
    return Finding("tube", "pass", (chain.port.piece,), text, where=where, extra=extra, place=chain.port.frame)


def _at(layout: Layout, chain: Chain) -> Point:
    x, y, z = layout.piece(chain.port.piece).frame_pose(chain.port.frame)[:3, 3].tolist()
    return (x, y, z)


def _pointed(layout: Layout, chain: Chain, turns: Sequence[float]) -> str:
    """Where each swivel of a chain lets on; in degrees where its turn shows in no direction."""
    side = open_side_of(layout)
    each = pointing(layout, chain, turns)
    return ", ".join(f"at {t:g} deg" if way is None else toward(way.tolist(), side) for _, t, way in each)


def _run(layout: Layout, line: Line, route: Route, tube: Piece | None) -> Finding:
    parts = (line.start.port.piece, line.end.port.piece)
    stock, radius = line.tubing.stock, line.tubing.radius
    where = () if route.at is None else (route.at,)
    if tube is None:
        outcome = "impossible" if route.impossible else "not found"
        square = " in square style" if line.tubing.square and not drawn(line) else ""
        text = f"no run {line.name} in {stock.about}{square}: {route.text}"
        extra: tuple[tuple[str, Any], ...] = (
            ("outcome", outcome), ("blockers", list(route.blockers)), ("tried", dict(route.tried)),
        )  # fmt: skip
        offers = (route.offer,) if route.offer else ()
        return Finding("tube", "fail", parts, text, where=where, remedies=offers, extra=extra, place=line.name)
    part = tube.part
    assert isinstance(part, TubeRun)  # laying makes nothing else
    run, count = part.run, len(part.run.bends)
    text = f"run {line.name}: cut {mm(run.cut_length)} of {stock.about}, "
    text += f"{count} bend{'' if count == 1 else 's'} of radius {radius:g}" if count else "straight"
    for chain, turns in ((line.start, route.way.start), (line.end, route.way.end)) if route.way else ():
        if turns:
            text += f", {chain.links[chain.free[0]].size} at {chain.port} turned {_pointed(layout, chain, turns)}"
    extra = (
        ("outcome", "drawn by hand" if drawn(line) else "found"),
        ("cut_length", float(run.cut_length)),
        ("inserted", [float(part.insertion_start), float(part.insertion_end)]),
        ("bends", [_row(b, line.tubing.springback) for b in run.bends]),
        ("bend_radius", float(radius)),
        ("stock", stock.name),
        ("turns", {"start": list(route.way.start), "end": list(route.way.end)} if route.way else {}),
        ("blockers", list(route.blockers)),
        *((("take_care", [*HARD_TUBE, *(BENDING if count else ())]),) if stock.kind != "soft" else ()),
    )
    verdict: Any = "pass"
    if route.faults:
        verdict, text = "fail", f"{text}; but {route.text}"
    elif radius < stock.least_radius:
        verdict = "caution"
        text += f"; such tube is bent to {stock.least_radius:g} at least"
    # The length follows from the corners by arithmetic; what it rests on is where the ports really are.
    length = float(run.cut_length)
    return Finding("tube", verdict, parts, text, (), length, "mm", None, length, length, where,
                   Basis("arithmetic", 0.0, assumed_by(tube)), extra=extra, place=line.name)  # fmt: skip


def _row(bend: Bend, springback: float) -> dict[str, float]:
    """One bend of the sheet: mm from the cut end to its start, turn of the tube before it, angle, and angle to bend to.

    springback: degrees a bend of 90 springs back by, the user's own figure; in proportion for other angles.
    """
    return {
        "start": round(bend.start, 3),
        "rotation": round(bend.rotation, 3),
        "angle": round(bend.angle, 3),
        "bend_to": round(bend.angle * (1 + springback / 90.0), 3),
    }
