"""Spacers and shims: drawn to closed forms, and standing where fans' holes are."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pydantic import ValidationError

from elbowroom.parts.fan.fan import Fan
from elbowroom.parts.made.spacer import Shim, Spacer
from elbowroom.parts.vocabulary.pose import apply, bring_together, compose
from elbowroom.parts.vocabulary.threads import THREADS
from tests.parts.probe import Inside, catalogue_parts, check_drawing, check_frames, check_pattern, check_stack_faces

SPACERS = catalogue_parts("spacer") | {
    "given hole": Spacer(height=33.3, outer=18.7, inner=11.1, shape="square"),
    "fine": Spacer(thread="6-32", fit="fine", outer=7),
    "pipe thread's": Spacer(thread="G1/4", inner=13.6, outer=18),
}
SHIMS = catalogue_parts("shim") | {
    "three, wider gap": Shim(fans=3, fan_size=120, gap=20, thickness=7.5, width=126, length=380, corner=0),
    "small": Shim(fan_size=40, border=2, hole=3.2, thickness=1.2),
}


@pytest.mark.parametrize("name", SPACERS)
def test_spacer_is_a_tube_of_its_sizes(name):
    part = SPACERS[name]
    solids = check_drawing(part)
    check_frames(part)
    inner = float(part.inner) if part.inner is not None else THREADS[part.thread].clearance[part.fit]
    outside = part.outer**2 * (math.pi / 4 if part.shape == "round" else 1)
    assert solids["spacer"].Volume() == pytest.approx(part.height * (outside - math.pi / 4 * inner**2))
    wide = part.compensated(0.3).solids()["spacer"].Volume()
    assert wide == pytest.approx(part.height * (outside - math.pi / 4 * (inner + 0.3) ** 2))
    inside = Inside(solids)
    for pattern in part.patterns():
        check_pattern(pattern, inside, through=float(part.height))


@pytest.mark.parametrize("name", SHIMS)
def test_shim_lies_over_the_row_of_fans(name):
    part = SHIMS[name]
    solids = check_drawing(part)
    check_frames(part)
    check_stack_faces(part, part.fans, part.field.centres)
    inside = Inside(solids)
    for pattern in part.patterns():
        check_pattern(pattern, inside, through=float(part.thickness))
    for c in part.field.centres:  # the air goes through
        assert inside.body((c, 0, part.thickness / 2)) is None
    assert part.bodies()[0].material == part.material
    wide = part.compensated(0.2)
    holes = 4 * part.fans * math.pi / 4 * ((part.hole + 0.2) ** 2 - part.hole**2) * part.thickness
    if part.material == "printed":
        assert solids["shim"].Volume() - wide.solids()["shim"].Volume() == pytest.approx(holes)
    else:
        assert wide is part


@pytest.mark.parametrize(("size", "pitch"), [(80, 71.5), (120, 105), (140, 124.5)])
def test_a_shim_on_a_fan_has_its_holes_over_the_fans(size, pitch):
    fan, shim = Fan(size=size, hole_pitch=pitch), Shim(fan_size=size, thickness=4)
    on = bring_together(shim.frame("b").pose, fan.frame("intake").pose)
    own = {p.name: p for p in shim.patterns()}["b"]
    other = {p.name: p for p in fan.patterns()}["intake"]
    mine = [apply(compose(on, own.pose), (h.x, h.y, 0)) for h in own.holes]
    theirs = [apply(other.pose, (h.x, h.y, 0)) for h in other.holes]
    for at in mine:
        assert min(float(np.linalg.norm(at - b)) for b in theirs) == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Spacer(outer=6.8), r"a hole of 4.5 and 6.8 outside is 1.15 mm: 0.05 mm short of the least wall, 1.2"),
        (lambda: Spacer(inner=9), r"is 0.50 mm: 0.70 mm short"),
        (lambda: Spacer(thread="G1/4", outer=20), r"no clearance hole is known for G1/4: state inner"),
        (lambda: Spacer(height=0.5), r"greater than or equal to 1"),
        (lambda: Shim(border=1), r"the frame along its length is 1.00 mm: 0.20 mm short"),
        (lambda: Shim(border=1, width=121), r"the frame at its ends is 1.00 mm: 0.20 mm short"),
        (lambda: Shim(hole=9, width=113.5, length=120, border=6), r"width 113.5 is 3.5 mm short"),
        (lambda: Shim(fan_size=100), r"no hole pitch is known for a 100 mm fan"),
        (lambda: Shim(thickness=0.2), r"greater than or equal to 0.4"),
    ],
)
def test_what_cannot_be_made_is_refused(make, message):
    with pytest.raises(ValidationError, match=message):
        make()
