"""Pieces that stand out of the case without meeting it."""

from __future__ import annotations

from typing import Any, ClassVar

import pytest

from elbowroom.model.checks import containment
from elbowroom.model.checks.containment import SOCKET_REACH
from elbowroom.model.findings import Finding
from elbowroom.model.layout import Layout, Mate, Piece
from elbowroom.model.solidify import solidify
from elbowroom.model.store import Store
from elbowroom.parts.base import Box, Frame
from elbowroom.parts.pose import IDENTITY, Pose, compose, pose, rotation, shift
from tests.model.shapes_for_tests import Block, GivenMesh, One, Rod

INTERIOR = Box((0.0, 0.0, 0.0), (100.0, 80.0, 60.0))
SHEET = 2.0


class Tub(One):
    """A case open at the front and the roof, with an opening in its rear wall that a frame marks."""

    family: ClassVar[str] = "case"

    def box(self) -> Box:
        return Box((-SHEET, -SHEET, -SHEET), (100.0, 80.0 + SHEET, 60.0))

    def frames(self) -> tuple[Frame, ...]:
        return (
            Frame("rear", "opening", pose((0, 40, 30), (1, 0, 0)), ("body",)),
            Frame("floor", "wall", pose((50, 40, 0), (0, 0, 1)), ("body",)),
        )

    def draw(self) -> Any:
        from elbowroom.parts import draw

        shell = draw.box((-SHEET, -SHEET, -SHEET), (100, 80 + SHEET, 60))
        return draw.cut(shell, draw.box((0, 0, 0), (200, 80, 200)), draw.box((-50, 20, 10), (50, 60, 50)))


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return Store(tmp_path_factory.mktemp("cache"))


def found(store: Store, part: One | GivenMesh, at: Pose, mates: tuple[Mate, ...] = (), **more: Any) -> list[Finding]:
    pieces = (Piece("case", Tub(), IDENTITY, ""), Piece("it", part, at, "", **more))
    return containment(solidify(Layout("t", pieces, mates, more.pop("gaps", None) or _gaps(), INTERIOR), store))


def _gaps() -> Any:
    from elbowroom.model.layout import Gaps

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
