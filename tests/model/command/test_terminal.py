"""What the terminal says of a place: distances from walls where there is a case, coordinates where there is none."""

from __future__ import annotations

from dataclasses import replace

import pytest

from elbowroom.model.command.terminal import summary
from elbowroom.model.layout.layout import Gaps, Layout
from elbowroom.model.told.cautions import AT_THE_SHEET, DEFER, LEAK_TEST
from elbowroom.model.told.findings import Finding
from elbowroom.model.told.places import located
from elbowroom.parts.vocabulary.base import Box

NOTHING = Layout("t", (), (), Gaps())
CLASH = Finding("interference", "clash", ("a", "b"), "a and b meet", where=((430.04, 118.8, 49.75),))


@pytest.mark.parametrize(
    ("interior", "said"),
    [
        # In a case 236 wide the tray is at y = 236 and the open side at y = 0.
        (Box((0, 0, 0), (470, 236, 470)), "(near the floor at the front: rear 430, tray 117, floor 50)"),
        (None, "at x 430.0, y 118.8, z 49.8"),
    ],
)
def test_a_place_is_told_from_walls_a_person_can_measure_from(
    interior: Box | None, said: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "200")
    layout = replace(NOTHING, interior=interior)
    summary("t", located([CLASH], layout), layout)
    told = capsys.readouterr().out
    assert said in told
    assert ("zero point" in told) == (interior is None)


def test_what_to_take_care_of_before_it_is_filled_is_told_once_whether_it_fits_or_not(
    capsys: pytest.CaptureFixture[str],
) -> None:
    care = (*LEAK_TEST, DEFER)
    filled = Finding("coolant", "pass", ("a",), "the loop holds 900 ml", take_care=care, place="volume")
    other = Finding("coolant", "pass", ("b",), "the loop holds 1 l", take_care=care, place="other")
    summary("t", [filled, other], NOTHING)
    said = " ".join(capsys.readouterr().out.replace("- ", "").split())
    assert all(said.count(" ".join(c.replace("- ", "").split())) == 1 for c in (*LEAK_TEST, DEFER))
    assert said.endswith(DEFER)
    drilled = Finding("cut", "caution", ("a",), "4 to drill", take_care=AT_THE_SHEET)
    summary("t", [filled, drilled], NOTHING)
    said = " ".join(capsys.readouterr().out.replace("- ", "").split())
    assert said.count(DEFER) == 1
    assert said.endswith(DEFER)
    summary("t", [drilled], NOTHING)
    assert " ".join(capsys.readouterr().out.split()).endswith(DEFER)
    summary("t", [filled, CLASH], NOTHING)
    said = " ".join(capsys.readouterr().out.replace("- ", "").split())
    assert all(said.count(" ".join(c.replace("- ", "").split())) == 1 for c in (*LEAK_TEST, DEFER))
