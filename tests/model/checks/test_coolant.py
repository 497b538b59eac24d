"""Coolant volumes, high points and the ports to fill and drain by, on layouts whose numbers are worked out by hand."""

from __future__ import annotations

import math
import re
import textwrap

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import parse
from elbowroom.model.checks.coolant import check, to_buy
from elbowroom.model.layout.identity import Port
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.layout.place import place
from elbowroom.model.loop.coolant_volume import Share, shares
from elbowroom.model.loop.hydraulics import network
from elbowroom.model.loop.levels import standing_on
from elbowroom.model.loop.plumbing import Plumbing, plumb
from elbowroom.model.told.findings import Finding
from elbowroom.parts.tube.tube import TubeRun
from elbowroom.parts.vocabulary.pose import IDENTITY

# The pump stands at (100, 100): foot 0, base 38 to 70, tank of 60 from 70 to 170, lid to 190. The radiator lies flat
# above, from 400 to 430, turned so that its 120 mm lie along x from -20 to 100. The block's ports are 26 above z 200.
PUMP = "  pump: {pump: pump-tube-60x100-six-port, at: {x: 100, y: 100, z: 0}}\n"
RAD = "  rad: {radiator: radiator-240x30, at: {x: 40, y: 100, z: 400}, turn: {z: 90}}\n"
CPU = "  cpu: {cpu-block: custom, at: {x: 300, y: 100, z: 200}}\n"
LOOP = ("pump.out -> cpu.in", "cpu.out -> rad.in", "rad.out -> pump.in")

TANK_ML = math.pi * 25**2 * 100 / 1000  # 60 outside, walls of 5
RAD_ML = 0.15 * 232 * 120 * 30 / 1000  # 277 long less tanks of 30 and 15
FITTING_ML = math.pi * 9**2 / 4 * (5 + 17 - 10) / 1000  # hard-tube-14: bore 9, thread 5, height 17, tube 10 inside


def made(
    parts: str = PUMP + RAD + CPU, loop: tuple[str, ...] = LOOP, more: str = "", tube: str = "petg-14"
) -> tuple[Layout, Plumbing]:
    runs = "".join(f"  - {r}\n" for r in loop)
    case = "case: {interior: {depth: 400, width: 200, height: 450}}\n"
    text = f"title: t\n{case}parts:\n{parts}tube: {tube}\nfittings: {{unused: plug}}\n{more}loop:\n{runs}"
    build = load(parse(textwrap.dedent(text), "b.yaml"))
    layout = place(build)
    plumbing = plumb(build, layout)
    assert plumbing is not None
    return layout, plumbing


def laid(**runs: list[tuple[float, float, float]]) -> dict[str, Piece]:
    """Tubes by number of their run, `r0=corners`; 14/10 mm with bends of 28 and nothing inside the fittings."""
    return {
        LOOP[int(name[1:])]: Piece(name, TubeRun(points=tuple(points), radius=28, od=14, id=10), IDENTITY, "tubes")
        for name, points in runs.items()
    }


def one(findings: list[Finding], place: str) -> Finding:
    (finding,) = (f for f in findings if f.place.split(" ")[0] == place)
    return finding


def tubes_of(layout: Layout, plumbing: Plumbing) -> list[Share]:
    return [s for s in shares(layout, plumbing, network(layout, plumbing), {}) if s.kind == "tube"]


# -- volumes ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("bore", "ml"), [(8, 50.27), (10, 78.54), (12, 113.10), (13, 132.73)])
def test_a_metre_of_tube(bore: float, ml: float) -> None:
    """Trade table of tube volumes, ml per metre by inner diameter."""
    layout, plumbing = made()
    run = TubeRun(points=((0, 0, 0), (1000, 0, 0)), od=bore + 4, id=bore)
    tubes = {LOOP[0]: Piece("t", run, IDENTITY, "tubes")}
    share = next(s for s in shares(layout, plumbing, network(layout, plumbing), tubes) if s.name == LOOP[0])
    assert share.ml == share.low == share.high == pytest.approx(ml, abs=0.005)


