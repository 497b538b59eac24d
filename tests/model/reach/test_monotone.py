"""An obstacle more never frees anything: angles, ways out, fittings, axis and volume only shrink."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from elbowroom.model.geometry.narrow import manifold_of
from elbowroom.model.reach.chains import free_angles, items
from elbowroom.model.reach.choices import all_that_go_on
from elbowroom.model.reach.leaving import Leg, bent, pushed_in, straight_on
from elbowroom.model.reach.rooms import Rooms
from elbowroom.model.reach.trial import attempt
from elbowroom.model.reach.volume import kits, volume
from elbowroom.model.store import Store
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.pose import Pose, compose, rotation, shift
from tests.model.reach.sites_for_tests import PETG, TOP, Brick, link, plate, rooms, site

ROUNDING = 1e-5  # relative: what booleans of the same solids in another order differ by


@dataclass(frozen=True)
class Reach:
    angles: frozenset[int]
    bends: frozenset[int]
    straight: bool
    fittings: frozenset[str]
    axis: float
    volume: float
    goes_on: bool
    solid: object


def reach(r: Rooms) -> Reach:
    s = site(r)
    chain = [link("rotary-90"), link("hard-tube-14")]
    (angles,) = free_angles(r, s, items(chain, s))
    mouth, leg = np.array(shift(0, 0, TOP + 17))[None], Leg.of(PETG, 10.0)
    pushed = bool(pushed_in(r, mouth, leg)[0])
    room = volume(r, s, kits(s, PETG, [link("hard-tube-14")]), PETG)
    solid = None if room.solid is None else manifold_of(room.solid.vertices, room.solid.triangles)
    return Reach(
        frozenset(k % 360 for a, b in angles for k in range(a, b + 1)),
        frozenset(np.nonzero(bent(r, mouth, leg)[0])[0].tolist() if pushed else ()),
        pushed and bool(straight_on(r, mouth, leg)[0]), frozenset(all_that_go_on(r, s)),
        r.standing.free_length(s.origin + s.lift * s.axis, s.axis, 10.0, 300.0)[0], room.mm3,
        attempt(r, s, chain, PETG, full=False).problem is None, solid,
    )  # fmt: skip


side = st.floats(2.0, 60.0)
at = st.floats(-60.0, 60.0)


@st.composite
def bricks(draw: st.DrawFn) -> tuple[Part, Pose]:
    part = Brick(x=round(draw(side), 1), y=round(draw(side), 1), z=round(draw(side), 1))
    turned = compose(rotation((0, 0, 1), draw(st.floats(0, 360))), rotation((1, 0, 0), draw(st.floats(0, 360))))
    return part, compose(shift(draw(at), draw(at), TOP + draw(st.floats(0.0, 70.0))), turned)


@pytest.mark.slow
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], derandomize=True)
@given(st.lists(bricks(), min_size=1, max_size=4))
def test_adding_an_obstacle_never_enlarges_the_reach(store: Store, placed: list[tuple[Part, Pose]]) -> None:
    before = reach(rooms(store, plate((0, 0)), *placed[:-1]))
    after = reach(rooms(store, plate((0, 0)), *placed))
    assert after.angles <= before.angles
    assert after.bends <= before.bends
    assert after.straight <= before.straight
    assert after.fittings <= before.fittings
    assert after.axis <= before.axis
    assert after.goes_on <= before.goes_on
    assert after.volume <= before.volume * (1 + ROUNDING)
    if after.solid is not None:  # not only smaller: inside
        assert (after.solid - before.solid).volume() <= ROUNDING * before.volume  # type: ignore[operator]
