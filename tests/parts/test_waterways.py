"""Which ports of a part share coolant, against plates whose channels, bores and bay are laid out by hand."""

from __future__ import annotations

import pytest

from elbowroom.parts.board.cpu_block import CpuBlock
from elbowroom.parts.card.gpu import Gpu
from elbowroom.parts.catalogue import sizes
from elbowroom.parts.fan.fan import Fan
from elbowroom.parts.made.primitives import PlainBox
from elbowroom.parts.vocabulary.ports import Bore
from elbowroom.parts.water.plate import DistributionPlate
from elbowroom.parts.water.plate_ways import Groove, opens_into
from elbowroom.parts.water.pump import Pump
from elbowroom.parts.water.radiator import Radiator


def ways(part):
    return {frozenset(g) for g in part.waterways()}


def plate(ports, channels, **more):
    return DistributionPlate(length=240, width=120, thickness=20, inset=None, ports=ports, channels=channels, **more)


@pytest.mark.parametrize(
    ("part", "groups", "known"),
    [
        (CpuBlock(), {("in", "out")}, True),
        (Gpu(port_side="both"), {("in", "out", "in back", "out back")}, True),
        (Gpu(cooler="open-fan"), set(), False),
        (Radiator(), {("in", "out")}, True),
        (Pump(), {("out", "in", "fill")}, True),
        (Fan(), set(), False),
        (PlainBox(ports=[{"name": "p", "face": "top"}]), {("p",)}, False),
    ],
)
def test_a_part_joins_its_ports_inside(part, groups, known):
    assert ways(part) == set(map(frozenset, groups))
    assert part.waterways_known() is known


def test_a_plate_joins_what_its_channels_join():
    part = DistributionPlate(**sizes("plate")["plate-360x120-covered"].fields)
    assert ways(part) == {frozenset(g) for g in (("in", "cpu out"), ("cpu in", "card out"), ("card in", "out"))}
    part = DistributionPlate(**sizes("plate")["plate-200x200"].fields)
    assert ways(part) == {frozenset(g) for g in (("in", "out"), ("left", "right"), ("fill",), ("drain",))}


def test_a_pump_bay_joins_the_channels_that_end_in_it():
    part = DistributionPlate(**sizes("plate")["plate-300x140-pump"].fields)
    assert ways(part) == {frozenset(("return", "out", "fill", "drain"))}
    assert set(part.pumped_ports()) == {"return", "out", "fill", "drain"}
    less = part.model_copy(update={"channels": part.channels[:1]})
    assert ways(less) == {frozenset(("return",)), frozenset(("out",)), frozenset(("fill",)), frozenset(("drain",))}
    assert less.pumped_ports() == ("return",)


def test_a_pump_drives_all_of_its_ports_and_others_drive_none():
    assert set(Pump().pumped_ports()) == {"out", "in", "fill"}
    assert Radiator().pumped_ports() == CpuBlock().pumped_ports() == ()


def test_a_plate_without_channels_says_nothing():
    part = DistributionPlate(**sizes("plate")["plate-240x120"].fields)
    assert ways(part) == {frozenset(("in", "out", "cold", "hot", "fill"))}
    assert not part.waterways_known()


A = {"name": "a", "at": [-80, 0], "depth": 12}
B = {"name": "b", "at": [80, 0], "depth": 12}


# Bore of G1/4: 11.445. Groove 10 wide, 8 deep, halfway through the slab of 20: from 6 to 14 above its back.
@pytest.mark.parametrize(
    ("port", "meets"),
    [
        ({"name": "c", "at": [0, 10.7], "depth": 12}, True),  # 10.70 < 5.7225 + 5 from the middle of the groove
        ({"name": "c", "at": [0, 10.8], "depth": 12}, False),
        ({"name": "c", "at": [0, 0], "depth": 5.9}, False),  # ends 0.1 above it
        ({"name": "c", "at": [0, 0], "depth": 6.1}, True),
        ({"name": "c", "face": "top", "at": [0, 10], "depth": 25}, False),  # ends 60 - 25 = 35 from the groove's middle
        ({"name": "c", "face": "bottom", "at": [0, 10], "depth": 40}, False),
    ],
)
def test_a_port_is_joined_by_the_groove_that_crosses_it(port, meets):
    part = plate([A, B, port], [{"path": ["a", "b"], "width": 10, "depth": 8}])
    assert ways(part) == ({frozenset("abc")} if meets else {frozenset("ab"), frozenset("c")})


@pytest.mark.parametrize(("y", "meet"), [(9.9, True), (10.1, False), (-9.9, True)])
def test_grooves_that_run_into_each_other_are_one_waterway(y, meet):
    ports = [A, B, {"name": "c", "at": [0, 40], "depth": 12}, {"name": "d", "at": [40, 40], "depth": 12}]
    part = plate(
        ports, [{"path": ["a", "b"], "width": 10, "depth": 8}, {"path": ["c", [0, y]], "width": 10, "depth": 8}]
    )
    assert any({"a", "c"} <= g for g in ways(part)) is meet
    assert frozenset("d") in ways(part)


# A groove along y, 10 wide, from 0 to 8 above the back, its path from (0, -50) to (0, 50).
GROOVE = Groove(((0, -50), (0, 50)), 10, 0, 8)


@pytest.mark.parametrize(
    ("start", "inward", "length", "meets"),
    [
        # A bore of radius 6 lying 5 above the groove is sqrt(36 - 25) = 3.317 to each side wide where it opens into it.
        ((8.3, 80, 13), (0, -1, 0), 60, True),
        ((8.4, 80, 13), (0, -1, 0), 60, False),
        ((10.9, 80, 6), (0, -1, 0), 60, True),  # its axis between the groove's heights: 6 wide
        ((11.1, 80, 6), (0, -1, 0), 60, False),
        ((0, 80, 14.1), (0, -1, 0), 60, False),  # wholly above
        ((40, 0, 4), (-1, 0, 0), 34.9, False),  # its flat end 5.1 from the path
        ((40, 0, 4), (-1, 0, 0), 35.1, True),
        ((-40, 0, 4), (1, 0, 0), 35.1, True),
        ((40, 60.5, 4), (-1, 0, 0), 80, True),  # past the round end at y 55: 60.5 - 6 = 54.5
        ((40, 61.5, 4), (-1, 0, 0), 80, False),
        ((10.9, 20, 10), (0, 0, -1), 2.1, True),  # from above, 0.1 into it
        ((10.9, 20, 10), (0, 0, -1), 1.9, False),
        ((11.1, 20, 10), (0, 0, -1), 5, False),
        ((0, 0, 10), (0, 0, -1), 5, True),
    ],
)
def test_a_bore_opens_into_a_groove_where_they_share_volume(start, inward, length, meets):
    assert opens_into(Bore("c", start, inward, length, 12.0), GROOVE) is meets
