"""Heights left open: the range that fits, the height taken, what is said where none fits, and faults of asking.

Ranges are worked out by hand beside each case, from distances along one axis; a brute-force run of the whole check at
fixed steps is the other judge. Heights that end at a curved face are known to what the exact kernel is (EXACT_MM).
"""

from __future__ import annotations

import math
import random
import subprocess
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from elbowroom.model import checks, demos, heights, pipeline
from elbowroom.model.build.problems import BuildError
from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import Document, parse, read
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.heights import stages
from elbowroom.model.heights.choosing import chosen
from elbowroom.model.heights.ranges import MOST, RESOLUTION, Answer, chain, left, merged, search
from elbowroom.model.heights.words import MAX_OPEN
from elbowroom.model.layout.place import place
from elbowroom.model.store import Store
from elbowroom.model.told.findings import FAILING, UNDECIDED, Finding

NEAR = 1e-4  # mm: to which ranges are written out

# A plate 20 thick and 200 x 100 on risers at a wall of a case 630 deep, 285 wide and 630 high.
BUILD = """
title: heights
case: {{interior: {{depth: 630, width: 285, height: 630}}}}
parts:
  plate: {{plate: custom, length: 200, width: 100, thickness: 20, on: case.{wall}-wall, clock: {clock}, lift: {lift},
          at: {at}}}
  riser: {{riser: {riser}, height: {height}, hole: tapped, on: plate.mount-*, by: {by}}}
{more}
mates:
  - [riser *.foot, case.{wall}-wall]
gaps: {gaps}
"""
# Along the front wall, at x = 630: a cable 9 thick whose axis is 13 off it, and a box with a face 80 off it.
CABLE = "  behind: {cable: custom, diameter: 9, points: [[617, 50, 300], [617, 250, 300]]}\n"
# Round the 18.5 to 59 that these leave: every few millimetres take another screw, each of which is looked at.
ASKED = "{at_least: 16, at_most: 62}"
BOX = "  before: {box: custom, length: 60, width: 60, height: 60, at: {x: 520, y: 140, z: 280}}\n"


def settled(document: Document) -> tuple[Document, list[Finding]]:
    return heights.settled(document, Store.default())


def document(more: str = "", **words: Any) -> Document:
    usual = {"wall": "front", "clock": 90, "lift": "fit", "at": "{tray: 90, floor: 200}", "riser": "riser-12x18",
             "height": ASKED, "by": "top", "gaps": "{default: 1}"}  # fmt: skip
    return parse(textwrap.dedent(BUILD).format(more=more, **{**usual, **words}), "b.yaml")


def solved(more: str = "", **words: Any) -> tuple[dict[str, Any], Finding, dict[str, Any]]:
    """The parts as written, the finding, and what else it says."""
    out, [finding] = settled(document(more, **words))
    return out.values["parts"], finding, dict(finding.extra)


def faults(text: Document) -> list[str]:
    with pytest.raises(BuildError) as e:
        settled(text)
    return [str(p) for p in e.value.problems]


def objections(doc: Document, height: float) -> list[str]:
    """What the whole check has against the parts at a height, all of them."""
    parts = {**doc.values["parts"]}
    parts["plate"] = {**parts["plate"], "lift": height}
    parts["riser"] = {**parts["riser"], "height": height}
    build = load(Document({**doc.values, "parts": parts}, doc.marks, doc.keys, doc.name))
    store = Store.default()
    found = checks.run(solidify(place(build), store), store)
    return [f.text for f in found if f.verdict in FAILING | UNDECIDED]


# The range --------------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_between_a_cable_and_a_box_the_range_is_what_arithmetic_says() -> None:
    # Behind: the cable reaches 13 + 4.5 off the wall, and 1 is wanted. Before: 80 - 20 - 1.
    parts, finding, extra = solved(CABLE + BOX)
    assert finding.verdict == "pass"
    assert extra["intervals"] == [pytest.approx([18.5, 59.0], abs=NEAR)]
    assert parts["riser"]["height"] == parts["plate"]["lift"] == finding.measured == 18.6  # the next whole 0.2
    assert extra["lower"][0]["names"] == ["plate/plate", "behind/bundle"]
    assert extra["upper"][0]["names"] == ["plate/plate", "before/body"]
    assert "tube" not in finding.text
    assert "18.50 mm to 59.00 mm" in finding.text


