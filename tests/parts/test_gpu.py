"""Graphics cards and upright mounts: slot datums, fit in board, case and riser, ports, power room, refusals."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from elbowroom.parts.board.motherboard import Motherboard
from elbowroom.parts.card.gpu import Gpu
from elbowroom.parts.card.gpu_mount import GpuMount
from elbowroom.parts.case.case import Case
from elbowroom.parts.vocabulary import draw
from elbowroom.parts.vocabulary.base import Box
from elbowroom.parts.vocabulary.pose import IDENTITY, apply, bring_together, compose
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

CARDS = catalogue_parts("gpu")
MOUNTS = catalogue_parts("gpu-mount")
SHARED_MM3 = 1e-4  # rounding of the kernel's intersection of faces that coincide


def real(part, solids):
    return {b.name: solids[b.name] for b in part.bodies() if b.keep_out is None}


def meeting(first, second):
    """(volume shared, touching) of every pair of bodies whose boxes meet."""
    out = {}
    for (a, s), (b, t) in product(first.items(), second.items()):
        (al, ah), (bl, bh) = extents(s), extents(t)
        if all(min(ah[i], bh[i]) - max(al[i], bl[i]) > -KERNEL_MM for i in range(3)):
            volume = s.intersect(t).Volume()
            if volume > SHARED_MM3 or s.distance(t) < KERNEL_MM:
                out[a, b] = volume
    return out


@pytest.fixture(scope="module")
def drawn():
    return {name: solids_of(part) for name, part in {**CARDS, **MOUNTS}.items()}


@pytest.mark.slow
@pytest.mark.parametrize("name", CARDS)
def test_drawn_card_is_the_declared_one(name):
    card = CARDS[name]
    inside = Inside(real(card, check_drawing(card)))
    check_frames(card)
    for f in card.frames():
        if f.kind == "port":
            check_port(f, inside)


@pytest.mark.parametrize("name", MOUNTS)
def test_drawn_mount_is_the_declared_one(name):
    mount = MOUNTS[name]
    inside = Inside(real(mount, check_drawing(mount)))
    check_frames(mount)
    for p in mount.patterns():
        check_pattern(p, inside, float(mount.sheet))


@pytest.mark.slow
def test_datums_are_those_of_the_standard(drawn):
    """Card edge 3.4 above the board, bracket 59.05 behind the key datum (PCI Express CEM, transcribed)."""
    pcb, bracket = drawn["gpu-block-2slot"]["pcb"], drawn["gpu-block-2slot"]["bracket"]
    assert extents(pcb)[0][2] == pytest.approx(3.4, abs=KERNEL_MM)
    assert extents(pcb)[1][2] == pytest.approx(3.4 + 111.15, abs=KERNEL_MM)
    assert extents(pcb)[1][1] - extents(pcb)[0][1] == pytest.approx(1.57, abs=KERNEL_MM)
    inside = Inside({"bracket": bracket})
    for x, solid in ((-59.05 - 0.02, False), (-59.05 + 0.02, True), (-59.05 + 0.84, True), (-59.05 + 0.88, False)):
        assert (inside.body((x, 0.0, 60.0)) is not None) is solid
    lo, hi = extents(bracket)
    assert hi[2] - lo[2] == pytest.approx(120.02 + 0.86, abs=KERNEL_MM)
    plate = bracket.intersect(draw.box((-60, -90, 40), (-58, 50, 60)))  # below the offset top, above the tongues
    assert extents(plate)[1][1] - extents(plate)[0][1] == pytest.approx(18.42 + 20.32, abs=KERNEL_MM)


def test_edge_frame_brings_the_card_into_the_slot_s_own_coordinates():
    card = CARDS["gpu-block-2slot"]
    assert bring_together(card.frame("edge").pose, IDENTITY) == pytest.approx(np.eye(4))


@pytest.mark.slow
@pytest.mark.parametrize(("name", "slot"), [("gpu-block-1slot", 1), ("gpu-open-3slot", 1), ("gpu-block-12v", 3)])
def test_card_stands_in_board_and_case_touching_only_slot_and_rear(drawn, name, slot):
    """A card brought to a slot of a board on a case's standoffs shares no volume with either, and its bracket's frame
    coincides with the case's own frame of that slot."""
    case, board, card = Case(), Motherboard(), CARDS[name]
    on_case = bring_together(board.frame("back").pose, case.frame("board").pose)
    at = compose(on_case, bring_together(card.frame("edge").pose, board.frame(f"slot-{slot}").pose))
    bracket = compose(at, card.frame("bracket").pose)
    assert bracket == pytest.approx(bring_together(IDENTITY, case.frame(f"rear-slot-{slot}").pose), abs=1e-9)
    placed = {n: draw.moved(s, at) for n, s in real(card, drawn[name]).items()}
    met = meeting(placed, {n: draw.moved(s, on_case) for n, s in real(board, solids_of(board)).items()})
    met |= meeting(placed, real(case, solids_of(case)))
    assert set(met) == {("pcb", f"slot-{slot}"), ("bracket", "rear")}
    assert max(met.values()) < SHARED_MM3


