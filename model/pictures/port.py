"""Port close-ups: a port cut along its axis, with what is screwed in or meant to be, and what stands in the way.

Owns that drawing, and the one of any finding that names a place without being about a port or a pair - a run that was
not found, a head no driver gets to: a cut through the place where it goes wrong.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import shapely

from elbowroom.model.geometry.scene import Scene, Solid
from elbowroom.model.layout.identity import Fitted, Port
from elbowroom.model.loop.plumbing import Plumbing, link_poses
from elbowroom.model.pictures import cut, frame
from elbowroom.model.pictures.camera import Fit, fit, looking
from elbowroom.model.pictures.cut import Plane
from elbowroom.model.pictures.dimension import dimension
from elbowroom.model.pictures.section import USUAL, label, number
from elbowroom.model.pictures.sheet import (
    EDGES,
    FIRST,
    INK,
    OTHER,
    ROOM,
    SECOND,
    SMALL,
    Hatch,
    Picture,
    Sheet,
    slug,
)
from elbowroom.model.told.findings import Finding
from elbowroom.model.told.particulars import AtPort
from elbowroom.parts.vocabulary.arrays import Floats, Vector
from elbowroom.parts.vocabulary.pose import apply

LEAST_MM, MOST_MM = 96.0, 300.0  # height shown: a fitting or two and the hand beside them. By choice
OFF_AXIS_MM = 0.5  # from the port's axis, beyond which the cut is turned to go through a place
MOST_ALSO = 4  # more obstacles, told beside the drawing
UPRIGHT = 0.99  # cosine within which a bar lies along its port's axis and looks alike at every turn


def picture(finding: Finding, scene: Scene, plumbing: Plumbing | None) -> Picture | None:
    """The close-up of a finding about a port, or of the place that any other names; None where it names none."""
    port = _port_of(finding)
    if port is None and not finding.where:
        return None
    pieces = {p.name: p for p in scene.layout.pieces}
    if port is not None and port.piece not in pieces:
        return None
    if port is None:
        origin, axis = np.array(finding.where[0]), np.array([0.0, 0.0, 1.0])
    else:
        pose = pieces[port.piece].frame_pose(port.frame)
        origin, axis = pose[:3, 3], pose[:3, 2]
    at = np.array(finding.where[0]) if finding.where else origin
    middle = (origin + at) / 2
    plane = Plane(middle, looking(*_across(origin, axis, at)))
    half = min(max(1.5 * float(np.linalg.norm(at - origin)) + 40.0, LEAST_MM), MOST_MM) / 2
    obstacles = _obstacles(finding)
    title = f"port {port}" if port is not None else finding.place if finding.question == "tube" else ""
    title = title or ", ".join(finding.parts) or finding.question
    sheet = Sheet(title, finding.text, finding.verdict, attributes={"finding": finding.id})
    room = frame.drawing_room(sheet)
    across = half * (room[2] - room[0]) / (room[3] - room[1])
    view = (-across, -half, across, half)
    put = fit(np.array(view[:2]), np.array(view[2:]), room)
    own = {port.piece} if port is not None else set(finding.parts) - {_piece(o) for o in obstacles}
    shown = [s for s in scene.solids if s.body.keep_out is None or s.name in obstacles]
    if port is None:
        plane = _most_shown(middle, shown, own, obstacles, across)
    found = cut.faces(plane, shown, across)
    inside = shapely.box(*view).buffer(1.0)
    rows: dict[tuple[str, Hatch], str] = {}
    named: list[tuple[str, shapely.Geometry]] = []
    with sheet.group(clip=room, id="section"):
        for f in sorted(found, key=lambda f: _rank(f.solid, own, obstacles)):
            outline = f.outline.intersection(inside)
            if outline.area <= 0:
                continue
            rank = _rank(f.solid, own, obstacles)
            fill, hatch, words = _LOOKS[rank] if f.solid.body.keep_out is None else _FREE
            sheet.area([put(r) for r in cut.rings(outline)], fill, hatch, 1.0 if rank == 0 else 1.8,
                       data_body=f.solid.name)  # fmt: skip
            rows.setdefault((fill, hatch), words)
            if rank:
                named.append((frame.name_of(f.solid), outline))
        if port is not None:
            if _wanted(sheet, finding, scene, plumbing, port, plane, put):
                rows[ROOM, "dashes"] = "what is to be screwed in"
            a, b = put(plane.flat(np.array([origin - 12 * axis, origin + 3 * half * axis]))[:, :2])
            sheet.lines([[tuple(a), tuple(b)]], INK, 1.2, "14 4 3 4")
    sheet.rect(room[0], room[1], room[2] - room[0], room[3] - room[1], stroke="#8d929b")
    if port is not None:
        x, y = put(plane.flat(origin)[:2])
        sheet.circle(float(x), float(y), 5, fill="#fbfaf6", stroke=INK, width_px=2)
        way = np.array(put(plane.flat(origin - 10 * axis)[:2])) - (x, y)
        spots = [(x + way[0] * k + dx, y + way[1] * k + 5 + dy, "middle") for k in (0.8, 1.6) for dx, dy in _ROUND]
        sheet.placed(spots, str(port), SMALL, within=room)
    frame.scale_bar(sheet, put, room)
    if finding.where:
        _number(sheet, finding, plane, put, room)
    label(sheet, named, put, room)
    marked = dict.fromkeys((_piece(o) for o in obstacles), SECOND) | dict.fromkeys(own, FIRST)
    frame.column(sheet, scene, plane, view, marked, [finding.spot, *_also(finding)])
    sheet.legend([(fill, hatch, words) for (fill, hatch), words in rows.items()])
    return sheet.finished(f"{'port' if port is not None else 'place'}-{slug(finding.id)}")


_ROUND = ((0.0, 0.0), (0.0, 26.0), (0.0, -26.0), (60.0, 0.0), (-60.0, 0.0))
_LOOKS: tuple[tuple[str, Hatch, str], ...] = (
    (OTHER, "plain", "other parts"),
    (OTHER, "dots", "fittings and tubes"),
    (FIRST, "rising", "what it is about"),
    (SECOND, "falling", "in the way"),
)


_FREE: tuple[str, Hatch, str] = (ROOM, "dots", "room that must stay free")


def _most_shown(at: Vector, solids: Sequence[Solid], own: set[str], obstacles: Sequence[str], reach: float) -> Plane:
    """Square to the case, the plane through a place that cuts most of what the finding is about and of what is in the
    way."""
    best: tuple[float, Plane] | None = None
    inside = cut.window(reach, reach)
    meant = [s for s in solids if _rank(s, own, obstacles) >= OWN]
    for k in (1, 0, 2):
        n = np.eye(3)[k] * (1 if USUAL[k] > 0 else -1)
        plane = Plane(at, looking(n, (0.0, 1.0, 0.0) if k == 2 else (0.0, 0.0, 1.0)))
        areas = [0.0, 0.0]
        for f in cut.faces(plane, meant, reach):
            areas[_rank(f.solid, own, obstacles) - OWN] += float(f.outline.intersection(inside).area)
        score = min(areas) + sum(areas) / 1000
        if best is None or score > best[0]:
            best = (score, plane)
    assert best is not None
    return best[1]


def _port_of(finding: Finding) -> Port | None:
    if isinstance(finding.about, AtPort):
        piece, _, name = finding.about.port.rpartition(".")
        return Port(piece, name)
    return None


OWN = 2  # the rank of what a finding is about; one more is what is in its way


def _rank(solid: Solid, own: set[str], obstacles: Sequence[str]) -> int:
    """Place in `_LOOKS`; what ranks higher is drawn over the others."""
    if solid.name in obstacles or solid.piece.name in obstacles:
        return OWN + 1
    if solid.piece.name in own:
        return OWN
    return 1 if isinstance(solid.piece.identity, Fitted) else 0


def _obstacles(finding: Finding) -> list[str]:
    told: Mapping[str, object] = dict(finding.extra)
    out = [told.get("obstacle"), told.get("covered_by"), *_listed(told.get("blockers"))]
    if finding.question == "tool-access":
        out += finding.parts[1:]
    out += [o.get("obstacle") for o in _listed(told.get("also")) if isinstance(o, dict)]
    return [str(o) for o in out if o]


def _listed(value: object) -> Iterable[object]:
    return value if isinstance(value, (list, tuple)) else ()


def _piece(body: str) -> str:
    return body.rpartition("/")[0] or body


def _across(origin: Vector, axis: Vector, at: Vector) -> tuple[Vector, Vector]:
    """The direction to look along, square to the port's axis and to the way to the place, and which way is up."""
    off = (at - origin) - float((at - origin) @ axis) * axis
    if np.linalg.norm(off) > OFF_AXIS_MM:
        n = np.cross(axis, off)
        n = n / np.linalg.norm(n)
    else:
        k = min((1, 0, 2), key=lambda k: round(abs(float(axis[k])), 3))
        n = np.eye(3)[k] - axis[k] * axis
        n = n / np.linalg.norm(n)
    n = n if n @ USUAL > 0 else -n
    up = np.array([0.0, 0.0, 1.0]) if abs(n[2]) < UPRIGHT else np.array([0.0, 1.0, 0.0])
    return n, up


