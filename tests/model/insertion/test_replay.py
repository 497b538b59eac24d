"""Playing a step again finds what a wrong way runs into, and the least gap of a right one."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from elbowroom.model import pipeline
from elbowroom.model.build.building_spec import BuildingSpec
from elbowroom.model.insertion import assembled
from elbowroom.model.insertion.replay import NARROW_MM, Replay, between
from elbowroom.model.insertion.ways import Leg, Way
from elbowroom.model.store import Store
from elbowroom.parts.vocabulary.pose import compose, pose, rotation

BUILD = """
title: past a post
case: {interior: {depth: 300, width: 150, height: 200}, openings: {}, board: null, slots: 0, feet: null}
parts:
  drive: {box: custom, length: 60, width: 60, height: 20, on: case.tray-wall, at: {rear: 100, floor: 50}}
  post: {box: custom, length: 10, width: 10, height: 90, on: case.tray-wall, lift: 30, at: {rear: %s, floor: 60}}
"""
OUT = Way((Leg(np.array([0.0, -1.0, 0.0]), 200.0),))


def replay(store: Store, folder: Path, rear: float) -> Replay:
    file = folder / "b.yaml"
    file.write_text(BUILD % rear, encoding="utf-8")
    stands = pipeline.standing(file, store)
    made = assembled(stands.scene, stands.cut.fastened.chosen, BuildingSpec(), store)
    return Replay(made.building.blocking, store)


@pytest.mark.parametrize("beside", [0.5, 1.0, 3.7])
def test_the_least_gap_of_a_way_is_what_arithmetic_says(store: Store, tmp_path: Path, beside: float) -> None:
    """The drive ends at 160, the post begins so much farther and stands before it: they pass by as much."""
    found = replay(store, tmp_path, 160 + beside).play({"drive"}, {"post", "case"}, OUT)
    assert found.free
    assert found.narrowest is not None
    assert found.narrowest.gap == pytest.approx(beside, abs=NARROW_MM)
    assert found.narrowest.low <= beside
    assert set(found.narrowest.bodies) == {"drive/body", "post/body"}


@pytest.mark.parametrize("into", [0.01, 0.5, 4.0])
def test_a_way_that_meets_something_is_found_out(store: Store, tmp_path: Path, into: float) -> None:
    found = replay(store, tmp_path, 160 - into).play({"drive"}, {"post", "case"}, OUT)
    assert not found.free
    one, other, after, _ = found.hits[0]
    assert (one, other) == ("drive/body", "post/body")
    assert 10.0 - 1e-6 <= after <= 11.1  # the post stands 30 before the tray, the drive is 20 high


def test_a_turn_is_halved_by_half_the_way() -> None:
    """About one axis, its origin along a line."""
    a, b = pose((10, 0, 0)), compose(pose((30, 4, 0)), rotation((0, 0, 1), 60.0))
    half = between(a, b, 0.5)
    assert np.allclose(half, compose(pose((20, 2, 0)), rotation((0, 0, 1), 30.0)))
