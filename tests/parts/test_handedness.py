"""Left and right as on real machines: a case, board, card and supply drawn here are never their mirror images.

Distances alone cannot tell a part from its mirror image, so each test looks at drawn solids the way a person would:
from a stated side, with a stated edge up, asking what is on the left. Templates and printed parts depend on it.
"""

from __future__ import annotations

import textwrap

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import parse
from elbowroom.model.layout.place import place
from elbowroom.parts.board.motherboard import Motherboard
from elbowroom.parts.board.psu import Psu
from elbowroom.parts.card.gpu import Gpu
from elbowroom.parts.case.case import Case
from elbowroom.parts.catalogue import sizes
from elbowroom.parts.families import FAMILIES, family_class
from elbowroom.parts.vocabulary import draw
from elbowroom.parts.vocabulary.pose import apply, bring_together, compose
from tests.parts.probe import KERNEL_MM, Inside, extents, solids_of

UP = np.array([0.0, 0.0, 1.0])
RIGID = 1e-12  # a product of two rotations, each square to rounding


def right_of(view, up):
    """The direction to the right of someone who looks along `view` with `up` above."""
    return np.cross(view, up)


def middle(shape):
    return np.mean(extents(shape), axis=0)


@pytest.mark.parametrize("name", sizes("case"))
def test_rear_is_on_the_left_of_someone_looking_in_through_the_open_side(name):
    """On a standard tower the open side is the one from which, roof up, the rear panel with its slots is on the left
    (common practice, no source)."""
    case = Case(**sizes("case")[name].fields)
    view = case.frame("open-wall").pose[:3, 2]
    assert float(view @ case.frame("tray-wall").pose[:3, 2]) == -1  # in through the open side is toward the tray
    solids = solids_of(case)
    left = middle(solids["front"]) - middle(solids["rear"])
    assert left @ right_of(view, UP) == pytest.approx(case.interior.depth + case.sheet)
    assert (middle(solids["tray"]) - np.array(case.interior_box.hi) / 2) @ view > case.interior.width / 2
    assert (middle(solids["roof"]) - middle(solids["floor"])) @ UP > case.interior.height


@pytest.mark.parametrize("form", ["atx", "microatx", "mini-itx", "eeb"])
def test_connectors_are_at_the_left_of_a_board_seen_from_its_components_with_the_cpu_up(form):
    """microATX Motherboard Interface Specification v1.2, figures 2 and 4, as copies in public code describe them (C):
    seen from the component side with the rear edge up, the CPU is at the right and the card slots at the left."""
    board = Motherboard(form=form)
    solids = solids_of(board)
    out = middle(solids["io-block"])[2] - middle(solids["pcb"])[2]
    view, up = np.array([0, 0, -np.sign(out)]), np.array([0.0, 1.0, 0.0])
    cpu, slot = middle(solids["cpu-socket"]), middle(solids["slot-1"])
    assert (cpu - slot) @ up > 0
    across = right_of(view, up)
    assert all((middle(s) - middle(solids["io-block"])) @ across > 0 for n, s in solids.items() if n != "io-block")
    # Hole F, the nearest to the CPU, is 0.9 in nearer the front than the rear row: to the right of hole C in this view.
    holes = {n: np.array([x, y, 0]) for n, x, y in board.hole_centres()}
    assert (holes["F"] - holes["C"]) @ across == pytest.approx(0.9 * 25.4)
    assert (holes["F"] - holes["C"]) @ up == pytest.approx(6.2 * 25.4)


def test_a_card_in_the_first_slot_hangs_its_cooler_down_its_bracket_to_the_rear_its_edge_to_the_tray():
    """So it is in every standard tower: the components of a card face away from the CPU."""
    case, board, card = Case(), Motherboard(), Gpu(cooler="open-fan", thickness=45)
    on_case = bring_together(board.frame("back").pose, case.frame("board").pose)
    at = compose(on_case, bring_together(card.frame("edge").pose, board.frame("slot-1").pose))
    solids = {n: draw.moved(s, at) for n, s in solids_of(card).items()}
    floor, tray, rear = (case.frame(f"{w}-wall").pose for w in ("floor", "tray", "rear"))

    def reach(name, wall):
        """Least and greatest distance of a body from a wall."""
        along = [(np.array(c) - wall[:3, 3]) @ wall[:3, 2] for c in extents(solids[name])]
        return min(along), max(along)

    assert reach("shroud", floor)[1] < reach("pcb", floor)[0]
    assert reach("backplate", floor)[0] > reach("pcb", floor)[1]
    assert compose(at, card.frame("face").pose)[:3, 2] @ floor[:3, 2] == -1
    cpu = apply(compose(on_case, board.frame("cpu").pose), (0, 0, 0))
    assert (cpu - floor[:3, 3]) @ floor[:3, 2] > reach("backplate", floor)[1]
    assert reach("bracket", rear)[0] < 0 < reach("bracket", rear)[1] < reach("pcb", rear)[0]
    edge = case.board.standoff + board.thickness + 3.4  # card edge above the board's surface (C)
    assert reach("pcb", tray)[0] == pytest.approx(edge, abs=KERNEL_MM)


