"""Screw stacks: one screw cut along its axis, with its head, washers and layers, the thread it goes into and its tip.

Owns that drawing. Thicknesses, engagement and tip are those of the choice, as the finding of the joint tells them; the
outlines are cut from the solids that stand there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from elbowroom.model.geometry.scene import Scene, Solid
from elbowroom.model.layout.identity import Screwed
from elbowroom.model.pictures import cut, frame
from elbowroom.model.pictures.camera import Fit, looking
from elbowroom.model.pictures.cut import Face, Plane
from elbowroom.model.pictures.section import USUAL, number
from elbowroom.model.pictures.sheet import (
    ALARM,
    FIRST,
    GOOD,
    INK,
    OTHER,
    ROOM,
    SECOND,
    SMALL,
    SOFT,
    TEXT,
    Box,
    Hatch,
    Picture,
    Sheet,
    fitted,
    slug,
)
from elbowroom.model.screws.choosing import Chosen
from elbowroom.model.screws.stack import Judged, washer_layer
from elbowroom.model.told.findings import Finding
from elbowroom.parts.screw.screw_tables import head
from elbowroom.parts.vocabulary.arrays import Vector

OVER, UNDER = 3.0, 4.0  # mm shown above the head and below the tip and the end of its room
LEAST_MM = 16.0  # height shown. By choice
SIDE = 250.0  # px at the right of the drawing for the layers' names
LEFT = 186.0  # px at the left for how far the screw goes in
APART = 21.0  # px between lines of words


@dataclass(frozen=True, slots=True, eq=False)
class Level:
    """A length along the axis, from `low` to `high` mm above the receiving face, and what is said of it."""

    low: float
    high: float
    words: str
    colour: str = INK


def picture(chosen: Chosen, finding: Finding | None, scene: Scene, name: str = "") -> Picture:
    """The stack of the first of the screws that are alike."""
    axis = chosen.joint.axes[chosen.rows[0]]
    out = np.array(axis.out)
    plane = Plane(np.array(axis.origin), looking(_sideways(out), out))
    layers = _levels(chosen)
    bottom, top = _span(chosen, layers)
    half = max((top - bottom) / 2, LEAST_MM / 2)
    middle = (bottom + top) / 2
    title = (
        f"{chosen.label} into {chosen.joint.name}" if chosen.length is not None else f"screw into {chosen.joint.name}"
    )
    says, verdict = ("", "") if finding is None else (finding.text, finding.verdict)
    told = {} if finding is None else {"finding": finding.id}
    sheet = Sheet(title, says, verdict, attributes=told | {"joint": chosen.joint.name})
    x0, y0, x1, y1 = frame.drawing_room(sheet)
    room = (x0 + LEFT, y0, x1 - SIDE + frame.COLUMN * 0.32, y1)
    scale = (room[3] - room[1]) / (2 * half)
    across = (room[2] - room[0]) / 2 / scale
    put = Fit(scale, (room[0] + room[2]) / 2, (room[1] + room[3]) / 2 + scale * middle)
    view = (-across, middle - half, across, middle + half)
    rows = _draw(sheet, chosen, scene, plane, put, room, view)
    _layers(sheet, layers, put, room)
    if chosen.judged is not None:
        _depths(sheet, chosen, chosen.judged, put, room)
    frame.scale_bar(sheet, put, room)
    own = {s.piece.name: FIRST for s in scene.solids if _is_screw(s, chosen)}
    frame.column(sheet, scene, plane, view, {chosen.joint.axes[0].piece.name: SECOND} | own)
    sheet.legend(rows)
    return sheet.finished(name or f"screw-{slug(chosen.joint.name)}")


def _sideways(out: Vector) -> Vector:
    """The case's axis that is most square to the screw, from the side one stands on."""
    k = min((1, 0, 2), key=lambda k: round(abs(float(out[k])), 3))
    n: Vector = np.eye(3)[k]
    return n if float(n @ USUAL) > 0 else -n


def _levels(chosen: Chosen) -> list[Level]:
    out, at = [], 0.0
    washers = [washer_layer(chosen.thread)] * chosen.washers if chosen.length is not None else []
    for layer in (*chosen.layers, *washers):
        words = f"{layer.name} {layer.thickness:g} mm"
        out.append(Level(at, at + layer.thickness, words))
        at += layer.thickness
    return out


def _span(chosen: Chosen, layers: Sequence[Level]) -> tuple[float, float]:
    """From under the tip, and the end of its room, to over the head: mm above the receiving face."""
    top = layers[-1].high if layers else 0.0
    if chosen.length is not None:
        top += head(chosen.head, chosen.thread).height
    tip = 0.0 if chosen.judged is None else chosen.judged.tip.nominal
    depth = 0.0 if chosen.receiver is None else min(chosen.receiver.room or chosen.receiver.threaded, 40.0)
    return -max(tip, depth, 2.0) - UNDER, top + OVER


def _is_screw(solid: Solid, chosen: Chosen) -> bool:
    who = solid.piece.identity
    return isinstance(who, Screwed) and who.joint == chosen.joint.name and who.row == chosen.rows[0]


