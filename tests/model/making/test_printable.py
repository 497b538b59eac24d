"""What a printer can and cannot make: each rule on a body whose answer is known by hand, just inside and just out."""

from __future__ import annotations

import math

import manifold3d as m3
import numpy as np
import pytest

from elbowroom.model.build.make_spec import PrinterSpec
from elbowroom.model.geometry.scene import Mesh
from elbowroom.model.making.mesh import Skin, skin
from elbowroom.model.making.printable import judge
from elbowroom.model.making.spans import spans
from elbowroom.model.making.walls import thinnest
from elbowroom.parts.made.primitives import PlainBox
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import IDENTITY, rotation, shift

SMALL_MM = 1e-3  # what 32-bit corners change at these sizes, and to spare
STEP_REL = 0.01  # of a span: samples stand so close, and directions 7.5 degrees apart
PRINTER = PrinterSpec()


def mesh_of(solid: m3.Manifold) -> Mesh:
    found = solid.to_mesh64()
    return Mesh(np.array(found.vert_properties)[:, :3], np.array(found.tri_verts, dtype=np.int32), 0.0, solid.volume())


def printed(solid: m3.Manifold) -> Skin:
    return skin([mesh_of(solid)], IDENTITY)


def box(x0: float, y0: float, z0: float, x1: float, y1: float, z1: float) -> m3.Manifold:
    return m3.Manifold.cube((x1 - x0, y1 - y0, z1 - z0)).translate((x0, y0, z0))


def gate(gap: float) -> m3.Manifold:
    """Two posts with a beam over the gap."""
    return box(-10, 0, 0, 0, 12, 20) + box(gap, 0, 0, gap + 10, 12, 20) + box(-10, 0, 20, gap + 10, 12, 24)


def verdicts(s: Skin, printer: PrinterSpec = PRINTER, part: PlainBox | None = None) -> dict[str, list[tuple[str, str]]]:
    out: dict[str, list[tuple[str, str]]] = {}
    for v in judge(part or PlainBox(), IDENTITY, s, printer, frozenset({"body"})):
        out.setdefault(v.question, []).append((v.verdict, v.text))
    return out


def graded(s: Skin, question: str, printer: PrinterSpec = PRINTER) -> set[str]:
    return {verdict for verdict, _ in verdicts(s, printer).get(question, [])}


@pytest.mark.parametrize(
    ("gap", "grade"), [(6.0, "pass"), (9.9, "pass"), (10.2, "caution"), (24.8, "caution"), (25.2, "fail"), (60, "fail")]
)
def test_a_bridge_is_judged_by_its_span(gap: float, grade: str) -> None:
    s = printed(gate(gap))
    [span] = spans(s)
    assert span.one_way
    assert span.span == pytest.approx(gap, rel=STEP_REL)
    assert span.area == pytest.approx(gap * 12, rel=1e-6)
    assert graded(s, "bridge") == {grade}
    assert graded(s, "overhang") == {"pass"}


def test_a_bridge_takes_the_short_way() -> None:
    """A ceiling held all round, 40 x 9: bridged across its 9 mm, not along its 40."""
    s = printed(box(0, 0, 0, 50, 19, 12) - box(5, 5, 0, 45, 14, 8))
    [span] = spans(s)
    assert span.span == pytest.approx(9.0, rel=STEP_REL)


@pytest.mark.parametrize(("reach", "grade"), [(0.3, "pass"), (0.5, "fail"), (8.0, "fail")])
def test_a_ledge_that_nothing_holds_needs_support(reach: float, grade: str) -> None:
    """A line's width (0.4 mm) is carried by the line below it; more hangs in the air."""
    s = printed(box(0, 0, 0, 10, 12, 20) + box(0, 0, 20, 10 + reach, 12, 24))
    [span] = spans(s)
    assert span.span is None
    assert span.open_area == pytest.approx(reach * 12, rel=1e-4)
    assert span.reach == pytest.approx(reach, rel=0.2)  # the farthest sample stands half a step from the edge
    assert span.where == pytest.approx((10 + reach / 2, 6, 20), abs=SMALL_MM)
    assert graded(s, "overhang") == {grade}


