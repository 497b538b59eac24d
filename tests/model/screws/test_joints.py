"""Joints from a placed build: which holes are in line, what a screw passes, and what the findings say of it.

Expected layers and lengths are worked out by hand from the build's own numbers; trade facts are marked where they are
checked.
"""

from __future__ import annotations

import math
import textwrap
import time
from pathlib import Path
from typing import Any

import pytest

from elbowroom.model import pipeline
from elbowroom.model.build.problems import BuildError
from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import parse
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.place import Placed, place
from elbowroom.model.pipeline import Checked
from elbowroom.model.screws.fasten import Fastened, fasten
from elbowroom.model.screws.lengths import check as judged_screws
from elbowroom.model.store import Store
from elbowroom.model.told.cautions import AT_THE_SHEET

CASE = """
title: t
case:
  interior: {depth: 480, width: 240, height: 480}
  sheet: 1.2
  openings:
    floor: {face: floor, size: 120, count: 3, gap: 15, slot: SLOT, centre: {rear: 240, tray: 120}}
    roof: {face: roof, size: 120, count: 1, slot: 0, centre: {rear: 240, tray: 120}}
"""


def build(rest: str, slot: float = 10) -> str:
    return CASE.replace("SLOT", f"{slot:g}") + textwrap.dedent(rest)


def fastened(text: str) -> Fastened:
    made = load(parse(text, "b.yaml"))
    layout = place(made)
    return fasten(Placed(made, layout), solidify(layout, Store.default()))


def checked(text: str, tmp_path: Path) -> Checked:
    file = tmp_path / "b.yaml"
    file.write_text(text)
    return pipeline.check(file, Store.default())


def of(found: Checked, question: str) -> list[dict[str, Any]]:
    return [f.to_json() for f in found.findings if f.question == question]


THREE_ON_FLOOR = """
stacks:
  floor:
    flow: in
    layers:
      - {fan: fan-120x25, cable_to: rear tray}
      - {radiator: RADIATOR, name: low, ports_to: front}
"""


def test_the_layers_from_the_thread_to_the_head() -> None:
    found = fastened(build(THREE_ON_FLOOR.replace("RADIATOR", "radiator-360x45")))
    joint = next(j for j in found.joints if j.name == "low.b")
    assert len(joint.axes) == 12
    assert not joint.lost
    assert joint.thread == "M3"
    for axis in joint.axes:
        assert [p.piece.part.family for p in axis.passed] == ["fan", "case"]
        assert [p.thickness for p in axis.passed] == pytest.approx([25.0, 1.2], abs=1e-4)
        assert axis.out == pytest.approx((0, 0, -1))
    # Common practice, no source: a 25 mm fan takes the 30 mm screw. Over a slot of 4.5 its head of 5.6 takes a washer
    # (ISO 7089: 0.5 thick); through 1.2 of panel it then stands 3.3 past the face, more than 1 mm before the fins at 5.
    (c,) = found.chosen
    assert (c.label, c.washers, c.judged is not None and c.judged.verdict) == ("M3 x 30", 1, "safe")
    assert c.judged is not None
    assert c.judged.tip.nominal == pytest.approx(3.3, abs=1e-4)


@pytest.mark.slow
def test_screws_stand_in_their_holes_and_are_counted(tmp_path: Path) -> None:
    found = checked(build(THREE_ON_FLOOR.replace("RADIATOR", "radiator-360x45")), tmp_path)
    screws = [p for p in found.layout.pieces if p.part.family == "screw"]
    assert len(screws) == 12
    low = found.layout.piece("low")
    heads = [p.pose[2, 3] for p in screws]
    assert heads == pytest.approx([-1.7] * 12, abs=1e-4)  # under the floor's outer face and a washer
    assert sum(p.part.family == "washer" for p in found.layout.pieces) == 12
    holes = low.part.patterns()[1]
    assert len(holes.holes) == 12
    clashes = [f.text for f in found.findings if f.verdict in ("clash", "touch") and "screw" in f.text]
    assert clashes == []
    # One finding a screw and one a washer of what is clear of it, not one for each part of the case.
    clear = [f for f in found.findings if f.verdict == "clear" and any("x 30 at" in p for p in f.parts)]
    assert 0 < len(clear) <= 24