def _wanted(
    sheet: Sheet, finding: Finding, scene: Scene, plumbing: Plumbing | None, port: Port, plane: Plane, put: Fit
) -> bool:
    """The chain that is meant for the port as far as the first bar that turns: how it would stand, if it could."""
    chain = None if plumbing is None else plumbing.chains.get(port)
    if chain is None or any(isinstance(p.identity, Fitted) and p.identity.port == port for p in scene.layout.pieces):
        return False
    shapes = []
    for link, pose in link_poses(scene.layout, chain):
        aside = False
        for a, b, radius in link.fitting.cylinders():
            p, q = apply(pose, np.array([a, b], dtype=float))
            axis = scene.layout.piece(port.piece).frame_pose(port.frame)[:3, 2]
            way = (q - p) / max(float(np.linalg.norm(q - p)), OFF_AXIS_MM)
            if abs(float(way @ axis)) < UPRIGHT:
                aside = True
                continue
            shapes.append(_bar(plane.flat(p)[:2], plane.flat(q)[:2], float(radius)))
        if aside:
            break
    whole = shapely.union_all(shapes)
    if whole.is_empty:
        return False
    for r in cut.rings(whole):
        sheet.lines([np.vstack([put(r), put(r)[:1]])], "#fbfaf6", 5)
    sheet.area([put(r) for r in cut.rings(whole)], "none", "plain", 0.1)
    for r in cut.rings(whole):
        sheet.lines([np.vstack([put(r), put(r)[:1]])], EDGES[ROOM], 2.4, "8 5")
    return True