@pytest.mark.slow
@pytest.mark.parametrize("mount", MOUNTS)
@pytest.mark.parametrize("name", ["gpu-block-1slot", "gpu-open-2slot"])
def test_card_stands_in_mount_touching_at_most_its_bracket(drawn, mount, name):
    """The riser's groove leaves 0.1 to each side of the card's edge and 0.4 below it."""
    card = CARDS[name]
    assert bring_together(card.frame("edge").pose, MOUNTS[mount].frame("slot").pose) == pytest.approx(np.eye(4))
    met = meeting(real(card, drawn[name]), real(MOUNTS[mount], drawn[mount]))
    assert set(met) == ({("bracket", "bracket")} if MOUNTS[mount].style == "rear" else set())
    assert all(v < SHARED_MM3 for v in met.values())
    gap = drawn[name]["pcb"].distance(drawn[mount]["ribbon-connector"])
    assert gap == pytest.approx((1.77 - 1.57) / 2, abs=KERNEL_MM)


def test_rear_mount_holds_the_card_s_bracket_where_a_case_would():
    card, mount = CARDS["gpu-block-2slot"], MOUNTS["gpu-mount-rear-2slot"]
    assert card.frame("bracket").pose == pytest.approx(bring_together(IDENTITY, mount.frame("bracket").pose), abs=1e-9)
    (tab,) = (p for p in mount.patterns() if p.name == "tab")
    (slots,) = card.patterns()
    a = sorted(tuple(apply(tab.pose, (h.x, h.y, 0))) for h in tab.holes)
    b = sorted(tuple(apply(slots.pose, (h.x, h.y, 0))) for h in slots.holes)
    np.testing.assert_allclose(a, b, atol=1e-9)


def test_thickness_is_measured_from_the_backplate_to_the_face():
    card = Gpu(thickness=33, backplate=2)
    depth = card.frame("back").pose[1, 3] - card.frame("face").pose[1, 3]
    assert depth == pytest.approx(33)
    bare = Gpu(thickness=33, backplate=0)
    assert bare.frame("back").pose[1, 3] == pytest.approx(1.57 / 2)
    assert bare.frame("back").bodies == ("pcb",)


@pytest.mark.parametrize(
    ("fields", "room"),
    [
        ({"power": "8-pin"}, 50.0),
        ({"power": "12v-2x6", "power_count": 1}, 35.0),
        ({"power": "8-pin", "power_room": 22}, 22.0),
    ],
)
def test_power_plugs_keep_their_room_free(fields, room):
    """8-pin: plug 20 and bend 30; 12V-2x6: 35 straight before any bend; a measured length overrides both."""
    card = Gpu(**fields)
    rooms = [b for b in card.bodies() if b.keep_out]
    assert len(rooms) == card.power_count
    assert all(b.admits == ("cable",) for b in rooms)
    solids = solids_of(card)
    for i, b in enumerate(rooms, 1):
        lo, hi = extents(solids[b.name])
        assert (lo[2], hi[2] - lo[2]) == pytest.approx((card.top, room))
        mouth = card.frame(f"power-{i}")
        assert mouth.pose[2, 3] == pytest.approx(card.top)
        assert extents(solids[f"power-{i}"])[1][2] == pytest.approx(card.top)
    assert not [b for b in Gpu(power="none").bodies() if b.name.startswith("power")]