@pytest.mark.parametrize(("face", "verdict"), [(39.55, "caution"), (39.65, "pass")])
def test_a_height_between_two_layers_of_a_printer_is_no_plain_pass(face: float, verdict: str) -> None:
    """From 18.5 (behind) to the box's face less 20 and 1: 18.55, with no whole 0.2 in it, or 18.65, with 18.6 in it."""
    box = f"  before: {{box: custom, length: 60, width: 60, height: 60, at: {{x: {600 - face}, y: 140, z: 280}}}}\n"
    _, finding, extra = solved(CABLE + box, riser="riser-20x30-printed", height="{at_least: 18, at_most: 19}")
    assert extra["intervals"] == [pytest.approx([18.5, face - 21], abs=NEAR)]
    assert finding.verdict == verdict
    assert ("18.4 or 18.6" in finding.text) == (verdict == "caution")


def test_a_plate_also_fits_beyond_an_obstacle_that_it_cannot_pass_through() -> None:
    # The box is 60 deep: its far face stands 140 off the wall, and 1 is wanted. The family ends at 200.
    parts, _, extra = solved(CABLE + BOX, height="{fit: middle, at_least: 50}")
    assert extra["intervals"] == [pytest.approx([50.0, 59.0], abs=NEAR), pytest.approx([141.0, 200.0], abs=NEAR)]
    assert parts["riser"]["height"] == pytest.approx((141 + 200) / 2, abs=0.11)  # to a whole layer


def test_the_middle_keeps_within_what_is_asked() -> None:
    parts, finding, extra = solved(CABLE + BOX, height="{fit: middle, at_least: 20, at_most: 40}")
    assert (parts["riser"]["height"], extra["intervals"]) == (30.0, [[20.0, 40.0]])
    assert "the least asked for" in finding.text


@pytest.mark.slow
def test_the_layer_of_the_printer_is_what_is_rounded_up_to() -> None:
    doc = document(CABLE + BOX, height="{at_least: 18, at_most: 22}")
    for layer, height in ((0.3, 18.6), (0.4, 18.8)):
        out, [finding] = settled(
            Document({**doc.values, "printer": {"nozzle": 0.6, "layer": layer}}, doc.marks, doc.keys, doc.name)
        )
        assert out.values["parts"]["riser"]["height"] == height == finding.measured


@pytest.mark.slow
def test_the_wanted_gap_is_that_of_the_pair() -> None:
    _, _, extra = solved(CABLE + BOX, gaps="{between: [{families: [plate, cable], gap: 4}], parts: {before: 6}}")
    assert extra["intervals"][0] == pytest.approx([21.5, 54.0], abs=NEAR)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("wall", "at", "obstacle", "end"),
    # The box's near face 80 off the wall, so 80 - 20 - 1 = 59.
    [
        ("tray", "{rear: 300, floor: 300}", "{x: 380, y: 175, z: 330}", 59.0),
        ("floor", "{rear: 300, tray: 90}", "{x: 380, y: 140, z: 80}", 59.0),
        ("rear", "{tray: 90, floor: 200}", "{x: 110, y: 140, z: 260}", 59.0),
    ],
)
def test_on_any_wall_the_range_is_the_same(wall: str, at: str, obstacle: str, end: float) -> None:
    box = f"  before: {{box: custom, length: 60, width: 60, height: 60, at: {obstacle}}}\n"
    ask = "{fit: middle, at_least: 24}"
    _, finding, extra = solved(box, wall=wall, at=at, clock=0 if wall != "rear" else 90, height=ask)
    assert extra["intervals"][0][1] == pytest.approx(end, abs=NEAR), finding.text


@pytest.mark.slow
def test_what_stands_on_the_plate_moves_with_it() -> None:
    # A sheet 3 thick, 9 before the plate's front: 80 - 20 - 9 - 3 - 1.
    sheet = "  fascia: {sheet: custom, length: 150, width: 80, thickness: 3, on: plate.front, lift: 9}\n"
    _, _, extra = solved(CABLE + BOX + sheet)
    assert extra["intervals"][0] == pytest.approx([18.5, 47.0], abs=NEAR)
    assert extra["upper"][0]["names"] == ["before/body", "fascia/body"]


