"""Sheets with cutouts: volume and extents against formulas and the kernel, and what a cutout must not do."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pydantic import ValidationError

from elbowroom.parts.made.primitives import PlainBox
from elbowroom.parts.made.sheet import PlainSheet
from tests.parts.probe import KERNEL_MM, extents

NOTCH = [[-60, -10], [-30, -10, 180], [-30, 10], [-60, 10]]  # over the left edge, its end a half circle of radius 10
ROUND = [[10, 0, 180], [20, 0, "180 deg"]]  # a circle of 10
HOLE = {"face": "top", "at": (0, 20), "diameter": 5}


def sheet(*cutouts, **more):
    return PlainSheet(length=100, width=60, thickness=2, cutouts=cutouts, **more)


def test_volume_is_what_the_outlines_leave():
    s = sheet(NOTCH, ROUND, holes=[HOLE])
    solid = s.solids()["body"]
    assert solid.isValid()
    assert solid.Volume() == pytest.approx(2 * (6000 - 400 - math.pi * (50 + 25 + 6.25)), rel=1e-9)
    assert (s.box().lo, s.box().hi) == ((-50, -30, 0), (50, 30, 2))


@pytest.mark.parametrize(
    "cutouts",
    [
        [[[30, -40], [60, -40], [60, 40], [30, 40]]],
        [[[-60, -40], [60, -40], [60, -12], [-60, 5]]],
        [[[60, 40], [60, -40], [40, -40], [40, -20, 66.8], [40, 20], [40, 40]]],
    ],
)
def test_extents_are_those_of_what_is_left(cutouts):
    s = sheet(*cutouts)
    drawn = extents(s.solids()["body"])
    np.testing.assert_allclose([s.box().lo, s.box().hi], drawn, rtol=0, atol=1e-4 + KERNEL_MM)
    assert s.box().size[0] < 100 or s.box().size[1] < 60


def test_the_cutouts_are_part_of_the_shape_and_of_its_key():
    assert sheet(NOTCH).shape_key() != sheet().shape_key() != sheet(ROUND).shape_key()
    assert sheet(NOTCH) == sheet(NOTCH)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"cutouts": [[[0, -50], [1, -50], [1, 50], [0, 50]]]}, r"part the sheet into 2 pieces \(3000, 2940 mm2\)"),
        ({"cutouts": [[[0, 0], [5, 5], [5, 0], [0, 5]]]}, "cutout 1 crosses itself"),
        ({"cutouts": [ROUND, [[200, 0], [205, 5], [205, 0]]]}, r"cutout 2, about \(203\.3, 1\.7\), lies outside"),
        ({"cutouts": [[[0, 0, 360], [5, 5, 10]]]}, r"an arc at \(0, 0\) turns by 360 degrees"),
        ({"cutouts": [[[0, 0], [5, 5]]]}, "an outline without arcs needs at least 3"),
        ({"cutouts": [[[-60, -40], [60, -40], [60, 40], [-60, 40]]]}, "leave nothing of the sheet"),
        ({"cutouts": [ROUND], "holes": [{**HOLE, "at": (15, 7.5)}]}, r"hole 1 in face 'top' comes 0\.30 mm too close"),
        ({"cutouts": [ROUND], "holes": [{**HOLE, "face": "bottom", "at": (15, 7)}]}, "face 'bottom' comes 0.80 mm too"),
        (
            {"cutouts": [ROUND], "holes": [{"face": "right", "at": (15, 0), "diameter": 1, "depth": 24.5}]},
            r"face 'right' comes 0\.30 mm too close",
        ),
    ],
)
def test_what_a_cutout_must_not_do(fields, said):
    with pytest.raises(ValidationError, match=said):
        PlainSheet(length=100, width=60, **{"thickness": 2, **fields})


def test_bores_beside_a_cutout_are_sound():
    """One valid solid, less by what is bored: bores that met a cutout would take less."""
    one = [{**HOLE, "at": (15, 7.81)}, {"face": "right", "at": (15, 0), "diameter": 1, "depth": 24.1}]
    other = [{"face": "left", "at": (-20, 0), "diameter": 1, "depth": 10}]
    for cutout, bores, taken in ((ROUND, one, 2 * 6.25 + 24.1 / 4), (NOTCH, other, 10 / 4)):
        whole, bored = sheet(cutout).solids()["body"], sheet(cutout, holes=bores).solids()["body"]
        assert bored.isValid()
        assert len(bored.Solids()) == 1
        assert whole.Volume() - bored.Volume() == pytest.approx(math.pi * taken, rel=1e-6)


@pytest.mark.parametrize("face", ["top", "bottom", "left", "right", "front", "back"])
def test_holes_of_a_block_are_where_its_faces_have_them(face):
    """Three through holes and a blind one off the middle: volume and centre of mass against arithmetic."""
    size = {"top": (100, 60, 40), "left": (100, 40, 60), "front": (60, 40, 100)}
    x, y, deep = size[{"bottom": "top", "right": "left", "back": "front"}.get(face, face)]
    spots = [(-x / 4, y / 8), (x / 8, -y / 4), (x / 4, y / 4)]
    holes = [{"face": face, "at": s, "diameter": 5} for s in spots]
    part = PlainBox(
        length=100, width=60, height=40, holes=[*holes, {"face": face, "at": (0, 0), "diameter": 5, "depth": 7}]
    )
    solid = part.solids()["body"]
    disc = math.pi * 6.25
    assert solid.isValid()
    assert solid.Volume() == pytest.approx(100 * 60 * 40 - disc * (3 * deep + 7), rel=1e-9)
    flat = part.flats()[face].pose
    taken = [(disc * deep, (*s, -deep / 2)) for s in spots] + [(disc * 7, (0, 0, -3.5))]
    moment = 240_000 * np.array([0, 0, 20.0]) - sum(v * (flat[:3, :3] @ p + flat[:3, 3]) for v, p in taken)
    np.testing.assert_allclose(solid.Center().toTuple(), moment / solid.Volume(), atol=1e-6)


def test_more_holes_than_are_drawn_are_refused_by_their_number():
    many = [{"face": "top", "at": (0, 0), "diameter": 1}] * 2500
    for kind in (PlainSheet, PlainBox):
        with pytest.raises(ValidationError, match="2500 holes; more than 400 are not drawn"):
            kind(holes=many)
    with pytest.raises(ValidationError, match=r"150 holes that are blind .* more than 120 such are not drawn"):
        PlainSheet(holes=[{"face": "top", "at": (0, 0), "diameter": 1, "depth": 1}] * 150)
