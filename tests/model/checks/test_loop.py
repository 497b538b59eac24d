"""The loop's verdicts on circuits drawn by hand."""

from __future__ import annotations

import itertools
import textwrap

import pytest

from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import parse
from elbowroom.model.checks.loop import check
from elbowroom.model.layout.place import place
from elbowroom.model.loop.hydraulics import network
from elbowroom.model.loop.plumbing import plumb
from elbowroom.model.told.findings import Finding

PARTS = """
  pump: {pump: pump-tube-60x100, at: {x: 0, y: 0, z: 0}}
  rad: {radiator: radiator-240x30, at: {x: 300, y: 0, z: 0}}
  cpu: {cpu-block: custom, at: {x: 0, y: 300, z: 0}}
  card: {gpu: gpu-block-2slot, at: {x: 300, y: 300, z: 0}}
"""
PUMPLESS = "\n" + PARTS.split("\n", 2)[2]
PLUGS = "fittings: {unused: plug}\n"


def build(loop: str, parts: str = PARTS, more: str = PLUGS, tube: str = "petg-14") -> str:
    runs = "".join(f"  - {r.strip()}\n" for r in loop.splitlines() if r.strip())
    return f"title: t\nparts:{parts}tube: {tube}\n{more}loop:\n{runs}"


def found(text: str) -> list[Finding]:
    loaded = load(parse(textwrap.dedent(text), "b.yaml"))
    layout = place(loaded)
    return check(layout, plumb(loaded, layout))


def worst(findings: list[Finding]) -> set[tuple[str, str]]:
    """Verdict and kind of all findings that are not a pass."""
    return {(f.verdict, f.place.split(" ")[0]) for f in findings if f.verdict != "pass"}


def one(findings: list[Finding], place: str) -> Finding:
    (finding,) = (f for f in findings if f.place.split(" ")[0] == place)
    return finding


SERIES = """
pump.out -> cpu.in
cpu.out -> card.in
card.out -> rad.in
rad.out -> pump.in
"""


def test_a_series_loop_passes_and_its_order_is_told_from_the_pump() -> None:
    findings = found(build(SERIES))
    assert worst(findings) == set()
    ring = one(findings, "circuit")
    order = ["pump.out -> cpu.in", "cpu.out -> card.in", "card.out -> rad.in", "rad.out -> pump.in"]
    assert dict(ring.extra)["order"] == order
    assert ring.parts == ("pump", "cpu", "card", "rad")
    assert ring.measured == 4
    # pump out, in, fill; two each of the other three
    assert one(findings, "ports").measured == 9


def test_the_order_does_not_hang_on_the_order_of_writing() -> None:
    for runs in itertools.permutations(SERIES.strip().splitlines()):
        ring = one(found(build("\n".join(runs))), "circuit")
        assert dict(ring.extra)["order"] == SERIES.strip().splitlines()


def test_a_build_without_runs_is_not_asked() -> None:
    text = f"title: t\nparts:{PARTS}"
    assert found(text) == []
    assert found(text + PLUGS) == []


def test_a_port_left_open_fails_and_is_named() -> None:
    findings = found(build(SERIES, more=""))
    assert worst(findings) == {("fail", "open")}
    finding = one(findings, "open")
    assert finding.parts == ("pump",)
    assert "pump.fill is left open" in finding.text
    assert any("plug" in r for r in finding.remedies)
    assert not any(f.place == "ports" for f in findings)


@pytest.mark.parametrize(
    ("chain", "expected"),
    [
        ("plug", set()),
        ("[extension-10, plug]", set()),
        ("[ball-valve, plug]", set()),
        ("ball-valve", {("caution", "valve")}),
        ("extension-10", {("fail", "open")}),
        ("hard-tube-14", {("fail", "open")}),
    ],
)
def test_what_closes_a_port(chain: str, expected: set[tuple[str, str]]) -> None:
    more = f"fittings: {{at: {{pump.fill: {chain}}}}}\n"
    assert worst(found(build(SERIES, more=more))) == expected


def test_a_port_used_by_two_runs_fails() -> None:
    findings = found(build(SERIES.replace("rad.out -> pump.in", "rad.out -> cpu.in")))
    finding = one(findings, "twice")
    assert (finding.verdict, finding.measured, finding.required) == ("fail", 2, 1)
    assert "cpu.in" in finding.text
    assert "pump.out -> cpu.in" in finding.text
    assert "rad.out -> cpu.in" in finding.text