@pytest.mark.slow
def test_a_screw_that_is_too_long_goes_into_the_fins(tmp_path: Path) -> None:
    text = build(THREE_ON_FLOOR.replace("RADIATOR", "radiator-360x60")) + "screws: {use: {low.b: M3x35}}\n"
    found = checked(text, tmp_path)
    (screw,) = of(found, "screw")
    # Worked by hand: 35 - 25 - 1.2 = 8.8 past the face, the fins lie at 6.
    assert (screw["verdict"], screw["pierces"], screw["word"]) == ("fail", True, "pierces")
    assert screw["tip_mm"][1] == pytest.approx(8.8, abs=1e-3)
    assert screw["measured"] == pytest.approx(6 - 8.8, abs=1e-3)
    assert any("M3 x 30" in r for r in screw["remedies"])
    # The engine finds the same screws in the fins, as solids.
    fins = [f for f in found.findings if f.verdict == "clash" and "low/fins" in f.bodies]
    assert len(fins) == 12


@pytest.mark.slow
def test_a_radiator_of_the_other_gap_loses_the_end_screws(tmp_path: Path) -> None:
    text = build(THREE_ON_FLOOR.replace("RADIATOR", "radiator-360x30-gap20"), slot=4)
    found = checked(text, tmp_path)
    (holes,) = [f for f in of(found, "hole-alignment") if "case" in f["parts"]]
    # Common practice, no source: 5 mm a fan. From the middle the outer fans' holes are 5 mm off; the slot gives
    # 2 mm each side of its middle and 0.75 mm of play (4.5 wide, M3).
    assert holes["holes"] == 12
    assert holes["passing"] == 4
    assert "8 of 12 screws do not pass (those at both ends, toward the rear and toward the front)" in holes["text"]
    assert holes["text"].endswith(
        "; the other 4 hold it poorly: close together, in 105 mm of the 355 mm that all would take up"
    )
    assert all(r.count("screws pass") <= 1 for r in holes["remedies"])  # a count is told once
    assert max(holes["off_mm"]) == pytest.approx(5 - 2 - 0.75, abs=1e-3)
    assert holes["verdict"] == "fail"
    screws = [p for p in found.layout.pieces if p.part.family == "screw"]
    assert len(screws) == 4


def test_a_longer_slot_takes_all_of_them() -> None:
    joint = fastened(build(THREE_ON_FLOOR.replace("RADIATOR", "radiator-360x30-gap20"), slot=10)).joints[0]
    fit = next(f for f in joint.fits if f.piece.name == "case")
    assert max(fit.off) == pytest.approx(5 - 5 - 0.75, abs=1e-3)
    assert not joint.lost


@pytest.mark.slow
def test_slid_too_far_a_slide_back_is_the_remedy(tmp_path: Path) -> None:
    text = build(THREE_ON_FLOOR.replace("RADIATOR", "radiator-360x45, slide: 6"))
    found = checked(text, tmp_path)
    (holes,) = [f for f in of(found, "hole-alignment") if "case" in f["parts"]]
    # A slot gives 5.75 mm from its middle, too little for 6; but slots of adjacent fans, 15 - 10 = 5 mm apart and so
    # with half a millimetre of sheet between them, are cut as one, and the first hole of each pair has its second half.
    assert (holes["passing"], holes["passing_slid"]) == (4, 12)
    # 0.25 mm back would do, the middle of the slots is best.
    assert abs(holes["slide_mm"][0]) >= 0.25 - 1e-6
    assert any("slide" in r and "all screws pass" in r for r in holes["remedies"])