def _bar(p: Floats, q: Floats, radius: float) -> shapely.Geometry:
    line = shapely.LineString([p, q])
    return line.buffer(radius, cap_style="flat") if line.length else shapely.Point(p).buffer(radius)


def _number(sheet: Sheet, finding: Finding, plane: Plane, put: Fit, room: tuple[float, float, float, float]) -> None:
    a, b = (put(plane.flat(np.array(p))[:2]) for p in (finding.where[0], finding.where[-1]))
    if finding.measured is None or finding.unit != "mm" or finding.question in ("coolant", "air", "loop"):
        dimension(sheet, a, a, "blocked here" if finding.verdict == "fail" else "here", room)
        return
    sheet.attributes["measured"] = number(finding.measured)
    less = number(abs(finding.measured)) if finding.measured < 0 else number(finding.measured)
    words = f"{less} {finding.unit}" + (" in the way" if finding.measured < 0 else "")
    # A bar that runs into something has no length between two points: the place is marked where it ends.
    dimension(sheet, a, b if finding.measured > 0 else a, words, room)


def _also(finding: Finding) -> list[str]:
    told = dict(finding.extra)
    more = [o for o in _listed(told.get("also")) if isinstance(o, dict) and isinstance(o.get("short_mm"), (int, float))]
    return [f"also {o.get('obstacle')}: {number(o['short_mm'])} mm" for o in more[:MOST_ALSO]]