@pytest.mark.slow
def test_the_case_itself_ends_the_range() -> None:
    # On the tray wall, 150 across; the open side's glass is a solid there: 150 - 40 - 1 with a plate 40 thick, of which
    # the heads of its screws, 3.1 high at most (ISO 7045 for M4, V), stand out and want 0.2.
    doc = document(wall="tray", at="{rear: 300, floor: 300}", clock=0)
    parts = {**doc.values["parts"]}
    parts["plate"] = {**parts["plate"], "thickness": 40}
    parts["riser"] = {**parts["riser"], "height": {"fit": "middle", "at_least": 70, "at_most": 110}}
    values = {**doc.values, "case": {"interior": {"depth": 630, "width": 150, "height": 630}}, "parts": parts}
    _, [finding] = settled(Document(values, doc.marks, doc.keys, doc.name))
    assert dict(finding.extra)["intervals"][0][1] == pytest.approx(150 - 40 - 3.1 - 0.2, abs=0.05)
    assert dict(finding.extra)["upper"][0]["parts"][0] == "case"


@pytest.mark.slow
def test_a_plate_placed_by_its_front_is_lifted_by_its_thickness_more() -> None:
    doc = document(CABLE + BOX)
    parts = {**doc.values["parts"]}
    parts["plate"] = {**parts["plate"], "by": "front", "flip": True}
    out, [finding] = settled(Document({**doc.values, "parts": parts}, doc.marks, doc.keys, doc.name))
    assert out.values["parts"]["plate"]["lift"] == pytest.approx(out.values["parts"]["riser"]["height"] + 20)
    assert finding.measured == 18.6


@pytest.mark.slow
def test_a_spacer_may_carry_it_as_well() -> None:
    doc = document(CABLE + BOX)
    spacer = {"spacer": "custom", "height": "fit", "on": "plate.mount-*", "by": "top"}
    out, [finding] = settled(
        Document({**doc.values, "parts": {**doc.values["parts"], "riser": spacer}}, doc.marks, doc.keys, doc.name)
    )
    assert finding.verdict == "pass"
    assert out.values["parts"]["riser"]["height"] == 18.6


@pytest.mark.slow
def test_a_riser_that_its_part_stands_on_needs_no_lift() -> None:
    text = document(
        CABLE.replace("617", "600") + "  carried: {box: custom, length: 80, width: 80, height: 10, on: pillar.top}\n"
        "  pillar: {riser: riser-12x18, height: fit, on: case.floor-wall, at: {rear: 300, tray: 150}}\n"
        "  over: {box: custom, length: 40, width: 40, height: 40, at: {x: 306, y: 129, z: 90}}\n"
    )
    parts = {k: v for k, v in text.values["parts"].items() if k not in ("plate", "riser")}
    out, [finding] = settled(Document({**text.values, "parts": parts, "mates": []}, text.marks, text.keys, text.name))
    # 90 - 10 - 1; from there on the box is met, and beyond it the pillar goes through it. Below 3 none is made.
    assert dict(finding.extra)["intervals"] == [pytest.approx([3, 79], abs=NEAR)]
    assert out.values["parts"]["pillar"]["height"] == 3.0
    assert "least height such risers are made in" in finding.text


# None, and doubts -------------------------------------------------------------------------------------------------


def test_where_other_screws_begin_at_a_whole_layer_this_layer_is_taken() -> None:
    # Without washers an M4 x 25 through the plate of 20 goes at most to 1 short of half the riser: from 12.0 on.
    parts, finding, _ = solved(height="{at_least: 11.5, at_most: 12.6}", gaps="{default: 1}\nscrews: {washers: 0}")
    assert parts["riser"]["height"] == 12.0
    assert finding.low == pytest.approx(12.0, abs=NEAR)


