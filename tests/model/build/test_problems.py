"""Messages about unknown names: what is asked for is always among what is shown, and never its own correction."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from elbowroom.model.build.problems import BuildError, choices
from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import parse
from elbowroom.model.layout.place import place

name = st.text("abcdefgh-", min_size=1, max_size=8)


@given(st.sets(name, min_size=1, max_size=90), st.data())
def test_a_name_mistyped_by_one_letter_is_always_shown(names: set[str], data: st.DataObject) -> None:
    meant = data.draw(st.sampled_from(sorted(names)))
    wrong = meant + "x"
    said = choices(wrong, names)
    assert meant in re.split(r"[\s,;]+", said.replace('"', ""))


@given(st.sets(name, max_size=20), name)
def test_the_nearest_name_is_never_the_one_that_was_refused(names: set[str], wrong: str) -> None:
    assert f'nearest: "{wrong}"' not in choices(wrong, names | {wrong})


@given(st.integers(0, 40), st.integers(1, 60))
def test_a_numbered_row_is_told_by_its_ends(first: int, count: int) -> None:
    names = [f"slot-{i}" for i in range(first, first + count)]
    said = choices("zzz", names).partition("known: ")[2]
    expected = f"slot-{first} to slot-{first + count - 1}" if count > 2 else ", ".join(names)
    assert said == expected


def test_a_part_whose_copies_are_numbered_is_named_as_such() -> None:
    body = (
        "title: t\nparts:\n  board: {motherboard: motherboard-atx, at: {x: 0, y: 0, z: 0}}\n"
        "  stick: {memory: memory-44, on: board.dimm-*}\n"
        "  box: {box: custom, on: stick.base}\n"
    )
    with pytest.raises(BuildError) as fault:
        place(load(parse(body, "b.yaml")))
    said = str(fault.value)
    assert '"stick" is numbered: stick 1 to stick 4; write "stick 1", or "stick *" for all of them' in said
    assert "nearest" not in said


def test_a_builders_word_for_a_family_is_told_as_such() -> None:
    """Wherever a build names a family: a part's key, a bare name, a pair under `gaps`; `card` leads to the card."""
    body = (
        "title: t\nparts:\n  a: {rad: custom}\n  b: {card: custom}\n  c: mobo\n"
        "  d: {chassis: custom}\n"  # a case is no part: its family is not offered there
    )
    with pytest.raises(BuildError) as fault:
        load(parse(body, "b.yaml"))
    said = str(fault.value)
    assert 'no part family "rad"; a builder\'s word for: radiator; write one as {family: size}' in said
    assert 'no part family "card"; a builder\'s word for: gpu or gpu-mount or card-support' in said
    assert 'no family or catalogue size "mobo"; a builder\'s word for: motherboard' in said
    assert "for: case" not in said
    pair = "title: t\nparts: {a: {box: custom, at: {x: 0, y: 0, z: 0}}}\n"
    pair += "gaps: {between: [{families: [rad, fan], gap: 2}]}\n"
    with pytest.raises(BuildError, match='no part family "rad"; a builder\'s word for: radiator'):
        place(load(parse(pair, "b.yaml")))
