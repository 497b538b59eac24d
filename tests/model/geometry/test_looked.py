"""The record of where a computation looked: it may hold more than was asked about, never less."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from elbowroom.model.geometry.envelopes import Obstacle, Rods
from elbowroom.model.geometry.freespace import FREE, Space
from elbowroom.model.geometry.looked import BLOCK, Blocks, looking, looking_aside, note

_AT = st.floats(-300, 300, allow_nan=False)
_BOX = st.tuples(_AT, _AT, _AT, st.floats(0, 90), st.floats(0, 90), st.floats(0, 90))


def _arrays(boxes: list[tuple[float, ...]]) -> tuple[np.ndarray, np.ndarray]:
    rows = np.array(boxes, dtype=float).reshape(-1, 6)
    return rows[:, :3], rows[:, :3] + rows[:, 3:]


@given(st.lists(_BOX, min_size=1, max_size=6), st.lists(_BOX, min_size=1, max_size=6))
def test_a_box_that_meets_what_was_asked_about_meets_the_record(
    asked: list[tuple[float, ...]], others: list[tuple[float, ...]]
) -> None:
    with looking() as looked:
        note(*_arrays(asked))
    record = looked.record()
    assert record is not None
    kept = Blocks.unpack(record.pack())
    (lo, hi), (a, b) = _arrays(asked), _arrays(others)
    gap = np.maximum(np.maximum(a[:, None] - hi[None], lo[None] - b[:, None]), 0.0).max(axis=2).min(axis=1)
    met = set(kept.met(a, b).tolist())
    assert {k for k in range(len(others)) if gap[k] == 0.0} <= met
    assert all(gap[k] <= 2 * BLOCK for k in met)  # and it is of use: what is far from all of them does not


def test_a_record_within_a_record_is_part_of_both_and_what_is_asked_aside_of_none() -> None:
    with looking() as outer:
        note(np.zeros(3), np.ones(3))
        with looking() as inner:
            note(np.full(3, 100.0), np.full(3, 101.0))
            with looking_aside():
                note(np.full(3, 500.0), np.full(3, 501.0))
    note(np.full(3, 900.0), np.full(3, 901.0))
    lo = np.array([[0.0] * 3, [100.0] * 3, [500.0] * 3, [900.0] * 3])
    own, whole = inner.record(), outer.record()
    assert own is not None
    assert whole is not None
    assert own.met(lo, lo + 1).tolist() == [1]
    assert whole.met(lo, lo + 1).tolist() == [0, 1]


def test_a_box_without_an_end_makes_no_record() -> None:
    with looking() as looked:
        note(np.full(3, -np.inf), np.full(3, np.inf))
    assert looked.record() is None


def _cube(name: str, at: tuple[float, float, float], size: float = 10.0) -> Obstacle:
    corners = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 0, 1], [1, 0, 1], [1, 1, 1], [0, 1, 1]], float)
    quads = [(0, 3, 2, 1), (4, 5, 6, 7), (0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7)]
    triangles = np.array([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))], dtype=np.int32)
    return Obstacle(name, corners * size + np.array(at), triangles)


@given(st.lists(st.tuples(_AT, _AT, _AT), max_size=8))
def test_which_obstacle_is_named_does_not_hang_on_what_stands_elsewhere(far: list[tuple[float, float, float]]) -> None:
    bar = Rods(np.array([[0.0, 0.0, 0.0]]), np.array([[0.0, 0.0, 60.0]]), np.array([4.0]), False)
    beside = [_cube("upper", (-5, -5, 40)), _cube("lower", (-5, -5, 10)), _cube("middle", (2, -5, 25))]
    others = [_cube(f"far {k}", (x + 400, y, z)) for k, (x, y, z) in enumerate(far)]
    space = Space([*beside, *others])
    assert space.names[space.met(bar, first=True)[0]] == "upper"
    with looking() as looked:
        space.met(bar)
        assert space.free_length((0, 0, 0), (0, 0, 1), 4.0, 60.0)[1] in ("lower", None)
    record = looked.record()
    assert record is not None
    assert record.met(space.lo, space.hi).tolist() == [0, 1, 2]
    assert Space(others).met(bar)[0] == FREE
