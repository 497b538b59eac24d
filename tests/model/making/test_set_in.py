"""What is set into made parts is bought: it stands in the bill of materials, and on the sheet on how to make them.

Counts are those of the brass and steel bodies in the solids, which the families draw from the same fields another way.
"""

from __future__ import annotations

import csv
from collections import Counter
from pathlib import Path

import pytest

from elbowroom.model import making
from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import parse
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.place import place
from elbowroom.model.store import Store
from elbowroom.model.writers import write
from elbowroom.parts import family_class
from elbowroom.parts.screw.captive import INSERTS
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.printing import MadePart
from tests.parts.test_contract import ROWS, make

BUILD = """title: set in
parts:
  plate: {adapter: custom, at: {x: 0, y: 0, z: 0}}
  post 1: {riser: custom, height: 20, across: 14, hole: insert, thread: M4, material: printed, at: {x: 200, y: 0, z: 0}}
  post 2: {riser: custom, height: 20, across: 14, hole: insert, thread: M4, material: printed, at: {x: 230, y: 0, z: 0}}
  stand: {riser: custom, height: 20, across: 15, hole: nut, thread: M4, material: printed, at: {x: 260, y: 0, z: 0}}
  prop: {card-support: custom, adjust: screw, screw_thread: M4, at: {x: 300, y: 0, z: 0}}
"""


def metal(part: Part) -> Counter[str]:
    """What of a part's bodies is bought and stands in a body that is printed, by the first word of its name."""
    return Counter(b.name.split("-")[0] for b in part.bodies() if b.name.split("-")[0] in ("insert", "nut", "screw"))


MADE = [(f, row) for f, row in ROWS if issubclass(family_class(f), MadePart)]


def test_what_is_set_in_is_what_is_drawn() -> None:
    """Every catalogue size of everything that is made, and variants that take inserts, nuts and screws."""
    parts = [make(family, row) for family, row in MADE] + [e.part for e in load(parse(BUILD)).parts]
    for part in parts:
        assert Counter(x.kind for x in part.set_in()) == metal(part), part
    assert sum((metal(p) for p in parts), Counter()).keys() == {"insert", "nut", "screw"}


def rows(folder: Path) -> list[dict[str, str]]:
    with (folder / "bom.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


@pytest.mark.slow
def test_the_bill_and_the_sheet_name_what_is_set_in(tmp_path: Path) -> None:
    build = load(parse(BUILD))
    layout = place(build)
    write(solidify(layout, Store.default()), [], tmp_path / "out", only=["bom"], store=Store.default())
    found = rows(tmp_path / "out")
    drawn = sum((metal(p.part) for p in layout.pieces), Counter())
    for kind in ("insert", "nut", "screw"):
        assert sum(int(r["count"]) for r in found if r["kind"] == kind) == drawn[kind] > 0
    inserts = {r["item"]: r for r in found if r["kind"] == "insert"}
    assert {n: int(r["count"]) for n, r in inserts.items()} == {"insert-m3": 8, "insert-m4": 3}
    for thread, row in (("M3", inserts["insert-m3"]), ("M4", inserts["insert-m4"])):
        assert [float(row[k]) for k in ("outer x (mm)", "outer z (mm)")] == [
            INSERTS[thread].outer,
            INSERTS[thread].length,
        ]
    assert "in plate (8)" in inserts["insert-m3"]["pieces in the build"]
    file = tmp_path / "b.yaml"
    file.write_text(BUILD)
    made = making.make(file, tmp_path / "made", only=["stl"], store=Store.default())
    told = (tmp_path / "made" / "making.txt").read_text()
    assert made.parts
    assert "- buy 8 x heat-set insert M3" in told
    assert "- buy 1 x heat-set insert M4, 6.3 mm wide and 8.1 long, melted into its hole of 5.6 (2 in all)" in told
    assert "- buy 1 x nut M4, into its pocket" in told