@pytest.mark.slow
def test_threads_that_look_alike_are_a_failure(tmp_path: Path) -> None:
    text = build(THREE_ON_FLOOR.replace("RADIATOR", "radiator-360x45")) + "screws: {use: {'low.*': 6-32x30}}\n"
    (screw,) = of(checked(text, tmp_path), "screw")
    assert screw["verdict"] == "fail"
    assert screw["word"] == "wrong thread"
    assert "M3" in screw["text"]


def test_a_fan_alone_takes_the_thread_forming_screw() -> None:
    found = fastened(build("stacks: {roof: {flow: out, layers: [{fan: fan-120x25, cable_to: rear tray}]}}\n"))
    (c,) = found.chosen
    # Common practice, no source: the 5 x 10 fan screw, through the panel into the fan's corners.
    assert (c.label, len(c.rows)) == ("fan screw 5 x 10", 4)
    assert [layer.name for layer in c.layers] == ["case"]


RISERS = """
parts:
  plate:
    {plate: custom, length: 160, width: 100, thickness: 20, hole: 4.5, on: case.floor-wall, lift: 25,
     at: {rear: 100, tray: 60}}
  riser: {riser: custom, height: 25, across: 12, hole: HOLE, thread: M4, on: plate.mount-*, by: top}
mates:
  - [riser *.foot, case.floor-wall]
"""


def test_a_plate_on_tapped_risers_takes_two_screws_a_riser_and_holes_to_drill(tmp_path: Path) -> None:
    case = "title: t\ncase: {interior: {depth: 480, width: 240, height: 480}, sheet: 1.2}\n"
    found = checked(case + RISERS.replace("HOLE", "tapped"), tmp_path)
    screws = {f["joint"]: f for f in of(found, "screw")}
    assert set(screws) == {f"riser {i}.{end}" for i in range(1, 5) for end in ("foot", "top")}
    assert [x["mm"] for x in screws["riser 1.top"]["layers"]] == pytest.approx([20.0], abs=1e-3)
    assert [x["mm"] for x in screws["riser 1.foot"]["layers"]] == pytest.approx([1.2], abs=1e-3)
    # Neither may reach the other in the middle of the riser.
    for f in screws.values():
        assert f["verdict"] == "pass"
        assert f["tip_mm"][2] <= 12.5
    drill = [f for f in of(found, "hole-alignment") if "to_drill" in f]
    assert len(drill) == 4
    assert all("4.5 mm" in f["text"] for f in drill)  # ISO 273 medium for M4
    assert all(f["take_care"] == list(AT_THE_SHEET) for f in drill)  # who is told to drill is told how not to get hurt


def test_a_through_riser_takes_a_bolt_and_a_nut(tmp_path: Path) -> None:
    case = "title: t\ncase: {interior: {depth: 480, width: 240, height: 480}, sheet: 1.2}\n"
    text = case + RISERS.replace("HOLE", "through").replace("25", "8").replace("thickness: 20", "thickness: 10")
    found = checked(text, tmp_path)
    nuts = [p for p in found.layout.pieces if p.part.family == "nut"]
    assert len(nuts) == 4
    screws = of(found, "screw")
    # 10 + 8 + 1.2 and a nut of 3.2 with a turn of 0.7 beyond: 23.1, with its tolerances the next length is 25.
    assert {f["screw"] for f in screws} == {"M4 x 25"}
    assert not [f.text for f in found.findings if f.verdict == "clash"]


def test_words_for_screws_that_go_nowhere_are_told_with_their_line() -> None:
    text = build(THREE_ON_FLOOR.replace("RADIATOR", "radiator-360x45")) + "screws:\n  use: {low.c: M3x30}\n"
    with pytest.raises(BuildError) as e:
        fastened(text)
    assert "low.b" in str(e.value)
    assert "b.yaml:" in str(e.value)
    for wrong in ("M3-30", "M7x30", "M3x0"):
        with pytest.raises(BuildError) as e:
            fastened(text.replace("low.c: M3x30", f"low.b: {wrong}"))
        assert "screws.use" in str(e.value)


