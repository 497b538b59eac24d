"""What is made to stand side by side needs no gap, and still clashes where it overlaps.

The facts are the trade's: fans of 120 are 120 wide and stand edge to edge at a pitch of 120 over one radiator, whatever
their pads (common practice, no source); the slot pitch is 20.32 (microATX v1.2); memory sockets stand 7.6 to 9.4 apart
(from memory).
"""

from __future__ import annotations

import textwrap
from dataclasses import replace

import pytest

from elbowroom.model import checks
from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import parse
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.place import place
from elbowroom.model.loop.fitted import fittings
from elbowroom.model.loop.plumbing import plumb
from elbowroom.model.store import Store
from elbowroom.model.told.findings import FAILING, Finding

OPENING = "{face: roof, size: 120, count: 3, slot: 2, centre: {rear: 260, open: 80}}"
CASE = "{board: null, slots: 0, interior: {depth: 540, width: 240, height: 600}, openings: {roof: " + OPENING + "}}"


def between(text: str, store: Store, *names: str) -> list[Finding]:
    """What is found between pieces whose names begin with one of these, mates aside."""
    layout = place(load(parse(textwrap.dedent(text), "b.yaml")))
    found = checks.run(solidify(layout, store), store)
    return [
        f
        for f in found
        if f.question in ("interference", "clearance") and len(f.parts) == 2
        and all(p.startswith(names) for p in f.parts)
    ]  # fmt: skip


def wrong(found: list[Finding]) -> list[str]:
    assert found
    return [f.text for f in found if f.verdict in FAILING | {"unknown"}]


@pytest.mark.slow
@pytest.mark.parametrize(("fan", "gap"), [("fan-120x25", 1), ("fan-120x25-padded", 3)])
def test_fans_over_one_radiator_stand_edge_to_edge(fan: str, gap: int, store: Store) -> None:
    text = f"""
    title: t
    case: {CASE}
    gaps: {{default: {gap}}}
    stacks:
      roof:
        flow: out
        layers: [{{radiator: radiator-360x30, ports_to: front}}, {{fan: {fan}, exhaust_pad: 1, cable_to: rear tray}}]
        outside: [{{fan: {fan}, intake_pad: 1, cable_to: rear tray}}]
    """
    assert wrong(between(text, store, "roof fan")) == []


def test_fans_that_overlap_still_clash(store: Store) -> None:
    text = f"""
    title: t
    case: {CASE}
    stacks:
      roof:
        flow: out
        layers: [{{fan: fan-140x25, size: 121, hole_pitch: 105, cable_to: rear tray}}]
    """
    found = between(text, store, "roof fan")
    clashes = [f for f in found if f.verdict == "clash"]
    assert {f.parts for f in clashes} == {("roof fan 1", "roof fan 2"), ("roof fan 2", "roof fan 3")}
    assert all(f.measured == pytest.approx(1.0) for f in clashes)  # 121 wide at a pitch of 120


def test_fans_of_openings_beside_each_other_are_one_row(store: Store) -> None:
    text = """
    title: t
    case:
      board: null
      slots: 0
      interior: {depth: 540, width: 240, height: 600}
      openings:
        low: {face: floor, size: 120, slot: 2, centre: {rear: 200, open: 80}}
        next: {face: floor, size: 120, slot: 2, centre: {rear: 320, open: 80}}
    stacks:
      low: {flow: in, layers: [{fan: fan-120x25-padded, cable_to: rear tray}]}
      next: {flow: in, layers: [{fan: fan-120x15, cable_to: rear tray}]}
    """
    assert wrong(between(text, store, "low fan", "next fan")) == []


def test_fans_put_on_the_places_of_one_opening_are_one_row(store: Store) -> None:
    text = f"""
    title: t
    case: {CASE}
    parts:
      one: {{fan: fan-120x25-padded, on: case.roof-1}}
      two: {{fan: fan-120x25-padded, on: case.roof-2}}
    """
    assert wrong(between(text, store, "one", "two")) == []


