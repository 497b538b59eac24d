"""The order of building is written as text and as JSON that say the same."""

from __future__ import annotations

import json
from pathlib import Path

from typer.testing import CliRunner

from elbowroom.model.command.cli import app

BUILD = """
title: one behind the other
case: {interior: {depth: 300, width: 150, height: 200}, openings: {}, board: null, slots: 0, feet: null}
parts:
  drive: {box: custom, length: 60, width: 60, height: 20, on: case.tray-wall, at: {rear: 100, floor: 50}}
  shelf: {box: custom, length: 120, width: 90, height: 5, on: case.tray-wall, lift: 40, at: {rear: 70, floor: 30}}
"""


def test_steps_are_written_when_named(tmp_path: Path) -> None:
    file = tmp_path / "b.yaml"
    file.write_text(BUILD, encoding="utf-8")
    CliRunner().invoke(app, ["export", str(file), "--to", str(tmp_path / "out"), "--only", "steps"])
    told = json.loads((tmp_path / "out" / "steps.json").read_text(encoding="utf-8"))
    lines = (tmp_path / "out" / "steps.txt").read_text(encoding="utf-8").splitlines()
    assert [s["parts"] for s in told["steps"]] == [["drive"], ["shelf"]]
    for s in told["steps"]:
        assert any(line.endswith(s["text"]) for line in lines)


def test_the_command_says_what_comes_out_for_service(tmp_path: Path) -> None:
    file = tmp_path / "b.yaml"
    file.write_text(BUILD, encoding="utf-8")
    done = CliRunner().invoke(app, ["steps", str(file), "--service", "drive"])
    assert done.exit_code == 0
    assert done.output.splitlines()[0] == "drive comes out once shelf is out"
