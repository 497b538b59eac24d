"""One chain on one port against closed forms: angles, room for fingers, ways out, and what is said of an obstacle."""

from __future__ import annotations

import math

import numpy as np
import pytest

from elbowroom.model.reach.chains import free_angles, intervals, items
from elbowroom.model.reach.leaving import Leg, leaving
from elbowroom.model.reach.trial import attempt, leg_of
from elbowroom.model.reach.why import why
from elbowroom.model.store import Store
from elbowroom.parts.vocabulary.pose import shift
from tests.model.reach.sites_for_tests import PETG, TOP, brick, link, plate, rooms, site
from tests.model.shapes_for_tests import Bored


def wall(x: float) -> object:
    """A wall whose near face is the plane at x, wide and high."""
    return brick((x, -200, 0), (x + 10, 200, 200)) if x > 0 else brick((x - 10, -200, 0), (x, 200, 200))


@pytest.mark.parametrize("distance", [15.0, 18.3, 21.0, 31.5, 40.0])
def test_a_rotary_beside_a_wall_turns_by_its_closed_form(store: Store, distance: float) -> None:
    # The arm's end is a disc of radius 8.75 at 14 from the axis: toward angle t it reaches 14 cos t + 8.75 |sin t|.
    # The fitting on it is 17 long: a disc of radius 10.25 at 14 + 17 reaches farthest, or at its root.
    r = rooms(store, plate((0, 0)), wall(distance))  # type: ignore[arg-type]
    t = np.radians(np.arange(360))
    arm = 14 * np.cos(t) + 8.75 * np.abs(np.sin(t))
    end = (14 + 17) * np.cos(t) + 10.25 * np.abs(np.sin(t))
    root = (14 + 5) * np.cos(t) + 10.25 * np.abs(np.sin(t))
    foot = 14 * np.cos(t) + 10 * np.abs(np.sin(t))
    for links, far in (
        ([link("rotary-90")], np.maximum(arm, 9.25)),
        ([link("rotary-90"), link("hard-tube-14")], np.max([arm, end, root, foot, np.full(360, 9.25)], axis=0)),
    ):
        # A male thread of 5 mm comes in along the arm: it adds no more than its own length.
        coming = far if len(links) == 1 else np.maximum(far, (14 + 17 + 5) * np.cos(t) + 10.25 * np.abs(np.sin(t)))
        (found,) = free_angles(r, site(r), items(links, site(r)))
        sure = np.abs(coming - distance) > 1e-3
        mask = np.zeros(360, dtype=bool)
        for a, b in found:
            mask[np.arange(a, min(b + 1, a + 360)) % 360] = True
        assert np.array_equal(mask[sure], (coming < distance)[sure])


def test_intervals_run_round_the_circle() -> None:
    mask = np.zeros(360, dtype=bool)
    mask[350:] = mask[:11] = mask[100] = True
    assert intervals(mask, 1) == ((100, 100), (350, 370))
    assert intervals(~np.zeros(36, dtype=bool), 10) == ((0, 360),)
    assert intervals(np.zeros(36, dtype=bool), 10) == ()


@pytest.mark.parametrize("gap", [11.2, 15.0, 21.9])
def test_an_obstacle_in_front_is_named_with_the_mm_that_are_short(store: Store, gap: float) -> None:
    # A hard-tube fitting is 17 high and comes in along 5 mm of thread.
    r = rooms(store, plate((0, 0)), brick((-50, -50, TOP + gap), (50, 50, TOP + gap + 5)))
    trial = attempt(r, site(r), [link("hard-tube-14")], PETG, full=True)
    reason = why(r, site(r), trial, PETG)
    assert trial.problem == "stands"
    assert reason is not None
    assert reason.blockage.obstacle == "p2/body"
    assert reason.stage == ("stands" if gap < 17 else "comes in")
    short = (17 if gap < 17 else 22) - gap
    assert reason.short == pytest.approx(min(short, 10.25), abs=2e-3)  # narrowed in steps of 0.001
    assert reason.blockage.at[2] == pytest.approx(TOP + gap, abs=1e-6)


