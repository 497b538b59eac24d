"""Which way the air goes, on stacks and fans whose directions are known by construction.

A fan that blows into the case blows along the inward normal of the wall it is screwed to, and two fans in one line
whose directions are opposite work against each other: arithmetic, no source needed. That a closed panel or a missing
way back stops the air is common practice, no source.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from elbowroom.model.build.entries import Build
from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import parse
from elbowroom.model.checks.air import check
from elbowroom.model.checks.airflow import fans
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.layout import Layout
from elbowroom.model.layout.place import place
from elbowroom.model.store import Store
from elbowroom.model.told.findings import Finding

INWARD = {
    "floor": (0, 0, 1), "roof": (0, 0, -1), "rear": (1, 0, 0), "front": (-1, 0, 0), "open": (0, 1, 0),
    "tray": (0, -1, 0),
}  # fmt: skip
CENTRE = {
    "floor": "{rear: 200, tray: 150}", "roof": "{rear: 200, tray: 150}", "front": "{floor: 200, tray: 150}",
    "rear": "{floor: 200, tray: 150}", "open": "{rear: 200, floor: 200}", "tray": "{rear: 200, floor: 200}",
}  # fmt: skip
CABLE = {"floor": "rear tray", "roof": "rear tray", "front": "floor tray", "rear": "floor tray", "open": "rear floor",
         "tray": "rear floor"}  # fmt: skip


def built(body: str, case: str = "", open_side: str = "sheet") -> tuple[Build, Layout]:
    whole = (
        f"{{interior: {{depth: 400, width: 300, height: 400}}, board: null, slots: 0, psu: null, open_side: {open_side}"
    )
    build = load(parse(f"title: t\ncase: {whole}{case}}}\n{body}", "b.yaml"))
    return build, place(build)


def opening(face: str, count: int = 1, name: str = "row") -> str:
    return f"{name}: {{face: {face}, size: 120, count: {count}, gap: 15, slot: 4, centre: {CENTRE[face]}}}"


def stacked(face: str, flows: list[str], *, count: int = 1, stack: str = "in") -> tuple[Build, Layout]:
    """Fans before and behind a radiator on one opening, each with the flow given to it, from the panel inward."""
    cable = f"cable_to: {CABLE[face]}"
    layers = [f"      - {{fan: fan-120x25, name: fan {'ab'[i]}, flow: {f}, {cable}}}" for i, f in enumerate(flows)]
    layers.insert(1, f"      - {{radiator: radiator-{120 * count}x30, name: rad}}")
    rows = "\n".join(layers)
    return built(
        f"stacks:\n  row:\n    flow: {stack}\n    layers:\n{rows}\n", f", openings: {{{opening(face, count)}}}"
    )


def worst(findings: list[Finding]) -> list[tuple[str, str]]:
    return [(f.verdict, f.place.split(" ")[0]) for f in findings if f.verdict != "pass"]


def flow(findings: list[Finding]) -> dict[str, object]:
    (found,) = (f for f in findings if f.place == "flow")
    return dict(found.extra)


@settings(max_examples=25, deadline=None)
@given(st.sampled_from(sorted(INWARD)), st.lists(st.sampled_from(["in", "out"]), min_size=2, max_size=2))
def test_fans_at_both_faces_of_a_radiator_work_together_or_against_each_other(face: str, flows: list[str]) -> None:
    build, layout = stacked(face, flows)
    findings = check(build, layout)
    for fan, way in zip(fans(layout), flows, strict=True):
        assert fan.flow == pytest.approx(np.array(INWARD[face]) * (1 if way == "in" else -1))
        assert fan.opening == "case.row"
        assert fan.inward == (1 if way == "in" else -1)
    told = flow(findings)
    if flows[0] == flows[1]:
        assert "fail" not in {f.verdict for f in findings}
        row = {"opening": "case.row", "air": flows[0], "fans": ["fan a", "fan b"], "free_flow_m3h": None}
        assert told["openings"] == [row | {"filter": False if flows[0] == "in" else None}]
        assert told["radiators"][0]["air"] == ("room" if flows[0] == "in" else "case")  # type: ignore[index]
    else:
        assert ("fail", "against") in worst(findings)
        (against,) = (f for f in findings if f.verdict == "fail")
        assert set(against.parts) == {"fan a", "fan b", "rad"}
        # In at the panel and out behind: the two face each other. The other way they pull at one body of air.
        assert ("blow against" in against.text) == (flows[0] == "in")
        assert told["opposed"] == [["fan a", "fan b"]]


def test_a_whole_row_against_another_is_one_finding() -> None:
    findings = check(*stacked("front", ["in", "out"], count=3))
    (against,) = (f for f in findings if f.verdict == "fail")
    assert "fan a 1 to 3" in against.text
    assert "fan b 1 to 3" in against.text
    assert "through rad" in against.text
    assert len(against.parts) == 7


def test_a_fan_on_a_fan_with_nothing_between() -> None:
    layers = "".join(f"      - {{fan: fan-120x25, flow: {f}, cable_to: floor tray}}\n" for f in ("in", "out"))
    findings = check(*built(f"stacks:\n  row:\n    layers:\n{layers}", f", openings: {{{opening('rear')}}}"))
    assert ("fail", "against") in worst(findings)


@settings(max_examples=20, deadline=None)
@given(st.sampled_from([0, 90, 180, 270]), st.floats(0, 60).filter(lambda a: abs(a - 25) > 0.01), st.booleans())
def test_fans_placed_by_hand_are_seen_as_well(turn: int, apart: float, turned: bool) -> None:
    """Two fans in one line, `apart` mm apart, one maybe turned round: opposed, and only while they are in each other's
    line. Turned about z, the fans' axes lie in the plane of x and y."""
    axis = np.array(
        [round(np.sin(np.radians(turn))), -round(np.cos(np.radians(turn))), 0]
    )  # z turned by x: 90, z: turn
    middle = 200 * np.ones(3) * (1, 0.75, 1)
    other = middle + axis * (25 + apart + (25 if turned else 0))
    turns = "[{x: 90}, {z: %d}]" % turn  # noqa: UP031
    back = "[{x: 270}, {z: %d}]" % turn  # noqa: UP031
    lines = []
    for name, at, way in (("one", middle, turns), ("two", other, back if turned else turns)):
        # A part on x, y, z stands with its own origin there.
        x, y, z = (f"{c:.6f}" for c in at)
        lines.append(f"  {name}: {{fan: fan-120x25, at: {{x: {x}, y: {y}, z: {z}}}, turn: {way}}}")
    build, layout = built("parts:\n" + "\n".join(lines) + "\n")
    found = fans(layout)
    assert found[0].flow == pytest.approx(axis, abs=1e-9)
    in_line = found[1].piece in found[0].line
    assert in_line == (apart <= 25)
    assert ("fail" in {f.verdict for f in check(build, layout)}) == (turned and in_line)


