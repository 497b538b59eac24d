"""Radiators: what is drawn is what is declared, for every catalogue size and for odd ones, and the trade's numbers."""

from __future__ import annotations

import pytest
from cadquery import Solid, Vector
from pydantic import ValidationError

from elbowroom.parts.water.radiator import Radiator
from tests.parts.probe import (
    KERNEL_MM,
    SKIN,
    Inside,
    catalogue_parts,
    check_drawing,
    check_frames,
    check_pattern,
    check_port,
    check_stack_faces,
    extents,
    first_quick,
    solids_of,
)

CATALOGUE = catalogue_parts("radiator")
ODD = {
    "five-port": Radiator(
        fans=3, gap=17.3, length=419.5, width=127.4, thickness=52.3, port_tank=41, far_tank=22, fin_depth=5.5,
        fin_depth_b=7.25, thread="6-32", plate=1.5, side=3,
        ports=[
            {"name": "in", "across": 41, "thread": "G3/8", "land": 22, "depth": 12},
            {"name": "out", "across": -40.5, "height": 20},
            {"name": "drain", "face": "far-end", "across": 10, "depth": 9},
            {"name": "bleed", "face": "side-right", "from_end": 24, "height": 30, "flow": "out"},
            {"name": "far fill", "face": "a", "from_end": 407, "across": -20},
        ],
    ),
    "off-centre rows": Radiator(fans=2, length=300, first_hole=30, thickness=28.4, fin_depth=3.1, plate=0.8),
    "wide pitch 200": Radiator(fans=1, fan_size=200, hole_pitch=170, length=250, width=204, thread="M4"),
    "unknown size": Radiator(fans=2, fan_size=110, hole_pitch=95, length=262, width=112, thickness=19, fin_depth=3,
                             port_spacing=33.3),
}  # fmt: skip
ALL = CATALOGUE | ODD


@pytest.fixture(scope="module", params=first_quick(ALL))
def drawn(request):
    part = ALL[request.param]
    return part, solids_of(part)


def test_is_drawn_as_declared(drawn):
    part, _ = drawn
    check_drawing(part)
    check_frames(part)
    check_stack_faces(part, part.fans, part.field.centres)


def test_every_port_is_bored_into_its_tank_and_closed_behind(drawn):
    part, solids = drawn
    ports = [f for f in part.frames() if f.kind == "port"]
    assert len(ports) >= 2
    for frame in ports:
        check_port(frame, Inside(solids))


def test_mounting_holes_go_through_the_flange_into_the_hollow_before_the_fins(drawn):
    part, solids = drawn
    inside = Inside(solids)
    assert [p.name for p in part.patterns()] == ["a", "b"]
    for pattern, depth in zip(part.patterns(), (part.fin_depth, part.fin_depth_b or part.fin_depth), strict=True):
        assert len(pattern.holes) == 4 * part.fans
        assert {h.thread for h in pattern.holes} == {part.thread}
        assert {h.depth for h in pattern.holes} == {float(depth)}
        check_pattern(pattern, inside, through=depth, solid_to=part.plate)
        # The next thing a screw meets is the core, exactly at the declared depth.
        for hole in pattern.holes:
            up = 1 if pattern.name == "a" else -1
            z = pattern.pose[2, 3]
            x, y = pattern.pose[0, 3] + hole.x, up * hole.y
            assert inside.body((x, y, z - up * (depth + SKIN))) == "fins"
            assert inside.body((x, y, z - up * (depth - SKIN))) is None


def test_kernel_measures_the_fin_depth_from_each_mounting_face(drawn):
    part, solids = drawn
    box = part.box()
    for z, depth in ((box.hi[2], part.fin_depth), (box.lo[2], part.fin_depth_b or part.fin_depth)):
        sheet = Solid.makeBox(box.size[0], box.size[1], 1, Vector(box.lo[0], box.lo[1], z if z > 0 else -1))
        assert sheet.distance(solids["fins"]) == pytest.approx(float(depth), abs=KERNEL_MM)


def test_fins_fill_the_space_between_the_side_channels_and_the_tanks(drawn):
    part, solids = drawn
    lo, hi = extents(solids["fins"])
    box = part.box()
    assert lo[0] == pytest.approx(box.lo[0] + part.far_tank, abs=KERNEL_MM)
    assert hi[0] == pytest.approx(box.hi[0] - part.port_tank, abs=KERNEL_MM)
    assert hi[1] == -lo[1] == pytest.approx(part.width / 2 - part.side, abs=KERNEL_MM)


