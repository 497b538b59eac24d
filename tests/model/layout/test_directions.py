"""Words for directions, held against the case frame as DEVELOPERS.md and the handedness tests state it."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from elbowroom.model.layout.directions import named, round_by, toward

UNITS = {
    "front": (1, 0, 0), "rear": (-1, 0, 0), "tray": (0, 1, 0), "glass": (0, -1, 0),
    "roof": (0, 0, 1), "floor": (0, 0, -1),
}  # fmt: skip
OPPOSED = {"front": "rear", "rear": "front", "tray": "glass", "glass": "tray", "roof": "floor", "floor": "roof"}


@pytest.mark.parametrize("side", UNITS)
def test_along_an_axis_of_the_case_one_side_is_told(side: str) -> None:
    assert toward(UNITS[side], "glass") == f"toward the {side}"


def test_a_lesser_share_is_told_as_a_little() -> None:
    at = math.radians(20)
    assert toward((-math.sin(at), -math.cos(at), 0), "glass") == "toward the glass and a little to the rear"
    assert toward((math.cos(at), 0, math.sin(at))) == "toward the front and a little upward"
    assert toward((1, 0, -1)) == "toward the front and the floor"


@settings(max_examples=60, deadline=None)
@given(st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda v: math.hypot(*v) > 0.01))
def test_what_is_told_lies_on_its_side_and_never_on_the_other(v: tuple[float, float, float]) -> None:
    said = named(v, "glass").replace("upward", "roof").replace("downward", "floor")
    told = [s for s in UNITS if s in said]
    assert told, said
    for side in told:
        assert sum(a * b for a, b in zip(v, UNITS[side], strict=True)) > 0
        assert OPPOSED[side] not in told
    largest = max(UNITS, key=lambda s: sum(a * b for a, b in zip(v, UNITS[s], strict=True)))
    assert said.split(" and ")[0].split(",")[0] == f"the {largest}" or len(told) > 1


def test_a_range_is_told_by_its_way_round() -> None:
    quarter = [(math.cos(math.radians(a)), 0, math.sin(math.radians(a))) for a in range(0, 181, 5)]
    assert round_by(quarter) == "anywhere from the front, round by the roof, to the rear"
    assert round_by(quarter[:2]) == "toward the front"


def test_an_end_between_two_walls_is_told_so() -> None:
    corner, down, up = (0.0, 0.7, 0.7), (0.0, -0.3, -1.0), (0.0, 0.0, 1.0)
    said = "anywhere from between the tray and the roof, round by the floor, to the roof"
    assert round_by([corner, down, up]) == said
