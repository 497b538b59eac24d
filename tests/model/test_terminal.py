"""What the terminal says of a place: distances from walls where there is a case, coordinates where there is none."""

from __future__ import annotations

import pytest

from elbowroom.model.findings import Finding
from elbowroom.model.layout import Gaps, Layout
from elbowroom.model.places import placed
from elbowroom.model.terminal import summary
from elbowroom.parts.base import Box

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
    summary("t", placed([CLASH], Layout("t", (), (), Gaps(), interior)), interior)
    assert said in capsys.readouterr().out
