"""What is impossible about a case is told, not refused, and the case is drawn all the same: one valid solid a body.

The drawn panels are held against plane areas worked out by shapely, a library that has no part in the drawing of them.
"""

from __future__ import annotations

import math

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from elbowroom.parts.case.case import Case
from elbowroom.parts.case.case_openings import FACE_AXES
from tests.parts.probe import check_drawing

ROW = {"face": "floor", "size": 120, "count": 3, "gap": 15, "slot": 12, "centre": {"rear": 210, "tray": 118}}
SIZE_OF = {"x": "depth", "y": "width", "z": "height"}
LOW = {"x": "rear", "y": "open", "z": "floor"}


def told(case: Case, verdict: str = "fail") -> str:
    return "; ".join(f.text for f in case.faults() if f.verdict == verdict)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"centre": {"rear": 170, "tray": 118}}, "low leaves the floor by 10.00 mm at the rear"),
        ({"centre": {"front": 175, "tray": 118}}, "low leaves the floor by 5.00 mm at the front"),
        ({"centre": {"rear": 210, "open": 58}}, "low leaves the floor by 2.00 mm at the open"),
        ({"size": 40, "count": 1, "gap": None}, "run into the air hole by 2."),
        ({"gap": 12}, "overlap by 3.00 mm"),
        ({"pitch": 119, "count": 1, "gap": None}, "hole pitch 119 does not fit a 120 mm fan"),
        ({"size": 30, "pitch": 20, "slot": 0, "slot_width": 12, "count": 1, "gap": None, "air": "full"}, "no room"),
    ],
)
def test_impossible_openings_are_told_and_drawn(changes: dict[str, object], message: str) -> None:
    case = Case(openings={"low": {**ROW, **changes}})
    assert message in told(case)
    check_drawing(case)


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"openings": {"low": ROW, "also": {**ROW, "count": 1, "centre": {"rear": 210, "tray": 208}}}},
         "openings low and openings also overlap: 30.00 mm too close"),
        ({"openings": {"vent": {"face": "rear", "size": 120, "slot": 8, "centre": {"floor": 330, "tray": 62}}}},
         "opening vent and I/O cut-out overlap"),
        ({"cutouts": [{"at": {"rear": 120, "floor": 240}, "size": {"depth": 60, "height": 40}}]},
         "cut-out 1 and standoff"),
        ({"interior": {"depth": 430, "width": 110, "height": 452}}, "tabs of the card brackets leaves the rear by"),
        ({"cutouts": [{"face": "rear", "at": {"tray": 10, "floor": 250}, "size": {"width": 80, "height": 60}}]},
         "I/O cut-out and cut-out 1 overlap"),
        ({"cutouts": [{"face": "floor", "at": {"rear": 400, "open": 20}, "size": {"width": 80, "depth": 60}}]},
         "cut-out 1 leaves the floor by 31.00 mm at the front"),
        ({"holes": [{"face": "floor", "at": {"rear": 0.5, "open": 20}}]}, "hole 1 in the floor runs into the panel's"),
        ({"board": {"at": {"top": 380}}}, "leaves the tray"),
    ],
)  # fmt: skip
def test_impossible_cases_are_told_and_drawn(fields: dict[str, object], message: str) -> None:
    case = Case(**fields)  # type: ignore[arg-type]
    assert message in told(case)
    for solid in case.solids().values():
        assert solid.isValid()
        assert solid.ShapeType() == "Solid"


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"psu_shroud": {}, "drive_cage": {"at": {"rear": 200}}}, "drive cage and shroud front plate overlap by"),
        ({"drive_cage": {"at": {"rear": 200, "tray": 100}}}, "drive cage leaves the interior by 14.00 mm at the open"),
        ({"feet": {"inset": 10}}, "feet stand out by 5.00 mm"),
    ],
)
def test_impossible_fittings_are_told(fields: dict[str, object], message: str) -> None:
    assert message in told(Case(**fields))  # type: ignore[arg-type]


def _cutouts(face: str) -> st.SearchStrategy[list[dict[str, object]]]:
    a, b = FACE_AXES[face]
    one = st.builds(
        lambda u, v, w, h, r: {
            "face": face, "at": {LOW[a]: u, LOW[b]: v}, "size": {SIZE_OF[a]: w, SIZE_OF[b]: h}, "radius": r,
        },
        *[st.integers(-40, 460)] * 2, *[st.integers(2, 240)] * 2, st.sampled_from([0, 5, 20]),
    )  # fmt: skip
    return st.lists(one, min_size=1, max_size=4)


@given(st.sampled_from(["floor", "front", "tray"]).flatmap(_cutouts))
@settings(max_examples=12, deadline=None)
def test_any_cut_outs_leave_one_valid_sheet_of_the_area_that_is_left(cutouts: list[dict[str, object]]) -> None:
    bare = Case(board=None, slots=0, feet=None)
    case = Case(board=None, slots=0, feet=None, cutouts=cutouts)  # type: ignore[arg-type]
    face = str(cutouts[0]["face"])
    (a, b), t = FACE_AXES[face], float(case.sheet)
    d, _, h = case.size
    panel = {"floor": (-t, 0, d + t, case.back), "front": (0, 0, case.back, h), "tray": (0, 0, d, h)}[face]
    cut = []
    for c in cutouts:
        (u, v), (w, k) = c["at"].values(), (c["size"][SIZE_OF[a]], c["size"][SIZE_OF[b]])  # type: ignore[attr-defined,index]
        r = min(float(c["radius"]), w / 2, k / 2) * (1 - 1e-9)  # type: ignore[arg-type]
        cut.append(shapely.box(u + r, v + r, u + w - r, v + k - r).buffer(r, quad_segs=256))
    left = shapely.difference(shapely.box(*panel), shapely.union_all(cut))
    largest = max((p.area for p in getattr(left, "geoms", [left])), default=0.0)
    solid = case.solids()[face]
    assert solid.isValid()
    assert len(solid.Solids()) == 1
    # 256 segments a quarter take a millionth of the corners' area; pieces within a mm2 of each other may change places.
    area = largest if largest > 1e-3 else bare.solids()[face].Volume() / t
    assert math.isclose(solid.Volume() / t, area, abs_tol=0.05)
    whole = len([p for p in getattr(left, "geoms", [left]) if p.area > 1e-3])
    assert ("part it into" in told(case)) == (whole > 1)
