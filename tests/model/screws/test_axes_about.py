"""Asking for the lines of a few pieces gives of them what asking for all lines does."""

from __future__ import annotations

import numpy as np
import pytest

from elbowroom.model import demos
from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import override, parse
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.layout import Layout
from elbowroom.model.layout.place import place
from elbowroom.model.screws.axes import axes
from elbowroom.model.screws.lines import Axis
from elbowroom.model.store import Store


def through(lines: list[Axis], name: str) -> list[tuple[object, ...]]:
    """What a piece's lines are, as plain values in their order."""
    mine = [a for a in lines if name == a.piece.name or name in {p.piece.name for p in a.passed}]
    return [
        (a.piece.name, a.pattern.name, a.hole, a.ends, np.round(a.origin, 6).tolist(), np.round(a.out, 6).tolist(),
         [(p.piece.name, p.hole, p.thickness) for p in a.passed], a.blocked, a.free, a.stud)
        for a in mine
    ]  # fmt: skip


def demo(name: str) -> Layout:
    file = next(p for pair in demos.pairs() for p in pair if p.stem == name)
    document = parse(file.read_text(encoding="utf-8"), file.name, file.parent)
    if name == "flume-mended":  # a height that its lines are asked for at
        override(document, ["parts.riser.height=11.4", "parts.plate.lift=11.4"])
    return place(load(document))


@pytest.mark.slow
@pytest.mark.demos
@pytest.mark.parametrize("name", ["flume-mended", "gauge-planned", "skiff-mended"])
def test_the_lines_about_one_piece_are_those_of_it_among_all(name: str) -> None:
    layout = demo(name)
    scene = solidify(layout, Store.default())
    every = axes(layout, scene)
    asked = [p.name for p in layout.pieces if p.name != "case" and through(every, p.name)]
    assert len(asked) >= 9
    for piece in asked:
        assert through(axes(layout, scene, {piece}), piece) == through(every, piece), piece


@pytest.mark.slow
@pytest.mark.demos
def test_patterns_that_no_line_of_a_piece_can_reach_are_passed_over() -> None:
    layout = demo("flume-mended")
    scene = solidify(layout, Store.default())
    few = axes(layout, scene, {"riser 1"})
    assert 0 < len(few) < len(axes(layout, scene)) / 2
