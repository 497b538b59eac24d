"""A radiator whose ports are shut off is turned round where that mends it, and only there.

Worked out by hand: the ports of a radiator under the roof look down at one of its ends, and what stands right under
that end leaves no fitting room; under the other end stands the same, or nothing.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from elbowroom.model import pipeline
from elbowroom.model.store import Store
from elbowroom.model.told.findings import FAILING

BUILD = """
title: a radiator under the roof
case:
  interior: {{depth: 400, width: 200, height: 300}}
  openings:
    roof: {{face: roof, size: 120, count: 2, gap: 0, centre: {{rear: 200, tray: 100}}}}
stacks:
  roof:
    layers:
      - {{radiator: radiator-240x27, name: radiator, ports_to: {to}}}
parts:
{boxes}
fittings: {{at: {{radiator.in: plug, radiator.out: plug}}}}
"""
# Its top 5 mm under the radiator, where a plug needs 9 (4 over its port and its thread), at the end toward one wall.
BOX = "  at {wall}: {{box: custom, length: 60, width: 160, height: 200, at: {{x: {x}, y: 100, z: {z}}}}}\n"


def checked(folder: Path, to: str, *walls: str) -> list[tuple[str, tuple[str, ...]]]:
    boxes = "".join(BOX.format(wall=w, x={"front": 325, "rear": 75}[w], z=300 - 27 - 5 - 100) for w in walls)
    file = folder / "b.yaml"
    file.write_text(BUILD.format(to=to, boxes=boxes))
    found = pipeline.check(file, Store.default()).findings
    return [(f.text, f.remedies) for f in found if f.question == "port-reach" and f.verdict in FAILING]


@pytest.mark.slow
@pytest.mark.parametrize(("to", "other"), [("front", "rear"), ("rear", "front")])
def test_a_radiator_over_something_is_turned_round(tmp_path: Path, to: str, other: str) -> None:
    failing = checked(tmp_path, to, to)
    assert len(failing) == 2
    for _, remedies in failing:
        assert remedies[0].startswith(f"turn radiator round, ports_to: {other}")
    assert checked(tmp_path, other, to) == []  # as the remedy says


def test_where_the_other_end_is_no_better_it_is_not_offered(tmp_path: Path) -> None:
    failing = checked(tmp_path, "front", "front", "rear")
    assert len(failing) == 2
    assert not any("round" in r for _, remedies in failing for r in remedies)
