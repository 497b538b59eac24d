"""Slides that are told name what slides and, written into the build file to the letter, help every hole they are for.

Builds are small and invented. What is right is worked out from the build itself: its screws pass, its pieces stand in
line.
"""

from __future__ import annotations

import pytest

from elbowroom.model.screws.fasten import Fastened
from elbowroom.model.screws.joints import PASSES
from tests.model.screws.following import slid
from tests.model.screws.test_remedies import made, told

CASE = """title: t
case:
  interior: {depth: 430, width: 215, height: 385}
  sheet: 1.0
  slots: 0
  psu: null
  board: null
  openings:
    roof: {face: roof, size: 120, count: 2, gap: 15, slot: 4, centre: {rear: 215, open: 75}}
    front: {face: front, size: 120, count: 2, gap: 15, slot: 4, centre: {floor: 190, open: 90}}
"""
FAN = "{fan: fan-120x25, cable_to: roof tray}"
ROOF_FAN = FAN.replace("roof", "rear")
RADIATOR = "{radiator: radiator-240x30, name: low, ports_to: front}"
GASKET = "{gasket: custom, fans: 2}"


def stack(name: str, *layers: str) -> str:
    return CASE + f"stacks: {{{name}: {{flow: out, layers: [{', '.join(layers)}]}}}}\n"


def slide(layer: str, by: float, key: str = "slide") -> str:
    return layer.replace("}", f", {key}: {by:g}}}")


BLOCK = """title: t
case: {interior: {depth: 480, width: 240, height: 480}, slots: 0, board: null, sheet: 1.2}
parts:
  base:
    box: custom
    length: 80
    width: 60
    height: 20
    material: aluminium
    on: case.floor-wall
    at: {rear: 100, tray: 20}
    holes: [{face: top, at: [0, 0], thread: M3, depth: 10}, {face: top, at: [20, 0], thread: M3, depth: 10}]
  lid:
    sheet: custom
    length: 80
    width: 60
    thickness: 5
    on: base.top
    offset: [2, 1]
    holes: [{face: bottom, at: [0, 0], diameter: 3.4}, {face: bottom, at: [20, 0], diameter: 3.4}]
"""


@pytest.mark.slow
@pytest.mark.parametrize(
    ("text", "named", "way"),
    [
        # Copies of a layer stand under one entry: all of them slide.
        (stack("roof", slide(ROOF_FAN, 4)), {"roof fan 1 and 2"}, "along the row, toward the rear"),
        # A layer between, which alone is off.
        (stack("roof", ROOF_FAN, slide(GASKET, 3), RADIATOR), {"roof gasket"}, "along the row, toward the rear"),
        # Two layers off together: both are named, the fans follow the radiator.
        (
            stack("roof", ROOF_FAN, slide(GASKET, 5), slide(RADIATOR, 5)),
            {"roof gasket and low", "roof fan 1 and 2 go with it"},
            "along the row, toward the rear",
        ),
        # The row of an opening in the front runs upward, and across it lie the tray and the open side.
        (
            stack("front", FAN, slide(RADIATOR.replace("front", "roof"), 4, "aside")),
            {"low", "front fan 1 and 2 go with it"},
            "across the row, toward the open",
        ),
        (
            stack("front", FAN, slide(RADIATOR.replace("front", "roof"), 4)),
            {"low", "front fan 1 and 2 go with it"},
            "along the row, toward the floor",
        ),
        # Of a part that is in no stack nothing is "along": it is told by the walls.
        (BLOCK, {"lid"}, "2.00 mm toward the rear and 1.00 mm toward the open"),
        (
            BLOCK.replace("on: base.top\n    offset: [2, 1]", "at: {rear: 102, tray: 19, floor: 20}")
            + "mates: [[base.top, lid.bottom]]\n",
            {"base"},
            "2.00 mm toward the front and 1.00 mm toward the tray",
        ),
    ],
)
def test_a_slide_written_into_the_file_lets_every_screw_pass(text: str, named: set[str], way: str) -> None:
    found, before = told(text)
    assert any(max(f.off) > PASSES for j in before.joints for f in j.fits)
    (words,) = {r for some in found.holes.values() for r in some if r.startswith("slide ")}
    assert way in words
    assert all(n in words for n in named)
    assert words.startswith("slide " + min(named, key=len) + " by ")
    followed = slid(text, words)
    assert followed is not None
    _, after = made(followed)
    assert len(after.joints) == len(before.joints)
    assert all(max(f.off) <= PASSES for j in after.joints for f in j.fits)