def test_the_tube_needs_its_insertion_and_its_leg_straight_in_front(store: Store) -> None:
    # 17 of fitting, then 10 that end inside it and 5 before the first bend: 32.
    for gap, pushed in ((31.9, False), (32.1, True)):
        r = rooms(store, plate((0, 0)), brick((-50, -50, TOP + gap), (50, 50, TOP + gap + 5)))
        trial = attempt(r, site(r), [link("hard-tube-14")], PETG, full=True)
        assert trial.leaving is not None
        assert trial.leaving.pushed is pushed
        assert trial.problem == "leaves"  # 90 degrees of bend need 17 + 5 + 28 + 7 = 57
        reason = why(r, site(r), trial, PETG)
        assert reason is not None
        # Straight on the tube goes on 5, 28 and 7 from the mouth at 17, as far as a bend does: what pushing it in
        # asks for is not told where that does not do.
        assert reason.stage == "leaves"
        assert reason.short == pytest.approx(57 - gap, abs=2e-3)


def test_what_keeps_a_tube_from_being_pushed_in_is_told_where_it_could_lie(store: Store) -> None:
    # A bar 6.5 off the axis, 29 to 31 above the face: the leg of 5 ends at 22, a bend away is 0.9 off there.
    r = rooms(store, plate((0, 0)), brick((6.5, -50, TOP + 29), (12, 50, TOP + 31)))
    trial = attempt(r, site(r), [link("hard-tube-14")], PETG, full=True)
    assert trial.problem == "leaves"
    reason = why(r, site(r), trial, PETG)
    assert reason is not None
    assert reason.stage == "pushed"
    # 17 and 15 of tube are 32: 3 too long, and 0.5 sideways, which is what it takes least.
    assert reason.short == pytest.approx(0.5, abs=2e-3)


@pytest.mark.parametrize(("gap", "bends"), [(56.5, 0), (57.5, 36)])
def test_a_quarter_bend_needs_leg_radius_and_half_the_tube(store: Store, gap: float, bends: int) -> None:
    r = rooms(store, plate((0, 0)), brick((-90, -90, TOP + gap), (90, 90, TOP + gap + 5)))
    trial = attempt(r, site(r), [link("hard-tube-14")], PETG, full=True)
    assert trial.leaving is not None
    assert trial.leaving.straight is (bends > 0)  # 17 + 5 + 28 + 7 = 57 for both: a tube has to turn before a wall
    assert trial.leaving.count == bends


def test_bends_beside_a_wall_by_closed_form(store: Store) -> None:
    # A bend toward angle t ends 28 from the axis, its end a flat disc of radius 7 (0.06 more for the bars' chords).
    r = rooms(store, plate((0, 0)), wall(25.0))  # type: ignore[arg-type]
    mouth = np.array(shift(0, 0, TOP + 17))
    t = np.radians(np.arange(0, 360, 10))
    reach = 28 * np.cos(t) + 7 * np.abs(np.sin(t))
    free = leaving(r, mouth, Leg.of(PETG, 10.0))
    assert np.abs(reach - 25).min() > 0.06
    assert free.count == int((reach < 25).sum())
    assert free.pushed
    assert free.straight


@pytest.mark.parametrize(("hole", "fits"), [(22.15, False), (22.6, True)])
def test_a_finger_needs_its_room_beside_the_collar(store: Store, hole: float, fits: bool) -> None:
    # A collar of radius 10.25 in a round pit: a fingertip 12 thick and 16 wide reaches to
    # hypot(10.25 + 6, 2) + 6 = 22.37 from the axis.
    pit = (Bored(a=80.0, r=hole, h=22.0), shift(0, 0, TOP))
    r = rooms(store, plate((0, 0)), pit)
    trial = attempt(r, site(r), [link("hard-tube-14")], PETG, full=True)
    assert (trial.problem is None) is fits
    if not fits:
        reason = why(r, site(r), trial, PETG)
        assert trial.problem == "fingers"
        assert reason is not None
        assert reason.blockage.obstacle == "p2/body"
        assert 0 < reason.short < 0.4


