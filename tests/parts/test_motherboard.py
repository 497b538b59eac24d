"""The motherboard: drawn as declared, its holes the standards', its seat on a case's standoffs, its sockets real."""

from __future__ import annotations

import random

import numpy as np
import pytest
from cadquery import Solid, Vector
from pydantic import ValidationError

from elbowroom.parts.board.motherboard import Motherboard
from elbowroom.parts.case.case import Case
from elbowroom.parts.vocabulary import board_standard as std
from elbowroom.parts.vocabulary.pose import apply, bring_together, compose
from tests.parts.probe import (
    KERNEL_MM,
    Inside,
    catalogue_parts,
    check_drawing,
    check_frames,
    check_pattern,
    extents,
    solids_of,
)

CATALOGUE = catalogue_parts("motherboard")
INCH = 25.4

# SSI EEB 3.0, figure 1: board holes in inches, from the first column toward the CPU, from the rear row to the front.
EEB_INCHES = {
    "A": (0, 0), "C": (4.9, 0), "F": (11.1, 0.9), "G": (0, 6.1), "H": (4.9, 6.1), "J": (11.1, 6.1), "K": (0, 8.95),
    "L": (4.9, 8.95), "M": (11.1, 8.95), "front-A": (0, 12.3), "front-C": (4.9, 12.3), "front-F": (11.1, 12.3),
}  # fmt: skip
# microATX v1.2, p. 10: holes each form requires (R and S of microATX are left out: the sources disagree on them).
REQUIRED = {"atx": "ACFGHJKLM", "microatx": "BCFHJLM", "mini-itx": "CFHJ"}
ROOMY = {"depth": 500, "width": 260, "height": 560}


def seated(board: Motherboard, case: Case) -> np.ndarray:
    """Pose of the board brought to the case's board seat."""
    return bring_together(board.frame("back").pose, case.frame("board").pose)


@pytest.mark.slow
@pytest.mark.parametrize("name", CATALOGUE)
def test_drawn_board_is_the_declared_one(name):
    board = CATALOGUE[name]
    solids = check_drawing(board)
    if board.slot_edge <= 0:  # on smaller forms the datum, hole A, is a place off the board
        check_frames(board)
    check_pattern(board.patterns()[0], Inside({"pcb": solids["pcb"]}), through=float(board.thickness))


@pytest.mark.slow
@pytest.mark.parametrize(
    "changes",
    [
        {"depth": 250.7, "width": 304.8, "thickness": 2.0, "cooler_zone": 60, "cpu_power_count": 1},
        {"vrm_rear": None, "vrm_top": None, "chipset": None, "dimm_count": 2, "dimm_pitch": 18.8, "slots": ["x8"]},
        {"slots": [], "dimm_count": 0, "cpu_power_count": 0, "io_height": 24, "io_depth": 22},
        {"dimm_latch": 32 - 4, "slots": ["none", "x16", "none", "x4"], "hole": 4.2, "spreader_height": 3.5},
        {
            "form": "custom", "holes": [[4.5, 5], [4.5, 100], [180.25, 5]],
            "width": 310, "depth": 211, "slot_edge": -20,
            "chipset": {"from_rear": 150, "from_top": 250, "width": 20, "depth": 3.5, "height": 22},
        },
    ],
)  # fmt: skip
def test_overridden_fields_draw_the_declared_board(changes):
    check_drawing(Motherboard(**changes))


def test_odd_boards_draw_the_declared_board():
    pick = random.Random(11)
    for _ in range(2):
        form = pick.choice(["atx", "microatx", "e-atx"])
        check_drawing(
            Motherboard(
                form=form, depth=pick.uniform(243, 290), thickness=pick.uniform(1, 2.4), io_height=pick.uniform(8, 37),
                chipset={"from_rear": 150, "from_top": 190, "height": pick.uniform(3, 14),
                         "width": pick.uniform(10, 40), "depth": pick.uniform(10, 50)},
            )
        )  # fmt: skip


def test_hole_tables_are_the_published_inches():
    assert {n: (x, y) for n, x, y in std.pattern("eeb")} == {
        n: pytest.approx((front * INCH, cpu * INCH), abs=1e-9) for n, (cpu, front) in EEB_INCHES.items()
    }
    for form, names in REQUIRED.items():
        assert "".join(std.PATTERNS[form]) == names
        assert Motherboard(form=form).hole_centres() == std.pattern(form)
    assert pytest.approx(3.1 * INCH) == std.HOLES["B"][0]


