"""What a loop lacks: a radiator, a reservoir, a pump in its bay. That each is needed is common practice, no source."""

from __future__ import annotations

import pytest

from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import parse
from elbowroom.model.checks.loop_parts import check
from elbowroom.model.layout.place import place
from elbowroom.model.loop.plumbing import plumb
from elbowroom.model.told.findings import Finding

PUMP = "  pump: {pump: pump-tube-60x100, at: {x: 0, y: 0, z: 0}}\n"
RAD = "  rad: {radiator: radiator-240x30, at: {x: 300, y: 0, z: 0}}\n"
CPU = "  cpu: {cpu-block: custom, at: {x: 0, y: 300, z: 0}}\n"
BOX = "{name}: {{box: custom, length: 60, width: 60, height: 60, at: {{x: 600, y: 0, z: 0}}, ports: [{{name: in, face: left}}, {{name: out, face: right}}]}}\n"  # noqa: E501
PLATE = "  plate: {plate: plate-300x140-pump, at: {x: 0, y: 0, z: 500}}\n"


def found(parts: str, *loop: str) -> dict[str, Finding]:
    runs = "".join(f"  - {r}\n" for r in loop)
    tail = f"tube: petg-14\nfittings: {{unused: plug}}\nloop:\n{runs}" if loop else ""
    build = load(parse(f"title: t\nparts:\n{parts}{tail}", "b.yaml"))
    layout = place(build)
    return {f.place: f for f in check(layout, plumb(build, layout))}


def test_a_loop_with_all_it_needs_is_not_told_off() -> None:
    assert found(PUMP + RAD + CPU, "pump.out -> cpu.in", "cpu.out -> rad.in", "rad.out -> pump.in") == {}


def test_a_loop_without_radiator_or_reservoir() -> None:
    bare = found(PUMP + CPU, "pump.out -> cpu.in", "cpu.out -> pump.in")
    assert {k: f.verdict for k, f in bare.items()} == {"no-radiator": "caution"}
    # A radiator that stands in the case and that no run reaches cools nothing.
    assert set(found(PUMP + RAD + CPU, "pump.out -> cpu.in", "cpu.out -> pump.in")) == {"no-radiator"}
    assert set(found(RAD + CPU, "rad.out -> cpu.in", "cpu.out -> rad.in")) == {"no-reservoir"}


def test_a_shape_of_ones_own_may_be_what_is_missed() -> None:
    own = found(CPU + "  " + BOX.format(name="own"), "own.out -> cpu.in", "cpu.out -> own.in")
    assert set(own) == {"no-radiator"}
    assert "own may be one" in own["no-radiator"].text


@pytest.mark.parametrize(("turn", "said"), [(0, ""), (45, ""), (90, "on its side"), (180, "on its head")])
def test_a_tank_that_does_not_stand_over_its_pump(turn: int, said: str) -> None:
    parts = PUMP.replace("z: 0}", f"z: 0}}, turn: {{x: {turn}}}") + RAD + CPU
    tipped = found(parts, "pump.out -> cpu.in", "cpu.out -> rad.in", "rad.out -> pump.in")
    assert set(tipped) == ({"tipped"} if said else set())
    if said:
        assert said in tipped["tipped"].text
        assert tipped["tipped"].measured == pytest.approx(turn)


@pytest.mark.parametrize(
    ("pump", "empty"),
    [
        ("", True),
        ("  motor: {cylinder: custom, diameter: 58, height: 40, on: plate.pump-bay, by: bottom}\n", False),
        # Not brought to the bay, but standing in its mouth: it opens on the back, at x 60 from the plate's middle.
        ("  motor: {cylinder: custom, diameter: 58, height: 40, at: {x: 60, y: 0, z: 462}}\n", False),
        ("  motor: {cylinder: custom, diameter: 58, height: 40, at: {x: -60, y: 0, z: 420}}\n", True),
    ],
)
def test_a_pump_bay_is_empty_until_something_stands_in_it(pump: str, empty: bool) -> None:
    bay = found(PLATE + pump)
    assert ("empty-bay" in bay) == empty
    if empty:
        assert bay["empty-bay"].verdict == "caution"
        assert "60 mm" in bay["empty-bay"].remedies[0]
