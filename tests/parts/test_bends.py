"""Bend arithmetic against textbook figures and published examples, and as its own inverse."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from elbowroom.parts.vocabulary.bends import (
    BendError,
    arc_length,
    bend_run,
    points_of,
    setback,
    volume_ml,
)
from elbowroom.parts.vocabulary.centre_line import sample, self_gap, tube_box

PRINTED_MM = 5e-4  # figures printed to three places
ROUNDING_MM = 1e-7  # a metre of run through a dozen turns in float64


def table_of(run):
    """What a bender reads off a run: straight, rotation, angle of every bend, and the last straight."""
    return [(s, b.rotation, b.angle) for s, b in zip(run.straights[:-1], run.bends, strict=True)], run.straights[-1]


def planar(legs, angles):
    """Corners of a run in the xy plane, every bend to the left."""
    points, heading = [np.zeros(3)], 0.0
    for leg, angle in zip(legs, [*angles, 0.0], strict=True):
        points.append(points[-1] + leg * np.array([math.cos(heading), math.sin(heading), 0]))
        heading += math.radians(angle)
    return points


def test_arc_of_radius_100_through_90_degrees():
    """Textbook figure, printed as 157."""
    assert arc_length(100, 90) == pytest.approx(157.0796, abs=5e-5)
    assert round(arc_length(100, 90)) == 157


def test_worked_one_bend():
    run = bend_run(planar([100, 150], [90]), 40)
    assert setback(40, 90) == pytest.approx(40)
    assert run.straights == pytest.approx((60, 110))
    assert run.bends[0].arc == pytest.approx(62.832, abs=PRINTED_MM)
    assert run.cut_length == pytest.approx(232.832, abs=PRINTED_MM)


def test_worked_two_bends():
    run = bend_run(planar([80, 120, 60], [90, 45]), 38)
    assert [b.setback for b in run.bends] == pytest.approx([38.000, 15.740], abs=PRINTED_MM)
    assert run.straights == pytest.approx((42.000, 66.260, 44.260), abs=PRINTED_MM)
    assert [b.arc for b in run.bends] == pytest.approx([59.690, 29.845], abs=PRINTED_MM)
    assert run.cut_length == pytest.approx(242.055, abs=PRINTED_MM)


def test_published_total_developed_length():
    """Hull Maintenance Technician, NAVEDTRA 14119, chapter 16, fig. 16-3 (V): 48 and 72 in to the corner, bend radius
    18 in, 90 deg: legs of 30 and 54, bend 28.26, total 112.26 in. It takes pi/2 as 1.57, which makes 0.0143 in here."""
    inch = 25.4
    run = bend_run(planar([48 * inch, 72 * inch], [90]), 18 * inch)
    assert run.straights == pytest.approx((30 * inch, 54 * inch))
    rounded_pi = 18 * (math.pi / 2 - 1.57)
    assert run.bends[0].arc / inch - rounded_pi == pytest.approx(28.26, abs=1e-9)
    assert run.cut_length / inch - rounded_pi == pytest.approx(112.26, abs=1e-9)


def test_published_bend_location_report_gives_its_bend_machine_report():
    """Two reports on one pipe in a published manual of a piping program, 'Example: Bend Location Report' and 'Example:
    Bend Machine Report' (V): corners and radius in the first; offsets, twists and angles, to two places, in the second.
    """
    points = [(0, 0, 0), (0, 0, 1495.39), (0, 10100, 1495.39), (0, 10100, 3989.39), (5718.30, 10136.89, 3989.39)]
    run = bend_run(points, 560)
    printed = 0.01  # the report's last leg is cut, not rounded, at the second place
    assert run.straights == pytest.approx((935.39, 8980.00, 1374.00, 5158.41), abs=printed)
    assert [b.rotation for b in run.bends[1:]] == pytest.approx([180.00, 90.37], abs=printed)
    assert [b.angle for b in run.bends] == pytest.approx([90.00] * 3, abs=printed)


@pytest.mark.parametrize(("bore", "ml"), [(8, 50.27), (10, 78.54), (12, 113.10), (13, 132.73)])
def test_volume_of_a_metre_of_tube(bore, ml):
    assert volume_ml(bore, 1000) == pytest.approx(ml, abs=5e-3)


def test_marks_are_measured_from_the_cut_end_and_insertions_are_added():
    run = bend_run(planar([80, 120, 60], [90, 45]), 38, insertion=(10, 9))
    assert run.cut_length == pytest.approx(242.055 + 19, abs=PRINTED_MM)
    assert run.bends[0].start == pytest.approx(10 + 42)
    assert run.bends[1].start == pytest.approx(10 + 42 + 59.690 + 66.260, abs=PRINTED_MM)
    ends = sample(run, 0.1, ends=True)
    assert np.allclose(ends[0], (-10, 0, 0))
    assert math.dist(ends[-1], run.points[-1]) == pytest.approx(9)
    assert sum(p.length for p in run.whole) == pytest.approx(run.cut_length)


def test_over_bend_is_the_users_own_figure_and_changes_only_the_setting():
    plain, sprung = (bend_run(planar([100, 150], [90]), 40, over_bend=k) for k in (1.0, 1.05))
    assert sprung.bends[0].setting == pytest.approx(94.5)
    assert sprung.bends[0].angle == plain.bends[0].angle == pytest.approx(90)
    assert sprung.cut_length == plain.cut_length


def test_rotation_is_right_handed_about_the_way_of_travel():
    # Along +x, bend toward +y; then, along +y, toward +z. On the way, what lay on the inside lies toward -x;
    # from -x to +z about +y is a quarter turn by the right-hand rule.
    run = bend_run([(0, 0, 0), (100, 0, 0), (100, 100, 0), (100, 100, 100)], 20)
    assert [b.rotation for b in run.bends] == pytest.approx([0, 90])
    run = bend_run([(0, 0, 0), (100, 0, 0), (100, 100, 0), (100, 100, -100)], 20)
    assert [b.rotation for b in run.bends] == pytest.approx([0, -90])


rows = st.lists(st.tuples(st.floats(5, 300), st.floats(-179, 180), st.floats(2, 150)), min_size=1, max_size=6)


@given(rows, st.floats(5, 300), st.floats(5, 80))
def test_table_to_corners_and_back(table, last, radius):
    run = bend_run(points_of(table, last, radius), radius)
    again, end = table_of(run)
    assert end == pytest.approx(last, abs=ROUNDING_MM)
    for n, ((s, r, a), (s2, r2, a2)) in enumerate(zip(table, again, strict=True)):
        assert s2 == pytest.approx(s, abs=ROUNDING_MM)
        assert a2 == pytest.approx(a, abs=1e-6)
        wanted = 0.0 if n == 0 else r  # the first rotation only sets the plane the others are counted from
        assert math.remainder(r2 - wanted, 360) == pytest.approx(0, abs=1e-5)


@given(rows, st.floats(5, 300), st.floats(5, 80), st.integers(0, 2**32 - 1))
def test_corners_to_table_and_back_is_the_same_run_wherever_it_lies(table, last, radius, seed):
    turn = Rotation.random(random_state=seed)
    points = turn.apply(np.array(points_of(table, last, radius))) + np.array((7, -3, 11))
    run = bend_run(points, radius)
    again, end = table_of(run)
    bend = next(p for p in run.pieces if hasattr(p, "centre"))
    side = np.subtract(bend.centre, bend.start)
    back = points_of(again, end, radius, start=points[0], direction=run.direction_start, side=side)
    assert np.allclose(back, points, atol=1e-5)


@given(rows, st.floats(5, 300), st.floats(5, 80))
def test_turning_a_run_round_keeps_its_cut_length_and_mirrors_its_marks(table, last, radius):
    points = points_of(table, last, radius)
    there, back = bend_run(points, radius, insertion=(4, 6)), bend_run(points[::-1], radius, insertion=(6, 4))
    assert back.cut_length == pytest.approx(there.cut_length)
    for a, b in zip(there.bends, reversed(back.bends), strict=True):
        assert a.start + a.arc + b.start == pytest.approx(there.cut_length, abs=1e-5)


@given(rows, st.floats(5, 300), st.floats(5, 80), st.floats(0.005, 1.0))
@settings(deadline=None)
def test_samples_lie_within_the_chord_error_and_fall_short_of_the_length_by_what_chords_cut(table, last, radius, error):
    run = bend_run(points_of(table, last, radius), radius)
    p = sample(run, error)
    chords = np.linalg.norm(np.diff(p, axis=0), axis=1)
    assert chords.sum() <= run.length + ROUNDING_MM
    # A chord of sagitta s on radius R is shorter than its arc by the share 2 s / (3 R) at most, for s well under R.
    assert chords.sum() >= run.length * (1 - 2 * min(error, radius) / radius) - ROUNDING_MM
    for arc in (q for q in run.pieces if hasattr(q, "centre")):
        away = np.linalg.norm(p - arc.centre, axis=1)
        on = np.abs(away - radius) < 1e-6
        assert on.sum() >= 2
    assert (chords > 0).all()


def test_chord_error_is_met_on_a_quarter_turn():
    run = bend_run(planar([100, 150], [90]), 40)
    p = sample(run, 0.05)
    middles = (p[1:-2] + p[2:-1]) / 2
    sagitta = 40 - np.linalg.norm(middles - (60, 40, 0), axis=1)
    assert 0 < sagitta.max() <= 0.05


def test_corners_that_do_not_turn_are_no_bends():
    run = bend_run([(0, 0, 0), (50, 0, 0), (100, 0, 0), (100, 150, 0)], [99, 40])
    assert run.straights == pytest.approx((60, 110))
    assert len(run.bends) == 1
    straight = bend_run([(0, 0, 0), (30, 0, 0)], 40)
    assert (straight.bends, straight.cut_length) == ((), 30)


def test_every_short_leg_is_named_with_what_it_lacks():
    points = planar([30, 60, 100], [90, 90])
    with pytest.raises(BendError, match=r"leg 1 is 30\.000 mm, its bends need 40\.000: 10\.000 short; leg 2") as caught:
        bend_run(points, 40)
    assert [(f.leg, round(f.short, 6)) for f in caught.value.faults] == [(0, 10), (1, 20)]
    assert bend_run(planar([40, 80, 40], [90, 90]), 40).straights == pytest.approx((0, 0, 0))  # just enough is enough


@pytest.mark.parametrize(
    ("points", "radius", "says"),
    [
        ([(0, 0, 0)], 10, "two points"),
        ([(0, 0, 0), (0, 0, 0), (1, 0, 0)], 10, "same"),
        ([(0, 0, 0), (9, 0, 0), (0, 0, 0)], 10, "turns 180"),
        ([(0, 0, 0), (90, 0, 0), (90, 90, 0)], [10, 20], "2 radii for 1 corners"),
        ([(0, 0, 0), (90, 0, 0), (90, 90, 0)], 0, "above 0"),
        ([(0, 0, 0), (math.nan, 0, 0)], 10, "finite"),
    ],
)
def test_what_is_no_run_is_refused(points, radius, says):
    with pytest.raises(BendError, match=says):
        bend_run(points, radius)


def test_self_gap_of_known_returns():
    # A U: two right angles at 30, legs 60 apart; a coil that climbs 20 a turn; a run that never returns.
    assert self_gap(bend_run(planar([100, 60, 100], [90, 90]), 30), 0.5) == pytest.approx(60, abs=1e-9)
    coil = [(0, 0, 0), (100, 0, 0), (100, 100, 5), (0, 100, 10), (0, -50, 20)]
    run = bend_run(coil, 30)
    # Where the last leg (x = 0, falling y, z from 10 to 20) passes over the first: (0, 0, z) with z = 10 + 10 * 2/3.
    assert self_gap(run, 0.5) == pytest.approx(50 / 3, rel=5e-3)
    assert math.isinf(self_gap(bend_run(planar([100, 100], [90]), 30)))
    assert math.isinf(self_gap(bend_run([(0, 0, 0), (100, 0, 0)], 30)))


@given(rows, st.floats(5, 200), st.floats(8, 60), st.integers(0, 2**32 - 1))
@settings(deadline=None, max_examples=40)
def test_box_holds_the_tube_and_each_face_touches_it(table, last, radius, seed):
    turn = Rotation.random(random_state=seed)
    points = turn.apply(np.array(points_of(table, last, radius)))
    run = bend_run(points, radius, insertion=(5, 8))
    assume(run.cut_length < 2000)
    od = 14.0
    lo, hi = np.full(3, np.inf), np.full(3, -np.inf)
    for piece in run.whole:
        n = max(2, int(piece.length / 0.2))
        if hasattr(piece, "centre"):
            c = np.array(piece.centre)
            u = np.subtract(piece.start, c) / piece.radius
            w = np.cross(u, np.subtract(piece.middle, c))
            w /= np.linalg.norm(w)
            a = np.radians(np.linspace(0, piece.angle, n))[:, None]
            q = c + piece.radius * (np.cos(a) * u + np.sin(a) * np.cross(w, u))
            t = -np.sin(a) * u + np.cos(a) * np.cross(w, u)
        else:
            d = np.subtract(piece.end, piece.start)
            q, t = np.array([piece.start, piece.end]), np.array([d, d]) / np.linalg.norm(d)
        reach = od / 2 * np.sqrt(np.maximum(0, 1 - t**2))  # of a disc square to the line
        lo, hi = np.minimum(lo, (q - reach).min(axis=0)), np.maximum(hi, (q + reach).max(axis=0))
    box = tube_box(run, od)
    assert (np.array(box.lo) <= lo + 1e-9).all()
    assert (np.array(box.hi) >= hi - 1e-9).all()
    assert np.allclose(box.lo, lo, atol=1e-2)
    assert np.allclose(box.hi, hi, atol=1e-2)
