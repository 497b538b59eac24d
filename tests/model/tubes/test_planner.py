"""The planner against runs known in closed form, slots of known width, and walls of known distance."""

from __future__ import annotations

import math

import numpy as np
import pytest

from elbowroom.model.geometry.envelopes import Margins, Obstacle, Rod
from elbowroom.model.geometry.freespace import LENGTH_STEP, Space
from elbowroom.model.tubes.bars import FINE_DEG, bars_of
from elbowroom.model.tubes.field import build
from elbowroom.model.tubes.planner import cost_of, plan
from elbowroom.model.tubes.rules import Candidate, End, Found, NotFound, Result, Rules
from elbowroom.model.tubes.verify import verify
from elbowroom.parts.vocabulary.base import Box
from tests.bench.clutter import CASE, HARD, box, cylinder, end_at, make

RULES = Rules(od=14, radius=28, end_leg=20, between=10, clearance=Margins(1.0))
ROOM = Box((-60, -150, -150), (260, 150, 150))
SPARE_MM = 0.15  # what a found run may be longer than the shortest of its kind: local search stops near there
EAST, WEST = (1, 0, 0), (-1, 0, 0)


def planned(start: End, end: End, *obstacles: Obstacle, rules: Rules = RULES, within: Box | None = ROOM) -> Result:
    space = Space(obstacles)
    result = plan(start, end, rules, space, within=within)
    if isinstance(result, Found):
        assert verify(result.run, space, rules, start, end, within=within) == []
        assert result.cost == pytest.approx(cost_of(result.run, rules))
    return result


def found(start: End, end: End, *obstacles: Obstacle, rules: Rules = RULES, within: Box | None = ROOM) -> Found:
    result = planned(start, end, *obstacles, rules=rules, within=within)
    assert isinstance(result, Found), result
    return result


def missing(start: End, end: End, *obstacles: Obstacle, rules: Rules = RULES, within: Box | None = ROOM) -> NotFound:
    result = planned(start, end, *obstacles, rules=rules, within=within)
    assert isinstance(result, NotFound), result
    return result


def slotted(width: float) -> tuple[Obstacle, Obstacle]:
    """A wall at x = 100...105 with a slot of some width about y = 0 through all its height."""
    return (
        box("left", (100, -400, -400), (105, -width / 2, 400)),
        box("right", (100, width / 2, -400), (105, 400, 400)),
    )


# Closed forms ---------------------------------------------------------------------------------------------------------


def test_ports_in_line_are_joined_by_a_straight_tube() -> None:
    got = found(end_at((0, 0, 0), EAST), end_at((200, 0, 0), WEST))
    assert got.run.bends == ()
    assert got.run.length == pytest.approx(200.0, abs=1e-9)


def test_axes_that_meet_at_right_angles_take_one_quarter_turn() -> None:
    got = found(end_at((0, 0, 0), EAST), end_at((150, 100, 0), (0, -1, 0)))
    assert [b.angle for b in got.run.bends] == pytest.approx([90.0])
    assert got.run.length == pytest.approx(150 + 100 - 2 * 28 + math.pi * 14, abs=1e-9)


@pytest.mark.parametrize(("across", "along"), [(50.0, 200.0), (30.0, 150.0), (90.0, 220.0)])
def test_an_offset_takes_the_shortest_pair_of_equal_bends(across: float, along: float) -> None:
    """Shortest S under the rules: legs as short as they may be, so (along - 2 (leg + R tan(a/2))) tan a = across."""
    low, high = 0.0, math.pi / 2 - 1e-9
    for _ in range(100):
        a = (low + high) / 2
        fits = (along - 2 * (20 + 28 * math.tan(a / 2))) * math.tan(a) < across
        low, high = (a, high) if fits else (low, a)
    middle = across / math.sin(a) - 2 * 28 * math.tan(a / 2)
    shortest = 40 + 2 * 28 * a + middle
    got = found(end_at((0, 0, 0), EAST), end_at((along, across, 0), WEST))
    assert len(got.run.bends) == 2
    assert shortest - 1e-6 <= got.run.length <= shortest + SPARE_MM


def test_skew_ports_in_space_are_joined_by_two_bends() -> None:
    """Two bends always do where the axes are free; the straight line between the ports bounds the length below."""
    got = found(end_at((0, 0, 0), EAST), end_at((150, 60, 80), (0, 0, -1)))
    assert len(got.run.bends) == 2
    assert math.dist((0, 0, 0), (150, 60, 80)) < got.run.length < 150 + 60 + 80


