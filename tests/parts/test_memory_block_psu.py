"""Memory, CPU block and power supply: drawn as declared, and seated for real on the board's and the case's places."""

from __future__ import annotations

import random

import numpy as np
import pytest
from pydantic import ValidationError

from elbowroom.parts.board.cpu_block import CpuBlock
from elbowroom.parts.board.memory import Memory
from elbowroom.parts.board.motherboard import Motherboard
from elbowroom.parts.board.psu import Psu
from elbowroom.parts.case.case import Case
from elbowroom.parts.vocabulary import draw
from elbowroom.parts.vocabulary.pose import apply, bring_together, compose
from tests.parts.probe import (
    KERNEL_MM,
    Inside,
    catalogue_parts,
    check_drawing,
    check_frames,
    check_pattern,
    check_port,
    extents,
    solids_of,
)

VOLUME_MM3 = 1e-3  # a boolean of touching faces leaves no more than rounding
CATALOGUE = {n: p for f in ("memory", "cpu-block", "psu") for n, p in catalogue_parts(f).items()}
ODD = {
    "memory-thin": Memory(thickness=1.27, height=40.4, spreader=6.3, spreader_from=9.1, board_height=30.9),
    "memory-short": Memory(length=82.2, board_height=28),
    "block-g3/8": CpuBlock(
        thread="G3/8", land=25, port_pitch=33.5, width=71.3, depth=63, height=33.7, top=17.2, port_depth=9,
        screw_x=94, screw_y=94, bracket_width=110, bracket_depth=107, inlet="+x",
    ),
    "block-tall-screws": CpuBlock(thumb_height=35, thumb=12),
    "psu-no-rooms": Psu(cable_room=0, intake_room=0, depth=171.4, fan=139, width=152, height=87),
    "psu-sfx-square": Psu(kind="sfx", depth=126.5, fan=92),
}  # fmt: skip


@pytest.mark.parametrize("name", [*CATALOGUE, *ODD])
def test_drawn_part_is_the_declared_one(name):
    part = CATALOGUE.get(name) or ODD[name]
    solids = check_drawing(part)
    check_frames(part)
    inside = Inside({b.name: solids[b.name] for b in part.bodies() if b.keep_out is None})
    for f in part.frames():
        if f.kind == "port":
            check_port(f, inside)
    for p in part.patterns():
        check_pattern(p, inside, through=5.0)


def test_random_parts_are_drawn_as_declared():
    pick = random.Random(3)
    for _ in range(3):
        check_drawing(Memory(height=pick.uniform(32, 60), spreader=pick.uniform(3, 9), thickness=pick.uniform(1, 1.5)))
        check_drawing(Psu(depth=pick.uniform(135, 250), fan=pick.uniform(60, 120), height=pick.uniform(85, 110)))
        check_drawing(
            CpuBlock(height=pick.uniform(22, 50), port_pitch=pick.uniform(21, 40), plate=pick.uniform(25, 60))
        )


def seat(own, host, place):
    """Pose of a part brought by its seat to a frame of the host."""
    return bring_together(own.frame(type(own).seat).pose, host.frame(place).pose)


@pytest.mark.parametrize("name", ["memory-bare", "memory-44", "memory-56"])
def test_modules_stand_in_their_sockets(name):
    """A module rests on the groove's floor without sharing volume; a bare one tops out 34 to 35 above the board."""
    board, module = Motherboard(), CATALOGUE[name]
    sockets, bodies = solids_of(board), solids_of(module)
    tops = []
    for n in range(1, 5):
        at = seat(module, board, f"dimm-{n}")
        placed = {b: draw.moved(s, at) for b, s in bodies.items()}
        for s in placed.values():
            for other in ("pcb", f"dimm-{n}", "cpu-socket", "vrm-top"):
                assert s.intersect(sockets[other]).Volume() == pytest.approx(0, abs=VOLUME_MM3)
        assert placed["module"].distance(sockets[f"dimm-{n}"]) == pytest.approx(0, abs=KERNEL_MM)
        floor = extents(placed["module"])[0][2]
        assert floor == pytest.approx(board.thickness + board.dimm_seat)
        tops.append(max(extents(s)[1][2] for s in placed.values()) - board.thickness)
    assert tops == pytest.approx([module.box().hi[2] + 3.25] * 4)
    if name == "memory-bare":
        assert 34 <= tops[0] <= 35


@pytest.mark.slow
@pytest.mark.parametrize("form", ["atx", "mini-itx"])
def test_cpu_block_sits_on_the_spreader_beside_its_neighbours(form):
    """The cold plate's face is on the heat spreader's, and bracket and screws clear memory and heatsinks."""
    board, block, module = Motherboard(form=form), CpuBlock(), Memory(height=44)
    at = seat(block, board, "cpu")
    others = {n: s for n, s in solids_of(board).items() if "plug" not in n}
    for n in (1, board.dimm_count):
        placed = seat(module, board, f"dimm-{n}")
        others |= {f"memory-{n}-{b}": draw.moved(s, placed) for b, s in solids_of(module).items()}
    for body, s in solids_of(block).items():
        moved = draw.moved(s, at)
        for name, other in others.items():
            assert moved.intersect(other).Volume() == pytest.approx(0, abs=VOLUME_MM3), (body, name)
        if body == "cold-plate":
            assert extents(moved)[0][2] == pytest.approx(board.thickness + board.spreader_height)
    out = compose(at, block.frame("out").pose)
    assert out[:3, 2] == pytest.approx([0, 0, 1])


