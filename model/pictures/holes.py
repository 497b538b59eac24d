"""Holes over slots: the screws of a joint seen along their axes, over the holes they are to pass.

Owns that drawing. By how much each screw misses or passes is the finding's own number; the sheet behind is cut from the
solid that stands there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from elbowroom.model.geometry.scene import Scene
from elbowroom.model.pictures import cut, frame
from elbowroom.model.pictures.camera import Fit, fit, looking
from elbowroom.model.pictures.cut import Plane
from elbowroom.model.pictures.section import number
from elbowroom.model.pictures.sheet import (
    ALARM,
    EDGES,
    FIRST,
    GOOD,
    INK,
    MARGIN,
    OTHER,
    PAPER,
    SECOND,
    SMALL,
    SOFT,
    WIDTH,
    Hatch,
    Picture,
    Sheet,
    slug,
    wrapped,
)
from elbowroom.model.screws.joints import PASSES, Joint, slots_of
from elbowroom.model.screws.joints import Fit as Passing
from elbowroom.model.screws.slot import Slot, joined
from elbowroom.model.told.findings import Finding
from elbowroom.model.told.particulars import AtJoint
from elbowroom.parts.vocabulary.arrays import Floats, Vector
from elbowroom.parts.vocabulary.pose import apply, compose

AROUND_MM = 9.0  # mm shown around the outermost holes. By choice
BEHIND_MM, THIN_MM = 120.0, 12.0  # as far, and as thin, is what is taken for the sheet a screw should pass. By choice
ROUND = 24  # sides of a quarter of a round end


@dataclass(frozen=True, slots=True)
class Spot:
    """One screw: which of the joint's it is, mm that it is off (None: there is no hole to be off from), and what is
    wrong in words; empty where it passes."""

    row: int
    off: float | None
    wrong: str


def picture(finding: Finding, scene: Scene, joints: Sequence[Joint]) -> Picture | None:
    """The picture of a finding about holes in line; None where its joint has none."""
    joint = _joint_of(finding, joints)
    if joint is None:
        return None
    passing = _fit_of(finding, joint)
    spots = _spots(finding, joint, passing)
    if not spots:
        return None
    out = np.array(joint.axes[0].out)
    up = np.array([0.0, 0.0, 1.0]) if abs(out[2]) < 0.9 else np.array([0.0, 1.0, 0.0])
    points = np.array([_seen_at(joint, s.row, finding) for s in spots])
    plane = Plane(points.mean(axis=0), looking(out, up))
    flat = plane.flat(points)[:, :2]
    sheet = Sheet(_title(finding, joint), finding.text, finding.verdict, attributes={"finding": finding.id})
    room = frame.drawing_room(sheet)
    wide = max(AROUND_MM, joint.diameter * 2)
    put = fit(flat.min(axis=0) - wide, flat.max(axis=0) + wide, room)
    slots = _outlines(passing, plane) if passing is not None else []
    with sheet.group(clip=room, id="holes"):
        _sheet_behind(
            sheet,
            finding,
            scene,
            plane.moved(_height(finding, scene, points, out)),
            put,
            max(np.abs(flat).max(initial=0.0) + wide, 20.0),
        )
        for s in slots:
            sheet.area([put(np.array(s.exterior.coords)[:-1])], PAPER, "plain", 1.6)
        for spot, (x, y) in zip(spots, flat, strict=True):
            _screw(sheet, put, (float(x), float(y)), joint.diameter, spot)
    sheet.rect(room[0], room[1], room[2] - room[0], room[3] - room[1], stroke="#8d929b")
    frame.scale_bar(sheet, put, room)
    for spot, (x, y) in sorted(zip(spots, flat, strict=True), key=lambda s: not s[0].wrong):
        _say(sheet, put, (float(x), float(y)), joint.diameter, spot, room)
    worst = max(range(len(spots)), key=lambda k: (bool(spots[k].wrong), spots[k].off or 0.0))
    lo, hi = flat.min(axis=0) - wide, flat.max(axis=0) + wide
    marked = {finding.parts[-1]: SECOND, finding.parts[0]: FIRST}
    frame.column(sheet, scene, plane, (lo[0], lo[1], hi[0], hi[1]), marked, [])
    _detail(sheet, spots[worst], (float(flat[worst][0]), float(flat[worst][1])), slots, joint)
    rows: list[tuple[str, Hatch, str]] = [(PAPER, "plain", "hole or slot"), (FIRST, "rising", "screw that passes")]
    if any(s.wrong for s in spots):
        rows.append((SECOND, "crossed", "screw that does not"))
    rows.append((OTHER, "plain", finding.parts[-1]))
    sheet.legend(rows)
    return sheet.finished(f"holes-{slug(finding.id)}")


def _joint_of(finding: Finding, joints: Sequence[Joint]) -> Joint | None:
    if finding.question != "hole-alignment" or not isinstance(finding.about, AtJoint):
        return None
    return next((j for j in joints if j.name == finding.about.joint), None)


def _fit_of(finding: Finding, joint: Joint) -> Passing | None:
    """The pattern that the finding is about; where it is about what has no hole, any of the same piece."""
    of_piece = [f for f in joint.fits if f.piece.name == finding.parts[-1]]
    exact = [f for f in of_piece if finding.place == f"{joint.name}-{f.pattern.name}"]
    return next(iter([*exact, *of_piece]), None)


def _spots(finding: Finding, joint: Joint, passing: Passing | None) -> list[Spot]:
    told = dict(finding.extra)
    off = told.get("off_mm")
    if passing is not None and isinstance(off, list) and len(off) == len(passing.rows):
        return [
            Spot(row, float(o), f"misses by {number(o)} mm" if o > PASSES else "")
            for row, o in zip(passing.rows, off, strict=True)
        ]
    blocked = {i for i, name in joint.blocked.items() if name == finding.parts[-1]}
    to_drill = set(joint.drilled)
    out = []
    for row in range(len(joint.axes)):
        wrong = "no hole" if row in blocked else "to drill" if row in to_drill and "to_drill" in told else ""
        out.append(Spot(row, None, wrong))
    return out


def _seen_at(joint: Joint, row: int, finding: Finding) -> Vector:
    """Where a screw enters the piece that the finding is about."""
    axis = joint.axes[row]
    near = next((p.near for p in axis.passed if p.piece.name == finding.parts[-1]), axis.origin)
    return np.array(near, dtype=float)


def _title(finding: Finding, joint: Joint) -> str:
    return f"screws of {joint.name} over the holes of {finding.parts[-1]}"


def _outlines(passing: Passing, plane: Plane) -> list[shapely.Polygon]:
    """The holes and slots of a pattern in the plane, those that are cut as one joined."""
    at = compose(passing.piece.pose, passing.pattern.pose)
    return [_outline(s, at, plane) for s in joined(slots_of(passing.pattern), passing.piece.part.least_web)]


def _outline(slot: Slot, at: Floats, plane: Plane) -> shapely.Polygon:
    ends = np.array([(x, y, 0.0) for x, y in slot.ends])
    p, q = plane.flat(apply(at, ends))[:, :2]
    line = shapely.LineString([p, q]) if slot.length else shapely.Point(p)
    return line.buffer(slot.width / 2, quad_segs=ROUND)


def _sheet_behind(sheet: Sheet, finding: Finding, scene: Scene, plane: Plane, put: Fit, reach: float) -> None:
    """The piece with the holes, cut just inside the face that the screws come to."""
    own = [s for s in scene.solids if s.piece.name == finding.parts[-1] and s.body.keep_out is None]
    there = next((found for by in (0.3, -0.3, 0.8, -0.8) if (found := cut.faces(plane.moved(by), own, reach))), [])
    inside = shapely.box(-reach, -reach, reach, reach)
    for f in there:
        sheet.area([put(r) for r in cut.rings(f.outline.intersection(inside))], OTHER, "plain", 1.0)


def _height(finding: Finding, scene: Scene, points: Floats, out: Vector) -> float:
    """mm beyond the places where the screws come from to the middle of the nearest thin body of the piece that has no
    hole for them; 0 where they come to its face."""
    best = 0.0
    if not finding.place.endswith("-closed"):
        return best
    k, way = int(np.argmax(np.abs(out))), float(np.sign(out[int(np.argmax(np.abs(out)))]))
    far = BEHIND_MM
    for s in scene.solids:
        if s.piece.name != finding.parts[-1] or s.body.keep_out is not None or s.hi[k] - s.lo[k] > THIN_MM:
            continue
        off = way * ((s.lo[k] + s.hi[k]) / 2 - float(points[0][k]))
        if 0 < off < far:
            best = far = off
    return float(best)


def _screw(sheet: Sheet, put: Fit, at: tuple[float, float], diameter: float, spot: Spot) -> None:
    ring = np.array(shapely.Point(at).buffer(diameter / 2, quad_segs=ROUND).exterior.coords)[:-1]
    sheet.area([put(ring)], SECOND if spot.wrong else FIRST, "crossed" if spot.wrong else "rising", 1.4)
    x, y = put.at(*at)
    r = max(put.scale * diameter / 2, 4.0)
    if spot.wrong and spot.wrong != "to drill":
        sheet.lines([[(x - r, y - r), (x + r, y + r)], [(x - r, y + r), (x + r, y - r)]], ALARM, 2.4)
    else:
        sheet.lines([[(x - r * 1.5, y), (x + r * 1.5, y)], [(x, y - r * 1.5), (x, y + r * 1.5)]], INK, 0.8)


def _say(
    sheet: Sheet,
    put: Fit,
    at: tuple[float, float],
    diameter: float,
    spot: Spot,
    room: tuple[float, float, float, float],
) -> None:
    """The screw's number, and what is wrong with it or what it has to spare."""
    x, y = put.at(*at)
    r = put.scale * diameter / 2 + 7
    words = f"{spot.row + 1}: {spot.wrong}" if spot.wrong else str(spot.row + 1)
    if not spot.wrong and spot.off is not None:
        words = f"{spot.row + 1}: {number(-spot.off + 0.0)} mm to spare"
    spots = [(x + r, y - r, "start"), (x - r, y - r, "end"), (x, y + r + 14, "middle"), (x, y - r - 4, "middle"),
             (x + r, y + r + 12, "start"), (x - r, y + r + 12, "end")]  # fmt: skip
    colour = ALARM if spot.wrong else GOOD
    if sheet.placed(spots, words, SMALL, colour, within=room) is None:
        sheet.placed(spots, words.split(":")[0], SMALL, colour, within=room)