def test_ports_side_by_side_take_a_return() -> None:
    """Wide enough apart, two right angles: 20 + 28 out, over, and back."""
    got = found(end_at((0, -50, 0), EAST), end_at((0, 50, 0), EAST))
    square = 2 * 48 + 100 - 4 * 28 + 2 * 14 * math.pi
    assert len(got.run.bends) == 2
    assert got.run.length <= square + SPARE_MM


def test_a_bend_may_not_pass_for_straight_where_axes_miss_by_a_little() -> None:
    got = found(end_at((0, 0, 0), EAST), end_at((200, 0.5, 0), WEST))
    assert len(got.run.bends) == 2
    assert 200 < got.run.length < 200.1


# Obstacles ------------------------------------------------------------------------------------------------------------


def test_a_block_in_the_way_is_passed_at_the_wanted_distance() -> None:
    block = box("block", (80, -20, -60), (120, 20, 60))
    got = found(end_at((0, 0, 0), EAST), end_at((200, 0, 0), WEST), block)
    assert 3 <= len(got.run.bends) <= 4
    assert got.run.length < 250


@pytest.mark.parametrize("ends", ["in line", "aside"])
def test_a_slot_a_tenth_wider_than_the_tube_with_its_distances_is_used(ends: str) -> None:
    start, end = end_at((0, 0, 0), EAST), end_at((200, 0, 0), WEST)
    if ends == "aside":
        start, end = end_at((-40, 50, 0), EAST), end_at((240, -40, 30), WEST)
    bars = bars_of(found(start, end, *slotted(16.1)).run, 14, FINE_DEG).rods
    there = (bars.starts[:, 0] < 106) & (bars.ends[:, 0] > 99)
    s = np.linspace(0, 1, 200)[:, None]
    for a, b in zip(bars.starts[there], bars.ends[there], strict=True):
        p = a + s * (b - a)
        assert abs(p[(p[:, 0] > 100) & (p[:, 0] < 105), 1]).max(initial=0) <= 0.05 + 1e-3


def test_special_distances_send_the_tube_further_round() -> None:
    fan = box("fan", (60, -30, -10), (140, 30, 10))
    start, end = end_at((0, 0, 18.5), EAST), end_at((200, 0, 18.5), WEST)
    assert found(start, end, fan).run.bends == ()
    wary = Rules(14, 28, 20, 10, Margins(1.0, {"fan": 12.0}))
    got = found(start, end, fan, rules=wary)
    assert len(got.run.bends) >= 2
    assert verify(got.run, Space([fan]), Rules(14, 28, 20, 10, Margins(12.0)), start, end) == []


def test_the_own_fitting_is_not_counted_near_its_end_and_is_further_on() -> None:
    collar = cylinder("collar", 10, 14)
    collar = Obstacle("collar", collar.vertices[:, [2, 1, 0]] - (2, 0, 0), collar.triangles[:, ::-1], collar.bound)
    start, end = end_at((0, 0, 0), EAST, exempt=("collar",), reach=15), end_at((200, 50, 0), WEST)
    assert found(start, end, collar)
    assert missing(end_at((0, 0, 0), EAST), end, collar).impossible


def test_a_run_stays_within_its_bounds() -> None:
    block, flat = box("block", (90, -60, -60), (110, 60, 60)), Box((-10, -150, -8), (210, 150, 120))
    got = found(end_at((0, 0, 0), EAST), end_at((200, 0, 0), WEST), block, within=flat)
    lo, _ = bars_of(got.run, 14, FINE_DEG).rods.boxes()
    assert lo[:, 2].min() >= -8 - 1e-6


def test_without_bounds_a_run_may_go_round_outside() -> None:
    block = box("block", (80, -60, -60), (120, 60, 60))
    assert found(end_at((0, 0, 0), EAST), end_at((200, 0, 0), WEST), block, within=None)


def test_an_obstacle_more_never_makes_a_closed_form_run_cheaper() -> None:
    """The runs of the closed forms are the cheapest there are, whatever else stands there."""
    rng = np.random.default_rng(5)
    for start, end in (
        (end_at((0, 0, 0), EAST), end_at((200, 0, 0), WEST)),
        (end_at((0, 0, 0), EAST), end_at((150, 100, 0), (0, -1, 0))),
    ):
        free = found(start, end).cost
        for _ in range(2):
            at = rng.uniform((40, -30, -30), (160, 60, 30))
            result = planned(start, end, box("more", tuple(at - 12), tuple(at + 12)))
            assert not isinstance(result, Found) or result.cost >= free - 1e-9


# Choices --------------------------------------------------------------------------------------------------------------


