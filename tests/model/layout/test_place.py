"""Placement: frames brought together, measured distances, references and their faults.

The expected poses are worked out by hand from the words; scipy's rotations (an outside library) check the turns.
"""

from __future__ import annotations

import math
import textwrap

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from elbowroom.model.build.problems import BuildError
from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import parse
from elbowroom.model.layout.layout import Layout
from elbowroom.model.layout.place import place
from elbowroom.parts.vocabulary.pose import apply, bring_together, compose, inverse, pose, rotation, shift

ROUNDING = 1e-9  # mm: sums and products of a few hundred millimetres in double precision


def layout(text: str) -> Layout:
    return place(load(parse(textwrap.dedent(text), "b.yaml")))


def faults(text: str) -> list[str]:
    with pytest.raises(BuildError) as e:
        layout(text)
    return [str(p) for p in e.value.problems]


BARE = "title: t\nparts:\n"
CASED = """
title: t
case: {interior: {depth: 400, width: 200, height: 450}}
parts:
"""

direction = st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda v: math.hypot(*v) > 0.1)
point = st.tuples(*[st.floats(-500, 500)] * 3)
poses = st.builds(lambda p, axis, by: compose(shift(*p), rotation(axis, by)), point, direction, st.floats(-360, 360))


@given(poses, poses, st.floats(-180, 180), st.booleans(), st.floats(-50, 50))
def test_frames_brought_together_coincide_and_face_each_other(own, target, clock, flip, lift) -> None:  # type: ignore[no-untyped-def]
    placed = compose(bring_together(own, target, clock=clock, flip=flip, lift=lift), own)
    assert placed[:3, 3] == pytest.approx(apply(target, (0, 0, lift)), abs=ROUNDING)
    assert float(placed[:3, 2] @ target[:3, 2]) == pytest.approx(1 if flip else -1, abs=ROUNDING)
    # The clock is the turn of the x axes about the target's z.
    x = compose(inverse(target), placed)[:3, 0]
    assert (x[0], x[1]) == pytest.approx((math.cos(math.radians(clock)), math.sin(math.radians(clock))), abs=ROUNDING)


@given(direction, st.floats(-720, 720), point)
def test_turns_agree_with_scipy(axis, by, p) -> None:  # type: ignore[no-untyped-def]
    unit = np.array(axis) / np.linalg.norm(axis)
    assert apply(rotation(axis, by), p) == pytest.approx(
        Rotation.from_rotvec(unit * math.radians(by)).apply(p), abs=1e-8
    )


@given(poses)
def test_the_inverse_of_a_pose_undoes_it(p) -> None:  # type: ignore[no-untyped-def]
    assert compose(p, inverse(p)) == pytest.approx(np.eye(4), abs=ROUNDING)


def test_a_frame_cannot_be_made_from_parallel_axes() -> None:
    with pytest.raises(ValueError, match="parallel"):
        pose((0, 0, 0), (0, 0, 1), (0, 0, 2))


def test_measured_distances_from_every_wall() -> None:
    at = layout(
        CASED
        + """
  near: {box: custom, length: 10, width: 20, height: 30, at: {rear: 5, tray: 6, floor: 7}}
  far: {box: custom, length: 10, width: 20, height: 30, at: {front: 5, open: 6, roof: 7}}
  turned: {box: custom, length: 10, width: 20, height: 30, turn: {z: 90}, at: {rear: 5, open: 6, z: 100}}
"""
    )
    # A box's origin is the centre of its underside.
    assert at.piece("near").pose[:3, 3] == pytest.approx((10, 184, 7), abs=ROUNDING)
    assert at.piece("far").pose[:3, 3] == pytest.approx((390, 16, 413), abs=ROUNDING)
    assert at.piece("turned").pose[:3, 3] == pytest.approx((15, 11, 100), abs=ROUNDING)


def test_a_part_turned_oddly_keeps_its_nearest_corner_at_the_measured_distance() -> None:
    at = layout(
        CASED
        + """
  odd: {box: custom, length: 80, width: 20, height: 30, at: {rear: 5, tray: 6, floor: 7},
        turn: [{x: 20}, {axis: [1, 2, 3], by: 37}]}
"""
    )
    piece = at.piece("odd")
    corners = apply(piece.pose, piece.part.box().corners())
    lo, hi = corners.min(axis=0), corners.max(axis=0)
    assert (lo[0], 200 - hi[1], lo[2]) == pytest.approx((5, 6, 7), abs=ROUNDING)  # the tray is at y = 200
    turned = Rotation.from_rotvec(np.radians(37) * np.array([1, 2, 3]) / math.sqrt(14)) * Rotation.from_euler(
        "x", 20, True
    )
    assert piece.pose[:3, :3] == pytest.approx(turned.as_matrix(), abs=ROUNDING)


