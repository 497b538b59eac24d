"""The numbers of a piece: where each is written, what may stand there, what it rests on, the way it moves the piece."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from elbowroom.model import demos
from elbowroom.model.build.problems import BuildError
from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import Document, parse
from elbowroom.model.build.writing import put
from elbowroom.model.layout.identity import Screwed
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.layout.place import placed
from elbowroom.model.view.numbers import Number, entry_of, numbers_of
from elbowroom.model.view.ways import with_ways
from tests.model.builds_for_tests import SMALL

ROOT = Path(demos.__file__).parent


def lay(document: Document) -> Layout:
    return placed(load(document)).layout


def of(text: str, name: str) -> dict[str, Number]:
    document = parse(text)
    build = load(document)
    piece = placed(build).layout.piece(name)
    found = with_ways(numbers_of(build, document, piece), text, document, piece, lay)
    return {".".join(map(str, n.path)): n for n in found}


def test_a_place_on_a_wall_has_its_two_distances_and_the_way_each_goes() -> None:
    found = of(SMALL, "crate")
    rear, tray = found["parts.crate.at.rear"], found["parts.crate.at.tray"]
    assert (rear.text, rear.unit, rear.rests, rear.way) == ("250", "mm", "the build file", (1.0, 0.0, 0.0))
    assert tray.way == (0.0, -1.0, 0.0)
    assert found["parts.crate.lift"].way == (0.0, 0.0, 1.0)
    assert found["parts.crate.clock"].way is None


def test_a_size_has_its_range_and_what_it_rests_on() -> None:
    found = of(SMALL, "crate")
    height = found["parts.crate.height"]
    assert (height.text, height.least, height.least_too, height.most) == ("100", 0.1, False, 2000)
    assert height.rests == "the build file"
    assert height.way is None
    thickness = of(SMALL, "top")["stacks.roof.layers.1.thickness"]
    assert thickness.text == "30"
    assert thickness.assumed
    assert "practice" in thickness.rests


def test_what_is_stated_with_its_tolerance_or_unit_is_shown_so() -> None:
    text = SMALL.replace("height: 100", "height: 10 cm ± 1 mm")
    height = of(text, "crate")["parts.crate.height"]
    assert (height.text, height.value) == ("10 cm ± 1 mm", 100.0)


def test_a_distance_of_a_catalogue_case_is_written_with_those_it_goes_with() -> None:
    """Distances from walls are replaced together: one alone would say that the others are not given."""
    text = "title: t\ncase: {like: case-mini-itx}\nparts: {a: {box: custom, at: {rear: 1, tray: 1, floor: 1}}}\n"
    held = [n for n in of(text, "case").values() if n.whole is not None]
    assert held
    for n in held:
        assert n.value is not None
        again = of(put(text, *n.to(n.value + 1)), "case")
        assert again[".".join(map(str, n.path))].value == n.value + 1
        others = [m for m in held if m.path[:-1] == n.path[:-1] and m is not n]
        assert all(again[".".join(map(str, m.path))].value == m.value for m in others)


@pytest.mark.parametrize("name", ["skiff-planned", "starter", "skiff-mended"])
def test_each_number_stands_where_it_says_and_each_way_is_the_way_the_piece_goes(name: str) -> None:
    text = (ROOT / f"{name}.yaml").read_text(encoding="utf-8")
    document = parse(text)
    build = load(document)
    layout = placed(build).layout
    moved = 0
    for piece in layout.pieces:
        for n in numbers_of(build, document, piece)[:8]:
            if n.value is None:
                continue
            try:
                new = parse(put(text, *n.to(n.value + 2)))
                again = placed(load(new)).layout
            except BuildError:
                continue  # out of its range, or nothing that goes with the others
            held = numbers_of(load(new), new, again.piece(piece.name))
            assert {m.path: m.value for m in held}[n.path] == pytest.approx(n.value + 2)
            [m] = with_ways([n], text, document, piece, lay)
            if m.way is not None:
                step = again.piece(piece.name).pose[:3, 3] - piece.pose[:3, 3]
                assert np.allclose(step, 2 * np.array(m.way), atol=1e-6)
                moved += 1
    assert moved > 10


def test_copies_stand_under_one_entry_and_what_elbowroom_put_in_under_none() -> None:
    build = load(parse(SMALL))
    layout = placed(build).layout
    fans = [p for p in layout.pieces if p.part.family == "fan"]
    assert len(fans) == 2
    assert entry_of(build, fans[0]) is entry_of(build, fans[1])
    assert {n.path[:4] for n in numbers_of(build, build.document, fans[1])} == {("stacks", "roof", "layers", 0)}


def test_a_word_of_a_few_has_those_it_may_be_and_a_catalogue_size_the_sizes() -> None:
    found = of((ROOT / "skiff-planned.yaml").read_text(encoding="utf-8"), "card")
    assert found["parts.card.power_side"].choices == ("top", "end")
    size = found["parts.card.gpu"]
    assert size.text == "gpu-block-short"
    assert {"gpu-block-short", "gpu-block-2slot", "custom"} <= set(size.choices)
    for n in found.values():
        if n.choices:
            assert n.text in n.choices
            assert n.value is None
    text = (ROOT / "skiff-planned.yaml").read_text(encoding="utf-8")
    again = of(put(text, *size.to("gpu-block-2slot")), "card")
    assert again["parts.card.gpu"].text == "gpu-block-2slot"


def test_a_bare_size_of_a_layer_can_be_another() -> None:
    text = SMALL.replace("      - {fan: fan-120x25,", "      - gasket-240\n      - {fan: fan-120x25,")
    gasket = of(text, "roof gasket")["stacks.roof.layers.0.gasket"]
    assert gasket.text == "gasket-240"
    new = put(text, *gasket.to("gasket-280"))
    assert "      - {gasket: gasket-280}\n" in new
    assert of(new, "roof gasket")["stacks.roof.layers.0.fan_size"].value == 140


def test_the_screws_of_a_joint_are_told_as_the_file_has_them() -> None:
    document = parse("title: t\nscrews: {use: {top.b: M3x35}}\n")
    build, part = load(parse(SMALL)), load(parse(SMALL)).parts[0].part
    pieces = {j: Piece("s", part, np.eye(4), "screws", identity=Screwed("M3 x 35", j, 0)) for j in ("top.b", "top.a")}
    [stated], [free] = (numbers_of(build, document, pieces[j]) for j in ("top.b", "top.a"))
    assert (stated.text, stated.path) == ("M3x35", ("screws", "use", "top.b"))
    assert free.text == ""
    assert "elbowroom chose it" in free.rests
