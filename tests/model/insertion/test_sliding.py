"""A slide is what arithmetic says: boxes through gaps, a key and its slot, balls past edges, whatever the turn."""

from __future__ import annotations

import math

import manifold3d
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from elbowroom.model.insertion.sliding import FAR, Ran, along, profile, run_into
from elbowroom.parts.vocabulary.arrays import Floats, Triangles
from elbowroom.parts.vocabulary.pose import compose, pose, rotation

Solid = tuple[Floats, Triangles]
TURNED = compose(pose((31.7, -12.9, 7.3)), rotation((1, 2, 3), 37.0))
ROUNDS = 1e-9  # mm: a slide of flat bodies rounds to less, a metre from the origin


def mesh(solid: manifold3d.Manifold) -> Solid:
    m = solid.to_mesh64()
    return np.asarray(m.vert_properties)[:, :3].copy(), np.asarray(m.tri_verts).astype(np.int32)


def cube(lo: tuple[float, float, float], hi: tuple[float, float, float]) -> manifold3d.Manifold:
    return manifold3d.Manifold.cube([b - a for a, b in zip(lo, hi, strict=True)]).translate(lo)


def slide(
    a: manifold3d.Manifold, b: manifold3d.Manifold, way: tuple[float, float, float], *, turned: bool = False,
    shift: tuple[float, float, float] = (0, 0, 0), far: float = FAR, wide: float = 0.0,
) -> Ran | None:  # fmt: skip
    turn = TURNED[:3, :3] if turned else np.eye(3)
    (va, ta), (vb, tb) = mesh(a), mesh(b)
    if turned:
        va, vb = (v @ turn.T + TURNED[:3, 3] for v in (va, vb))
    d = turn @ (np.array(way, dtype=float) / np.linalg.norm(way))
    axes, against = along(d)
    moved = turn @ np.array(shift, dtype=float)
    return run_into(profile(va, ta, axes), profile(vb, tb, axes), axes, against, moved, far, wide)


BOX = cube((0, 0, 0), (10, 10, 10))


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize(("gap", "passes"), [(10.001, True), (10.0, True), (9.999, False), (8.0, False)])
def test_a_box_goes_through_a_gap_of_its_own_width_and_no_narrower(turned: bool, gap: float, passes: bool) -> None:
    """A plate with a square hole 50 mm ahead, whose side is `gap`."""
    lo, hi = 5 - gap / 2, 5 + gap / 2
    plate = cube((60, -40, -40), (64, 50, 50)) - cube((50, lo, lo), (70, hi, hi))
    met = slide(BOX, plate, (1, 0, 0), turned=turned)
    assert (met is None) == passes
    if met is not None:
        assert met.travel == pytest.approx(50.0, abs=ROUNDS)
        assert not met.thin


@pytest.mark.parametrize("turned", [False, True])
def test_a_key_leaves_its_slot_along_it_and_no_other_way(turned: bool) -> None:
    """A T in a T-slot: free along the slot, held at once to the sides, and after its play upward."""
    body = cube((0, 0, 0), (60, 40, 20))
    slot = cube((-1, 15, 10), (61, 25, 21)) + cube((-1, 10, 4), (61, 30, 10))
    key = cube((5, 15.5, 9), (25, 24.5, 30)) + cube((5, 10.5, 4.5), (25, 29.5, 9))
    found = {
        w: slide(key, body - slot, w, turned=turned) for w in [(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, 0, 1), (0, 0, -1)]
    }
    assert found[1, 0, 0] is None
    assert found[-1, 0, 0] is None
    for way, travel in (((0, 1, 0), 0.5), ((0, 0, 1), 1.0), ((0, 0, -1), 0.5)):
        met = found[way]
        assert met is not None
        assert met.travel == pytest.approx(travel, abs=ROUNDS)


def test_what_touches_ahead_is_met_at_once_and_what_is_slid_along_is_not() -> None:
    ahead = cube((10, 0, 0), (20, 10, 10))
    met = slide(BOX, ahead, (1, 0, 0))
    assert met is not None
    assert met.travel == 0.0
    assert slide(BOX, ahead, (-1, 0, 0)) is None
    assert slide(BOX, ahead, (0, 1, 0)) is None
    assert slide(BOX, ahead, (0, 0, -1)) is None


