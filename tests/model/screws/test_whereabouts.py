"""Which screws are meant, in words: against points whose places are plain to see."""

from __future__ import annotations

from dataclasses import replace

import pytest

from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import parse
from elbowroom.model.layout.layout import Layout
from elbowroom.model.layout.place import place
from elbowroom.model.screws.whereabouts import which

# Two rows of six along the depth, on the floor of the case: x toward the front, y toward the tray.
FIELD = [(40.0 * k, 40.0 * row, 0.0) for k in range(6) for row in range(2)]


@pytest.fixture(scope="module")
def layout() -> Layout:
    return place(load(parse("title: t\ncase: {interior: {depth: 400, width: 200, height: 300}}\n", "b.yaml")))


@pytest.mark.parametrize(
    ("some", "said"),
    [
        (range(12), ""),
        ([], ""),
        (range(4), "those toward the rear"),
        (range(8, 12), "those toward the front"),
        (range(1, 12, 2), "those toward the tray"),
        ([0, 1, 10, 11], "those at both ends, toward the rear and toward the front"),
        ([4, 5, 6, 7], "those in the middle between rear and front"),
        ([2, 3, 6, 7], "those in rows 2 and 4 of 6, counted from the rear"),
        ([8, 9], "those in row 2 of 6, counted from the front"),
        ([11], "the one toward the front and the tray"),
        ([9, 11], "those toward the front and the tray"),
        ([0, 5], "at (rear 0, tray 200, floor 0), (rear 80, tray 160, floor 0)"),
        (
            [0, 3, 4, 7, 8],
            "at (rear 0, tray 200, floor 0), (rear 40, tray 160, floor 0), (rear 80, tray 200, floor 0) and 2 more",
        ),
    ],
)  # fmt: skip
def test_screws_are_told_by_where_they_stand(layout: Layout, some: list[int], said: str) -> None:
    assert which(FIELD, list(some), layout) == said


def test_without_a_case_only_what_needs_no_walls_is_said(layout: Layout) -> None:
    bare = replace(layout, interior=None)
    assert which(FIELD, range(4), bare) == "those toward the rear"
    assert which(FIELD, [0, 5], bare) == ""
