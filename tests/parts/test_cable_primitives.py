"""Plain shapes and cable bundles: bend arithmetic against textbook values, extents against the kernel, refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from elbowroom.parts.made.primitives import PlainBox, PlainCylinder
from elbowroom.parts.made.sheet import PlainSheet
from elbowroom.parts.tube.cable import CableBundle
from elbowroom.parts.vocabulary.pose import apply

KERNEL_MM = (
    1e-4  # the kernel's optimal box of a swept pipe, whose faces carry a 1e-7 tolerance and are searched by steps
)


def kernel_box(shape):
    """Extents without triangulation and without the kernel's safety gap."""
    from OCP.Bnd import Bnd_Box
    from OCP.BRepBndLib import BRepBndLib

    b = Bnd_Box()
    b.SetGap(0.0)
    BRepBndLib.AddOptimal_s(shape.wrapped, b, False, False)
    return np.array(b.Get())


def both(box):
    return np.array([*box.lo, *box.hi])


# Cable


def test_length_of_two_bends_is_the_textbook_value():
    """Legs 80/120/60 with R 38 and turns of 90 and 45 degrees: 242.055 along the centre line (bend mathematics)."""
    a = math.radians(45)
    c = CableBundle(
        points=[(0, 0, 0), (80, 0, 0), (80, 120, 0), (80 - 60 * math.sin(a), 120 + 60 * math.cos(a), 0)],
        diameter=8,
        bend_radius=38,
    )
    assert [b.setback for b in c.bends()] == pytest.approx([38.0, 15.740], abs=5e-4)
    assert [float(np.linalg.norm(q - p)) for p, q in c.straights()] == pytest.approx([42.0, 66.260, 44.260], abs=5e-4)
    assert c.length() == pytest.approx(242.055, abs=5e-4)


@st.composite
def bundles(draw):
    """Bundles that step in a random direction, far enough each time for bends of up to 150 degrees."""
    diameter = draw(st.floats(2, 20))
    radius = diameter * draw(st.floats(0.6, 3))
    points, heading = [np.zeros(3)], np.array([1.0, 0.0, 0.0])
    for _ in range(draw(st.integers(1, 4))):
        points.append(points[-1] + heading * radius * draw(st.floats(8, 12)))
        turn = math.radians(draw(st.floats(0, 85)))
        side = np.cross(heading, draw(st.sampled_from(list(np.eye(3)))) + 0.1 * np.ones(3))
        side /= np.linalg.norm(side)
        heading = heading * math.cos(turn) + side * math.sin(turn)
    return {"points": [tuple(map(float, p)) for p in points], "diameter": diameter, "bend_radius": radius}


@settings(max_examples=25, deadline=None)
@given(bundles())
def test_extents_and_volume_agree_with_the_kernel(fields):
    """Declared extents are the drawn ones, and the volume is section times length (Pappus: exact for arcs)."""
    try:
        c = CableBundle(**fields)
    except ValidationError as e:
        assert "runs into itself" in str(e)  # noqa: PT017 - the one refusal these paths may meet
        return
    (solid,) = c.solids().values()
    assert solid.isValid()
    assert both(c.box()) == pytest.approx(kernel_box(solid), abs=KERNEL_MM)
    assert solid.Volume() == pytest.approx(math.pi * c.diameter**2 / 4 * c.length(), rel=1e-6)


@pytest.mark.parametrize("turn", [1e-7, 1e-5, 1.1e-5, 1e-4, 1e-3])
def test_nearly_straight_corners_can_be_laid(turn):
    """Legs of 300 that hardly turn: as long as the two legs to within what a cut corner saves."""
    c = CableBundle(points=[(0, 0, 0), (300, 0, 0), (600, 300 * turn, 0)], diameter=2, bend_radius=2)
    assert c.length() == pytest.approx(600, abs=1e-3)
    assert c.solids()["bundle"].isValid()


def test_short_leg_is_refused_by_how_much():
    with pytest.raises(ValidationError, match=r"leg 1 is 10\.0 mm too short for bends of radius 20"):
        CableBundle(points=[(0, 0, 0), (10, 0, 0), (10, 80, 0)], diameter=8, bend_radius=20)


def test_leg_exactly_used_up_by_its_bend_is_long_enough():
    c = CableBundle(points=[(0, 0, 0), (20, 0, 0), (20, 80, 0)], diameter=8, bend_radius=20)
    assert c.length() == pytest.approx(20 * math.pi / 2 + 60)
    assert c.solids()["bundle"].isValid()


def test_bundle_that_crosses_itself_is_refused_by_how_deep():
    """The last leg passes 2.5 above the first: a bundle of 8 overlaps itself by 5.5."""
    with pytest.raises(ValidationError, match=r"runs into itself by 5\.5 mm near \(50\.0, 0\.0, 1\.2\)"):
        CableBundle(
            points=[(0, 0, 0), (100, 0, 0), (100, 80, 2.5), (50, 80, 2.5), (50, -80, 2.5)], diameter=8, bend_radius=10
        )


def test_tight_hairpin_does_not_touch_itself():
    """Two quarter turns of radius 5.1 leave the legs of a 10 mm bundle 0.2 apart."""
    c = CableBundle(points=[(0, 0, 0), (100, 0, 0), (100, 10.2, 0), (0, 10.2, 0)], diameter=10, bend_radius=5.1)
    assert c.solids()["bundle"].isValid()


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"points": [(0, 0, 0), (0, 0, 0)]}, "points 1 and 2 are the same"),
        ({"points": [(0, 0, 0), (50, 0, 0), (0, 0, 0)]}, "turns straight back at point 2"),
        ({"points": [(0, 0, 0), (50, 0, 0)], "diameter": 30, "bend_radius": 15}, "not more than half the diameter"),
        ({"points": [(0, 0, 0)]}, "at least 2 items"),
    ],
)
def test_impossible_bundles_are_refused(fields, words):
    with pytest.raises(ValidationError, match=words):
        CableBundle(**fields)


