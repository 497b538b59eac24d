"""Who a piece is: names are made of it, and nothing has to be read back out of them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from elbowroom.model import pipeline
from elbowroom.model.layout.identity import Entered, Fitted, Identity, Port, Run, Screwed, row_of
from elbowroom.model.layout.layout import Piece
from elbowroom.model.store import Store
from elbowroom.parts.made.primitives import PlainBox
from elbowroom.parts.vocabulary.pose import IDENTITY

names = st.text(min_size=1, max_size=8)
ports = st.builds(Port, names, names)


@pytest.mark.parametrize(
    ("who", "name", "row"),
    [
        (Entered("fan"), "fan", ("fan", None)),
        (Entered("fan", 3), "fan 3", ("fan", 3)),
        (Entered("roof fan 2", 1, "roof"), "roof fan 2 1", ("roof fan 2", 1)),
        (Entered("ssd 12"), "ssd 12", ("ssd", 12)),  # numbered by the builder's own hand
        (Entered("12"), "12", ("12", None)),
        (Fitted("plug", Port("tank", "out")), "plug at tank.out", ("plug at tank.out", None)),
        (Fitted("plug", Port("ssd 1", "out"), 1, 2), "plug at ssd 1.out (2)", ("plug at ssd 1.out (2)", None)),
        (Screwed("M3 x 8", "rad.b", 2), "M3 x 8 at rad.b 3", ("M3 x 8 at rad.b", 3)),
        (Screwed("washer", "rad.b", 0, 1), "washer at rad.b 1 (2)", ("washer at rad.b", 1)),
        (Run("a.x -> b.y", 2), "tube 2", ("tube", 2)),
    ],
)
def test_names_are_made_of_who_a_piece_is(who: Identity, name: str, row: tuple[str, int | None]) -> None:
    assert str(who) == name
    assert row_of(who) == row


@given(names, st.integers(1, 99), ports)
def test_a_word_means_a_piece_an_entry_or_a_row_and_nothing_that_merely_reads_alike(
    entry: str, copy: int, port: Port
) -> None:
    def piece(who: Identity) -> Piece:
        return Piece(str(who), PlainBox(), IDENTITY, "parts", identity=who)

    of_entry, fitting = piece(Entered(entry, copy)), piece(Fitted(entry, port, 0, 2))
    assert of_entry.answers_to(entry)
    assert of_entry.answers_to(f"{entry} {copy}")
    assert not of_entry.answers_to(f"{entry} {copy + 1}")
    assert fitting.answers_to(fitting.name)
    assert not fitting.answers_to(entry)


def test_a_piece_whose_maker_says_nothing_is_the_one_of_its_name() -> None:
    piece = Piece("lid", PlainBox(), IDENTITY, "parts")
    assert piece.identity == Entered("lid")
    assert piece.stack is None


BUILD = """\
title: t
case: {interior: {depth: 400, width: 220, height: 400}, board: null, slots: 0, psu: null, feet: null,
  open_side: none, cable_space: 0,
  openings: {roof: {face: roof, size: 120, count: 2, gap: 15, slot: 4, centre: {rear: 200, tray: 110}}}}
stacks:
  roof: {layers: [{fan: fan-120x25, cable_to: rear tray}], flow: out}
parts:
  tank: {box: custom, length: 60, width: 60, height: 60, at: {rear: 100, tray: 60, floor: 60},
    ports: [{name: in, face: left}]}
fittings: {at: {tank.in: [extension-20, plug]}}
"""


def test_every_piece_of_a_checked_build_is_called_after_who_it_is(tmp_path) -> None:  # type: ignore[no-untyped-def]
    file = tmp_path / "b.yaml"
    file.write_text(BUILD)
    pieces = pipeline.check(file, Store.default()).layout.pieces
    assert {p.name for p in pieces} == {str(p.identity) for p in pieces}
    assert {p.identity.copy for p in pieces if isinstance(p.identity, Entered) and p.stack == "roof"} == {1, 2}
    chain = [p.identity for p in pieces if isinstance(p.identity, Fitted)]
    assert [(f.port, f.link, f.of) for f in chain] == [(Port("tank", "in"), k, 2) for k in range(2)]
    screws = [p for p in pieces if p.part.small]
    assert screws
    assert all(isinstance(p.identity, Screwed) for p in screws)