def test_a_part_no_run_reaches() -> None:
    short = "pump.out -> cpu.in\ncpu.out -> rad.in\nrad.out -> pump.in\n"
    assert worst(found(build(short))) == {("fail", "left-out")}  # plugged, but the card gets no coolant
    finding = one(found(build(short)), "left-out")
    assert finding.parts == ("card",)
    spare = PARTS + "  spare: {radiator: radiator-120x30, at: {x: 600, y: 0, z: 0}}\n"
    assert worst(found(build(SERIES, spare))) == {("caution", "left-out")}
    assert ("fail", "left-out") in worst(found(build(SERIES, spare, more="")))


def test_a_dead_leg_is_named_with_where_it_could_go_on() -> None:
    findings = found(build("pump.out -> cpu.in\ncpu.out -> rad.in\nrad.out -> pump.in\npump.fill -> card.in"))
    assert worst(findings) == {("fail", "dead-leg")}
    finding = one(findings, "dead-leg")
    assert "pump.fill -> card.in" in finding.text
    assert "no run leaves card again" in finding.text
    assert finding.remedies == ("lead a run on from card.out",)


def test_an_open_chain_is_one_dead_leg_from_end_to_end() -> None:
    findings = found(build(SERIES.replace("rad.out -> pump.in", "")))
    assert worst(findings) == {("fail", "dead-leg")}
    finding = one(findings, "dead-leg")
    assert "no run leads to pump" in finding.text
    assert "no run leaves rad again" in finding.text
    assert set(finding.remedies) == {"lead a run to pump.in or pump.fill", "lead a run on from rad.out"}


def test_a_pipe_between_two_ways_round_carries_nothing() -> None:
    two = """
  p1: {pump: pump-tube-60x100, at: {x: 0, y: 0, z: 0}}
  p2: {pump: pump-tube-60x100, at: {x: 200, y: 0, z: 0}}
  r1: {radiator: radiator-240x30, at: {x: 300, y: 0, z: 0}}
  r2: {radiator: radiator-240x30, at: {x: 600, y: 0, z: 0}}
"""
    rings = "p1.out -> r1.in\nr1.out -> p1.in\np2.out -> r2.in\nr2.out -> p2.in\n"
    assert worst(found(build(rings, two))) == {("caution", "apart")}
    assert "own pump" in one(found(build(rings, two)), "apart").text
    assert worst(found(build(rings + "p1.fill -> p2.fill", two))) == {("fail", "dead-leg")}


def test_two_circuits_of_which_one_has_no_pump_fail() -> None:
    findings = found(build("pump.out -> rad.in\nrad.out -> pump.in\ncpu.out -> card.in\ncard.out -> cpu.in"))
    assert worst(findings) == {("fail", "apart"), ("fail", "no-pump")}
    assert "pump and rad; cpu and card" in one(findings, "apart").text
    assert one(findings, "no-pump").parts == ("cpu", "card")


def test_a_loop_without_a_pump_fails() -> None:
    findings = found(build("cpu.out -> card.in\ncard.out -> rad.in\nrad.out -> cpu.in\n", PUMPLESS))
    assert worst(findings) == {("fail", "no-pump")}
    findings = found(build("cpu.out -> card.in", PUMPLESS))
    assert ("fail", "no-pump") in worst(findings)


def test_a_pump_that_only_receives_drives_nothing() -> None:
    pump = "  pump: {pump: pump-tube-60x100-six-port, at: {x: 0, y: 0, z: 0}}\n"
    parts = "\n" + pump + "  rad: {radiator: radiator-240x30, at: {x: 300, y: 0, z: 0}}\n"
    findings = found(build("rad.in -> pump.in\nrad.out -> pump.in top", parts))
    assert one(findings, "no-pump").verdict == "fail"


def test_a_pump_used_backward_fails_and_the_blocks_are_held_against_the_way_it_pushes() -> None:
    back = "\n".join(f"{b} -> {a}" for a, b in (r.split(" -> ") for r in SERIES.strip().splitlines()))
    findings = found(build(back))
    assert worst(findings) == {("fail", "sense")}
    finding = one(findings, "sense")
    assert finding.parts == ("pump",)
    assert "pump.out, marked out" in finding.text
    assert "pump.in, marked in" in finding.text


def test_two_pumps_against_each_other_fail() -> None:
    parts = PARTS + "  second: {pump: pump-tube-60x100, at: {x: 600, y: 0, z: 0}}\n"
    loop = SERIES.replace("rad.out -> pump.in", "rad.out -> second.out\nsecond.in -> pump.in")
    findings = found(build(loop, parts))
    assert worst(findings) == {("fail", "sense")}
    assert one(findings, "sense").parts == ("second",)
    right = loop.replace("second.out\nsecond.in", "second.in\nsecond.out")
    assert worst(found(build(right, parts))) == set()


