"""How far a part must go to share no room with another: arithmetic on boxes, and on a card's fins in a radiator's."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import parse
from elbowroom.model.checks import way_out
from elbowroom.model.checks.interference import check
from elbowroom.model.geometry.pairs import Checker
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.place import place
from elbowroom.model.store import Store

BUILD = "title: t\ncase: {{board: null, slots: 0, interior: {{depth: 400, width: 300, height: 400}}}}\nparts:\n{}"


def clashes(parts: str, store: Store, move: tuple[str, float, float, float] | None = None) -> list[dict[str, Any]]:
    layout = place(load(parse(BUILD.format(parts))))
    if move is not None:
        name, *by = move
        pieces = []
        for p in layout.pieces:
            pose = p.pose.copy()
            pose[:3, 3] += by if p.name == name else 0.0
            pieces.append(replace(p, pose=pose))
        layout = replace(layout, pieces=tuple(pieces))
    scene = solidify(layout, store)
    found = [f for f in check(scene, Checker(scene, store)) if f.verdict == "clash"]
    return [f.to_json() for f in way_out.told(found, scene, store)]


def box(name: str, at: tuple[float, ...], size: tuple[float, ...], more: str = "") -> str:
    x, y, z = at
    a, b, c = size
    place = f"at: {{rear: {x}, open: {y}, floor: {z}}}"
    return f"  {name}: {{box: custom, length: {a}, width: {b}, height: {c}, {place}{more}}}\n"


def test_a_thin_sheet_through_a_block_is_told_by_its_way_and_not_by_its_thickness(store: Store) -> None:
    # A sheet 2 thick, from 170 on, in a block that ends at 180: 2 deep, and yet it must go toward the front by 10.
    block = box("block", (100, 100, 100), (80, 80, 80))
    sheet = box("sheet", (170, 90, 130), (90, 90, 2))
    (f,) = clashes(block + sheet, store)
    assert f["measured"] == pytest.approx(2, abs=0.1)
    assert (f["moved"], f["clear_toward"], f["clear_after_mm"]) == ("block", "rear", pytest.approx(10.0))
    assert f["text"].endswith("block is clear of sheet 10.0 mm farther toward the rear")


SIZES = st.tuples(*[st.integers(20, 60)] * 3)
PLACES = st.tuples(*[st.integers(60, 140)] * 3)
STEP = {"rear": (-1, 0, 0), "front": (1, 0, 0), "glass": (0, -1, 0), "tray": (0, 1, 0), "floor": (0, 0, -1),
        "roof": (0, 0, 1)}  # fmt: skip


@given(SIZES, PLACES, SIZES, PLACES, st.sampled_from([0, 20, 37]))
@settings(max_examples=12, deadline=None)
def test_what_is_told_parts_two_boxes_and_a_little_less_does_not(
    a: tuple[int, ...], p: tuple[int, ...], b: tuple[int, ...], q: tuple[int, ...], turn: int
) -> None:
    store = Store.default()
    more = f", turn: [{{axis: [1, 2, 3], by: {turn}}}]" if turn else ""
    parts = box("one", p, a, more) + box("other", q, b)
    for f in clashes(parts, store):
        far, step = f["clear_after_mm"], STEP[f["clear_toward"]]
        assert not clashes(parts, store, (f["moved"], *(s * far for s in step)))
        if far > 0.3:
            assert clashes(parts, store, (f["moved"], *(s * (far - 0.2) for s in step)))
        if not turn:  # the least of six by arithmetic
            ways = [min(q[k] + b[k] - p[k], p[k] + a[k] - q[k]) for k in range(3)]
            assert far == pytest.approx(min(ways), abs=0.11)


def test_what_goes_through_a_panel_comes_back_inside(store: Store) -> None:
    (f,) = [f for f in clashes(box("block", (370, 100, 100), (60, 60, 60)), store) if "case/front" in f["bodies"]]
    # Its far end lies at 430, the panel's inside at 400.
    assert (f["moved"], f["clear_toward"], f["clear_after_mm"]) == ("block", "rear", pytest.approx(30.0))


def test_screws_and_cables_have_none(store: Store) -> None:
    lead = "  lead: {cable: custom, diameter: 8, points: [[100, 140, 140], [200, 140, 140]]}\n"
    found = clashes(box("block", (120, 100, 100), (60, 60, 60)) + lead, store)
    assert found
    assert all("clear_after_mm" not in f for f in found)


def test_a_sheet_that_ends_in_a_block_is_drawn_back_along_itself(store: Store) -> None:
    # 2.5 of its length stand in the block, which reaches 27 over it.
    block, sheet = box("block", (100, 100, 100), (80, 80, 80)), box("sheet", (177.5, 90, 125), (90, 90, 1.6))
    (f,) = clashes(block + sheet, store)
    assert f["clear_after_mm"] == pytest.approx(2.5)