TURNED = """
title: t
case:
  interior: {depth: 480, width: 240, height: 480}
  sheet: 1.2
  openings: {FACE: {face: FACE, size: 120, count: 3, gap: 15, slot: 10, centre: {ALONG: 240, tray: 120}}}
stacks:
  FACE:
    flow: out
    layers:
      - {fan: fan-120x25, cable_to: END tray}
      - {radiator: radiator-360x45, name: low, flip: FLIP}
"""


@pytest.mark.parametrize(("flip", "joint"), [("false", "low.b"), ("true", "low.a")])
@pytest.mark.parametrize(("face", "along", "end"), [("roof", "rear", "rear"), ("front", "floor", "roof")])
def test_turned_and_turned_over_stacks_find_the_same_screws(
    face: str, along: str, end: str, flip: str, joint: str
) -> None:
    text = TURNED.replace("FACE", face).replace("ALONG", along).replace("END", end).replace("FLIP", flip)
    (c,) = fastened(text).chosen
    assert (c.joint.name, c.label, len(c.rows)) == (joint, "M3 x 30", 12)
    assert math.isclose(sum(x.thickness for x in c.layers), 26.2, abs_tol=1e-4)


BOARD = """
title: t
case:
  interior: {depth: 520, width: 240, height: 480}
  board: {form: FORM, holes: FORM, at: {top: 60}}
parts:
  board: {motherboard: SIZE, on: case.board}
"""


@pytest.mark.slow
def test_a_board_with_holes_over_no_standoff(tmp_path: Path) -> None:
    # SSI EEB 2011: the holes of ATX and a front row of three more.
    found = checked(BOARD.replace("FORM", "atx").replace("SIZE", "motherboard-eeb"), tmp_path)
    (bare,) = [f for f in of(found, "hole-alignment") if "unmet" in f]
    assert (bare["unmet"], bare["holes"], bare["verdict"]) == (3, 12, "caution")
    assert not [f for f in of(checked(BOARD.replace("FORM", "atx").replace("SIZE", "motherboard-atx"), tmp_path),
                              "hole-alignment") if f["verdict"] != "pass"]  # fmt: skip


def test_a_standoff_under_a_board_without_a_hole_shorts_it(tmp_path: Path) -> None:
    # microATX 1.2: hole B is not one of ATX's own, so a board of ATX holes has none over a standoff there; a board
    # that has B and lacks A stands narrower than it.
    found = checked(BOARD.replace("FORM", "microatx").replace("SIZE", "motherboard-atx"), tmp_path)
    faults = [f for f in of(found, "hole-alignment") if "shorts" in f["text"]]
    assert [f["verdict"] for f in faults] == ["fail"]


TOWER = "title: t\ncase: {like: case-atx-tower}\n"


def test_a_fan_of_another_size_has_its_screws_at_its_own_holes(tmp_path: Path) -> None:
    # Hole pitches as drawn: 105 for 120, 124.5 for 140; the opening's slots are for 140.
    text = TOWER + "stacks: {roof: {flow: out, layers: [{fan: fan-120x25, cable_to: rear tray}]}}\n"
    found = checked(text, tmp_path)
    lost = [f for f in of(found, "hole-alignment") if f["verdict"] == "fail"]
    assert lost
    assert all(f["passing"] == 0 for f in lost)
    assert not [p for p in found.layout.pieces if p.part.family == "screw"]


def test_a_bracket_whose_holes_meet_nothing_is_told(tmp_path: Path) -> None:
    found = checked(TOWER + "parts: {bracket: {pump-bracket: pump-bracket-120, on: case.floor-2}}\n", tmp_path)
    (fault,) = [f for f in of(found, "hole-alignment") if f["verdict"] == "fail"]
    assert "no hole" in fault["text"]


