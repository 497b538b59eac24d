"""Declared contact that must really be there."""

from __future__ import annotations

import math

import pytest

from elbowroom.model.checks import mates
from elbowroom.model.geometry.pairs import Checker
from elbowroom.model.layout.layout import Mate
from elbowroom.model.store import Store
from elbowroom.model.told.findings import Finding
from elbowroom.model.tolerances import CHORD_MM, MATE_ANGLE_DEG, MATE_PLANE_MM
from elbowroom.parts.fan.fan import Fan
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.pose import IDENTITY, Pose, compose, rotation, shift
from tests.model.shapes_for_tests import ODD, Block, GivenMesh, scene_of

ON_TOP = Mate("p2", "bottom", "p1", "top")


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return Store(tmp_path_factory.mktemp("cache"))


def mated(
    store: Store, at: Pose, mate: Mate = ON_TOP, case: Pose = IDENTITY, parts: tuple[Part, Part] | None = None
) -> Finding:
    one, other = parts or (Block(), Block())
    scene = scene_of(store, (one, case), (other, compose(case, at)), mates=(mate,))
    checker = Checker(scene, store)
    (found,) = mates(scene, checker)
    (again,) = mates(scene, Checker(scene, store))
    assert found.to_json() == again.to_json()  # the second is read from the cache
    return found


@pytest.mark.parametrize("case", [IDENTITY, ODD])
@pytest.mark.parametrize(("x", "y"), [(0.0, 0.0), (4.0, 0.0), (6.0, 7.0), (9.5, 9.5)])
def test_the_area_in_contact(store: Store, case: Pose, x: float, y: float) -> None:
    found = mated(store, shift(x, y, 10), case=case)
    assert found.verdict == "pass"
    assert dict(found.extra)["contact_mm2"] == pytest.approx((10 - x) * (10 - y), rel=1e-5)
    assert found.measured == pytest.approx(0.0, abs=1e-9)


def test_turned_on_the_face_it_meets_over_what_both_cover(store: Store) -> None:
    """Two squares of side 10 about one centre, one turned 45 degrees, share a regular octagon: 200 (sqrt 2 - 1)."""
    at = compose(shift(5, 5, 10), rotation((0, 0, 1), 45), shift(-5, -5))
    assert dict(mated(store, at).extra)["contact_mm2"] == pytest.approx(200 * (math.sqrt(2) - 1), rel=1e-5)


def test_fans_meet_over_their_flanges(store: Store) -> None:
    """Frame outline less bore and holes; the corners' rounding (radius 0.06 of the frame) is taken off too."""
    found = mated(store, shift(z=25), Mate("p2", "intake", "p1", "exhaust"), parts=(Fan(), Fan()))
    fan = Fan()
    truth = 120**2 - (4 - math.pi) * 7.2**2 - math.pi * fan.bore**2 / 4 - 4 * math.pi * 4.3**2 / 4
    rim = math.pi * (fan.bore + 4 * 4.3 + 2 * 7.2)  # mm of curved edge, each a chord out at most
    assert found.verdict == "pass"
    assert abs(dict(found.extra)["contact_mm2"] - truth) <= 1.5 * CHORD_MM * rim


def test_planes_that_stand_apart_or_run_into_each_other_fail(store: Store) -> None:
    for lift, verdict in ((2 * MATE_PLANE_MM, "fail"), (-2 * MATE_PLANE_MM, "fail"), (0.5 * MATE_PLANE_MM, "pass")):
        found = mated(store, shift(z=10 + lift))
        assert found.verdict == verdict
        assert found.measured == pytest.approx(lift, abs=1e-9)


def test_faces_that_lie_in_one_plane_side_by_side_do_not_meet(store: Store) -> None:
    for x, gap in ((10.0, 0.0), (12.5, 2.5)):
        found = mated(store, shift(x, 0, 10))
        assert found.verdict == "fail"
        assert dict(found.extra)["contact_mm2"] == pytest.approx(0.0, abs=1e-6)
        assert found.measured == pytest.approx(gap, abs=1e-9)


def test_a_frame_that_lies_about_its_face_is_found_out(store: Store) -> None:
    """The frame `above` floats half a millimetre over the real face: planes coincide, bodies do not meet."""
    found = mated(store, shift(z=10.5), Mate("p2", "bottom", "p1", "above"))
    assert found.verdict == "fail"
    assert found.measured == pytest.approx(0.5)
    assert "do not meet" in found.text


def test_faces_that_are_not_parallel_fail(store: Store) -> None:
    for angle, verdict in ((2 * MATE_ANGLE_DEG, "fail"), (180.0, "fail")):
        tilted = compose(shift(5, 5, 10), rotation((1, 0, 0), angle), shift(-5, -5))
        found = mated(store, tilted)
        assert found.verdict == verdict
        assert found.unit == "deg"
        assert found.measured == pytest.approx(angle, abs=1e-6)


def test_slots_and_ports_claim_alignment_and_no_face(store: Store) -> None:
    in_slot = Mate("p2", "bottom", "p1", "slot")
    assert mated(store, shift(z=10), in_slot).verdict == "pass"
    assert mated(store, shift(0.2, 0, 10), in_slot).verdict == "fail"
    assert mated(store, shift(z=10.2), in_slot).measured == pytest.approx(0.2)


def test_a_claim_without_contact_is_not_asked(store: Store) -> None:
    scene = scene_of(
        store, (Block(), IDENTITY), (Block(), shift(z=40)), mates=(Mate("p2", "bottom", "p1", "top", contact=False),)
    )
    assert mates(scene, Checker(scene, store)) == []


class MeshWithFace(GivenMesh):
    """A user's mesh with a declared underside."""

    def frames(self):  # type: ignore[no-untyped-def]
        return Block().frames()


def test_an_unsound_mesh_cannot_prove_contact(store: Store) -> None:
    for part, verdict in ((MeshWithFace(), "pass"), (MeshWithFace(open_top=True), "unknown")):
        assert mated(store, shift(z=10), parts=(Block(), part)).verdict == verdict
