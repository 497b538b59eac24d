"""A catalogue case of other sizes: what still lies in it stays, what does not follows its other wall or falls away.

Every case of the catalogue is right by itself (the contract), so that whatever is wrong here comes of the sizes.
"""

from __future__ import annotations

import textwrap

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from elbowroom.model.build.problems import BuildError
from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import parse
from elbowroom.model.layout.place import place
from elbowroom.parts.case.case import Case
from elbowroom.parts.catalogue import sizes


def build(case: str, parts: str = "{}") -> Case:
    text = textwrap.dedent(f"title: t\ncase: {case}\nparts: {parts}\n")
    part = place(load(parse(text, "b.yaml"))).piece("case").part
    assert isinstance(part, Case)
    return part


def cautions(case: Case) -> list[str]:
    return [f.text for f in case.faults() if f.verdict == "caution"]


def fails(case: Case) -> list[str]:
    return [f.text for f in case.faults() if f.verdict == "fail"]


def test_a_deeper_case_keeps_all_as_it_was() -> None:
    case = build("{like: case-atx-tower, interior: {depth: 441}}")
    assert case.faults() == ()
    assert {n: o.centre for n, o in case.openings.items()} == {
        n: o.centre for n, o in Case(**sizes("case")["case-atx-tower"].fields).openings.items()
    }


def test_what_no_longer_lies_in_it_follows_its_other_wall() -> None:
    # The rows of three take 390; in a case of 405 their middle at 235 from the rear ends 25 past the front. From the
    # front they had 430 - 235 = 195, which goes.
    case = build("{like: case-atx-tower, interior: {depth: 405}}")
    assert fails(case) == []
    assert case.openings["floor"].centre["front"] == pytest.approx(195)
    assert [t for t in cautions(case) if 'opening "floor"' in t and "distance from the front" in t]


def test_what_has_no_room_falls_away_and_is_named() -> None:
    case = build("{like: case-atx-tower, interior: {depth: 330}}")
    assert fails(case) == []
    assert "floor" not in case.openings
    assert any('opening "floor"' in t and "falls away" in t for t in cautions(case))
    with pytest.raises(BuildError, match="falls away"):
        build("{like: case-atx-tower, interior: {depth: 330}}", "{fan: {fan: fan-120x25, on: case.floor-1}}")


def test_what_the_build_states_stays_and_is_a_fault() -> None:
    row = "{face: floor, size: 120, count: 3, gap: 15, slot: 12, centre: {rear: 235, tray: 118}}"
    case = build(f"{{like: case-atx-tower, interior: {{depth: 330}}, openings: {{floor: {row}}}}}")
    assert "floor" in case.openings
    assert any("opening floor leaves the floor" in t for t in fails(case))


@given(st.sampled_from(sorted(sizes("case"))), st.integers(-120, 120), st.integers(-60, 60), st.integers(-100, 100))
@settings(max_examples=40, deadline=None)
def test_no_size_makes_the_catalogues_own_openings_wrong(name: str, dx: int, dy: int, dz: int) -> None:
    fields = sizes("case")[name].fields
    was = Case(**fields)
    interior = {"depth": was.size[0] + dx, "width": was.size[1] + dy, "height": was.size[2] + dz}
    case = Case(**{**fields, "interior": interior}).adapted(fields, {"interior": interior})
    own = [f"opening {n}" for n in case.openings] + [f"cut-out {i}" for i in range(1, len(case.cutouts) + 1)]
    assert [t for t in fails(case) if any(n in t for n in own)] == []
    gone = len(was.openings) + len(was.cutouts) - len(case.openings) - len(case.cutouts)
    assert sum("falls away" in t for t in cautions(case)) == gone