def _detail(sheet: Sheet, spot: Spot, at: tuple[float, float], slots: Sequence[shapely.Polygon], joint: Joint) -> None:
    """The worst screw over its hole, larger, under the plan of the case."""
    x0, size = WIDTH - MARGIN - frame.COLUMN, frame.COLUMN
    y0 = sheet.height - 66 - size
    if y0 < max((b[3] for b in sheet.words if b[0] >= x0 - 4 and b[1] > sheet.top), default=0.0) + 34:
        return
    around = max(joint.diameter * 1.6, (spot.off or 0.0) + joint.diameter)
    put = fit(np.array(at) - around, np.array(at) + around, (x0, y0, x0 + size, y0 + size))
    with sheet.group(clip=(x0, y0, x0 + size, y0 + size), id="detail"):
        sheet.rect(x0, y0, size, size, fill=OTHER)
        for s in slots:
            sheet.area([put(np.array(s.exterior.coords)[:-1])], PAPER, "plain", 2)
        _screw(sheet, put, at, joint.diameter, spot)
    sheet.rect(x0, y0, size, size, stroke=EDGES[OTHER])
    words = f"screw {spot.row + 1}, {joint.thread}, larger"
    sheet.text(x0, y0 - 9, wrapped(words, SMALL, size, 1)[0], SMALL, SOFT)
