"""A part of the catalogue drawn with its names: what is listed is what a build file may write."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import pytest

from elbowroom.model.pictures import family
from elbowroom.model.store import Store
from elbowroom.model.told.offered import offered
from elbowroom.parts.catalogue import family_of, sample, sizes
from elbowroom.parts.families import FAMILIES

SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("word", FAMILIES)
def test_every_name_of_every_family_is_offered_once_and_is_the_parts_own(word: str) -> None:
    found = sample(word)
    if found is None:
        assert word in ("cable", "file")  # whose shape the build states
        return
    _, part = found
    told = [o for o in offered(part) if o.sort != "holes"]
    names = [n for o in told for n in o.names]
    assert sorted(names) == sorted(f.name for f in part.frames())
    assert [n for o in offered(part) if o.sort == "holes" for n in o.names] == [p.name for p in part.patterns()]
    for o in told:
        assert o.sort == ("port" if part.frame(o.names[0]).kind == "port" else "place")


def test_names_that_differ_by_their_number_alone_are_one_row() -> None:
    found = sample("radiator", "radiator-360x30")
    assert found is not None
    rows = {o.name: o for o in offered(found[1])}
    assert rows["a-1 to a-3"].names == ("a-1", "a-2", "a-3")
    assert rows["in"].words.startswith("port, G1/4")
    holes = next(o for o in offered(found[1]) if o.sort == "holes" and o.name == "a")
    assert holes.words.startswith("12 x M3")
    assert family_of("radiator-360x30") == "radiator"


def test_the_sheet_of_a_size_lists_its_names_and_its_extents(store: Store) -> None:
    picture = family.picture("radiator-240x30", store)
    assert picture is not None
    said = [t.text or "" for t in ET.fromstring(picture.svg).iter(f"{SVG}text")]
    found = sample("radiator", "radiator-240x30")
    assert found is not None
    part = found[1]
    for n, o in enumerate(offered(part, rows=False), 1):
        assert any(s.startswith(f"{o.names[0]}: ") for s in said)
        assert str(n) in said
    for edge in part.box().size:
        assert f"{round(edge, 2):g} mm" in said
    assert sizes("radiator")["radiator-240x30"].about in " ".join(said)
    assert family.picture("cable", store) is None
    assert family.picture("no such", store) is None