def test_a_block_used_backward_is_a_caution() -> None:
    findings = found(build(SERIES.replace("cpu.in", "cpu.x").replace("cpu.out", "cpu.in").replace("cpu.x", "cpu.out")))
    assert worst(findings) == {("caution", "sense")}
    finding = one(findings, "sense")
    assert finding.parts == ("cpu",)
    assert "enters by cpu.out" in finding.text
    assert "leaves by cpu.in" in finding.text
    assert any(f.place.startswith("circuit") for f in findings)


def test_one_arrow_against_the_others_is_one_finding() -> None:
    findings = found(build(SERIES.replace("card.out -> rad.in", "rad.in -> card.out")))
    assert worst(findings) == {("fail", "arrows")}
    finding = one(findings, "arrows")
    assert "rad.in -> card.out is drawn against the others" in finding.text
    assert finding.remedies == ("turn it round: card.out -> rad.in",)
    # The pump's marks decide, even where most arrows are wrong.
    back = ["pump.out -> cpu.in", "card.in -> cpu.out", "rad.in -> card.out", "pump.in -> rad.out"]
    findings = found(build("\n".join(back)))
    assert worst(findings) == {("fail", "arrows")}
    assert one(findings, "arrows").text.count("->") == 3


SIX = """
  pump: {pump: pump-tube-60x100-six-port, at: {x: 0, y: 0, z: 0}}
  rad: {radiator: radiator-240x30, at: {x: 300, y: 0, z: 0}}
  cpu: {cpu-block: custom, at: {x: 0, y: 300, z: 0}}
"""


def test_parallel_branches_are_named() -> None:
    findings = found(
        build("pump.out -> cpu.in\ncpu.out -> pump.in\npump.out left -> rad.in\nrad.out -> pump.in top", SIX)
    )
    assert worst(findings) == {("caution", "branches")}
    finding = one(findings, "branches")
    assert (finding.measured, finding.required) == (2, 1)
    assert finding.parts == ("pump", "cpu", "rad")
    assert "from pump.out through cpu to pump.in" in finding.text
    assert "from pump.out left through rad to pump.in top" in finding.text


def test_branches_of_a_plate_divide_and_join_where_its_channels_do() -> None:
    plate = """
  pump: {pump: pump-tube-60x100, at: {x: 0, y: 0, z: 0}}
  plate:
    plate: custom
    at: {x: 0, y: 0, z: 300}
    ports: [{name: in, at: [-90, 30]}, {name: a, at: [-30, 30]}, {name: b, at: [30, 30]},
            {name: out, at: [-90, -30]}, {name: c, at: [-30, -30]}, {name: d, at: [30, -30]}]
    channels: [{path: [in, a, b]}, {path: [out, c, d]}]
  cpu: {cpu-block: custom, at: {x: 0, y: 300, z: 0}}
  card: {gpu: gpu-block-2slot, at: {x: 300, y: 300, z: 0}}
"""
    loop = "pump.out -> plate.in\nplate.a -> cpu.in\ncpu.out -> plate.c\nplate.b -> card.in\ncard.out -> plate.d\n"
    findings = found(build(loop + "plate.out -> pump.in", plate))
    assert worst(findings) == {("caution", "branches")}
    text = one(findings, "branches").text
    assert "the flow divides at plate into 2" in text
    assert "from plate.a through cpu to plate.c" in text
    assert "from plate.b through card to plate.d" in text


def test_arrows_that_meet_in_a_branched_loop_fail() -> None:
    findings = found(
        build("pump.out -> cpu.in\ncpu.out -> pump.in\npump.out left -> rad.in\npump.in top -> rad.out", SIX)
    )
    assert ("fail", "arrows") in worst(findings)
    assert "rad" in one(findings, "arrows").parts


PLATE = """
  pump: {pump: pump-tube-60x100, at: {x: 0, y: 0, z: 0}}
  plate:
    plate: custom
    at: {x: 0, y: 0, z: 300}
    ports:
      - {name: a, at: [-80, 0], depth: 12}
      - {name: b, at: [80, 0], depth: 12}
      - {name: c, at: [-40, 0], depth: 12}
      - {name: d, at: [40, 0], depth: 12}
    channels: %s
  cpu: {cpu-block: custom, at: {x: 0, y: 300, z: 0}}
"""
THROUGH = "pump.out -> plate.a\nplate.c -> cpu.in\ncpu.out -> plate.d\nplate.b -> pump.in\n"


def test_the_way_goes_through_a_plate_by_its_channels() -> None:
    whole = found(build(THROUGH, PLATE % "[{path: [a, c]}, {path: [d, b]}]"))
    assert worst(whole) == set()
    assert len(dict(one(whole, "circuit").extra)["order"]) == 4


def test_a_plate_whose_channel_passes_the_block_by_leaves_it_still() -> None:
    findings = found(build(THROUGH, PLATE % "[{path: [a, b]}]"))  # c and d lie on the way of the one channel
    assert worst(findings) == {("fail", "no-pump")}
    finding = one(findings, "no-pump")
    assert "both ends open into one waterway of plate" in finding.text
    assert "plate.c -> cpu.in, cpu.out -> plate.d" in finding.text


