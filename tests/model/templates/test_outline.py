"""Outlines read from solids, held against the fields they were drawn from, formulas, and how a panel is really seen."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from elbowroom.model.build.problems import InputError
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.layout import Gaps, Layout, Piece
from elbowroom.model.store import Store
from elbowroom.model.templates.drawing import Circle, Cross, Outline, TemplateError
from elbowroom.model.templates.outline import FLATTEN_MM, regions
from elbowroom.model.templates.views import PANELS, draw, drawings, slot_of, view_of
from elbowroom.parts.case.case import Case
from elbowroom.parts.made.sheet import PlainSheet
from elbowroom.parts.vocabulary import contour
from elbowroom.parts.vocabulary.pose import IDENTITY, apply, pose

KERNEL_MM = 1e-7  # the kernel's own confusion tolerance

HOLES = (  # no mirror or turn maps these onto themselves
    {"face": "top", "at": (-40, -20), "diameter": 3.2},
    {"face": "top", "at": (35, -20), "diameter": 4.5},
    {"face": "top", "at": (-30, 22), "diameter": 6},
    {"face": "top", "at": (20, 15), "diameter": 4, "slot": 9, "angle": 25},
    {"face": "top", "at": (5, -10), "diameter": 16},
    {"face": "top", "at": (8, 20), "diameter": 5, "depth": 1.5},
)


def sheet(**fields):
    return PlainSheet(length=100, width=60, thickness=4, holes=HOLES, **fields)


def alone(part, at=IDENTITY):
    return Layout("t", (Piece("panel", part, at, ""),), (), Gaps())


def drawn(part, face):
    layout = alone(part)
    view = view_of(layout, layout.pieces[0], face)
    return draw(part, part.solids()[view.body], view, "panel")


@pytest.mark.parametrize(("face", "up"), [("top", 1), ("bottom", -1)])
def test_every_hole_stands_where_the_build_put_it(face, up):
    """The underside is seen turned over about x: x stays, y and a slot's angle change sign, the blind hole is gone."""
    d = drawn(sheet(), face)
    found = {(round(r.x - 50, 6), round(r.y - 30, 6)): r for r in d.holes}
    wanted = {(h["at"][0], up * h["at"][1]): h for h in HOLES if up > 0 or "depth" not in h}
    assert set(found) == set(wanted)
    for at, h in wanted.items():
        r = found[at]
        assert (r.diameter, r.slot) == pytest.approx((h["diameter"], h.get("slot", 0)), abs=1e-6)
        assert r.angle == pytest.approx(up * h.get("angle", 0), abs=1e-4)
        assert r.depth == (pytest.approx(h["depth"], abs=KERNEL_MM) if "depth" in h else None)
    layers = {(e.layer, e.diameter) for e in d.entities if isinstance(e, Circle)}
    assert {("drill", 3.2), ("cut", 16.0)} <= layers
    assert len([e for e in d.entities if isinstance(e, Cross)]) == len(d.holes) + 1  # a slot has two


def test_a_template_laid_on_its_own_side_lies_on_its_holes():
    """Each face, laid with its x along the face's x and its words to the reader, marks holes of the solid itself."""
    from OCP.BRepClass3d import BRepClass3d_SolidClassifier
    from OCP.gp import gp_Pnt
    from OCP.TopAbs import TopAbs_State

    part = sheet()
    solid = part.solids()["body"].wrapped

    def void(p):
        return BRepClass3d_SolidClassifier(solid, gp_Pnt(*map(float, p)), 1e-7).State() == TopAbs_State.TopAbs_OUT

    # Right, up and out as one sees them: top from above with y up; underside from below, turned over about x.
    seen = {"top": ((1, 0, 0), (0, 1, 0), (0, 0, 1), 4.0), "bottom": ((1, 0, 0), (0, -1, 0), (0, 0, -1), 0.0)}
    for face, (right, up, out, z) in seen.items():
        np.testing.assert_array_equal(np.cross(right, up), out)
        d, mirrored = drawn(part, face), 0
        for r in d.holes:
            x, y = r.x - 50, r.y - 30
            at = x * np.array(right) + y * np.array(up) + np.array([0, 0, z]) - 0.5 * np.array(out)
            assert void(at)
            mirrored += void(at * [-1, 1, 1]) + void(at * [1, -1, 1])
        assert mirrored == 0


def test_the_rear_panel_from_outside_is_as_towers_are_seen_from_behind():
    """The I/O cut-out of 158.75 x 44.45 (microATX specification 1.2, fig. 4) is left of the middle, and upright.

    From behind, a tower whose open side is at the left of its front has its board, and so its I/O cut-out, at the left.
    """
    case = Case.model_validate({})
    layout = alone(case)
    solid = case.solids()["rear"]
    outside, inside = (
        draw(case, solid, view_of(layout, layout.pieces[0], f"rear{w}"), "case") for w in ("", " inside")
    )
    middles = []
    for d in (outside, inside):
        io = [e for e in d.entities if isinstance(e, Outline) and e.inside and _is(e, 44.45, 158.75)]
        assert len(io) == 1
        x0, y0, x1, _ = d.box
        middles.append(((io[0].box[0] + io[0].box[2]) / 2 - (x0 + x1) / 2, io[0].box[1] - y0))
    assert (outside.side, inside.side) == ("outside", "inside")
    assert middles[0][0] < 0 < middles[1][0]
    assert middles[0][0] == pytest.approx(-middles[1][0], abs=1e-6)
    assert middles[0][1] == pytest.approx(middles[1][1], abs=1e-6)


def _is(e, width, height):
    x0, y0, x1, y1 = e.box
    return abs(x1 - x0 - width) < 0.01 and abs(y1 - y0 - height) < 0.01


