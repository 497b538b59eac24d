"""What a head stands on where its hole is not about the screw, and where other holes lie under it as well.

The area is checked against another library's shapes, the sides against a head looked at point by point. Then small
builds: a filter whose holes go round the heads, but not about the screws.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, box, union_all

from elbowroom.model.screws import lengths as check
from elbowroom.model.screws.bearing import Bearing, bearing
from elbowroom.model.screws.fasten import Fastened
from elbowroom.model.screws.joints import words_for
from elbowroom.model.screws.remedies import remedies
from elbowroom.model.screws.slots import Slot
from elbowroom.model.screws.under import holes_under, openings_under, stands
from elbowroom.parts.case.case import Case
from elbowroom.parts.vocabulary.pose import apply, inverse
from tests.model.screws.test_joints import THREAD, THREE_ON_FLOOR, block, build, fastened
from tests.model.screws.test_remedies import made, told

place = st.floats(-6, 6)
hole = st.builds(Slot, place, place, st.floats(3, 9), st.sampled_from([0.0, 4.0, 10.0]), st.floats(0, 180))


@pytest.mark.slow
@settings(max_examples=40, deadline=None)
@given(st.lists(hole, min_size=1, max_size=3), st.floats(5, 10))
def test_the_ring_and_its_sides_over_any_holes(holes: list[Slot], head: float) -> None:
    found = bearing(head, 3.0, holes, (0, 0))
    ring = Point(0, 0).buffer(head / 2, quad_segs=200) - Point(0, 0).buffer(1.5, quad_segs=200)
    cut = union_all([
        (LineString(s.ends) if s.length else Point(s.x, s.y)).buffer(s.width / 2, quad_segs=200) for s in holes
    ])  # fmt: skip
    metal = ring - cut
    assert found.share == pytest.approx(metal.area / ring.area, abs=2e-3)
    # A line through the axis with metal on both sides of it, at least as much as is told.
    best = -math.inf
    for a in np.linspace(0, math.pi, 181):
        far = np.array([math.cos(a), math.sin(a)]) * head / 2
        sides = [LineString([(0, 0), tuple(k * far)]).intersection(metal).length for k in (1, -1)]
        best = max(best, min(sides))
    if found.borne:
        assert found.overlap == pytest.approx(best, abs=0.2)  # two sets of lines, where the metal's edge runs steeply
    else:
        assert best <= 0.2


def test_a_head_over_the_edge_of_a_wider_hole() -> None:
    """A head of 5.6 in a hole of 9: about the screw it falls through, 3 mm off it lies on one side and tips, and a hole
    of 4.5 that is off by all its play (0.75) still bears: metal is under it all round but for a sliver.
    """
    assert bearing(5.6, 3.0, Slot(0, 0, 9), (0, 0)).through
    off = bearing(5.6, 3.0, Slot(0, 0, 9), (3, 0))
    assert off.share > 0.25
    assert not off.borne
    assert not off.through
    assert not off.enough
    assert bearing(5.6, 3.0, Slot(0, 0, 4.5), (0.75, 0)).overlap == pytest.approx(2.8 - math.sqrt(2.25**2 - 0.75**2))
    # Beside a second hole the metal between the two is all there is on that side.
    two = bearing(7.0, 3.0, [Slot(0, 0, 3.4), Slot(4.4, 0, 4.4)], (0, 0))
    assert bearing(7.0, 3.0, Slot(0, 0, 3.4), (0, 0)).share > two.share


def findings(found: Fastened) -> list[dict[str, Any]]:
    return [f.to_json() for f in check.check(found.chosen)]


@pytest.mark.parametrize("off", [0.0, 0.4, 1.0])
@pytest.mark.parametrize("words", ["", "screws: {use: {base.top: {screw: M3x10, washers: 0}}}\n"])
def test_a_second_hole_under_the_head_counts(off: float, words: str) -> None:
    """The lid's own hole is 3.4 about the screw; holes beside it take the metal its head stands on."""
    own = "{face: bottom, at: [0, 0], diameter: 3.4}"
    beside = ", ".join(f"{{face: top, at: [{x}, {y}], diameter: 2}}" for x, y in ((2.9, off), (-2.9, off), (off, 3.1)))
    (alone,), (crowded,) = (
        findings(fastened(block(THREAD, own, words))),
        findings(fastened(block(THREAD, f"{own}, {beside}", words))),
    )
    assert crowded["bears"]["share"] < alone["bears"]["share"] - 0.1


