"""The exact check of tube runs against plane geometry: each rule broken by a known amount, at a known place."""

from __future__ import annotations

import math

import numpy as np
import pytest

from elbowroom.model.geometry.envelopes import Margins, Obstacle
from elbowroom.model.geometry.freespace import LENGTH_STEP, Space
from elbowroom.model.geometry.meshes import fault_of, mesh_volume
from elbowroom.model.geometry.trees import ENGINE_EPS
from elbowroom.model.tubes.bars import FINE_DEG, bars_of, gaps, self_gap, swept
from elbowroom.model.tubes.rules import Rules, Violation
from elbowroom.model.tubes.verify import verify
from elbowroom.parts.vocabulary.base import Box
from elbowroom.parts.vocabulary.bends import Run, bend_run
from elbowroom.parts.vocabulary.centre_line import sample
from tests.bench.clutter import box, end_at

RULES = Rules(od=14, radius=28, end_leg=20, between=10)
ELBOW = bend_run([(0, 0, 0), (100, 0, 0), (100, 90, 0)], 28)
CHORD = 28 * (1 / math.cos(math.radians(FINE_DEG / 2)) - 1)  # mm: what the check's chords may cost at that radius


def check(run: Run, *obstacles: Obstacle, rules: Rules = RULES, within: Box | None = None) -> list[Violation]:
    start = end_at(run.points[0], run.direction_start)
    d = run.direction_end
    return verify(run, Space(obstacles), rules, start, end_at(run.points[-1], (-d[0], -d[1], -d[2])), within=within)


def test_a_run_by_the_rules_in_free_space_breaks_none() -> None:
    assert check(ELBOW) == []


@pytest.mark.parametrize(("gap", "wanted"), [(3.0, 3.0), (3.0, 3.01), (0.5, 1.0), (-2.0, 1.0)])
def test_a_wall_beside_a_leg_is_named_with_the_millimetres_that_lack(gap: float, wanted: float) -> None:
    """A plane at y = -(7 + gap) beside a 14 mm tube on y = 0."""
    wall = box("wall", (10, -60, -50), (60, -7 - gap, 50))
    got = check(ELBOW, wall, rules=Rules(14, 28, 20, 10, Margins(wanted)))
    if gap >= wanted:
        assert got == []
        return
    assert [(v.kind, v.obstacle, v.place) for v in got] == [("clearance", "wall", "leg 1")]
    assert got[0].measured == pytest.approx(gap, abs=2 * ENGINE_EPS)
    assert got[0].shortfall == pytest.approx(wanted - gap, abs=2 * ENGINE_EPS)
    assert got[0].at is not None
    assert got[0].at[1] == pytest.approx(-7 - gap, abs=2 * ENGINE_EPS)
    assert 10 <= got[0].at[0] <= 60


def test_a_bend_round_a_post_has_the_clearance_of_its_radius() -> None:
    """A post on the bend's own axis: clearance = bend radius - tube radius - post radius, exactly."""
    sides, radius = 1440, 15.0
    t = 2 * np.pi * np.arange(sides) / sides
    ring = np.array([72.0, 28.0]) + radius * np.stack([np.cos(t), np.sin(t)], axis=1)
    v = np.vstack(
        [np.c_[ring, np.full(sides, -30.0)], np.c_[ring, np.full(sides, 30.0)], [[72, 28, -30], [72, 28, 30]]]
    )
    i = np.arange(sides)
    j = (i + 1) % sides
    n = np.full(sides, 2 * sides)
    f = np.vstack(
        [np.c_[i, j, sides + j], np.c_[i, sides + j, sides + i], np.c_[n, j, i], np.c_[n + 1, sides + i, sides + j]]
    )
    post = Obstacle("post", v, f.astype(np.int32))
    facet = radius * (1 - math.cos(math.pi / sides))
    true = 28 - 7 - radius
    assert check(ELBOW, post, rules=Rules(14, 28, 20, 10, Margins(true - CHORD))) == []
    bad = check(ELBOW, post, rules=Rules(14, 28, 20, 10, Margins(true + facet + 0.01)))
    assert {v.obstacle for v in bad} == {"post"}
    at_bend = next(v for v in bad if v.place == "bend 1")
    assert at_bend.measured == pytest.approx(true, abs=CHORD + facet + ENGINE_EPS)


