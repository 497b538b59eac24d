"""Pumps with reservoir, dust filters, gaskets and washers: drawn as declared, stackable, holes and ports real."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pydantic import ValidationError

from elbowroom.parts.catalogue import sizes
from elbowroom.parts.fan.fan import HOLE_PITCH, Fan
from elbowroom.parts.fan.fan_field import FanField
from elbowroom.parts.fan.layers import ISO_7089, WINDOWS, DustFilter, Gasket, Washer
from elbowroom.parts.vocabulary.base import ASSUMED
from elbowroom.parts.vocabulary.pose import apply, bring_together, compose
from elbowroom.parts.water.pump import Pump
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
)

PUMPS = catalogue_parts("pump") | {
    "odd tube": Pump(
        length=81.3, width=72.9, corner=9.1, housing=55.5, housing_height=41.7, base_height=37.3, tank=69.9, wall=4.4,
        tank_height=133.3, lid_height=23.1, foot_thread="M3", foot_pitch=31.1, bracket=3, bracket_pitch=(124.5, 82.5),
        bracket_slot=(5.5, 0), bracket_centre=95,
        ports=[
            {"name": "out", "face": "right", "at": [4, 60], "thread": "G3/8", "depth": 15, "land": 24, "flow": "out"},
            {"name": "in", "face": "left", "at": [-3, 222], "depth": 9, "flow": "in"},
            {"name": "fill", "face": "top", "at": [5, -7], "depth": 14},
        ],
    ),
    "port behind": Pump(bracket_pitch=(60, 20), bracket_centre=130, tank_height=60, ports=[
        {"name": "out", "face": "back", "at": [-12, 54], "flow": "out"}, {"name": "in", "at": [0, 54], "flow": "in"}]),
    "odd square": Pump(kind="square", length=97.7, width=64.3, corner=14, wall=7.7, tank_height=61.9, bracket=0,
                      housing=60),
}  # fmt: skip
LAYERS = catalogue_parts("dust-filter") | catalogue_parts("gasket") | {
    "odd filter": DustFilter(fans=3, fan_size=92, gap=13.3, length=310, width=101, thickness=3.7, mesh=3.7, border=7),
    "wide filter": DustFilter(fan_size=200, hole_pitch=110, thickness=4, border=9),
    "tiny filter": DustFilter(fan_size=40, hole_pitch=32, hole=3.3, border=3, thickness=1),
    "round-cornered gasket": Gasket(fans=2, fan_size=140, gap=20, corner=0, hole=5, border=12, thickness=2.6),
}  # fmt: skip
WASHERS = catalogue_parts("washer") | {"odd": Washer(inner=6.1, outer=17.3, thickness=1.45)}


@pytest.fixture(scope="module", params=first_quick(PUMPS))
def pump(request):
    part = PUMPS[request.param]
    return part, check_drawing(part)


def test_pump_frames_ports_and_holes(pump):
    part, solids = pump
    check_frames(part)
    inside = Inside(solids)
    ports = [f for f in part.frames() if f.kind == "port"]
    assert {f.flow for f in ports} >= {"in", "out"}
    lid = part._levels()["lid"]
    for frame in ports:
        # A port may open through the lid into the tank; every other one has its wall all around and behind.
        through = frame.pose[2, 2] > 0.5 and frame.depth >= lid[1] - lid[0]
        check_port(frame, inside, walled=frame.depth - SKIN if through else None)
    base, *back = part.patterns()
    check_pattern(base, inside, through=float(part.foot_depth))
    for hole in base.holes:
        assert inside.body(apply(base.pose, (hole.x, hole.y, -part.foot_depth - SKIN))) == "housing"
    for pattern in back:
        check_pattern(pattern, inside, through=float(part.bracket))


def test_pump_stands_on_its_seat_and_hangs_by_its_back(pump):
    part, solids = pump
    seat, back = part.frame("base"), part.frame("back")
    np.testing.assert_array_equal(seat.pose[:3, 3], (0, 0, 0))
    np.testing.assert_array_equal(seat.pose[:3, 2], (0, 0, -1))
    np.testing.assert_allclose(back.pose[:3, 2], (0, -1, 0), atol=1e-12)
    assert back.pose[1, 3] == pytest.approx(part.box().lo[1])
    assert extents(solids[back.bodies[0]])[0][1] == pytest.approx(part.box().lo[1], abs=KERNEL_MM)
    if part.bracket:
        low, high = extents(solids["bracket"])
        assert high[1] == pytest.approx(-part.width / 2, abs=KERNEL_MM)
        holes = part.patterns()[1].holes
        assert max(h.x for h in holes) - min(h.x for h in holes) == part.bracket_pitch[0]
        assert max(h.y for h in holes) - min(h.y for h in holes) == part.bracket_pitch[1]
        assert (low[2] + high[2]) / 2 == pytest.approx(back.pose[2, 3], abs=KERNEL_MM)


def test_pump_holds_what_the_kernel_finds_inside_the_tank(pump):
    part, solids = pump
    tank, lid = solids["tank"], part._levels()["lid"]
    low, high = extents(tank)
    assert (low[2], high[2]) == pytest.approx((part._levels()["base"][1], lid[0]), abs=KERNEL_MM)
    if part.kind == "tube":
        outer = math.pi * part.tank**2 / 4
    else:
        outer = part.length * part.width - (4 - math.pi) * part.corner**2
    assert 1000 * part.coolant_ml() == pytest.approx(outer * part.tank_height - tank.Volume(), rel=1e-9)


def test_stated_coolant_wins():
    assert Pump(coolant="25 cl").coolant_ml() == 250


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"tank": 70}, r"tank 70 is 4 mm wider than base and lid \(66\)"),
        ({"tank": 24, "wall": 10}, r"wall 10 leaves 4 mm inside a tank of 24"),
        ({"foot_pitch": 60}, r"holes 60 apart leave the foot of the housing by 13.55 mm"),
        ({"foot_depth": 20, "housing_height": 20}, r"go through a housing of 20"),
        ({"housing": 70}, r"housing 70 is 4 mm wider than the base on it"),
        ({"bracket_centre": 300}, r"a bracket from 238.25 to 361.75 up meets neither base nor lid"),
        ({"bracket_pitch": (30, 10)}, r"slots 4.5 wide and 10 long do not fit 10 apart"),
        ({"ports": [{"name": "p", "at": [0, 80]}]}, r"port 'p' .* leaves the part from 38 to 70 up by 16.22 mm"),
        ({"ports": [{"name": "p", "at": [26, 54]}]}, r"port 'p' runs into a rounded corner by 5.22 mm"),
        ({"ports": [{"name": "p", "face": "top", "at": [0, 0], "depth": 25}]}, r"port 'p' 25 deep goes through a lid"),
        ({"bracket": 0, "ports": [{"name": "p", "at": [0, 54], "depth": 40},
                                  {"name": "q", "face": "back", "at": [0, 54], "depth": 30}]}, r"'p' and 'q' by 4.00"),
        ({"ports": [{"name": "p", "at": [0, 54]}, {"name": "p", "at": [15, 54]}]}, r"used more than once: p"),
        ({"ports": [{"name": "p", "face": "back", "at": [0, 54]}]}, r"port 'p' opens behind the bracket"),
        ({"corner": 40}, r"corner 40 is more than half of the base"),
    ],
)  # fmt: skip
def test_pump_that_cannot_be_made_is_refused_with_the_millimetres(fields, message):
    with pytest.raises(ValidationError, match=message):
        Pump(**fields)


@pytest.fixture(scope="module", params=first_quick(LAYERS))
def layer(request):
    part = LAYERS[request.param]
    return part, check_drawing(part)


@pytest.mark.slow
def test_layer_faces_and_holes(layer):
    part, solids = layer
    check_frames(part)
    check_stack_faces(part, part.fans, part.field.centres)
    inside = Inside(solids)
    for pattern in part.patterns():
        assert len(pattern.holes) == 4 * part.fans
        check_pattern(pattern, inside, through=float(part.thickness))


def test_layer_is_open_over_each_fan_and_a_filter_has_its_mesh_there(layer):
    part, solids = layer
    names = {b.name: b.material for b in part.bodies()}
    if isinstance(part, Gasket):
        assert names == {"gasket": "gasket"}
    else:
        assert [n for n, m in names.items() if m == "mesh"] == [f"mesh-{i}" for i in range(1, part.fans + 1)]
    frame = Inside({part.body[0]: solids[part.body[0]]})
    for i, x in enumerate(part.field.centres, 1):
        assert frame.body((x, 0, part.thickness / 2)) is None
        if isinstance(part, DustFilter):
            low, high = extents(solids[f"mesh-{i}"])
            assert (low[2] + high[2]) / 2 == pytest.approx(part.thickness / 2, abs=KERNEL_MM)
            assert high[2] - low[2] == pytest.approx(float(part.mesh), abs=KERNEL_MM)
            # The mesh fills the opening from edge to edge, and is a sheet with at most WINDOWS squared windows.
            assert high[0] - low[0] == pytest.approx(part.fan_size - 2 * part.border, abs=KERNEL_MM)
            windows = len(solids[f"mesh-{i}"].faces(">Z").Wires()) - 1
            assert 0 < windows <= WINDOWS**2


@pytest.mark.parametrize("count", [1, 2, 3, 4])
@pytest.mark.parametrize(("size", "length", "width"), [(120, 157, 120), (140, 183, 144)])
def test_filter_gasket_fan_and_radiator_stack_with_all_holes_in_line(count, size, length, width):
    """Layer upon layer by faces a and b, each fan by its own face: every screw hole lies on one of the radiator's."""
    radiator = Radiator(fans=count, fan_size=size, length=length + (count - 1) * size, width=width)
    gasket, dust = Gasket(fans=count, fan_size=size), DustFilter(fans=count, fan_size=size)
    fan = Fan(size=size, hole_pitch=HOLE_PITCH[size])

    def holes(part, name, at):
        pattern = next(p for p in part.patterns() if p.name == name)
        local = [apply(pattern.pose, (h.x, h.y, 0))[:3] for h in pattern.holes]
        return apply(at, np.array(local))

    wanted = {tuple(np.round(p[:2], 9)) for p in holes(radiator, "a", np.eye(4))}
    at_gasket = bring_together(gasket.frame("b").pose, radiator.frame("a").pose)
    at_filter = bring_together(dust.frame("b").pose, compose(at_gasket, gasket.frame("a").pose))
    for part, at in ((gasket, at_gasket), (dust, at_filter)):
        assert {tuple(np.round(p[:2], 9)) for p in holes(part, "a", at)} == wanted
    seen = set()
    for i in range(1, count + 1):
        at_fan = bring_together(fan.frame("intake").pose, compose(at_gasket, gasket.frame(f"a-{i}").pose))
        points = holes(fan, "intake", at_fan)
        assert points[:, 2] == pytest.approx(radiator.thickness + gasket.thickness)
        seen |= {tuple(np.round(p[:2], 9)) for p in points}
    assert seen == wanted