LENGTHS = {120: ((150, 162), (270, 290), (390, 410), (510, 530)), 140: ((175, 190), (310, 330), (450, 470), (590, 612))}
WIDTHS = {120: (118, 130), 140: (140, 147)}  # both: common practice, no source


@pytest.mark.parametrize("name", [n for n, r in CATALOGUE.items() if r.fan_size in LENGTHS])
def test_catalogue_sizes_lie_in_the_trade_s_ranges(name):
    r = CATALOGUE[name]
    low, high = LENGTHS[int(r.fan_size)][r.fans - 1]
    assert low <= r.length <= high
    assert WIDTHS[int(r.fan_size)][0] <= r.width <= WIDTHS[int(r.fan_size)][1]
    assert r.fans * r.fan_size < r.length


def test_default_gap_is_what_touching_fans_leave():
    assert Radiator(fans=2).field.gap == 15
    assert Radiator(fans=2, fan_size=140, length=323, width=144).field.gap == 15.5


@pytest.mark.parametrize("fans", [1, 2, 3, 4])
def test_last_hole_drifts_by_five_a_fan_between_gap_15_and_gap_20(fans):
    near, far = (Radiator(fans=fans, length=40 + 125 * fans, gap=g).patterns()[0].holes for g in (15, 20))
    span = [max(h.x for h in holes) - min(h.x for h in holes) for holes in (near, far)]
    assert span[1] - span[0] == pytest.approx(5 * (fans - 1))


def test_slim_240_takes_about_120_ml():
    """Trade fact, no source; 0.12 to 0.20 of the volume between the tanks is what practice allows."""
    assert CATALOGUE["radiator-240x27"].coolant_ml() == pytest.approx(120, rel=0.1)
    assert CATALOGUE["radiator-240x30"].coolant_ml() == pytest.approx(120, rel=0.1)
    assert Radiator(coolant="0.2 L").coolant_ml() == 200


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"length": 240}, r"rows of holes 225 apart do not fit .* leaves 195, 33 mm short"),
        ({"width": 100}, r"holes 105 apart .* need a width of 110.4: 100 is 10.4 mm short"),
        ({"first_hole": 10}, r"first_hole 10 puts a row of holes over an end tank by 6.5 mm"),
        ({"fin_depth": 1}, r"fin_depth 1 is not deeper than the flange \(1.2\)"),
        ({"thickness": 15, "fin_depth": 6}, r"leave fins 3 thick in a thickness of 15: 2 mm short of 5"),
        ({"gap": 10}, r"gap 10 puts 120 mm fans 115 apart: they overlap by 5 mm"),
        ({"fan_size": 110}, r"no hole pitch is known for a 110 mm fan \(known: 40, 60, 80"),
        ({"side": 7}, r"inside side channels of 7 need a width of 122: 120 is 2 mm short"),
        ({"ports": [{"name": "in"}, {"name": "in", "across": 40}]}, r"names used more than once: in"),
        ({"ports": [{"name": "in", "across": 55}]}, r"port 'in' .* leaves the width by 1.72 mm"),
        ({"ports": [{"name": "in", "depth": 32}]}, r"port 'in' .* leaves the end tank's length by 3.00 mm"),
        ({"ports": [{"name": "in", "face": "a", "from_end": 60}]}, r"port 'in' .* leaves the end tank's length by"),
        ({"ports": [{"name": "in"}, {"name": "out", "across": 11}]}, r"'in' and 'out' by 0.45 mm"),
        ({"ports": [{"name": "in", "face": "a", "depth": 14}, {"name": "out", "face": "b", "depth": 17}]},
         r"'in' and 'out' by 1.00 mm"),
        ({"ports": [{"name": "in", "thread": "g14"}]}, r"no thread 'g14'; did you mean G1/4\? known: G1/4, G3/8"),
        ({"thread": "M8"}, r"no thread 'M8'"),
    ],
)  # fmt: skip
def test_what_cannot_be_made_is_refused_with_the_millimetres(fields, message):
    with pytest.raises(ValidationError, match=message):
        Radiator(**fields)
