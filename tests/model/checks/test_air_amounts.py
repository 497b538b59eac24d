"""In against out, and the heat, on builds whose sums are known.

Outside: density and heat capacity of air by the package CoolProp; 1.757 CFM for each watt and degree Celsius, the
figure of fan makers' handbooks at sea level (V). That fans in one line move the same air, and that as much air leaves
as enters, is the conservation of mass. The rules of thumb are common practice, no source.
"""

from __future__ import annotations

import pytest

from elbowroom.model.build.entries import Build
from elbowroom.model.build.problems import BuildError
from elbowroom.model.checks.air import check
from elbowroom.model.checks.air_amounts import CFM, DENSITY, HEAT_CAPACITY, needed
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.layout import Layout
from elbowroom.model.store import Store
from elbowroom.model.told.findings import Finding
from tests.model.checks.test_air import built, opening

AT_FRONT = ", openings: {" + opening("front", 2, "front") + ", " + opening("rear", 1, "rear") + "}"


def two_in_one_out(front: str = "", rear: str = "", more: str = "", before: str = "") -> tuple[Build, Layout]:
    return built(
        f"{more}\nstacks:\n  front:\n    flow: in\n    layers:\n{before}"
        f"      - {{fan: fan-120x25, cable_to: floor tray{front}}}\n"
        f"  rear:\n    flow: out\n    layers:\n      - {{fan: fan-120x25, cable_to: floor tray{rear}}}\n",
        AT_FRONT,
    )


def told(found: list[Finding], place: str) -> Finding | None:
    return next((f for f in found if f.place == place), None)


def test_the_air_that_carries_heat_is_what_tables_say() -> None:
    from CoolProp.CoolProp import PropsSI

    assert pytest.approx(PropsSI("D", "T", 293.15, "P", 101325, "Air"), rel=2e-3) == DENSITY
    assert pytest.approx(PropsSI("C", "T", 293.15, "P", 101325, "Air"), rel=2e-3) == HEAT_CAPACITY
    assert needed(1.0, 1.0) / CFM == pytest.approx(1.757, rel=0.01)  # the handbooks' air is some 0.5 % denser
    assert needed(300.0, 10.0) / 3600 == pytest.approx(0.0249, rel=0.01)


def test_more_out_than_in_is_told_with_both_sums_and_where_the_rest_comes_in() -> None:
    found = told(check(*two_in_one_out(", free_flow: 30 CFM", ", free_flow: 90 CFM")), "balance")
    assert found is not None
    assert found.verdict == "caution"
    assert dict(found.extra)["in"] == pytest.approx(60 * 1.699011, rel=1e-6)  # the unit's own definition
    assert dict(found.extra)["out"] == pytest.approx(90 * 1.699011, rel=1e-6)
    assert "in 102 m3/h (60 CFM), out 153 m3/h (90 CFM)" in found.text
    assert "negative pressure" in found.text


def test_more_in_than_out_is_no_caution_and_tells_openings_without_a_filter() -> None:
    found = told(check(*two_in_one_out()), "balance")
    assert found is not None
    assert (found.verdict, dict(found.extra)["unfiltered"]) == ("pass", ["front"])
    assert found.text.startswith("2 fans in and 1 fan out, all of one size and taken as alike: more in than out")
    filtered = told(check(*two_in_one_out(before="      - {dust-filter: dust-filter-240}\n")), "balance")
    assert filtered is not None
    assert "through dust filters" in filtered.text


def test_where_some_fans_have_no_figure_the_balance_is_unknown_and_where_none_has_it_is_not_asked() -> None:
    found = told(check(*two_in_one_out(", free_flow: 90")), "balance")
    assert found is not None
    assert found.verdict == "unknown"
    assert "rear fan" in found.text
    mixed = built(
        "stacks:\n  front:\n    flow: in\n    layers:\n      - {fan: fan-120x25, cable_to: floor tray}\n"
        "  rear:\n    flow: out\n    layers:\n      - {fan: fan-120x15, cable_to: floor tray}\n", AT_FRONT
    )  # fmt: skip
    assert told(check(*mixed), "balance") is None


