"""Thread data held against an outside copy of the standards: the data files of the PyPI package bd_warehouse.

The package is read as data only and never imported (its own dependencies bring a second kernel).
"""

from __future__ import annotations

import csv
import importlib.util
from fractions import Fraction
from pathlib import Path

import pytest
from pydantic import TypeAdapter, ValidationError

from elbowroom.parts.fan.layers import ISO_7089
from elbowroom.parts.vocabulary.base import MARKS
from elbowroom.parts.vocabulary.threads import THREADS, ThreadName, thread

INCH = 25.4
PRINTED_MM = 0.0005  # metric tables are printed to 0.01 or 0.001 mm; half a unit of the finer


def _folder() -> Path:
    spec = importlib.util.find_spec("bd_warehouse")
    if spec is None or not spec.submodule_search_locations:
        pytest.skip("the outside data package bd_warehouse is not installed")
    return Path(next(iter(spec.submodule_search_locations))) / "data"


def _table(name: str) -> dict[str, dict[str, str]]:
    with (_folder() / name).open(encoding="utf-8", newline="") as handle:
        rows = [{k.strip(): (v or "").strip() for k, v in row.items()} for row in csv.DictReader(handle)]
    return {next(iter(row.values())): row for row in rows}


def _drill(text: str) -> float:
    """A drill given as a number size (#36), a fraction of an inch or millimetres, in mm."""
    if text.startswith("#"):
        return float(_table("drill_sizes.csv")[text]["Diameter"]) * INCH
    return float(Fraction(text)) * INCH if "/" in text else float(text)


@pytest.mark.parametrize("size", ["1/4", "3/8"])
def test_pipe_threads_agree_with_the_outside_table_of_iso_228_1(size):
    row, own = _table("iso_228_1.csv")[size], THREADS[f"G{size}"]
    assert own.major == pytest.approx(float(row["major_diameter"]), abs=PRINTED_MM)
    assert own.minor == pytest.approx(float(row["minor_diameter"]), abs=PRINTED_MM)
    assert own.pitch == pytest.approx(INCH / float(row["tpi"]))
    # Whitworth form: the pitch diameter lies midway.
    assert (own.major + own.minor) / 2 == pytest.approx(float(row["pitch_diameter"]), abs=PRINTED_MM)


@pytest.mark.parametrize("size", ["M2.5", "M3", "M4", "M5", "#6"])
def test_clearance_holes_agree_with_the_outside_table(size):
    row, own = _table("clearance_hole_sizes.csv")[size], THREADS["6-32" if size == "#6" else size]
    for column, fit in (("Close", "fine"), ("Normal", "medium"), ("Loose", "coarse")):
        assert own.clearance[fit] == pytest.approx(_drill(row[column]), abs=PRINTED_MM), fit


@pytest.mark.parametrize("name", ["M2.5", "M3", "M4", "M5", "6-32"])
def test_tap_drills_and_pitches_agree_with_the_outside_table(name):
    own = THREADS[name]
    key = "#6-32" if name == "6-32" else f"{name}-{own.pitch:g}"
    assert own.drill == pytest.approx(_drill(_table("tap_hole_sizes.csv")[key]["Soft"]), abs=PRINTED_MM)


def test_printed_minor_diameters_of_iso_724():
    """D1 as printed in ISO 724 for the coarse series: 2.013, 2.459, 3.242, 4.134."""
    for name, minor in (("M2.5", 2.013), ("M3", 2.459), ("M4", 3.242), ("M5", 4.134)):
        assert THREADS[name].minor == pytest.approx(minor, abs=PRINTED_MM)


# bd_warehouse prints the greatest thickness of an ISO 7089 washer; the nominal one is what a stack is counted with.
GREATEST_H = {"M2.5": 0.55, "M3": 0.55, "M3.5": 0.55, "M4": 0.9, "M5": 1.1}


@pytest.mark.parametrize("size", list(ISO_7089))
def test_washers_agree_with_the_outside_table_of_iso_7089(size):
    row, (d1, d2, h) = _table("plain_washer_parameters.csv")[size], ISO_7089[size]
    assert d1 == float(row["iso7089:d1"])
    assert d2 == float(row["iso7089:d2"])
    assert float(row["iso7089:h"]) == GREATEST_H[size]
    assert 0 < GREATEST_H[size] - h <= 0.1 + 1e-9


def test_every_number_has_a_source_and_a_mark_and_a_sane_order():
    for name, t in THREADS.items():
        assert t.name == name
        wanted = {"major", "pitch", "minor", "drill"} | ({"clearance"} if t.clearance else set())
        assert set(t.sources) == wanted
        for source, mark in t.sources.values():
            assert source
            assert mark in MARKS
        assert t.bore == t.minor < t.drill < t.major
        if t.clearance:
            assert t.major < t.clearance["fine"] < t.clearance["medium"] < t.clearance["coarse"]


@pytest.mark.parametrize(("wrong", "near"), [("g14", "G1/4"), ("G 1/4", "G1/4"), ("m3", "M3"), ("6-23", "6-32")])
def test_unknown_thread_names_the_nearest_and_all_known(wrong, near):
    with pytest.raises(KeyError) as caught:
        thread(wrong)
    text = str(caught.value)
    assert f"did you mean {near}?" in text
    assert all(known in text for known in THREADS)
    with pytest.raises(ValidationError, match="did you mean"):
        TypeAdapter(ThreadName).validate_python(wrong)


def test_a_name_like_no_thread_gets_the_list_alone():
    with pytest.raises(KeyError, match=r"no thread 'quux'; known: G1/4, G3/8, M2.5"):
        thread("quux")
