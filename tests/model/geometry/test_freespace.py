"""The free-space oracle against plane geometry, a winding number of its own, and what it promises.

Truth here is arithmetic on flat faces, or distances measured triangle by triangle with numpy; nothing is compared with
the engine the oracle uses.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from elbowroom.model.geometry.envelopes import Margins, Obstacle, Rod, Rods
from elbowroom.model.geometry.freespace import FREE, LENGTH_STEP, Space
from elbowroom.model.geometry.meshes import mesh_volume
from elbowroom.model.geometry.trees import ENGINE_EPS
from elbowroom.parts.vocabulary.pose import pose
from elbowroom.parts.vocabulary.winding import winding

Floats = NDArray[np.float64]
ABOVE = 2 * ENGINE_EPS  # mm: a difference the oracle must see


def box(name: str, lo: tuple[float, float, float], hi: tuple[float, float, float], bound: float = 0.0) -> Obstacle:
    corners = np.array([[x, y, z] for x in (lo[0], hi[0]) for y in (lo[1], hi[1]) for z in (lo[2], hi[2])], dtype=float)
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    return Obstacle(
        name, corners, np.array([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))], np.int32), bound
    )


def rods(start: tuple[float, ...], end: tuple[float, ...], radius: float, round_ends: bool = True) -> Rods:
    return Rods(np.array([start], dtype=float), np.array([end], dtype=float), np.array([radius]), round_ends)


WALL = box("wall", (10, -50, -50), (15, 50, 50))


@pytest.mark.parametrize("round_ends", [True, False])
def test_a_wall_is_met_exactly_where_the_gap_falls_under_the_margin(round_ends: bool) -> None:
    """A rod of radius 4 beside a plane at x = 10: the gap is 6 - x, whatever its ends are."""
    space = Space([WALL])
    for gap in (0.0, 0.5, 3.0):
        rod = rods((6 - gap, -9, 0), (6 - gap, 9, 0), 4, round_ends)
        assert space.met(rod, Margins(gap))[0] == FREE
        assert space.met(rod, Margins(gap + ABOVE))[0] == 0
    assert space.met(rods((6 + ABOVE, -9, 0), (6 + ABOVE, 9, 0), 4, round_ends))[0] == 0


def test_flat_ends_reach_as_far_as_they_say_and_round_ones_a_radius_further() -> None:
    space = Space([WALL])
    assert space.met(rods((0, 0, 0), (10, 0, 0), 4, False))[0] == FREE
    assert space.met(rods((0, 0, 0), (10 + ABOVE, 0, 0), 4, False))[0] == 0
    assert space.met(rods((0, 0, 0), (6, 0, 0), 4, True))[0] == FREE
    assert space.met(rods((0, 0, 0), (6 + ABOVE, 0, 0), 4, True))[0] == 0


def test_the_bound_of_a_mesh_adds_to_the_margin() -> None:
    space = Space([box("round thing", (10, -50, -50), (15, 50, 50), bound=0.05)])
    rod = rods((5, -9, 0), (5, 9, 0), 4)  # 1 mm from the mesh
    assert space.met(rod, Margins(0.95))[0] == FREE
    assert space.met(rod, Margins(0.95 + ABOVE))[0] == 0


def test_each_obstacle_has_its_own_margin_and_bound_also_where_they_share_a_tree() -> None:
    near, far = box("near", (10, -50, -50), (15, 50, 50), 0.3), box("far", (-15, -50, -50), (-10, 50, 50), 0.0)
    space = Space([near, far])
    rod = rods((0, -9, 0), (0, 9, 0), 8)  # 2 mm from both
    assert space.met(rod, Margins(1.8))[0] == 0, "1.8 + 0.3 is over 2"
    assert space.met(rod, Margins(1.8), ignore=["near"])[0] == FREE, "1.8 is under 2"
    assert space.met(rod, Margins(1.0, {"far": 2.5}))[0] == 1
    assert space.met(rod, Margins(1.7, {"far": 2.0}))[0] == FREE


def test_what_lies_wholly_inside_a_solid_is_not_free() -> None:
    solid = Space([box("block", (-50, -50, -50), (50, 50, 50))])
    for round_ends in (True, False):
        inner = rods((-5, 0, 0), (5, 0, 0), 3, round_ends)
        assert solid.met(inner)[0] == 0
        (why,) = solid.blockages(inner.one(0))
        assert why.manner == "inside"
        assert why.clearance == pytest.approx(-(45 + 3), abs=ABOVE)
    hole = np.eye(4)[None]
    tiny = box("", (-1, -1, -1), (1, 1, 1))
    assert solid.mesh(tiny.vertices, tiny.triangles, hole)[0] == 0
    assert solid.stack([Rod((0, 0, 0), (0, 0, 2), 1), Rod((0, 0, 2), (0, 0, 9), 2)], hole)[0] == 0


def test_what_lies_wholly_inside_an_envelope_is_met() -> None:
    pebble = Space([box("pebble", (-1, -1, -1), (1, 1, 1))])
    assert pebble.met(rods((-9, 0, 0), (9, 0, 0), 6, True))[0] == 0
    assert pebble.met(rods((-9, 0, 0), (9, 0, 0), 6, False))[0] == 0
    big = box("", (-20, -20, -20), (20, 20, 20))
    assert pebble.mesh(big.vertices, big.triangles, np.eye(4)[None])[0] == 0


def test_a_hollow_shell_is_free_inside() -> None:
    """A cavity with walls of its own (inner surface turned inside out) is space, not solid."""
    outer, inner = box("shell", (-50, -50, -50), (50, 50, 50)), box("", (-30, -30, -30), (30, 30, 30))
    shell = Obstacle(
        "shell", np.vstack([outer.vertices, inner.vertices]), np.vstack([outer.triangles, inner.triangles[:, ::-1] + 8])
    )
    space = Space([shell])
    assert space.met(rods((-5, 0, 0), (5, 0, 0), 3), Margins(21.9))[0] == FREE
    assert space.met(rods((-39, 0, 0), (-41, 0, 0), 3))[0] == 0, "in the wall, touching neither face"


def test_a_blockage_names_the_obstacle_the_shortfall_and_the_place() -> None:
    space = Space([WALL, box("behind", (30, -50, -50), (35, 50, 50))])
    (near,) = space.blockages(Rod((4, -9, 0), (4, 9, 0), 4, True), Margins(3.0))
    assert (near.obstacle, near.manner) == ("wall", "near")
    assert near.clearance == pytest.approx(2.0, abs=ABOVE)
    assert near.shortfall == pytest.approx(1.0, abs=ABOVE)
    assert near.at[0] == pytest.approx(10.0, abs=ABOVE)
    (overlap,) = space.blockages(Rod((8, -9, 0), (8, 9, 0), 4, True))
    assert overlap.manner == "overlap"
    assert overlap.clearance == pytest.approx(-2.0, abs=ABOVE), "2 mm too thick"
    (long,) = space.blockages(Rod((0, 0, 0), (10.5, 0, 0), 4))
    assert long.clearance == pytest.approx(-0.5, abs=2 * LENGTH_STEP), "half a millimetre too long, not 4 too thick"


def test_the_largest_shortfall_comes_first() -> None:
    space = Space([box("a", (10, -50, -50), (15, 50, 50)), box("b", (-15, -50, -50), (-9, 50, 50))])
    names = [b.obstacle for b in space.blockages(Rod((0, -9, 0), (0, 9, 0), 8, True), Margins(3.0))]
    assert names == ["b", "a"]


def test_the_free_length_of_an_axis_is_the_distance_to_the_wall_less_the_margin() -> None:
    space = Space([WALL])
    length, what = space.free_length((-20, 0, 0), (1, 0, 0), 4, 100, Margins(1.5))
    assert what == "wall"
    assert 28.5 - LENGTH_STEP <= length <= 28.5 + ABOVE
    assert space.free_length((-20, 0, 0), (-1, 0, 0), 4, 100) == (100, None)
    assert space.free_length((12, 0, 0), (-1, 0, 0), 1, 100)[0] == 0
    short = LENGTH_STEP / 2  # what is shorter than the step is asked about all the same
    assert space.free_length((-20, 0, 0), (1, 0, 0), 4, short) == (short, None)
    assert space.free_length((10 - short / 2, 0, 0), (1, 0, 0), 4, short) == (short / 2, "wall")


@given(
    start=st.floats(-60, 5), radius=st.floats(0.5, 8), longest=st.floats(1, 120), slices=st.integers(2, 20),
    step=st.sampled_from([LENGTH_STEP, 0.01, 0.5]),
)  # fmt: skip
def test_a_free_length_is_the_same_in_however_many_slices_it_is_sought(
    start: float, radius: float, longest: float, slices: int, step: float
) -> None:
    """Never too long, and by no more than its step too short."""
    space = Space([WALL])
    length, what = space.free_length((start, 0, 0), (1, 0, 0), radius, longest, step=step, slices=slices)
    truth = min(longest, 10 - start)
    assert truth - step - ABOVE <= length <= truth + ABOVE
    assert what == (None if length == longest else "wall")


def test_an_extended_space_answers_for_old_and_new() -> None:
    base = Space([WALL])
    more = base.extended([box("post", (-30, -5, -50), (-25, 5, 50))])
    rod = Rods(np.array([[0.0, 0, 0], [-20.0, 0, 0]]), np.array([[7.0, 0, 0], [-20.0, 3, 0]]), np.array([4.0, 4.0]))
    assert list(base.met(rod, Margins(2.0))) == [0, FREE]
    assert list(more.met(rod, Margins(2.0))) == [0, 1]
    assert more.names == ("wall", "post")


def test_an_empty_space_is_free() -> None:
    assert Space([]).met(rods((0, 0, 0), (1, 0, 0), 5))[0] == FREE


def _apart(a: Floats, b: Floats, t: Floats) -> float:
    """Distance between a segment and triangles, by dense sampling of the segment: within 1e-3 here."""
    s = a + np.linspace(0, 1, 1201)[:, None] * (b - a)
    best = np.inf
    for p0, p1, p2 in t:
        n = np.cross(p1 - p0, p2 - p0)
        n /= np.linalg.norm(n)
        h = (s - p0) @ n
        foot = s - h[:, None] * n
        inside = np.ones(len(s), dtype=bool)
        for q0, q1 in ((p0, p1), (p1, p2), (p2, p0)):
            inside &= np.cross(q1 - q0, foot - q0) @ n >= 0
            k = np.clip((s - q0) @ (q1 - q0) / ((q1 - q0) @ (q1 - q0)), 0, 1)
            best = min(best, float(np.linalg.norm(s - q0 - k[:, None] * (q1 - q0), axis=1).min()))
        if inside.any():
            best = min(best, float(np.abs(h[inside]).min()))
    return best


@pytest.mark.slow
def test_answers_agree_with_distances_taken_triangle_by_triangle() -> None:
    rng = np.random.default_rng(7)
    obstacles = []
    for k in range(12):
        o = box(f"o{k}", (-9, -6, -4), (9, 6, 4), bound=0.01 * k)
        m = pose(rng.uniform(-40, 40, 3), rng.normal(size=3), rng.normal(size=3))
        obstacles.append(Obstacle(o.name, o.vertices @ m[:3, :3].T + m[:3, 3], o.triangles, o.bound))
    space = Space(obstacles)
    margins = Margins(1.0, {"o3": 4.0, "o7": 0.0})
    a = rng.uniform(-30, 30, (90, 3))
    bars = Rods(a, a + rng.normal(size=(90, 3)) * 8, np.full(90, 2.5))
    hits = 0
    for i, got in enumerate(space.met(bars, margins)):
        spare = [
            _apart(bars.starts[i], bars.ends[i], o.vertices[o.triangles]) - 2.5 - margins.to(o.name) - o.bound
            for o in obstacles
        ]
        inside = [abs(winding(a[i : i + 1], o.vertices[o.triangles])[0]) > 0.5 for o in obstacles]
        blocked = [s < 0 or held for s, held in zip(spare, inside, strict=True)]
        if min(abs(s) for s in spare) < 2e-3:
            continue
        assert (got != FREE) == any(blocked)
        assert got == FREE or blocked[got]
        hits += got != FREE
    assert 15 < hits < 80


@settings(max_examples=40, deadline=None)
@given(number=st.integers(0, 10_000))
def test_adding_an_obstacle_never_frees_anything(number: int) -> None:
    rng = np.random.default_rng(number)

    def some(k: int) -> Obstacle:
        at, size = rng.uniform(-30, 30, 3), rng.uniform(2, 25, 3)
        return box(f"o{k}", tuple(at - size / 2), tuple(at + size / 2))

    first = [some(k) for k in range(4)]
    base, more = Space(first), Space([*first, some(4)])
    a = rng.uniform(-30, 30, (60, 3))
    bars = Rods(a, a + rng.normal(size=(60, 3)) * 6, rng.uniform(0.5, 6, 60), bool(number % 2))
    assert not ((more.met(bars, Margins(0.5)) == FREE) & (base.met(bars, Margins(0.5)) != FREE)).any()
    poses = np.array([pose(p, d) for p, d in zip(a, rng.normal(size=(60, 3)), strict=True)])
    stack = [Rod((0, 0, 0), (0, 0, 6), 4), Rod((0, 0, 6), (0, 0, 14), 3)]
    assert not ((more.stack(stack, poses) == FREE) & (base.stack(stack, poses) != FREE)).any()


@pytest.mark.slow
def test_points_in_solids_agree_with_the_solid_angle_on_a_bent_tube() -> None:
    """A ring of 800 triangles: rays and solid angles must tell the same for every point, also on its axes."""
    n, m = 40, 20
    u, w = (g.ravel() for g in np.meshgrid(np.arange(n), np.arange(m), indexing="ij"))
    r = 30 + 8 * np.cos(2 * np.pi * w / m)
    v = np.stack([r * np.cos(2 * np.pi * u / n), r * np.sin(2 * np.pi * u / n), 8 * np.sin(2 * np.pi * w / m)], axis=1)
    p, q, s = u * m + w, ((u + 1) % n) * m + w, (w + 1) % m
    f = np.concatenate([np.stack([p, q, ((u + 1) % n) * m + s], 1), np.stack([p, ((u + 1) % n) * m + s, u * m + s], 1)])
    ring = Obstacle("ring", v, f.astype(np.int32))
    rng = np.random.default_rng(3)
    points = np.vstack(
        [rng.uniform(-40, 40, (3000, 3)) * (1, 1, 0.3), np.eye(3) * 30, np.zeros((1, 3)), -np.eye(3) * 30]
    )
    got = Space([ring]).inside(points) != FREE
    assert (got == (np.abs(winding(points, v[f])) > 0.5)).all()
    share = got[:3000].mean() * 80 * 80 * 24 / mesh_volume(v, f.astype(np.int32))
    assert share == pytest.approx(1.0, abs=0.08), "the share of points inside is the ring's share of the volume"