@pytest.mark.slow
def test_where_none_fits_it_is_said_what_stands_behind_and_before_and_how_much_is_missing() -> None:
    # Behind 18.5 as ever; before, a box 36 off the wall: 36 - 20 - 1 = 15. Together 3.5 too much. A long box: it has no
    # far side within the family's range.
    before = "  before: {box: custom, length: 300, width: 60, height: 60, at: {x: 444, y: 140, z: 280}}\n"
    parts, finding, extra = solved(CABLE + before, height="fit")
    assert finding.verdict == "fail"
    assert extra["missing_mm"] == pytest.approx(3.5, abs=NEAR)
    assert [e["names"][1] for e in extra["excluded"]] == ["behind/bundle", "before/body"]
    assert [(e["from"], e["to"]) for e in extra["excluded"]] == [
        (8.0, pytest.approx(18.5, abs=NEAR)), (pytest.approx(15.0, abs=NEAR), 200.0)
    ]  # fmt: skip
    assert "3.50 mm are missing" in finding.text
    assert "move before 3.50 mm away from plate, toward the rear: then 18.50 mm fits" in finding.remedies
    assert 15 <= parts["riser"]["height"] <= 18.5  # the check goes on, and has its say at that height


def test_a_move_is_told_only_where_nothing_is_in_its_way() -> None:
    # As above, but right behind the box stands another, so that the box cannot be moved away.
    before = "  before: {box: custom, length: 300, width: 60, height: 60, at: {x: 444, y: 140, z: 280}}\n"
    more = "  next: {box: custom, length: 40, width: 60, height: 60, at: {x: 272, y: 140, z: 280}}\n"
    _, finding, extra = solved(CABLE + before + more, height="fit")
    assert finding.verdict == "fail"
    assert extra["missing_mm"] == pytest.approx(3.5, abs=NEAR)
    assert not [r for r in finding.remedies if r.startswith("move before")]


@pytest.mark.slow
def test_where_screws_reach_only_nearer_than_the_cable_lets_it_is_told_by_how_much() -> None:
    # Through plate, riser and wall of 1 into a nut, an M4 x 40 reaches as long as 20 + h + 1 is 4.9 less than it, at
    # 14.1; the cable wants 18.5. What holds above only is not laid to every height.
    text = BUILD.replace("hole: tapped, ", "") + "screws: {{stock: [M4x40], washers: 0}}\n"
    words = {"wall": "front", "clock": 90, "lift": "fit", "at": "{tray: 90, floor: 200}", "riser": "riser-12x18"}
    height = "{at_least: 12, at_most: 24}"
    doc = parse(
        textwrap.dedent(text).format(more=CABLE, height=height, by="top", gaps="{default: 1}", **words), "b.yaml"
    )
    _, [finding] = settled(doc)
    extra = dict(finding.extra)
    assert finding.verdict == "fail"
    assert "at_every_height" not in extra
    assert [e["question"] for e in extra["excluded"]] == ["clearance", "screw"]
    assert extra["excluded"][1]["from"] == pytest.approx(14.1, abs=stages.SAME_MM)
    assert extra["missing_mm"] == pytest.approx(18.5 - 14.1, abs=stages.SAME_MM)
    assert any(r.startswith("move behind 4.4") for r in finding.remedies)


@pytest.mark.slow
def test_a_fault_that_no_height_mends_is_said_and_the_rest_is_solved() -> None:
    # A board 5 thick on the wall where a quarter of the plate is to stand: a riser's foot is in it at every height.
    board = "  pad: {box: custom, length: 5, width: 50, height: 100, at: {x: 625, y: 95, z: 200}}\n"
    parts, finding, _ = solved(CABLE + board, height="fit")
    assert finding.verdict == "fail"
    assert finding.text.startswith("riser: no height from 8.00 mm to 200.00 mm fits")
    assert "/riser" in finding.text.partition("But for that")[0]
    assert parts["riser"]["height"] == 18.6


@pytest.mark.slow
def test_two_plates_are_solved_one_after_the_other() -> None:
    second = (
        "  upper: {plate: custom, length: 120, width: 60, thickness: 10, on: plate.front, lift: fit}\n"
        "  post: {riser: riser-12x18, height: fit, on: upper.mount-*, by: top}\n"
    )
    doc = document(CABLE + BOX + second)
    mates = [*doc.values["mates"], ["post *.foot", "plate.front"]]
    out, found = settled(Document({**doc.values, "mates": mates}, doc.marks, doc.keys, doc.name))
    assert [f.place for f in found] == ["riser", "post"]
    assert out.values["parts"]["riser"]["height"] == 18.6
    # Before the first: 80 - 18.6 - 20 - 10 - 1, or less by a head that stands out there.
    assert 30.4 - 3.3 - NEAR <= dict(found[1].extra)["intervals"][0][1] <= 30.4 + NEAR


