"""Answers that are kept under what they looked at: never another than an empty cache would give, and not made again for
what happens elsewhere.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from elbowroom import Session
from elbowroom.model import reach
from elbowroom.model.store import Store

# A plate with ports before the front wall, a radiator in the roof, and two things that stand about.
BUILD = """
title: kept
case:
  interior: {depth: 450, width: 230, height: 480}
  openings: {roof: {face: roof, size: 120, count: 2, gap: 15, slot: 10, centre: {rear: 170, tray: 110}}}
stacks:
  roof:
    flow: out
    layers:
      - {fan: fan-120x25, count: 2, cable_to: rear tray}
      - {radiator: radiator-240x30, name: top, ports_to: front}
parts:
  plate: {plate: plate-300x140-pump, on: case.front-wall, clock: 90, lift: 20, at: {tray: 45, floor: 60}}
  drive: {box: drive-2.5in-7, on: case.floor-wall, at: {rear: 60, tray: 60}}
  crate: {box: custom, length: 40, width: 40, height: 100, on: case.floor-wall, at: {rear: 60, tray: 160}}
"""
EDITS: dict[str, list[object]] = {
    "parts.drive.at.rear": [60, 61, 140, 290],  # far from all ports, and before the plate
    "parts.crate.at.rear": [60, 340],
    "parts.crate.height": [100, 330],
    "gaps.default": [1, 1.4],
    "stacks.roof.layers.1.radiator": ["radiator-240x30", "radiator-240x45"],
}


@pytest.fixture
def build(tmp_path: Path) -> Path:
    file = tmp_path / "kept.yaml"
    file.write_text(BUILD)
    return file


def _only_drawn(store: Store, folder: Path) -> Store:
    """An empty cache that knows how the parts look, which costs seconds, and no answer."""
    out = Store(folder)
    out.memory.update({k: v for k, v in store.memory.items() if k[0] in ("shape", "kernel")})
    return out


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(2))
def test_after_any_edits_the_answer_is_the_one_of_an_empty_cache(build: Path, tmp_path: Path, seed: int) -> None:
    chance = random.Random(seed)
    warm = Session(build, tmp_path / "warm")
    warm.check()
    edits: dict[str, object] = {}
    for step in range(3):
        key = chance.choice(sorted(EDITS))
        edits[key] = chance.choice(EDITS[key])
        told = warm.check(edits)
        cold = Session(build, tmp_path / "none")
        cold._store = _only_drawn(warm._store, tmp_path / f"cold {step}")
        assert told.json() == cold.check(edits).json(), edits


@pytest.mark.slow
def test_what_moves_elsewhere_leaves_the_answers_of_ports_standing(
    build: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    judged: list[str] = []
    judge = reach._judge
    monkeypatch.setattr(reach, "_judge", lambda *a: (judged.append(str(a[1].port)), judge(*a))[1])
    session = Session(build, tmp_path / "cache")
    session.check()
    every = len(judged)
    judged.clear()
    session.check({"parts.drive.at.rear": 61})
    assert len(judged) < every / 2
    judged.clear()
    session.check({"parts.crate.at.rear": 340, "parts.crate.height": 330})
    assert judged  # there the crate stands before the plate