def test_a_hand_does_not_come_down_a_deep_well(store: Store) -> None:
    # The well takes a finger's tip but no hand of 75 x 100, and is deeper than a finger is long.
    for height, found in ((30.0, True), (160.0, False)):
        r = rooms(store, plate((0, 0)), (Bored(a=120.0, r=32.0, h=height), shift(0, 0, TOP)))
        trial = attempt(r, site(r), [link("hard-tube-14")], None, full=True)
        assert trial.problem is None
        assert trial.grips[0].fingers == ((0, 360),)
        assert trial.grips[0].hand is found


def test_an_envelope_wholly_inside_a_solid_is_not_free(store: Store) -> None:
    # The block's surfaces are far from every envelope: only the point-in-solid test can tell.
    r = rooms(store, plate((0, 0)), brick((-150, -150, -50), (150, 150, 300)))
    for links in ([link("hard-tube-14")], [link("rotary-90"), link("hard-tube-14")], [link("plug")]):
        trial = attempt(r, site(r), links, PETG, full=True)
        assert trial.problem == "stands"
        reason = why(r, site(r), trial, PETG)
        assert reason is not None
        assert reason.blockage.manner == "inside"
    inside = np.array(shift(0, 0, 100))
    assert leaving(r, inside, Leg.of(PETG, 10.0)).any is False


def test_what_plain_numbers_forbid_needs_no_space(store: Store) -> None:
    r = rooms(store, plate((0, 0), land=18.0, depth=4.0))
    wide = attempt(
        r, site(r), [link("compression-10-13", seal_od=19.0, land=19.5, body_od=21.0, collar_od=21.5)], None, full=True
    )
    assert (wide.problem, round(wide.short, 9)) == ("seal", 1.0)
    long = attempt(r, site(r), [link("plug")], None, full=True)
    assert (long.problem, round(long.short, 9)) == ("depth", 1.0)
    assert "5 long" in long.rule


def test_two_swivels_are_searched_together(store: Store) -> None:
    # A wall on the +x side: the first arm may not point at it, and so the wall takes nothing from the second.
    r = rooms(store, plate((0, 0)), wall(24.0))  # type: ignore[arg-type]
    open_air = rooms(store, plate((0, 0)))
    links = [link("rotary-90"), link("rotary-90"), link("hard-tube-14")]
    first, second = free_angles(r, site(r), items(links, site(r)))
    lone = free_angles(r, site(r), items(links[:1], site(r)))[0]
    assert first
    assert second == free_angles(open_air, site(open_air), items(links, site(open_air)))[1]
    assert sum(b - a for a, b in first) <= sum(b - a for a, b in lone)


def test_the_same_angle_given_or_found(store: Store) -> None:
    """A swivel held at an angle goes on exactly where the search calls that angle free."""
    r = rooms(store, plate((0, 0)), wall(25.0))  # type: ignore[arg-type]
    tail = link("hard-tube-14")
    (found,) = free_angles(r, site(r), items([link("rotary-90"), tail], site(r)))
    free = {k % 360 for a, b in found for k in range(a, b + 1)}
    for angle in range(0, 360, 15):
        held = attempt(r, site(r), [link("rotary-90", angle=angle), tail], None, full=False)
        assert (held.problem is None) is (angle in free), angle


def test_a_leg_is_the_stocks_own() -> None:
    leg = leg_of([link("hard-tube-14")], PETG)
    assert leg is not None
    assert (leg.insertion, leg.straight, leg.radius, leg.od) == (10.0, 5.0, 28.0, 14.0)
    assert leg_of([link("rotary-90")], PETG) is None
    assert leg.bend()[-1].end == pytest.approx((28, 0, 5 + 28), abs=0.06)  # chords half inside, half outside the arc
    middles = [np.add(b.start, b.end) / 2 for b in leg.bend()[1:-1]]
    assert all(math.dist(m, (28, 0, 5)) == pytest.approx(28, abs=0.06) for m in middles)