# Against the check ------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_the_range_agrees_with_the_whole_check_at_steps_of_a_millimetre() -> None:
    slant = "  slant: {cable: custom, diameter: 7, points: [[560, 60, 250], [590, 240, 330]]}\n"
    doc = document(CABLE + slant, height="{at_least: 16.2, at_most: 26}")
    _, [finding] = settled(doc)
    fits = dict(finding.extra)["intervals"]
    for height in np.arange(16.2, 26.0, 0.9):
        inside = [a <= height <= b for a, b in fits]
        near = min(abs(height - e) for s in fits for e in s)
        if near > RESOLUTION:
            assert bool(objections(doc, float(height))) != any(inside), f"{height}: {fits}"
    assert len(fits) == 1
    assert 18.5 - NEAR <= fits[0][0] < fits[0][1] < 26


@pytest.mark.demos
@pytest.mark.slow
def test_the_demo_with_its_height_left_open_is_given_one_that_the_check_agrees_to() -> None:
    flume = next(m for _, m in demos.pairs() if m.name == "flume-mended.yaml")
    overrides = ["parts.riser.height={fit: least, at_least: 24, at_most: 25.5}", "parts.plate.lift=fit"]
    out, [finding] = settled(read(flume, overrides))
    assert finding.verdict == "pass", finding.text
    [(low, high)] = dict(finding.extra)["intervals"]
    # The demo's own height is in it, or beyond where looking ended: the least is wanted, and it is found by then.
    assert low <= 25
    assert high >= 25 or dict(finding.extra)["looked_to"] == pytest.approx(high, abs=0.1)
    # Runs that end on the plate are laid once its height is taken: the range says nothing of them.
    ends = [r if isinstance(r, str) else r["run"] for r in out.values["loop"]]
    on_it = [r for r in ends if "plate." in r]
    assert dict(finding.extra)["tubes_laid_at_this_height_only"] == on_it != []
    assert "tubes are laid for this height alone" in finding.text
    again, [same] = settled(read(flume, overrides))
    assert (again.values, same) == (out.values, finding)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [11])
def test_any_height_told_passes_the_whole_check_and_beside_it_none(seed: int, tmp_path: Path) -> None:
    """Random gaps behind and before a plate, a cable that stands over a screw's head among them; the judge is the whole
    check of the build with the height as a number, screws, drivers and all.
    """
    draw = random.Random(seed)
    off, before = draw.uniform(12, 16), draw.uniform(60, 75)
    over = (
        "  over: {box: custom, length: 20, width: 120, height: 220, "
        f"at: {{x: {630 - before - 20:.3f}, y: 90, z: 190}}}}\n"
    )
    cable = (
        f"  behind: {{cable: custom, diameter: 9, points: [[{630 - off:.3f}, 50, 300], [{630 - off:.3f}, 250, 300]]}}\n"
    )
    text = textwrap.dedent(BUILD).format(
        more=cable + over, wall="front", clock=90, lift="fit", at="{tray: 90, floor: 200}", riser="riser-12x18",
        height="{at_least: 14, at_most: 60}", by="top", gaps="{default: 1}",
    )  # fmt: skip
    _, [finding] = settled(parse(text, "b.yaml"))
    assert finding.verdict == "pass", finding.text
    [(low, high)] = dict(finding.extra)["intervals"]
    file = tmp_path / "b.yaml"
    file.write_text(text)

    def fails(h: float) -> list[str]:
        done = pipeline.check(file, Store.default(), [f"parts.riser.height={h:.5f}", f"parts.plate.lift={h:.5f}"])
        return [f.text for f in done.findings if f.verdict in FAILING | UNDECIDED]

    for h in (low + NEAR, draw.uniform(low, high), high - NEAR):
        assert not fails(h), (h, low, high)
    for h in (low - 0.05, high + 0.05):
        assert fails(h), (h, low, high)