@pytest.mark.parametrize("name", PANELS)
def test_panels_are_looked_at_square_with_a_right_handed_page(name):
    toward, up = PANELS[name]
    right = np.cross(up, toward)
    np.testing.assert_array_equal(np.cross(right, up), toward)


def test_odd_poses_arcs_and_ellipses():
    """A slab with a rounded corner and an elliptical hole, turned anyhow; the ellipse's chords by its own equation."""
    import cadquery as cq

    from elbowroom.parts.vocabulary import draw as d

    outer = d.rectangle(0, 0, 80, 50, 6)
    hole = cq.Wire.makeEllipse(12, 7, cq.Vector(30, 25, 0), cq.Vector(0, 0, 1), cq.Vector(1, 0, 0), rotation_angle=0)
    odd = pose((3, -8, 11), (1, 2, 3), (0, 1, 0))
    solid = d.baked(d.slab(outer, [hole], 3), odd)
    (region,) = regions(solid, pose(apply(odd, (0, 0, 3)), odd[:3, 2], odd[:3, 0]))
    assert contour.area(region.contour) == pytest.approx(80 * 50 - (4 - math.pi) * 36, abs=1e-6)
    assert sum(abs(v[2] - math.tan(math.pi / 8)) < 1e-9 for v in region.contour) == 4
    (opening,) = region.openings
    assert opening.circle is None
    assert opening.depth is None
    points = np.array([v[:2] for v in opening.contour]) - (30, 25)
    np.testing.assert_allclose((points[:, 0] / 12) ** 2 + (points[:, 1] / 7) ** 2, 1, atol=1e-9)
    t = np.linspace(0, 2 * math.pi, 20001)
    ellipse = shapely.LineString(np.column_stack([12 * np.cos(t), 7 * np.sin(t)]))
    assert shapely.Polygon(points).exterior.hausdorff_distance(ellipse) <= FLATTEN_MM
    with pytest.raises(TemplateError, match="no flat face"):
        regions(solid, pose((0, 0, 0), (0, 1, 5)))


def test_a_counterbore_is_seen_by_its_own_width_from_each_side():
    from elbowroom.parts.vocabulary import draw as d

    solid = d.cut(d.box((0, 0, 0), (40, 30, 6)), d.cylinder(4, 20, (12, 9, -1)), d.cylinder(9, 5, (12, 9, 3)))
    (top,) = regions(solid, pose((0, 0, 6)))
    (under,) = regions(solid, pose((0, 0, 0), (0, 0, -1), (1, 0, 0)))
    assert [(o.circle, o.depth) for o in top.openings] == [(pytest.approx((12, 9, 9)), None)]
    assert [(o.circle, o.depth) for o in under.openings] == [(pytest.approx((12, -9, 4)), None)]


def test_a_slot_is_known_from_what_only_looks_like_one():
    assert slot_of(contour.slot(3, 4, 5, 12, -40)) == pytest.approx((3, 4, 5, 12, -40), abs=1e-3)
    assert slot_of(contour.slot(0, 0, 5, 12, 90)) == pytest.approx((0, 0, 5, 12, 90), abs=1e-3)
    assert slot_of(contour.rectangle(0, 0, 12, 5)) is None
    assert slot_of(contour.circle(0, 0, 5)) is None
    assert slot_of(((0, 0, 0.0), (12, 0, 0.7), (12, 5, 0.0), (0, 5, 0.7))) is None


def test_drawings_of_a_layout_are_of_its_sheets_and_equal_ones_once(tmp_path):
    part = sheet()
    pieces = tuple(Piece(f"panel {i}", part, pose((0, 0, 50.0 * i)), "") for i in (1, 2))
    layout = Layout("t", pieces, (), Gaps())
    store = Store(tmp_path)
    scene = solidify(layout, store)
    (one,) = drawings(scene, store)
    assert one.title == "panel 1, face top (2 alike)"
    assert one.thickness == 4
    both = drawings(scene, store, ["panel 1.bottom", "panel 2"])
    assert [d.name for d in both] == ["panel 1-bottom-outside", "panel 2-top-outside"]
    with pytest.raises(InputError, match=r'no part "panle 1"; nearest: "panel 1"'):
        drawings(scene, store, ["panle 1"])
    with pytest.raises(InputError, match=r'has no flat face "lid".*known: .*top'):
        drawings(scene, store, ["panel 1.lid"])


def test_corners_on_top_of_each_other_are_one() -> None:
    from elbowroom.parts.vocabulary.contour import area, without_steps

    square = (
        (0.0, 0.0, 0.0),
        (10.0, 0.0, 0.0),
        (10.0, 0.0, 0.0),
        (10.0, 10.0, 0.0),
        (0.0, 10.0, 0.0),
        (0.0, 1e-6, 0.0),
    )
    assert len(without_steps(square)) == 4
    assert area(without_steps(square)) == pytest.approx(100.0, abs=1e-4)


def test_words_for_sides_that_are_none_all_come_out_with_their_places(tmp_path):
    from elbowroom.model.build.problems import BuildError
    from elbowroom.model.pipeline import check
    from elbowroom.model.store import Store

    file = tmp_path / "b.yaml"
    file.write_text(
        "title: t\ncase:\n  openings: {front: {face: front, size: 120, centre: {floor: 200, tray: 90}}}\n"
        "templates: {of: [case.roofs, case.roof inside, nosuch]}\n"
    )
    with pytest.raises(BuildError) as caught:
        check(file, Store.default())
    first, second = map(str, caught.value.problems)
    assert f'{file}:4:18 templates.of.0: case has no flat face "roofs"; nearest: "roof"' in first
    assert f'{file}:4:48 templates.of.2: no part "nosuch"; known: case' in second
    known = first.split("known: ")[1].split(", ")
    assert len(known) == len(set(known))