def test_the_volume_is_the_sum_of_its_parts() -> None:
    layout, plumbing = made()
    tubes = laid(r0=[(0, 0, 0), (500, 0, 0)], r1=[(0, 0, 0), (300, 0, 0)], r2=[(0, 0, 0), (200, 0, 0)])
    finding = one(check(layout, plumbing, tubes), "volume")
    rest = TANK_ML + 25 + 6 * FITTING_ML + 78.5398
    assert finding.verdict == "pass"
    assert finding.unit == "ml"
    assert finding.measured == pytest.approx(rest + RAD_ML, abs=1e-3)
    assert finding.low == pytest.approx(rest + RAD_ML * 0.12 / 0.15, abs=1e-3)
    assert finding.high == pytest.approx(rest + RAD_ML * 0.20 / 0.15, abs=1e-3)
    assert dict(finding.extra)["buy_ml"] == 600  # 471.9 at most and a tenth: 519
    rests = {s["name"]: s["rests"] for s in dict(finding.extra)["shares"]}
    assert (rests["rad"], rests["cpu"], rests["pump"]) == ("assumed", "assumed", "drawn")
    assert dict(finding.basis.assumed)["rad"] == ("coolant",)
    assert any("weigh rad" in r for r in finding.remedies)


def test_a_slim_240_takes_about_120_ml() -> None:
    layout, plumbing = made()
    share = next(s for s in shares(layout, plumbing, network(layout, plumbing), {}) if s.name == "rad")
    assert share.ml == pytest.approx(120, rel=0.05)
    assert share.low == pytest.approx(100.2, abs=0.1)
    assert share.high == pytest.approx(167.0, abs=0.1)


def test_a_measured_volume_is_told_as_measured_with_its_spread() -> None:
    parts = (
        PUMP
        + RAD.replace("240x30,", "240x30, coolant: 110 ml,")
        + CPU.replace("custom,", "custom, coolant: 30 ± 4 ml,")
    )
    layout, plumbing = made(parts)
    by_name = {s.name: s for s in shares(layout, plumbing, network(layout, plumbing), {})}
    rad, cpu = by_name["rad"], by_name["cpu"]
    assert (rad.ml, rad.low, rad.high, rad.rests) == (110, 110, 110, "measured")
    assert (cpu.ml, cpu.low, cpu.high, cpu.rests) == (30, 26, 34, "measured")
    text = one(check(layout, plumbing), "volume").text
    assert "rad 110 ml (measured)" in text
    assert "cpu 30 ml (measured, 26 ml to 34 ml)" in text


def test_a_part_that_states_no_volume_leaves_a_lower_bound() -> None:
    box = "  own: {box: custom, length: 60, width: 60, height: 60, at: {x: 300, y: 100, z: 200}, ports: [{name: in, "
    box += "face: left}, {name: out, face: right}]}\n"
    layout, plumbing = made(PUMP + RAD + box, tuple(r.replace("cpu", "own") for r in LOOP))
    finding = one(check(layout, plumbing), "volume")
    assert (finding.verdict, finding.high) == ("caution", None)
    known = TANK_ML + RAD_ML * 0.2 / 0.15 + 6 * FITTING_ML  # what is known, at most, and a tenth: about 404 and tubes
    assert dict(finding.extra)["buy_ml"] == to_buy(known + sum(s.ml for s in tubes_of(layout, plumbing)))
    assert "own" in finding.text
    assert "measure what own holds" in finding.remedies


