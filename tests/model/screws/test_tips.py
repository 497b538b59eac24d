"""The free end of a screw is as thick as its thread is: what stands beside it is measured from there.

ISO 261: an M4 thread is 4 mm outside, an M3 thread 3 mm.
"""

from __future__ import annotations

import pytest

from elbowroom.model.checks.interference import check
from elbowroom.model.geometry.pairs import Checker
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.told.findings import Finding
from tests.model.screws.test_remedies import STORE, made

# A block 20 thick with a hole through it before a panel of 1 mm: screws of 35 from outside the panel.
TAPPED = """title: tip
case: {board: null, slots: 0, psu: null, feet: null, interior: {depth: 300, width: 200, height: 200}, sheet: 1}
parts:
  block: {box: custom, length: 60, width: 60, height: 20, at: {rear: 120, open: 70, floor: 0},
          holes: [{face: bottom, at: [0, 0], thread: M3}]}
  beam: {box: custom, length: 40, width: 20, height: 8, at: {rear: REAR, open: 90, floor: 24}}
screws: {use: {block.bottom: M3x35}}
mates: [[block.bottom, case.floor-wall]]
"""
RISER = """title: tip
case: {like: case-microatx-tower, openings: {roof: null, front: null, rear: null}, slots: 0}
parts:
  plate: {plate: plate-240x120, ports: [], on: case.tray-wall, lift: 15, at: {rear: 60, floor: 120}}
  riser: {riser: riser-12x18, height: 15, hole: through, on: plate.mount-*, by: top}
  beam: {box: custom, length: 60, width: 20, height: 10, at: {rear: 40, tray: 39.5, floor: FLOOR}}
"""


def beside_the_beam(text: str) -> list[Finding]:
    _, fastened = made(text)
    scene = solidify(fastened.layout, STORE)
    return [
        f for f in check(scene, Checker(scene, STORE))
        if "beam" in f.parts and any(" x " in p and " at " in p for p in f.parts)
    ]  # fmt: skip


@pytest.mark.parametrize("gap", [-0.25, 0.15, 0.6])
def test_beside_a_nut_the_tip_is_measured_at_its_major_diameter(gap: float) -> None:
    """The screw's axis stands 130 above the floor: a beam from 130 + 2 + gap on."""
    found = beside_the_beam(RISER.replace("FLOOR", f"{132 + gap}"))
    if gap < 0:
        assert [f.verdict for f in found] == ["clash"]
        assert found[0].measured == pytest.approx(-gap, abs=0.02)  # the meshes' bounds
    else:
        (f,) = [f for f in found if f.verdict in ("tight", "clear")]
        assert (f.verdict, f.measured) == ("tight" if gap < 0.2 else "clear", pytest.approx(gap, abs=0.02))


@pytest.mark.parametrize("gap", [-0.3, 0.3])
def test_beyond_a_bore_the_tip_is_measured_at_its_major_diameter(gap: float) -> None:
    """The axis at 150 from the rear; the tip stands out of the block's far face, 20, to 34. A beam beside it."""
    found = beside_the_beam(TAPPED.replace("REAR", f"{150 + 1.5 + gap}"))
    if gap < 0:
        assert [f.verdict for f in found] == ["clash"]
        assert found[0].measured == pytest.approx(-gap, abs=0.02)
    else:
        (f,) = [f for f in found if f.verdict in ("tight", "clear")]
        assert f.measured == pytest.approx(gap, abs=0.02)
