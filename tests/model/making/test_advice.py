"""Which plastic a part needs: from what it touches, with the temperatures of published data sheets."""

from __future__ import annotations

from typing import Any, ClassVar

import pytest

from elbowroom.model.build.make_spec import PrinterSpec
from elbowroom.model.layout.layout import Gaps, Layout, Mate, Piece
from elbowroom.model.making import advice
from elbowroom.model.making.orders import gathered
from elbowroom.model.making.rules import AIR_C, ORDER, PLASTICS, RADIATOR_C
from elbowroom.parts.fan.fan import Fan
from elbowroom.parts.made.primitives import PlainBox
from elbowroom.parts.made.riser import Riser
from elbowroom.parts.vocabulary.base import Body, Box, Frame, Hole, HolePattern, Part
from elbowroom.parts.vocabulary.pose import IDENTITY, Pose, pose
from elbowroom.parts.water.pump import Pump
from elbowroom.parts.water.radiator import Radiator


class Block(Part):
    """A printed block, with a screw hole or without, and a brass body that is not printed."""

    family: ClassVar[str] = "block"
    bored: bool = False

    def box(self) -> Box:
        return Box((0, 0, 0), (20, 20, 12))

    def bodies(self) -> tuple[Body, ...]:
        return (Body("block", "printed"), Body("insert", "brass"), Body("room", "air", keep_out="a driver"))

    def frames(self) -> tuple[Frame, ...]:
        return (Frame("top", "face", pose((10, 10, 10), (0, 0, 1)), ("block",)),)

    def patterns(self) -> tuple[HolePattern, ...]:
        holes = (Hole(0, 0, 4.5),) if self.bored else ()
        return (HolePattern("top", self.frame("top").pose, holes, "block"),)

    def print_pose(self) -> Pose | None:
        return IDENTITY

    def solids(self) -> dict[str, Any]:
        raise AssertionError("advice draws nothing")


def piece(name: str, part: Part) -> Piece:
    return Piece(name, part, IDENTITY, "parts")


def layout(part: Part, *mates: tuple[str, str]) -> Layout:
    pieces = (
        piece("foot", part), piece("front radiator", Radiator()), piece("fan 1", Fan()), piece("fan 2", Fan()),
        piece("pump", Pump()), piece("shelf", PlainBox()),
    )  # fmt: skip
    return Layout("t", pieces, tuple(Mate(a, "a", b, "b") for a, b in mates), Gaps())


@pytest.mark.parametrize(
    ("bored", "mates", "plastic", "words"),
    [
        (False, [("foot", "shelf")], "petg", ["air of the case"]),
        (False, [], "petg", ["air of the case"]),
        (False, [("front radiator", "foot")], "asa", ["front radiator", "70"]),
        (False, [("foot", "fan 1")], "petg", ["air of the case"]),
        (False, [("foot", "fan 1"), ("fan 1", "front radiator")], "asa", ["fan 1, which sits on front radiator"]),
        (False, [("foot", "fan 1"), ("fan 2", "front radiator")], "petg", ["air of the case"]),
        (True, [("foot", "shelf")], "asa", ["screws clamp it to shelf"]),
        (True, [], "petg", ["air of the case"]),
        (False, [("pump", "foot")], "asa", ["carries or holds pump"]),
    ],
)
def test_heat_clamping_and_load_come_from_the_mates(
    bored: bool, mates: list[tuple[str, str]], plastic: str, words: list[str]
) -> None:
    whole = layout(Block(bored=bored), *mates)
    need = advice.needed(whole.piece("foot"), whole)
    assert need.plastic == plastic
    assert all(w in "; ".join(need.why) for w in words)


def test_what_is_advised_stands_the_heat_it_gets() -> None:
    """Softening: PLA 55-60, PETG 75-85, ASA 95-100 degC; PLA softens in the air of a case."""
    assert [PLASTICS[p].softens[0] for p in ORDER] == [55.0, 75.0, 95.0]
    assert PLASTICS["pla"].softens[1] <= AIR_C < PLASTICS["petg"].softens[0]
    assert PLASTICS["petg"].softens[0] - RADIATOR_C < 10 < PLASTICS["asa"].softens[0] - RADIATOR_C


@pytest.mark.parametrize(
    ("chosen", "needed", "grade", "said"),
    [
        (None, "asa", "pass", "ASA (softens at 95-100"),
        ("asa", "petg", "pass", "the printer's ASA stands more"),
        ("petg", "petg", "pass", "PETG"),
        ("petg", "asa", "caution", "the printer's PETG softens at 75-85"),
        ("pla", "petg", "caution", "mock-ups only"),
    ],
)
def test_the_printers_plastic_is_held_against_the_need(chosen: Any, needed: Any, grade: str, said: str) -> None:
    found = advice.judged(advice.Need(needed, ("because",)), PrinterSpec(material=chosen))
    assert found.verdict == grade
    assert said in found.text
    assert "because" in found.text


@pytest.mark.parametrize(("chosen", "grade"), [(None, "caution"), ("asa", "caution"), ("petg", "caution")])
def test_of_what_is_not_known_the_stronger_plastic_and_a_caution(chosen: Any, grade: str) -> None:
    need = advice.alone(Block(bored=True))
    assert need.plastic == "asa"
    found = advice.judged(need, PrinterSpec(material=chosen))
    assert found.verdict == grade
    assert "not known what it touches" in found.text


def test_what_a_build_knows_of_a_part_holds_for_its_spares() -> None:
    known = advice.Need("petg", ("it stands in the air",))
    assert advice.merged(known, advice.alone(Block())) == advice.merged(advice.alone(Block()), known) == known


def test_an_adapter_is_clamped_to_what_it_joins_and_gets_as_hot() -> None:
    hot, cool = advice.clamped(True, "front radiator"), advice.clamped(False, "fan 1")
    assert hot.plastic == cool.plastic == "asa"
    assert f"{RADIATOR_C:g}" in hot.why[0]
    assert not any(f"{RADIATOR_C:g}" in w for w in cool.why)


def test_only_printed_bodies_are_made_and_a_spare_needs_what_its_like_in_the_build_needs() -> None:
    whole = layout(Block(bored=True), ("foot", "front radiator"))
    [order] = gathered(whole, (), PrinterSpec(hole_allowance=0))
    assert order.bodies == {"block"}
    assert order.wanted == ("foot",)
    assert order.need.plastic == "asa"


def test_copies_in_hotter_and_cooler_places_are_all_made_for_the_hotter() -> None:
    riser = Riser(material="printed")
    pieces = (piece("a", riser), piece("b", riser), piece("hot", Radiator()), piece("metal", Riser(material="brass")))
    whole = Layout("t", pieces, (Mate("b", "top", "hot", "back"),), Gaps())
    [order] = gathered(whole, (), PrinterSpec())
    assert (order.count, order.wanted, order.need.plastic) == (2, ("a", "b"), "asa")
    assert not any("nothing clamps" in w for w in order.need.why)
