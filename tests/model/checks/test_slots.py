"""A card in a slot that is not there, or too short for it, is told first, and the clashes it causes follow from that.

Connector lengths are those of the PCI Express card datums (25 for x1, 89 for x16; C); a bracket of n slots covers n
neighbouring slots, counted away from the CPU (microATX v1.2: pitch 20.32).
"""

from __future__ import annotations

import textwrap

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from elbowroom.model import checks
from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import parse
from elbowroom.model.checks.slots import check as of_slots
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.layout import Layout
from elbowroom.model.layout.place import place
from elbowroom.model.store import Store


def build(
    slot: int, card: str = "gpu-block-2slot", have: int = 7, kinds: str = "[x16, x1, x16, x4, x8, x16, x16]"
) -> Layout:
    text = f"""
    title: t
    case: {{slots: {have}}}
    parts:
      board: {{motherboard: motherboard-atx, slots: {kinds}, on: case.board}}
      card: {{gpu: {card}, on: board.slot-{slot}}}
    """
    return place(load(parse(textwrap.dedent(text), "b.yaml")))


@given(st.integers(1, 7), st.integers(0, 7), st.sampled_from([1, 2, 3]))
@settings(max_examples=30, deadline=None)
def test_slots_are_counted_from_the_card_away_from_the_cpu(slot: int, have: int, wide: int) -> None:
    card = {1: "gpu-block-1slot", 2: "gpu-block-2slot", 3: "gpu-open-3slot"}[wide]
    said = of_slots(build(slot, card, have, "[x16, x16, x16, x16, x16, x16, x16]"))
    missing = [n for n in range(slot, slot + wide) if n > have]
    assert len(said) == bool(missing)
    if missing:
        which = f"slot {missing[0]}" if len(missing) == 1 else f"slots {missing[0]} to {missing[-1]}"
        assert f"needs {which}; the case has {have or 'none'}" in said[0].text
        assert said[0].verdict == "fail"


@pytest.mark.parametrize(("slot", "fits"), [(1, True), (2, False), (3, True), (4, False), (5, False), (6, True)])
def test_a_card_needs_a_connector_of_its_length(slot: int, fits: bool) -> None:
    said = of_slots(build(slot))
    assert (said == []) == fits
    if not fits:
        assert "closed end" in said[0].text
        assert "put it on board.slot-1, an x16 slot" in said[0].remedies
        assert not any("slot-7" in r for r in said[0].remedies)  # two slots wide, in the last of seven


@pytest.mark.slow
@pytest.mark.parametrize(("slot", "have", "bodies"), [(2, 7, "board/slot-2"), (7, 7, "case/")])
def test_the_clashes_it_causes_follow_from_it(slot: int, have: int, bodies: str, store: Store) -> None:
    layout = build(slot, have=have)
    found = checks.run(solidify(layout, store), store)
    [cause] = [f for f in found if f.question == "slot"]
    assert cause.verdict == "fail"
    effects = list(cause.effects)
    followers = [f for f in found if f.cause == cause.id]
    assert effects
    assert sorted(effects) == sorted(f.id for f in followers)
    assert all(any(b.startswith(bodies) for b in f.bodies) for f in followers)
    # Nothing of the card's own slot is left that clashes for another reason, or for none.
    assert not [f.text for f in found if f.verdict == "clash" and f.cause is None]


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ("", "put it on board.slot-3, an x16 slot"),
        ("other: {gpu: gpu-block-1slot, on: board.slot-3}", "board.slot-3 would do, but other takes it"),
        # A card of two slots one slot higher covers this one's as well (bracket datums, C).
        ("other: {gpu: gpu-block-2slot, on: board.slot-2}", "board.slot-3 would do, but other takes it"),
        # Right in the middle of where the card's board would lie, over the slot.
        (
            "lump: {box: custom, length: 30, width: 30, height: 30, at: {x: 120, y: LUMP, z: SLOT}}",
            "board.slot-3 would do, but it would meet lump there",
        ),
    ],
)
def test_only_a_slot_in_which_the_card_would_fit_is_offered(more: str, said: str, store: Store) -> None:
    def layout(rest: str) -> Layout:
        return place(load(parse(textwrap.dedent(text).replace("MORE", rest), "b.yaml")))

    text = """
    title: t
    case: {slots: 7}
    parts:
      board: {motherboard: motherboard-atx, slots: [x1, x1, x16, x1, x1, x1, x1], on: case.board}
      card: {gpu: gpu-block-2slot, on: board.slot-5}
      MORE
    """
    bare = layout("spare: {box: custom, length: 5, width: 5, height: 5, at: {x: 200, y: 10, z: 10}}")
    slot = bare.piece("board").frame_pose("slot-3")[:3, 3]
    more = more.replace("LUMP", f"{slot[1] - 60:.1f}").replace("SLOT", f"{slot[2] - 15:.1f}")
    scene = solidify(layout(more) if more else bare, store)
    [found] = [f for f in checks.run(scene, store) if f.question == "slot" and f.parts[0] == "card"]
    assert said in found.remedies
    assert bool(more) != any(r.startswith("put it on") for r in found.remedies)


def test_a_mount_and_an_upright_field_have_slots_too() -> None:
    def text(card: str) -> str:
        return f"""
        title: t
        case:
          interior: {{depth: 465, width: 290, height: 455}}
          board: {{at: {{top: 60}}}}
          upright: {{slots: 2, at: {{floor: 90, open: 60}}}}
        parts:
          board: {{motherboard: motherboard-atx, on: case.board}}
          mount: {{gpu-mount: gpu-mount-rear-2slot, on: case.slots}}
          card: {{gpu: {card}, on: mount.slot}}
          other: {{gpu: {card}, on: case.upright-slot-1, by: bracket}}
        """

    def said(card: str) -> list[str]:
        return [f.text for f in of_slots(place(load(parse(textwrap.dedent(text(card)), "b.yaml"))))]

    assert said("gpu-block-2slot") == []
    assert said("gpu-open-3slot") == [
        "card, 3 slots wide at mount.slot, needs slot 3; the mount has 2",
        "other, 3 slots wide at case.upright-slot-1, needs slot 3; the upright field has 2",
    ]


def test_a_card_in_the_upright_field_stands_clear_of_its_case(store: Store) -> None:
    text = """
    title: t
    case:
      interior: {depth: 465, width: 330, height: 455}
      board: {at: {top: 60}}
      upright: {slots: 3, at: {floor: 90, open: 60}}
    parts:
      card: {gpu: gpu-block-2slot, on: case.upright-slot-1, by: bracket}
      mount: {gpu-mount: gpu-mount-stand, rise: RISE, on: card.edge, by: slot}
    mates:
      - [mount.foot, case.floor-wall]
    """
    # The field's windows begin 90 over the floor, a card's 8.20 over its key datum (bracket datums, C): 81.80.
    layout = place(load(parse(textwrap.dedent(text).replace("RISE", "81.8"), "b.yaml")))
    assert float(layout.piece("mount").frame_pose("foot")[2, 3]) == pytest.approx(0.0, abs=1e-9)
    found = checks.run(solidify(layout, store), store)
    assert [f.text for f in found if f.verdict not in ("clear", "pass")] == []
