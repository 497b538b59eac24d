"""Fans stand at the hole rows of the radiator their screws go into, whatever hangs loose on those screws between them.

Expected places are the radiator's own frames, one for each fan. That a fan is screwed to the radiator behind it,
through gaskets, shims and filters, is common practice, no source.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import pytest

from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import parse
from elbowroom.model.layout.layout import Layout
from elbowroom.model.layout.place import place
from elbowroom.parts.vocabulary.pose import apply

GAP = 20  # mm, of the radiator; the opening's is 15
LOOSE = {
    "gasket": "{gasket: custom, fans: 3}",
    "shim": "{shim: custom, fans: 3}",
    "filter": "{dust-filter: custom, fans: 3}",
    "fan": "{fan: fan-120x25, cable_to: rear tray}",
}


def laid(layers: list[str], outside: Sequence[str] = ()) -> Layout:
    text = """title: t
case:
  interior: {depth: 480, width: 240, height: 480}
  openings: {floor: {face: floor, size: 120, count: 3, gap: 15, slot: 10, centre: {rear: 240, tray: 120}}}
stacks:
  floor:
    flow: in
"""
    for side, entries in (("layers", layers), ("outside", outside)):
        text += f"    {side}: [{', '.join(entries)}]\n"
    return place(load(parse(text, "b.yaml")))


def places(layout: Layout, family: str = "fan") -> list[list[float]]:
    """x and y of each layer's copies, layer by layer."""
    found: dict[str, list[tuple[float, float]]] = {}
    for p in layout.pieces:
        if p.part.family == family:
            x, y, _ = apply(p.pose, (0.0, 0.0, 0.0))
            found.setdefault(p.name.rstrip(" 0123456789"), []).append((round(float(x), 6), round(float(y), 6)))
    return [[c for xy in sorted(v) for c in xy] for v in found.values()]


def wanted(layout: Layout) -> list[float]:
    low = next(p for p in layout.pieces if p.name == "low")
    at = sorted(tuple(low.frame_pose(f"b-{i}")[:2, 3]) for i in (1, 2, 3))
    assert np.diff([x for x, _ in at]) == pytest.approx([105 + GAP] * 2)
    return [float(c) for xy in at for c in xy]


RADIATOR = "{radiator: radiator-360x30-gap20, name: low, ports_to: front, slide: SLIDE, aside: ASIDE}"


@pytest.mark.parametrize("between", [c for n in (0, 1, 2) for c in itertools.product(LOOSE, repeat=n)])
@pytest.mark.parametrize("push", [True, False])
def test_fans_follow_the_radiator_through_layers_that_hold_nothing(between: tuple[str, ...], push: bool) -> None:
    radiator = RADIATOR.replace("SLIDE", "7").replace("ASIDE", "-3")
    layers = [LOOSE["fan"], *(LOOSE[b] for b in between), radiator]
    found = laid(layers if push else layers[::-1])
    assert places(found)
    for row in places(found):
        assert row == pytest.approx(wanted(found))


@pytest.mark.parametrize("swapped", [True, False])
def test_fans_follow_the_radiator_on_the_other_side_of_the_panel(swapped: bool) -> None:
    fans, radiator = [LOOSE["fan"], LOOSE["gasket"]], [LOOSE["filter"], RADIATOR.replace("SLIDE", "7")]
    radiator = [r.replace("ASIDE", "-3") for r in radiator]
    found = laid(radiator, fans) if swapped else laid(fans, radiator)
    (row,) = places(found)
    assert row == pytest.approx(wanted(found))


def test_frames_for_one_fan_each_lie_where_the_fans_do() -> None:
    radiator = RADIATOR.replace("SLIDE", "0").replace("ASIDE", "0")
    found = laid([LOOSE["fan"], "{gasket: custom, fans: 1, count: 3}", "{shim: custom, count: 3}", radiator])
    for family in ("fan", "gasket", "shim"):
        (row,) = places(found, family)
        assert row == pytest.approx(wanted(found))


def test_a_plate_with_holes_of_its_own_parts_the_fans_from_the_radiator() -> None:
    """The screws of the fans end in the plate: they stand at the opening's places, 120 apart."""
    radiator = RADIATOR.replace("SLIDE", "0").replace("ASIDE", "0")
    found = laid([LOOSE["fan"], "{adapter: custom, length: 380}", radiator])
    (row,) = places(found)
    assert np.diff(row[::2]) == pytest.approx([120, 120])
