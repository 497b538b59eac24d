"""Pieces that stand out of the case without meeting it."""

from __future__ import annotations

import math
from typing import Any, ClassVar

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from elbowroom.model.checks import containment
from elbowroom.model.checks.containment import SOCKET_REACH
from elbowroom.model.geometry.pairs import Checker
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.layout import Layout, Mate, Piece
from elbowroom.model.store import Store
from elbowroom.model.told.findings import Finding
from elbowroom.parts.vocabulary.base import Box, Frame
from elbowroom.parts.vocabulary.pose import IDENTITY, Pose, compose, pose, rotation, shift
from tests.model.shapes_for_tests import Ball, Block, GivenMesh, One, Rod

INTERIOR = Box((0.0, 0.0, 0.0), (100.0, 80.0, 60.0))
SHEET = 2.0


class Tub(One):
    """A case open at the front and the roof, with an opening in its rear wall that a frame marks."""

    family: ClassVar[str] = "case"
    encloses: ClassVar[bool] = True

    def box(self) -> Box:
        return Box((-SHEET, -SHEET, -SHEET), (100.0, 80.0 + SHEET, 60.0))

    def frames(self) -> tuple[Frame, ...]:
        return (
            Frame("rear", "opening", pose((0, 40, 30), (1, 0, 0)), ("body",)),
            Frame("floor", "wall", pose((50, 40, 0), (0, 0, 1)), ("body",)),
        )

    def draw(self) -> Any:
        from elbowroom.parts.vocabulary import draw

        shell = draw.box((-SHEET, -SHEET, -SHEET), (100, 80 + SHEET, 60))
        return draw.cut(shell, draw.box((0, 0, 0), (200, 80, 200)), draw.box((-50, 20, 10), (50, 60, 50)))


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return Store(tmp_path_factory.mktemp("cache"))


def found(store: Store, part: One | GivenMesh, at: Pose, mates: tuple[Mate, ...] = (), **more: Any) -> list[Finding]:
    pieces = (Piece("case", Tub(), IDENTITY, ""), Piece("it", part, at, "", **more))
    scene = solidify(Layout("t", pieces, mates, more.pop("gaps", None) or _gaps(), INTERIOR), store)
    return containment(scene, Checker(scene, store))


def _gaps() -> Any:
    from elbowroom.model.layout.layout import Gaps

    return Gaps()


def test_what_stands_inside_is_not_mentioned(store: Store) -> None:
    for move in ((0, 0, 0), (90, 70, 50), (40, 30, 20)):
        assert found(store, Block(), shift(*move)) == []


@pytest.mark.parametrize(
    ("move", "side", "out"),
    [((95, 30, 20), "front", 5.0), ((40, 30, 57), "roof", 7.0), ((90.001, 30, 20), "front", 0.001)],
)
def test_a_side_without_a_panel_lets_nothing_out_in_silence(
    store: Store, move: tuple[float, float, float], side: str, out: float
) -> None:
    (f,) = found(store, Block(), shift(*move))
    assert (f.verdict, f.place) == ("fail", side)
    assert f.measured == pytest.approx(out, abs=1e-9)
    assert side in f.text


def test_a_turned_piece_is_measured_by_its_mesh_and_not_by_its_box(store: Store) -> None:
    """A rod of radius 5 turned 45 degrees about its axis reaches 5, where its declared box would reach 7.07."""
    turned = compose(shift(94.9, 40, 20), rotation((0, 0, 1), 45))
    assert found(store, Rod(), turned) == []


def test_through_the_rear_a_piece_may_reach_the_panel_and_its_sockets_a_little_more(store: Store) -> None:
    for x, verdicts in (
        (-SHEET, []),
        (-SHEET - SOCKET_REACH, []),
        (-SHEET - SOCKET_REACH - 0.001, ["fail"]),
    ):
        assert [f.verdict for f in found(store, Block(), shift(x, 30, 20))] == verdicts


def test_what_is_fixed_to_a_wall_may_reach_through_it_but_not_through_another(store: Store) -> None:
    long = Block(x=40)
    fixed = (Mate("it", "top", "case", "rear"),)
    assert [f.place for f in found(store, long, shift(-30, 30, 20))] == ["rear"]
    assert found(store, long, shift(-30, 30, 20), fixed) == []
    assert [f.place for f in found(store, long, shift(70, 30, 20), fixed)] == ["front"]
    elsewhere = (Mate("it", "top", "case", "floor"),)
    assert [f.place for f in found(store, long, shift(-30, 30, 20), elsewhere)] == ["rear"]


def test_a_piece_wholly_outside_fails_even_where_it_is_fixed(store: Store) -> None:
    fixed = (Mate("it", "top", "case", "rear"),)
    (f,) = found(store, Block(), shift(-10, 30, 20), fixed)
    assert f.verdict == "fail"
    assert "wholly outside" in f.text


def test_a_piece_meant_to_stand_outside_is_not_asked(store: Store) -> None:
    assert found(store, Block(), shift(-50, 30, 20), outside=True) == []


def test_an_unsound_mesh_is_unknown(store: Store) -> None:
    assert [f.verdict for f in found(store, GivenMesh(open_top=True), shift(40, 30, 20))] == ["unknown"]


@settings(max_examples=25, deadline=None)
@given(
    turn=st.floats(0, 360),
    tilt=st.floats(0, 80),
    out=st.sampled_from([-0.3, -0.002, 0.0, 0.002, 0.01, 0.04, 0.3]),
    side=st.sampled_from([(0, "front"), (2, "roof")]),
    round_part=st.sampled_from(["rod", "ball"]),
)
def test_a_round_piece_is_inside_or_out_by_its_true_surface(
    store: Store, turn: float, tilt: float, out: float, side: tuple[int, str], round_part: str
) -> None:
    """A cylinder's extent along x is r |sin| + h |cos| of the angle between its axis and x; a sphere's is r."""
    axis, name = side
    part: One = Rod() if round_part == "rod" else Ball()
    about = rotation((0, 0, 1) if axis == 0 else (1, 0, 0), tilt)
    turned = compose(compose(rotation(((1, 0, 0), (0, 1, 0), (0, 0, 1))[axis], turn), about), rotation((0, 0, 1), 17))
    cos = float(turned[axis, 2])
    far = 5.0 if round_part == "ball" else 5.0 * math.sqrt(max(1 - cos * cos, 0.0)) + 20.0 * max(cos, 0.0)
    move = [50.0, 40.0, 30.0]
    move[axis] = INTERIOR.hi[axis] + out - far
    verdicts = {f.place: f for f in found(store, part, compose(shift(*move), turned))}
    assert (name in verdicts) == (out > 0)
    if out > 0:
        f = verdicts[name]
        assert f.verdict == "fail"
        assert f.low is not None
        assert f.high is not None
        assert f.low - 1e-6 <= out <= f.high + 1e-6