@pytest.mark.parametrize("form", [f for f in std.FORMS if f != "custom"])
def test_outline_round_the_holes(form):
    """Edges of every form lie where the standards put them: 0.25 in or more outside the outer holes, 0.4 in behind."""
    b = Motherboard(form=form)
    ys = [y for _, _, y in b.hole_centres()]
    assert b.box().lo[1] == pytest.approx(min(ys) - {"microatx": 1.35, "mini-itx": 0.25}.get(form, 0.65) * INCH)
    assert b.box().hi[1] - max(ys) == pytest.approx(0.25 * INCH, abs=0.25)  # the standards' mm sizes round up to 0.2
    assert pytest.approx(-0.4 * INCH) == std.REAR_EDGE


@pytest.mark.parametrize("name", CATALOGUE)
def test_board_on_its_case_stands_on_the_standoffs(name):
    """Mated back to seat, every hole is over a standoff's thread (distance 0), the underside on the standoffs' tops."""
    board = CATALOGUE[name]
    case = Case(interior=ROOMY, board={"form": board.form, "at": {"top": 60}})
    at = seated(board, case)
    own, theirs = board.patterns()[0], next(p for p in case.patterns() if p.name == "board")
    mine = apply(compose(at, own.pose), [(h.x, h.y, 0) for h in own.holes])
    standoffs = apply(theirs.pose, [(h.x, h.y, 0) for h in theirs.holes])
    gaps = np.linalg.norm(mine[:, None] - standoffs[None], axis=2).min(axis=1)
    assert gaps == pytest.approx(np.zeros(len(gaps)), abs=1e-9)
    assert mine[:, 1] == pytest.approx(np.full(len(gaps), ROOMY["width"] - 6.5))
    assert np.allclose(at[:3, :3].T, [[1, 0, 0], [0, 0, 1], [0, -1, 0]])


@pytest.mark.parametrize("form", ["atx", "mini-itx"])
def test_board_in_its_case_touches_only_the_standoffs(form):
    from elbowroom.parts.vocabulary import draw

    board = Motherboard(form=form)
    case = Case(interior=ROOMY, board={"form": form, "at": {"top": 60}}, slots=len(board.slots))
    at = seated(board, case)
    placed = {n: draw.moved(s, at) for n, s in solids_of(board).items() if board_real(board, n)}
    panels = solids_of(case)
    for n, s in placed.items():
        for m in ("rear", "standoff-1"):
            assert s.intersect(panels[m]).Volume() == pytest.approx(0, abs=1e-3), (n, m)
    assert placed["pcb"].distance(panels["standoff-1"]) == pytest.approx(0, abs=KERNEL_MM)
    assert placed["pcb"].distance(panels["rear"]) == pytest.approx(1.95, abs=KERNEL_MM)


def board_real(board, name):
    return next(b for b in board.bodies() if b.name == name).keep_out is None


def test_rear_connectors_look_through_the_cutout():
    """microATX v1.2, fig. 4, 5: the connectors lie inside the I/O cut-out, their faces 0.445 in behind the hole row."""
    board, case = Motherboard(), Case(interior=ROOMY, board={"at": {"top": 60}})
    lo, hi = extents(solids_of(board)["io-block"])
    corners = np.sort(apply(seated(board, case), [lo, hi]), axis=0)
    cut = case.board.io_cut(case.interior).rect
    assert (corners[0][1] > cut.u0, corners[1][1] < cut.u1) == (True, True)
    assert (corners[0][2] > cut.v0, corners[1][2] < cut.v1) == (True, True)
    assert lo[0] == pytest.approx(-0.445 * INCH, abs=0.005)
    assert corners[0][0] > 0  # clear of the panel's inside


@pytest.mark.parametrize("form", ["atx", "microatx", "mini-itx", "eeb"])
def test_card_bracket_reaches_the_rear_panel(form):
    """A card in any slot has its bracket's outer face (59.05 behind the key) on the panel's inside, over its window."""
    board = Motherboard(form=form)
    case = Case(interior=ROOMY, board={"form": form, "at": {"top": 60}}, slots=len(board.slots))
    at = seated(board, case)
    for n in board.connectors():
        key = compose(at, board.frame(f"slot-{n}").pose)
        assert key[:3, 2] == pytest.approx([0, -1, 0])
        assert key[:3, 0] == pytest.approx([1, 0, 0])
        bracket = apply(key, (-59.05, 0, 0))
        assert bracket[0] == pytest.approx(0.0, abs=1e-9)
        window = case.frame(f"rear-slot-{n}").pose[:3, 3]
        assert window[2] - bracket[2] == pytest.approx(std.BRACKET_MIDDLE)
        assert bracket[1] - window[1] == pytest.approx(3.4 + 104.86 - 10.16 - 89.90 / 2)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["x1", "x4", "x8", "x16"])