def test_holes_on_the_face_the_screw_comes_from_do_not_count() -> None:
    own = "{face: bottom, at: [0, 0], diameter: 3.4}"
    blind = ", ".join(f"{{face: bottom, at: [{x}, 0], diameter: 4, depth: 2}}" for x in (4, -4))
    (alone,), (other,) = (findings(fastened(block(THREAD, lid))) for lid in (own, f"{own}, {blind}"))
    assert alone["bears"] == other["bears"]


FILTER = """title: t
case: {interior: {depth: 480, width: 240, height: 480}, slots: 0, board: null, sheet: 1.2}
parts:
  base:
    {box: custom, length: 80, width: 60, height: 20, material: aluminium, on: case.floor-wall,
     at: {rear: 100, tray: 20},
     holes: [{face: top, at: [-20, 0], thread: M3, depth: 12}, {face: top, at: [20, 0], thread: M3, depth: 12}]}
  lid:
    {sheet: custom, length: 80, width: 60, thickness: 4, on: base.top,
     holes: [{face: bottom, at: [-20, 0], diameter: 3.4}, {face: bottom, at: [20, 0], diameter: 3.4}]}
  filter:
    {sheet: custom, length: 80, width: 60, thickness: 3, on: lid.top, material: plastic,
     holes: [{face: bottom, at: [ONE, 0], diameter: 9}, {face: bottom, at: [OTHER, 0], diameter: 9}]}
"""


def filtered(off: float, other: float | None = None, words: str = "") -> str:
    second = 20 + off if other is None else 20 + other
    return FILTER.replace("ONE", f"{-20 + off:g}").replace("OTHER", f"{second:g}") + words


@pytest.mark.parametrize("off", [0.0, 1.0, 1.5, 2.0, 2.5, 2.8, 3.0])
def test_a_filter_whose_holes_are_not_about_the_screws(off: float) -> None:
    """Worked by hand: a pan head M3 is 5.6 wide, a hole of 9 lies round it with 0.15 to spare on each side while the
    two are no more than 1.55 apart. Beyond that the head hangs on the filter's rim on one side; its washer of 7 gets
    to the rim on both sides of the screw beyond sqrt(4.5^2 - 3.5^2) = 2.83, by less than half a millimetre.
    """
    (found,) = findings(fastened(filtered(off)))
    layers = [x["name"] for x in found["layers"]]
    if off <= 1.55:
        assert layers == ["lid"]
        assert found["verdict"] == "pass"
        return
    if off > 2.83:
        assert (found["verdict"], found["washers"]) == ("caution", 1)
        assert found["bears"]["overlap_mm"] < 0.5
        return
    assert found["verdict"] == "fail"
    assert found["word"] == "no bearing"
    assert "on one side only" in found["text"]
    assert found["buy"] is None


def test_screws_that_stand_alike_are_told_together_and_others_apart() -> None:
    found = findings(fastened(filtered(0.0, 2.5)))
    assert sorted(f["verdict"] for f in found) == ["fail", "pass"]
    assert [f["count"] for f in found] == [1, 1]


@pytest.mark.parametrize("off", [2.0, 2.6])
@pytest.mark.parametrize("words", ["", "screws: {use: {base.top: M3x6}}\n", "screws: {use: {base.top: M3x20}}\n"])
def test_no_length_is_told_for_a_head_that_tips(off: float, words: str) -> None:
    """Whatever the length, the head stands on one side: another length is no remedy, be the present one safe or not."""
    mended, before = told(filtered(off, words=words))
    (chosen,) = before.chosen
    assert not [r for r in mended.screws[chosen] if "M3 x" in r or "cut" in r]


def test_what_is_told_leaves_nothing_unsaid() -> None:
    """In a hole too wide for the head alone (6.4 for 5.6) a washer is asked for; where one is there already and stands
    poorly, a safe length is told with what is still wrong.
    """
    lid = "{face: bottom, at: [0, 0], diameter: 5.9}"
    text = block(THREAD, lid, "screws: {use: {base.top: {screw: M3x20, washers: 1}}}\n")
    trials, before = made(text)
    (chosen,) = before.chosen
    assert chosen.bears is not None
    assert chosen.bears.borne
    for remedy in remedies(trials).screws[chosen]:
        enough = Bearing(*chosen.bears).enough
        assert enough or "still too little" in remedy