def test_a_plate_that_cuts_the_way_makes_dead_legs() -> None:
    findings = found(build(THROUGH, PLATE % "[{path: [a, [-70, 20]]}, {path: [c, [0, 20], d]}, {path: [b, [70, 20]]}]"))
    assert one(findings, "dead-leg").verdict == "fail"
    assert "plate.a is joined to no other free port inside plate" in " ".join(one(findings, "dead-leg").remedies)


def test_a_plate_without_channels_cannot_be_followed() -> None:
    findings = found(build(THROUGH, PLATE % "[]"))
    assert worst(findings) == {("unknown", "inside")}
    assert "plate.a" in one(findings, "inside").text
    assert not any(f.place.startswith("circuit") for f in findings)
    # What leads nowhere whatever the channels are still fails.
    findings = found(build(THROUGH.replace("cpu.out -> plate.d", ""), PLATE % "[]"))
    assert one(findings, "dead-leg").verdict == "fail"


def test_a_plate_with_a_pump_bay_is_the_pump() -> None:
    parts = "\n  plate: {plate: plate-300x140-pump, at: {x: 0, y: 0, z: 0}}\n" + PUMPLESS
    loop = "plate.out -> cpu.in\ncpu.out -> card.in\ncard.out -> rad.in\nrad.out -> plate.return"
    findings = found(build(loop, parts))
    assert worst(findings) == set()
    assert dict(one(findings, "circuit").extra)["order"][0] == "plate.out -> cpu.in"


def test_a_shape_of_ones_own_may_be_the_pump() -> None:
    shape = "\n  own: {box: custom, at: {x: 0, y: 0, z: 0}, length: 60, width: 60, height: 90, ports: %s}\n"
    ports = "[{name: o, face: right, flow: out}, {name: i, face: left, flow: in}]"
    loop = "own.o -> cpu.in\ncpu.out -> card.in\ncard.out -> rad.in\nrad.out -> own.i"
    findings = found(build(loop, shape % ports + PUMPLESS))
    assert worst(findings) == {("caution", "pump-unsure")}


def test_ports_screwed_together_join_the_parts() -> None:
    parts = """
  pump: {pump: pump-tube-60x100, at: {x: 0, y: 0, z: 0}}
  ext: {fitting: extension-20, on: pump.out}
  stop: {fitting: plug, on: pump.fill}
  cpu: {cpu-block: custom, at: {x: 0, y: 300, z: 0}}
"""
    findings = found(build("ext.next -> cpu.in\ncpu.out -> pump.in", parts, more=""))
    assert worst(findings) == set()
    both = found(build("pump.out -> cpu.in\ncpu.out -> pump.in", parts, more=""))
    assert "ext.base" in one(both, "twice").text
    wide = "extension-20, thread: G3/8, seal_id: 17, seal_od: 20, land: 21, body_od: 22, next_land: 21"
    findings = found(build("cpu.out -> pump.in", parts.replace("extension-20", wide), more=""))
    assert ("fail", "thread") in worst(findings)
    assert "ext.base (G3/8) and pump.out (G1/4)" in one(findings, "thread").text


def test_different_tubes_in_one_loop_are_a_caution() -> None:
    loop = SERIES.replace("rad.out -> pump.in", "{run: rad.out -> pump.in, tube: soft-10-16}")
    findings = found(build(loop))
    assert worst(findings) == {("caution", "tubes")}
    assert "14/10 mm" in one(findings, "tubes").text
    assert "16/10 mm in rad.out -> pump.in" in one(findings, "tubes").text


def test_ids_are_told_apart_and_places_lie_on_the_ports() -> None:
    findings = found(build("pump.out -> cpu.in\npump.out -> card.in\ncard.out -> rad.in\nrad.in -> pump.in", more=""))
    ids = [f.id for f in findings]
    assert len(ids) == len(set(ids))
    twice = next(f for f in findings if f.place == "twice out")
    assert twice.where == ((-16.5, 33.0, 54.0),)  # a quarter of 66 beside the middle; 38 + 32 / 2 up


def test_the_network_joins_what_the_parts_join() -> None:
    loaded = load(parse(build(SERIES), "b.yaml"))
    layout = place(loaded)
    plumbing = plumb(loaded, layout)
    assert plumbing is not None
    net = network(layout, plumbing)
    assert {w.pieces: w.pumped for w in net.ways} == {
        ("pump",): True,
        ("rad",): False,
        ("cpu",): False,
        ("card",): False,
    }
    assert net.reached() == ["pump", "cpu", "card", "rad"]