def test_a_card_edge_stands_in_the_groove(kind):
    """A 1.57 card edge fits the groove and rests on its floor, 3.4 above the board; beside the groove is plastic."""
    board = Motherboard(slots=[kind])
    slot, f = solids_of(board)["slot-1"], board.frame("slot-1").pose
    end = {"x1": 8.15, "x4": 22.15, "x8": 39.15, "x16": 72.15}[kind]  # card edge ends this far past the key (C)
    x, y, z = f[:3, 3]
    card = Solid.makeBox(end + 12.15, 1.57, 30, Vector(x - 12.15, y - 0.785, z + 3.4))
    assert card.intersect(slot).Volume() == pytest.approx(0, abs=1e-6)
    assert card.distance(slot) == pytest.approx(0, abs=KERNEL_MM)
    assert not slot.isInside(Vector(x + 2, y, z + 8))
    assert slot.isInside(Vector(x + 2, y, z + 3.3))
    assert slot.isInside(Vector(x + 2, y + 1.5, z + 8))


def test_slots_are_a_pitch_apart_from_the_datum():
    """Slot 1 lies 1.57 past column C, 46.94 before the rear row; the others 0.8 in apart (transcribed datums)."""
    b = Motherboard()
    at = np.array([b.frame(f"slot-{n}").pose[:3, 3] for n in range(1, 8)])
    assert at[0] == pytest.approx([46.94, 124.46 + 1.57, 1.57])
    assert np.diff(at, axis=0) == pytest.approx(np.tile([0, -0.8 * INCH, 0], (6, 1)))


def test_plugs_keep_their_bend_room():
    """At least 40 mm before the front edge for the 24-pin cable and 25 to 30 beyond the top edge; cables may enter."""
    b = Motherboard()
    solids = solids_of(b)
    rooms = {x.name: x for x in b.bodies() if x.keep_out}
    assert set(rooms) == {"power-plug", "cpu-power-plug-1", "cpu-power-plug-2"}
    assert all("cable" in r.admits for r in rooms.values())
    assert extents(solids["power-plug"])[1][0] - b.front_edge >= 40
    assert 25 <= extents(solids["cpu-power-plug-1"])[1][1] - b.top_edge <= 30
    for name in rooms:
        for other, s in solids.items():
            if other not in rooms:
                assert s.intersect(solids[name]).Volume() == pytest.approx(0, abs=1e-6), (name, other)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"form": "custom"}, "needs holes"),
        ({"holes": "atx2"}, "no hole pattern 'atx2'; known: atx, microatx, mini-itx, eeb"),
        ({"dimm_height": 5, "dimm_seat": 4.5}, "dimm_seat"),
        ({"form": "btx"}, "form"),
    ],
)
def test_boards_that_cannot_be_read_are_refused(changes, message):
    with pytest.raises(ValidationError, match=message):
        Motherboard(**changes)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"holes": "eeb"}, "hole front-A leaves the board by"),
        ({"holes": [[-10.16, 0], [0, 0], [2, 0]]}, "hole 1 leaves the board by"),
        ({"cpu_from_top": 150}, "cpu-socket and slot-1 overlap by"),
        ({"dimm_pitch": 7, "dimm_width": 8}, "dimm-1 and dimm-2 overlap by 1.00 mm"),
        (
            {"chipset": {"from_rear": 150, "from_top": 280, "width": 60, "depth": 30, "height": 9}},
            "chipset leaves the board by 35.00 mm",
        ),
        ({"vrm_top": {"from_rear": 25, "from_top": 2, "width": 12, "depth": 60, "height": 9}}, "vrm-top and hole F"),
    ],
)
def test_impossible_boards_are_told_and_drawn_as_declared(changes, message):
    board = Motherboard(**changes)
    assert any(message in f.text for f in board.faults())
    solids = solids_of(board)
    bodies = [extents(solids[b.name]) for b in board.bodies() if b.keep_out is None]
    lo, hi = np.min([b[0] for b in bodies], axis=0), np.max([b[1] for b in bodies], axis=0)
    assert lo == pytest.approx(board.box().lo, abs=1e-4)
    assert hi == pytest.approx(board.box().hi, abs=1e-4)
    assert all(s.isValid() and len(s.Solids()) == 1 for s in solids.values())


def test_catalogue_boards_have_no_faults():
    assert [n for n, b in CATALOGUE.items() if b.faults()] == []


def test_form_fills_in_what_is_not_given():
    """A stated form brings its outline and layout; what is stated beside it stays."""
    b = Motherboard(form="mini-itx", cpu_from_rear=78)
    assert (b.width, b.depth, len(b.slots), b.dimm_count, b.cpu_from_rear) == (170, 170, 1, 2, 78)
    assert CATALOGUE["motherboard-mini-itx"].shape_key() == Motherboard(form="mini-itx").shape_key()