@pytest.mark.slow
def test_with_the_room_that_is_missing_a_height_is_found_and_with_less_none() -> None:
    """A box over the heads of the plate's screws, a cable behind it: what is told to stand farther away, and by how
    much, is enough for the height it is told with; half of it is not.
    """

    def around(away: float) -> str:
        x = 617 + away
        cable = f"  behind: {{cable: custom, diameter: 9, points: [[{x:.4f}, 50, 300], [{x:.4f}, 250, 300]]}}\n"
        return cable + "  before: {box: custom, length: 300, width: 120, height: 220, at: {x: 444, y: 140, z: 300}}\n"

    ask = "{fit: least, at_most: 40}"
    _, finding, extra = solved(around(0.0), height=ask)
    assert finding.verdict == "fail"
    assert extra["missing_mm"] > 18.5 + 20 + 1 - 36  # more than the plate alone would need
    [need] = extra["missing"]
    assert (need["piece"], need["away"]) == ("behind", False)  # toward the wall: against the way the plate is raised
    assert need["mm"] == pytest.approx(extra["missing_mm"])
    enough, told, _ = solved(around(need["mm"] + 0.21), height=ask)  # a layer more, so that a whole one lies in it
    assert told.verdict == "pass", told.text
    assert enough["riser"]["height"] == pytest.approx(need["height"], abs=0.3)  # to the layer it is printed in
    assert solved(around(need["mm"] / 2), height=ask)[1].verdict == "fail"


@pytest.mark.slow
def test_an_answer_outside_what_was_asked_is_told_with_its_number() -> None:
    _, finding, extra = solved(CABLE + BOX, height="{at_least: 10, at_most: 16}")
    assert finding.verdict == "fail"
    assert extra["outside"][0] == pytest.approx(18.5, abs=NEAR)
    assert "outside of the 10.00 mm to 16.00 mm asked for, 18.50 mm to" in finding.text
    assert finding.remedies[0] == "ask for 18.60 mm: at_least and at_most leave it out"


@pytest.mark.slow
def test_the_risers_of_the_readme_fit_as_written(tmp_path: Path) -> None:
    readme = (Path(__file__).parents[3] / "README.md").read_text(encoding="utf-8")
    lines = [n for n in readme.splitlines() if "lift: fit" in n or "height: fit, hole" in n]
    assert len(lines) == 2
    file = tmp_path / "b.yaml"
    file.write_text(
        "\n".join(["title: r", "case: {interior: {depth: 630, width: 285, height: 630}}", "parts:", *lines])
    )
    done = pipeline.check(file, Store.default())
    assert not [f.text for f in done.findings if f.verdict in FAILING | UNDECIDED]
    assert {(m.piece, m.to_frame) for m in done.layout.mates if m.frame == "foot"} == {
        (f"riser {k}", "front-wall") for k in (1, 2, 3, 4)
    }
    # Two screws in one tapped hole, an engagement of one diameter each at least: common practice, no source.
    assert next(f for f in done.findings if f.question == "height").measured >= 2 * 4.0