def test_a_run_not_laid_counts_no_more_than_any_tube_that_joins_its_ports() -> None:
    layout, plumbing = made()
    out = layout.piece("pump").frame_pose("out")
    into = layout.piece("cpu").frame_pose("in")
    mouths = out[:3, 3] + 17 * out[:3, 2], into[:3, 3] + 17 * into[:3, 2]
    corners = [
        tuple(mouths[0]),
        tuple(mouths[0] + 100 * out[:3, 2]),
        tuple(mouths[1] + 100 * into[:3, 2]),
        tuple(mouths[1]),
    ]
    run = TubeRun(points=tuple(corners), radius=28, od=14, id=10, insertion_start=10, insertion_end=10)
    net = network(layout, plumbing)
    bound = next(s for s in shares(layout, plumbing, net, {}) if s.name == LOOP[0])
    tube = next(
        s for s in shares(layout, plumbing, net, {LOOP[0]: Piece("t", run, IDENTITY, "t")}) if s.name == LOOP[0]
    )
    apart = math.dist(out[:3, 3], into[:3, 3])
    assert bound.ml == pytest.approx(math.pi * 25 * (apart - 2 * 17 + 2 * 10) / 1000)
    assert bound.high is None
    assert bound.ml < tube.ml == tube.high


def test_parts_the_loop_does_not_reach_are_not_counted() -> None:
    other = PUMP + RAD + CPU + "  idle: {radiator: radiator-360x60, at: {x: 0, y: 0, z: 0}}\n"
    with_idle, without = (one(check(*made(p)), "volume").measured for p in (other, PUMP + RAD + CPU))
    assert with_idle == without


@pytest.mark.parametrize(("most", "buy"), [(0, 0), (90, 100), (91, 200), (1000, 1100), (1000.01, 1200), (471.9, 600)])
def test_coolant_to_buy_is_a_tenth_more_in_whole_hundreds(most: float, buy: float) -> None:
    assert to_buy(most) == buy


def test_a_build_without_runs_is_not_asked() -> None:
    layout, _ = made()
    assert check(layout, None) == []


# -- air --------------------------------------------------------------------------------------------------------------


def test_a_radiator_above_the_reservoir_holds_air() -> None:
    layout, plumbing = made()
    findings = [f for f in check(layout, plumbing) if f.place.startswith("air")]
    assert [(f.verdict, f.parts) for f in findings] == [("caution", ("rad",))]
    assert findings[0].measured == pytest.approx(430 - 170)
    assert findings[0].where[0][2] == pytest.approx(430)
    assert "the top of the reservoir of pump" in findings[0].text
    # The block between them is on the way up to the radiator, and no place of its own where air would stay.
    chosen = made(more="coolant: {fill: pump.fill}\n")
    assert one(check(*chosen), "air").measured == pytest.approx(430 - 190)


def test_a_low_radiator_under_a_high_reservoir_holds_none() -> None:
    high = PUMP.replace("z: 0", "z: 300")  # tank top 470, ports 354
    low = RAD.replace("z: 400", "z: 0")
    finding = one(check(*made(high + low + CPU)), "air")
    assert finding.verdict == "pass"
    # The radiator's own top, 15 above its ports, is the one high point besides; 470 - 30 under the reservoir's.
    assert "lower high points" in finding.text
    assert "rad (440 mm under it)" in finding.text


def test_a_tube_that_rises_over_the_reservoir_holds_air_at_its_top() -> None:
    low = RAD.replace("z: 400", "z: 0")
    layout, plumbing = made(PUMP + low + CPU.replace("z: 200", "z: 100"))
    ends = [layout.piece(n).frame_pose(f)[:3, 3] for n, f in (("pump", "out"), ("cpu", "in"))]
    level = [tuple(ends[0]), (ends[0][0], ends[0][1], 300), (ends[1][0], ends[1][1], 300), tuple(ends[1])]
    finding = one(check(layout, plumbing, laid(r0=level)), "air")
    assert (finding.verdict, finding.parts) == ("caution", ("pump", "cpu"))
    assert finding.measured == pytest.approx(300 - 170)
    # A single bend of 90 degrees, its corner pointing up at 400: the top of the arc lies R (sqrt 2 - 1) below it.
    corner = [(100, 100, 100), (400, 100, 400), (700, 100, 100)]
    finding = one(check(layout, plumbing, laid(r0=corner)), "air")
    assert finding.measured == pytest.approx(400 - 28 * (math.sqrt(2) - 1) - 170, abs=0.1)
    # Without the tube's line there is no such place.
    assert one(check(layout, plumbing), "air").verdict == "pass"


