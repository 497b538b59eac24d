"""A value put into a build file's text: the number is there, and every other byte is what it was."""

from __future__ import annotations

import difflib
from pathlib import Path
from typing import Any

import pytest

from elbowroom.model import demos
from elbowroom.model.build.problems import BuildError
from elbowroom.model.build.source import parse
from elbowroom.model.build.writing import MISSING, CannotWrite, number, put, value_at, written

TEXT = """\
# Measured on Sunday.
title: small          # as it is called
parts:
  crate: {box: custom, length: 80,  width: "60 ± 1", at: {rear: 250, tray: 110}}   # the tool box
  drive: drive-2.5in-7
  riser:
    riser: riser-12x18   # printed

    height: 18 # mm
  empty:
stacks:
  roof:
    layers:
      - {fan: fan-120x25,
         slide: 2}  # pushed
      - gasket-240
      - radiator: radiator-240x30
        name: top
note: |
  one
  two
"""


def changed(text: str, new: str) -> tuple[list[str], list[str]]:
    lines = [d for d in difflib.ndiff(text.splitlines(), new.splitlines()) if d[:1] in "+-"]
    return [d[2:] for d in lines if d[0] == "-"], [d[2:] for d in lines if d[0] == "+"]


@pytest.mark.parametrize(
    ("path", "value", "was", "now"),
    [
        (("parts", "crate", "length"), 81.5, "length: 80,  width", "length: 81.5,  width"),
        (("parts", "crate", "width"), "61 ± 1", '"60 ± 1"', "61 ± 1"),
        (("parts", "crate", "at", "tray"), -3, "tray: 110}}   # the", "tray: -3}}   # the"),
        (("parts", "crate", "height"), 40, "tray: 110}}   #", "tray: 110}, height: 40}   #"),
        (("parts", "riser", "height"), 20, "height: 18 # mm", "height: 20 # mm"),
        (("parts", "drive", "width"), 70, "drive: drive-2.5in-7", "drive: {box: drive-2.5in-7, width: 70}"),
        (("stacks", "roof", "layers", 0, "slide"), 2.5, "slide: 2}", "slide: 2.5}"),
        (("stacks", "roof", "layers", 1, "slide"), 1, "- gasket-240", "- {gasket: gasket-240, slide: 1}"),
    ],
)
def test_one_line_has_the_value_and_no_other_character_is_another(
    path: tuple[str | int, ...], value: Any, was: str, now: str
) -> None:
    new = put(TEXT, path, value)
    [before], [after] = changed(TEXT, new)
    assert was in before
    assert after == before.replace(was, now)
    assert value_at(parse(new), path) == value


def test_a_key_of_a_block_is_a_line_of_its_own_after_the_last_and_before_what_follows() -> None:
    new = put(TEXT, ("parts", "riser", "at", "rear"), 12)
    assert changed(TEXT, new) == ([], ["    at: {rear: 12}"])
    assert "height: 18 # mm\n    at: {rear: 12}\n  empty:" in new
    assert "        name: top\n        slide: 3\nnote: |" in put(TEXT, ("stacks", "roof", "layers", 2, "slide"), 3)


def test_what_nothing_stands_under_yet_is_made() -> None:
    assert "  empty: {height: 3}\n" in put(TEXT, ("parts", "empty", "height"), 3)
    with_gaps = put(TEXT, ("gaps", "default"), 2)
    assert changed(TEXT, with_gaps) == ([], ["gaps: {default: 2}"])
    assert parse(with_gaps).values["note"] == parse(TEXT).values["note"]


def test_line_ends_and_a_last_line_without_one_stay() -> None:
    text = "title: a\r\nparts:\r\n  b:\r\n    box: custom"
    assert put(text, ("parts", "b", "width"), 3) == text + "\r\n    width: 3"
    assert put(text, ("title",), "c") == text.replace("title: a", "title: c")


@pytest.mark.parametrize("value", ["a: b", "[x", "it's", "#no", "12", "true", "", " x ", '"', "-", "- x", "~", "*"])
def test_text_that_would_be_read_as_something_else_is_quoted(value: str) -> None:
    new = put(TEXT, ("parts", "crate", "name"), value)
    assert value_at(parse(new), ("parts", "crate", "name")) == value


def test_what_cannot_be_written_by_itself_is_refused() -> None:
    with pytest.raises(CannotWrite, match="several lines"):
        put(TEXT, ("note",), "three")
    with pytest.raises(CannotWrite, match="several lines"):
        put(TEXT, ("parts",), {"a": 1})
    with pytest.raises(CannotWrite, match="no item"):
        put(TEXT, ("stacks", "roof", "layers", 9), "gasket-240")
    with pytest.raises(CannotWrite, match="nothing inside"):
        put(TEXT, ("parts", "riser", "height", "x"), 1)
    with pytest.raises(BuildError):
        put("a: [", ("a",), 1)


@pytest.mark.parametrize("file", sorted(Path(demos.__file__).parent.glob("*.yaml")), ids=lambda f: f.stem)
def test_any_number_of_a_shipped_build_can_be_changed_alone(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    document = parse(text)
    paths = [p for p in document.marks if type(value_at(document, p)) in (int, float)]
    assert len(paths) > 10
    for path in paths:
        new = put(text, path, 987.25)
        [before], [after] = changed(text, new)
        mark = document.marks[path]
        assert after[: mark.column - 1] == before[: mark.column - 1]
        assert after[mark.column - 1 :].startswith("987.25")
        assert before.endswith(after[mark.column - 1 + len("987.25") :])


def test_numbers_have_the_digits_a_person_would_write() -> None:
    assert [number(v) for v in (310, 310.0, 0.1, -2.5, 1e-7, 1e15)] == [
        "310", "310", "0.1", "-2.5", "0.0000001", "1000000000000000",
    ]  # fmt: skip
    assert written({"a": [1, 2.5], "b": "x y", "c": None}) == "{a: [1, 2.5], b: x y, c: null}"
    assert value_at(parse(TEXT), ("parts", "nobody")) is MISSING