@pytest.mark.slow
def test_a_kept_height_is_read_without_a_kernel(tmp_path: Path) -> None:
    file = tmp_path / "b.yaml"
    text = textwrap.dedent(BUILD).format(
        more=BOX, wall="front", clock=90, lift="fit", at="{tray: 90, floor: 200}", riser="riser-12x18",
        height="{at_least: 28, at_most: 30}", by="top", gaps="{default: 1}",
    )  # fmt: skip
    file.write_text(text)
    settled(read(file))
    code = (
        "import sys; from pathlib import Path; from elbowroom.model import pipeline; "
        f"from elbowroom.model.store import Store; pipeline.read(Path({str(file)!r}), Store.default()); "
        "print([m for m in ('coal', 'manifold3d', 'cadquery', 'OCP') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.slow
def test_what_stands_elsewhere_leaves_the_screws_of_each_height_standing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    counted: list[None] = []
    fasten = stages.fasten
    monkeypatch.setattr(stages, "fasten", lambda *a, **k: (counted.append(None), fasten(*a, **k))[1])
    asked = {"height": "{at_least: 16, at_most: 26}"}

    def numbers(more: str, store: Store) -> tuple[Any, ...]:
        counted.clear()
        out, [finding] = heights.settled(document(more, **asked), store)
        return out.values["parts"]["riser"]["height"], finding.text, dict(finding.extra)

    there, here = (CABLE + f"  far: {{box: custom, length: 20, width: 20, height: 20, at: {{x: {x}, y: 140, z: 20}}}}\n"
                   for x in (60, 61))  # fmt: skip
    warm = Store(tmp_path / "warm")
    numbers(there, warm)
    first = len(counted)
    got = numbers(here, warm)
    assert 0 < len(counted) < first / 2
    assert got == numbers(here, Store(tmp_path / "cold"))
    # The cable behind the plate is none of the screws' business, but of the height's.
    nearer = numbers(here.replace("617", "614"), warm)
    assert nearer == numbers(here.replace("617", "614"), Store(tmp_path / "colder"))
    assert nearer != got


# Standing on what a part is lifted off --------------------------------------------------------------------------


@pytest.mark.parametrize(("lift", "height", "meets"), [(25, 25, True), (25, 24, False), (25, 26, False)])
def test_a_riser_that_comes_to_rest_on_the_face_its_part_is_lifted_off_stands_on_it(
    lift: float, height: float, meets: bool
) -> None:
    doc = document(lift=lift, height=height)
    layout = place(load(Document({**doc.values, "mates": []}, doc.marks, doc.keys, doc.name)))
    feet = [m for m in layout.mates if m.frame == "foot"]
    assert len(feet) == (4 if meets else 0)
    assert all((m.to_piece, m.to_frame, m.contact) == ("case", "front-wall", True) for m in feet)
    stated = place(load(doc))
    assert len([m for m in stated.mates if m.frame == "foot"]) == 4  # those stated are not doubled


# Faults of asking -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ({"lift": 25}, "parts.riser.height: nothing moves with this height: write lift: fit"),
        ({"height": 25}, "parts.plate.lift: nothing says how high"),
        ({"height": "{fit: most}"}, 'parts.riser.height.fit: "most" is not one of the choices'),
        ({"height": "{fit: least, at_lest: 3}"}, 'unknown key "at_lest"; nearest: "at_least"'),
        ({"height": "{at_least: 30, at_most: 20}"}, "at_least 30 must be less than at_most 20"),
        ({"height": "{at_most: 400}"}, 'parts.riser.height.at_most: "400.0" is no height of a riser: expected 1 to 20'),
        ({"lift": "{fit: least}"}, "parts.plate.lift: expected lift: fit alone"),
        (
            {"more": "  box: {box: custom, length: fit, at: {x: 100, y: 100, z: 100}}\n"},
            'box.length: "fit": expected a',
        ),
    ],
)
def test_a_fault_of_asking_is_said_with_its_place(words: dict[str, Any], said: str) -> None:
    [fault] = [f for f in faults(document(**words)) if said in f]
    assert fault.startswith("b.yaml:")


def test_a_riser_that_stands_on_the_far_side_is_refused() -> None:
    doc = document()
    parts = {**doc.values["parts"]}
    parts["riser"] = {**parts["riser"], "on": "plate.front"}
    [fault] = faults(Document({**doc.values, "parts": parts, "mates": []}, doc.marks, doc.keys, doc.name))
    assert "does not stand between plate and what that is lifted off" in fault
    assert fault.startswith("b.yaml:7:")


def test_all_faults_come_out_at_once() -> None:
    more = "  box: {box: custom, length: fit, at: {x: 100, y: 100, z: 100}}\n  sheet: {sheet: custom, lenth: 20}\n"
    found = faults(document(more, height="{fit: most}"))
    assert len(found) == 3
    assert [k for k in ("height", "length", "lenth") if any(k in f for f in found)] == ["height", "length", "lenth"]


@pytest.mark.slow
def test_two_risers_that_ask_for_different_heights_of_one_plate_are_refused() -> None:
    other = "  other: {riser: riser-12x18, height: {fit: middle}, on: plate.mount-1, by: top, offset: [20, 0]}\n"
    [fault] = faults(document(other))
    assert "other and riser both carry plate" in fault
    parts, finding, _ = solved(CABLE + BOX + other.replace("{fit: middle}", "fit"), height="fit")
    assert parts["other"]["height"] == parts["riser"]["height"] == finding.measured


