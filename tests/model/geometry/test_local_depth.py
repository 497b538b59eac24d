"""Overlap is judged place by place: nothing that goes through a flush face is told as contact, and flush faces are.

Truth is the construction itself: what stands up from a plate's face by h reaches h into whatever lies flat on it.
"""

from __future__ import annotations

import math
from typing import Any, ClassVar

import manifold3d
import numpy as np
import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

from elbowroom.model import checks
from elbowroom.model.checks import mates
from elbowroom.model.geometry.depth import depth_of
from elbowroom.model.geometry.meshes import fault_of, welded
from elbowroom.model.geometry.narrow import arrays_of
from elbowroom.model.geometry.pairs import Checker
from elbowroom.model.layout.layout import Mate
from elbowroom.model.store import Store
from elbowroom.model.tolerances import CONTACT_MM
from elbowroom.parts.vocabulary.base import Box, Frame
from elbowroom.parts.vocabulary.pose import IDENTITY, Pose, compose, pose, rotation, shift
from tests.model.shapes_for_tests import ODD, Block, GivenMesh, Rod, judged, scene_of

Solid3 = Any  # a solid of manifold3d
PLATE, SHEET = 8.0, 5.0
few = settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return Store(tmp_path_factory.mktemp("cache"))


class Printed(GivenMesh):
    """A user's STL: vertices (n, 3) and triangles (m, 3), in single precision, with a face up and one down."""

    family: ClassVar[str] = "printed"
    points: tuple[tuple[float, float, float], ...] = ()
    faces: tuple[tuple[int, int, int], ...] = ()
    up: tuple[float, ...] = ()  # pose (16 numbers) of the plane that meets another

    def box(self) -> Box:
        p = np.array(self.points)
        lo, hi = p.min(axis=0), p.max(axis=0)
        return Box((lo[0], lo[1], lo[2]), (hi[0], hi[1], hi[2]))

    def frames(self) -> tuple[Frame, ...]:
        return (Frame("seat", "face", np.array(self.up).reshape(4, 4), ("body",)),)

    def meshes(self) -> dict[str, tuple[Any, Any, str | None]]:
        v, t = np.array(self.points), np.array(self.faces, dtype=np.int32)
        return {"body": (v, t, fault_of(v, t))}


def printed(solid: Solid3, at: Pose, seat: Pose) -> Printed:
    """The solid carried by `at` and written to single precision, as a binary STL does."""
    v, t = arrays_of(solid.transform(at[:3]))
    v, t, _ = welded(v.astype(np.float32).astype(np.float64), t)
    rows = [tuple(map(float, p)) for p in v]
    return Printed(points=rows, faces=[tuple(map(int, f)) for f in t], up=tuple(compose(at, seat).ravel()))


def plate_and_sheet(size: tuple[float, float], holes: int) -> tuple[Solid3, Solid3]:
    """A plate and the sheet that lies flush on it, both bored through alike."""
    plate = manifold3d.Manifold.cube([*size, PLATE])
    sheet = manifold3d.Manifold.cube([*size, SHEET]).translate([0, 0, PLATE])
    for k in range(holes):
        x, y = size[0] * (0.07 + 0.86 * (k * 0.618 % 1)), size[1] * (0.05 + 0.1 * (k % 2))
        bore = manifold3d.Manifold.cylinder(60, 1.1, 1.1, 9, True).translate([x, y, 0])
        plate, sheet = plate - bore, sheet - bore
    return plate, sheet


lengths = st.floats(math.log10(0.02), 1.0).map(lambda e: 10**e)
turns = st.tuples(st.sampled_from([(0, 0, 1), (1, 2, 3), (-3, 1, 2)]), st.sampled_from([0.0, 37.0, 90.0, 211.3]))
sizes = st.tuples(st.floats(40, 300), st.floats(40, 300))


