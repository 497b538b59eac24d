"""Plates with more holes than pairs can be listed of: what they are to each other is arithmetic."""

from __future__ import annotations

import math
from typing import Any, ClassVar

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from elbowroom.model.geometry import parting_planes, posed_pair
from elbowroom.model.store import Store
from elbowroom.model.tolerances import CONTACT_MM
from elbowroom.parts.vocabulary.base import Box
from elbowroom.parts.vocabulary.pose import compose, rotation, shift
from tests.model.shapes_for_tests import ODD, Block, One, Rod, judged

PITCH = 6.0


class Vents(One):
    """A plate of n x n holes, 1 mm thick, from the origin; `lip`, mm: how far a rim of it stands down at x = 0."""

    family: ClassVar[str] = "vents"
    n: int = 3
    d: float = 4.0
    off: float = 0.0
    lip: float = 0.0

    def box(self) -> Box:
        side = PITCH * self.n + 4
        return Box((0.0, 0.0, -self.lip), (side, side, 1.0))

    def draw(self) -> Any:
        from elbowroom.parts.vocabulary import draw

        side = PITCH * self.n + 4
        at = [2 + PITCH * (k + 0.5) + self.off for k in range(self.n)]
        plate = draw.slab(draw.rectangle(0, 0, side, side), [draw.circle(x, y, self.d) for x in at for y in at], 1.0)
        return draw.fuse(plate, draw.box((0, 0, -self.lip), (1.5, side, 1))) if self.lip else plate


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return Store(tmp_path_factory.mktemp("cache"))


@pytest.fixture
def few(monkeypatch: pytest.MonkeyPatch) -> None:
    """As if far more holes were in the plates than a test has time for."""
    monkeypatch.setattr(posed_pair, "MAX_CLOSE_PAIRS", 60)
    monkeypatch.setattr(parting_planes, "MAX_CLOSE_PAIRS", 60)
    monkeypatch.setattr(posed_pair.close_pairs, "__defaults__", (60, (None, None)))


@pytest.mark.parametrize("gap", [0.5, 0.02, 0.0, -0.002])
@pytest.mark.parametrize(("off", "angle"), [(0.0, 0.0), (0.7, 0.0), (0.0, 10.0)])
@pytest.mark.parametrize("lip", [0.0, 3.0])
def test_perforated_plates_are_told_by_their_planes(
    store: Store, few: None, gap: float, off: float, angle: float, lip: float
) -> None:
    """One on the other, its holes over the other's or beside them; with a lip, it reaches down past the other's edge
    a millimetre off: two planes part them."""
    at = compose(shift(-2.5 if lip else 0.0, 0, 1 + gap), rotation((0, 0, 1), 0.0 if lip else angle))
    found = judged(store, Vents(), Vents(off=off, lip=lip), at, wanted=1.0, case=ODD)
    assert found.kind == ("apart" if gap > 0 else "contact" if gap == 0 else "overlap")
    if gap > 0:
        assert found.gap == pytest.approx(gap, abs=CONTACT_MM)
    if gap < 0:
        assert found.low - CONTACT_MM <= -gap <= found.high + CONTACT_MM


def test_many_holes_change_nothing(store: Store) -> None:
    """Six by six on its own like: holes on holes, every rim and wall in line with another."""
    assert judged(store, Vents(n=6), Vents(n=6), shift(z=1.0)).kind == "contact"


@settings(max_examples=25, deadline=None)
@given(
    over=st.floats(math.log10(2e-5), 0).map(lambda e: 10**e), sign=st.sampled_from([-1, 0, 1]),
    turn=st.floats(0, 360), lying=st.booleans(),
)  # fmt: skip
def test_no_overlap_is_hidden_by_parting(store: Store, over: float, sign: int, turn: float, lying: bool) -> None:
    """A rod on a plate: lying or standing, above it by so much or into it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(parting_planes, "MAX_CLOSE_PAIRS", 60)
        patch.setattr(posed_pair.close_pairs, "__defaults__", (60, (None, None)))
        up = compose(rotation((1, 0, 0), 90), rotation((0, 0, 1), turn)) if lying else rotation((0, 0, 1), turn)
        at = compose(shift(15, 25, 10 + (5 if lying else 0) - sign * over), up)
        found = judged(store, Block(x=30, y=30), Rod(), at, case=ODD)
    if sign > 0:
        assert found.kind in ("overlap", "unknown")
    elif sign < 0:
        assert found.kind in ("apart", "unknown")
    else:
        assert found.kind == "contact"
