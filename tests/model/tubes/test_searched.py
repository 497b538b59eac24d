"""A kept search is the search: what an empty cache gives, whatever was moved, added or taken away."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from elbowroom.model.geometry.envelopes import Margins, Obstacle
from elbowroom.model.geometry.freespace import Space
from elbowroom.model.store import Store
from elbowroom.model.tubes import searched as module
from elbowroom.model.tubes.planner import field_for, place_of
from elbowroom.model.tubes.rules import Result, Rules
from elbowroom.model.tubes.searched import Question, searched
from tests.bench.clutter import CASE, Case, box, end_at, make

RULES = Rules(od=14, radius=28, end_leg=20, between=10, clearance=Margins(2.0))
ENDS = (end_at((100, 60, 60), (1, 0, 0)), end_at((220, 120, 60), (0, -1, 0)))


def search(obstacles: list[Obstacle], store: Store | None, case: Case | None = None, rules: Rules = RULES) -> Result:
    start, end = ENDS if case is None else (case.start, case.end)
    rules = rules if case is None else case.rules
    space = Space(obstacles)
    points = np.array([c.point for e in (start, end) for c in e.candidates])
    about = Question(start, end, rules, space, CASE, {}, place_of(space, rules, points, CASE))
    return searched(about, lambda: field_for(space, rules, points, CASE), store)


@pytest.fixture
def searches(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Grows by one with every search that is made."""
    made: list[int] = []
    plan = module.plan

    def counted(*args: Any, **words: Any) -> Result:
        made.append(1)
        return plan(*args, **words)

    monkeypatch.setattr(module, "plan", counted)
    return made


def test_what_moves_far_away_leaves_a_search_standing(tmp_path: Path, searches: list[int]) -> None:
    store = Store(tmp_path)
    far, near = (400, 180, 400), (150, 40, 40)
    first = search([box("far", far, (420, 200, 420))], store)
    assert first.found
    assert search([box("far", (390, 180, 400), (420, 200, 420))], Store(tmp_path)) == first
    assert len(searches) == 1
    bent = search([box("far", far, (420, 200, 420)), box("near", near, (170, 80, 90))], store)
    assert len(searches) == 2, "what comes into the way is looked at"
    assert bent != first


def test_a_wider_wish_than_any_before_is_another_question(tmp_path: Path, searches: list[int]) -> None:
    """What stands outside of a record cannot have borne on it, unless more is wanted from it than of anything then."""
    store, obstacles = Store(tmp_path), [box("far", (100, 20, 300), (220, 180, 320))]
    search(obstacles, store)
    wide = replace(RULES, clearance=Margins(2.0, {"far": 300.0}))
    assert search(obstacles, store, rules=wide) == search(obstacles, None, rules=wide)
    assert not search(obstacles, store, rules=wide).found


def test_a_reason_is_read_back_as_it_was_told(tmp_path: Path, searches: list[int]) -> None:
    store, walled = Store(tmp_path), [box("lid", (112, 40, 40), (116, 80, 80))]
    found = search(walled, store)
    assert not found.found
    assert search(walled, Store(tmp_path)) == found
    assert len(searches) == 1


@pytest.mark.slow
@pytest.mark.parametrize("number", range(2))
def test_after_any_edits_a_search_is_the_one_of_an_empty_cache(tmp_path: Path, number: int) -> None:
    case, rng, store = make(number, bodies=20), np.random.default_rng(number), Store(tmp_path)
    obstacles = list(case.obstacles)
    for _ in range(3):
        k = int(rng.integers(len(obstacles)))
        was = obstacles[k]
        match int(rng.integers(3)):
            case 0:
                obstacles[k] = replace(was, vertices=was.vertices + rng.normal(0, 15, 3))
            case 1:
                del obstacles[k]
            case _:
                obstacles.insert(k, replace(was, name=f"{was.name}+{rng.integers(10**6)}", bound=0.01))
        assert search(obstacles, store, case) == search(obstacles, None, case)
