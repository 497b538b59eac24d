"""The report and the bill of materials: their contract keys, and cells and names that a hostile build cannot abuse."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType, ModuleType

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from elbowroom.model.geometry.names import MAX_NAME_BYTES, RESERVED, UniqueNames, safe_name
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.layout.identity import Fitted, Port
from elbowroom.model.layout.layout import Gaps, Layout, Mate, Piece
from elbowroom.model.told.findings import report
from elbowroom.model.writers import json_report
from elbowroom.model.writers.bom import COLUMNS, dimensions, guarded, note, number, rests_on
from elbowroom.parts.card.gpu_mount import GpuMount
from elbowroom.parts.fan.fan import Fan
from elbowroom.parts.fitting.fitting import Fitting
from elbowroom.parts.screw.screw import Screw
from elbowroom.parts.tube.tube import TubeRun
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import shift


def test_the_report_has_its_contract_keys_sorted_and_the_findings_numbers(
    written: Path, scene: Scene, scenes: ModuleType
) -> None:
    text = (written / "report.json").read_bytes().decode("utf-8")
    assert text.endswith("}\n")
    found = json.loads(text)
    assert list(found) == sorted(["format", "build", "verdict", "counts", "findings", "pieces"])
    own = report(scene.layout.title, scenes.findings())
    assert {k: found[k] for k in ("format", "build", "verdict", "counts")} == {
        "format": 1, "build": scene.layout.title, "verdict": "fails", "counts": {"clash": 1, "clear": 1},
    }  # fmt: skip
    assert found["findings"][1] == own["findings"][1]
    assert found["findings"][0]["volume_mm3"] is None
    assert found["findings"][0]["depths"] == [1.0, None]
    assert "größe" in text


def test_each_piece_says_where_it_stands_and_what_its_sizes_rest_on(written: Path, scene: Scene) -> None:
    pieces = json.loads((written / "report.json").read_bytes())["pieces"]
    assert [p["name"] for p in pieces] == [p.name for p in scene.layout.pieces]
    for said, piece in zip(pieces, scene.layout.pieces, strict=True):
        assert np.array(said["pose"]) == pytest.approx(np.array(piece.pose), abs=1e-9)
        assert said["family"] == piece.part.family
        assert set(said["fields"]) == set(type(piece.part).model_fields)
    bracket = next(p for p in pieces if p["name"] == "bracket")
    assert bracket["fields"] == {
        "leg": {"value": 30.0, "unit": "mm", "basis": "build"},
        "wall": {"value": 4.0, "unit": "mm", "basis": "M", "source": "test"},
    }


def test_a_plus_minus_is_kept(scenes: ModuleType) -> None:
    piece = scenes.piece("fan", Fan(depth=Mm(25, 0.5)), shift(), "parts", ("depth",))
    assert json_report.piece_json(piece)["fields"]["depth"] == {
        "value": 25.0, "unit": "mm", "plus_minus": 0.5, "basis": "build",
    }  # fmt: skip


def test_the_bill_has_a_row_for_each_shape(written: Path, scene: Scene, scenes: ModuleType) -> None:
    data = (written / "bom.csv").read_bytes()
    assert data.count(b"\r\n") == data.count(b"\n") == 7
    rows = list(csv.DictReader(io.StringIO(data.decode("utf-8"), newline=""), strict=True))
    assert tuple(rows[0]) == COLUMNS
    assert sum(int(r["count"]) for r in rows) == len(scene.layout.pieces)
    assert {f"{r['item']}.stl" for r in rows} == {p.name for p in (written / "stl").iterdir()}
    fan = rows[0]
    assert tuple(fan[c] for c in ("count", "catalogue size", "outer x (mm)", "outer y (mm)", "outer z (mm)")) == (
        "3", "fan-120x25", "120", "120", "25",
    )  # fmt: skip
    assert fan["pieces in the build"] == f"fan 1; fan 2; {scenes.HOSTILE}"
    odd = next(r for r in rows if r["item"] == "box-100x60x40-2")
    assert (odd["outer x (mm)"], odd["catalogue size"], odd["pieces in the build"]) == ("99.96", "", "CON")
    # One of the two brackets rests on a remembered wall: the weaker evidence counts.
    bracket = next(r for r in rows if r["kind"] == "bracket")
    assert bracket["where the sizes come from"] == "the build: leg; from memory, unverified (assumed): wall"
    assert bracket["dimensions"] == "leg 30 mm; wall 4 mm"


def test_evidence_is_listed_strongest_first(scenes: ModuleType) -> None:
    piece = scenes.piece("fan", Fan(), shift(), "parts", ("size", "depth"))
    marks = {"hub": ("s", "M"), "hole": ("s", "V"), "flange": ("s", "C")}
    mixed = type(piece)(piece.name, piece.part, piece.pose, "parts", piece.given, MappingProxyType(marks))
    assert rests_on([mixed]) == (
        "the build: size, depth; read in a published document or reference data: hole; "
        "transcribed from a standard by public code: flange; from memory, unverified (assumed): hub"
    )


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "＝1"])
def test_a_cell_that_a_spreadsheet_would_run_is_text(text: str) -> None:
    assert guarded(text) == "'" + text
    assert guarded("a" + text) == "a" + text


@given(st.floats(-1e6, 1e6))
def test_numbers_are_plain_decimals(value: float) -> None:
    assert float(number(value)) == pytest.approx(value, abs=5.1e-4)
    assert "e" not in number(value)
    assert number(value) != "-0"


@given(st.lists(st.text(max_size=200), max_size=30))
def test_file_names_are_safe_bounded_and_differ_where_case_is_ignored(texts: list[str]) -> None:
    names = UniqueNames()
    taken = [names.take(t) for t in texts]
    assert len({t.casefold() for t in taken}) == len(taken)
    for name in taken:
        assert name
        assert all(c.isalnum() or c in "-_" for c in name)
        assert name[0] != "-"
        assert len(name.encode("utf-8")) <= MAX_NAME_BYTES + 4
        assert name.casefold() not in RESERVED


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("../../etc/passwd", "etc-passwd"), ("C:\\x", "C-x"), ("con", "con-part"), ("LPT1", "LPT1-part"),
        ("..", "part"),
        ("", "part"), ("a\0b", "a-b"), (" .hidden. ", "hidden"), ("Kühler 潮", "Kühler-潮"), ("\ud800", "part"),
        ("COM¹", "COM1-part"), ("nul.stl", "nul-stl"), ("a/../b", "a-b"),
    ],
)  # fmt: skip
def test_names_that_try_to_escape(text: str, name: str) -> None:
    assert safe_name(text) == name


def test_a_tube_says_which_ports_it_runs_between() -> None:
    """Fittings are called after the port they stand on; the last of several has a number."""
    tube = Piece("tube 1", TubeRun(), shift(), "tubes")
    here, there = Fitted("hard-tube-14", Port("pump", "out")), Fitted("hard-tube-14", Port("card", "in"), 1, 2)
    ends = [Piece(str(w), Fitting(), shift(), "fittings", identity=w) for w in (here, there)]
    mates = (
        Mate("tube 1", "start", "hard-tube-14 at pump.out", "tube", contact=False),
        Mate("rotary-90 at card.in (1)", "base", "card", "in"),
        Mate("tube 1", "end", "hard-tube-14 at card.in (2)", "tube", contact=False),
    )
    layout = Layout("t", (tube, *ends), mates, Gaps())
    assert note(tube, layout) == "tube 1: pump.out -> card.in"
    assert note(tube, replace(layout, mates=mates[:2])) == ""


@pytest.mark.parametrize(
    ("length", "said"),
    [
        (20, ""), (30, ""), (16, ""),
        (18, "odd length: not commonly stocked, cut down from M3 x 20"),
        (28, "odd length: not commonly stocked, cut down from M3 x 30"),
        (32, "odd length: not commonly stocked, cut down from M3 x 35"),
    ],
)  # fmt: skip
def test_screws_of_odd_lengths_are_marked(length: float, said: str) -> None:
    """ISO 4762 and ISO 7045 prefer 16, 20, 25, 30, 35 (table of ISO 4762 in the package bd_warehouse)."""
    piece = Piece("s", Screw(thread="M3", length=Mm(length)), shift(), "screws")
    assert note(piece, Layout("t", (piece,), (), Gaps())) == said


def test_fields_that_mean_nothing_to_a_variant_are_not_listed() -> None:
    rear = Piece(
        "mount", GpuMount(style="rear"), shift(), "parts", sources=dict.fromkeys(GpuMount.model_fields, ("t", "M"))
    )
    for text in (dimensions(rear), rests_on([rear])):
        assert "foot" not in text
        assert "rise" not in text
    assert "foot_length" not in rear.assumed
    assert "sheet" in rear.assumed
