"""Answers that are kept under what they looked at: never another than an empty cache would give, and not made again for
what happens elsewhere.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from elbowroom import Session
from elbowroom.model import reach
from elbowroom.model.heights import stages
from elbowroom.model.store import Store

# A plate with a pump on risers of open height at the front wall, a radiator in the roof, two runs between them.
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
  plate: {plate: plate-300x140-pump, on: case.front-wall, clock: 90, lift: fit, at: {tray: 45, floor: 60}}
  riser: {riser: riser-12x18, height: {at_least: 18, at_most: 20}, hole: tapped, on: plate.mount-*, by: top}
  drive: {box: drive-2.5in-7, on: case.floor-wall, at: {rear: 60, tray: 60}}
  lead: {cable: custom, diameter: 9, points: [[440, 60, 40], [440, 60, 400]]}
mates:
  - [riser *.foot, case.front-wall]
loop:
  - {run: plate.out -> top.in}
  - {run: top.out -> plate.return}
tube: soft-10-16
fittings: {usual: compression-10-16, unused: plug}
"""
EDITS: dict[str, list[object]] = {
    "parts.drive.at.rear": [60, 61, 140, 300],  # far from all ports, and before the plate
    "parts.drive.at.tray": [60, 100],
    "parts.lead.points.0.0": [440, 438],  # behind the plate: another height
    "gaps.default": [1, 1.4],
    "loop.0.start": [None, ["extension-20", "compression-10-16"]],
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


def _changed(edits: dict[str, object]) -> dict[str, object]:
    return {k: v for k, v in edits.items() if v is not None}


@pytest.mark.parametrize("seed", [0])
def test_after_any_edits_the_answer_is_the_one_of_an_empty_cache(build: Path, tmp_path: Path, seed: int) -> None:
    chance = random.Random(seed)
    warm = Session(build, tmp_path / "warm")
    warm.check()
    edits: dict[str, object] = {}
    for step in range(3):
        key = chance.choice(sorted(EDITS))
        edits[key] = chance.choice(EDITS[key])
        told = warm.check(_changed(edits))
        cold = Session(build, tmp_path / "none")
        cold._store = _only_drawn(warm._store, tmp_path / f"cold {step}")
        assert told.json() == cold.check(_changed(edits)).json(), edits


def test_what_moves_elsewhere_leaves_ports_and_screws_standing(
    build: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    judged: list[str] = []
    fastened: list[float] = []
    judge, fasten = reach._judge, stages.fasten
    monkeypatch.setattr(reach, "_judge", lambda *a: (judged.append(str(a[1].port)), judge(*a))[1])
    monkeypatch.setattr(stages, "fasten", lambda *a, **k: (fastened.append(0.0), fasten(*a, **k))[1])
    session = Session(build, tmp_path / "cache")
    session.check()
    ports, screws = len(judged), len(fastened)
    assert ports
    assert screws
    judged.clear(), fastened.clear()
    session.check({"parts.drive.at.rear": 61})
    # The layouts at the ends of the stretches are fastened again, not the heights at which screws were compared.
    assert not judged
    assert len(fastened) < screws / 2
    judged.clear()
    session.check({"parts.drive.at.rear": 300, "parts.drive.at.tray": 100})
    assert judged  # there the drive stands before the plate