def test_a_head_over_the_edge_of_an_opening() -> None:
    """A hole of 3.4 whose middle lies 2.5 mm from a window's straight edge: a head of 7 has 0.8 mm of metal toward it
    and all along the other side; with the edge 0.5 mm past the middle it tips, at every size of head.
    """
    window = box(2.5, -50, 50, 50)
    near = bearing(7.0, 3.0, Slot(0, 0, 3.4), (0, 0), window)
    ring = Point(0, 0).buffer(3.5, quad_segs=200) - Point(0, 0).buffer(1.5, quad_segs=200)
    metal = ring - window - Point(0, 0).buffer(1.7, quad_segs=200)
    assert near.share == pytest.approx(metal.area / ring.area, abs=1e-3)
    half = bearing(7.0, 3.0, Slot(0, 0, 3.4), (0, 0), box(-0.5, -50, 50, 50))
    assert not half.borne
    for head in (5.5, 8.0, 20.0, 60.0):
        assert not bearing(head, 3.0, Slot(0, 0, 3.4), (0, 0), box(-0.5, -50, 50, 50)).borne
    assert bearing(7.0, 3.0, Slot(0, 0, 3.4), (0, 0), box(4, -50, 50, 50)) == bearing(7.0, 3.0, Slot(0, 0, 3.4), (0, 0))


CORNER = """title: t
case: {interior: {depth: 480, width: 240, height: 480}, slots: 0, board: null, sheet: 1.2}
parts:
  base:
    {box: custom, length: 40, width: 40, height: 20, material: aluminium, on: case.floor-wall,
     at: {rear: 100, tray: 20}, holes: [{face: top, at: [0, 0], thread: M3, depth: 12}]}
  lid:
    {sheet: custom, length: 40, width: 40, thickness: 2, on: base.top,
     holes: [{face: bottom, at: [0, 0], diameter: 3.4}], CUT}
"""


def test_a_sheets_cutout_under_a_head_is_no_metal() -> None:
    """The cutout leaves 1 mm beside the hole of 3.4: a head of 5.6 hangs over it by 0.1 mm, one of a washer by 0.8."""
    cut = "cutouts: [[[2.7, -8], [15, -8], [15, 8], [2.7, 8]]]"
    (whole,), (less,) = (fastened(CORNER.replace(", CUT", c)).chosen for c in ("", f", {cut}"))
    assert whole.bears is not None
    assert less.bears is not None
    assert less.bears.share < whole.bears.share - 0.005


def test_a_panels_air_hole_lies_under_a_head_that_reaches_it_and_not_under_one_that_does_not() -> None:
    """A fan's middle is in the figure where a head reaches the round air hole around it, by their distance less
    the hole's radius, and only there; and a head over it has less metal than the screw holes alone leave.
    """
    found = fastened(build(THREE_ON_FLOOR.replace("RADIATOR", "radiator-360x45"), 0).replace("slot: 0,", AIR, 1))
    joint = next(j for j in found.joints if j.name == "low.b")
    last = joint.axes[0].passed[-1]
    assert isinstance(last.piece.part, Case)
    assert last.pattern is not None
    opening = last.piece.part.openings["floor"]
    frame = inverse(last.pattern.pose)
    size = last.piece.part.face_size("floor")
    bores = [c for c in opening.cuts(size) if c.kind == "slot" and c.width > 50]
    assert len(bores) == 3
    middles = [apply(frame, last.piece.part.face_point("floor", c.u, c.v))[:2] for c in bores]
    middle = min(middles, key=lambda m: math.dist(m, last.at))
    gap = math.dist(middle, last.at) - bores[0].width / 2
    assert gap > 3
    for more, reached in ((0.1, True), (-0.1, False)):
        figure = openings_under(last, 2 * (gap + more))
        assert (figure is not None and figure.contains(Point(*middle))) is reached
    less = stands(joint.axes[0].passed, np.array(joint.axes[0].out), 2 * (gap + 4), 3.0)
    holes = bearing(2 * (gap + 4), 3.0, holes_under(last, np.array(joint.axes[0].out)), last.at)
    assert less is not None
    assert less.share < holes.share - 0.01


AIR = "slot: 0, air: round,"


def test_words_of_a_joint_go_from_the_exact_name_to_the_widest_pattern() -> None:
    for use in ({"*": 1, "low.*": 2, "low.b": 3}, {"low.b": 3, "low.*": 2, "*": 1}):
        assert [words_for(n, use) for n in ("low.b", "low.c", "high.c")] == [3, 2, 1]
    assert words_for("low.b", {"high.*": 1}) is None
