"""Drawings of a build's own parts: which face is looked at, from which side, and what its holes are for.

Owns `drawings`: for each wanted face of a piece the drawing of it, and for a build without wishes one drawing of each
sheet. Faces are a part's frames; a case's panels, which have none of their own outside, are named by their bodies.
Outline and openings are `outline`'s work; writing is left to the formats.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np

from elbowroom.model.build.problems import InputError, choices, shown
from elbowroom.model.geometry.scene import Scene, Shape
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.store import Store
from elbowroom.model.templates.apart import regions_of
from elbowroom.model.templates.drawing import (
    DRILL_LARGEST,
    Circle,
    Cross,
    Datum,
    Drawing,
    Entity,
    HoleRow,
    Outline,
    Side,
    TemplateError,
    Text,
    distinct,
)  # fmt: skip
from elbowroom.model.templates.outline import Opening, Region, regions
from elbowroom.model.templates.windows import windows
from elbowroom.parts.made.sheet import PlainSheet
from elbowroom.parts.vocabulary.base import Frame, HolePattern, Part
from elbowroom.parts.vocabulary.contour import Contour, arc_of, bounds, sides
from elbowroom.parts.vocabulary.pose import Pose, apply, compose, inverse, pose, shift
from elbowroom.parts.vocabulary.tolerances import ALIKE, PARALLEL_COS, ROUNDING

# A case's panels seen from outside: direction out of the case, and which way is up for the viewer.
PANELS: dict[str, tuple[tuple[int, int, int], tuple[int, int, int]]] = {
    "floor": ((0, 0, -1), (0, 1, 0)), "roof": ((0, 0, 1), (0, 1, 0)), "front": ((1, 0, 0), (0, 0, 1)),
    "rear": ((-1, 0, 0), (0, 0, 1)), "tray": ((0, 1, 0), (0, 0, 1)), "back-side": ((0, 1, 0), (0, 0, 1)),
    "glass": ((0, -1, 0), (0, 0, 1)), "open-side": ((0, -1, 0), (0, 0, 1)),
    "shroud": ((0, 0, 1), (0, 1, 0)),
}  # fmt: skip

TO_DRILL = "to drill"
NUMBER_MM = 2.5  # height of a hole's number; smaller where holes are close, down to LEAST_NUMBER_MM
LEAST_NUMBER_MM = 0.8
CROSS_MM = 4.0  # least size of a centre mark, and how far it stands out of a hole on each side is half of it
MOST_POCKETS = 8  # that a note is written about each; those beyond are counted. By choice
SAME_HOLE_MM = 0.01  # a drawn hole nearer than this to a declared one, and as wide, is that one
SAME_SLOT_MM = 1e-3  # a slot's ends are round and its sides parallel to this
WHOLE_TURN_RAD = 1e-3  # a slot's ends turn by a whole turn to this: SAME_SLOT_MM at an end 1 mm in radius


class View(NamedTuple):
    """A face of a part to be drawn: its body, the pose to look from (z at the viewer) and what it is called."""

    body: str
    pose: Pose
    face: str
    side: Side
    at_view: bool  # whether the face lies in the pose's own plane


def drawings(scene: Scene, store: Store, wanted: Sequence[str] = ()) -> list[Drawing]:
    """The drawings of the faces named in `wanted`, each `piece`, `piece.face` or, for a panel, `piece.body`.

    A panel may have ` inside` or ` outside` after it. Without any: of every sheet of the build, one for equal ones.

    Raises InputError for a piece or face that is none, or that has no flat outline.
    """
    shapes = {s.piece.name: s.shape for s in scene.solids}
    out, seen = [], set()
    for piece, face in _named(scene.layout, wanted):
        view = view_of(scene.layout, piece, face)
        if not wanted:
            same = (shapes[piece.name].key, view.face, view.side)
            if same in seen:
                continue
            seen.add(same)
        shape: Shape = shapes[piece.name]
        number = sum(1 for p in scene.layout.pieces if p.part.shape_key() == piece.part.shape_key())
        try:
            found = regions_of(shape, piece.part, view.body, store, view.pose, view.at_view)
            out.append(draw_regions(piece.part, found, view, piece.name, number if not wanted else 1))
        except TemplateError as e:
            raise InputError(f"no template of {shown(piece.name)}, {view.face}: {e}") from None
    return out


def faults(layout: Layout, wanted: Sequence[str]) -> list[tuple[int, str]]:
    """Which of the words in `templates: of` name no side of a placed piece: their number, and what is wrong."""
    out: list[tuple[int, str]] = []
    for i, text in enumerate(wanted):
        try:
            [(piece, face)] = _named(layout, [text])
            view_of(layout, piece, face)
        except InputError as e:
            out.append((i, str(e)))
    return out


def _named(layout: Layout, wanted: Sequence[str]) -> list[tuple[Piece, str | None]]:
    if not wanted:
        sheets = [(p, None) for p in layout.pieces if isinstance(p.part, PlainSheet)]
        return [*sheets, *((p, name) for p in layout.pieces for name in dict.fromkeys(c.sheet for c in p.part.cuts))]
    names = {p.name: p for p in layout.pieces}
    out: list[tuple[Piece, str | None]] = []
    for text in wanted:
        if text in names:
            out.append((names[text], None))
            continue
        name, _, face = text.partition(".")
        if name not in names:
            raise InputError(f"no part {shown(name)}{choices(name, names, 30)}")
        out.append((names[name], face))
    return out


def view_of(layout: Layout, piece: Piece, face: str | None) -> View:
    """How one face of a piece is looked at; its top where it is a sheet and none is named. Raises InputError."""
    part = piece.part
    word, _, side = (face or "").rpartition(" ")
    named = word if side in ("inside", "outside") and word else face
    panels = [b.name for b in part.bodies() if part.encloses and b.name in PANELS]
    if named in panels and named is not None:
        out, up = (np.array(v, dtype=float) for v in PANELS[named])
        inside = side == "inside"
        toward = -out if inside else out
        return View(
            named, pose((0, 0, 0), toward, np.cross(up, toward)), named, "inside" if inside else "outside", False
        )
    sheet = next((c for c in part.cuts if c.sheet == named), None)
    if sheet is not None:
        at = compose(sheet.pose, shift(0.0, 0.0, sheet.thickness))
        return View(sheet.body, at, f"sheet {sheet.sheet}", _side(layout, compose(piece.pose, at)), True)
    frames: dict[str, Frame] = {f.name: f for f in part.frames() if f.kind in ("face", "wall", "opening") and f.bodies}
    if named is None:
        named = "top" if "top" in frames else next(iter(panels or frames), "")
        if named in panels:
            return view_of(layout, piece, named)
    if named not in frames:
        raise InputError(
            f"{piece.name} has no flat face {shown(named)}{choices(named, dict.fromkeys([*panels, *frames]), 30)}"
        )
    frame = frames[named]
    at = frame.pose
    return View(frame.bodies[0], at, f"face {named}", _side(layout, compose(piece.pose, at)), True)


def _side(layout: Layout, at: Pose) -> Side:
    """Whether a face looks away from the middle of the case; a part without a case is always seen from outside."""
    if layout.interior is None:
        return "outside"
    middle = (np.array(layout.interior.lo) + np.array(layout.interior.hi)) / 2
    return "outside" if float((at[:3, 3] - middle) @ at[:3, 2]) >= 0 else "inside"


def draw(part: Part, solid: Any, view: View, name: str, number: int = 1) -> Drawing:
    """The drawing of one face of a solid. Raises TemplateError where there is none to draw."""
    return draw_regions(part, regions(solid, view.pose, view.at_view), view, name, number)


def draw_regions(part: Part, found: Sequence[Region], view: View, name: str, number: int = 1) -> Drawing:
    """The drawing of one face whose flat areas were found."""
    boxes = [bounds(r.contour) for r in found]
    datum = Datum(min(b[0] for b in boxes), min(b[1] for b in boxes), "the left edge and the lower edge of this view")
    entities: list[Entity] = []
    rows: list[HoleRow] = []
    purposes = _purposes(part, view)
    openings = sorted((o for r in found for o in r.openings), key=lambda o: (round(_middle(o)[1], 3), _middle(o)[0]))
    there = part.encloses  # a panel is there with its openings: only what is still to be drilled is work
    entities += [_there(_edge(r), there) for r in found]
    entities += windows(part, view.body, view.pose)
    centres = np.array([_middle(o) for o in openings if _is_hole(o)], dtype=float).reshape(-1, 2)
    for o in openings:
        if not _is_hole(o):
            entities.append(_there(_entity(o), there))
            continue
        slot, (x, y) = slot_of(o.contour), _middle(o)
        width = o.circle[2] if o.circle else slot[2] if slot else 0.0
        n, purpose = len(rows) + 1, _purpose(purposes, x, y, width, o)
        entities.append(_there(_entity(o), there and purpose != TO_DRILL))
        rows.append(
            HoleRow(n, round(x - datum.x, 6), round(y - datum.y, 6), round(width, 6), purpose,
                    slot[3] if slot else 0.0, slot[4] if slot else 0.0, o.depth)
        )  # fmt: skip
        ends = _ends(slot) if slot else ((x, y),)
        for cx, cy in ends:
            entities.append(Cross(cx, cy, width + CROSS_MM if width < DRILL_LARGEST else 2 * CROSS_MM))
        off = width / 2 * math.sqrt(0.5) + 0.6
        height = _number_height(centres, x, y)
        if height >= LEAST_NUMBER_MM:
            entities.append(Text(max(ends)[0] + off, max(ends)[1] + off, height, str(n)))
    title = f"{name}, {view.face}" + (f" ({number} alike)" if number > 1 else "")
    return Drawing(
        f"{name}-{view.face.removeprefix('face ').removeprefix('sheet ')}-{view.side}",
        title,
        view.side,
        distinct(entities),
        datum,
        tuple(rows),
        _thickness(part, view),
        _notes(openings),
    )


def _number_height(centres: Any, x: float, y: float) -> float:
    """Height of a number that does not run into the next hole's."""
    apart = np.hypot(*(centres - (x, y)).T)
    near = float(apart[apart > ALIKE].min(initial=math.inf))
    return min(NUMBER_MM, 0.3 * near)


