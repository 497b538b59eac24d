"""A case of two chambers: supply, fans and drives behind the tray stand in the case, measured and held like others.

The supply's screw holes are those of the ATX12V guide, on the case's rear and on the supply itself, each worked out
from its own side; that they meet is the check of both.
"""

from __future__ import annotations

import textwrap

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import parse
from elbowroom.model.checks.containment import check as containment
from elbowroom.model.geometry.pairs import Checker
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.layout import Layout
from elbowroom.model.layout.place import place
from elbowroom.model.store import Store
from elbowroom.parts.case.case import Case
from elbowroom.parts.vocabulary.board_standard import PSU_HOLES
from elbowroom.parts.vocabulary.pose import apply


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return Store(tmp_path_factory.mktemp("cache"))


def build(parts: str, case: str = "{like: case-two-chamber}", stacks: str = "{}") -> Layout:
    text = f"title: t\ncase: {case}\nstacks: {stacks}\nparts:\n" + textwrap.indent(textwrap.dedent(parts), "  ")
    return place(load(parse(text, "b.yaml")))


def outside(layout: Layout, store: Store) -> list[str]:
    scene = solidify(layout, store)
    return [f.text for f in containment(scene, Checker(scene, store))]


def case_of(layout: Layout) -> Case:
    part = layout.piece("case").part
    assert isinstance(part, Case)
    return part


def test_supply_fans_and_drives_stand_behind_the_tray(store: Store) -> None:
    layout = build(
        """
        psu: {psu: psu-atx-160, on: case.psu}
        drive: {box: custom, length: 100, width: 70, height: 7, on: case.tray-back-wall, by: bottom,
                at: {front: 60, floor: 30}}
        other: {box: custom, length: 100, width: 7, height: 70, at: {front: 60, floor: 130, behind: 4}}
        """,
        stacks="{chamber: {flow: in, layers: [{fan: fan-80x25, cable_to: floor tray}]}}",
    )
    assert outside(layout, store) == []
    case = case_of(layout)
    boxes = {p.name: apply(p.pose, p.part.box().corners()) for p in layout.pieces if p.name != "case"}
    assert all(b[:, 1].min() >= case.tray_back - 1e-9 for b in boxes.values())
    assert boxes["drive"][:, 1].min() == pytest.approx(case.tray_back)
    assert boxes["other"][:, 1].min() == pytest.approx(case.tray_back + 4)


@pytest.mark.parametrize(("fan", "looks"), [("back", (0, 1, 0)), ("tray", (0, -1, 0)), ("down", (0, 0, -1))])
@pytest.mark.parametrize("where", ["behind: 5", "tray: 8"])
def test_the_supplys_holes_meet_the_cases_whichever_way_it_stands(fan: str, looks: tuple[int, ...], where: str) -> None:
    case = f"{{board: null, slots: 0, cable_space: 170, psu: {{at: {{floor: 6, {where}}}, fan: {fan}}}}}"
    layout = build("psu: {psu: psu-atx-150, on: case.psu}", case)
    psu, part = layout.piece("psu"), case_of(layout)
    assert psu.frame_pose("intake")[:3, 2] == pytest.approx(looks)
    [own] = psu.part.patterns()
    [there] = [p for p in part.patterns() if p.name == "psu"]
    mine = np.array([apply(psu.pose, apply(own.pose, (h.x, h.y, 0.0))) for h in own.holes])
    holes = np.array([apply(there.pose, (h.x, h.y, 0.0)) for h in there.holes])
    assert np.linalg.norm(mine[:, None] - holes[None], axis=2).min(axis=1) == pytest.approx(0, abs=1e-9)
    # What is cut is where the holes are said to be, all four of the guide.
    cuts = {(round(c.u, 6), round(c.v, 6)) for c in part.psu.cuts(part.face_size("rear"))[1:]}  # type: ignore[union-attr]
    assert cuts == {(round(float(y), 6), round(float(z), 6)) for _, y, z in holes}
    assert len(cuts) == len(PSU_HOLES["atx"])
    assert part.faults() == ()


@given(away=st.floats(0, 60), room=st.sampled_from([0, 20, 106]))
@settings(max_examples=15, deadline=None)
def test_behind_the_tray_is_inside_as_far_as_there_is_room(store: Store, away: float, room: float) -> None:
    case = f"{{board: null, slots: 0, feet: null, cable_space: {room}}}"
    at = f"{{rear: 50, floor: 50, behind: {away}}}"
    layout = build(f"drive: {{box: custom, length: 30, width: 10, height: 30, at: {at}}}", case)
    part = case_of(layout)
    low = float(apply(layout.piece("drive").pose, layout.piece("drive").part.box().corners())[:, 1].min())
    assert low == pytest.approx(part.tray_back + away)
    panel = float(part.sheet)  # a part may stand in the thickness of the panel: that is a question of interference
    fits = room > 0 and away + 10 <= room + panel and away < room
    assert (outside(layout, store) == []) == fits


def test_a_cut_behind_the_tray_must_lie_there() -> None:
    case = Case(cable_space=60, psu={"at": {"behind": 3}, "fan": "back"})  # type: ignore[arg-type]
    assert any("power supply cut-out leaves the rear by" in f.text and "back side" in f.text for f in case.faults())