# ATX power supply, rear face 150 x 86 seen from outside, from its lower left corner, mm. Two public copies agree on
# the view (C); that the intake is below in it is from memory (M).
ATX_HOLES = ((6, 16), (6, 80), (144, 80), (120, 6))


@pytest.mark.parametrize("fan", ["down", "up"])
def test_power_supply_holes_seen_from_behind_are_the_published_ones(fan):
    case, psu = Case(psu={"fan": fan}), Psu()
    at = bring_together(psu.frame("rear").pose, case.frame("psu").pose)
    view = case.frame("rear-wall").pose[:3, 2]
    right = right_of(view, UP)
    body = draw.moved(solids_of(psu)["body"], at)
    lo, hi = extents(body)
    corner = np.where(view + right + UP > 0, lo, hi)  # the rear face's lower left corner
    expected = ATX_HOLES if fan == "down" else [(150 - x, 86 - y) for x, y in ATX_HOLES]
    points = [corner + x * right + y * UP for x, y in expected]
    (pattern,) = (p for p in case.patterns() if p.name == "psu")
    drawn = apply(pattern.pose, [(h.x, h.y, 0) for h in pattern.holes])
    assert drawn == pytest.approx(np.array(points), abs=KERNEL_MM)
    inside = Inside({"rear": solids_of(case)["rear"], "body": body})
    for p in points:
        assert inside.body(p - 0.5 * view) is None  # through the panel
        assert inside.body(p + 3.0 * view) is None  # and into the supply
    # The same list drawn mirrored would meet sheet: the odd pair of holes tells left from right.
    for x, y in ((144, 16), (30, 6)) if fan == "down" else ((6, 70), (120, 80)):
        assert inside.body(corner + x * right + y * UP - 0.5 * view) == "rear"
        assert inside.body(corner + x * right + y * UP + 3.0 * view) == "body"


BUILD = """
title: t
case: {{like: {case}, psu: {{kind: {psu}, at: {{floor: 0, tray: 2}}, fan: {fan}}}}}
parts:
  board: {{motherboard: {board}, on: case.board}}
  mem: {{memory: memory-bare, on: "board.dimm-*", clock: {clock}}}
  block: {{cpu-block: cpu-block-square, on: board.cpu, clock: {clock}}}
  supply: {{psu: psu-{psu_size}, on: case.psu}}
  card: {{gpu: gpu-block-2slot, on: board.slot-1}}
  thing: {{box: custom, at: {{rear: 50, open: 9, roof: 60}}, turn: [{{x: {clock}}}, {{axis: [1, 2, 3], by: 37}}]}}
  over: {{box: custom, on: thing.top, flip: {flip}, clock: {clock}}}
stacks:
  {opening}:
    flow: {flow}
    layers:
      - {{fan: {stack_fan}, cable_to: {corner}, count: 1}}
      - {{radiator: {radiator}, flip: {flip}, clock: {quarter}}}
"""


@settings(max_examples=25, deadline=None)
@given(
    st.sampled_from(["atx-tower", "mini-itx"]), st.sampled_from(["up", "down"]), st.sampled_from(["in", "out"]),
    st.booleans(), st.integers(-180, 180), st.sampled_from([0, 180]),
)  # fmt: skip
def test_no_pose_of_a_layout_is_a_reflection(which, fan, flow, flip, clock, quarter):
    """Placing only moves and turns: every piece and every frame of it keeps its hand."""
    tower = which == "atx-tower"
    words = {
        "case": f"case-{which}", "psu": "atx" if tower else "sfx", "psu_size": "atx-140" if tower else "sfx",
        "board": "motherboard-atx" if tower else "motherboard-mini-itx", "opening": "roof" if tower else "side",
        "stack_fan": "fan-140x25" if tower else "fan-120x25", "corner": "rear tray" if tower else "rear roof",
        "radiator": "radiator-280x30" if tower else "radiator-240x30", "fan": fan, "flow": flow,
        "flip": str(flip).lower(), "clock": clock, "quarter": quarter,
    }  # fmt: skip
    layout = place(load(parse(textwrap.dedent(BUILD.format(**words)), "b.yaml")))
    for piece in layout.pieces:
        for pose in (piece.pose, *(piece.frame_pose(f.name) for f in piece.part.frames())):
            assert np.linalg.det(pose[:3, :3]) == pytest.approx(1, abs=RIGID)


PATH = {"points": [[0, 0, 0], [100, 0, 0], [100, 90, 0], [100, 90, 80]]}  # what the catalogue cannot say of a run


@pytest.mark.parametrize("family", [f for f in FAMILIES if sizes(f)])
def test_no_frame_or_pattern_of_the_catalogue_is_a_reflection(family):
    for row in sizes(family).values():
        part = family_class(family)(**(PATH if family in ("cable", "tube") else {}), **row.fields)
        for held in (*part.frames(), *part.patterns()):
            assert np.linalg.det(held.pose[:3, :3]) == pytest.approx(1, abs=RIGID), (row.name, held.name)