def _draw(
    sheet: Sheet, chosen: Chosen, scene: Scene, plane: Plane, put: Fit, room: Box, view: Box
) -> list[tuple[str, Hatch, str]]:
    own = chosen.joint.axes[chosen.rows[0]].piece.name
    reach = max(abs(v) for v in view)
    found = cut.faces(plane, [s for s in scene.solids if s.body.keep_out is None], reach)
    inside = shapely.box(*view).buffer(1.0)
    rows: dict[tuple[str, Hatch], str] = {}
    found.sort(key=lambda f: (_is_screw(f.solid, chosen), f.solid.piece.name == own))
    passed = {p.piece.name for p in chosen.joint.axes[chosen.rows[0]].passed}
    with sheet.group(clip=room, id="section"):
        for f in found:
            outline = f.outline.intersection(inside)
            if outline.area <= 0:
                continue
            fill, hatch, words = _filling(f, chosen, own, passed)
            sheet.area([put(r) for r in cut.rings(outline)], fill, hatch, 1.5, data_body=f.solid.name)
            rows.setdefault((fill, hatch), words)
        x, (_, y0), (_, y1) = put.at(0, 0)[0], put.at(0, view[3]), put.at(0, view[1])
        sheet.lines([[(x, y0), (x, y1)]], INK, 1, "14 4 3 4")
    sheet.rect(room[0], room[1], room[2] - room[0], room[3] - room[1], stroke="#8d929b")
    return [(fill, hatch, words) for (fill, hatch), words in rows.items()]


def _filling(f: Face, chosen: Chosen, own: str, passed: set[str]) -> tuple[str, Hatch, str]:
    if _is_screw(f.solid, chosen):
        return FIRST, "rising", "screw, washers and nut"
    if f.solid.body.material == "fins":
        return ROOM, "dots", "fins: a tip here leaks"
    if f.solid.piece.name == own:
        return SECOND, "falling", f"{own}: what it goes into"
    return (
        (OTHER, "dashes", "layers under the head") if f.solid.piece.name in passed else (OTHER, "plain", "other parts")
    )


def _layers(sheet: Sheet, layers: Sequence[Level], put: Fit, room: Box) -> None:
    """The layers' names at the right, from the head down, each on a line to its own height."""
    marks = [Level(0.0, 0.0, "receiving face", SOFT), *layers]
    heights = [put.at(0, (m.low + m.high) / 2)[1] for m in marks]
    x = room[2]
    # Words stand at their own height or, where layers are thin, as near above or below it as the others leave.
    order = sorted(range(len(marks)), key=lambda k: heights[k])
    spots = spread([heights[k] for k in order], APART, sheet.top + 8, room[3] - 6)
    for k, y in zip(order, spots, strict=True):
        m = marks[k]
        for z in {m.low, m.high}:
            yz = put.at(0, z)[1]
            sheet.lines([[(x, yz), (x + 12, yz)]], INK, 1)
        sheet.lines([[(x + 6, heights[k]), (x + 14, heights[k]), (x + 24, y)]], SOFT, 1)
        room_for = sheet.room[2] - frame.COLUMN - 12 - (x + 28)
        sheet.text(x + 28, y + 5, fitted(m.words, SMALL, room_for), SMALL, m.colour)


def spread(wanted: Sequence[float], apart: float, low: float, high: float) -> list[float]:
    """Heights as near to those wanted, which rise, as `apart` between them lets; within bounds where there is room."""
    out = list(wanted)
    for k in range(1, len(out)):
        out[k] = max(out[k], out[k - 1] + apart)
    if out and out[-1] > high:
        out[-1] = high
        for k in range(len(out) - 2, -1, -1):
            out[k] = min(out[k], out[k + 1] - apart)
    shift = max(0.0, low - out[0]) if out else 0.0
    return [y + shift for y in out]


def _depths(sheet: Sheet, chosen: Chosen, judged: Judged, put: Fit, room: Box) -> None:
    """How far the tip gets past the face, the end of its room, and what it holds by, at the left."""
    tip, end = judged.tip.nominal, None if chosen.receiver is None else chosen.receiver.room
    stop = (chosen.receiver.stop if chosen.receiver is not None else None) or "end of its room"
    levels = [(0.0, tip, f"tip {number(round(tip, 4))} mm", "past the face", INK)]
    if judged.engagement.nominal > 0:
        held = f"{number(round(judged.engagement.nominal, 4))} mm"
        levels.append((0.0, judged.engagement.nominal, f"thread {held}", f"{number(judged.wanted)} wanted", GOOD))
    if end is not None:
        levels.append((0.0, end, f"room {number(round(end, 4))} mm", f"to the {stop}", ALARM if tip > end else SOFT))
    for k, (a, b, one, two, colour) in enumerate(levels):
        x = room[0] - 22 - 58 * k
        ya, yb = put.at(0, -a)[1], put.at(0, -b)[1]
        sheet.lines([[(x, ya), (room[0], ya)], [(x - 5, yb), (room[0], yb)]], SOFT, 1, "3 3")
        sheet.lines([[(x, ya), (x, yb)]], colour, 2)
        for y, way in ((ya, 1), (yb, -1)):
            if abs(yb - ya) > 16:
                back = y + 9 * way * float(np.sign(yb - ya))
                sheet.lines([[(x - 4, back), (x, y), (x + 4, back)]], colour, 2)
        sheet.text(x, min(ya, yb) - 9, one.split()[0], SMALL, colour, "middle")
        y = room[1] + 22 + 54 * k
        sheet.text(room[0] - LEFT + 2, y, one, TEXT, colour)
        sheet.text(room[0] - LEFT + 2, y + 20, fitted(two, SMALL, LEFT - 10), SMALL, SOFT)


def screws_of(chosen: Sequence[Chosen], findings: Sequence[Finding]) -> list[tuple[Chosen, Finding | None]]:
    """Each choice with the finding that tells of it: they come in one order, joint by joint."""
    told: dict[str, list[Finding]] = {}
    for f in findings:
        if f.question == "screw" and f.about is not None and any(k == "layers" for k, _ in f.extra):
            told.setdefault(getattr(f.about, "joint", ""), []).append(f)
    for found in told.values():
        found.sort(key=lambda f: (len(f.place), f.place))
    return [(c, told[c.joint.name].pop(0) if told.get(c.joint.name) else None) for c in chosen]
