"""Exact work on what someone else drew: done in a child, with the same answers, and lost with nothing but its own."""

from __future__ import annotations

import sys

import pytest

from elbowroom.model.geometry import confined, refining
from elbowroom.model.geometry.confined import Confined
from elbowroom.model.geometry.judged import Judged
from elbowroom.model.geometry.pairs import Checker
from elbowroom.model.store import Store
from elbowroom.parts.imported import child
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.pose import IDENTITY, Pose, compose, rotation, shift
from tests.model.shapes_for_tests import Rod, scene_of

DEEP = compose(shift(9.998, 0, 10), rotation((1, 0, 0), 30))  # two rods cross by 2 um: no mesh alone can tell
PLENTY = child.Limits(cpu=60, clock=120.0, memory=1400 * child.MEGABYTE)


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return Store(tmp_path_factory.mktemp("cache"))


@pytest.fixture
def foreign(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (refining, confined):
        monkeypatch.setattr(module, "is_foreign", lambda part: isinstance(part, Rod))


def told(store: Store, a: Part, b: Part, at: Pose, limits: child.Limits | None = None) -> Judged:
    store.memory.clear()
    if limits is not None:
        store.remember("confined", "", Confined(limits))
    return Checker(scene_of(store, (a, IDENTITY), (b, at)), store).judge(0, 1)


@pytest.mark.slow
def test_the_child_answers_as_this_process_would(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    here = told(Store(tmp_path_factory.mktemp("here")), Rod(), Rod(r=4.999), DEEP)
    assert here.kind == "overlap"
    for module in (refining, confined):
        monkeypatch.setattr(module, "is_foreign", lambda part: part.r == 5.0)
    monkeypatch.setattr(refining, "judge_exact", _never)
    there = told(Store(tmp_path_factory.mktemp("there")), Rod(), Rod(r=4.999), DEEP, PLENTY)
    assert there == here


def _never(*_: object) -> None:
    raise AssertionError("a user's shape was worked on in this process")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("limits", "why"),
    [
        (child.Limits(cpu=60, clock=0.05, memory=PLENTY.memory), "more than 0.05 s"),
        (child.Limits(cpu=60, clock=60.0, memory=0), ""),
    ],
)
def test_a_child_that_runs_out_leaves_it_unknown_and_keeps_nothing(
    store: Store, foreign: None, limits: child.Limits, why: str
) -> None:
    lost = told(store, Rod(), Rod(), DEEP, limits)
    assert lost.kind == "unknown"
    assert "no answer" in lost.reason
    assert why in lost.reason
    scene = scene_of(store, (Rod(), IDENTITY), (Rod(), DEEP))
    Checker(scene, store).flush()
    later = Checker(scene, Store(store.folder))
    assert later.recall(later.key(0, 1, "pair")[0]) is None


def test_a_child_that_dies_leaves_it_unknown_and_its_shape_is_not_tried_again(
    store: Store, foreign: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    started: list[int] = []

    def dies(module: str, function: str, arguments: object = ()) -> object:
        started.append(1)
        return _start("os", "abort")

    _start = child.start
    monkeypatch.setattr(child, "start", dies)
    at = compose(shift(9.9985, 0, 10), rotation((1, 0, 0), 31))
    for again in (at, compose(shift(9.9985, 0, 9), rotation((1, 0, 0), 31))):
        lost = (
            told(store, Rod(), Rod(), again)
            if again is at
            else Checker(scene_of(store, (Rod(), IDENTITY), (Rod(), again)), store).judge(0, 1)
        )
        assert lost.kind == "unknown"
        assert "crashed" in lost.reason
    assert len(started) == 1


@pytest.mark.skipif(sys.platform != "linux", reason="the child's limits are those of POSIX")
def test_own_parts_need_no_child(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(child, "start", _never)
    assert told(store, Rod(r=5.0), Rod(r=5.0), DEEP).kind == "overlap"
