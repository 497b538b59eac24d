"""Laying the loop: fittings in ports, tubes along runs, drawn or planned, and what is said of them.

Lengths are checked against bend arithmetic done here by hand: setback R tan(theta/2), arc R theta (textbook).
"""

from __future__ import annotations

import math
import subprocess
import sys
import textwrap
from pathlib import Path

import numpy as np
import pytest

from elbowroom.model import pipeline
from elbowroom.model.build.problems import BuildError
from elbowroom.model.store import Store
from elbowroom.model.told.findings import Finding
from elbowroom.model.tubes.rules import BEND_WORTH
from elbowroom.parts.fitting.fitting_choice import fittings_for

HEIGHT, INSERTION = next(
    (float(c.fitting.height), float(c.fitting.insertion))
    for c in fittings_for("G1/4", 14, 10, "petg")
    if c.name == "hard-tube-14"
)
ROUNDING = 1e-6  # mm: sums of lengths in double precision, and the nanometre that findings are rounded to

BLOCKS = """
title: two blocks
parts:
  a: {{box: custom, length: 60, width: 60, height: 60, at: {{x: 0, y: 0, z: 0}},
      ports: [{{name: out, face: front, flow: out}}, {{name: other, face: top}}]}}
  b: {{box: custom, length: 60, width: 60, height: 60, at: {{x: {x}, y: {y}, z: {z}}},
      ports: [{{name: in, face: {face}, flow: in}}]}}
{more}
loop:
  - {{run: a.out -> b.in{words}}}
tube: {tube}
gaps: {{default: 0}}
"""


@pytest.fixture(autouse=True)
def _cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ELBOWROOM_CACHE", str(tmp_path / "cache"))


def check(folder: Path, *, x: float = 260, y: float = 0, z: float = 0, face: str = "back", more: str = "",
          words: str = "", tube: str = "petg-14") -> pipeline.Checked:  # fmt: skip
    file = folder / "build.yaml"
    text = textwrap.dedent(BLOCKS).format(x=x, y=y, z=z, face=face, more=more, words=words, tube=tube)
    file.write_text(text, encoding="utf-8")
    return pipeline.check(file, Store.default())


def tube_finding(checked: pipeline.Checked) -> Finding:
    [finding] = [f for f in checked.findings if f.question == "tube"]
    return finding


def test_facing_ports_take_a_straight_tube_of_the_length_between_their_mouths(tmp_path: Path) -> None:
    checked = check(tmp_path)
    finding = tube_finding(checked)
    between = 260 - 60 - 2 * HEIGHT
    assert finding.verdict == "pass", finding.text
    assert finding.measured == pytest.approx(between + 2 * INSERTION, abs=ROUNDING)
    assert dict(finding.extra)["bends"] == []
    assert [p.name for p in checked.layout.pieces] == [
        "a", "b", "hard-tube-14 at a.out", "hard-tube-14 at b.in", "tube 1",
    ]  # fmt: skip


@pytest.mark.parametrize(
    "words",
    [", through: [{x: 200, y: 0, z: 30}]", f", bends: [[{200 - 30 - HEIGHT - 28}, -90, 90]]"],
)
def test_a_corner_drawn_by_hand_has_the_length_of_its_legs_and_arc(tmp_path: Path, words: str) -> None:
    """b stands ahead and to the left, its port looking back along y, so the two axes meet at one corner.

    A bend's turn is counted from upward, right-handed about the way of travel: along x, -90 is toward y.
    """
    finding = tube_finding(check(tmp_path, x=200, y=200, face="right", words=words))
    leg, radius = 200 - 30 - HEIGHT, 28.0
    length = 2 * leg - 2 * radius * math.tan(math.pi / 4) + radius * math.pi / 2
    assert finding.verdict == "pass", finding.text
    assert dict(finding.extra)["outcome"] == "drawn by hand"
    assert finding.measured == pytest.approx(length + 2 * INSERTION, abs=ROUNDING)
    [bend] = dict(finding.extra)["bends"]
    assert bend["angle"] == pytest.approx(90, abs=1e-3)
    assert bend["start"] == pytest.approx(INSERTION + leg - radius, abs=1e-3)


