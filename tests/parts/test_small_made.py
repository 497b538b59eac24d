"""Washer plate, drill guide and fit coupon: closed forms, where their holes are, and refusals with the millimetres."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pydantic import ValidationError

from elbowroom.parts.made.coupon import CUT, Coupon
from elbowroom.parts.made.drill_guide import DrillGuide
from elbowroom.parts.screw.washer_plate import WasherPlate
from elbowroom.parts.vocabulary.pose import apply
from elbowroom.parts.vocabulary.threads import THREADS
from tests.parts.probe import SKIN, Inside, catalogue_parts, check_drawing, check_frames, check_pattern

PLATES = catalogue_parts("washer-plate") | {
    "long": WasherPlate(length=142, width=13.3, thickness=2.2, corner=6.6, holes=2, hole_pitch=124.5, thread="6-32",
                        fit="coarse"),
}  # fmt: skip
GUIDES = catalogue_parts("drill-guide") | {
    "right corner": DrillGuide(length=61, width=33, side_lip="right", lip=7.7, holes=[{"at": [-20.5, 9.9], "drill": 3},
                               {"at": [3, 25], "drill": 6.5}]),
    "bushes": DrillGuide(bushes=True, length=70, holes=[{"at": [-20, 15], "drill": 5}, {"at": [15, 15], "drill": 5.1}]),
}  # fmt: skip
COUPONS = catalogue_parts("coupon") | {
    "default": Coupon(),
    "one hole": Coupon(tightest=0, loosest=0, hole=9, height=3.3),
    "no peg": Coupon(hole=2.4, peg_height=0, height=40),
}


@pytest.mark.parametrize("name", PLATES)
def test_washer_plate_has_the_volume_of_its_outline_less_its_holes(name):
    part = PLATES[name]
    solids = check_drawing(part)
    check_frames(part)
    d = THREADS[part.thread].clearance[part.fit]
    area = part.length * part.width - (4 - math.pi) * part.corner**2 - part.holes * math.pi / 4 * d * d
    assert solids["plate"].Volume() == pytest.approx(area * part.thickness)
    inside = Inside(solids)
    for pattern in part.patterns():
        check_pattern(pattern, inside, through=float(part.thickness))
        np.testing.assert_allclose(np.diff([h.x for h in pattern.holes]), part.hole_pitch)
        assert len(pattern.holes) == part.holes


@pytest.mark.parametrize("name", GUIDES)
def test_drill_guide_bores_are_where_they_are_wanted_from_the_edge(name):
    """`at` counts from the panel's edge, which the lip's inner face bears on."""
    part = GUIDES[name]
    solids = check_drawing(part)
    check_frames(part)
    inside, lip = Inside(solids), float(part.lip_thickness)
    edge = part.frame("edge")
    np.testing.assert_array_equal(edge.pose[:3, 2], (0, 1, 0))
    assert edge.pose[1, 3] == 0
    for x in (-part.length / 2 + 1, 0, part.length / 2 - 1):
        assert inside.body((x, -SKIN, -part.lip + SKIN)) == "guide"
        assert inside.body((x, SKIN + (lip if part.side_lip else 0.0), -part.lip / 2)) is None
    foot, top = part.patterns()
    for pattern in (foot, top):
        check_pattern(pattern, inside, through=float(part.thickness))
        for wanted, hole in zip(part.holes, pattern.holes, strict=True):
            at = apply(pattern.pose, (hole.x, hole.y, 0))
            np.testing.assert_allclose(at[:2], [float(v) for v in wanted.at], atol=1e-9)
            assert hole.diameter == pytest.approx(part.bore(float(wanted.drill)))
    bores = sum(math.pi / 4 * h.diameter**2 * part.thickness for h in top.holes)
    side = part.side_lip is not None
    along = part.length + (lip if side else 0.0)
    block = along * (part.width + lip) * part.thickness + along * lip * part.lip
    assert solids["guide"].Volume() == pytest.approx(block + (part.width * lip * part.lip if side else 0.0) - bores)
    if side:
        face = part.frame("side")
        s = -1 if part.side_lip == "left" else 1
        np.testing.assert_array_equal(face.pose[:3, 2], (-s, 0, 0))
        assert face.pose[0, 3] == s * part.length / 2
        assert inside.body((s * (part.length / 2 + SKIN), part.width / 2, -part.lip + SKIN)) == "guide"
        assert inside.body((s * (part.length / 2 - SKIN), part.width / 2, -part.lip + SKIN)) is None


@pytest.mark.parametrize(
    ("drill", "plain", "bushed"), [(3.3, 3.5, 6.0), (3.4, 3.6, 7.0), (4.5, 4.7, 8.0), (5.0, 5.2, 8.0), (5.1, 5.3, 10.0)]
)
def test_bores_by_drill(drill, plain, bushed):
    """A sliding fit of 0.2 for the drill (published print guides), or the outside of a bush of DIN 179 (M)."""
    assert DrillGuide().bore(drill) == pytest.approx(plain)
    assert DrillGuide(bushes=True).bore(drill) == bushed


@pytest.mark.parametrize("name", COUPONS)
def test_coupon_has_the_hole_in_steps_a_peg_and_the_height(name):
    part = COUPONS[name]
    solids = check_drawing(part)
    check_frames(part)
    inside = Inside(solids)
    (pattern,) = part.patterns()
    check_pattern(pattern, inside, through=float(part.thickness))
    diameters = [h.diameter for h in pattern.holes]
    assert diameters[0] == pytest.approx(part.hole + part.tightest)
    assert diameters[-1] == pytest.approx(part.hole + part.loosest)
    np.testing.assert_allclose(np.diff(diameters), part.pace)
    assert np.all(np.diff([h.x for h in pattern.holes]) > 0)  # from the cut corner on they widen
    lo, hi = part.box().lo, part.box().hi
    assert inside.body((lo[0] + SKIN, lo[1] + SKIN, SKIN)) is None
    assert inside.body((lo[0] + SKIN, hi[1] - SKIN, SKIN)) == "coupon"
    step = part.frame("step")
    assert step.pose[2, 3] == part.height
    assert inside.body(apply(step.pose, (0, 0, -SKIN))) == "coupon"
    assert inside.body(apply(step.pose, (0, 0, SKIN))) is None
    width = hi[1] - lo[1]
    block = (hi[0] - lo[0] - step.size[0]) * width * part.thickness + step.size[0] * width * part.height
    holes = sum(math.pi / 4 * d * d for d in diameters) * part.thickness
    peg = math.pi / 4 * part.hole**2 * part.peg_height
    assert solids["coupon"].Volume() == pytest.approx(block - CUT**2 / 2 * part.thickness - holes + peg)


def test_the_coupon_asked_for_by_default_runs_from_a_fifth_too_tight_to_two_fifths_too_loose():
    assert Coupon().offsets() == (-0.2, -0.1, 0.0, 0.1, 0.2, 0.3, 0.4)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: WasherPlate(length=20), r"hole 1 \(4.5 wide at -7.5, 0 .*\) is 0.95 mm too near the edge"),
        (lambda: WasherPlate(hole_pitch=5), r"holes 1 and 2 are 0.70 mm too near"),
        (lambda: WasherPlate(thickness=1), r"the plate's thickness is 1.00 mm: 0.20 mm short"),
        (lambda: WasherPlate(corner=8), r"corner 8 is more than half of the plate: at most 7"),
        (lambda: WasherPlate(thread="G3/8"), r"no screw of thread G3/8 passes through a plate"),
        (lambda: DrillGuide(holes=[{"at": [0, 3]}]), r"hole 1 .* is 0.55 mm too near the edge"),
        (lambda: DrillGuide(holes=[{"at": [0, 20], "drill": 1}]), r"hole 1 is 1.2 wide: 0.80 mm less than prints open"),
        (
            lambda: DrillGuide(holes=[{"at": [0, 20], "drill": 9}]),
            r"a block 12 thick is 1.50 mm short to guide drill 1 of 9",
        ),
        (lambda: DrillGuide(holes=[{"at": [0, 20]}, {"at": [5, 20]}]), r"holes 1 and 2 are 0.90 mm too near"),
        (lambda: DrillGuide(holes=[]), r"at least 1 item"),
        (lambda: Coupon(pace=0.25), r"steps of 0.25 do not lead from -0.2 to 0.4; nearest: loosest 0.3"),
        (lambda: Coupon(tightest=0.5), r"steps of 0.1 do not lead from 0.5 to 0.4; nearest: loosest 0.5"),
        (lambda: Coupon(pace=0.02), r"31 holes are 16 more than a coupon has room for: 15"),
        (lambda: Coupon(hole=2.1), r"the tightest hole is 1.9 wide: 0.10 mm less than prints open"),
        (lambda: Coupon(hole=2.5), r"a peg of 2.5 is 0.50 mm thinner than stands: set peg_height: 0"),
    ],
)
def test_what_cannot_be_made_is_refused(make, message):
    with pytest.raises(ValidationError, match=message):
        make()
