"""Drawing of a case: each panel one face with its holes, extruded; standoffs, shroud, cage and feet beside it.

Owns the outlines of the panels and how they close at the edges: floor and roof run the full depth, front and rear stand
between them, the tray stands inside all four, and what closes the sides lies over their edges. Cuts that meet are cut
as one: what is wrong with them is told by `case_faults`, and each body is one valid solid all the same.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from cadquery import Shape, Wire

from elbowroom.parts.case import case_cuts
from elbowroom.parts.case.case_holes import drilled
from elbowroom.parts.case.case_openings import FACE_AXES, Cut
from elbowroom.parts.vocabulary import draw
from elbowroom.parts.vocabulary.pose import Pose, pose, shift
from elbowroom.parts.vocabulary.threads import thread

if TYPE_CHECKING:
    from elbowroom.parts.case.case import Case


def draw_case(case: Case) -> dict[str, Shape]:
    """Every body of the case, by name, in the order of `Case.bodies`."""
    out: dict[str, Shape] = {}
    t, (d, _, h), back = float(case.sheet), case.size, case.back
    for face in ("floor", "roof", "front", "rear", "tray"):
        out[face] = _panel(case, face)
    side = draw.rectangle(-t, -t, d + t, h + t)
    if case.cable_space > 0:
        out["back-side"] = draw.baked(draw.slab(side, (), t), _plane("tray", back + t))
    name = case.panel("open")
    if name is not None:
        out[name] = _panel(case, "open", case.side_thickness, 0.0)
    out.update(_standoffs(case))
    out.update(_meshes(case))
    if case.psu_shroud:
        plates = {n: draw.box(b.lo, b.hi) for n, b in case.psu_shroud.plates(case.interior).items()}
        s, top = float(case.psu_shroud.sheet), float(case.psu_shroud.height)
        through = [draw.cylinder(c.width, s + 2, (c.u, c.v, top - 1)) for c in drilled(case, "shroud")]
        if through:
            plates["top"] = draw.cut(plates["top"], *through)
        out["shroud"] = draw.fuse(*plates.values())
    if case.drive_cage:
        out["drive-cage"] = _cage(case)
    out.update(_feet(case))
    return {b.name: out[b.name] for b in case.bodies()}


def _plane(face: str, at: float) -> Pose:
    """Pose that lays a sketch of a face's axes at a coordinate along the third; the sketch's z is +z, +x or -y."""
    if FACE_AXES[face] == ("x", "y"):
        return shift(z=at)
    if FACE_AXES[face] == ("y", "z"):
        return pose((at, 0, 0), (1, 0, 0), (0, 1, 0))
    return pose((0, at, 0), (0, -1, 0), (1, 0, 0))


def _wire(c: Cut) -> Wire:
    if c.kind == "slot":
        return draw.slot(c.u, c.v, c.width, c.length, 90.0 if c.along_v else 0.0)
    r = c.rect
    return draw.rectangle(r.u0, r.v0, r.u1, r.v1, c.radius)


def _panel(case: Case, face: str, thickness: float | None = None, at: float | None = None) -> Shape:
    """One panel; thickness and place along its axis as the face has them where they are not given."""
    t, (d, w, h) = float(case.sheet), case.size
    thick = t if thickness is None else thickness
    free, meeting = case_cuts.sorted_cuts(case, face)
    sheet = draw.slab(draw.polygon(case_cuts.outline(case, face)), [_wire(c) for c in free], thick)
    tools = (draw.baked(draw.slab(_wire(c), (), thick + 2.0), shift(z=-1.0)) for c in meeting)
    sheet = draw.largest_left(sheet, *tools)
    start = {"floor": -t, "roof": h, "front": d, "rear": -t, "tray": w + t}
    return draw.baked(sheet, _plane(face, start[face] if at is None else at))


def _standoffs(case: Case) -> dict[str, Shape]:
    if case.board is None:
        return {}
    r = case.board.flats / math.sqrt(3)  # corner radius of a hexagon
    hexagon = draw.polygon([(r * math.cos(k * math.pi / 3), r * math.sin(k * math.pi / 3)) for k in range(6)])
    one = draw.slab(hexagon, [draw.circle(0, 0, thread(case.board.thread).bore)], float(case.board.standoff))
    ox, _, oz = case.board.origin(case.interior)
    tray = case.size[1]
    return {
        name: draw.baked(one, pose((ox + x, tray, oz + y), (0, -1, 0), (1, 0, 0)))
        for name, (_, x, y) in zip(case.standoffs(), case.board.hole_centres(), strict=True)
    }


def _meshes(case: Case) -> dict[str, Shape]:
    """A sheet of mesh filling the window of each mesh opening, as thick as its panel."""
    out: dict[str, Shape] = {}
    for name, o in case.openings.items():
        if o.air == "mesh":
            t, (d, w, h) = case.thickness(o.face), case.size
            at = {"floor": -t, "roof": h, "front": d, "rear": -t, "tray": w + t, "open": 0.0}[o.face]
            window = _wire(o.window_cut(case.face_size(o.face)))
            out[f"{name}-mesh"] = draw.baked(draw.slab(window, (), t), _plane(o.face, at))
    return out


def _cage(case: Case) -> Shape:
    """Shelves and walls as one profile in x and z, drawn along y."""
    cage = case.drive_cage
    assert cage is not None  # asked for only where there is one
    s, b = float(cage.sheet), cage.box(case.interior)
    w, h = float(cage.size.depth), float(cage.size.height)
    bays = []
    for i in range(cage.bays):
        z = s + i * (cage.bay_height + s)
        bays.append(draw.rectangle(s, z, w - s, z + cage.bay_height))
    profile = draw.slab(draw.rectangle(0, 0, w, h), bays, float(cage.size.width))
    return draw.baked(profile, pose((b.lo[0], b.hi[1], b.lo[2]), (0, -1, 0), (1, 0, 0)))


def _feet(case: Case) -> dict[str, Shape]:
    if case.feet is None:
        return {}
    f, box = case.feet, case.box()
    r, height = f.diameter / 2, float(f.height)
    bevel = min(r, height) * 0.2
    foot = draw.turned([(0, 0), (r, 0), (r, -(height - bevel)), (r - bevel, -height), (0, -height)])
    x = (box.lo[0] + f.inset, box.hi[0] - f.inset)
    y = (f.inset, case.back - f.inset)
    corners = [(a, b) for a in x for b in y]
    z = -float(case.sheet)
    return {f"foot-{i}": draw.baked(foot, shift(a, b, z)) for i, (a, b) in enumerate(corners, 1)}