def test_a_run_through_a_solid_is_told_from_one_inside_it() -> None:
    post = box("post", (40, -30, -30), (50, 30, 30))
    (through,) = check(ELBOW, post)
    assert through.measured == pytest.approx(-7, abs=0.01)
    assert "through" in through.text
    block = box("block", (-200, -200, -200), (300, 300, 300))
    assert {v.kind for v in check(ELBOW, block)} == {"inside"}
    assert {v.obstacle for v in check(ELBOW, block)} == {"block"}


def test_each_obstacle_has_its_own_wanted_distance() -> None:
    fan, wall = box("fan", (30, -60, -50), (60, -12, 50)), box("wall", (30, -50, -60), (60, 50, -12))
    rules = Rules(14, 28, 20, 10, Margins(2.0, {"fan": 8.0}))
    assert [(v.obstacle, round(v.shortfall, 3)) for v in check(ELBOW, fan, wall, rules=rules)] == [("fan", 3.0)]


def test_an_obstacle_is_not_counted_within_reach_of_the_end_it_belongs_to() -> None:
    collar = box("collar", (-20, -9, -9), (12, 9, 9))
    start, end = end_at((0, 0, 0), (1, 0, 0), exempt=("collar",), reach=15), end_at((100, 90, 0), (0, -1, 0))
    rules = Rules(14, 28, 20, 10, Margins(1.0))
    assert verify(ELBOW, Space([collar]), rules, start, end) == []
    near = end_at((0, 0, 0), (1, 0, 0), exempt=("collar",), reach=12.5)
    (short,) = verify(ELBOW, Space([collar]), rules, near, end)
    assert (short.obstacle, short.kind) == ("collar", "clearance")
    assert short.measured == pytest.approx(0.5, abs=2 * ENGINE_EPS), "counted from 12.5 on, the collar ends at 12"
    other_end = end_at((100, 90, 0), (0, -1, 0), exempt=("collar",), reach=15)
    assert verify(ELBOW, Space([collar]), rules, end_at((0, 0, 0), (1, 0, 0)), other_end) != []


def test_legs_radii_and_bends_are_held_against_the_rules() -> None:
    legs = check(bend_run([(0, 0, 0), (47, 0, 0), (47, 61, 0), (100, 61, 0)], 28))
    assert [(v.kind, v.place, round(v.shortfall, 6)) for v in legs] == [
        ("between", "leg 2", 5.0),
        ("leg", "leg 1", 1.0),
    ]
    (radius,) = check(bend_run([(0, 0, 0), (100, 0, 0), (100, 90, 0)], 27))
    assert (radius.kind, radius.place, radius.shortfall) == ("radius", "bend 1", pytest.approx(1.0))
    sharp = bend_run([(0, 0, 0), (300, 0, 0), (20, 100, 0)], 28)
    assert [v.kind for v in check(sharp)] == ["bend"]
    assert [v.kind for v in check(ELBOW, rules=Rules(14, 28, 20, 10, most_bends=0))] == ["bends"]


def test_a_run_must_set_out_from_its_ports_along_their_axes() -> None:
    space, end = Space([]), end_at((100, 90, 0), (0, -1, 0))
    (off,) = verify(ELBOW, space, RULES, end_at((0, 3, 4), (1, 0, 0)), end)
    assert (off.kind, off.place, off.shortfall) == ("end", "start", pytest.approx(5.0))
    (aslant,) = verify(ELBOW, space, RULES, end_at((0, 0, 0), (math.cos(0.1), math.sin(0.1), 0)), end)
    assert (aslant.kind, aslant.shortfall) == ("axis", pytest.approx(math.degrees(0.1)))