def test_a_block_at_the_top_lets_its_air_out_by_a_free_port() -> None:
    card = "  card: {gpu: gpu-block-2slot, port_side: both, at: {x: 300, y: 100, z: 300}}\n"
    loop = ("pump.out -> card.in", "card.out -> rad.in", "rad.out -> pump.in")
    layout, plumbing = made(PUMP + RAD.replace("z: 400", "z: 0") + card, loop)
    finding = one(check(layout, plumbing), "air")
    assert finding.parts == ("card",)
    port = layout.piece("card").frame_pose("in")[2, 3]
    assert finding.measured == pytest.approx(port - 170)
    assert finding.remedies[0].startswith("let the air out by card.")
    assert "0.0 mm below the top" in finding.remedies[0]


def test_several_high_places_are_one_line_with_the_rest_under_it() -> None:
    second = RAD.replace("rad:", "two:").replace("y: 100", "y: 20").replace("z: 400", "z: 380")
    loop = ("pump.out -> cpu.in", "cpu.out -> rad.in", "rad.out -> two.in", "two.out -> pump.in")
    layout, plumbing = made(PUMP + RAD + second + CPU, loop)
    dip = ((100.0, 100.0, 100.0), (100.0, 300.0, 100.0))  # the tube between the two hangs lower than both
    tubes = {loop[2]: Piece("dip", TubeRun(points=dip, radius=28, od=14, id=10), IDENTITY, "tubes")}
    first, *rest = (f for f in check(layout, plumbing, tubes) if f.place.startswith("air"))
    assert first.place == "air"
    assert len(rest) == 2
    assert first.effects == tuple(f.id for f in rest)
    assert {f.cause for f in rest} == {first.id}
    assert first.measured == max(f.measured or 0.0 for f in rest)
    assert "rad" in first.text
    assert "two" in first.text


def test_no_sentence_has_two_commas_in_a_row() -> None:
    ports = "[{name: out, face: front, at: [-16, 54], flow: out}, {name: in, face: front, at: [16, 54], flow: in}]"
    pumps = (PUMP, f"  pump: {{pump: custom, at: {{x: 100, y: 100, z: 0}}, ports: {ports}}}\n")
    shape = "  pump: {box: custom, length: 60, width: 60, height: 60, at: {x: 100, y: 100, z: 20}, ports: [{name: in, "
    shape += "face: left}, {name: out, face: right}, {name: over, face: top}]}\n"
    for parts in (*(p + RAD + CPU for p in pumps), shape + RAD + CPU):
        for f in check(*made(parts)):
            for text in (f.text, *f.remedies):
                assert ",," not in text.replace(" ", ""), text


# -- filling and draining ---------------------------------------------------------------------------------------------


def test_the_best_ports_are_named_where_the_build_chooses_none() -> None:
    findings = check(*made())
    fill, drain = one(findings, "fill"), one(findings, "drain")
    assert (fill.verdict, fill.measured) == ("pass", 190)
    assert "pump.fill" in fill.text  # `in top` is as high and looks up, too, but is marked for the flow
    assert drain.verdict == "pass"
    assert "pump.drain" in drain.text  # `out left` is as low
    assert dict(drain.extra)["height_mm"] == pytest.approx(54)
    # Nothing lies below 54 but the outside of no part: the tank begins at 70. Of the tubes, what dips under it.
    assert drain.low == pytest.approx(0, abs=1e-9)


def test_a_lower_fill_port_is_a_caution_with_the_better_one() -> None:
    finding = one(check(*made(more="coolant: {fill: pump.out left}\n")), "fill")
    assert finding.verdict == "caution"
    assert (finding.measured, finding.required) == (54, 190)
    assert "is 136 mm higher" in finding.text
    assert finding.remedies in (("fill by pump.fill",), ("fill by pump.in top",))
    assert one(check(*made(more="coolant: {fill: pump.fill}\n")), "fill").verdict == "pass"


