"""Square runs: legs along the case's axes, checked against the textbook length of legs and quarter turns."""

from __future__ import annotations

import math

import numpy as np
import pytest

from elbowroom.model.geometry.envelopes import Margins
from elbowroom.model.geometry.freespace import Space
from elbowroom.model.tubes.planner import plan
from elbowroom.model.tubes.rules import Found, NotFound, Rules
from elbowroom.model.tubes.verify import verify
from elbowroom.parts.vocabulary.base import Box
from elbowroom.parts.vocabulary.bends import bend_run
from tests.bench.clutter import box, end_at

SQUARE = Rules(14, 28, 20, 10, Margins(1.0), square=True)
ROOM = Box((-150, -150, -150), (350, 300, 300))
SPARE_MM = 0.5  # the search ends this near to the shortest; legs of square runs may slide freely at one length
BESIDE_MM = 1.5  # mm: beside an obstacle the search keeps off by what its map cannot tell, about half a cell


def quarter_turns(legs: float, bends: int, radius: float = 28.0) -> float:
    """Centre line of square legs (sum of coordinates gone) with quarter turns: each saves 2R and adds R pi / 2."""
    return legs - bends * (2 * radius - radius * math.pi / 2)


@pytest.mark.parametrize(
    ("end", "axis", "bends"),
    [
        ((200, 0, 0), (-1, 0, 0), 0),
        ((150, 100, 0), (0, -1, 0), 1),
        ((200, 90, 0), (-1, 0, 0), 2),
        ((150, 100, 120), (0, 0, -1), 2),
        ((220, 90, 100), (-1, 0, 0), 3),
    ],
)  # fmt: skip
def test_a_square_run_has_the_length_of_its_legs(
    end: tuple[float, float, float], axis: tuple[float, float, float], bends: int
) -> None:
    start, stop = end_at((0, 0, 0), (1, 0, 0)), end_at(end, axis)
    got = plan(start, stop, SQUARE, Space([]), within=ROOM)
    assert isinstance(got, Found), got
    assert len(got.run.bends) == bends
    assert got.run.length <= quarter_turns(float(np.abs(end).sum()), bends) + SPARE_MM
    assert all(b.angle == pytest.approx(90, abs=1e-3) for b in got.run.bends)
    assert verify(got.run, Space([]), SQUARE, start, stop, within=ROOM) == []


def test_a_square_run_goes_round_what_stands_between() -> None:
    start, stop = end_at((0, 0, 0), (1, 0, 0)), end_at((250, 0, 0), (-1, 0, 0))
    space = Space([box("block", (110, -60, -60), (140, 60, 60))])
    got = plan(start, stop, SQUARE, space, within=ROOM)
    assert isinstance(got, Found), got
    assert len(got.run.bends) == 4
    assert verify(got.run, space, SQUARE, start, stop, within=ROOM) == []
    # Out to clear the block's side by the tube and the wanted millimetre, and back.
    assert got.run.length <= quarter_turns(250 + 2 * (60 + 8), 4) + 2 * BESIDE_MM


def test_the_checker_of_all_runs_refuses_a_leg_aslant() -> None:
    run = bend_run([(0, 0, 0), (80, 0, 0), (160, 60, 0), (240, 60, 0)], 28)
    start, stop = end_at((0, 0, 0), (1, 0, 0)), end_at((240, 60, 0), (-1, 0, 0))
    (said,) = verify(run, Space([]), SQUARE, start, stop)
    assert (said.kind, said.place) == ("square", "leg 2")
    assert math.degrees(math.atan2(60, 80)) == pytest.approx(-said.measured, abs=1e-6)


def test_a_port_aslant_has_no_square_run_and_says_so() -> None:
    start, stop = end_at((0, 0, 0), (1, 0, 0)), end_at((200, 80, 0), (-1, -0.2, 0))
    got = plan(start, stop, SQUARE, Space([]), within=ROOM)
    assert isinstance(got, NotFound)
    assert not got.impossible
    assert "along none of the case's axes" in got.text
    assert "tried" in got.text
