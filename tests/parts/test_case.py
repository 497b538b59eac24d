"""The case: declared and drawn agree, its datums follow the standards, and openings that cannot be read are refused."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
from pydantic import ValidationError

from elbowroom.parts.case.case import FACES, Case
from elbowroom.parts.case.case_openings import LEAST_WEB
from elbowroom.parts.catalogue import sizes
from elbowroom.parts.vocabulary import board_standard as std
from elbowroom.parts.vocabulary.pose import apply
from tests.parts.probe import KERNEL_MM, check_drawing, extents

VOLUME_MM3 = 1e-3  # a boolean of touching faces leaves no more than rounding


def drawn_box(solids):
    lo, hi = zip(*(extents(s) for s in solids), strict=True)
    return np.array([np.min(lo, axis=0), np.max(hi, axis=0)])


ROWS = sizes("case")
ROW = {"face": "floor", "size": 120, "count": 3, "gap": 15, "slot": 12, "centre": {"rear": 210, "tray": 118}}


def with_opening(**changes):
    return Case(openings={"low": {**ROW, **changes}})


@pytest.mark.parametrize("name", [None, *ROWS])
def test_drawn_case_is_the_declared_one(name):
    check_drawing(Case(**ROWS[name].fields) if name else Case())


@pytest.mark.parametrize(
    "changes",
    [
        {"cable_space": 0, "feet": None, "open_side": "none"},
        {"open_side": "sheet", "sheet": 2.5, "slots": 0, "board": None},
        {"board": {"form": "custom", "holes": [[0, 0], [50, 60.5]], "standoff": 12, "thread": "M3"}, "slots": 2},
        {"psu_shroud": {"height": 90, "depth": 430}, "psu": {"kind": "atx", "at": {"tray": 60}, "fan": "up"}},
        {"low_profile": True, "interior": {"depth": 400, "width": 95, "height": 440}},
        {"drive_cage": {"at": {"rear": 100, "tray": 30, "floor": 5}, "bays": 3, "size": {"height": 120}}},
    ],
)
def test_overridden_fields_draw_the_declared_case(changes):
    check_drawing(Case(**changes))


@pytest.mark.slow
def test_odd_sizes_draw_the_declared_case():
    pick = random.Random(7)
    for _ in range(6):
        d, w, h = pick.uniform(360, 600), pick.uniform(190, 300), pick.uniform(420, 640)
        size = pick.choice([80, 92, 120, 140])
        case = Case(
            interior={"depth": d, "width": w, "height": h},
            sheet=pick.uniform(0.6, 3),
            cable_space=pick.choice([0, pick.uniform(1, 60)]),
            board={"at": {"top": pick.uniform(20, h - 340)}},
            openings={
                "low": {
                    "face": "floor", "size": size, "count": 2, "gap": pick.uniform(size * 0.15, 30), "slot": 6,
                    "centre": {"front": d / 2, "open": w / 2}, "along": "x", "air": pick.choice(["full", "mesh"]),
                }
            },
        )  # fmt: skip
        check_drawing(case)


def test_interior_is_free_of_panels():
    """No panel, glass, back or foot enters the interior box."""
    case = Case(**ROWS["case-atx-tower"].fields)
    inner = case.interior_box
    for name, s in case.solids().items():
        if not name.startswith("standoff"):
            box = drawn_box([s])
            depth = np.minimum(box[1], inner.hi) - np.maximum(box[0], inner.lo)
            assert depth.min() <= KERNEL_MM, name


@pytest.mark.parametrize("face", FACES)
def test_wall_frames_stand_on_the_inner_faces(face):
    case = Case(open_side="sheet")
    f = case.frame(f"{face}-wall")
    z, x = f.pose[:3, 2], f.pose[:3, 0]
    middle = np.array(case.interior_box.hi) / 2
    assert f.kind == "wall"
    assert z @ (middle - f.pose[:3, 3]) == pytest.approx(abs(z) @ middle)  # the origin is on the face, z looks in
    assert list(x) == ([0, 1, 0] if face in ("front", "rear") else [1, 0, 0])
    corner = np.where(np.abs(z) > 0.5, f.pose[:3, 3], 0)
    assert list(f.pose[:3, 3]) == list(corner)


@pytest.mark.parametrize(
    ("face", "centre", "along"),
    [
        ("floor", {"front": 200, "open": 100}, [1, 0, 0]),
        ("roof", {"rear": 200, "tray": 100}, [1, 0, 0]),
        ("front", {"floor": 210, "open": 100}, [0, 0, 1]),
        ("tray", {"rear": 225, "floor": 61}, [1, 0, 0]),
        ("open", {"front": 200, "roof": 100}, [1, 0, 0]),
    ],
)
def test_opening_frames_and_slots(face, centre, along):
    """Its frames face apart across the panel, its slots lie a fan pitch apart, its centre is where it was measured."""
    case = Case(open_side="sheet", sheet=1.5, openings={"vent": {**ROW, "face": face, "centre": centre, "slot": 8}})
    inner, outer = case.frame("vent"), case.frame("vent-outside")
    assert inner.pose[:3, 2] == pytest.approx(-outer.pose[:3, 2])
    assert list(inner.pose[:3, 0]) == along == list(outer.pose[:3, 0])
    assert outer.pose[:3, 3] - inner.pose[:3, 3] == pytest.approx(1.5 * outer.pose[:3, 2])
    assert inner.size == (2 * 120 + 120, 120)
    for wall, mm in centre.items():
        w = case.frame(f"{wall}-wall").pose
        assert (inner.pose[:3, 3] - w[:3, 3]) @ w[:3, 2] == pytest.approx(mm)
    holes = next(p for p in case.patterns() if p.name == "vent").holes
    assert len(holes) == 12
    assert {(h.slot, h.angle, h.diameter) for h in holes} == {(8.0, 0.0, 4.5)}
    assert sorted({h.x for h in holes}) == [-172.5, -67.5, -52.5, 52.5, 67.5, 172.5]
    assert {h.y for h in holes} == {-52.5, 52.5}


@pytest.mark.parametrize("air", ["round", "full"])
def test_screw_slots_and_air_holes_are_open(air):
    """A screw stands free at both ends of every slot, on the inside pattern and on the outside one; air passes."""
    from elbowroom.parts.vocabulary import draw

    case = with_opening(air=air)
    floor = case.solids()["floor"]
    for name in ("low", "low-outside"):
        p = next(q for q in case.patterns() if q.name == name)
        for h in p.holes:
            for end in (-h.slot / 2, h.slot / 2):
                x, y, z = apply(p.pose, (h.x + end, h.y, 0))
                screw = draw.cylinder(h.diameter - 0.01, 10, (x, y, z - 5))
                assert screw.intersect(floor).Volume() == pytest.approx(0, abs=VOLUME_MM3)
    assert draw.cylinder(80, 4, (210, 118, -3)).intersect(floor).Volume() == pytest.approx(0, abs=VOLUME_MM3)


def test_mesh_fills_its_window():
    full, mesh = (with_opening(air=a).solids() for a in ("full", "mesh"))
    solid = Case().solids()["floor"].Volume()
    slots = 8 * (12 + math.pi * 4.5 / 4) * 4.5  # four ends of rows stay slots of their own; the inner ones merge
    merged = 4 * 15 * 4.5
    window = mesh["low-mesh"].Volume()
    assert full["floor"].Volume() == mesh["floor"].Volume()
    assert solid - full["floor"].Volume() == pytest.approx(window + slots + merged, rel=1e-3)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"centre": {"rear": 210, "front": 118}}, "needs one distance from rear or front"),
        ({"centre": {"rear": 210, "tray": 118, "floor": 1}}, "takes two distances"),
        ({"along": "z"}, "runs along x or y"),
        ({"size": 125}, "no hole pitch known"),
        ({"face": "open", "centre": {"rear": 210, "floor": 118}}, "the open side is glass"),
    ],
)
def test_openings_that_cannot_be_read_are_refused(changes, message):
    with pytest.raises(ValidationError, match=message):
        with_opening(**changes)


def test_all_problems_are_told_at_once():
    with pytest.raises(ValidationError) as caught:
        Case(openings={"floor-wall": ROW, "B": {**ROW, "face": "roof"}})
    text = str(caught.value)
    assert "'floor-wall': the case has a frame of that name" in text
    assert "'B': a name is lower-case words" in text


def test_io_cutout_is_the_published_one():
    """microATX v1.2, fig. 4: 6.25 x 1.75 in, its lower edge 0.150 in below the top of a 0.062 in board."""
    case = Case()
    rear = Case(slots=0).solids()["rear"]
    blank = Case(slots=0, board=None).solids()["rear"]
    cut = blank.cut(rear)
    box = drawn_box([cut])
    assert box[1] - box[0] == pytest.approx([case.sheet, 1.75 * 25.4, 6.25 * 25.4], abs=KERNEL_MM)
    board_top = case.interior.width - case.board.standoff - 0.062 * 25.4
    assert box[1][1] == pytest.approx(board_top + 0.150 * 25.4, abs=0.01)  # the standard's own rounding to 0.01
    hole_a = case.frame("board").pose[2, 3]
    assert box[0][2] - hole_a == pytest.approx(5.196 * 25.4, abs=0.01)


def test_board_datums():
    """Rear and top edge lie at the stated distances, a card bracket's outer face on the rear panel's inside."""
    case = Case(board={"at": {"top": 44}})
    origin = case.frame("board").pose[:3, 3]
    edge = origin[0] - 0.400 * 25.4
    assert edge == pytest.approx(1.95)
    assert case.size[2] - (origin[2] + 305 - 0.650 * 25.4) == pytest.approx(44)
    assert origin[0] + std.SLOT_X - std.KEY_TO_BRACKET == pytest.approx(0.0, abs=1e-9)
    assert case.interior.width - origin[1] == 6.5
    axes = case.frame("board").pose[:3, :3].T
    assert axes.tolist() == [[1, 0, 0], [0, 0, 1], [0, -1, 0]]


def test_slots_are_a_pitch_apart_and_brackets_cover_them():
    case = Case()
    at = [case.frame(f"rear-slot-{n}").pose[:3, 3] for n in range(1, 8)]
    assert np.diff(np.array(at), axis=0) == pytest.approx(np.tile([0, 0, -0.8 * 25.4], (6, 1)))
    key = case.frame("board").pose[2, 3] + std.SLOT_1_Y
    low, high = key + std.BRACKET_CPU_SIDE - std.BRACKET_WIDTH, key + std.BRACKET_CPU_SIDE
    half = case.frame("rear-slot-1").size[1] / 2
    assert low + 3 < at[0][2] - half
    assert at[0][2] + half < high - 3


def test_standoffs_are_bored_where_the_pattern_says():
    from cadquery import Vector

    case = Case()
    solids, p = case.solids(), next(q for q in case.patterns() if q.name == "board")
    for name, h in zip(case.standoffs(), p.holes, strict=True):
        x, _, z = apply(p.pose, (h.x, h.y, 0))
        assert not solids[name].isInside(Vector(x, 236 - 3, z))
        assert solids[name].isInside(Vector(x + h.diameter / 2 + 0.2, 236 - 3, z))


def test_power_supply_holes_are_turned_half_way_round_with_it():
    down, up = (Case(psu={"fan": f}) for f in ("down", "up"))
    pd, pu = (next(q for q in c.patterns() if q.name == "psu") for c in (down, up))
    a = np.array([apply(pd.pose, (h.x, h.y, 0)) for h in pd.holes])
    b = np.array([apply(pu.pose, (h.x, h.y, 0)) for h in pu.holes])
    middle = down.frame("psu").pose[:3, 3]
    assert a[:, 1:] + b[:, 1:] == pytest.approx(np.tile(2 * middle[1:], (4, 1)))
    assert a[0] == pytest.approx([0, 236 - 40 - 6, 16])


def test_least_web_is_kept_between_slots_and_bore():
    """The tightest slot that nothing is said of leaves exactly the least web; of a hair longer one it is said."""
    for size, pitch in ((80, 71.5), (120, 105.0)):
        reach = (size - 4) / 2 + LEAST_WEB + 4.5 / 2
        limit = min(80.0, 2 * (pitch / 2 - math.sqrt(max(0.0, reach**2 - (pitch / 2) ** 2))))
        ok = {**ROW, "size": size, "count": 1, "gap": None}
        assert Case(openings={"low": {**ok, "slot": limit - 1e-4}}).faults() == ()
        if limit < 79:
            [fault] = Case(openings={"low": {**ok, "slot": limit + 1e-3}}).faults()
            assert "run into the air hole" in fault.text