def rotary(at: tuple[float, float, float], radius: float, step: float) -> End:
    """A fitting that turns about z: it lets the tube out `radius` mm to the side, at angles `step` degrees apart."""
    out = []
    for k in range(round(360 / step)):
        c, s = math.cos(math.radians(k * step)), math.sin(math.radians(k * step))
        point = (at[0] + radius * c, at[1] + radius * s, at[2])
        out.append(Candidate(point, (c, s, 0), f"rotary 90 at {k * step:g} deg", (Rod(at, point, 8),)))
    return End(tuple(out))


def test_of_two_rotary_fittings_the_angles_that_face_each_other_are_chosen() -> None:
    got = found(rotary((0, 0, 0), 15, 5), rotary((150, 0, 0), 15, 5))
    assert (got.start.label, got.end.label) == ("rotary 90 at 0 deg", "rotary 90 at 180 deg")
    assert got.run.length == pytest.approx(120.0, abs=1e-9)
    assert got.run.bends == ()


def test_an_angle_whose_own_body_meets_something_is_not_chosen() -> None:
    """A thin post in the elbow's way, clear of nothing else: the fitting has to look past it."""
    post = box("post", (6, -3, -40), (9, 3, 40))
    got = found(rotary((0, 0, 0), 15, 5), rotary((150, 0, 0), 15, 5), post)
    angle = float(got.start.label.split()[3])
    assert min(angle, 360 - angle) >= 60
    start = np.array(got.start.point)
    assert np.linalg.norm(start[:2]) == pytest.approx(15)


def test_a_hose_takes_wider_arcs_where_there_is_room_and_a_former_does_not() -> None:
    start, end = end_at((0, 0, 0), EAST), end_at((150, 100, 0), (0, -1, 0))
    hard = found(start, end)
    soft = found(start, end, rules=Rules(14, 28, 20, 10, Margins(1.0), soft=True))
    assert [b.radius for b in hard.run.bends] == [28]
    assert soft.run.bends[0].radius > 60
    assert soft.run.length < hard.run.length


# Nothing to be found --------------------------------------------------------------------------------------------------


def test_a_wall_nearer_than_the_straight_leg_is_impossible_with_its_distance() -> None:
    wall = box("wall", (12, -150, -150), (15, 150, 150))
    none = missing(end_at((0, 0, 0), EAST), end_at((200, 0, 0), WEST), wall)
    assert none.impossible
    (why,) = none.reasons
    assert (why.kind, why.end, why.obstacles) == ("leg", "start", ("wall",))
    assert why.free == pytest.approx(11.0, abs=LENGTH_STEP)
    assert why.needed == 20


def test_a_wall_that_leaves_the_leg_but_no_bend_is_impossible_too() -> None:
    """The wall is 40 from the port; a bend of radius 28 after a leg of 20 needs 48 and half the tube at the least."""
    wall = box("wall", (40, -400, -400), (45, 400, 400))
    none = missing(end_at((0, 0, 0), EAST), end_at((200, 0, 0), WEST), wall)
    (why,) = none.reasons
    assert (why.kind, why.obstacles) == ("turn", ("wall",))
    assert why.free == pytest.approx(39.0, abs=LENGTH_STEP)
    assert why.free < why.needed <= 48 + 7


def test_a_wall_right_across_is_impossible_since_nothing_leads_past_it() -> None:
    wall = box("wall", (97, -150, -150), (105, 150, 150))
    none = missing(end_at((0, 0, 0), EAST), end_at((200, 0, 0), WEST), wall)
    (why,) = none.reasons
    assert (why.kind, why.obstacles[0]) == ("sealed", "wall")
    assert 0 < why.free < 157 * 300 * 300 / 1000, "no more than what lies on this side of the wall, cm3"


@pytest.mark.slow
def test_nothing_is_sealed_by_what_an_end_does_not_count() -> None:
    """A port at the bottom of a cup of its own: within its reach the tube may pass through it."""
    cup = [
        box("cup floor", (-15, -60, -60), (-5, 60, 60)), box("cup north", (-5, 40, -60), (50, 60, 60)),
        box("cup south", (-5, -60, -60), (50, -40, 60)), box("cup top", (-5, -40, 40), (50, 40, 60)),
        box("cup bottom", (-5, -40, -60), (50, 40, -40)), box("lid", (50, -150, -150), (60, 150, 150)),
    ]  # fmt: skip
    own = tuple(o.name for o in cup[:-1])
    end = end_at((-40, 100, 0), (1, 0, 0))
    assert missing(end_at((0, 0, 0), EAST, exempt=own, reach=8), end, *cup).impossible, (
        "counted beyond 8 mm, it is shut"
    )
    far = end_at((0, 0, 0), EAST, exempt=own, reach=150)
    result = plan(far, end, RULES, Space(cup), within=ROOM, thorough=False)
    assert isinstance(result, Found) or not result.impossible