def test_very_many_open_heights_are_refused_with_their_number() -> None:
    more = "".join(
        f"  p{k}: {{riser: riser-12x18, height: fit, on: case.floor-wall, at: {{rear: {20 * k + 20}, tray: 20}}}}\n"
        for k in range(MAX_OPEN + 2)
    )
    found = [f for f in faults(document(more)) if "heights are left open" in f]
    assert f"{MAX_OPEN + 3} heights are left open; at most {MAX_OPEN} in one build" in found[0]


def test_a_build_without_open_heights_is_left_as_it_is() -> None:
    doc = document(lift=25, height=25)
    assert settled(doc) == (doc, [])


# The search -------------------------------------------------------------------------------------------------------


def gaps(obstacles: list[tuple[float, float]], slope: float) -> Callable[[float], Answer]:
    """A question whose gap to the nearest obstacle grows by `slope` for each mm: at most 1, as a body moves."""

    def ask(h: float) -> Answer:
        out = min(max(a - h, h - b) for a, b in obstacles) * slope
        return Answer(out >= 0, abs(out))

    return ask


@pytest.mark.parametrize("slope", [1.0, 0.3, 0.05])
def test_the_search_finds_every_stretch_of_random_obstacles(slope: float) -> None:
    draw = random.Random(7)
    for _ in range(30):
        obstacles = [(a, a + draw.uniform(0.01, 30)) for a in (draw.uniform(-10, 210) for _ in range(5))]
        found = search(gaps(obstacles, slope), 1.0, 200.0)
        truth = [(max(a, 1.0), min(b, 200.0)) for a, b in merged(obstacles) if b > 1.0 and a < 200.0]
        wide = [s for s in truth if s[1] - s[0] > RESOLUTION]
        for a, b in wide:
            assert any(x <= a + 2e-5 and y >= b - 2e-5 for x, y in found.bad), (a, b, found)
        for a, b in found.bad:
            assert any(x <= a + RESOLUTION and y >= b - RESOLUTION for x, y in truth), (a, b, truth)


def test_a_stretch_that_grazes_all_along_is_read_in_cells_and_said_to_be() -> None:
    found = search(lambda h: Answer(True, 0.0), 0.0, 50.0)
    assert found.bad == ()
    assert 0.0 < found.read <= 1.0
    assert found.asked < 1000


@pytest.mark.parametrize("radius", [math.nan, 0.0, -1.0, 1e-9])
@pytest.mark.parametrize("fine", [True, False])
def test_no_answer_keeps_the_search_from_ending(radius: float, fine: bool) -> None:
    flips = [fine]

    def ask(h: float) -> Answer:
        flips.append(not flips[-1])
        return Answer(flips[-1], radius)

    found = search(ask, 0.0, 1e6)
    assert found.asked <= MOST + 100
    found = search(lambda h: Answer(True, 1e-3), 0.0, 200.0)
    assert found.asked <= MOST + 100


def test_what_stretches_leave_and_the_chain_that_covers() -> None:
    assert left([(0, 3), (5, 6), (2, 4)], 0, 10) == [(4, 5), (6, 10)]
    assert left([(0, 10)], 0, 10) == []
    assert [n for _, n in chain([((0, 4), 0), ((0, 6), 1), ((5, 10), 2), ((3, 7), 3)], 0, 10)] == [1, 2]
    with pytest.raises(ValueError, match="nothing covers 4"):
        chain([((0, 4), 0), ((5, 10), 1)], 0, 10)


def test_the_least_whole_layer_that_lies_in_a_range_is_taken() -> None:
    assert chosen([(18.45, 18.55), (30.05, 40.0)], "least", 0.2)[0] == 30.2
    assert chosen([(18.5, 18.7)], "least", 0.2)[0] == 18.6
    assert chosen([(18.61, 18.65)], "least", 0.2) == (18.63, (18.61, 18.65))  # no whole layer in it
    assert chosen([(18.6 + 1e-6, 20.0)], "least", 0.2)[0] == 18.6  # rounding makes no layer
    assert chosen([(10.0, 12.0), (20.0, 30.0)], "middle", 0.2)[0] == 25.0
