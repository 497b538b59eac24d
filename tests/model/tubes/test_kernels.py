"""The compiled loops against the same arithmetic written plainly, on random questions.

Tolerances: double precision figures agree to rounding, which a sharp turn's tangent magnifies to less than 1e-6 mm; the
map is single precision, whose step at 500 mm is 3e-5 mm, so 1e-3 mm holds a few of them.
"""

from __future__ import annotations

import math
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from elbowroom.model.geometry.envelopes import Margins, Rod
from elbowroom.model.geometry.freespace import Space
from elbowroom.model.tubes import kernels, mapping, stepping
from elbowroom.model.tubes.bars import COARSE_DEG, bars_of, gaps, rod_mesh
from elbowroom.model.tubes.compiled import private
from elbowroom.model.tubes.field import Field, build
from elbowroom.model.tubes.lines import SAMPLE, Lines, Map, measure
from elbowroom.model.tubes.rules import Rules
from elbowroom.parts.vocabulary.bends import bend_run
from tests.bench.clutter import CASE, make

ROUNDING, SINGLE = 1e-6, 1e-3  # mm
RULES = Rules(od=14, radius=28, end_leg=20, between=5, largest_bend=150)


def some_lines(rng: np.random.Generator, bends: int, count: int = 60) -> Lines:
    """Lines that can be bent, of any length and turn."""
    every = measure(rng.uniform(CASE.lo, CASE.hi, (40 * count, bends + 2, 3)), RULES)
    return every.take(np.nonzero(every.lack == 0)[0][:count])


@pytest.mark.parametrize("bends", [0, 1, 2, 3])
def test_lines_measure_as_the_run_that_is_bent_through_their_corners(bends: int) -> None:
    lines = some_lines(np.random.default_rng(bends), bends)
    assert len(lines.cost) > 20
    for k, corners in enumerate(lines.points):
        run = bend_run(corners, RULES.radius)
        assert lines.length[k] == pytest.approx(run.length, abs=ROUNDING)
        assert lines.straights[k] == pytest.approx(run.straights, abs=ROUNDING)
        assert np.degrees(lines.turns[k]) == pytest.approx([b.angle for b in run.bends], abs=ROUNDING)
        assert lines.cost[k] == pytest.approx(run.length + RULES.bend_worth * bends, abs=ROUNDING)


def test_what_the_rules_lack_is_the_worst_leg() -> None:
    """By hand: a corner of 90 degrees takes 28 mm (R tan 45) off both its legs."""
    corners = np.array([[(0, 0, 0), (40, 0, 0), (40, 100, 0)], [(0, 0, 0), (48, 0, 0), (48, 100, 0)]], dtype=float)
    assert measure(corners, RULES).lack == pytest.approx([8.0, 0.0])
    square = Rules(od=14, radius=28, end_leg=20, square=True)
    aslant = corners + np.array([(0, 0, 0), (0, 0, 0), (0, 0, 9)])
    assert measure(aslant, square).lack == pytest.approx([kernels.FAR, kernels.FAR])


def plain_excess(field: Field, points: np.ndarray, tight: bool) -> np.ndarray:
    """The figure of the cell of each point, or the least of it and its six neighbours', in numpy."""
    p, out = points.astype(np.float32), []
    for off in np.vstack([np.zeros((1, 3)), np.eye(3), -np.eye(3)])[: 7 if tight else 1]:
        at = p + (off * field.cell).astype(np.float32)
        ijk = ((at - field.lo.astype(np.float32)) * np.float32(1 / field.cell)).astype(int)
        i, j, k = np.moveaxis(np.clip(ijk, 0, np.array(field.shape) - 1), -1, 0)
        row = field.near[i, j, k]
        out.append(np.linalg.norm(p - row[..., :3], axis=-1) - row[..., 3])
    return np.min(out, axis=0)


