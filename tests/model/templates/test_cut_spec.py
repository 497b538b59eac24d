"""Cuts asked for in a build: the sheet that comes back, measured by the exact kernel; faults with their places."""

from __future__ import annotations

from pathlib import Path

import pytest

from elbowroom.model.build import source
from elbowroom.model.build.problems import BuildError
from elbowroom.model.build.resolve import load
from elbowroom.model.cutting.asked import apply
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.identity import Fitted, Port
from elbowroom.model.layout.layout import Piece
from elbowroom.model.layout.place import place
from elbowroom.model.store import Store
from elbowroom.parts.vocabulary.pose import apply as moved

BUILD = """
title: t
parts:
  tank: {box: custom, length: 30, width: 24, height: 40, at: {x: 40, y: 3, z: -20},
         ports: [{name: out, face: top, depth: 8}]}
  rod: {cylinder: custom, diameter: 12, height: 60, at: {x: -25, y: 0, z: -30}}
  shelf: {sheet: custom, length: 100, width: 60, thickness: 2, at: {x: 0, y: 0, z: 0},
          holes: [{face: top, at: [-25, 20], diameter: 4}, {face: top, at: [0, -20], diameter: 4}]}
"""


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    return Store(tmp_path_factory.mktemp("cache"))


def cut(store, words, build=BUILD, more=()):
    document = source.parse(build + words, "build.yaml", Path("."))
    loaded = load(document)
    layout = place(loaded)
    from dataclasses import replace

    layout = replace(layout, pieces=(*layout.pieces, *more))
    return layout, apply(layout, solidify(layout, store), loaded.cut, document, store)


def faults(store, words, build=BUILD):
    with pytest.raises(BuildError) as e:
        cut(store, words, build)
    return [str(p) for p in e.value.problems]


def test_the_sheet_comes_back_cut_and_clear_of_what_it_must_clear(store):
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape

    from elbowroom.parts.vocabulary import draw

    before, made = cut(store, "cut:\n  - {in: shelf, for: [tank, rod], gap: 2, tool: 3}\n")
    after = made.layout.piece("shelf")
    assert [p.name for p in made.layout.pieces] == [p.name for p in before.pieces]
    assert len(after.part.cutouts) == 2
    assert "cutouts" in after.given
    shelf = draw.moved(after.part.solids()["body"], after.pose)
    for name in ("tank", "rod"):
        p = made.layout.piece(name)
        gap = BRepExtrema_DistShapeShape(shelf.wrapped, draw.moved(p.part.solids()["body"], p.pose).wrapped).Value()
        assert 2.0 - 1e-5 <= gap <= 2.4
    (note,) = made.notes
    assert note.text.startswith("shelf: 1 notch, 1 hole to clear tank, rod by 2 mm takes ")
    # Rod: radius 6 + gap 2, and a hole of 4 at 20 from its middle: 10 between them.
    assert "the narrowest material left beside it is 9.9 mm" in note.text or "is 9.8 mm" in note.text


def test_cuts_in_order_keep_what_was_cut_before(store):
    _, made = cut(store, "cut:\n  - {in: shelf, for: tank}\n  - {in: shelf, for: rod}\n")
    assert len(made.layout.piece("shelf").part.cutouts) == 2
    assert len(made.notes) == 2


def test_the_fittings_on_a_port_are_meant_by_the_port(store):
    from elbowroom.parts.made.primitives import PlainCylinder
    from elbowroom.parts.vocabulary.pose import shift

    who = Fitted("barb-10", Port("tank", "out"), 0, 2)
    more = (Piece(str(who), PlainCylinder(diameter=8, height=30), shift(0, 10, -10), "fittings", identity=who),)
    _, made = cut(store, "cut:\n  - {in: shelf, for: tank.out, gap: 1}\n", more=more)
    assert "to clear barb-10 at tank.out (1) by 1 mm" in made.notes[0].text
    assert moved(made.layout.piece("shelf").pose, (0, 0, 0)).tolist() == [0, 0, 0]


def test_what_is_clear_already_is_left_alone(store):
    far = BUILD.replace("x: -25, y: 0, z: -30", "x: -25, y: 0, z: 10")
    before, made = cut(store, "cut:\n  - {in: shelf, for: rod}\n", far)
    assert made.layout.piece("shelf").part == before.piece("shelf").part
    assert tuple(n.text for n in made.notes) == ("shelf: nothing is cut, since it clears rod by 2 mm already",)


def test_every_fault_is_told_with_its_place(store):
    words = (
        "cut:\n  - {in: shlef, for: tank}\n  - {in: tank, for: rod}\n  - {in: shelf, for: [rood, tank.in, tank.out]}\n"
    )
    said = faults(store, words)
    assert [s.split(" cut.")[0].split(":")[1] for s in said] == ["10", "11", "12", "12", "12"]
    for text, wanted in zip(said, (
        'cut.0.in: no part "shlef"; nearest: "shelf"; known: shelf',
        'cut.1.in: "tank" is a box with ports: what holds coolant is not cut; known: shelf',
        'cut.2.for.0: no part "rood"; nearest: "rod"',
        'cut.2.for.1: tank has no port "in"',
        "cut.2.for.2: nothing is screwed into tank.out: there is no fitting to clear",
    ), strict=True):  # fmt: skip
        assert wanted in text


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        ("cut:\n  - {in: shelf, for: rod, gap: -1}\n", r"cut.0.gap: .*-1.* must be at least 0 mm"),
        (
            "cut:\n  - {in: shelf, fro: rod}\n",
            r'cut.0.fro: unknown key "fro"; nearest: "for"; known: for, gap, in, tool',
        ),
        ("cut:\n  - {in: shelf, for: []}\n", r"cut.0.for"),
        ("cut:\n  - {in: shelf, for: rod, gap: 15}\n", r"hole 1 in face 'top' comes .* mm too close to a cutout"),
    ],
)
def test_words_that_cannot_be_meant(store, words, wanted):
    import re

    assert any(re.search(wanted, s) for s in faults(store, words)), faults(store, words)