def test_ports_that_are_no_use_for_filling() -> None:
    occupied = one(check(*made(more="coolant: {fill: cpu.in}\n")), "fill")
    assert occupied.verdict == "fail"
    assert "the run pump.out -> cpu.in occupies it" in occupied.text
    apart = PUMP + RAD + CPU + "  idle: {radiator: radiator-120x30, at: {x: 0, y: 0, z: 0}}\n"
    finding = one(check(*made(apart, more="coolant: {fill: idle.in}\n")), "fill")
    assert finding.verdict == "fail"
    assert "no run of the loop reaches idle.in" in finding.text
    down = PUMP.replace("z: 0}", "z: 300}, turn: {x: 180}")  # on its head: the lid's ports look down
    finding = one(check(*made(down + RAD + CPU, more="coolant: {fill: pump.fill}\n")), "fill")
    assert finding.verdict == "caution"
    assert "looks down" in finding.text


def test_a_loop_without_a_free_port() -> None:
    ports = "[{name: out, face: front, at: [-16, 54], flow: out}, {name: in, face: front, at: [16, 54], flow: in}]"
    two = f"  pump: {{pump: custom, at: {{x: 100, y: 100, z: 0}}, ports: {ports}}}\n"
    findings = check(*made(two + RAD + CPU))
    assert one(findings, "fill").verdict == one(findings, "drain").verdict == "caution"


def test_lying_on_its_rear_the_lowest_port_is_the_rearmost() -> None:
    """On its rear, heights are distances from the rear wall. `out left` faces rear at x 100 - 35, `drain` is bored in
    front at x 116, and the radiator reaches from x -20 to 100."""
    layout, plumbing = made(more="coolant: {drain: pump.drain, stands_on: rear}\n")
    finding = one(check(layout, plumbing), "drain")
    assert finding.verdict == "caution"
    assert dict(finding.extra)["height_mm"] == pytest.approx(116)
    assert "pump.out left is 51 mm lower" in finding.text
    assert finding.remedies[0] == "drain by pump.out left"
    # Wholly below 116: the radiator. In part: the tank, from 70 to 130. Fittings on ports below 116: pump.out at 84 and
    # both of the radiator's, at 10 and 70. Tubes: the part of each straight line that lies below.
    fittings = 3 * FITTING_ML
    held = {s.name: s.ml for s in shares(layout, plumbing, network(layout, plumbing), {})}
    x = {p: layout.piece(p.piece).frame_pose(p.frame)[0, 3] for p in (Port("cpu", "in"), Port("cpu", "out"))}
    assert sorted(x.values()) == [287, 313]
    tubes = held[LOOP[0]] * (116 - 84) / (x[Port("cpu", "in")] - 84)
    rad = {f: layout.piece("rad").frame_pose(f)[0, 3] for f in ("in", "out")}
    tubes += held[LOOP[1]] * (116 - rad["in"]) / (x[Port("cpu", "out")] - rad["in"])
    tubes += held[LOOP[2]] * (116 - rad["out"]) / (135 - rad["out"])  # pump.in looks front at 135
    assert finding.measured == pytest.approx(RAD_ML + TANK_ML * 46 / 60 + fittings + tubes, abs=1e-6)
    assert finding.low == pytest.approx(RAD_ML * 0.8 + fittings + tubes, abs=1e-6)
    assert finding.high == pytest.approx(RAD_ML * 0.2 / 0.15 + TANK_ML + fittings + tubes, abs=1e-6)
    better = made(more="coolant: {drain: pump.out left, stands_on: rear}\n")
    assert one(check(*better), "drain").verdict == "pass"
    # Standing on its floor both are 54 up, so that either will do.
    assert one(check(*made(more="coolant: {drain: pump.drain}\n")), "drain").verdict == "pass"