@pytest.mark.parametrize(
    ("kind", "fields", "message"),
    [
        (DustFilter, {"width": 110}, r"width 110 is 3 mm short"),
        (Gasket, {"fans": 2, "length": 230}, r"length 230 is 3 mm short"),
        (Gasket, {"fans": 3, "gap": 12}, r"overlap by 3 mm"),
        (DustFilter, {"mesh": 3}, r"mesh 3 is thicker than the filter \(2\)"),
        (Gasket, {"fan_size": 110}, r"no hole pitch is known for a 110 mm fan"),
        (Gasket, {"hole_pitch": 120}, r"hole_pitch 120 is not inside a 120 mm fan"),
        (Gasket, {"fan_size": 200, "hole_pitch": 90, "border": 3}, r"leave no opening for a fan"),
        (Gasket, {"corner": 30, "fan_size": 40, "border": 3, "hole": 3}, r"corner 30 is more than half"),
        (Washer, {"inner": 8.5}, r"hole 8.5 leaves less than 0.5 mm of ring"),
    ],
)
def test_layer_that_cannot_be_made_is_refused(kind, fields, message):
    with pytest.raises(ValidationError, match=message):
        kind(**fields)


@pytest.mark.parametrize("name", WASHERS)
def test_washer_is_a_ring_between_two_faces(name):
    part = WASHERS[name]
    solids = check_drawing(part)
    check_frames(part)
    for pattern in part.patterns():
        check_pattern(pattern, Inside(solids), through=float(part.thickness))
    ring = math.pi / 4 * (part.outer**2 - part.inner**2)
    assert solids["washer"].Volume() == pytest.approx(ring * part.thickness)
    a, b = part.frame("a"), part.frame("b")
    np.testing.assert_array_equal(a.pose[:3, 3], (0, 0, part.thickness))
    np.testing.assert_array_equal(b.pose[:3, 3], (0, 0, 0))
    np.testing.assert_array_equal(a.pose[:3, 2], -b.pose[:3, 2])
    np.testing.assert_array_equal(a.pose[:3, 0], b.pose[:3, 0])


def test_catalogue_washers_are_the_sizes_of_iso_7089_and_their_thickness_is_called_assumed():
    rows = sizes("washer")
    screws = {"washer-6-32": "M3.5"}
    for name, row in rows.items():
        size = screws.get(name, name.removeprefix("washer-").upper())
        assert (row.fields["inner"], row.fields["outer"], row.fields["thickness"]) == ISO_7089[size]
        assert row.sources["inner"][1] not in ASSUMED
        assert row.sources["thickness"][1] in ASSUMED
    assert len(rows) == len(ISO_7089)


@pytest.mark.parametrize("size", list(HOLE_PITCH))
def test_fan_field_fills_in_the_pitch_and_lets_fans_touch(size):
    field = FanField.of(3, size, None, None)
    assert field.hole_pitch == HOLE_PITCH[size]
    assert field.pitch == size
    assert field.length == 3 * size
    assert field.row == pytest.approx(3 * size - (size - HOLE_PITCH[size]))
    assert field.centres == (-size, 0, size)
    assert len(set(field.points)) == 12
