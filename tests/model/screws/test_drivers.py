"""The room that is told above a screw's head is the room there is, from the head's top to what is over it.

Worked out by hand: a plate stands on risers, its screws have pan heads 3.1 high (ISO 7045, M4, k max; V) on its front,
and a sheet hangs over them.
"""

from __future__ import annotations

import pytest

from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import parse
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.place import Placed, place
from elbowroom.model.screws import drivers
from elbowroom.model.screws.fasten import fasten
from elbowroom.model.store import Store

HEAD = 3.1
BUILD = """
title: a sheet over heads
case: {{interior: {{depth: 400, width: 300, height: 300}}}}
parts:
  plate: {{plate: custom, length: 120, width: 60, thickness: 20, on: case.floor-wall, lift: 25,
          at: {{rear: 100, tray: 80}}}}
  riser: {{riser: riser-12x18, height: 25, hole: tapped, on: plate.mount-*, by: top}}
  fascia: {{sheet: custom, length: 120, width: 60, thickness: 3, on: plate.front, lift: {lift}}}
screws: {{head: pan}}
"""


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return Store(tmp_path_factory.mktemp("cache"))


@pytest.mark.parametrize("over", [0.3, 0.8, 4.9, 20.0, 60.0])
def test_a_sheet_over_heads_leaves_the_room_that_arithmetic_says(store: Store, over: float) -> None:
    build = load(parse(BUILD.format(lift=HEAD + over), "b.yaml"))
    layout = place(build)
    fastened = fasten(Placed(build, layout), solidify(layout, store))
    found = drivers.check(solidify(fastened.layout, store), fastened.chosen, store)
    every = [f for f in found if "fascia" in f.parts]
    assert len(every) == 4  # one screw in each riser
    for told in every:
        assert told.measured is not None
        if over < drivers.CLEAR_MM:  # under where looking begins: told as less than that
            assert (told.low, told.high) == (0.0, drivers.CLEAR_MM)
            assert "less than 0.5 mm" in told.text
        else:
            assert told.measured == pytest.approx(over, abs=2e-3)  # a free length is narrowed to a thousandth
            assert f"only {over:.1f} mm free in front of the head of its screw, up to fascia" in told.text
            assert told.text.endswith("drive it in before fascia goes in")