@pytest.mark.slow
def test_a_thin_gasket_keeps_fan_and_radiator_apart_as_it_is(store: Store) -> None:
    text = f"""
    title: t
    case: {CASE}
    stacks:
      roof:
        flow: out
        layers:
          - {{gasket: gasket-360, thickness: 0.5}}
          - {{radiator: radiator-360x30, ports_to: front}}
          - {{gasket: gasket-120, thickness: 0.5, count: 3}}
          - {{fan: fan-120x25, cable_to: rear tray}}
    """
    found = [f for f in between(text, store, "roof", "case") if "blades" not in str(f.bodies)]
    assert wrong(found) == []


def test_memory_in_neighbouring_sockets(store: Store) -> None:
    def build(spreader: float) -> str:
        return f"""
        title: t
        parts:
          board: {{motherboard: motherboard-atx, dimm_pitch: 7.6, dimm_width: 6, at: {{x: 0, y: 0, z: 0}}}}
          memory: {{memory: memory-44, spreader: {spreader}, on: [board.dimm-2, board.dimm-3]}}
        """

    assert wrong(between(build(7.2), store, "memory", "board")) == []
    assert any("overlap" in t for t in wrong(between(build(8.0), store, "memory")))  # 8.0 thick at 7.6 is too much


@pytest.mark.slow
def test_cards_in_neighbouring_slots_as_far_as_the_standard_goes(store: Store) -> None:
    def build(gap: float, thickness: float) -> str:
        return f"""
        title: t
        gaps: {{default: {gap}}}
        parts:
          board: {{motherboard: motherboard-atx, slots: [x16, x16, x16], at: {{x: 0, y: 0, z: 0}}}}
          one: {{gpu: gpu-block-1slot, thickness: {thickness}, terminal_thickness: 12, port_depth: 4, backplate: 0,
                 on: board.slot-1}}
          two: {{gpu: gpu-block-1slot, thickness: {thickness}, terminal_thickness: 12, port_depth: 4, backplate: 0,
                 on: board.slot-2}}
        """

    # A card of 1.57 and 14.47 toward its neighbour, its back bare: 20.32 - 16.04 = 4.28 is left, whatever is wanted.
    assert wrong(between(build(5.0, 16.04), store, "one", "two")) == []
    # One that is thicker than the standard lets it be is held to the wanted gap: 20.32 - 18 = 2.32.
    found = [f for f in between(build(5.0, 18.0), store, "one", "two") if f.verdict == "tight"]
    assert min(f.measured or 0.0 for f in found) == pytest.approx(2.32)
    assert not any("bracket" in b for f in found for b in f.bodies if all("bracket" in c for c in f.bodies))


def test_a_supply_stands_on_the_floor_its_seat_stands_it_on(store: Store) -> None:
    text = """
    title: t
    case: {psu: {kind: atx, at: {floor: 0}, fan: up}}
    parts:
      psu: {psu: psu-atx-150, on: case.psu}
    """
    assert wrong([f for f in between(text, store, "psu", "case") if "room" not in f.text]) == []


@pytest.mark.slow
@pytest.mark.parametrize(("rise", "verdicts"), [(0.0, {"touch"}), (2.0, {"clear"})])
def test_a_fitting_seats_on_a_cover_flush_with_its_port_and_on_nothing_beside_it(
    rise: float, verdicts: set[str], store: Store
) -> None:
    """A port near the seam of a plate of two layers: the seat is one plane; another part there is not the joint."""
    loaded = load(parse(textwrap.dedent(f"""
    title: t
    parts:
      plate: {{plate: plate-360x120-covered, at: {{x: 0, y: 0, z: 0}}}}
      bar: {{box: custom, length: 10, width: 30, height: 19, at: {{x: {189 + rise}, y: -30, z: 0}}}}
    fittings: {{at: {{plate.card out: plug}}}}
    """), "b.yaml"))  # fmt: skip
    layout = place(loaded)
    plumbing = plumb(loaded, layout)
    assert plumbing is not None
    pieces, mates = fittings(layout, plumbing.chains.values(), {})
    whole = replace(layout, pieces=(*layout.pieces, *pieces), mates=(*layout.mates, *mates))
    found = checks.run(solidify(whole, store), store)
    assert not [f.text for f in found if set(f.parts) == {"plate", "plug at plate.card out"} and f.verdict == "touch"]
    assert {f.verdict for f in found if set(f.parts) == {"bar", "plug at plate.card out"}} == verdicts
