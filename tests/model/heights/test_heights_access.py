"""Heights and what has to get at the raised part: a range told is one in which its ports and screws can be used.

Ranges are worked out by hand from distances along one axis: a plug stands 4 mm over its port, it is 17.5 wide,
and it comes in along its thread, 5 mm (the tool's own catalogue; P). The whole check of the build with the height as a
number is the other judge.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from elbowroom.model import heights, pipeline
from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import Document, parse
from elbowroom.model.heights.asked import OfPort
from elbowroom.model.heights.moved import Moved
from elbowroom.model.layout.place import place
from elbowroom.model.loop.plumbing import plumb
from elbowroom.model.reach import meant
from elbowroom.model.store import Store
from elbowroom.model.told.findings import FAILING, UNDECIDED, Finding

EDGE = 0.03  # mm: to which an edge of what drivers and fittings allow is halved down
PLUG, WIDE, THREAD = 4.0, 17.5, 5.0

# A plate 20 thick on risers at the front wall of a case 630 deep, x = 630 there.
BUILD = """
title: heights
case: {{interior: {{depth: 630, width: 285, height: 630}}}}
parts:
  plate: {{plate: custom, length: 120, width: 60, thickness: 20, on: case.front-wall, clock: 90, lift: {lift},
          at: {{tray: 110, floor: 250}}, ports: [{{name: return, face: {face}, at: {at}}}]}}
  riser: {{riser: riser-12x18, height: {height}, hole: tapped, on: plate.mount-*, by: top}}
{more}
fittings: {{at: {{plate.return: {chain}}}}}
gaps: {{default: 1}}
"""


def settled(document: Document) -> tuple[Document, list[Finding]]:
    return heights.settled(document, Store.default())


def text_of(more: str, **words: Any) -> str:
    usual = {"lift": "fit", "face": "front", "at": "[0, 0]", "height": "fit", "chain": "plug"}
    return BUILD.format(more=more, **{**usual, **words})


def solved(more: str, **words: Any) -> tuple[float, Finding, dict[str, Any]]:
    out, [finding] = settled(parse(text_of(more, **words), "b.yaml"))
    return out.values["parts"]["riser"]["height"], finding, dict(finding.extra)


def objections(folder: Path, more: str, height: float, **words: Any) -> list[str]:
    """What the whole check has against a height that is written as a number."""
    file = folder / "b.yaml"
    file.write_text(text_of(more, **{**words, "lift": height, "height": height}))
    return [f.text for f in pipeline.check(file, Store.default()).findings if f.verdict in FAILING | UNDECIDED]


def box(x: float, y: float, z: float, sizes: tuple[float, float, float], name: str = "before") -> str:
    names = ("length", "width", "height")
    size = ", ".join(f"{k}: {v:g}" for k, v in zip(names, sizes, strict=True))
    return f"  {name}: {{box: custom, {size}, at: {{x: {x:g}, y: {y:g}, z: {z:g}}}}}\n"


def frame(**words: Any) -> np.ndarray[Any, Any]:
    layout = place(load(parse(text_of("", **{**words, "lift": 50, "height": 50}), "b.yaml")))
    return layout.piece("plate").frame_pose("return")


@pytest.mark.slow
@pytest.mark.parametrize("how", ["middle", "least"])
def test_a_range_ends_where_a_plug_no_longer_goes_in(tmp_path: Path, how: str) -> None:
    at = frame()
    before = box(630 - 90 - 30, at[1, 3], at[2, 3], (60, 60, 60))  # its face 90 off the wall
    height, finding, extra = solved(before, height=f"{{fit: {how}, at_least: 45, at_most: 70}}")
    # Its body alone would be clear up to 90 - 20 - 4 - 1 = 65; coming in, it needs the thread's length.
    assert extra["intervals"] == [pytest.approx([45.0, 90 - 20 - PLUG - THREAD], abs=EDGE)]
    assert finding.verdict == "pass"
    assert "plate.return: plug cannot be screwed in" in finding.text.partition("higher")[2]
    assert height == pytest.approx(45.0 if how == "least" else 53.0, abs=0.2)
    assert objections(tmp_path, before, height) == []
    assert any("plate.return" in t for t in objections(tmp_path, before, 62.0))


@pytest.mark.slow
def test_where_only_parts_of_a_range_let_a_plug_in_these_are_told(tmp_path: Path) -> None:
    """A bar 6 before a port in the plate's edge, while the port goes by it: the plug is clear of it all along."""
    at = frame(face="top", at="[0, 10]")
    middle = at[:3, 3] + (6 + 3) * at[:3, 2]
    long = np.where(np.abs(at[:3, 2]) > 0.5, 6.0, 60.0)
    # Beside the port in the third direction it is long; along the wall's normal it is 6, about 60 off the wall.
    bar = box(630 - 60, middle[1], middle[2], (6, long[1], long[2]), "bar")
    half = 3 + WIDE / 2
    words = {"face": "top", "at": "[0, 10]"}
    height, finding, extra = solved(bar, height="{fit: least, at_least: 30, at_most: 70}", **words)
    assert extra["intervals"][0] == pytest.approx([30.0, 60 - 10 - half], abs=EDGE)
    assert height == 30.0
    height, finding, extra = solved(bar, height="{fit: middle, at_least: 30, at_most: 70}", **words)
    wanted = [[30.0, 60 - 10 - half], [60 - 10 + half, 70.0]]
    assert extra["intervals"] == [pytest.approx(s, abs=EDGE) for s in wanted]
    assert any(a <= height <= b for a, b in extra["intervals"])
    assert "so does anything from" in finding.text
    assert objections(tmp_path, bar, height, **words) == []
    assert any("plate.return" in t for t in objections(tmp_path, bar, 50.0, **words))


