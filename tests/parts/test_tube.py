"""Runs of tube: the swept solid against the arithmetic of its centre line, and its seat in the fittings."""

import math

import numpy as np
import pytest
from pydantic import ValidationError

from elbowroom.parts.catalogue import sizes
from elbowroom.parts.fitting.fitting import Fitting
from elbowroom.parts.fitting.fitting_choice import fittings_for
from elbowroom.parts.tube.tube import TubeRun
from elbowroom.parts.tube.tube_stock import TubeStock, tube_stocks
from elbowroom.parts.vocabulary import draw
from elbowroom.parts.vocabulary.bends import bend_run
from elbowroom.parts.vocabulary.pose import bring_together

# mm: by Pappus a ring swept along its own centre line has the volume of its area times the line's length, so that the
# kernel's volume over the area is the cut length; its quadrature of planes, cylinders and tori is exact to rounding.
LENGTH_MM = 1e-6
THIN = 0.01  # mm of stop looked at under the end of a tube
NONE_MM3 = 1e-6  # mm3: volume of a boolean whose operands only touch
BOX_MM = 1e-6  # mm: the kernel's optimal boxes keep a margin of some 1e-7 around edges

RUNS = {
    "straight": TubeRun(points=((0, 0, 0), (0, 0, 120))),
    "one bend": TubeRun(points=((0, 0, 0), (100, 0, 0), (100, 150, 0)), radius=40),
    "two bends": TubeRun(
        points=((0, 0, 0), (80, 0, 0), (80, 120, 0), (80 - 30 * math.sqrt(2), 120 + 30 * math.sqrt(2), 0)), radius=38
    ),
    "in space": TubeRun(
        points=((0, 0, 0), (80, 0, 0), (80, 120, 0), (80, 160, 50), (20, 160, 90)), radius=(21, 28, 30),
        insertion_start=10, insertion_end=9,
    ),
    "bend at the mouth": TubeRun(points=((0, 0, 0), (30, 0, 0), (30, 60, 0), (30, 60, 70)), radius=30, insertion_end=8),
    "soft": TubeRun(kind="soft", points=((0, 0, 0), (0, 0, 90), (70, 60, 150)), radius=56, od=13, id=10),
}  # fmt: skip


@pytest.mark.parametrize("run", RUNS.values(), ids=RUNS)
def test_the_swept_solid_is_as_long_as_the_cut_length_and_stands_in_the_declared_box(run):
    from OCP.Bnd import Bnd_Box
    from OCP.BRepBndLib import BRepBndLib

    solid = run.solids()["tube"]
    assert solid.isValid()
    assert solid.Volume() / (math.pi / 4 * (run.od**2 - run.id**2)) == pytest.approx(run.cut_length, abs=LENGTH_MM)
    box = Bnd_Box()
    box.SetGap(0.0)
    BRepBndLib.AddOptimal_s(solid.wrapped, box, False, False)
    assert box.Get() == pytest.approx((*run.box().lo, *run.box().hi), abs=BOX_MM)


def test_worked_lengths():
    assert RUNS["one bend"].cut_length == pytest.approx(232.832, abs=5e-4)
    assert RUNS["two bends"].cut_length == pytest.approx(242.055, abs=5e-4)


def test_coolant_is_the_bore_over_the_cut_length():
    """113.10 ml a metre at 12 mm."""
    run = TubeRun(points=((0, 0, 0), (980, 0, 0)), od=16, id=12, insertion_start=10, insertion_end=10)
    assert run.coolant_ml() == pytest.approx(113.10, abs=5e-3)


def test_frames_are_the_mouths_and_look_out_of_the_tube():
    run = RUNS["in space"]
    start, end = run.frame("start").pose, run.frame("end").pose
    assert np.allclose(start[:3, 3], run.points[0])
    assert np.allclose(start[:3, 2], (-1, 0, 0))
    assert np.allclose(end[:3, 3], run.points[-1])
    last = np.subtract(run.points[-1], run.points[-2])
    assert np.allclose(end[:3, 2], last / np.linalg.norm(last))


