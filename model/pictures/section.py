"""Sections: two parts cut through the witness points of a finding, with what is between them dimensioned.

Owns which findings have one, the choice of the plane, and the drawing. The number in the dimension is the finding's
own, as the JSON writes it; the picture shows where it is, and measures nothing.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from elbowroom.model.geometry.scene import Scene, Solid
from elbowroom.model.pictures import cut, frame
from elbowroom.model.pictures.camera import Camera, Fit, fit, looking
from elbowroom.model.pictures.cut import Face, Plane
from elbowroom.model.pictures.dimension import dimension
from elbowroom.model.pictures.sheet import (
    FIRST,
    OTHER,
    ROOM,
    SECOND,
    SHARED,
    SMALL,
    Box,
    Hatch,
    Picture,
    Sheet,
    fitted,
    slug,
)
from elbowroom.model.told.findings import Finding, rounded
from elbowroom.parts.vocabulary.arrays import Vector
from elbowroom.parts.vocabulary.pose import compose

PAIRS = ("interference", "clearance", "keep-out", "mate", "containment")
LEAST_MM, MOST_MM = 22.0, 260.0  # height of what is shown. By choice
TIMES = 14.0  # the height is so many times what is dimensioned: it is then wide enough to be seen
LABELLED_PX2 = 500.0  # px2 of a face from which on it gets its name. By choice
SAME_MM = 1e-6  # witness points nearer than this are one: rounding of the JSON
TILTED = 0.3  # sine under which a direction is too near the dimension's own to look along
# mm that the plane is moved by where a part has no face in it: witness points often lie at an edge that it touches.
BESIDE = (0.0, 0.02, -0.02, 0.3, -0.3, 1.0, -1.0)
USUAL = np.array([0.45, -0.75, 0.48])  # toward the viewer, as people stand before an open tower


@dataclass(frozen=True, slots=True, eq=False)
class Meeting:
    """Two sets of bodies, the ends of what is measured between them, and along what; `along` None: from one to the
    other. wall: the second is no body, but the inside of the case at the second end."""

    first: tuple[Solid, ...]
    second: tuple[Solid, ...]
    a: Vector
    b: Vector
    wall: bool = False


def meeting(finding: Finding, scene: Scene) -> Meeting | None:
    """What a finding about two bodies, or two pieces, is about; None where it has nothing to cut through."""
    if finding.question not in PAIRS or not finding.where:
        return None
    ends = [np.array(p, dtype=float) for p in finding.where]
    if finding.question == "containment":
        return _out_of_the_case(finding, scene, ends[0])
    if finding.bodies:
        named = {s.name: s for s in scene.solids}
        if any(b not in named for b in finding.bodies):
            return None
        one, other = (named[b] for b in finding.bodies)
        return Meeting((one,), (other,), ends[0], ends[-1])
    if len(finding.parts) != 2:
        return None
    sets = [tuple(s for s in scene.solids if s.piece.name == p and s.body.keep_out is None) for p in finding.parts]
    if not all(sets):
        return None
    normal = _facing(finding, scene)
    if normal is None:
        return None
    return Meeting(sets[0], sets[1], ends[0], ends[0] + float((ends[-1] - ends[0]) @ normal) * normal)


def _facing(finding: Finding, scene: Scene) -> Vector | None:
    """Which way the second frame of a mate looks that is told of."""
    for m in scene.layout.mates:
        ends = sorted([(m.piece, m.frame), (m.to_piece, m.to_frame)])
        if (m.piece, m.to_piece) == finding.parts and "-".join(f for _, f in ends) == finding.place:
            other = scene.layout.piece(m.to_piece)
            out: Vector = compose(other.pose, other.frame(m.to_frame).pose)[:3, 2]
            return out
    return None


def _out_of_the_case(finding: Finding, scene: Scene, at: Vector) -> Meeting | None:
    interior = scene.layout.interior
    own = tuple(s for s in scene.solids if s.piece.name == finding.parts[0] and s.body.keep_out is None)
    if interior is None or not own:
        return None
    over = [*(np.array(interior.lo) - at), *(at - np.array(interior.hi))]
    k = int(np.argmax(over))
    if over[k] <= 0:
        return None
    edge = at.copy()
    edge[k % 3] = interior.lo[k % 3] if k < 3 else interior.hi[k % 3]
    shell = tuple(s for s in scene.solids if s.piece.part.encloses and s.body.keep_out is None)
    return Meeting(own, shell, at, edge, wall=True)


def picture(finding: Finding, scene: Scene) -> Picture | None:
    """The section of a finding; None where there is none to draw."""
    found = meeting(finding, scene)
    if found is None:
        return None
    apart = float(np.linalg.norm(found.b - found.a))
    half = min(max(TIMES * apart, LEAST_MM), MOST_MM) / 2
    sheet = Sheet(_title(found), finding.text, finding.verdict, attributes={"finding": finding.id})
    room = frame.drawing_room(sheet)
    across = half * (room[2] - room[0]) / (room[3] - room[1])
    plane, faces = _best(found, scene, max(half, across))
    view = (-across, -half, across, half)
    put = fit(np.array(view[:2]), np.array(view[2:]), room)
    _draw(sheet, found, faces, put, room, view)
    frame.scale_bar(sheet, put, room)
    _dimension(sheet, finding, found, plane, put, room)
    marked = {s.piece.name: SECOND for s in found.second} | {s.piece.name: FIRST for s in found.first}
    frame.column(sheet, scene, plane, view, marked, _words(finding))
    rows: list[tuple[str, Hatch, str]] = [(FIRST, "rising", _named(found.first))]
    second: tuple[str, Hatch, str] = (SECOND, "falling", _named(found.second))
    if any(s.body.keep_out for s in found.first):
        rows[0] = (ROOM, "dashes", rows[0][2])
    rows.append(second)
    if finding.verdict in ("clash", "fail") and _shared(found, faces) is not None:
        rows.append((SHARED, "crossed", "what both would need"))
    if any(f.solid not in (*found.first, *found.second) for f in faces):
        rows.append((OTHER, "plain", "other parts"))
    sheet.legend(rows)
    return sheet.finished(f"section-{slug(finding.id)}")


def _title(found: Meeting) -> str:
    return f"{_named(found.first)} and {'the inside of the case' if found.wall else _named(found.second)}"


def _named(solids: Sequence[Solid]) -> str:
    return frame.name_of(solids[0]) if len(solids) == 1 else solids[0].piece.name


def _words(finding: Finding) -> list[str]:
    out = [finding.spot] if finding.spot else []
    if finding.question == "clearance" and finding.required:
        out.append(f"wanted: {number(finding.required)} {finding.unit}")
    low, high = rounded(finding.low), rounded(finding.high)
    if low is not None and high is not None and low != high:
        out.append(f"surely between {number(low)} and {number(high)} {finding.unit}")
    return out


def number(value: float | None) -> str:
    """A number as the JSON writes it."""
    return json.dumps(rounded(value))


def _best(found: Meeting, scene: Scene, reach: float) -> tuple[Plane, list[Face]]:
    """The plane in which both parts show most of themselves near the witness points, and what it cuts."""
    middle = (found.a + found.b) / 2
    both = (*found.first, *found.second)
    best: tuple[float, Plane] | None = None
    for camera in _cameras(found):
        for by in BESIDE:
            plane = Plane(middle, camera).moved(by)
            here = cut.faces(plane, both, reach)
            inside = cut.window(reach, reach)
            areas = [
                sum(f.outline.intersection(inside).area for f in here if f.solid in part)
                for part in (found.first, found.second)
            ]
            score = min(areas) + max(areas) / 1000 if not found.wall else areas[0] + areas[1] / 1000
            if best is None or score > best[0] * 1.05:
                best = (score, plane)
            if min(areas) > 0:
                break
    assert best is not None
    plane = best[1]
    shown = [s for s in scene.solids if s.body.keep_out is None or s in both]
    return plane, cut.faces(plane, shown, reach)


def _cameras(found: Meeting) -> list[Camera]:
    """The directions to look along, square to what is measured; those of the case itself."""
    d = found.b - found.a
    length = float(np.linalg.norm(d))
    out = []
    for k in (1, 0, 2):
        n = np.eye(3)[k]
        if length > SAME_MM:
            n = n - (n @ d) / length**2 * d
            if np.linalg.norm(n) < TILTED:
                continue
            n = n / np.linalg.norm(n)
        n = n if n @ USUAL > 0 else -n
        out.append(looking(n, (0, 1, 0) if k == 2 else (0, 0, 1)))
    return out


def _shared(found: Meeting, faces: Sequence[Face]) -> shapely.Geometry | None:
    """The area that both cover."""
    if found.wall:
        return None
    one, other = (
        shapely.union_all([f.outline for f in faces if f.solid in part]) for part in (found.first, found.second)
    )
    both = one.intersection(other)
    return both if both.area > 0 else None


def _draw(sheet: Sheet, found: Meeting, faces: Sequence[Face], put: Fit, room: Box, view: Box) -> None:
    inside = shapely.box(*view).buffer(1.0)
    drawn: list[tuple[Face, shapely.Geometry]] = [(f, f.outline.intersection(inside)) for f in faces]
    order = {id(s): 1 for s in found.second} | {id(s): 2 for s in found.first}
    drawn.sort(key=lambda d: (order.get(id(d[0].solid), 0), d[0].solid.body.keep_out is None))
    with sheet.group(clip=room, id="section"):
        for f, outline in drawn:
            fill, hatch = _filling(f.solid, found)
            sheet.area(
                [put(r) for r in cut.rings(outline)], fill, hatch, 1.0 if fill == OTHER else 2.0,
                "7 4" if f.solid.body.keep_out else "", data_body=f.solid.name,
            )  # fmt: skip
        both = _shared(found, faces)
        if both is not None:
            sheet.area([put(r) for r in cut.rings(both.intersection(inside))], SHARED, "crossed", 1.5)
    sheet.rect(room[0], room[1], room[2] - room[0], room[3] - room[1], stroke="#8d929b")


def _filling(solid: Solid, found: Meeting) -> tuple[str, Hatch]:
    if solid.body.keep_out is not None:
        return ROOM, "dashes"
    if solid in found.first:
        return FIRST, "rising"
    return (SECOND, "falling") if solid in found.second else (OTHER, "plain")


def label(sheet: Sheet, faces: Sequence[tuple[str, shapely.Geometry]], put: Fit, room: Box) -> None:
    """The names of cut faces on them, where one has room for its own."""
    frame_ = shapely.box(*(room[0] + 4, room[1] + 4, room[2] - 4, room[3] - 4))
    for name, outline in faces:
        areas = [
            p for q in cut.polygons(outline)
            for p in cut.polygons(_on_page(q, put).intersection(frame_))
        ]  # fmt: skip
        if not areas:
            continue
        largest = max(areas, key=lambda p: p.area)
        at = largest.representative_point()
        if largest.area < LABELLED_PX2:
            continue
        words = fitted(name, SMALL, 260.0)
        spots = [(at.x, at.y + dy, "middle") for dy in (5, -18, 28, -41, 51)]
        sheet.placed([s for s in spots if largest.contains(shapely.Point(s[0], s[1] - 5))], words, SMALL, within=room)


def _on_page(area: shapely.Polygon, put: Fit) -> shapely.Geometry:
    holes = [put(np.array(r.coords)) for r in area.interiors]
    return shapely.make_valid(shapely.Polygon(put(np.array(area.exterior.coords)), holes))


def _dimension(sheet: Sheet, finding: Finding, found: Meeting, plane: Plane, put: Fit, room: Box) -> None:
    a, b = (put(plane.flat(p)[:2]) for p in (found.a, found.b))
    if finding.measured is not None:
        sheet.attributes["measured"] = number(finding.measured)
        words = f"{number(finding.measured)} {'°' if finding.unit == 'deg' else finding.unit}"
        dimension(sheet, a, b, words, room)
    drawn = [(name, o) for name, o in _names(found, plane)]
    label(sheet, drawn, put, room)


def _names(found: Meeting, plane: Plane) -> list[tuple[str, shapely.Geometry]]:
    one, other = (shapely.union_all([cut.face(plane, s) for s in part]) for part in (found.first, found.second))
    alone = (one.difference(other), other.difference(one))  # a name on what both share would say nothing
    return [(_named(found.first), alone[0]), (_named(found.second), alone[1])]