@pytest.mark.slow
def test_where_no_height_lets_a_plug_in_it_is_said_with_the_cause() -> None:
    at = frame()
    before = box(630 - 66 - 30, at[1, 3], at[2, 3], (60, 60, 60))
    # Clear up to 66 - 25 = 41, no room to come in above 66 - 29 = 37.
    _, finding, extra = solved(before, height="{fit: least, at_least: 38, at_most: 41}")
    assert finding.verdict == "fail"
    assert "no height lets plate fit" in finding.text
    assert "plate.return: plug cannot be screwed in: before/body" in finding.text
    assert extra["intervals"] == []


@pytest.mark.slow
def test_what_shuts_a_port_at_every_height_is_said_before_all_else() -> None:
    """A sheet that goes up with the plate, right over the port."""
    sheet = "  fascia: {sheet: custom, length: 100, width: 50, thickness: 3, on: plate.front, lift: 6}\n"
    _, finding, extra = solved(sheet, height="{fit: least, at_least: 30, at_most: 50}")
    assert finding.verdict == "fail"
    assert finding.text.startswith("riser: no height from 30.00 mm to 50.00 mm fits")
    assert "plate.return: plug cannot be screwed in: fascia" in finding.text.partition("But for that")[0]
    assert [x["question"] for x in extra["at_every_height"]] == ["port-reach"]


def test_a_port_that_stands_still_is_asked_as_well(tmp_path: Path) -> None:
    """A block before the plate with a plug toward it: the plate comes nearer until the plug no longer goes in."""
    at = frame()
    still = box(630 - 90 - 30, at[1, 3], at[2, 3], (60, 60, 60)).replace(
        "at: {x", "ports: [{name: side, face: front}], at: {x"
    )
    more = still + "fittings: {at: {before.side: plug}}\n"
    text = text_of(more, height="{fit: middle, at_least: 45, at_most: 70}").replace(
        "fittings: {at: {plate.return: plug}}\n", ""
    )
    _, [finding] = settled(parse(text, "b.yaml"))
    assert dict(finding.extra)["intervals"] == [pytest.approx([45.0, 90 - 20 - PLUG - THREAD], abs=EDGE)]
    assert "before.side: plug cannot be screwed in" in finding.text


@pytest.mark.slow
@pytest.mark.parametrize(("chain", "off"), [("plug", 75), ("[rotary-90, hard-tube-14]", 95)])
def test_what_is_proved_over_a_stretch_holds_at_heights_in_it(chain: str, off: int) -> None:
    """Every stretch proved fine or bad against the question asked at single heights in it."""
    at = frame()
    store = Store.default()
    layouts = []
    for height in (30.0, 50.0, 70.0):
        words = {"lift": height, "height": height, "chain": chain}
        build = load(parse(text_of(box(630 - off - 30, at[1, 3] + 8, at[2, 3], (60, 60, 60)), **words), "b.yaml"))
        layouts.append(place(build))
    plumbing = plumb(build, layouts[0])
    assert plumbing is not None
    [(port, wanted)] = meant(plumbing).items()
    asked = OfPort(Moved(30.0, 70.0, (layouts[0], layouts[1], layouts[2]), store), port, wanted, store)
    proved = set()
    for half in (8.0, 2.0, 0.5):
        for h in np.arange(32.0, 68.0, 4.0):
            fine, bad = asked.fine(h, half), asked.bad(h, half)
            assert not (fine and bad)
            proved |= {fine and "fine", bad and "bad"}
            for x in (h - half, h - half / 3, h + half):
                now = asked.fine(x, 0.0)
                assert now or not fine
                assert not now or not bad
    assert {"fine", "bad"} <= proved
