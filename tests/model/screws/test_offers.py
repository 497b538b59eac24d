"""Adapter plates end to end: offered for a radiator of the wrong gap, made, and put into the build, which then fits."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from elbowroom.model import making, pipeline
from elbowroom.model.findings import overall

BUILD = """title: gap
case:
  interior: {depth: 480, width: 240, height: 480}
  sheet: 1.2
  openings:
    floor: {face: floor, size: 120, count: 3, gap: 20, slot: 4, centre: {rear: 240, tray: 120}}
stacks:
  floor:
    flow: in
    layers:
      - {fan: fan-120x25, cable_to: rear tray}
      - {radiator: radiator-360x45, name: low, ports_to: front}
printer: {bed: [420, 420, 250]}
"""


def test_the_plate_that_is_offered_makes_the_build_fit(tmp_path: Path) -> None:
    file = tmp_path / "gap.yaml"
    file.write_text(BUILD)
    before = pipeline.check(file)
    assert overall(before.findings) == "fails"
    (holes,) = [f for f in before.findings if f.question == "hole-alignment" and f.verdict == "fail"]
    # Common practice, no source: 15 against 20 mm drift by 5 mm a fan, more than a slot of 4 mm and M3 in 4.5 take.
    assert dict(holes.extra)["passing"] == 4
    assert any("adapter-for-low-b" in r for r in holes.remedies)
    made = making.make(file, tmp_path / "out")
    assert not made.fails
    layer = (tmp_path / "out" / "layers" / "adapter-for-low-b.yaml").read_text()
    indented = "\n".join("      " + line for line in layer.splitlines())
    file.write_text(BUILD.replace("    layers:\n", f"    layers:\n{indented}\n"))
    after = pipeline.check(file)
    assert overall(after.findings) == "fits", [f.text for f in after.findings if f.verdict == "fail"]
    screws = {dict(f.extra)["joint"]: dict(f.extra) for f in after.findings if f.question == "screw"}
    assert set(screws) == {"low.b", "adapter for low b.b"}
    assert screws["low.b"]["count"] >= 8
    assert screws["adapter for low b.b"]["count"] >= 4
    # Every screw is a solid, and none of them meets what it passes.
    assert not [f.text for f in after.findings if f.verdict == "clash"]


@pytest.mark.parametrize("gap", [15, 20])
def test_nothing_is_offered_where_the_screws_pass(tmp_path: Path, gap: int) -> None:
    file = tmp_path / "gap.yaml"
    size = {15: "radiator-360x45", 20: "radiator-360x30-gap20"}[gap]
    file.write_text(re.sub("gap: 20", f"gap: {gap}", BUILD).replace("radiator-360x45", size))
    assert not pipeline.check(file).offers