@pytest.mark.parametrize("name", list(tube_stocks()))
def test_a_tube_seats_on_the_stop_of_every_fitting_sold_for_it_and_cuts_into_none(name):
    stock = tube_stocks()[name]
    for choice in fittings_for("G1/4", stock.od, stock.id, stock.kind):
        f = choice.fitting
        z = float(f.height)
        run = TubeRun(
            kind=stock.kind, points=((0, 0, z), (0, 0, z + 100)), od=stock.od, id=stock.id,
            insertion_start=f.insertion,
        )  # fmt: skip
        assert np.allclose(bring_together(run.frame("start").pose, f.frame("tube").pose)[2, 3], 0)
        tube = run.solids()["tube"]
        drawn = f.solids()
        assert sum(tube.intersect(drawn[b.name]).Volume() for b in f.bodies()) < NONE_MM3
        assert tube.distance(drawn["body"]) < 1e-7
        # The whole ring of the tube's end lies on the stop, less where the fitting's bore is wider than the tube's.
        slice_z = z - f.insertion - THIN
        ring = draw.cylinder(stock.od, THIN, (0, 0, slice_z))
        ring = ring.cut(draw.cylinder(max(stock.id, float(f.bore)), THIN, (0, 0, slice_z)))
        assert ring.cut(drawn["body"]).Volume() < NONE_MM3


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"od": 10, "id": 9.5}, "wall of 0.25"),
        ({"radius": 6.5}, "radius 6.5 is 0.60 mm under half"),
        ({"radius": 110}, "leg 1 is 100.000 mm, its bends need 110.000: 10.000 short"),
        ({"points": ((0, 0, 0),)}, "at least 2"),
        ({"points": ((0, 0, 0), (1e5, 0, 0))}, "10 m"),
        ({"points": ((0, 0, 0), (9, 0, 0), (9, 0, 0))}, "same"),
        ({"radius": (28, 28)}, "2 radii for 1 corners"),
        (
            {"points": ((0, 0, 0), (100, 0, 0), (100, 100, 2), (40, 100, 4), (40, -60, 10))},
            "the run meets itself: its centre lines come within",
        ),
    ],
)
def test_what_is_no_run_of_tube_is_refused_in_millimetres(fields, says):
    with pytest.raises(ValidationError, match=says):
        TubeRun(**fields)


def test_a_run_may_pass_itself_with_room_to_spare():
    points = ((0, 0, 0), (100, 0, 0), (100, 100, 20), (50, 100, 40), (50, -60, 60))
    run = TubeRun(points=points, radius=24)
    solid = run.solids()["tube"]
    assert solid.Volume() / (math.pi / 4 * (14**2 - 10**2)) == pytest.approx(run.cut_length, abs=LENGTH_MM)


def test_shape_key_rests_on_the_course_not_on_its_uncertainty():
    a = TubeRun(points=((0, 0, 0), (100, 0, 0)))
    b = TubeRun(points=((0, 0, 0), ("100 ± 1", 0, 0)))
    c = TubeRun(points=((0, 0, 0), (101, 0, 0)))
    assert a.shape_key() == b.shape_key() != c.shape_key()
    assert TubeRun(**a.model_dump()) == a


def test_stocks_bend_no_tighter_than_their_kind():
    """Trade rules (P): soft about 0.5 OD^2 / wall; hard 1.5 OD at least and 2 to 2.5 usual; formers from memory (M)."""
    for s in tube_stocks().values():
        if s.kind == "soft":
            assert s.least_radius == pytest.approx(0.5 * s.od**2 / ((s.od - s.id) / 2), abs=0.5)
            assert s.between_bends == 0
        elif s.kind == "copper":
            assert (s.od, s.least_radius) in {(12, 45), (15, 55), (18, 70), (22, 77)}
            assert s.mark == "M"
        else:
            assert s.least_radius == 1.5 * s.od
            assert 2 * s.od <= s.usual_radius <= 2.5 * s.od
            assert s.between_bends == 1.5 * s.od
        assert s.straight_leg(10) == 5
        assert s.straight_leg(6) == 9


def test_a_stock_that_cannot_be_is_refused():
    with pytest.raises(ValueError, match="id 14 must lie between"):
        TubeStock("x", "", "petg", 14, 14, 28, 28, "", "P")
    with pytest.raises(ValueError, match="1 mm under half the diameter"):
        TubeStock("x", "", "petg", 14, 10, 6, 28, "", "P")


def test_a_build_run_matches_the_arithmetic_alone():
    run = RUNS["in space"]
    plain = bend_run(run.points, [21, 28, 30], insertion=(10, 9))
    assert [b.start for b in run.run.bends] == pytest.approx([b.start for b in plain.bends])
    assert run.cut_length == pytest.approx(plain.cut_length)
    assert sizes("fitting")["hard-tube-14"].fields["tube_od"] == 14
    assert Fitting(kind="collar").tube_size() == (14, None)