def test_legs_that_must_meet_are_impossible() -> None:
    none = missing(end_at((0, 0, 0), EAST), end_at((30, 5, 0), WEST))
    (why,) = none.reasons
    assert (why.kind, why.needed) == ("legs", 14)
    assert why.free == pytest.approx(5.0)


@pytest.mark.slow
def test_a_slot_a_tenth_narrower_is_not_found_says_what_stood_in_the_way_and_claims_no_more() -> None:
    none = missing(end_at((0, 0, 0), EAST), end_at((200, 0, 0), WEST), *slotted(15.9))
    assert not none.impossible
    assert none.reasons == ()
    assert none.attempt is not None
    assert dict(none.blockers) == {"left": pytest.approx(0.05, abs=1e-4), "right": pytest.approx(0.05, abs=1e-4)}
    assert "the best attempt is short by 0.1 mm at " in none.text
    assert "left" in none.text


def test_a_choice_of_ends_is_impossible_only_when_every_one_is() -> None:
    wall = box("wall", (12, -150, -150), (15, 150, 150))
    ahead, up = Candidate((0, 0, 0), EAST, "straight"), Candidate((0, 0, 0), (0, 0, 1), "elbow")
    assert missing(End((ahead,)), end_at((0, 100, 100), (0, -1, 0)), wall).impossible
    got = found(End((ahead, up)), end_at((0, 100, 100), (0, -1, 0)), wall)
    assert got.start.label == "elbow"


def test_an_end_inside_a_solid_is_impossible() -> None:
    block = box("block", (-100, -100, -100), (60, 100, 100))
    none = missing(end_at((0, 0, 0), EAST), end_at((200, 0, 0), WEST), block)
    assert none.impossible
    assert none.reasons[0].obstacles == ("block",)


# Clutter --------------------------------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("number", range(15))
def test_a_run_is_found_where_a_hidden_one_is_known(number: int) -> None:
    case = make(1000 + number, bodies=70, soft=number % 4 == 3)
    assert verify(case.reference, Space(case.obstacles), case.rules, case.start, case.end, within=CASE) == []
    got = found(case.start, case.end, *case.obstacles, rules=case.rules, within=CASE)
    assert got.cost <= 1.3 * cost_of(case.reference, case.rules)


@pytest.mark.slow
def test_the_same_question_has_the_same_answer() -> None:
    case = make(1020, bodies=120)
    first, second = (found(case.start, case.end, *case.obstacles, rules=case.rules, within=CASE) for _ in range(2))
    assert first.run == second.run


@pytest.mark.slow
def test_the_map_never_grants_less_room_than_there_is() -> None:
    """Its figure is an upper bound everywhere, and near the truth where a tube would touch."""
    case = make(1030, bodies=60)
    space, margins = Space(case.obstacles), Margins(1.0, {"body 1": 6.0, "body 2": 0.0})
    field = build(space, margins, np.array(CASE.lo), np.array(CASE.hi))
    rng = np.random.default_rng(1)
    points = rng.uniform(CASE.lo, CASE.hi, (150, 3))
    wanted = space.margins(margins) + space.bounds
    said, close = field.excess(points), field.excess(points, tight=True)
    off = []
    for k, p in enumerate(points):
        near = min((_distance(o, p) - w for o, w in zip(space.obstacles, wanted, strict=True)), default=np.inf)
        held = space.inside(p[None])[0]
        true = min(near, -wanted[held]) if held >= 0 else near
        assert said[k] >= min(true, 20) - 1e-3
        assert close[k] >= min(true, 20) - 1e-3
        if 4 < true < 16:
            off.append(close[k] - true)
    assert np.mean(off) < 0.5
    assert HARD.od / 2 > field.cell, "else a tube could step over a thin wall"


def _distance(o: Obstacle, p: np.ndarray) -> float:
    t = o.vertices[o.triangles]
    best = np.inf
    n = np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0])
    n /= np.linalg.norm(n, axis=1)[:, None]
    h = np.einsum("ij,ij->i", p - t[:, 0], n)
    foot = p - h[:, None] * n
    inside = np.ones(len(t), dtype=bool)
    for k in range(3):
        a, b = t[:, k], t[:, (k + 1) % 3]
        e = b - a
        inside &= np.einsum("ij,ij->i", np.cross(e, foot - a), n) >= 0
        s = np.clip(np.einsum("ij,ij->i", p - a, e) / np.einsum("ij,ij->i", e, e), 0, 1)
        best = min(best, float(np.linalg.norm(p - a - s[:, None] * e, axis=1).min()))
    return min(best, float(np.abs(h[inside]).min())) if inside.any() else best
