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


# -- stating some of the openings ------------------------------------------------------------------------------------

OWN = Case(**sizes("case")["case-atx-tower"].fields)


def test_stating_one_opening_leaves_the_others() -> None:
    # All names are those of walls here, which are also what distances are stated from.
    case = build("{like: case-atx-tower, openings: {roof: {face: roof, size: 120, centre: {rear: 200, tray: 150}}}}")
    assert set(case.openings) == {"floor", "roof", "front", "rear"}
    assert {n: o for n, o in case.openings.items() if n != "roof"} == {
        n: o for n, o in OWN.openings.items() if n != "roof"
    }


def test_an_opening_stated_with_its_face_stands_by_itself() -> None:
    # The catalogue's has air: full, a count of 3 and a gap: none of it is the stated one's.
    case = build("{like: case-atx-tower, openings: {front: {face: front, size: 120, centre: {floor: 230, tray: 118}}}}")
    front = case.openings["front"]
    assert (front.count, front.gap, front.air) == (1, None, "round")


def test_an_opening_without_its_face_changes_the_catalogues() -> None:
    case = build("{like: case-atx-tower, openings: {front: {slot: 6}}}")
    assert case.openings["front"] == OWN.openings["front"].model_copy(update={"slot": 6})
    assert case.openings["roof"] == OWN.openings["roof"]


def test_a_place_stated_anew_replaces_the_distances_together() -> None:
    case = build("{like: case-atx-tower, openings: {front: {centre: {roof: 240, tray: 110}}}}")
    assert dict(case.openings["front"].centre) == {"roof": 240, "tray": 110}
    assert case.openings["front"].count == 3


def test_null_leaves_an_opening_out() -> None:
    case = build("{like: case-atx-tower, openings: {roof: null}}")
    assert set(case.openings) == {"floor", "front", "rear"}


def test_a_null_for_no_opening_of_the_catalogue_is_told() -> None:
    with pytest.raises(BuildError, match="rof"):
        build("{like: case-atx-tower, openings: {rof: null}}")


def test_of_the_catalogues_openings_one_gives_way_to_what_is_stated_there() -> None:
    case = build(
        "{like: case-atx-tower, openings: {lid: {face: roof, size: 120, count: 3, gap: 15, centre: "
        "{rear: 215, tray: 150}}}}"
    )
    assert fails(case) == []
    assert set(case.openings) == {"floor", "front", "rear", "lid"}
    assert [t for t in cautions(case) if '"roof"' in t and "beside what the build states" in t]


def test_a_changed_opening_still_follows_its_wall_in_a_smaller_case() -> None:
    case = build("{like: case-atx-tower, interior: {depth: 405}, openings: {floor: {slot: 9}}}")
    assert fails(case) == []
    assert case.openings["floor"].slot == 9
    assert case.openings["floor"].centre["front"] == pytest.approx(195)


def test_a_changed_opening_never_falls_away_unseen() -> None:
    case = build("{like: case-atx-tower, interior: {depth: 330}, openings: {floor: {slot: 9}}}")
    assert any("floor" in t for t in fails(case))
    assert "floor" in case.openings