def test_on_a_wall_the_wall_gives_one_distance_and_the_build_the_other_two() -> None:
    at = layout(
        CASED + "  a: {box: custom, length: 10, width: 20, height: 30, on: case.front-wall, at: {open: 6, floor: 7}}\n"
    )
    piece = at.piece("a")
    corners = apply(piece.pose, piece.part.box().corners())
    assert corners.max(axis=0)[0] == pytest.approx(400, abs=ROUNDING)  # on the front wall
    assert corners.min(axis=0)[1] == pytest.approx(6, abs=ROUNDING)  # the open side is at y = 0
    assert corners.min(axis=0)[2] == pytest.approx(7, abs=ROUNDING)
    assert [(m.piece, m.to_frame, m.contact) for m in at.mates] == [("a", "front-wall", True)]


def test_one_entry_on_several_frames_makes_a_numbered_piece_on_each() -> None:
    at = layout(
        BARE
        + """
  base: {box: custom, at: {x: 0, y: 0, z: 0}}
  peg: {cylinder: custom, diameter: 4, height: 8, on: "base.*t"}
  cap: {box: custom, length: 4, width: 4, height: 4, on: peg 2.top}
mates:
  - [peg *.bottom, base.right]
"""
    )
    pegs = [p.name for p in at.pieces if p.part.family == "cylinder"]
    assert pegs == ["peg 1", "peg 2", "peg 3"]  # on left, right, front: the frames of a box that end in t
    assert compose(inverse(at.piece("peg 2").frame_pose("top")), at.piece("cap").frame_pose("bottom"))[:3, 3] == (
        pytest.approx((0, 0, 0), abs=ROUNDING)
    )
    assert sum(not m.placed for m in at.mates) == 3


def test_a_lifted_part_claims_no_contact() -> None:
    at = layout(
        BARE
        + """
  base: {box: custom, at: {x: 0, y: 0, z: 0}}
  up: {box: custom, on: base.top, lift: 3, offset: [5, 6], clock: 90}
"""
    )
    assert at.mates == ()
    top = at.piece("base").frame_pose("top")
    assert at.piece("up").frame_pose("bottom")[:3, 3] == pytest.approx(apply(top, (5, 6, 3)), abs=ROUNDING)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("  a: {box: custom}", "b.yaml:3:6 parts.a: is not placed"),
        ("  a: {box: custom, at: {x: 0, y: 0}}", "the height (floor or roof) is not given"),
        ("  a: {box: custom, at: {x: 0, y: 0, z: 1, floor: 2}}", "given twice: by floor and z"),
        ("  a: {box: custom, at: {x: 0, y: 0, floor: 2}}", 'no case to measure "floor" from'),
        ("  a: {box: custom, on: a.top}", '"a" cannot be placed on itself'),
        ("  a: {box: custom, on: b.top}\n  b: {box: custom, on: a.top}", "goes in a circle: a on b on a"),
        ("  a: {box: custom, on: nose.top}", 'b.yaml:3:24 parts.a.on: no part "nose"'),
        (
            "  a: {box: custom, on: a1.tpo}\n  a1: {box: custom, at: {x: 0, y: 0, z: 0}}",
            'no frame "tpo"; nearest: "top"',
        ),
        ("  a: {box: custom, on: case.floor-wall}", "the build has no case"),
        ("  a: {box: custom, on: top}", "is not a frame; write piece.frame"),
        ("  a: {box: custom, at: {x: 0, y: 0, z: 0}, by: top}", '"by" belongs to a part that is "on" a frame'),
        ("  a: {box: custom, at: {x: 0, y: 0, z: 0, of: nose}}", 'no frame "nose"'),
        ("  a: {box: custom, on: b.top, turn: {z: 9}}\n  b: {box: custom, at: {x: 0, y: 0, z: 0}}", 'not "turn"'),
        ("  a: {box: custom, at: {x: 0, y: 0, z: 0}, turn: {z: 9, x: 3}}", "one turn says one of x, y, z"),
        ("  a: {boks: custom, at: {x: 0, y: 0, z: 0}}", 'nearest: "box"'),
        ("  a: {box: larg, at: {x: 0, y: 0, z: 0}}", 'no box size "larg" in the catalogue'),
        ("  a: {box: custom, lenght: 3, at: {x: 0, y: 0, z: 0}}", 'unknown key "lenght"; nearest: "length"'),
        ("  a: {box: custom, length: -3, at: {x: 0, y: 0, z: 0}}", "must be more than"),
        ("  a: {box: custom, length: 3 lightyears, at: {x: 0, y: 0, z: 0}}", "no unit 'lightyears'"),
        ("  a: {box: custom, length: [3], at: {x: 0, y: 0, z: 0}}", "expected a number in mm"),
        ("  a: {box: custom, length: yes, at: {x: 0, y: 0, z: 0}}", "expected a number in mm"),
        ("  a: [box]", "expected a part such as"),
        ("  a: {box: custom, fan: fan-120x25, at: {x: 0, y: 0, z: 0}}", "names 2 families (box, fan)"),
        ("  a: {box: custom, at: {x: 0, y: 0, z: 0}}\nmates: [[a.top, a.bottom]]", '"a" cannot be mated to itself'),
        ("  a: {box: custom, at: {x: 0, y: 0, z: 0}}\ngaps: {parts: {b: 3}}", 'no part "b"; known: a'),
        ("  a: {box: custom, at: {x: 0, y: 0, z: 0}}\ngaps: {default: -1}", "must be at least 0 mm"),
        ("  a: {box: custom, at: {x: 0, y: 0, z: 0}}\ngasp: {default: 1}", 'unknown key "gasp"; nearest: "gaps"'),
    ],
)
def test_faults_are_told_where_they_stand(text: str, said: str) -> None:
    assert any(said in f for f in faults(BARE + text + "\n")), faults(BARE + text + "\n")