@pytest.mark.parametrize(("degrees", "grade"), [(0, "pass"), (44, "pass"), (45, "pass"), (47, "fail"), (70, "fail")])
def test_an_overhang_is_judged_by_its_angle(degrees: float, grade: str) -> None:
    """A leaning wall, 20 mm high: its lower side leans by the angle from the vertical."""
    run = 20 * math.tan(math.radians(degrees))
    points = [(x + lean, y, z) for z, lean in ((0, 0.0), (20, run)) for x in (0, 10) for y in (0, 15)]
    s = printed(m3.Manifold.hull_points(np.array(points, dtype=float)))
    assert graded(s, "overhang") == {grade}
    if grade == "fail":
        assert sum(f.open_area for f in spans(s)) == pytest.approx(15 * math.hypot(20, run), rel=1e-3)


def test_a_hole_on_its_side_is_carried_by_its_own_arch() -> None:
    """Of a round ceiling only what leans over 45 degrees is over air: a chord of d sin 45."""
    hole = m3.Manifold.cylinder(30, 4, 4, 128, True).rotate((0, 90, 0)).translate((0, 0, 10))
    [span] = spans(printed(box(-10, -10, 0, 10, 10, 20) - hole))
    assert span.span == pytest.approx(8 * math.sin(math.radians(45)), rel=0.04)  # to the width of a facet


def test_the_ceiling_of_a_blind_hole_is_bridged_across_its_diameter() -> None:
    [span] = spans(printed(box(-10, -10, 0, 10, 10, 20) - m3.Manifold.cylinder(6, 4, 4, 96)))
    assert span.one_way
    assert span.span == pytest.approx(8.0, rel=STEP_REL)
    assert span.area == pytest.approx(math.pi * 16, rel=2e-3)


def test_a_ring_over_a_through_hole_has_no_one_way_to_be_bridged() -> None:
    """A counterbore that looks down: round the hole the lines would have to run in a ring."""
    block = box(-10, -10, 0, 10, 10, 20)
    s = printed(block - m3.Manifold.cylinder(6, 4, 4, 96) - m3.Manifold.cylinder(20, 2, 2, 96))
    [span] = spans(s)
    assert not span.one_way
    assert span.span == pytest.approx(2 * math.sqrt(16 - 4), rel=0.05)  # the chord that just clears the hole
    assert graded(s, "bridge") == {"caution"}


def test_what_begins_in_the_air_is_found() -> None:
    post = box(0, 0, 0, 10, 10, 40) + box(0, 0, 36, 40, 10, 40)
    tip = m3.Manifold.hull_points(
        np.array([[30, 5, 20], [27, 2, 36], [33, 2, 36], [33, 8, 36], [27, 8, 36]], dtype=float)
    )
    s = printed(post + tip)
    assert any(f.area == 0.0 and f.where == pytest.approx((30, 5, 20), abs=SMALL_MM) for f in spans(s))
    assert "begins in the air" in str(verdicts(s)["overhang"])


def test_a_hollow_is_no_beginning() -> None:
    """The lowest point of a pit has material under it."""
    pit = m3.Manifold.hull_points(np.array([[5, 5, 4], [2, 2, 10], [8, 2, 10], [8, 8, 10], [2, 8, 10]], dtype=float))
    assert spans(printed(box(0, 0, 0, 10, 10, 10) - pit)) == []


@pytest.mark.parametrize(
    ("wall", "grade"), [(0.7, "fail"), (0.9, "caution"), (1.19, "caution"), (1.2, "pass"), (2.0, "pass")]
)
def test_walls_are_judged_by_their_thickness(wall: float, grade: str) -> None:
    """Two lines of a 0.4 nozzle are the least that can be laid, 1.2 is wanted."""
    s = printed(box(0, 0, 0, 20, 20, 15) - box(wall, wall, 2, 20 - wall, 20 - wall, 15))
    found = thinnest(s)
    assert found.wall == pytest.approx(wall, abs=SMALL_MM)
    assert found.skin == pytest.approx(2.0, abs=SMALL_MM)
    assert graded(s, "wall") == {grade}


