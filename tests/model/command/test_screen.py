"""What a person sees while the work goes on: what is done at once, and what fails already before tubes are laid."""

from __future__ import annotations

import os
import pty
import re
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

from elbowroom.model import pipeline
from elbowroom.model.store import Store
from elbowroom.model.told.findings import FAILING, Finding

# Two boxes that share 2 mm, and a tube from one to the other.
BUILD = """
title: two boxes
tube: petg-14
parts:
  low: {box: custom, length: 60, width: 60, height: 40, ports: [{name: p, face: top, at: [0, 0]}],
        at: {x: 0, y: 0, z: 0}}
  beside: {box: custom, length: 60, width: 60, height: 40, at: {x: 58, y: 0, z: 0}}
  high: {box: custom, length: 60, width: 60, height: 40, ports: [{name: p, face: bottom, at: [0, 0]}],
         at: {x: 0, y: 0, z: 140}}
loop:
  - {run: low.p -> high.p, end: hard-tube-14}
"""


@pytest.fixture
def build(tmp_path: Path) -> Path:
    file = tmp_path / "build.yaml"
    file.write_text(BUILD)
    return file


def test_what_fails_already_is_told_before_the_rest_and_fails_in_the_end(build: Path, store: Store) -> None:
    told: list[list[Finding]] = []
    laying: list[int] = []

    def step(done: int, total: int, what: str) -> None:
        if "tube" in what:
            laying.append(len(told))

    def early(found: Sequence[Finding]) -> None:
        told.append(list(found))

    checked = pipeline.check(build, store, (), step, early)
    [found] = told
    assert laying
    assert set(laying) == {1}  # no tube was begun before
    assert [f.id for f in found] == ["interference:beside/body~low/body"]
    final = {f.id: f for f in checked.findings if f.verdict in FAILING}
    assert found[0].measured == final[found[0].id].measured
    assert len(final) > 1  # the loop has its own faults, which were not known by then


def test_a_terminal_shows_the_step_and_the_first_faults(build: Path) -> None:
    pid, terminal = pty.fork()
    if pid == 0:
        os.execv(sys.executable, [sys.executable, "-m", "elbowroom", "check", str(build)])
    shown = b""
    while True:
        try:
            data = os.read(terminal, 65536)
        except OSError:  # the other end is closed
            break
        if not data:
            break
        shown += data
    os.waitpid(pid, 0)
    text = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", shown.decode(errors="replace"))
    assert text.index("reading the build") < text.index("so far, before tubes") < text.index("it does not fit")
    assert "low/body" in text[text.index("so far") : text.index("two boxes")]