def test_ends_face_out_of_the_bundle():
    c = CableBundle(points=[(0, 0, 0), (50, 0, 0), (50, 60, 0)])
    assert c.frame("start").pose[:3, 2] == pytest.approx([-1, 0, 0])
    assert c.frame("end").pose[:3, 2] == pytest.approx([0, 1, 0])
    assert c.frame("end").pose[:3, 3] == pytest.approx([50, 60, 0])


# Plain shapes


def test_box_faces_are_named_as_by_someone_facing_the_front():
    """x forward, y left, z up (REP-103), and each face's origin lies on the face."""
    b = PlainBox(length=100, width=60, height=40)
    out = {f.name: f.pose[:3, 2].tolist() for f in b.frames()}
    assert out == {
        "front": [1, 0, 0], "back": [-1, 0, 0], "left": [0, 1, 0], "right": [0, -1, 0], "top": [0, 0, 1],
        "bottom": [0, 0, -1],
    }  # fmt: skip
    for f in b.frames():
        inside = np.array(f.pose[:3, 3]) - (np.array([0, 0, 20]))
        assert inside @ f.pose[:3, 2] == pytest.approx(
            {"x": 50, "y": 30, "z": 20}["xyz"[int(np.argmax(np.abs(f.pose[:3, 2])))]]
        )


@pytest.mark.parametrize("face", ["top", "bottom", "left", "right", "front", "back"])
def test_holes_of_each_face_are_bored_where_they_are_declared(face):
    """A slot turned by 30 degrees off the face's centre removes exactly its own volume, at its own place."""
    at, depth, width, length = (8.0, -5.0), 6.0, 4.0, 7.0
    b = PlainBox(holes=[{"face": face, "at": at, "depth": depth, "diameter": width, "slot": length, "angle": 30}])
    (pattern,) = b.patterns()
    (hole,) = pattern.holes
    solid = b.solids()["body"]
    section = math.pi * width**2 / 4 + width * length
    assert 100 * 60 * 40 - solid.Volume() == pytest.approx(section * depth, rel=1e-9)
    c, s = math.cos(math.radians(hole.angle)), math.sin(math.radians(hole.angle))
    for k in (-1, 1):  # just inside both ends of the slot, and just outside them
        for reach, void in ((length / 2 + width / 2 - 0.05, True), (length / 2 + width / 2 + 0.05, False)):
            p = apply(pattern.pose, (hole.x + k * reach * c, hole.y + k * reach * s, -depth / 2))
            assert solid.isInside(tuple(p)) is not void


def test_through_holes_and_ports_of_a_sheet_are_void():
    """Volume left is plate less bores: six 4.5 holes, and one G1/4 at the basic minor diameter 11.445 (ISO 228-1)."""
    holes = [{"face": "top", "at": (x, y), "diameter": 4.5} for x in (-80, 0, 80) for y in (-40, 40)]
    s = PlainSheet(thickness=10, holes=holes, ports=[{"name": "in", "face": "bottom", "at": (20, 10), "depth": 10}])
    bores = 6 * math.pi * 4.5**2 / 4 + math.pi * 11.445**2 / 4
    assert s.solids()["body"].Volume() == pytest.approx((200 * 100 - bores) * 10, rel=1e-9)
    assert s.frame("in").pose[:3, 3] == pytest.approx([20, -10, 0])


def test_bored_cylinder():
    c = PlainCylinder(
        diameter=60, height=120, bore=20, holes=[{"face": "top", "at": (20, 0), "thread": "M4", "depth": 10}]
    )
    solid = c.solids()["body"]
    minor = 4 - 1.0825317547305483 * 0.7  # ISO 724
    assert solid.Volume() == pytest.approx(math.pi / 4 * ((3600 - 400) * 120 - minor**2 * 10), rel=1e-9)
    assert both(c.box()) == pytest.approx(kernel_box(solid), abs=KERNEL_MM)


@pytest.mark.parametrize(
    ("cls", "fields", "words"),
    [
        (PlainBox, {"ports": [{"name": "in", "face": "lid"}]}, "no face 'lid'; known: bottom, top"),
        (PlainBox, {"ports": [{"name": "in", "face": "top", "at": (48, 0)}]}, r"port 'in' comes 4\.02 mm too close"),
        (PlainBox, {"ports": [{"name": "in", "face": "top"}], "height": 6}, "port 'in' is 8 deep, face 'top' has 6 mm"),
        (PlainBox, {"ports": [{"name": "top", "face": "top"}]}, "names used more than once: top"),
        (
            PlainBox,
            {"holes": [{"face": "top", "diameter": 5}, {"face": "top", "diameter": 5, "at": (4, 0)}]},
            r"hole 1 and hole 2 leave -1\.00 mm",
        ),
        (PlainBox, {"holes": [{"face": "top"}]}, "needs a diameter or a thread"),
        (PlainBox, {"holes": [{"face": "top", "thread": "M3", "slot": 4}]}, "a slot cannot be threaded"),
        (PlainCylinder, {"diameter": 20, "bore": 19.8}, "leaves no wall"),
        (
            PlainCylinder,
            {"bore": 20, "holes": [{"face": "top", "diameter": 4, "at": (11, 0)}]},
            "too close to the edge",
        ),
        (PlainSheet, {"holes": [{"face": "top", "diameter": 3, "depth": 3}]}, r"is 3 deep, face 'top' has 2 mm"),
    ],
)
def test_unsound_bores_are_refused(cls, fields, words):
    with pytest.raises(ValidationError, match=words):
        cls(**fields)