def _edge(r: Region) -> Entity:
    return Circle("cut", *r.circle, inside=False) if r.circle else Outline("cut", r.contour, inside=False)


def _there(entity: Entity, there: bool) -> Entity:
    """The entity as a mark only, where it is there already."""
    return replace(entity, layer="mark") if there else entity


def _entity(o: Opening) -> Entity:
    if o.circle is None:
        return Outline("cut" if o.depth is None else "mark", o.contour)
    x, y, d = o.circle
    blind = o.depth is not None and d > DRILL_LARGEST
    return Circle("mark" if blind else "drill" if d <= DRILL_LARGEST else "cut", x, y, d, depth=o.depth)


def _is_hole(o: Opening) -> bool:
    return o.circle is not None or slot_of(o.contour) is not None


def _middle(o: Opening) -> tuple[float, float]:
    if o.circle:
        return o.circle[:2]
    x0, y0, x1, y1 = bounds(o.contour)
    return ((x0 + x1) / 2, (y0 + y1) / 2)


def slot_of(contour: Contour) -> tuple[float, float, float, float, float] | None:
    """Centre x and y, width, length between the end centres and angle (-90 to 90 degrees) of a slot; None: no slot."""
    straight = [(a, b) for a, b in sides(contour) if abs(a[2]) < ROUNDING]
    bent = [arc_of(a, b, a[2]) for a, b in sides(contour) if abs(a[2]) >= ROUNDING]
    if len(straight) != 2 or len(bent) not in (2, 4) or not straight:
        return None
    ends: list[tuple[float, float]] = []
    for arc in bent:  # an end may be two arcs about one centre
        if all(math.dist(arc.centre, e) > SAME_SLOT_MM for e in ends):
            ends.append(arc.centre)
    turned = sum(abs(a.sweep) for a in bent)
    if len(ends) != 2 or abs(turned - 2 * math.pi) > WHOLE_TURN_RAD or max(a.radius for a in bent) - min(
        a.radius for a in bent
    ) > SAME_SLOT_MM:  # fmt: skip
        return None
    (ax, ay), (bx, by) = ends
    length = math.dist(*ends)
    if any(abs(math.dist(a[:2], b[:2]) - length) > SAME_SLOT_MM for a, b in straight):
        return None
    angle = math.degrees(math.atan2(by - ay, bx - ax))
    angle = angle - 180 if angle > 90 else angle + 180 if angle <= -90 else angle
    x0, y0, x1, y1 = bounds(contour)
    return ((x0 + x1) / 2, (y0 + y1) / 2, 2 * bent[0].radius, length, angle)