@pytest.mark.parametrize(
    "cut", ["", ", cutouts: [{face: rear, at: {floor: 150, tray: 90}, size: {width: 110, height: 110}}]"]
)
def test_a_fan_before_a_closed_panel_is_a_caution_and_one_before_a_window_is_not(cut: str) -> None:
    fan = "parts:\n  fan: {fan: fan-120x25, on: case.rear-wall, at: {tray: 85, floor: 145}}\n"
    findings = check(*built(fan, cut))
    assert (("caution", "shut") in worst(findings)) == (not cut)


def test_fans_that_all_blow_one_way_need_a_way_back() -> None:
    fan = "layers: [{fan: fan-120x25, cable_to: floor tray}]"
    both = f", openings: {{{opening('rear')}, {opening('front', name='nose')}}}"
    for flows, verdict in ((("in", "in"), True), (("out", "out"), True), (("in", "out"), False)):
        stacks = f"stacks:\n  row: {{flow: {flows[0]}, {fan}}}\n  nose: {{flow: {flows[1]}, {fan}}}\n"
        assert (("caution", "one-way") in worst(check(*built(stacks, both)))) == verdict
    free = f", openings: {{{opening('rear')}, {opening('front', name='nose')}, {opening('roof', name='top')}}}"
    stacks = f"stacks:\n  row: {{flow: in, {fan}}}\n  nose: {{flow: in, {fan}}}\n"
    assert ("caution", "one-way") not in worst(check(*built(stacks, free)))