def test_slots_that_lie_over_each_other_take_a_screw_where_both_are_open(tmp_path: Path) -> None:
    # Middles 6.5 mm apart along both, 10 and 12 mm long or so: a screw at neither middle passes both.
    text = TOWER + (
        "parts: {bracket: {pump-bracket: pump-bracket-120, on: case.floor-2, clock: 90, offset: [60.5, 0]}}\n"
    )
    found = checked(text, tmp_path)
    assert all(f["verdict"] == "pass" for f in of(found, "hole-alignment"))
    assert len([p for p in found.layout.pieces if p.part.family == "nut"]) == 2
    assert not [f.text for f in found.findings if f.verdict == "clash"]


PLATE = (
    TOWER
    + """
parts:
  plate: {plate: plate-240x120, on: case.floor-wall, lift: 18, at: {rear: 60, tray: 50}}
  riser: {riser: riser-12x18, WORDS, on: plate.mount-*, by: top}
mates: [[riser *.foot, case.floor-wall]]
"""
)


@pytest.mark.slow
def test_a_stud_goes_through_the_wall_into_a_nut(tmp_path: Path) -> None:
    case = "case: {like: case-atx-tower, openings: {rear: {face: rear, size: 120, centre: {roof: 105, tray: 135}}}}"
    text = PLATE.replace("case: {like: case-atx-tower}", case).replace("WORDS", "hole: male-female")
    found = checked(text, tmp_path)
    studs = [f for f in of(found, "screw") if "stud" in f["text"]]
    assert [f["verdict"] for f in studs] == ["pass"] * 4
    # A stud of 6 through a sheet of 1 and a nut of 3.2 (ISO 4032): 1.8 stand out.
    assert all("1.8 mm out of its nut" in f["text"] for f in studs)
    assert len([p for p in found.layout.pieces if p.part.family == "nut"]) == 4
    assert sum("to_drill" in f for f in of(found, "hole-alignment")) == 4
    assert not [f.text for f in found.findings if f.verdict == "clash"]


def test_a_captive_nut_takes_the_screw_from_the_other_end(tmp_path: Path) -> None:
    text = PLATE.replace("WORDS", "hole: nut, nut_end: foot, across: 15, material: printed")
    for f in of(checked(text, tmp_path), "screw"):
        assert f["joint"].endswith(".nut")
        assert [x["name"] for x in f["layers"]] == ["riser", "plate"]
        assert f["layers"][0]["mm"] < 18  # the nut lies inside the riser


def test_a_fan_may_be_bolted(tmp_path: Path) -> None:
    text = TOWER + "stacks: {rear: {flow: out, layers: [{fan: fan-120x25, name: rf, cable_to: roof tray}]}}\n"
    found = checked(text + "screws: {use: {rf.exhaust: M4x35}}\n", tmp_path)
    (screw,) = of(found, "screw")
    # 35 less 25, 1 of panel and a nut of 3.2: 5.8 stand out of it.
    assert (screw["verdict"], "5.8 mm out of its nut" in screw["text"]) == ("pass", True)


@pytest.mark.parametrize("length", [25, 30])
def test_a_screw_that_does_not_come_out_of_its_nut_is_too_short(length: int, tmp_path: Path) -> None:
    """25 of fan, 1 of panel, a nut of 3.2 (ISO 4032): of 30, 0.8 stand out, at worst less than a turn of M4 (0.7)."""
    text = TOWER + "stacks: {rear: {flow: out, layers: [{fan: fan-120x25, name: rf, cable_to: roof tray}]}}\n"
    found = checked(text + f"screws: {{use: {{rf.exhaust: M4x{length}}}}}\n", tmp_path)
    (screw,) = of(found, "screw")
    assert (screw["verdict"], screw["word"]) == ("fail", "short")