def test_no_slide_is_told_that_mends_one_lid_and_spoils_the_other() -> None:
    """Two lids on one base, each measured from the walls: by its own slide the one that is off is mended, by one of the
    base the other would be lost.
    """
    base = BLOCK.split("  lid:")[0].rsplit("    holes:", 1)[0]
    holes = ", ".join(f"{{face: top, at: [{x}, 0], thread: M3, depth: 10}}" for x in (-30, -20, 20, 30))
    lid = "sheet: custom, length: 30, width: 60, thickness: 5"
    own = "holes: [{face: bottom, at: [-5, 0], diameter: 3.4}, {face: bottom, at: [5, 0], diameter: 3.4}]"
    text = (
        f"{base}    holes: [{holes}]\n"
        f"  one: {{{lid}, {own}, at: {{rear: 102, tray: 20, floor: 20}}}}\n"
        f"  other: {{{lid}, {own}, at: {{rear: 150, tray: 20, floor: 20}}}}\n"
        "mates: [[one.bottom, base.top], [other.bottom, base.top]]\n"
    )
    found, before = told(text)
    assert sorted(max(f.off) > PASSES for j in before.joints for f in j.fits) == [False, True]
    slides = [r for some in found.holes.values() for r in some if r.startswith("slide ")]
    assert [s.split(" by ")[0] for s in slides] == ["slide one"]


FILTERED = """title: t
case:
  interior: {depth: 330, width: 215, height: 450}
  sheet: 1.0
  slots: 0
  psu: null
  board: null
  openings: {front: {face: front, size: 120, count: 3, gap: 20, slot: 0, centre: {floor: 225, tray: 100}}}
stacks:
  front:
    flow: in
    layers: [{radiator: radiator-360x30-gap20, name: low, ports_to: roof}]
    outside: [{dust-filter: dust-filter-360, gap: 15, HOLE}]
"""


def tipping(fastened: Fastened) -> int:
    return sum(len(c.rows) for c in fastened.chosen if c.bears is not None and not c.bears.borne)


@pytest.mark.slow
@pytest.mark.parametrize("hole", ["hole: 9", "hole: 7", "hole: 6"])
def test_no_slide_is_told_by_which_heads_end_on_nothing(hole: str) -> None:
    """Rows of 15 over rows of 20: a filter with wide holes can be slid so that two of three places
    pass the shanks, and the heads, 2.5 mm off its holes' middles, lie half in these. A slide is told only where they
    hold.
    """
    text = FILTERED.replace("HOLE", hole)
    found, before = told(text)
    assert any(max(f.off) > PASSES for j in before.joints for f in j.fits)
    for words in {r for some in found.holes.values() for r in some if r.startswith("slide ")}:
        followed = slid(text, words)
        assert followed is not None
        assert tipping(made(followed)[1]) <= tipping(before)


def test_shanks_that_would_pass_where_heads_tip_are_seen_to() -> None:
    """What the slide of 2.5 mm would do, by hand: shanks of 3 pass holes of 9, and heads of 5.6 tip in them."""
    text = FILTERED.replace("HOLE", "hole: 9, slide: 2.5")
    _, after = made(text)
    (passed,) = [sum(o <= PASSES for o in f.off) for j in after.joints for f in j.fits if f.piece.part.loose_layer]
    assert passed == 8
    assert tipping(after) > 0