def _ends(slot: tuple[float, float, float, float, float]) -> tuple[tuple[float, float], tuple[float, float]]:
    x, y, _, length, angle = slot
    dx, dy = length / 2 * math.cos(math.radians(angle)), length / 2 * math.sin(math.radians(angle))
    return (x - dx, y - dy), (x + dx, y + dy)


def _purposes(part: Part, view: View) -> list[tuple[float, float, float, str]]:
    """Declared holes and ports square to the view: place in it, diameter (0: any) and what they are for."""
    back, out = inverse(view.pose), []
    patterns: tuple[HolePattern, ...] = part.patterns()
    for p in patterns:
        if abs(float(p.pose[:3, 2] @ view.pose[:3, 2])) > PARALLEL_COS:
            for h in p.holes:
                x, y, _ = apply(back, apply(p.pose, (h.x, h.y, 0.0)))
                name = TO_DRILL if part.encloses and p.name.startswith("to-drill-") else p.name
                out.append((float(x), float(y), h.diameter, name + (f", thread {h.thread}" if h.thread else "")))
    for f in part.frames():
        if f.kind == "port" and f.thread and float(f.pose[:3, 2] @ view.pose[:3, 2]) > PARALLEL_COS:
            x, y, _ = apply(back, f.pose[:3, 3])
            out.append((float(x), float(y), 0.0, f"port {f.name}, thread {f.thread}"))
    return out


def _purpose(known: list[tuple[float, float, float, str]], x: float, y: float, width: float, o: Opening) -> str:
    for hx, hy, d, said in known:
        if math.hypot(hx - x, hy - y) < SAME_HOLE_MM and (d == 0.0 or abs(d - width) < SAME_HOLE_MM):
            return said
    return "" if o.circle else "slot"


def _thickness(part: Part, view: View) -> float | None:
    if isinstance(part, PlainSheet) and view.face in ("face top", "face bottom"):
        return float(part.thickness)
    return next((c.thickness for c in part.cuts if view.face == f"sheet {c.sheet}"), None)


def _notes(openings: Sequence[Opening]) -> tuple[str, ...]:
    pockets = [o for o in openings if o.depth is not None and not _is_hole(o)]
    said = [
        f"The outline about {_middle(o)[0]:.1f}, {_middle(o)[1]:.1f} is a pocket {o.depth:.1f} mm deep: do not cut it."
        for o in pockets[:MOST_POCKETS]
    ]
    if more := len(pockets) - MOST_POCKETS if len(pockets) > MOST_POCKETS else 0:
        said.append(f"{more} more outlines on the layer mark are pockets, too: do not cut them.")
    return tuple(said)