def test_joints_left_without_screws_are_said_to_be(tmp_path: Path) -> None:
    text = build(THREE_ON_FLOOR.replace("RADIATOR", "radiator-360x45")) + "screws: {no_screws: ['low.*']}\n"
    found = checked(text, tmp_path)
    (left,) = of(found, "screw")
    assert (left["verdict"], left["word"]) == ("caution", "left out")
    assert not [p for p in found.layout.pieces if p.part.family == "screw"]


def test_head_and_washers_may_be_said_without_a_length(tmp_path: Path) -> None:
    text = build(THREE_ON_FLOOR.replace("RADIATOR", "radiator-360x45"))
    (screw,) = of(checked(text + "screws: {use: {low.b: {head: cap, washers: 0}}}\n", tmp_path), "screw")
    assert (screw["screw"], screw["head"], screw["washers"]) == ("M3 x 30", "cap", 0)


BLOCK = """
title: t
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
    holes: [BASE]
  lid: {sheet: custom, length: 80, width: 60, thickness: 5, on: base.top, holes: [LID]}
"""


def block(base: str, lid: str, more: str = "") -> str:
    return BLOCK.replace("BASE", base).replace("LID", lid) + more


THREAD = "{face: top, at: [0, 0], thread: M3, depth: 10}"


def test_a_head_sunk_in_a_counterbore_has_less_under_it() -> None:
    # 5 thick, counterbored 3.5 deep and 7 wide: an M3 head (ISO 7045: 5.6) goes in, and 1.5 is left under it.
    lid = "{face: bottom, at: [0, 0], diameter: 3.4}, {face: top, at: [0, 0], diameter: 7, depth: 3.5}"
    (c,) = fastened(block(THREAD, lid)).chosen
    assert [x.thickness for x in c.layers] == pytest.approx([1.5])
    assert c.washers == 0
    narrow = lid.replace("diameter: 7", "diameter: 5")  # too narrow for the head: it bears on the lid
    (c,) = fastened(block(THREAD, narrow)).chosen
    assert [x.thickness for x in c.layers] == pytest.approx([5.0])


def test_a_through_hole_counts_from_either_face(tmp_path: Path) -> None:
    (c,) = fastened(block(THREAD, "{face: top, at: [0, 0], diameter: 3.4}")).chosen
    assert [x.thickness for x in c.layers] == pytest.approx([5.0])


def test_a_hole_that_ends_in_its_piece_lets_nothing_through(tmp_path: Path) -> None:
    found = checked(block(THREAD, "{face: bottom, at: [0, 0], diameter: 3.4, depth: 2}"), tmp_path)
    assert [f["verdict"] for f in of(found, "hole-alignment")] == ["fail"]
    assert not [p for p in found.layout.pieces if p.part.family == "screw"]
    bolt = "{face: top, at: [0, 0], diameter: 3.4, depth: 5}"
    assert not fastened(block(bolt, "{face: bottom, at: [0, 0], diameter: 3.4}")).chosen


def test_heads_and_washers_that_fall_through_are_told_one_by_one(tmp_path: Path) -> None:
    base = f"{THREAD}, {THREAD.replace('[0, 0]', '[30, 0]')}"
    lid = "{face: bottom, at: [0, 0], diameter: 3.4}, {face: bottom, at: [30, 0], diameter: 9}"
    screws = of(checked(block(base, lid), tmp_path), "screw")
    assert sorted(f["verdict"] for f in screws) == ["fail", "pass"]
    wide = "{face: bottom, at: [0, 0], diameter: 9, slot: 6}"
    words = "screws: {use: {base.top: {screw: M3x10, washers: 1}}}\n"
    (screw,) = of(checked(block(THREAD, wide, words), tmp_path), "screw")
    assert (screw["verdict"], "washer of 7 mm falls through" in screw["text"]) == ("fail", True)


def test_threads_nearer_than_a_screw_is_thick_are_no_traceback() -> None:
    base = f"{THREAD}, {THREAD.replace('[0, 0]', '[2.9, 0]')}"
    (joint,) = fastened(block(base, "{face: bottom, at: [0, 0], diameter: 8}")).joints
    assert len(joint.axes) == 2


