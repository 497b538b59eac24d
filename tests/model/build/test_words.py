"""Numbers and places as people read them, held against the numbers they are made from."""

from __future__ import annotations

import math

from hypothesis import given
from hypothesis import strategies as st

from elbowroom.model.told.places import distances, place
from elbowroom.model.told.wordings import lacking, ml, tenths
from elbowroom.parts.vocabulary.base import Box
from elbowroom.parts.vocabulary.tolerances import ROUNDING

mm = st.floats(0.0005, 2000)


def number(said: str) -> float:
    value, unit = said.split()
    assert unit in ("mm", "ml")
    return float(value)


@given(mm, st.sampled_from([0.2, 0.25, 1.0, 1.5, 12.0]))
def test_a_rounded_length_lies_on_the_same_side_of_its_limit(value: float, limit: float) -> None:
    said = number(tenths(value, limit))
    assert abs(said - value) <= 0.0500001
    if abs(value - limit) > 1e-4:
        assert (said < limit) == (value < limit)
        assert said != limit
    assert said > 0


@given(mm)
def test_what_is_told_to_be_missing_is_enough(value: float) -> None:
    said = number(lacking(value))
    assert value - 1e-6 <= said < value + 0.1 + 1e-6


@given(st.floats(5, 5000))
def test_assumed_volumes_are_told_to_ten(value: float) -> None:
    assert number(ml(value, rough=True)) % 10 == 0
    assert abs(number(ml(value, rough=True)) - value) <= 5.000001


@given(st.tuples(*(st.floats(-0.5, 1.5) for _ in range(3))))
def test_a_place_in_words_agrees_with_the_distances_beside_it(at: tuple[float, float, float]) -> None:
    """In a case of 300 x 200 x 450: each wall that is named is the nearer of its two, by a third of the case."""
    inside = Box((0, 0, 0), (300, 200, 450))
    size = (300.0, 200.0, 450.0)
    point = (at[0] * size[0], at[1] * size[1], at[2] * size[2])
    said = place(point, inside)
    rear, tray, floor = (float(d.split()[1]) for d in distances(point, inside).split(", "))
    assert (rear, floor) == (round(point[0]), round(point[2]))
    assert tray == round(200 - point[1])
    for low, high, t, length in (
        ("rear", "front", at[0], 300),
        ("open side", "tray", at[1], 200),
        ("floor", "roof", at[2], 450),
    ):
        assert not (low in said and high in said)
        if low in said:
            assert t < 1 / 3 + ROUNDING
        if high in said:
            assert t > 2 / 3 - ROUNDING
        if t * length < -10.001 or (t - 1) * length > 10.001:
            assert said.startswith("outside the case")
    if all(1 / 3 < t < 2 / 3 for t in at):
        assert said == "in the middle of the case"
    assert math.isfinite(rear)
