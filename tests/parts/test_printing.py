"""What all printed families keep: nothing hangs over on the bed, walls hold, holes can be drawn wider."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pydantic import ValidationError

from elbowroom.parts.card.card_support import CardSupport
from elbowroom.parts.families import family_class
from elbowroom.parts.made.bracket import PlateBracket
from elbowroom.parts.made.coupon import Coupon
from elbowroom.parts.made.drill_guide import DrillGuide
from elbowroom.parts.made.riser import Riser
from elbowroom.parts.made.spacer import Spacer
from elbowroom.parts.screw.washer_plate import WasherPlate
from elbowroom.parts.vocabulary import draw, webs
from elbowroom.parts.vocabulary.base import Hole, HolePattern
from elbowroom.parts.vocabulary.pose import IDENTITY, pose
from elbowroom.parts.vocabulary.printing import PRINT_WALL, MadePart, refuse_small, refuse_thin
from tests.parts.print_probe import mesh_of, overhangs, thinnest, volume
from tests.parts.probe import KERNEL_MM, SKIN, Inside, catalogue_parts, extents, first_quick

MADE = ("riser", "spacer", "shim", "plate-bracket", "pump-bracket", "card-support", "washer-plate", "drill-guide",
        "coupon")  # fmt: skip
PARTS: dict[str, MadePart] = {
    name: part for family in MADE for name, part in catalogue_parts(family).items()
    if isinstance(part, MadePart) and part.material == "printed"
} | {
    "printed stud": Riser(height=12, across=12, base=10, hole="male-female", thread="M4", material="printed"),
    "printed blind": Riser(height=30, across=20, hole="blind", thread="M5", material="printed"),
    "nut in the wide end": Riser(height=18, across=14, base=20, hole="nut", thread="M4", material="printed"),
    "nut in the narrow end": Riser(height=18, across=14, base=20, hole="nut", nut_end="top", material="printed"),
    "hex inserts": Riser(height=32, shape="hex", across=15, hole="insert", insert_ends="both", foot_thread="M3",
                         material="printed"),
    "plain bracket": PlateBracket(stiffening="plain", foot_slot=0, face_rows=2),
    "hex screw support": CardSupport(height=120, post="hex", across=18, adjust="screw", screw_thread="M5", pad=0),
    "narrow support": CardSupport(height=30, across=20, saddle=(20, 20), lip=0, foot=60, foot_pitch=48),
    "right corner guide": DrillGuide(side_lip="right", lip=9),
    "low step": Coupon(height=2, peg_height=0, hole=3.4),
}  # fmt: skip
WIDER = 0.2


@pytest.fixture(scope="module", params=first_quick(PARTS))
def printed(request):
    part = PARTS[request.param]
    solids = part.solids()
    made = [b.name for b in part.bodies() if b.material == "printed"]
    assert len(made) == 1  # one body to print; inserts, nuts, screws and pads are bought
    return part, solids, made[0]


def test_rests_on_the_bed_and_nothing_hangs_over(printed):
    part, solids, body = printed
    lying = part.print_pose()
    assert lying is not None
    np.testing.assert_allclose(np.linalg.det(lying[:3, :3]), 1.0)
    mesh = mesh_of(solids[body], lying)
    assert mesh.points[:, 2].min() == pytest.approx(0.0, abs=KERNEL_MM)
    # The mesh is whole: it holds what the solid holds, up to the chords of its arcs.
    assert volume(mesh) == pytest.approx(solids[body].Volume(), rel=0.01)
    assert overhangs(mesh) == []


def test_a_riser_much_wider_at_the_top_is_printed_on_its_top():
    """At a growth of 1.08 mm for each mm; its edge, sharper than 45 degrees, has no wall to speak of."""
    part = Riser(height=6, across=22, base=9, material="printed")
    solid = part.solids()["riser"]
    assert overhangs(mesh_of(solid, part.print_pose())) == []
    assert overhangs(mesh_of(solid, IDENTITY))


@pytest.mark.slow
def test_walls_by_rays_are_no_thinner_than_the_rule(printed):
    part, solids, body = printed
    assert thinnest(mesh_of(solids[body], part.print_pose())) > PRINT_WALL - 0.03  # a chord of 0.02 on each side


@pytest.mark.slow
def test_compensation_widens_every_hole_and_nothing_else(printed):
    part, solids, body = printed
    wide = part.compensated(WIDER)
    assert type(wide) is type(part)
    assert wide.box() == part.box()
    assert [(f.name, f.size) for f in wide.frames()] == [(f.name, f.size) for f in part.frames()]
    drawn = wide.solids()
    np.testing.assert_allclose(extents(drawn[body]), extents(solids[body]), rtol=0, atol=KERNEL_MM)
    assert drawn[body].Volume() < solids[body].Volume()
    # What is left is inside what was there, and a skin of WIDER / 2 around each hole is gone.
    assert drawn[body].cut(solids[body]).Volume() == pytest.approx(0.0, abs=1e-6)
    before, after = Inside({body: solids[body]}), Inside({body: drawn[body]})
    for old, new in zip(part.patterns(), wide.patterns(), strict=True):
        for h, w in zip(old.holes, new.holes, strict=True):
            assert (w.x, w.y, w.slot, w.angle, w.thread, w.depth) == (h.x, h.y, h.slot, h.angle, h.thread, h.depth)
            if old.body != body:  # an insert or a nut is what it is; its pocket is asked for in the riser's own test
                assert w == h
                continue
            assert w.diameter == pytest.approx(h.diameter + WIDER)
            a = math.radians(h.angle)
            side = (-math.sin(a) * (h.diameter + WIDER / 2) / 2, math.cos(a) * (h.diameter + WIDER / 2) / 2)
            for s in (1, -1):
                if h.slot == 0:  # a roof's ridge is at +y of the face
                    side = ((h.diameter + WIDER / 2) / 2, 0.0)
                at = (old.pose @ (h.x + s * side[0], h.y + s * side[1], -SKIN, 1))[:3]
                assert before.body(at) == body
                assert after.body(at) is None


def test_compensation_adds_up_and_is_bounded():
    part = Spacer(material="printed").compensated(0.1).compensated(0.2)
    assert float(part.hole_allowance) == pytest.approx(0.3)
    with pytest.raises(ValidationError, match="less than or equal to 1"):
        part.compensated(0.8)


def test_what_is_not_printed_has_no_print_pose_and_stays_as_it_is():
    for part in (Riser(), Spacer(material="aluminium"), WasherPlate(material="steel", thickness=1)):
        assert part.print_pose() is None
        assert part.compensated(WIDER) is part


@pytest.mark.parametrize("family", MADE)
def test_families_default_to_print_except_risers(family):
    expected = "aluminium" if family == "riser" else "printed"
    assert family_class(family).model_fields["material"].default == expected


def test_the_overhang_measure_sees_what_it_must():
    """A bore that lies flat without a roof, a table's edge, a wide bridge and a steep cone are all found."""
    block = draw.box((0, 0, 0), (20, 20, 20))
    bore = draw.cylinder(6, 30, (10, -5, 10), (0, 1, 0))
    assert overhangs(mesh_of(draw.cut(block, bore), IDENTITY))
    table = draw.fuse(draw.box((8, 8, 0), (12, 12, 10)), draw.box((0, 0, 10), (20, 20, 12)))
    assert overhangs(mesh_of(table, IDENTITY))
    for wide, found in ((9.9, 0), (10.1, 1)):
        tunnel = draw.box((2, 2, 0), (18, 2 + wide, 5))
        assert len(overhangs(mesh_of(draw.cut(block, tunnel), IDENTITY))) == found
    for d1, found in ((29.4, False), (31, True)):  # growth of the radius over 10 mm: 9.7 and 10.5
        assert bool(overhangs(mesh_of(draw.cone(10, d1, 10), IDENTITY))) == found
    # a ring's ceiling around a hole that goes on upward carries no bridge
    stepped = draw.cut(block, draw.cylinder(8, 5, (10, 10, 0)), draw.cylinder(4, 30, (10, 10, 0)))
    assert overhangs(mesh_of(stepped, IDENTITY))