def test_every_fault_of_a_file_comes_out_in_one_run() -> None:
    found = faults(
        """
        titel: t
        parts:
          a: {box: custom, lenght: 3, height: -1}
          b: {fan: fan-120x26, at: {x: 0, y: 0, z: 0}}
          c: {cylinder: custom, diameter: wide, at: {x: nan, y: 0, z: 0}}
        """
    )
    assert [f.split(" ", 1)[0] for f in found] == [
        "b.yaml:2:1:", "b.yaml:2:1", "b.yaml:4:20", "b.yaml:4:39", "b.yaml:5:12", "b.yaml:6:35", "b.yaml:6:49",
    ]  # fmt: skip


def test_a_plus_minus_is_kept_on_the_part() -> None:
    at = layout(BARE + "  a: {box: custom, length: 12.5 ± 0.2, at: {x: 0, y: 0, z: 0}}\n")
    length = at.piece("a").part.length  # type: ignore[attr-defined]
    assert (float(length), length.plus_minus) == (12.5, 0.2)
    assert at.piece("a").given == frozenset({"length"})
    assert "height" in at.piece("a").assumed


def test_a_faulty_part_still_tells_what_is_wrong_with_its_distances() -> None:
    found = faults(BARE + "  a: {box: custom, length: -4, at: {x: 1, rear: 2, z: 0}}\n")
    assert len(found) == 3, found
    assert any("must be more than" in f for f in found)
    assert any("given twice: by rear and x" in f for f in found)
    assert any("the width (tray" in f and "is not given" in f for f in found), found


@pytest.mark.parametrize(
    ("face", "centre", "walls"),
    [
        ("front", "{floor: 200, tray: 90}", "tray open floor roof"),
        ("roof", "{rear: 200, tray: 90}", "rear front tray open"),
    ],
)
def test_a_fan_without_a_cable_corner_is_told_one_that_it_has(face: str, centre: str, walls: str) -> None:
    text = f"""
    title: t
    case: {{openings: {{way: {{face: {face}, size: 120, count: 1, centre: {centre}}}}}}}
    stacks:
      way: {{flow: in, layers: [{{fan: fan-120x25, cable_to: CORNER}}]}}
    """
    [said] = faults(text.replace(", cable_to: CORNER", ""))
    corner = said.split('"')[1].removeprefix("cable_to: ")
    assert set(corner.split()) <= set(walls.split())
    assert layout(text.replace("CORNER", corner)).piece("way fan")  # taken as it is said


THIN = """
title: t
case:
  sheet: {sheet}
  openings: {{front: {{face: front, size: 120, count: 1, centre: {{floor: 200, tray: 90}}}}}}
stacks:
  front: {{flow: in, layers: [{{fan: fan-120x25, cable_to: floor tray}}], outside: [dust-filter-120]}}
parts:
  tank: {{box: custom, on: case.floor-wall, at: {{rear: 20, tray: 20}}}}
  loose: {{box: custom, at: {{rear: 20, open: 20, floor: 0.1}}}}
"""


def test_what_a_thin_sheet_holds_apart_may_be_as_near_as_it_is_thin() -> None:
    near = {(j.body.split("/")[0], j.to_body) for j in layout(THIN.format(sheet=0.8)).joined}
    assert ("case", "tank/body") in near  # a foot under it
    assert any({"front fan", "front dust-filter"} == {a, b.split("/")[0]} for a, b in near)
    assert not any("loose" in b for _, b in near)  # nothing says that it stands on the floor
    assert layout(THIN.format(sheet=1.0)).joined == ()  # the wanted gap is there
