"""What the terminal says: short lines, places, cares, what is next; and all there is to one finding."""

from __future__ import annotations

from dataclasses import replace

import pytest
from rich.console import Console

from elbowroom.model.build.problems import InputError
from elbowroom.model.command import verdicts
from elbowroom.model.command.verdicts import explain, summary
from elbowroom.model.layout.layout import Gaps, Layout
from elbowroom.model.told.cautions import AT_THE_SHEET, DEFER, LEAK_TEST
from elbowroom.model.told.findings import Basis, Finding
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


def cared(capsys: pytest.CaptureFixture[str]) -> str:
    """What was told to take care of, up to what to do next."""
    return " ".join(capsys.readouterr().out.partition("Next:")[0].replace("- ", "").split())


def test_what_to_take_care_of_before_it_is_filled_is_told_once_whether_it_fits_or_not(
    capsys: pytest.CaptureFixture[str],
) -> None:
    care = (*LEAK_TEST, DEFER)
    filled = Finding("coolant", "pass", ("a",), "the loop holds 900 ml", take_care=care, place="volume")
    other = Finding("coolant", "pass", ("b",), "the loop holds 1 l", take_care=care, place="other")
    summary("t", [filled, other], NOTHING)
    said = cared(capsys)
    assert all(said.count(" ".join(c.replace("- ", "").split())) == 1 for c in (*LEAK_TEST, DEFER))
    assert said.endswith(DEFER)
    drilled = Finding("cut", "caution", ("a",), "4 to drill", take_care=AT_THE_SHEET)
    summary("t", [filled, drilled], NOTHING)
    said = cared(capsys)
    assert said.count(DEFER) == 1
    assert said.endswith(DEFER)
    summary("t", [drilled], NOTHING)
    assert cared(capsys).endswith(DEFER)
    summary("t", [filled, CLASH], NOTHING)
    said = cared(capsys)
    assert all(said.count(" ".join(c.replace("- ", "").split())) == 1 for c in (*LEAK_TEST, DEFER))


# What is short, and what is all ---------------------------------------------------------------------------------------

NEAR = Finding(
    "clearance", "tight", ("a", "b"), "a/x and b/y are 0.4 mm apart; 1.0 mm are wanted", ("a/x", "b/y"), 0.4,
    required=1.0, low=0.35, high=0.45, basis=Basis("mesh", 0.05, (("a", ("width",)),)),
    remedies=("move a by 0.6 mm", "move b by 0.6 mm"),
)  # fmt: skip
WELL = Finding("clearance", "clear", ("a", "c"), "a and c are 9 mm apart", measured=9.0)


def test_a_line_is_short_and_explaining_it_says_all(capsys: pytest.CaptureFixture[str]) -> None:
    summary("t", [WELL, NEAR, CLASH], NOTHING)
    told = capsys.readouterr().out
    assert "   2 < tight     a is only 0.4 mm from b; 1.0 mm are wanted" in told
    assert "→ move a by 0.6 mm (or 1 more way)" in told
    assert "move b" not in told
    assert "9 mm" not in told
    assert told.splitlines()[-1].startswith("  Next: ")
    for named in ("2", NEAR.id):
        explain([WELL, NEAR, CLASH], NOTHING, named)
        told = capsys.readouterr().out
        assert NEAR.text in told
        assert "→ move b by 0.6 mm" in told
        assert "measured 0.4 mm, between 0.35 and 0.45; wanted 1" in told
        assert "worked out on meshes to 0.05 mm" in told
        assert "assumed of a: width" in told
        assert CLASH.text not in told


@pytest.mark.parametrize(
    ("named", "said"), [("3", "goes from 1 to 2"), ("0", "goes from 1 to 2"), ("zzz", "no finding")]
)
def test_what_is_not_listed_cannot_be_explained(named: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        explain([WELL, NEAR, CLASH], NOTHING, named)


def test_a_width_is_kept_to_with_words_below_words(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(verdicts, "answers", lambda: Console(width=60, force_terminal=True, color_system=None))
    summary("t", [NEAR], NOTHING)
    lines = capsys.readouterr().out.splitlines()
    first = next(i for i, line in enumerate(lines) if "tight" in line)
    assert all(len(line.rstrip()) <= 60 for line in lines[first : first + 2])
    column = lines[first].index("a is only")
    assert lines[first + 1].strip()
    assert len(lines[first + 1]) - len(lines[first + 1].lstrip()) >= column
