"""A tube of another run that keeps a port from being used is named, and one that leaves it room is not.

Worked out by hand: a plug stands 4 mm over its port and comes in along its thread, so that a tube over it must leave
both; the tube is straight between two ports that look at each other.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from elbowroom.model import pipeline
from elbowroom.model.store import Store
from elbowroom.parts.catalogue import sizes
from elbowroom.parts.fitting.fitting import Fitting

BUILD = """
title: a tube over a port
parts:
  a: {{box: custom, length: 60, width: 60, height: 60, at: {{x: -200, y: 0, z: 0}},
      ports: [{{name: out, face: front, flow: out}}]}}
  b: {{box: custom, length: 60, width: 60, height: 60, at: {{x: 200, y: 0, z: 0}},
      ports: [{{name: in, face: back, flow: in}}]}}
  under: {{box: custom, length: 60, width: 60, height: 60, at: {{x: 0, y: 0, z: {z}}},
      ports: [{{name: side, face: top}}]}}
loop:
  - {{run: a.out -> b.in, start: hard-tube-14, end: hard-tube-14}}
tube: petg-14
fittings: {{at: {{under.side: plug}}}}
gaps: {{default: 0.5}}
{more}
"""


@pytest.mark.slow
@pytest.mark.parametrize("more", ["", "coolant: {fill: under.side}"])
@pytest.mark.parametrize(("spare", "free"), [(-1.0, False), (1.0, True)])
def test_a_tube_over_a_plug_is_named(tmp_path: Path, spare: float, free: bool, more: str) -> None:
    plug = Fitting.model_validate(dict(sizes("fitting")["plug"].fields))
    needs = float(plug.height + plug.thread_length)
    # Ports stand in the middle of their faces: the tube's axis at height 0 of boxes that stand about it, 7 thick.
    z = -7 - needs - spare - 30
    file = tmp_path / "b.yaml"
    file.write_text(BUILD.format(z=z, more=more))
    found = [f for f in pipeline.check(file, Store.default()).findings if f.place == "side~tubes"]
    assert bool(found) != free
    if not free:
        [told] = found
        assert told.verdict == ("fail" if more else "caution")
        assert "a.out -> b.in" in told.text
        assert dict(told.extra)["tubes"] == ["tube 1"]
        assert any("a.out -> b.in" in r for r in told.remedies)