def test_a_tube_that_crosses_itself_is_found_and_a_tight_return_is_not_mistaken_for_it() -> None:
    loop = bend_run([(0, 0, 0), (200, 0, 0), (200, 150, 0), (100, 150, 0), (100, -80, 0)], 28)
    assert [v.kind for v in check(loop)] == ["self"]
    assert self_gap(bars_of(loop, 14, FINE_DEG), 28)[0] <= 0
    passing = bend_run([(0, 0, 0), (200, 0, 0), (200, 150, 0), (100, 150, 15), (100, -80, 15)], 28)
    gap, _ = self_gap(bars_of(passing, 14, FINE_DEG), 28)
    assert gap == pytest.approx(15.0, abs=0.01)
    assert check(passing) == []
    hairpin = bend_run([(0, 0, 0), (100, 0, 0), (100, 20, 0), (0, 20, 0)], 10)
    assert check(hairpin, rules=Rules(14, 10, 20)) == []
    assert [v.kind for v in check(hairpin, rules=Rules(20, 10, 20))] == []


def test_a_run_that_leaves_the_case_is_told_by_how_much() -> None:
    within = Box((-5, -7, -7), (107, 95, 7))
    assert check(ELBOW, within=within) == []
    (out,) = check(ELBOW, within=Box((-5, -7, -7), (106.4, 95, 7)))
    assert (out.kind, out.shortfall) == ("bounds", pytest.approx(0.6, abs=1e-6))


def test_the_bars_of_a_run_contain_the_tube_and_little_more() -> None:
    run = bend_run([(0, 0, 0), (120, 10, 0), (130, 90, 70), (20, 150, 60)], 43)
    for step in (FINE_DEG, 7.5, 20.0):
        bars = bars_of(run, 16, step)
        line = sample(run, 1e-5)
        d = gaps(line[:, None], line[:, None], bars.rods.starts[None], bars.rods.ends[None]).min(axis=1)
        assert d.max() <= bars.slack.max() + 1e-9, "every point of the centre line is within the slack of a bar's axis"
        assert d.max() >= 0.9 * bars.slack.max(), "and the slack is no larger than it must be"
        assert bars.last[-1] == pytest.approx(run.length)


def test_distances_between_segments_agree_with_dense_sampling() -> None:
    rng = np.random.default_rng(11)
    a, b, c, d = rng.uniform(-10, 10, (4, 60, 3))
    b[:5], d[5:10], d[10:15] = a[:5], c[5:10], c[10:15] + (b - a)[10:15]  # points, and parallel pairs
    t = np.linspace(0, 1, 401)[:, None]
    for i, got in enumerate(gaps(a, b, c, d)):
        p, q = a[i] + t * (b - a)[i], c[i] + t * (d - c)[i]
        dense = np.linalg.norm(p[:, None] - q[None], axis=2).min()
        assert dense - 0.12 <= got <= dense + 1e-9


def test_a_swept_tube_is_a_closed_mesh_with_the_volume_of_the_tube() -> None:
    run = bend_run([(0, 0, 0), (120, 10, 0), (130, 90, 70), (20, 150, 60)], 43)
    mesh = swept("run", run, 16)
    assert fault_of(mesh.vertices, mesh.triangles) is None
    assert mesh_volume(mesh.vertices, mesh.triangles) == pytest.approx(math.pi * 64 * run.length, rel=2e-3)
    off = gaps(mesh.vertices[:-2, None], mesh.vertices[:-2, None], *(v[None] for v in _chords(run))).min(axis=1)
    assert abs(off - 8).max() <= mesh.bound + LENGTH_STEP


def _chords(run: Run) -> tuple[np.ndarray, np.ndarray]:
    line = sample(run, 1e-4)
    return line[:-1], line[1:]
