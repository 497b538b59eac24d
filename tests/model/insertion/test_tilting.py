"""A plate longer than the gap before it comes out tilted, and no other way; one too long for that does not."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from elbowroom.model import pipeline
from elbowroom.model.build.building_spec import BuildingSpec
from elbowroom.model.insertion import assembled
from elbowroom.model.insertion.building import Building
from elbowroom.model.insertion.telling import tilt_deg
from elbowroom.model.insertion.tilting import tilted
from elbowroom.model.insertion.ways import Moving, directions, straight, two_legs
from elbowroom.model.store import Store

# Two posts as high as the case leave `gap` between them; the plate lies behind, as high as the case but 2 mm.
BUILD = """
title: a plate behind posts
case: {{interior: {{depth: 300, width: 150, height: 60}}, openings: {{}}, board: null, slots: 0, feet: null}}
parts:
  plate: {{box: custom, length: 120, width: 58, height: 4, on: case.tray-wall, lift: 2, at: {{rear: 90, floor: 1}}}}
  left: {{box: custom, length: 80, width: 60, height: 4, on: case.tray-wall, lift: 100, at: {{rear: 0.5, floor: 0}}}}
  right: {{box: custom, length: {right}, width: 60, height: 4, on: case.tray-wall, lift: 100,
           at: {{front: 0.5, floor: 0}}}}
gaps: {{default: 0}}
"""


def behind(store: Store, folder: Path, gap: float) -> tuple[Building, Moving]:
    file = folder / "b.yaml"
    file.write_text(BUILD.format(right=300 - 80.5 - 0.5 - gap), encoding="utf-8")
    stands = pipeline.standing(file, store)
    building = assembled(stands.scene, stands.cut.fastened.chosen, BuildingSpec(), store).building
    standing = frozenset({"left", "right", "case"})
    return building, Moving(frozenset({"plate"}), standing, directions([np.array([0.0, -1.0, 0.0])]))


def test_a_plate_that_fits_the_gap_needs_no_tilt(store: Store, tmp_path: Path) -> None:
    building, moving = behind(store, tmp_path, 150.0)
    assert straight(building.blocking, moving)[0] is not None


def test_a_plate_longer_than_the_gap_comes_out_tilted_and_played(store: Store, tmp_path: Path) -> None:
    """Tilted by a it is 120 cos a + 4 sin a wide: under 100 from some 36 degrees on."""
    building, moving = behind(store, tmp_path, 100.0)
    assert straight(building.blocking, moving)[0] is None
    assert two_legs(building.blocking, moving) is None
    way = tilted(building.blocking, building.replay, moving)
    assert way is not None
    a = np.radians(tilt_deg(way.poses[-1]))
    assert 120 * np.cos(a) + 4 * np.sin(a) < 100
    assert building.replay.play(moving.units, moving.standing, way).free


def test_a_plate_as_high_as_the_case_does_not_come_out_of_a_slit(store: Store, tmp_path: Path) -> None:
    building, moving = behind(store, tmp_path, 3.0)
    assert tilted(building.blocking, building.replay, moving) is None