def plain_points(lines: Lines, radius: float) -> tuple[np.ndarray, np.ndarray]:
    """Points along each line at most SAMPLE apart, and how far along it each lies, in numpy."""
    out, along, at = [], [], np.zeros(len(lines.cost))
    for i in range(lines.straights.shape[1]):
        d, straight = lines.directions[:, i, None], np.maximum(lines.straights[:, i], 0.0)
        s = straight[:, None] * np.linspace(0, 1, 2 + int(straight.max() / SAMPLE))
        back = lines.setbacks[:, i - 1, None, None] if i else 0.0
        out.append(lines.points[:, i, None] + d * back + d * s[..., None])
        along.append(at[:, None] + s)
        at = at + straight
        if i < lines.turns.shape[1]:
            turn, e = lines.turns[:, i, None], lines.directions[:, i + 1, None]
            inward = e - d * np.cos(turn)[..., None]
            inward /= np.linalg.norm(inward, axis=2)[..., None]
            phi = turn * np.linspace(0, 1, 3 + int(radius * turn.max() / SAMPLE))[1:-1]
            begin = lines.points[:, i + 1, None] - d * lines.setbacks[:, i, None, None]
            out.append(begin + radius * (np.sin(phi)[..., None] * d + (1 - np.cos(phi))[..., None] * inward))
            along.append(at[:, None] + radius * phi)
            at = at + radius * turn[:, 0]
    return np.concatenate(out, axis=1), np.concatenate(along, axis=1)


@pytest.mark.parametrize("tight", [False, True])
def test_the_least_room_along_a_line_is_that_of_its_points_one_by_one(tight: bool) -> None:
    case = make(1031, bodies=40)
    field = build(Space(case.obstacles), Margins(1.0), np.array(CASE.lo), np.array(CASE.hi), walled=True)
    lines = some_lines(np.random.default_rng(5), 2)
    points, along = plain_points(lines, RULES.radius)
    assert field.excess(points, tight=tight) == pytest.approx(plain_excess(field, points, tight), abs=SINGLE)
    room = plain_excess(field, points, tight) - RULES.od / 2
    room[(along < 25) | (along > lines.length[:, None] - 40)] = np.inf
    said = Map.of(field, RULES.od / 2, (25.0, 40.0)).least_room(lines, RULES.radius, tight=tight)
    assert said == pytest.approx(room.min(axis=1), abs=SINGLE)
    floors = np.full(len(said), -2.0)
    early = Map.of(field, RULES.od / 2, (25.0, 40.0)).least_room(lines, RULES.radius, tight=tight, floors=floors)
    low = said < -2.0
    assert low.any()
    assert not low.all()
    assert np.array_equal(early[~low], said[~low])
    assert (early[low] < -2.0).all()


def test_a_tube_is_as_far_from_other_bars_as_its_own_bars_are() -> None:
    rng = np.random.default_rng(8)
    for corners in some_lines(rng, 2, 30).points:
        bars = bars_of(bend_run(corners, RULES.radius), RULES.od)
        starts = rng.uniform(CASE.lo, CASE.hi, (3, 3))
        ends, radii = starts + rng.normal(size=(3, 3)) * 20, rng.uniform(3, 9, 3)
        apart = gaps(bars.rods.starts[:, None], bars.rods.ends[:, None], starts[None], ends[None])
        apart = (apart - bars.rods.radii[:, None] - radii[None]).min(axis=1)
        for at_end, along in ((False, bars.first), (True, bars.last.max() - bars.last)):
            for beyond in (0.0, 31.0):
                said = kernels.body_room(
                    corners.copy(), RULES.radius, RULES.od / 2, math.radians(COARSE_DEG), at_end, beyond, starts, ends,
                    radii,
                )  # fmt: skip
                assert said == pytest.approx(apart[along >= beyond].min(), abs=ROUNDING)


def test_each_cell_gets_the_source_that_lies_nearest_in_cells() -> None:
    """Every cell against every source; of several as near any will do."""
    rng = np.random.default_rng(2)
    who = np.where(rng.random((9, 12, 7)) < 0.02, np.arange(9 * 12 * 7).reshape(9, 12, 7), -1).astype(np.int32)
    sources = np.argwhere(who >= 0)
    done = who.copy()
    mapping.spread_along(done, 3.0, 20)
    for cell in np.ndindex(*who.shape):
        given = np.array(np.unravel_index(int(done[cell]), who.shape))
        assert ((given - cell) ** 2).sum() == ((sources - cell) ** 2).sum(axis=1).min()