def test_of_two_fans_the_one_over_the_hole_is_passed() -> None:
    text = """
title: t
case:
  interior: {depth: 480, width: 240, height: 480}
  slots: 0
  board: null
  sheet: 1.2
  openings: {floor: {face: floor, size: 80, count: 2, gap: 8.5, slot: 4, centre: {rear: 240, tray: 120}}}
stacks:
  floor:
    flow: in
    layers:
      - {fan: fan-80x25, cable_to: rear tray}
      - {radiator: custom, fans: 2, fan_size: 80, length: 220, width: 80, thickness: 30, name: low, ports_to: front}
"""
    done = fastened(text)
    # Holes of two 80 mm fans lie 8.5 mm apart: 71.5 apart in each, fans that touch.
    (joint,) = done.joints
    assert not joint.lost
    assert [len(f.rows) for f in joint.fits if f.piece.part.family == "fan"] == [4, 4]
    assert max(off for f in joint.fits for off in f.off) == pytest.approx(-0.65, abs=1e-3)


@pytest.mark.parametrize(("slot", "slide", "passes"), [(0, 6, False), (10, 4, True)])
def test_a_fan_slid_on_its_opening(tmp_path: Path, slot: float, slide: float, passes: bool) -> None:
    text = f"""
title: t
case:
  interior: {{depth: 480, width: 240, height: 480}}
  openings: {{roof: {{face: roof, size: 120, slot: {slot}, centre: {{rear: 240, tray: 120}}}}}}
stacks: {{roof: {{flow: out, layers: [{{fan: fan-120x25, cable_to: rear tray, slide: {slide}}}]}}}}
"""
    found = checked(text, tmp_path)
    assert all((f["verdict"] == "pass") == passes for f in of(found, "hole-alignment"))
    assert len([p for p in found.layout.pieces if p.part.family == "screw"]) == (4 if passes else 0)
    assert not [f.text for f in found.findings if f.verdict == "clash"]


@pytest.mark.slow
def test_a_panel_of_300_holes_is_walked_in_seconds() -> None:
    """Sheet on sheet, every hole over bare metal: each is measured on the mesh, which is looked at once."""
    rows = [
        f"      - {{face: top, at: [{-180 + 12 * i}, {-60 + 12 * j}], diameter: 4}}"
        for i in range(30)
        for j in range(10)
    ]
    holes = "\n".join(rows)
    text = (
        "title: t\nparts:\n  low:\n    sheet: custom\n    length: 400\n    width: 160\n"
        "    at: {x: 0, y: 0, z: 0}\n    holes:\n"
        f"{holes}\n  high: {{sheet: custom, length: 390, width: 150, on: low.top}}\n"
    )
    made = load(parse(text, "b.yaml"))
    layout = place(made)
    scene = solidify(layout, Store.default())
    start = time.process_time()
    found = fasten(Placed(made, layout), scene)
    # Before, each hole looked at every triangle of the sheet anew: 150 ms a hole.
    assert time.process_time() - start < 10
    assert sum(len(j.blocked) for j in found.joints) == 300


def test_more_than_three_washers_only_where_nothing_else_is_safe_and_then_as_a_caution() -> None:
    """A lid of 2 over a bottomed hole: of screws to choose from, one of 16 mm alone goes in with a pile of washers."""
    lid = "{face: bottom, at: [0, 0], diameter: 3.4}"
    (free,) = fastened(block(THREAD, lid)).chosen
    assert free.length is not None
    assert free.washers <= 3
    pile = fastened(block(THREAD, lid, "screws: {stock: [M3x16]}\n"))
    (c,) = pile.chosen
    assert c.washers > 3
    (f,) = [x.to_json() for x in judged_screws(pile.chosen) if x.question == "screw"]
    assert f["verdict"] == "caution"
    assert f"{c.washers} washers: take another length or a spacer" in f["text"]