def test_fans_before_and_behind_one_radiator_move_the_same_air() -> None:
    build = built(
        "stacks:\n  front:\n    flow: in\n    layers:\n"
        "      - {fan: fan-120x25, name: a, cable_to: floor tray, free_flow: 80}\n"
        "      - {radiator: radiator-120x30}\n"
        "      - {fan: fan-120x25, name: b, cable_to: floor tray, free_flow: 100}\n"
        "  rear:\n    flow: out\n    layers:\n      - {fan: fan-120x25, cable_to: floor tray, free_flow: 100}\n",
        ", openings: {" + opening("front", 1, "front") + ", " + opening("rear", 1, "rear") + "}",
    )
    found = told(check(*build), "balance")
    assert found is not None
    assert dict(found.extra)["in"] == pytest.approx(100)
    assert "about as much in as out" in found.text


@pytest.mark.parametrize(("watts", "verdict"), [(50, "pass"), (400, "caution"), (1500, "fail")])
def test_heat_is_held_against_the_most_the_fans_can_move(watts: int, verdict: str) -> None:
    flows = ", free_flow: 100"  # 200 m3/h in
    found = told(check(*two_in_one_out(flows, flows, f"air: {{heat: {watts}}}")), "heat")
    assert found is not None
    assert found.verdict == verdict
    assert found.measured == pytest.approx(200)
    assert found.required == pytest.approx(watts / (1.2046 * 1006 * 10) * 3600, rel=1e-6)
    if verdict == "fail":
        assert "at least 22 degrees warmer" in found.text  # 1500 / (1.2046 x 1006 x 200 / 3600)


def test_heat_without_figures_of_the_fans_cannot_be_told() -> None:
    found = told(check(*two_in_one_out(more="air: {heat: 300}")), "heat")
    assert found is not None
    assert found.verdict == "unknown"


def test_a_rise_of_nothing_is_refused() -> None:
    with pytest.raises(BuildError, match="rise"):
        two_in_one_out(more="air: {heat: 300, rise: 0}")


@pytest.mark.parametrize(("gap", "there"), [(10.0, True), (16.0, False)])
def test_what_stands_right_before_a_fan_is_told_with_its_distance(gap: float, there: bool, store: Store) -> None:
    build, layout = two_in_one_out(
        more=f"parts:\n  crate: {{box: custom, length: 50, width: 290, height: 290, at: {{front: {25 + gap}, tray: 5, "
        "floor: 55}}"
    )  # fmt: skip
    found = [f for f in check(build, layout, solidify(layout, store)) if f.place.startswith("crowded")]
    assert bool(found) is there
    if there:
        assert {f.parts[0] for f in found} == {"front fan 1", "front fan 2"}
        assert found[0].measured == pytest.approx(gap, abs=1e-6)
        assert found[0].text == "front fan 1 blows at crate, 10.0 mm away over 100% of its disc"


def glazed(cable: str) -> list[Finding]:
    build, layout = built(
        f"stacks:\n  row:\n    flow: in\n    layers:\n      - {{fan: fan-120x25, cable_to: {cable}}}\n",
        ", openings: {" + opening("front") + "}", open_side="glass",
    )  # fmt: skip
    return [f for f in check(build, layout) if f.place == "glass"]


def test_a_cable_at_the_glass_is_seen_and_one_at_the_tray_is_not() -> None:
    assert [f.parts for f in glazed("floor open")] == [("row fan",)]
    assert glazed("floor tray") == []


def test_pads_on_the_side_that_holds_nothing_are_told() -> None:
    def pads(flow: str) -> list[str]:
        layers = "    layers:\n      - {fan: fan-120x25-padded, cable_to: floor tray}\n"
        words = f"stacks:\n  row:\n    flow: {flow}\n{layers}"
        found = check(*built(words, ", openings: {" + opening("front") + "}"))
        return [f.text for f in found if f.place.startswith("pads")]

    # Its pads are on the exhaust side: against the panel where it blows out, at the free side where it blows in.
    assert pads("out") == []
    assert pads("in") == ["the intake side holds row fan, and the pads are on the exhaust side"]
