"""Several runs at once: that they keep clear of each other and of the rest, and give way where they must."""

from __future__ import annotations

import itertools

import pytest

from elbowroom.model.geometry.envelopes import Margins, Obstacle
from elbowroom.model.geometry.freespace import Space
from elbowroom.model.tubes.bars import FINE_DEG, bars_of, gaps
from elbowroom.model.tubes.planner import cost_of
from elbowroom.model.tubes.rules import Found, NotFound, Result, Rules
from elbowroom.model.tubes.several import Wanted, plan_all
from elbowroom.model.tubes.verify import verify
from elbowroom.parts.vocabulary.base import Box
from tests.bench.clutter import CASE, box, end_at, loop

RULES = Rules(od=14, radius=28, end_leg=20, between=10, clearance=Margins(2.0))
ROOM = Box((-120, -120, -120), (120, 120, 120))
SLACK = 0.02  # mm: chords of two tubes' bends


def run(name: str, start: tuple[float, ...], out: tuple[float, ...], end: tuple[float, ...], back: tuple[float, ...],
        rules: Rules = RULES) -> Wanted:  # fmt: skip
    return Wanted(name, end_at(start, out), end_at(end, back), rules)  # type: ignore[arg-type]


def hold(wanted: list[Wanted], results: dict[str, Result], *obstacles: Obstacle, within: Box = ROOM) -> None:
    """Every run found holds alone, and every two keep the larger distance they want of each other."""
    space = Space(obstacles)
    laid = [(w, r) for w in wanted if isinstance(r := results[w.name], Found)]
    for w, r in laid:
        assert verify(r.run, space, w.rules, w.start, w.end, within=within) == []
    for (w, r), (v, s) in itertools.combinations(laid, 2):
        a, b = bars_of(r.run, w.rules.od, FINE_DEG).rods, bars_of(s.run, v.rules.od, FINE_DEG).rods
        d = gaps(a.starts[:, None], a.ends[:, None], b.starts[None], b.ends[None])
        apart = float((d - a.radii[:, None] - b.radii[None]).min())
        assert apart >= max(w.rules.clearance.to(v.name), v.rules.clearance.to(w.name)) - SLACK


def test_two_runs_that_would_cross_pass_each_other() -> None:
    wanted = [
        run("x", (-100, 0, 0), (1, 0, 0), (100, 0, 0), (-1, 0, 0)),
        run("y", (0, -100, 0), (0, 1, 0), (0, 100, 0), (0, -1, 0)),
    ]
    results = plan_all(wanted, Space([]), within=ROOM)
    assert all(r.found for r in results.values())
    hold(wanted, results)
    bends = sorted(len(r.run.bends) for r in results.values() if isinstance(r, Found))
    assert bends[0] == 0, "one of them may stay straight"
    assert bends[1] > 0


def sleeve(x0: float, x1: float, half: float) -> list[Obstacle]:
    """A wall from x0 to x1 with one square hole about the x axis."""
    return [
        box("below", (x0, -120, -120), (x1, 120, -half)), box("above", (x0, -120, half), (x1, 120, 120)),
        box("left", (x0, -120, -half), (x1, -half, half)), box("right", (x0, half, -half), (x1, 120, half)),
    ]  # fmt: skip


def test_a_run_with_one_way_only_gets_it_though_a_shorter_run_was_laid_across_it() -> None:
    """A thick wall leaves the long run no way but straight; the short one lies right before the hole and can yield."""
    wall = sleeve(-50, 50, 9.2)
    wanted = [
        run("short", (-75, -60, 0), (0, 1, 0), (-75, 60, 0), (0, -1, 0)),
        run("through", (-110, 0, 0), (1, 0, 0), (110, 0, 0), (-1, 0, 0)),
    ]
    results = plan_all(wanted, Space(wall), within=ROOM)
    assert all(r.found for r in results.values())
    hold(wanted, results, *wall)
    assert isinstance(results["through"], Found)
    assert results["through"].run.bends == ()


@pytest.mark.slow
def test_of_two_runs_with_one_hole_one_is_found_and_the_other_says_what_stands_in_its_way() -> None:
    wall = sleeve(-12, 12, 10)
    wanted = [
        run("a", (-110, 0, 0), (1, 0, 0), (110, 0, 0), (-1, 0, 0)),
        run("b", (-110, 40, 0), (1, 0, 0), (110, 40, 0), (-1, 0, 0)),
    ]
    results = plan_all(wanted, Space(wall), within=ROOM)
    assert sorted(r.found for r in results.values()) == [False, True]
    lost = next(r for r in results.values() if isinstance(r, NotFound))
    other = next(n for n, r in results.items() if r.found)
    assert not lost.impossible  # the other one is in the way, and might not be
    assert other in {n for n, _ in lost.blockers}
    assert f"not found beside the {other}" in lost.text
    hold(wanted, results, *wall)


@pytest.mark.slow
def test_the_straight_legs_of_runs_still_to_come_are_kept_free() -> None:
    """Two ports side by side: alone, the first run would rise right across the mouth of the second."""
    wanted = [
        run("first", (-60, 0, 0), (1, 0, 0), (-8, 95, 0), (0, -1, 0)),
        run("second", (-12, 10, 0), (1, 0, 0), (100, -40, 60), (-1, 0, 0)),
    ]
    alone = plan_all(wanted[:1], Space([]), within=ROOM)["first"]
    assert isinstance(alone, Found)
    assert len(alone.run.bends) == 1
    results = plan_all(wanted, Space([]), within=ROOM)
    assert all(r.found for r in results.values())
    hold(wanted, results)


def test_between_two_tubes_the_larger_wanted_distance_holds() -> None:
    wary = Rules(14, 28, 20, 10, Margins(1.0, {"y": 15.0}))
    wanted = [
        run("x", (-100, 0, 0), (1, 0, 0), (100, 0, 0), (-1, 0, 0), wary),
        run("y", (0, -100, 24), (0, 1, 0), (0, 100, 24), (0, -1, 0)),
    ]
    results = plan_all(wanted, Space([]), within=ROOM)
    hold(wanted, results)
    assert all(r.found for r in results.values())


def test_names_must_be_their_own() -> None:
    one = run("x", (-100, 0, 0), (1, 0, 0), (100, 0, 0), (-1, 0, 0))
    with pytest.raises(ValueError, match="names of their own"):
        plan_all([one, one], Space([]))
    with pytest.raises(ValueError, match="names of their own"):
        plan_all([one], Space([box("x", (0, 0, 0), (1, 1, 1))]))


@pytest.mark.slow
def test_the_runs_of_a_whole_build_are_found_together() -> None:
    scene = loop(3, runs=6, bodies=70)
    wanted = [Wanted(f"run {k + 1}", a, b, scene.rules) for k, (a, b) in enumerate(scene.ends)]
    results = plan_all(wanted, Space(scene.obstacles), within=CASE)
    assert all(r.found for r in results.values())
    hold(wanted, results, *scene.obstacles, within=CASE)
    cost = sum(r.cost for r in results.values() if isinstance(r, Found))
    assert cost <= sum(cost_of(r, scene.rules) for r in scene.references)
