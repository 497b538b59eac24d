"""Draining: by which port, with the case on which side, and how much of the coolant stays in.

Owns that verdict. What stays is told by how much of each part's height, and of each tube's length, lies lower than the
port, and bounded by parts that do wholly and by all that reach lower. Leaves heights to `levels`, and which port is
free to `coolant_levels`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from elbowroom.model.layout.identity import Port
from elbowroom.model.loop.coolant_volume import Share
from elbowroom.model.loop.levels import LEVEL_MM, Stand, below, held_in, seal_middle, standing_on
from elbowroom.model.told.findings import Finding, Verdict
from elbowroom.model.told.wordings import ml, whole_mm

if TYPE_CHECKING:
    from elbowroom.model.checks.coolant_levels import Levels

# Common practice, no source: the share of the coolant that may stay in before a drain is cautioned of, and the part of
# what stays that another way to drain may leave to be worth the turning.
STAYS, LESS = 0.25, 0.6
_SIDES = {"open": "open side", "tray": "tray side"}
# Sides a case is laid on to drain it: neither its glass nor its head, and not its tray, since a hose then has no way
# out that leads down (P).
_LAID = ("floor", "rear", "front")
_NOT_SO = {
    "open": "lay it on no glass, nor on an open side",
    "tray": "its open side then looks up, so that a hose drains it only as long as it is sucked over the edge",
    "roof": "a case is not made to stand on its roof",
}
_UNDONE = "what stays comes out where the loop is opened: have a tray and cloths under it, everything unpowered"


def drain(levels: Levels) -> Finding:
    chosen, best = levels.plumbing.drain, levels.best(levels.free, levels.lying, -1)
    side = levels.lying.side
    posed = f"with the case {'standing' if side == 'floor' else 'lying'} on its {_SIDES.get(side, side)}"
    port = chosen or best
    if port is None:
        got_at = " that a hand gets at" if levels.shut else ""
        text = f"no port of the loop{got_at} is free to drain it by, {posed}: a tube must be undone"
        remedies = ["choose a part with a free port low down, and put a valve in it"]
        return levels.about("caution", levels.net.reached(), text, "drain", (), remedies)
    h, (stay, low, high) = levels.high(port, levels.lying), _stays(levels, port, levels.lying)
    whole = math.fsum(s.ml for s in levels.held)
    stays = f"about {ml(stay, rough=True)} of {ml(whole, rough=True)} stay in, lower than the port"
    stays += f" ({ml(low, rough=True)} to {ml(high, rough=True)}: parts are counted by their outer sizes; "
    stays += "what low bends of tube hold back comes on top)"
    extra: tuple[tuple[str, Any], ...] = (("height_mm", h), ("stays_ml", stay), ("holds_ml", whole))
    where, remedies = [levels.at(port)], list[str]()
    verdict: Verdict = "pass"
    much = stay > STAYS * whole
    if much:
        verdict = "caution"
        remedies += _emptier(levels, stay)
    if chosen is None:
        text = f"the best port to drain by, {posed}, is {port}: the lowest free one, {levels.over(h)}; {stays}"
        if side in _NOT_SO:
            text += f"; {_NOT_SO[side]}"
            verdict = "caution"
    else:
        said = [f"the loop is drained by {port}, {posed}, {levels.over(h)}"]
        fault = levels.occupied(port)
        if fault:
            said.append(fault)
            verdict = "caution"
        if best is not None and best != port:
            deeper = h - levels.high(best, levels.lying)
            if deeper > LEVEL_MM:
                left = _stays(levels, best, levels.lying)[0]
                said.append(f"{best} is {whole_mm(deeper)} lower, and about {ml(left, rough=True)} would stay")
                verdict = "caution"
                where.append(levels.at(best))
            if fault or deeper > LEVEL_MM:
                remedies.insert(0, f"drain by {best}")
        elif best == port:
            said.append("the lowest that is free")
        if side in _NOT_SO:
            said.append(_NOT_SO[side])
            verdict = "caution"
        text = "; ".join([*said, stays])
    return levels.about(
        verdict, [port.piece], text, "drain", tuple(where), remedies, stay, "ml", STAYS * whole, low, high, extra
    )


def _emptier(levels: Levels, stay: float) -> list[str]:
    """What leaves clearly less in the loop: another free port, with the case on another side."""
    found = []
    for side in _LAID:
        at = standing_on(levels.layout, side)
        port = levels.best(levels.free, at, -1)
        if port is not None:
            found.append((_stays(levels, port, at)[0], side, port))
    if not found:
        return []
    least, side, port = min(found)
    if least > LESS * stay:
        return [_UNDONE]
    how = f"{'standing' if side == 'floor' else 'laid'} on its {_SIDES.get(side, side)}"
    by = "" if port == levels.plumbing.drain else f" by {port}"
    return [f"drain it{by} with the case {how}: about {ml(least, rough=True)} stay", _UNDONE]


def _stays(levels: Levels, port: Port, at: Stand) -> tuple[float, float, float]:
    """What stands lower than a port, ml: by how much of each part's height does, in parts that do wholly, and in
    all that reach lower."""
    level = levels.high(port, at)
    about, least, most = [], [], []
    for share in levels.held:
        part = _below(levels, share, level, at)
        bounds = (float(part >= 1.0), float(part > 0.0)) if share.kind == "part" else (part, part)
        about.append(share.ml * part)
        least.append(share.low * bounds[0])
        most.append((share.ml if share.high is None else share.high) * bounds[1])
    return math.fsum(about), math.fsum(least), math.fsum(most)


def _below(levels: Levels, share: Share, level: float, stands: Stand) -> float:
    """How much of a share lies below a level, 0 to 1."""
    if share.kind == "part":
        piece = levels.layout.piece(share.name)
        low, high = stands.span(piece, held_in(piece))
        return min(1.0, max(0.0, (level - low) / (high - low)))
    if share.kind == "fittings":
        at = stands.height(seal_middle(levels.layout, next(p for p in levels.net.frames if str(p) == share.name)))
        return float(at < level)
    line = next(li for li in levels.plumbing.lines if li.name == share.name)
    return below(levels.layout, line, levels.tubes.get(line.name), stands, level)