def test_the_wall_measure_sees_a_thin_wall():
    tube = draw.slab(draw.rectangle(0, 0, 20, 20), [draw.rectangle(1, 1, 19, 18)], 10)
    assert thinnest(mesh_of(tube, IDENTITY)) == pytest.approx(1.0)


# Holes: distances against shapely's, an outside library


def shapely_hole(h: Hole, roof: bool):
    from shapely import LineString, MultiPoint, Point, unary_union

    a = math.radians(h.angle)
    d = (math.cos(a) * h.slot / 2, math.sin(a) * h.slot / 2)
    line = LineString([(h.x - d[0], h.y - d[1]), (h.x + d[0], h.y + d[1])]) if h.slot else Point(h.x, h.y)
    body = line.buffer(h.diameter / 2, quad_segs=256)
    if not roof:
        return body
    x, y = max((h.x - d[0], h.y - d[1]), (h.x + d[0], h.y + d[1]), key=lambda p: p[1])
    ridge = MultiPoint([(x, y + h.diameter / 2 * math.sqrt(2)), (x, y)])
    tip = unary_union([ridge, Point(x, y).buffer(h.diameter / 2, quad_segs=256)]).convex_hull
    return unary_union([body, tip])


@pytest.mark.slow
def test_gaps_between_holes_are_those_of_shapely():
    rng = np.random.default_rng(4)
    for _ in range(400):
        roof = bool(rng.integers(2))
        holes = [
            Hole(
                *rng.uniform(-15, 15, 2),
                rng.uniform(2, 8),
                rng.choice([0.0, 9.0]),
                90.0 if roof else rng.uniform(0, 180),
            )
            for _ in range(2)
        ]
        own = min(webs.gap(p, q) for p in webs.spots(holes[0], roof) for q in webs.spots(holes[1], roof))
        there = shapely_hole(holes[0], roof).distance(shapely_hole(holes[1], roof))
        assert max(own, 0.0) == pytest.approx(there, abs=1e-3)