def test_the_planner_is_never_dearer_than_the_run_a_person_would_draw(tmp_path: Path) -> None:
    """Runs are compared by length and 40 mm for every bend (`BEND_WORTH`)."""
    drawn = tube_finding(check(tmp_path, x=200, y=200, face="right", words=", through: [{x: 200, y: 0, z: 30}]"))
    planned = tube_finding(check(tmp_path, x=200, y=200, face="right"))
    cost = [f.measured + BEND_WORTH * len(dict(f.extra)["bends"]) for f in (planned, drawn) if f.measured is not None]
    assert cost[0] <= cost[1]


def test_a_drawn_run_through_a_part_fails_and_names_it(tmp_path: Path) -> None:
    wall = "  wall: {box: custom, length: 4, width: 60, height: 90, at: {x: 130, y: 0, z: 0}}"
    finding = tube_finding(check(tmp_path, more=wall, words=", through: [{x: 130, y: 0, z: 30}]"))
    assert finding.verdict == "fail"
    assert "wall/body" in dict(finding.extra)["blockers"]


def test_a_planned_run_goes_round_what_stands_between_and_clears_it_as_wanted(tmp_path: Path) -> None:
    wall = "  wall: {box: custom, length: 4, width: 60, height: 90, at: {x: 130, y: 0, z: 0}}"
    checked = check(tmp_path, more=wall)
    finding = tube_finding(checked)
    assert finding.verdict == "pass", finding.text
    assert finding.measured > 260 - 60 - 2 * HEIGHT + 2 * INSERTION
    # The pair check judges the tube like any other part, on the exact solids: 2 mm is the tube's usual clearance.
    [pair] = [f for f in checked.findings if f.question == "clearance" and set(f.parts) == {"wall", "tube 1"}]
    assert pair.low is not None
    assert pair.low >= 2 - 1e-3  # the plan is certified to the meshes' own bound, which is under a micrometre here
    assert not [f for f in checked.findings if f.verdict in {"clash", "touch", "tight"}]


def test_no_room_before_the_port_is_impossible_with_its_numbers(tmp_path: Path) -> None:
    near = HEIGHT + 3  # less than the straight leg a bend needs
    wall = f"  wall: {{box: custom, length: 4, width: 200, height: 200, at: {{x: {30 + near + 2}, y: 0, z: -70}}}}"
    finding = tube_finding(check(tmp_path, more=wall))
    assert finding.verdict == "fail"
    assert dict(finding.extra)["outcome"] == "impossible"
    assert "1.00 mm free" in finding.text  # 3 mm before the wall, less the 2 mm of clearance that is wanted
    assert "before wall/body, the tube needs " in finding.text


def test_a_free_swivel_is_turned_to_suit(tmp_path: Path) -> None:
    checked = check(tmp_path, x=30, y=200, face="right", words=", start: [rotary-90, hard-tube-14]")
    finding = tube_finding(checked)
    assert finding.verdict == "pass", finding.text
    assert len(dict(finding.extra)["bends"]) <= 2
    [turn] = dict(finding.extra)["turns"]["start"]
    rotary = checked.layout.piece("rotary-90 at a.out (1)")
    assert float(rotary.part.angle) == turn  # type: ignore[attr-defined]
    # Its arm must look to the side where b is.
    arm = rotary.frame_pose("next")[:3, 2]
    assert float(arm @ np.array([0, 1, 0])) > 0.5


def test_the_outcome_is_kept_and_the_same(tmp_path: Path) -> None:
    first, again = tube_finding(check(tmp_path)), tube_finding(check(tmp_path))
    assert first == again


@pytest.mark.parametrize(
    ("words", "tube", "said"),
    [
        ("", "petg-13", 'no tube stock "petg-13"; nearest: "petg-1'),
        ("", "{stock: petg-14, bend: 5}", "is not more than half the tube"),
        ("", "{kind: petg, od: 14}", "kind, od, id and bend together"),
        (", start: hard-tube-16", "petg-14", "hard-tube-16 is for tube of 16 mm outside"),
        (", start: plug", "petg-14", "plug holds no tube"),
        (", start: [plug, hard-tube-14]", "petg-14", "nothing can follow plug"),
        (", through: [{x: 1, y: 2}]", "petg-14", "the height (floor or roof) is not given"),
        (", through: [[1, 2, 3]], bends: [[1, 2, 3]]", "petg-14", "the run is drawn twice"),
    ],
)
def test_faults_of_the_loops_words(tmp_path: Path, words: str, tube: str, said: str) -> None:
    with pytest.raises(BuildError) as e:
        check(tmp_path, words=words, tube=tube)
    assert said in str(e.value)