@pytest.mark.slow
@seed(7)
@few
@given(
    size=sizes, holes=st.integers(0, 12), turn=turns, kind=st.sampled_from(["pin", "rib", "boss"]), wide=lengths,
    high=lengths,
)  # fmt: skip
def test_nothing_that_goes_through_a_flush_face_is_contact(
    store: Store, size: tuple[float, float], holes: int, turn: Any, kind: str, wide: float, high: float
) -> None:
    plate, sheet = plate_and_sheet(size, holes)
    long = 18.0 if kind == "rib" else wide
    tool = manifold3d.Manifold.cube([wide, long, high + 1])
    if kind == "boss":
        tool = manifold3d.Manifold.cylinder(high + 1, wide / 2, wide / 2, 12).translate([wide / 2, wide / 2, 0])
    plate = plate + tool.translate([0.4 * size[0], 0.4 * size[1], PLATE - 1])
    at = compose(shift(31.7, -12.9, 57.3), rotation(*turn))
    seats = pose((20, 20, PLATE)), pose((20, 20, PLATE), (0, 0, -1))
    one, other = printed(plate, at, seats[0]), printed(sheet, at, seats[1])
    if any(m[2] for p in (one, other) for m in p.meshes().values()):
        return  # welding took a sliver of a triangle: not a sound file
    found = judged(store, one, other, IDENTITY)
    assert found.kind == "overlap"
    deep = min(high, SHEET, wide * (math.cos(math.pi / 12) if kind == "boss" else 1.0))
    assert found.low - 1e-3 <= deep <= found.high + 0.04 * wide + 1e-3
    scene = scene_of(store, (one, IDENTITY), (other, IDENTITY), mates=(Mate("p2", "seat", "p1", "seat"),))
    mate, *others = checks.run(scene, store)
    assert {mate.verdict, *(f.verdict for f in others)} <= {"clash", "fail"}
    assert not any(" meet over" in f.text for f in (mate, *others))


@pytest.mark.slow
@seed(7)
@few
@given(size=sizes, holes=st.integers(0, 12), turn=turns)
def test_flush_faces_meet_for_all_their_film(store: Store, size: tuple[float, float], holes: int, turn: Any) -> None:
    plate, sheet = plate_and_sheet(size, holes)
    at = compose(shift(31.7, -12.9, 57.3), rotation(*turn))
    seats = pose((20, 20, PLATE)), pose((20, 20, PLATE), (0, 0, -1))
    one, other = printed(plate, at, seats[0]), printed(sheet, at, seats[1])
    if any(m[2] for p in (one, other) for m in p.meshes().values()):
        return
    assert judged(store, one, other, IDENTITY).kind == "contact"
    scene = scene_of(store, (one, IDENTITY), (other, IDENTITY), mates=(Mate("p2", "seat", "p1", "seat"),))
    (mate,) = mates(scene, Checker(scene, store))
    assert mate.verdict == "pass"
    bores = holes * 9 / 2 * math.sin(2 * math.pi / 9) * 1.1**2  # none of them meet where there are so few
    assert dict(mate.extra)["contact_mm2"] == pytest.approx(size[0] * size[1] - bores, rel=0.02)


class Pinned(Block):
    """A block with a round or square pin on its top, drawn by the exact kernel as a STEP's solid is."""

    family: ClassVar[str] = "pinned"
    pin: float = 5.0
    high: float = 6.0
    round: bool = False
    bore: float = 0.0  # diameter of holes beside it

    def draw(self) -> Any:
        from elbowroom.parts.vocabulary import draw

        x, y, s = 0.6 * self.x, 0.6 * self.y, self.pin / 2
        outline = draw.circle(x, y, self.pin) if self.round else draw.rectangle(x - s, y - s, x + s, y + s)
        holes = [draw.circle(0.2 * self.x, 0.2 * self.y, self.bore)] if self.bore else []
        block = draw.slab(draw.rectangle(0, 0, self.x, self.y), holes, self.z)
        return draw.fuse(block, draw.slab(outline, [], self.z + self.high)) if self.high else block


@pytest.mark.parametrize("case", [IDENTITY, ODD])
@pytest.mark.parametrize("kind", ["square", "round", "beside a bore"])
@pytest.mark.parametrize(("pin", "high"), [(5.0, 6.0), (0.05, 6.0), (5.0, 0.02), (5.0, 0.0)])
def test_a_pin_of_a_drawn_part_goes_through_a_sheet(
    store: Store, case: Pose, kind: str, pin: float, high: float
) -> None:
    plate = Pinned(x=200, y=200, pin=pin, high=high, round=kind == "round", bore=0 if kind == "square" else 6)
    sheet = Block(x=200, y=200, z=SHEET)
    scene = scene_of(
        store, (plate, case), (sheet, compose(case, shift(z=10))), mates=(Mate("p2", "bottom", "p1", "top"),)
    )
    (mate,) = mates(scene, Checker(scene, store))
    found = judged(store, plate, sheet, shift(z=10), case=case)
    if high == 0.0:
        assert (found.kind, mate.verdict) == ("contact", "pass")
        return
    assert (found.kind, mate.verdict) == ("overlap", "fail")
    assert found.low - CONTACT_MM <= min(pin, high, SHEET) <= found.high + CONTACT_MM