def test_the_map_knows_the_nearest_point_of_walls_and_surfaces() -> None:
    """At the middles of its cells the map is the distance to the nearer of a box's faces and the walls, to a cell."""
    rod = Rod((150, 150, 150), (250, 150, 150), 20)
    lo, hi = np.zeros(3), np.array([400.0, 300.0, 300.0])
    field = build(Space([rod_mesh("rod", rod)]), Margins(0.0), lo, hi, walled=True)
    rng = np.random.default_rng(4)
    p = rng.uniform(lo + 0.1, hi - 0.1, (400, 3))
    walls = np.minimum(p - lo, hi - p).min(axis=1)
    along = np.maximum(np.abs(p[:, 0] - 200) - 50, 0)
    aside = np.maximum(np.hypot(p[:, 1] - 150, p[:, 2] - 150) - 20, 0)
    true = np.minimum(walls, np.hypot(along, aside))
    said = field.excess(p)
    near = true < 20  # beyond, the map only says that it is far
    assert near.sum() > 50
    assert (said[near] >= true[near] - 0.05 - SINGLE).all()  # the mesh strays a few hundredths from the rod
    assert (said[near] <= true[near] + 2 * field.cell).all()


def test_costs_are_carried_along_any_direction_as_by_walking() -> None:
    rng = np.random.default_rng(6)
    shape = (5, 6, 7)
    edge = rng.uniform(1, 9, shape).astype(np.float32)
    edge[rng.random(shape) < 0.2] = np.inf
    state = rng.uniform(0, 50, shape).astype(np.float32)
    for step in ((1, 0, 0), (0, -1, 0), (1, -1, 0), (0, 1, 1), (-1, 0, -1)):
        best = state.copy()
        stepping.carry(edge, *step, best)
        for node in np.ndindex(*shape):
            least, cost, at = float(state[node]), 0.0, np.array(node)
            while (at - step >= 0).all() and (at - step < shape).all():
                cost, at = cost + float(edge[tuple(at)]), at - step
                least = min(least, float(state[tuple(at)]) + cost)
            assert best[node] == pytest.approx(least, abs=SINGLE)


def test_the_least_move_is_the_shortest_that_gives_what_is_asked() -> None:
    """One wish: along its own normal. Two square to each other: both at once. Textbook projections."""
    x = np.empty(3)
    stepping.least_move(np.array([[2.0, 0, 0]]), np.array([3.0]), 120, x)
    assert x == pytest.approx([1.5, 0, 0])
    stepping.least_move(np.array([[1.0, 0, 0], [0, 1.0, 0], [1.0, 1.0, 0]]), np.array([1.0, 2.0, 0.5]), 120, x)
    assert x == pytest.approx([1, 2, 0])


LOADS = "import elbowroom.model.tubes.stepping as s, numpy as np; x = np.empty(1); " \
        "s.least_move(np.array([[2.0]]), np.array([3.0]), 9, x); print(x[0])"  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("state", ["damaged", "closed"])
def test_a_cache_that_cannot_serve_only_costs_time(tmp_path: Path, state: str) -> None:
    """Kept code that is cut short, and a folder that nobody can make."""
    folder = tmp_path / "cache"
    env = {**os.environ, "ELBOWROOM_CACHE": str(folder)}
    run = [sys.executable, "-c", LOADS]
    if state == "damaged":
        subprocess.run(run, env=env, check=True)
        kept = list(folder.rglob("*.nb?"))
        assert kept
        for p in kept:
            p.write_bytes(p.read_bytes()[:20])
    else:
        folder.write_text("no folder")
    done = subprocess.run(run, env=env, capture_output=True, text=True, check=False)
    assert done.stdout.strip() == "1.5", done.stderr


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "getuid"), reason="rights of groups and others are those of POSIX")
def test_code_that_others_could_have_put_there_is_not_run(tmp_path: Path) -> None:
    """Kept machine code is run as it is, so it is taken from no folder that anybody else can write to."""
    folder = tmp_path / "kernels"
    folder.mkdir()
    folder.chmod(0o777)
    env = {**os.environ, "ELBOWROOM_CACHE": str(tmp_path)}
    subprocess.run([sys.executable, "-c", LOADS], env=env, check=True)
    assert not list(folder.iterdir())
    assert not private(folder)
    assert private(tmp_path / "new")
    assert (tmp_path / "new").stat().st_mode & 0o777 == 0o700