@settings(max_examples=15, deadline=None)
@given(st.sampled_from(["drain", "fill", "out left"]), st.sampled_from(["floor", "rear", "roof"]), st.integers(0, 250))
def test_a_drain_that_much_stays_in_is_never_a_pass(port: str, side: str, z: int) -> None:
    """Held against the finding's own numbers: more than a quarter staying (common practice, no source) is a caution,
    and any other way that is advised leaves the millilitres it is said to leave."""
    parts = PUMP.replace("z: 0", f"z: {z}") + RAD + CPU
    layout, plumbing = made(parts, more=f"coolant: {{drain: pump.{port}, stands_on: {side}}}\n")
    finding = one(check(layout, plumbing), "drain")
    extra = dict(finding.extra)
    assert finding.measured is not None
    assert extra["holds_ml"] == pytest.approx(
        sum(s.ml for s in shares(layout, plumbing, network(layout, plumbing), {}))
    )
    if finding.measured > 0.25 * extra["holds_ml"]:
        assert finding.verdict == "caution"
    for advice in finding.remedies:
        said = re.match(
            r"drain it(?: by (?P<port>.+?))? with the case \w+ on its (?P<side>\w+).*: about (?P<ml>\d+) ml", advice
        )
        if said:
            new = f"coolant: {{drain: {said['port'] or 'pump.' + port}, stands_on: {said['side']}}}\n"
            again = one(check(*made(parts, more=new)), "drain").measured
            assert again is not None
            assert again == pytest.approx(float(said["ml"]), abs=5.001)
            assert again < finding.measured


def test_ports_out_of_reach_are_not_advised() -> None:
    layout, plumbing = made(more="coolant: {stands_on: rear}\n")
    assert "pump.out left" in one(check(layout, plumbing), "drain").text
    finding = one(check(layout, plumbing, None, [Port("pump", "out left")]), "drain")
    assert "pump.out left" not in finding.text
    # Nor is one that the build chooses taken to drain by.
    chosen = made(more="coolant: {drain: pump.out left, stands_on: rear}\n")
    finding = one(check(*chosen, None, [Port("pump", "out left")]), "drain")
    assert finding.verdict == "caution"
    assert "no hand gets at pump.out left" in finding.text
    assert finding.remedies[0].startswith("drain by pump.")
    assert "out left" not in finding.remedies[0]


@pytest.mark.parametrize("side", ["tray", "open", "roof"])
def test_a_case_is_not_drained_lying_where_no_hose_leads_down_or_on_its_glass(side: str) -> None:
    """Gravity: with the one open side up, a hose out of it leads upward first; lying on it, there is no way out."""
    finding = one(check(*made(more=f"coolant: {{drain: pump.drain, stands_on: {side}}}\n")), "drain")
    assert finding.verdict == "caution"
    assert not any("on its tray" in r or "on its open" in r or "on its roof" in r for r in finding.remedies)


@pytest.mark.parametrize(
    ("side", "lowest"),
    [
        ("floor", (200, 100, 0)), ("roof", (200, 100, 450)), ("rear", (0, 100, 200)), ("front", (400, 100, 200)),
        ("open", (200, 0, 200)), ("tray", (200, 200, 200)),
    ],
)  # fmt: skip
def test_heights_are_counted_from_the_side_the_case_stands_on(side: str, lowest: tuple[float, float, float]) -> None:
    layout, _ = made()
    at = standing_on(layout, side)
    assert at.height(lowest) == 0
    inside = np.array([200.0, 100.0, 225.0])
    assert at.height(inside) > 0
    assert at.height(inside + 10 * at.up) == pytest.approx(at.height(inside) + 10)


def test_ids_are_told_apart_and_numbers_are_plain() -> None:
    findings = check(*made())
    ids = [f.id for f in findings]
    assert len(ids) == len(set(ids))
    for f in findings:
        assert f.to_json()["question"] == "coolant"
        assert f.low is None or f.measured is None or f.high is None or f.low <= f.measured <= f.high