@pytest.mark.parametrize("slot", [0.0, 7.0])
def test_a_roofed_hole_is_drawn_with_the_area_of_its_outline(slot):
    """Three quarters of the circle, two tangents at 45 degrees that enclose r squared, and the slot between."""
    r = 2.25
    pattern = HolePattern("p", pose((0, 0, 0), (0, -1, 0), (1, 0, 0)), (Hole(3, 4, 2 * r, slot, 90.0),), "b")
    (tool,) = webs.tools(pattern, 5.0, roof=True)
    area = 0.75 * math.pi * r * r + r * r + 2 * r * slot
    assert tool.Volume() == pytest.approx(area * (5 + 2 * webs.OUT))
    lo, hi = extents(tool)
    assert lo == pytest.approx([3 - r, -webs.OUT, 4 - slot / 2 - r], abs=KERNEL_MM)
    assert hi == pytest.approx([3 + r, 5 + webs.OUT, 4 + slot / 2 + r * math.sqrt(2)], abs=KERNEL_MM)
    with pytest.raises(ValueError, match="a slot at 0 degrees cannot be roofed"):
        webs.outline(Hole(0, 0, 4, 6), roof=True)


@pytest.mark.parametrize(
    ("holes", "more", "message"),
    [
        ((Hole(0, 0, 1.5),), {}, r"hole 1 is 1.5 wide: 0.50 mm less than prints open \(2\)"),
        (
            (Hole(8, 0, 4),),
            {},
            r"hole 1 \(4 wide at 8, 0 from the middle\) is 1.20 mm too near the edge: 1.2 mm of wall",
        ),
        ((Hole(-2.5, 0, 4), Hole(2.5, 0, 4)), {}, r"holes 1 and 2 are 0.20 mm too near: 1.2 mm of wall must stay"),
        ((Hole(0, 6.5, 4),), {"roof": True}, r"is 0.53 mm too near the edge"),
        ((Hole(0, 0, 4, 14),), {"where": "in the foot"}, r"hole 1 in the foot .* is 0.20 mm too near the edge"),
    ],
)
def test_holes_too_near_are_refused_with_the_millimetres(holes, more, message):
    with pytest.raises(ValueError, match=message):
        webs.refuse_thin_webs(holes, (10.0, 10.0), **more)


def test_thin_and_small_say_by_how_much():
    with pytest.raises(ValueError, match=r"the rim is 1.00 mm: 0.20 mm short of the least wall, 1.2"):
        refuse_thin("the rim", 1.0)
    with pytest.raises(ValueError, match=r"the bore is 1.9 wide: 0.10 mm less"):
        refuse_small("the bore", 1.9)
    refuse_thin("the rim", 1.2)
    refuse_small("the bore", 2.0)
