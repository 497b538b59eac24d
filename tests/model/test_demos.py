"""What the demo builds are there to show, held so that no change takes it away."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from elbowroom.model import demos, pipeline
from elbowroom.model.pipeline import Checked
from elbowroom.model.store import Store
from elbowroom.model.writers import write


def demo(name: str) -> Checked:
    return pipeline.check(next(p for pair in demos.pairs() for p in pair if p.stem == name), Store.default())


def of(checked: Checked, question: str) -> list[dict[str, Any]]:
    return [f.to_json() for f in checked.findings if f.question == question]


def test_a_radiator_of_the_wrong_gap_loses_screws_and_is_offered_an_adapter() -> None:
    lost = [f for f in of(demo("gauge-planned"), "hole-alignment") if f["verdict"] == "fail" and f.get("lost")]
    assert [f["joint"] for f in lost] == ["front radiator.b"]
    assert lost[0]["passing"] < lost[0]["holes"]
    # Its filter's rows are 15 mm apart, as the radiator's are: a plate's screws at the panel's 20 miss its holes.
    (plate,) = [r for r in lost[0]["remedies"] if r.startswith("put an adapter plate")]
    assert "front dust-filter must be left out, or cut free" in plate
    assert all(f["verdict"] != "fail" for f in of(demo("gauge-mended"), "hole-alignment"))


def test_screws_that_would_pierce_a_radiator() -> None:
    planned, mended = demo("skiff-planned"), demo("skiff-mended")
    (fault,) = [f for f in of(planned, "screw") if f["pierces"]]
    # Worked by hand: 35 less a fan of 25, a gasket of 1 and a panel of 1 leave 8; the fins lie at 4.
    assert fault["joint"] == "radiator.b"
    assert fault["measured"] == pytest.approx(4 - 8, abs=0.6)  # a very slim radiator's fins lie at 3.5
    assert not any(f["pierces"] for f in of(mended, "screw"))


def test_a_plate_on_risers_of_a_height_that_was_found() -> None:
    checked = demo("flume-mended")
    (height,) = of(checked, "height")
    assert height["verdict"] == "pass"
    risers = {float(p.part.height) for p in checked.layout.pieces if p.part.family == "riser"}  # type: ignore[attr-defined]
    assert risers == {height["measured"]}
    low, high = height["intervals"][0]
    assert low <= height["measured"] <= high


def test_a_strap_that_is_notched_and_has_a_template(tmp_path: Path) -> None:
    checked = demo("skiff-mended")
    (cut,) = of(checked, "cut")
    assert "notch" in cut["text"]
    assert (cut["verdict"], cut["cutouts"]) == ("caution", 1)
    strap = checked.layout.piece("strap").part
    assert strap.box().size[:2] == (20.0, 46.0)  # notched, not shortened
    write(
        checked.scene,
        checked.findings,
        tmp_path,
        ["templates"],
        templates=checked.build.templates,
        store=Store.default(),
    )
    names = {p.name for p in (tmp_path / "templates").iterdir()}
    assert {"strap-top-outside.pdf", "case-front-outside.dxf"} <= {n.replace("inside", "outside") for n in names}
    import ezdxf

    drawing = ezdxf.readfile(next(p for p in (tmp_path / "templates").glob("case-front-*.dxf")))  # type: ignore[attr-defined]
    # The pump's bracket: four holes to drill, and nothing else of the panel is work.
    assert len(drawing.modelspace().query('*[layer=="drill"]')) == 4
    assert len(drawing.modelspace().query('*[layer=="cut"]')) == 0


def test_a_cut_that_takes_an_end_off_is_a_fault(tmp_path: Path) -> None:
    file = tmp_path / "b.yaml"
    file.write_text(
        """title: t
parts:
  post: {box: custom, length: 20, width: 60, height: 60, at: {x: 70, y: 0, z: 0}}
  shelf: {sheet: custom, length: 140, width: 40, thickness: 3, at: {x: 0, y: 10, z: 20}}
cut: [{in: shelf, for: post, gap: 2}]
"""
    )
    (cut,) = of(pipeline.check(file, Store.default()), "cut")
    assert cut["verdict"] == "fail"
    assert "cuts the sheet through" in cut["text"]
