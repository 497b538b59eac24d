"""A finding in one sentence: the names and the number of the finding, and the build in one line."""

from __future__ import annotations

from elbowroom.model.told.findings import Finding
from elbowroom.model.told.headlines import headline, sentence

CLASH = Finding("interference", "clash", ("fan", "card"), "...", ("fan/frame", "card/pcb"), 8.974834, "mm", 0.0)
TIGHT = Finding("clearance", "tight", ("fan", "card"), "...", ("fan/frame", "card/pcb"), 0.134512, "mm", 1.0)


def test_a_pair_is_told_by_its_pieces_and_its_number() -> None:
    assert headline(CLASH) == "fan and card run 9.0 mm into each other"
    assert headline(TIGHT) == "fan is only 0.1 mm from card; 1.0 mm are wanted"


def test_two_bodies_of_one_piece_are_told_apart() -> None:
    own = Finding("interference", "clash", ("card", "card"), "...", ("card/a", "card/b"), 2.0)
    assert headline(own) == "card/a and card/b run 2.0 mm into each other"


def test_of_the_case_the_part_that_is_met_is_told() -> None:
    foot = Finding("interference", "clash", ("M3 x 30 1", "case"), "...", ("M3 x 30 1/screw", "case/foot-1"), 3.1)
    assert headline(foot) == "M3 x 30 1 and case foot-1 run 3.1 mm into each other"


def test_anything_else_is_the_first_clause_of_its_text() -> None:
    assert headline(Finding("loop", "fail", ("pump",), "pump.in is open; close it")) == "pump.in is open"


def test_what_follows_from_another_is_not_counted_twice() -> None:
    follows = Finding("interference", "clash", ("a", "b"), "...", ("a/x", "b/y"), 1.0, cause=CLASH.id)
    assert sentence([CLASH, TIGHT, follows]) == "2 things are in the way"
    assert sentence([Finding("part", "pass", ("a",), "fine")]) == "nothing is in the way"
