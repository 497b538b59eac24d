"""Question 3: has every run of the loop a tube that can be bent and laid?

Owns one finding for each run: cut length, what is inserted and the bends where it has a way; what blocks it, or the
proof that there is none, where it has not. Finding the way is `routing`'s work.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from elbowroom.model.checks.wordings import assumed_by, mm
from elbowroom.model.findings import Basis, Finding
from elbowroom.model.layout import Piece
from elbowroom.model.plumbing import Line, Plumbing
from elbowroom.model.routing import Route, drawn
from elbowroom.parts.bends import Bend
from elbowroom.parts.tube import TubeRun


def check(plumbing: Plumbing, routes: Mapping[str, Route], tubes: Mapping[str, Piece]) -> list[Finding]:
    """One finding for each run that was asked for."""
    return [_run(line, routes[line.name], tubes.get(line.name)) for line in plumbing.lines if line.name in routes]


def _run(line: Line, route: Route, tube: Piece | None) -> Finding:
    parts = (line.start.port.piece, line.end.port.piece)
    stock, radius = line.tubing.stock, line.tubing.radius
    where = () if route.at is None else (route.at,)
    if tube is None:
        outcome = "impossible" if route.impossible else "not found"
        text = f"no run {line.name} in {stock.about}: {route.text}"
        extra: tuple[tuple[str, Any], ...] = (("outcome", outcome), ("blockers", list(route.blockers)))
        return Finding("tube", "fail", parts, text, where=where, extra=extra, place=line.name)
    part = tube.part
    assert isinstance(part, TubeRun)  # laying makes nothing else
    run, count = part.run, len(part.run.bends)
    text = f"run {line.name}: cut {mm(run.cut_length)} of {stock.about}, "
    text += f"{count} bend{'' if count == 1 else 's'} of radius {radius:g}" if count else "straight"
    extra = (
        ("outcome", "drawn by hand" if drawn(line) else "found"),
        ("cut_length", float(run.cut_length)),
        ("inserted", [float(part.insertion_start), float(part.insertion_end)]),
        ("bends", [_row(b, line.tubing.springback) for b in run.bends]),
        ("bend_radius", float(radius)),
        ("stock", stock.name),
        ("turns", {"start": list(route.way.start), "end": list(route.way.end)} if route.way else {}),
        ("blockers", list(route.blockers)),
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