def test_a_second_leg_starts_where_the_first_ends_and_a_slide_has_an_end() -> None:
    """A wall with its edge at y = 10: a step of 0.5 aside puts the box before it, and back again clears it."""
    wall = cube((30, 10, -5), (40, 50, 50))
    assert slide(BOX, wall, (1, 0, 0)) is None
    met = slide(BOX, wall, (1, 0, 0), shift=(0, 0.5, 0))
    assert met is not None
    assert met.travel == pytest.approx(20.0, abs=ROUNDS)
    assert slide(BOX, wall, (1, 0, 0), shift=(0, 0.5, 0), far=19.999) is None
    back = slide(BOX, wall, (-1, 0, 0), shift=(50, 0.5, 0))
    assert back is not None
    assert back.travel == pytest.approx(10.0, abs=ROUNDS)


@given(st.floats(-60, 60), st.floats(-60, 60))
def test_a_ball_meets_a_wall_where_the_angle_says(a: float, b: float) -> None:
    """Toward the wall x = 30 at an angle, a ball of radius 5 goes (30 - 5) / cos; facets stand back a little."""
    ball = manifold3d.Manifold.sphere(5.0, 96)
    wall = cube((30, -500, -500), (40, 500, 500))
    way = (1.0, math.tan(math.radians(a)), math.tan(math.radians(b)))
    met = slide(ball, wall, way)
    cos = 1 / float(np.linalg.norm(way))
    sagitta = 5.0 * (1 - math.cos(math.pi / 48))
    assert met is not None
    assert 25 / cos - 1e-6 <= met.travel <= (25 + 2 * sagitta) / cos


def test_what_brushes_by_less_than_the_meshes_are_known_to_is_thin() -> None:
    """A ball of radius 5 whose top is 0.1 mm above the edge of a sill: a sliver 0.1 high and 2 mm wide."""
    ball = manifold3d.Manifold.sphere(5.0, 96)
    sill = cube((20, -50, -50), (30, 50, -4.9))
    met = slide(ball, sill, (1, 0, 0), wide=0.2)
    assert met is not None
    assert met.thin
    met = slide(ball, sill, (1, 0, 0), wide=0.01)
    assert met is not None
    assert not met.thin


def test_a_long_flat_overlap_is_told_though_its_triangles_are_slivers() -> None:
    """What is thin is told by what meets as a whole: many narrow facets side by side are wide."""
    comb = cube((0, 0, 0), (10, 10, 10)).refine(24)
    met = slide(comb, cube((30, 0, 0), (40, 10, 10)).refine(24), (1, 0, 0), wide=0.5)
    assert met is not None
    assert not met.thin
    assert met.travel == pytest.approx(20.0, abs=ROUNDS)


@given(st.integers(0, 10_000))
def test_slides_of_random_boxes_agree_with_arithmetic(seed: int) -> None:
    """Boxes along the axes: one meets the other if their shadows share room and it lies ahead."""
    rng = np.random.default_rng(seed)
    lo = rng.integers(-20, 20, (2, 3)).astype(float)
    hi = lo + rng.integers(1, 15, (2, 3))
    k, sign = int(rng.integers(3)), int(rng.choice([-1, 1]))
    if (np.minimum(hi[0], hi[1]) > np.maximum(lo[0], lo[1])).all():
        return
    way = [0.0, 0.0, 0.0]
    way[k] = sign
    across = [n for n in range(3) if n != k]
    shadows = all(min(hi[0, n], hi[1, n]) > max(lo[0, n], lo[1, n]) for n in across)
    gap = lo[1, k] - hi[0, k] if sign > 0 else lo[0, k] - hi[1, k]
    a, b = (cube(tuple(lo[n]), tuple(hi[n])) for n in (0, 1))
    met = slide(a, b, (way[0], way[1], way[2]), turned=bool(seed % 2))
    if shadows and gap >= 0:
        assert met is not None
        assert met.travel == pytest.approx(gap, abs=ROUNDS)
    else:
        assert met is None
