"""What stands on nothing, and what goes right through a sheet: told by the distances that arithmetic gives."""

from __future__ import annotations

from pathlib import Path

import pytest

from elbowroom.model import pipeline
from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import parse
from elbowroom.model.layout.place import place
from elbowroom.model.store import Store
from elbowroom.model.told.findings import Finding

STAND = """\
title: t
case:
  like: case-atx-tower
  interior: {depth: 480, width: 340, height: 470}
  upright: {slots: 2, at: {floor: 90, open: 100}}
parts:
  mount: {gpu-mount: gpu-mount-stand, rise: RISE, on: card.edge, by: slot}
  card: {gpu: gpu-block-2slot, on: case.upright-slot-1, by: bracket}
"""
BOXES = """\
title: t
parts:
  sheet: {box: custom, length: 200, width: 150, height: 1, at: {x: 0, y: 0, z: 0}}
  block: {box: custom, length: 20, width: 20, height: 40, at: {x: 50, y: 50, z: -25}}
  pillar: {riser: riser-12x18, at: {x: 80, y: 20, z: GAP}}
"""


def checked(text: str, tmp_path: Path) -> list[Finding]:
    file = tmp_path / "build.yaml"
    file.write_text(text, encoding="utf-8")
    return pipeline.check(file, Store.default()).findings


@pytest.mark.slow
def test_a_stand_that_hangs_fails_and_the_rise_it_is_told_puts_it_down(tmp_path: Path) -> None:
    found = checked(STAND.replace("RISE", "40"), tmp_path)
    [hangs] = [f for f in found if f.place == "foot" and f.question == "mate" and f.verdict == "fail"]
    assert hangs.parts == ("mount",)
    assert hangs.measured is not None
    [remedy] = hangs.remedies
    rise = float(remedy.removeprefix("rise: "))
    assert rise == pytest.approx(40 + hangs.measured, abs=0.01)
    found = checked(STAND.replace("RISE", f"{rise}"), tmp_path)
    assert not any(f.verdict in ("fail", "touch", "clash") for f in found)
    meets = [f for f in found if f.question == "mate" and set(f.parts) == {"mount", "case"}]
    assert [f.verdict for f in meets] == ["pass"]


@pytest.mark.parametrize(("gap", "hangs"), [(1.5, True), (1.0, False)])
def test_a_riser_that_ends_short_of_what_it_stands_over_is_told(gap: float, hangs: bool, tmp_path: Path) -> None:
    found = checked(BOXES.replace("GAP", f"{gap}"), tmp_path)
    feet = [f for f in found if f.question == "mate" and f.parts == ("pillar",) and f.place == "foot"]
    assert len(feet) == hangs
    if hangs:
        assert feet[0].verdict == "caution"
        assert feet[0].measured == pytest.approx(gap - 1.0, abs=1e-6)  # over a sheet 1 mm thick on z = 0


def test_a_block_right_through_a_sheet_is_told_how_much_is_missing(tmp_path: Path) -> None:
    """From z = -25 to 15 through a sheet from 0 to 1: most of it is below, so it has to come down by 15."""
    [clash] = [f for f in checked(BOXES.replace("GAP", "5"), tmp_path) if f.verdict == "clash"]
    assert clash.measured == pytest.approx(1.0, abs=1e-6)
    assert dict(clash.extra)["clear_after_mm"] == pytest.approx(15.0, abs=1e-6)
    assert "15.0 mm farther toward the floor" in clash.text


def test_a_card_in_a_mount_has_its_bracket_there() -> None:
    text = STAND.split("parts:")[0] + (
        "parts:\n  mount: {gpu-mount: gpu-mount-rear-2slot, on: case.slots}\n"
        "  card: {gpu: gpu-open-2slot, on: mount.slot}\n"
    )
    layout = place(load(parse(text)))
    found = [m for m in layout.mates if (m.piece, m.frame) == ("card", "bracket")]
    assert [(m.to_piece, m.to_frame, m.placed) for m in found] == [("mount", "bracket", False)]