def test_block_ports_are_the_trades():
    """Two G1/4 ports 25 to 27 apart, one in and one out, the block 18 to 35 high, at least 6.5 deep."""
    block = CpuBlock()
    ports = {f.name: f for f in block.frames() if f.kind == "port"}
    assert {n: f.flow for n, f in ports.items()} == {"in": "in", "out": "out"}
    assert 25 <= np.linalg.norm(ports["in"].pose[:3, 3] - ports["out"].pose[:3, 3]) <= 27
    assert {(f.thread, f.bodies) for f in ports.values()} == {("G1/4", ("top",))}
    assert min(f.depth for f in ports.values()) >= 6.5
    assert 18 <= block.box().size[2] <= 35
    swapped = CpuBlock(inlet="+x").frame("in").pose[:3, 3]
    assert swapped == pytest.approx(ports["out"].pose[:3, 3])


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["atx", "sfx"])
@pytest.mark.parametrize("fan", ["down", "up"])
def test_power_supply_meets_its_seat(kind, fan):
    """On the case's seat its holes are over the panel's, its face on the panel, and its intake looks the stated way."""
    case = Case(psu={"kind": kind, "fan": fan, "at": {"floor": 3, "tray": 40}})
    psu = Psu(kind=kind)
    at = seat(psu, case, "psu")
    own, theirs = psu.patterns()[0], next(p for p in case.patterns() if p.name == "psu")
    mine = apply(compose(at, own.pose), [(h.x, h.y, 0) for h in own.holes])
    panel = apply(theirs.pose, [(h.x, h.y, 0) for h in theirs.holes])
    assert mine == pytest.approx(panel, abs=1e-9)
    assert compose(at, psu.frame("intake").pose)[:3, 2] == pytest.approx([0, 0, -1 if fan == "down" else 1])
    body = draw.moved(solids_of(psu)["body"], at)
    rear = solids_of(case)["rear"]
    lo, hi = extents(body)
    assert (lo[0], 236 - hi[1], lo[2]) == pytest.approx((0, 40, 3), abs=KERNEL_MM)
    assert hi[0] == pytest.approx(psu.depth, abs=KERNEL_MM)
    assert body.intersect(rear).Volume() == pytest.approx(0, abs=VOLUME_MM3)
    assert body.distance(rear) == pytest.approx(0, abs=KERNEL_MM)
    for point in mine:
        screw = draw.cylinder(2.5, 8, (-2, point[1], point[2]), (1, 0, 0))
        assert screw.intersect(rear).Volume() == pytest.approx(0, abs=VOLUME_MM3)


def test_power_supply_keeps_its_rooms():
    psu = Psu(intake_room=12.7)
    solids = solids_of(psu)
    assert extents(solids["intake-room"])[0][1] == pytest.approx(-12.7)
    assert extents(solids["cable-room"])[1][2] == pytest.approx(psu.depth + psu.cable_room)
    rooms = {b.name: b.admits for b in psu.bodies() if b.keep_out}
    assert rooms == {"cable-room": ("cable",), "intake-room": ("dust-filter",)}
    assert "case" in {b.name: b.admits for b in Psu(intake_through_panel=True).bodies()}["intake-room"]


@pytest.mark.parametrize(
    ("family", "changes", "message"),
    [
        (Memory, {"height": 31}, "does not cover the module"),
        (Memory, {"height": 40, "spreader_from": 29}, "leaves no spreader"),
        (Memory, {"board_height": 20}, "no room for its chips"),
        (CpuBlock, {"port_pitch": 18}, "lands overlap by 2.00 mm"),
        (CpuBlock, {"port_depth": 13}, "leave less than 1.5 mm of a top"),
        (CpuBlock, {"screw_x": 60, "screw_y": 60}, "thumb screws run into the block by 5.50 mm"),
        (CpuBlock, {"land": 12, "port_pitch": 26}, "land 12 is smaller than the thread G1/4"),
        (CpuBlock, {"height": 16}, "leave no body"),
        (CpuBlock, {"port_pitch": 45}, "stand over the top's edge by 1.50 mm"),
        (Psu, {"fan": 140}, "too wide for its face"),
        (Psu, {"kind": "atx", "width": 125}, "no room for the atx screw holes"),
    ],
)
def test_impossible_parts_are_refused(family, changes, message):
    with pytest.raises(ValidationError, match=message):
        family(**changes)