def test_a_radiator_without_a_fan_and_a_fan_against_its_stack() -> None:
    build, layout = built("parts:\n  rad: {radiator: radiator-240x30, at: {x: 200, y: 150, z: 50}}\n")
    assert worst(check(build, layout)) == [("caution", "still")]
    build, layout = stacked("front", ["out", "out"], stack="in")
    assert worst(check(build, layout)).count(("caution", "own-way")) == 2


def test_fans_side_by_side_that_blow_opposite_ways() -> None:
    layers = (
        "      - {fan: fan-120x25, name: low, count: 1, slide: 0, cable_to: floor tray}\n"
        "      - {radiator: radiator-240x30, name: rad}\n"
        "      - {fan: fan-120x25, name: high, count: 1, slide: 120, flow: out, cable_to: floor tray}\n"
    )
    text = f"stacks:\n  row:\n    flow: in\n    layers:\n{layers}"
    findings = check(*built(text, f", openings: {{{opening('front', 2)}}}"))
    assert ("caution", "aside") in worst(findings)
    assert "fail" not in {f.verdict for f in findings}


def test_a_build_without_fans_and_radiators_is_not_asked() -> None:
    assert check(*built("")) == []


PLATE_HOLES = "holes_a: [{at: [52.5, 52.5], diameter: 3.4}], holes_b: [{at: [-52.5, 52.5], thread: M3}]"


@pytest.mark.parametrize(("opening_mm", "verdict"), [(None, "fail"), (40.0, "fail"), (60.0, "caution"), (112.0, None)])
def test_a_layer_that_closes_a_fan_is_told(opening_mm: float | None, verdict: str | None, tmp_path: Path) -> None:
    """A plate with a round opening d leaves (d2 - hub2) / (bore2 - hub2) of the ring between a fan's hub and rim open:
    nothing of 40 mm and less, 0.16 of 60 mm, 0.93 of 112 mm with a hub of 40 and a bore of 116.
    """
    holes = ", openings: []" if opening_mm is None else f", openings: [{{at: [0, 0], diameter: {opening_mm}}}]"
    plate = f"{{adapter: custom, length: 118, width: 118, thickness: 6{holes}, {PLATE_HOLES}}}"
    build, layout = built(
        f"stacks:\n  row:\n    flow: in\n    layers:\n      - {plate}\n"
        "      - {fan: fan-120x25, cable_to: rear tray}\n",
        f", openings: {{{opening('floor')}}}",
    )
    found = [f for f in check(build, layout, solidify(layout, Store(tmp_path))) if f.place.startswith("stopped")]
    assert [f.verdict for f in found] == ([] if verdict is None else [verdict])
    if opening_mm == 60.0:
        assert found[0].measured == pytest.approx((60**2 - 40**2) / (116**2 - 40**2), abs=0.03)


def test_layers_that_close_a_fan_together_are_told(tmp_path: Path) -> None:
    """Two plates, each open from one side of a fan to 10 mm beyond its middle: each leaves more than half of the ring
    between hub and rim open. Together they leave a strip 20 wide: of discs of radius R it takes
    2 (10 sqrt(R2 - 100) + R2 asin(10 / R)), for the rim of 58 less the hub of 20 that is 1543 of 9312 mm2, 0.17, and
    the openings' own ends take a hundredth.
    """

    def plate(name: str, middle: float) -> str:
        return (
            f"{{adapter: custom, name: {name}, length: 140, width: 130, thickness: 6, "
            f"openings: [{{at: [{middle}, 0], size: [66, 112]}}], "
            "holes_a: [{at: [66, 61], diameter: 3.4}], holes_b: [{at: [-66, 61], thread: M3}]}"
        )

    def told(*plates: str) -> list[Finding]:
        layers = "".join(f"      - {p}\n" for p in (*plates, "{fan: fan-120x25, cable_to: rear tray}"))
        build, layout = built(
            f"stacks:\n  row:\n    flow: in\n    layers:\n{layers}", f", openings: {{{opening('floor')}}}"
        )
        scene = solidify(layout, Store(tmp_path))
        return [f for f in check(build, layout, scene) if f.place.startswith("stopped")]

    left, right = plate("left", -23.0), plate("right", 23.0)
    assert not told(left)
    assert not told(right)
    (found,) = told(left, right)
    assert found.verdict == "caution"
    assert found.measured == pytest.approx(0.16, abs=0.04)
    assert "right and left together" in found.text
