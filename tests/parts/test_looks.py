"""Looks: what a person sees carries the names of what is judged, keeps to its room, and is sound geometry.

The room is arithmetic on the part's own fields; that a fan's blades stay inside the disc they sweep is analytic truth.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from cadquery import Shape

from elbowroom.parts.card.gpu_mount import GpuMount
from elbowroom.parts.catalogue import sizes
from elbowroom.parts.families import family_class
from elbowroom.parts.fan.fan import Fan
from elbowroom.parts.looks import ARROW, FIN, STUB, TUBE, shown
from elbowroom.parts.tube.cable import CableBundle
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.water.radiator import Radiator
from tests.parts.probe import KERNEL_MM, extents

ROWS = [("fan", row) for row in ("fan-40x10", "fan-120x15", "fan-120x38", "fan-120x25-padded", "fan-200x30")]
ROWS += [("radiator", row) for row in ("radiator-120x30", "radiator-280x30")]
ROWS += [("gpu-mount", row) for row in sizes("gpu-mount")]
PATHS = (((0, 0, 0), (0, 0, 100), (50, 0, 100)), ((0, 0, 0), (9, 9, 9)), ((0, 0, 0), (60, 0, 0), (60, 80, 0)))


def plain(family: str, row: str) -> Part:
    return family_class(family)(**dict(sizes(family)[row].fields))


@cache
def drawn(part: Part) -> tuple[Part, dict[str, Shape]]:
    look = shown(part)
    assert look is not None
    return look, look.solids()


def check_names_and_soundness(part: Part) -> None:
    look, solids = drawn(part)
    assert look.family == part.family
    assert set(solids) == {b.name for b in look.bodies()}
    plain_names = [b.name for b in part.bodies()]
    assert [b.name for b in look.bodies()][: len(plain_names)] == plain_names
    assert look.frames()[0].pose == pytest.approx(part.frames()[0].pose)
    for name, solid in solids.items():
        assert len(solid.Solids()) == 1, name
        assert solid.isValid(), name
        assert solid.Volume() > 0, name


@pytest.mark.slow
@pytest.mark.parametrize(("family", "row"), ROWS, ids=[row for _, row in ROWS])
def test_a_look_carries_the_names_of_what_is_judged_and_keeps_to_its_room(family: str, row: str) -> None:
    part = plain(family, row)
    check_names_and_soundness(part)
    _, solids = drawn(part)
    box = part.box()
    outside = {"cable-stub": STUB} | {f"air-{i}": ARROW for i in range(1, 5)}
    for body in part.bodies():
        if body.keep_out is None:
            lo, hi = extents(solids[body.name])
            assert (lo >= np.array(box.lo) - KERNEL_MM).all()
            assert (hi <= np.array(box.hi) + KERNEL_MM).all()
    for name in set(solids) - {b.name for b in part.bodies()}:
        lo, hi = extents(solids[name])
        if isinstance(part, GpuMount):  # the ribbon stands in the room that is kept for it
            room, allowed = part.ribbon_box(), 0.0
        else:
            room, allowed = box, outside[name]
        assert (lo >= np.array(room.lo) - allowed - KERNEL_MM).all(), name
        assert (hi <= np.array(room.hi) + allowed + KERNEL_MM).all(), name


@pytest.mark.slow
@pytest.mark.parametrize("row", [row for family, row in ROWS if family == "fan"])
def test_blades_stay_inside_the_disc_they_sweep_and_pass_the_struts(row: str) -> None:
    fan = plain("fan", row)
    assert isinstance(fan, Fan)
    _, solids = drawn(fan)
    blades, disc = solids["blades"], fan.solids()["blades"]
    assert blades.cut(disc).Volume() == pytest.approx(0.0, abs=1e-3)  # mm3: slivers where the tips lie on the rim
    # Open for the air: seven thin blades and a hub fill less than 0.6 of what they sweep.
    assert blades.Volume() < 0.6 * disc.Volume()
    assert solids["frame"].intersect(disc).Volume() == pytest.approx(0.0, abs=1e-3)


def test_a_core_is_open_between_its_fins() -> None:
    radiator = plain("radiator", "radiator-120x30")
    assert isinstance(radiator, Radiator)
    _, solids = drawn(radiator)
    fins, full = solids["fins"], radiator.solids()["fins"]
    share = fins.Volume() / full.Volume()
    # Tubes are 2 of every 10 mm, and a fin of 0.8 mm waves 14 mm long across 8: 0.2 and some 0.2 of the rest.
    assert TUBE / 10.0 < share < TUBE / 10.0 + 4 * FIN / 14.0 + 0.15


@pytest.mark.parametrize("points", PATHS)
def test_a_cable_ends_in_plugs(points: tuple[tuple[float, float, float], ...]) -> None:
    cable = CableBundle(points=tuple((Mm(x), Mm(y), Mm(z)) for x, y, z in points), diameter=Mm(6))
    check_names_and_soundness(cable)
    _, solids = drawn(cable)
    for name, end in (("plug-1", points[0]), ("plug-2", points[-1])):
        lo, hi = extents(solids[name])
        assert ((lo <= np.array(end) + KERNEL_MM) & (hi >= np.array(end) - KERNEL_MM)).all()
