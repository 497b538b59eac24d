"""Notches cut and measured: gaps by the exact kernel on the drawn sheet, what is removed against closed formulas."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from elbowroom.model.geometry.tessellate import tessellate
from elbowroom.model.templates.arcs import fitted
from elbowroom.model.templates.drawing import TemplateError
from elbowroom.model.templates.notch import FIT_MM, Obstacle, Sheet, notch
from elbowroom.parts.made.sheet import PlainSheet
from elbowroom.parts.vocabulary import contour, draw
from elbowroom.parts.vocabulary.cutouts import cutout_of
from elbowroom.parts.vocabulary.pose import IDENTITY, apply, compose, pose, rotation

T = 2.0  # mm: the sheet's thickness
SHEET = Sheet(IDENTITY, T, shapely.box(-50, -30, 50, 30))
KERNEL_MM = 1e-5  # the kernel's extrema stop near 1e-6


def obstacle(solid, name="o"):
    mesh = tessellate(solid.wrapped, 1.0)
    return Obstacle(name, mesh.vertices, mesh.triangles, mesh.bound)


def cut_sheet(found):
    part = PlainSheet(length=100, width=60, thickness=T, cutouts=tuple(cutout_of(c.contour) for c in found.cuts))
    return part.solids()["body"]


def distance(a, b):
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape

    return BRepExtrema_DistShapeShape(a.wrapped, b.wrapped).Value()


def polygon(cut, chord=1e-3):
    return shapely.Polygon(contour.flattened(cut.contour, chord))


def turned(solid, at):
    return draw.baked(solid, at)


def aslant(at, axis, degrees):
    return compose(pose(at), rotation(axis, degrees))


SOLIDS = {
    "fitting upright": lambda: draw.cylinder(18, 40, (10, 5, -20)),
    "tube aslant": lambda: turned(draw.cylinder(13, 160, (0, 0, -80)), aslant((-5, 3, 1), (1, 2, 0.5), 50)),
    "ball beside": lambda: turned(
        draw.turned([(0, -9), *((9 * math.cos(a), 9 * math.sin(a)) for a in np.linspace(-1.2, 1.2, 13)), (0, 9)]),
        pose((20, -10, T + 9.5)),
    ),
    "block over the edge": lambda: draw.box((30, -12, -3), (70, 7, 5)),
    "block hovering": lambda: draw.box((-20, -10, T + 1.2), (5, 8, T + 9)),
    "block aslant": lambda: turned(draw.box((-8, -8, -8), (8, 8, 8)), aslant((-30, 10, 1), (1, 1, 0), 33)),
}  # fmt: skip


@pytest.mark.parametrize("tool", [0.0, 3.0, 9.0])
@pytest.mark.parametrize("name", SOLIDS)
def test_the_cut_sheet_clears_the_obstacle_by_the_gap(name, tool):
    """Independent: the sheet drawn with the cut against the obstacle's exact solid, by OCCT's distance."""
    gap, solid = 2.0, SOLIDS[name]()
    found = notch(SHEET, [obstacle(solid)], gap, tool)
    assert found.cuts
    body = cut_sheet(found)
    assert distance(body, solid) >= gap - KERNEL_MM
    assert body.Volume() == pytest.approx(T * (6000 - sum(c.area for c in found.cuts)), abs=0.5)


@pytest.mark.parametrize("name", SOLIDS)
def test_no_more_is_cut_than_the_stated_excess_asks(name):
    """`excess` inside the cut's edge, a line through the sheet's thickness already comes nearer than the gap (OCCT)."""
    import cadquery as cq

    gap, solid = 2.0, SOLIDS[name]()
    found = notch(SHEET, [obstacle(solid)], gap)
    assert found.excess < 0.5
    checked = 0
    for cut in found.cuts:
        inner = polygon(cut).intersection(SHEET.outline).buffer(-found.excess, quad_segs=2)
        edge = SHEET.outline.exterior
        for at in np.linspace(0, 1, 40, endpoint=False):
            p = inner.exterior.interpolate(at, normalized=True)
            if p.distance(edge) <= found.excess + 1e-6:
                continue  # where the sheet itself ends there is nothing to be cut
            line = cq.Edge.makeLine(cq.Vector(p.x, p.y, 0), cq.Vector(p.x, p.y, T))
            assert distance(line, solid) <= gap + KERNEL_MM
            checked += 1
    assert checked > 20


def test_areas_of_a_round_fitting_are_the_circle_s():
    solid = draw.cylinder(18, 40, (0, 0, -20))
    found = notch(SHEET, [obstacle(solid)], 2.0, 3.0)
    (cut,) = found.cuts
    assert cut.kind == "hole"
    assert math.pi * 11**2 <= cut.area <= math.pi * (11 + found.excess) ** 2
    assert len(cut.contour) == 2  # a circle, drawn as one
    assert cut.web == pytest.approx(30 - math.sqrt(cut.area / math.pi), abs=0.01)


def test_a_sphere_over_the_sheet_needs_only_what_it_reaches():
    """A point at height h reaches sqrt(gap2 - h2) of the sheet; here a sphere of 10, its centre 11 over the face."""
    import cadquery as cq

    sphere = cq.Solid.makeSphere(10, cq.Vector(0, 0, 0), cq.Vector(0, 0, 1), -90, 90, 360)
    found = notch(SHEET, [obstacle(draw.baked(sphere, pose((0, 0, T + 11))))], 2.0)
    reach = math.sqrt(12**2 - 11**2)
    # A mesh off by its bound in height changes the reach by bound x 11 / reach: steep at a shallow cap.
    lean = found.excess * 12 / reach
    assert math.pi * reach**2 <= found.cuts[0].area <= math.pi * (reach + lean) ** 2


def test_notch_or_hole_what_falls_and_what_is_left():
    tube = draw.cut(draw.cylinder(30, 40, (0, 0, -20)), draw.cylinder(24, 50, (0, 0, -25)))
    found = notch(SHEET, [obstacle(tube)], 1.0, 3.0)
    assert [c.kind for c in found.cuts] == ["hole"]
    (disc,) = found.fallen  # inside the tube: 24 / 2 - 1
    assert math.pi * (11 - found.excess) ** 2 <= disc <= math.pi * 11**2
    across = notch(SHEET, [obstacle(draw.box((20, -40, -5), (30, 40, 5)))], 1.0)
    assert [c.kind for c in across.cuts] == ["notch"]
    assert across.fallen == (pytest.approx(19 * 60, abs=60 * across.excess),)
    assert across.left.bounds == pytest.approx((-50, -30, 19, 30), abs=across.excess)
    holed = Sheet(IDENTITY, T, SHEET.outline.difference(shapely.Point(20, 0).buffer(3)))
    near = notch(holed, [obstacle(draw.box((0, -5, -5), (10, 5, 5)))], 2.0)
    assert near.cuts[0].web == pytest.approx(20 - 3 - 12, abs=near.excess)
    clear = notch(SHEET, [obstacle(draw.box((0, 0, T + 2.5), (10, 10, 9)))], 2.0)
    assert clear.cuts == ()
    assert clear.left is SHEET.outline


@pytest.mark.parametrize("tool", [3.0, 6.0, 14.0, 40.0])
def test_no_corner_is_sharper_than_the_tool(tool):
    """Every point of the cut is reached by a disc of the tool's radius that stays in it: opening loses nothing."""
    solid = draw.box((-12, -7, -5), (9, 8, 5))
    (cut,) = notch(SHEET, [obstacle(solid)], 1.0, tool).cuts
    shape, r = polygon(cut), tool / 2
    slack = 0.05 + FIT_MM  # mm: of fitting, and of the chords of GEOS' own buffers
    opened = shape.buffer(slack / 2).buffer(-r, quad_segs=64).buffer(r + slack, quad_segs=64)
    assert shape.difference(opened).area < 1e-3
    assert distance(cut_sheet(notch(SHEET, [obstacle(solid)], 1.0, tool)), solid) >= 1.0 - KERNEL_MM
    if tool == 3.0:
        assert cut.area > (23 * 17 - (4 - math.pi) * 1.5**2) - 1e-3