def test_a_wider_nozzle_wants_a_thicker_wall() -> None:
    s = printed(box(0, 0, 0, 20, 20, 15) - box(1.5, 1.5, 2, 18.5, 18.5, 15))
    assert graded(s, "wall") == {"pass"}
    assert graded(s, "wall", PrinterSpec(nozzle=Mm(0.8))) == {"fail"}


def test_the_wall_round_a_bore_is_found_to_its_facets() -> None:
    tube = m3.Manifold.cylinder(20, 6, 6, 128) - m3.Manifold.cylinder(20, 4.5, 4.5, 128)
    facets = 6 * (1 - math.cos(math.pi / 128))
    assert thinnest(printed(tube)).wall == pytest.approx(1.5, abs=2 * facets)


@pytest.mark.parametrize(("thick", "grades"), [(0.15, {"fail"}), (0.4, {"caution"}), (0.6, set()), (3.0, set())])
def test_flat_skins_are_counted_in_layers(thick: float, grades: set[str]) -> None:
    assert graded(printed(box(0, 0, 0, 20, 20, thick)), "skin") == grades


@pytest.mark.parametrize(
    ("height", "layer", "said"),
    [(18, 0.2, "90 layers"), (18.1, 0.2, "printed 18"), (18.5, 0.2, "printed 18.4"), (18.3, 0.3, "61 layers"),
     (6.35, 0.2, "printed 6.4"), (0.1, 0.2, "printed 0.2")],
)  # fmt: skip
def test_heights_are_held_against_the_layers(height: float, layer: float, said: str) -> None:
    found = verdicts(printed(box(0, 0, 0, 20, 20, height)), PrinterSpec(layer=Mm(layer)))["layers"]
    assert said in found[0][1]
    assert (found[0][0] == "pass") == said.endswith("layers")


def test_a_step_off_the_layers_is_told_with_its_height() -> None:
    s = printed(box(0, 0, 0, 20, 20, 10) + box(0, 0, 0, 40, 20, 3.3))
    assert [t for _, t in verdicts(s)["layers"]] == [
        "steps at 3.3 mm are no whole number of 0.2 mm layers: printed 3.2"
    ]


def test_a_small_foot_and_a_slender_part_ask_for_a_brim() -> None:
    assert graded(printed(box(0, 0, 0, 4, 4, 10)), "foot") == {"caution"}
    assert graded(printed(box(0, 0, 0, 5, 5, 40)), "foot") == {"caution"}
    assert graded(printed(box(0, 0, 0, 5, 5, 20)), "foot") == {"pass"}


def test_a_pose_that_leaves_a_part_in_the_air_is_set_down_and_said() -> None:
    s = skin([mesh_of(box(0, 0, 0, 20, 20, 10))], shift(0, 0, 7))
    assert s.vertices[:, 2].min() == 0.0
    assert s.lifted == pytest.approx(7.0)
    assert ("caution", "its print pose left it 7 mm off z = 0; set down") in verdicts(s)["foot"]


def test_a_pose_that_mirrors_is_refused() -> None:
    mirror = np.diag([1.0, 1.0, -1.0, 1.0])
    with pytest.raises(ValueError, match="mirror"):
        skin([mesh_of(box(0, 0, 0, 20, 20, 10))], mirror)


def test_a_turned_part_is_judged_as_it_lies() -> None:
    """The gate upside down has its beam on the bed, and nothing over air."""
    assert spans(skin([mesh_of(gate(30))], rotation((1, 0, 0), 180))) == []


@pytest.mark.parametrize("fault", ["open", "inward"])
def test_a_mesh_that_is_no_closed_surface_fails_and_nothing_more_is_said(fault: str) -> None:
    good = mesh_of(box(0, 0, 0, 20, 20, 10))
    triangles = good.triangles[1:] if fault == "open" else good.triangles[:, ::-1]
    s = skin([Mesh(good.vertices, np.ascontiguousarray(triangles), 0.0, 4000.0)], IDENTITY)
    assert list(verdicts(s)) == ["mesh"]
    assert graded(s, "mesh") == {"fail"}