def test_power_at_the_far_end_opens_forward():
    card = CARDS["gpu-full-length"]
    for box in card.room_boxes():
        assert box.lo[0] == pytest.approx(312 - 59.05)
    assert card.frame("power-1").pose[:3, 2].tolist() == [1, 0, 0]


def test_ports_to_both_sides_leave_a_wall_between_them():
    card = CARDS["gpu-block-12v"]
    names = {f.name: f for f in card.frames() if f.kind == "port"}
    assert set(names) == {"in", "out", "in back", "out back"}
    assert names["in"].flow == names["in back"].flow == "in"
    inside = Inside({"terminal": solids_of(card)["terminal"]})
    assert inside.body(apply(names["in"].pose, (0, 0, -card.terminal_thickness / 2))) == "terminal"
    assert names["in"].pose[0, 3] < names["out"].pose[0, 3]


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"thickness": 14}, r"thickness is 0\.8 mm too small for a cooler block"),
        ({"cooler": "open-fan", "thickness": 30}, r"thickness is 3\.8 mm too small for a cooler open-fan"),
        ({"height": 100}, r"ends 4\.9 mm below the bracket's tab"),
        ({"profile": "low", "height": 68.9, "outputs": 4}, "4 display connectors do not fit the 54.53 mm window"),
        ({"power_at": 260}, r"power sockets stand 11\.0 mm out of the card"),
        ({"terminal_at": 40}, r"the terminal stands 18\.0 mm beyond the block"),
        ({"terminal_at": 190, "thickness": 20}, r"stands 15\.0 mm in the room of a power plug"),
        ({"port_side": "both", "port_depth": 9.8}, "ports 9.8 deep leave no wall in a terminal of 20"),
        ({"port_pitch": 18}, "lands of 20 overlap at a port_pitch of 18"),
        ({"terminal_length": 38}, "leave no wall in a terminal 38 long"),
        ({"port_thread": "G1/5"}, "did you mean"),
        ({"thickness": 14, "height": 100}, "below the bracket's tab; thickness"),
    ],
)
def test_impossible_cards_are_refused(fields, words):
    with pytest.raises(ValidationError, match=words):
        Gpu(**fields)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"rise": 20, "sheet": 4}, r"rise 20 is 1\.6 mm too low"),
        ({"rise": 5}, "greater than or equal to 20"),
    ],
)
def test_impossible_mounts_are_refused(fields, words):
    with pytest.raises(ValidationError, match=words):
        GpuMount(**fields)


def test_ribbon_room_holds_straight_run_and_bend():
    """Ribbon 90 wide: 15 straight, then a bend of inner radius 10 of a 2 mm ribbon; downward or upward."""
    for bend, z in (("down", (-11.8, 0.2)), ("up", (-1.8, 10.2))):
        room = GpuMount(ribbon_bend=bend).ribbon_box()
        assert room.size == pytest.approx((90, 15 + 12, 12))
        assert (room.lo[2], room.hi[2]) == pytest.approx(z)
        assert room.lo[1] == pytest.approx(12)


@pytest.mark.slow
@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(
    st.fixed_dictionaries(
        {
            "length": st.floats(160, 360),
            "height": st.floats(106, 160),
            "thickness": st.floats(18, 70),
            "slots": st.integers(1, 4),
            "outputs": st.integers(0, 4),
            "backplate": st.sampled_from([0, 1.5, 4]),
            "cooler": st.sampled_from(["block", "open-fan"]),
            "fans": st.integers(1, 3),
            "power": st.sampled_from(["none", "8-pin", "12v-2x6"]),
            "power_count": st.integers(1, 3),
            "power_side": st.sampled_from(["top", "end"]),
            "power_at": st.floats(60, 330),
            "terminal_at": st.floats(60, 300),
            "port_side": st.sampled_from(["face", "back", "both", "top"]),
            "terminal_thickness": st.floats(18, 30),
        }
    )
)
def test_every_accepted_card_can_be_drawn(fields):
    """What the declaration accepts, the kernel draws: valid, as large as declared, its bodies not sharing volume."""
    try:
        card = Gpu(**fields)
    except ValidationError:
        assume(False)
        raise
    assert isinstance(card.box(), Box)
    check_drawing(card)
    check_frames(card)
