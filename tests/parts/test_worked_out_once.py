"""What is asked of a part over and over is worked out once for it, and never passes to another."""

from __future__ import annotations

from elbowroom.parts.case.case import Case
from elbowroom.parts.made.riser import Riser
from elbowroom.parts.vocabulary.measure import Mm


def test_frames_and_patterns_are_those_of_the_part_itself() -> None:
    case = Case()
    assert case.frames() is case.frames()
    assert case.patterns() is case.patterns()
    wider = case.model_copy(update={"interior": case.interior.model_copy(update={"depth": Mm(500)})})
    own, plain, more = ([f.size for f in c.frames()] for c in (case, Case(), wider))
    assert own == plain
    assert own != more
    assert wider.shape_key() != case.shape_key()


def test_parts_that_come_and_go_do_not_take_each_other_s_answers() -> None:
    for h in range(16, 60):  # each is gone before the next, which may stand where it stood
        riser = Riser(height=Mm(h))
        tops = [f.pose[2, 3] for f in riser.frames() if f.name in ("top", "foot")]
        assert max(tops) - min(tops) == h
        assert riser.shape_key() == Riser(height=Mm(h)).shape_key()