def test_a_tighter_bend_than_the_stock_allows_is_taken_and_flagged(tmp_path: Path) -> None:
    finding = tube_finding(check(tmp_path, x=200, y=200, face="right", tube="{stock: petg-14, bend: 20}"))
    assert finding.verdict == "caution"
    assert "bent to 21 at least" in finding.text


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (", bends: [[10000, 0, 90]]", "3000"),
        (", bends: [[100, 0, 180]]", "179"),
        (", bends: [[100, 0, 0]]", "0"),
        (", through: [{x: 400000, y: 0, z: 30}]", "2 m are the most"),
        (", style: round", "shortest"),
    ],
)
def test_what_no_run_can_be_is_refused_with_its_bound(tmp_path: Path, words: str, said: str) -> None:
    with pytest.raises(BuildError) as e:
        check(tmp_path, words=words)
    assert said in str(e.value)


@pytest.mark.parametrize("words", ["", ", through: [{x: 200, y: 0, z: 30}]", ", bends: [[3000, 0, 90], [3000, 0, 90]]"])
def test_ports_and_bends_far_off_are_findings(tmp_path: Path, words: str) -> None:
    """A part 10 m and more away, or a run drawn metres long: told, never a crash."""
    finding = tube_finding(check(tmp_path, x=12_000, words=words))
    assert finding.verdict == "fail"
    assert "m are the most" in finding.text or "cannot be bent" in finding.text


def test_a_square_run_is_asked_for_by_a_word_on_the_run_or_the_tube(tmp_path: Path) -> None:
    """Between skew ports the shortest run has legs aslant; a square one has quarter turns alone."""
    shortest = tube_finding(check(tmp_path, x=200, y=90, z=40))
    assert any(abs(b["angle"] - 90) > 1 for b in dict(shortest.extra)["bends"])
    for words, tube in ((", style: square", "petg-14"), ("", "{stock: petg-14, style: square}")):
        finding = tube_finding(check(tmp_path, x=230, y=90, z=90, words=words, tube=tube))
        assert finding.verdict == "pass", finding.text
        assert [b["angle"] for b in dict(finding.extra)["bends"]] == pytest.approx([90, 90, 90], abs=1e-3)


def test_where_no_square_run_is_found_the_shortest_is_offered(tmp_path: Path) -> None:
    check(tmp_path, x=230, y=40, z=10, words=", style: square")
    text = (tmp_path / "build.yaml").read_text(encoding="utf-8").replace("at: {x: 230", "turn: {z: 20}, at: {x: 230")
    (tmp_path / "build.yaml").write_text(text, encoding="utf-8")
    finding = tube_finding(pipeline.check(tmp_path / "build.yaml", Store.default()))
    assert finding.verdict == "fail"
    assert "in square style" in finding.text
    assert finding.remedies
    assert finding.remedies[0].startswith("style: shortest finds")


def test_a_tube_that_is_laid_already_loads_no_compiler(tmp_path: Path) -> None:
    """In a fresh process with a filled cache; without one the planner is asked, and its loops are compiled."""
    program = (
        "import sys; from pathlib import Path; from elbowroom.model import pipeline\n"
        "from elbowroom.model.store import Store\n"
        "pipeline.check(Path(sys.argv[1]), Store(Path(sys.argv[2]))); print('numba' in sys.modules)"
    )
    check(tmp_path)
    file, said = str(tmp_path / "build.yaml"), []
    for folder in (tmp_path / "cache", tmp_path / "empty"):
        run = [sys.executable, "-c", program, file, str(folder)]
        said.append(subprocess.run(run, capture_output=True, text=True, check=True).stdout.strip())
    assert said == ["False", "True"]