@seed(3)
@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    radii=st.tuples(st.floats(1, 25), st.floats(1, 25)), tilt=st.sampled_from([0.0, 0.01, 0.15, 1.0]),
    over=st.floats(math.log10(3e-4), -2).map(lambda e: 10**e), clock=st.floats(0, 360),
    sign=st.sampled_from([-1, 1, 1]),
)  # fmt: skip
def test_near_parallel_cylinders_overlap_by_what_their_axes_say(
    store: Store, radii: tuple[float, float], tilt: float, over: float, clock: float, sign: int
) -> None:
    """Analytic: the common perpendicular of the axes lies within both; they share room where it is under both radii."""
    one, other = Rod(r=radii[0], h=120), Rod(r=radii[1], h=90)
    at = compose(
        rotation((0, 0, 1), clock), shift(sum(radii) - sign * over, 0, 60), rotation((1, 0, 0), tilt), shift(z=-45)
    )
    found = judged(store, one, other, at, wanted=1.0)
    assert found.kind in (("overlap", "unknown") if sign > 0 else ("apart", "unknown"))
    if found.kind == "overlap":
        assert found.low <= over + CONTACT_MM
        assert found.high >= over - CONTACT_MM


class Domed(Block):
    """A block whose top is a cylinder's shell, bulging by `sagitta`: its tangent plane touches along one line."""

    family: ClassVar[str] = "domed"
    sagitta: float = 0.002

    def draw(self) -> Any:
        import cadquery as cq

        flat = self.z - self.sagitta
        end = cq.Workplane("XZ").lineTo(self.x, 0).lineTo(self.x, flat)
        return end.threePointArc((self.x / 2, self.z), (0, flat)).close().extrude(-self.y).val()


def test_a_face_that_curves_away_from_the_plane_does_not_meet_it(store: Store) -> None:
    scene = scene_of(store, (Domed(), IDENTITY), (Block(), shift(z=10)), mates=(Mate("p2", "bottom", "p1", "top"),))
    (mate,) = mates(scene, Checker(scene, store))
    assert mate.verdict in ("fail", "unknown")


@pytest.mark.parametrize("film", [1e-8, 1e-5, 5e-4])
@pytest.mark.parametrize("angle", [0.0, 23.0])
def test_the_depth_of_a_film_is_its_own_and_not_that_of_its_hull(film: float, angle: float) -> None:
    """A shell 40 mm across whose hull is 11 mm deep, and the same with a pin of 2 x 2 x 3 on it."""
    outer = manifold3d.Manifold.cylinder(30, 20, 20, 60)
    shell = (outer - manifold3d.Manifold.cylinder(30, 20 - film, 20 - film, 60)).trim_by_plane((1, 0, 0), 9.0)
    shell = shell.transform(rotation((1, 2, 3), angle)[:3])
    alone = depth_of(shell, 2 * film)
    assert alone is not None
    assert alone.high <= 2 * film
    pin = manifold3d.Manifold.cube([3, 2, 2], True).translate([18.5, 0, 15]).transform(rotation((1, 2, 3), angle)[:3])
    both = depth_of(shell + pin, 2 * film)
    assert both is not None
    assert both.low - 1e-9 <= 2.0 <= both.high + 4 * film
    assert both.depth == pytest.approx(2.0, abs=0.02)


def test_ids_and_bodies_named_do_not_depend_on_the_order_of_the_file(store: Store) -> None:
    from dataclasses import replace

    parts = ((Block(), IDENTITY), (Block(), shift(x=9.0)), (Rod(), shift(0, 40, 0)), (Block(), shift(z=10.0)))
    scene = scene_of(store, *parts, mates=(Mate("p4", "bottom", "p1", "top"),))
    layout = scene.layout
    turned = replace(layout, pieces=layout.pieces[::-1])
    from elbowroom.model.geometry.solidify import solidify

    first, second = (sorted(f.id for f in checks.run(solidify(x, store), store)) for x in (layout, turned))
    assert first == second
    mate, back = (Mate("p4", "bottom", "p1", "top"), Mate("p1", "top", "p4", "bottom"))
    ids = []
    for m in (mate, back):
        s = scene_of(store, *parts, mates=(m,))
        ids += [f.id for f in mates(s, Checker(s, store))]
    assert ids[0] == ids[1]