def test_the_sheet_s_own_pose_is_taken_into_account():
    at = compose(pose((7, -30, 55)), rotation((1, 2, 3), 71))
    placed = Sheet(at, T, SHEET.outline)
    here = obstacle(SOLIDS["tube aslant"]())
    there = Obstacle("o", apply(at, here.vertices), here.triangles, here.bound)
    a, b = (notch(s, [o], 2.0, 3.0) for s, o in ((SHEET, here), (placed, there)))
    assert polygon(a.cuts[0]).symmetric_difference(polygon(b.cuts[0])).area < 0.05


def test_bad_wishes_and_open_meshes_are_told():
    o = obstacle(draw.box((0, 0, 0), (5, 5, 5)))
    for gap, tool in ((-1.0, 0.0), (math.nan, 0.0), (1.0, -2.0), (math.inf, 0.0)):
        with pytest.raises(TemplateError, match="expected lengths of 0 mm or more"):
            notch(SHEET, [o], gap, tool)
    with pytest.raises(TemplateError, match="the shape of lid is no closed surface"):
        notch(SHEET, [Obstacle("lid", o.vertices, o.triangles[:-1])], 1.0)
    with pytest.raises(TemplateError, match="leaves nothing of the sheet"):
        notch(SHEET, [obstacle(draw.box((-60, -40, -5), (60, 40, 5)))], 1.0)


@settings(max_examples=40, deadline=None)
@given(st.floats(2, 40), st.floats(0, 60), st.floats(0, 360), st.integers(16, 40))
def test_fitted_outlines_stray_no_farther_than_they_may(width, length, angle, quadrant):
    """A slot's ring of chords becomes few sides and arcs within the tolerance, by GEOS' Hausdorff distance."""
    a = math.radians(angle)
    ends = [(k * length * math.cos(a) / 2, k * length * math.sin(a) / 2) for k in (-1, 1)]
    ring = np.array(shapely.LineString(ends).buffer(width / 2, quad_segs=quadrant).exterior.coords)[:-1]
    found = fitted(ring, FIT_MM)
    assert len(found) <= max(12, len(ring) // 2)
    back = shapely.Polygon(contour.flattened(found, 1e-3))
    assert back.exterior.hausdorff_distance(shapely.Polygon(ring).exterior) <= FIT_MM + 2e-3 + width / 2 * (
        1 - math.cos(math.pi / 4 / quadrant)
    )
