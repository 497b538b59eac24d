"""A mount put on the slot field: its window is cut where the connectors and tabs are, listed, and drawn to cut along.

Where a card's tab and connectors lie is checked against the PCI Express card datums, transcribed as in `board_standard`
(C); areas by shapely, the drawing by reading the DXF back with ezdxf.
"""

from __future__ import annotations

import json
import textwrap
from pathlib import Path

import ezdxf
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from elbowroom.model import checks
from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import parse
from elbowroom.model.checks.parts import check as of_parts
from elbowroom.model.checks.to_cut import check as to_cut
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.layout import Layout
from elbowroom.model.layout.place import place
from elbowroom.model.store import Store
from elbowroom.model.told.findings import FAILING
from elbowroom.parts.case import case_cuts
from elbowroom.parts.case.case import Case
from elbowroom.parts.vocabulary import board_standard as std


def build(on: str, slots: int = 2, more: str = "", case: str = "", interior: str = "") -> Layout:
    interior = interior or "{depth: 465, width: 290, height: 455}"
    text = f"""
    title: t
    case: {{interior: {interior}, cable_space: 40, board: {{form: atx, at: {{top: 60}}}}{case}}}
    parts:
      board: {{motherboard: motherboard-atx, on: case.board}}
      mount: {{gpu-mount: gpu-mount-rear-{slots}slot, on: {on}{more}}}
      card: {{gpu: gpu-block-2slot, on: mount.slot}}
    mates:
      - [card.bracket, mount.bracket]
    """
    return place(load(parse(textwrap.dedent(text), "b.yaml")))


def rear(layout: Layout) -> Case:
    part = layout.piece("case").part
    assert isinstance(part, Case)
    return part


@pytest.mark.slow
@pytest.mark.parametrize(("on", "slots"), [("case.slots", 2), ("case.slots", 3), ("case.beside-slots", 2)])
def test_nothing_of_card_and_mount_meets_the_case(on: str, slots: int, store: Store) -> None:
    layout = build(on, slots)
    found = checks.run(solidify(layout, store), store)
    assert [f.text for f in found if f.verdict in FAILING | {"unknown"}] == []
    assert [f.question for f in found if f.verdict == "caution"] == ["cut"]


@given(
    st.sampled_from(["case.slots", "case.beside-slots", "case.rear-wall"]), st.integers(2, 3),
    st.integers(270, 330), st.integers(440, 520),
)  # fmt: skip
@settings(max_examples=15, deadline=None)
def test_the_window_bares_connectors_and_tab_and_is_listed(on: str, slots: int, width: int, height: int) -> None:
    more = ", clock: 90, at: {open: 20, floor: 30}" if on == "case.rear-wall" else ""
    layout = build(on, slots, more, interior=f"{{depth: 465, width: {width}, height: {height}}}")
    case = rear(layout)
    assert layout.piece("mount").pose[:3, :3].tolist() == [[1, 0, 0], [0, 1, 0], [0, 0, 1]]  # up, cooler to the glass
    # Of the card in slot 1, from its key datum: connectors 12.06 wide about 7.155 toward the glass, 8.20 to 98.10 up,
    # and the tab, 19.05 wide, at 108.26.
    y, z = (float(c) for c in layout.piece("card").pose[1:3, 3])
    connectors = shapely.box(y - 7.155 - 6.03, z + 8.20, y - 7.155 + 6.03, z + 98.10)
    tab = shapely.box(y + std.TAB_CPU_SIDE - 19.05, z + 108.26, y + std.TAB_CPU_SIDE, z + 108.26 + 0.86)
    sheet = shapely.union_all(case_cuts.pieces_left(case, "rear"))
    assert sheet.distance(connectors) >= 1.0
    assert sheet.distance(tab) >= 1.0
    [said] = to_cut(layout)
    assert said.question == "cut"
    extra = json.loads(json.dumps(said.to_json()))
    assert extra["face"] == "rear"
    assert extra["size"]["width"] == pytest.approx(19.05 + 20.32 * (slots - 1) + 2 * 2, abs=0.2)  # tabs and play


def test_an_opening_that_is_there_already_is_not_cut_again() -> None:
    first = build("case.rear-wall", 2, ", clock: 90, at: {open: 20, floor: 30}")
    [c] = rear(first).cutouts
    at = ", ".join(f"{w}: {float(v) + 1}" for w, v in c.at.items())
    size = ", ".join(f"{k}: {float(v) - 2}" for k, v in c.size.items())
    own = f", cutouts: [{{face: rear, at: {{{at}}}, size: {{{size}}}, radius: 2}}]"
    again = build("case.rear-wall", 2, ", clock: 90, at: {open: 20, floor: 30}", case=own)
    assert [k.to_cut for k in rear(again).cutouts] == [False]
    assert to_cut(again) == []


def test_a_window_that_runs_into_the_connectors_of_the_board_is_told() -> None:
    layout = build("case.slots", 2, ", at: {tray: 20, floor: 120}")
    texts = [f.text for f in of_parts(layout) if f.verdict == "fail"]
    assert any("I/O cut-out and window for mount overlap" in t for t in texts)


@pytest.mark.parametrize(("fields", "said"), [
    (", window_width: 20", "too small for what goes through it"),
    (", play: 10", "too little sheet for the mount's own screws"),
])  # fmt: skip
def test_windows_that_cannot_do_are_told(fields: str, said: str) -> None:
    layout = build("case.beside-slots", 2, fields)
    assert any(said in f.text for f in of_parts(layout))


def test_a_leg_stands_on_the_floor() -> None:
    layout = build("case.slots", 2)
    mount = layout.piece("mount")
    rise = float(mount.pose[2, 3])
    legged = build("case.slots", 2, f", leg: {rise}")
    foot = legged.piece("mount").frame_pose("leg-foot")
    assert foot[2, 3] == pytest.approx(0.0)
    assert foot[2, 2] == -1.0


@pytest.mark.slow
def test_the_template_holds_the_window_as_a_closed_line_to_cut(tmp_path: Path, store: Store) -> None:
    from elbowroom.model.templates import write
    from elbowroom.model.templates.views import drawings

    layout = build("case.slots", 2)
    [c] = rear(layout).cutouts
    files = dict(write(drawings(solidify(layout, store), store, ["case.rear"]), paper="A4", kerf=0.0))
    [dxf] = [n for n in files if str(n).endswith(".dxf")]
    path = tmp_path / "rear.dxf"
    path.write_bytes(files[dxf])
    closed = [e for e in ezdxf.readfile(path).modelspace().query('LWPOLYLINE[layer=="cut"]') if e.closed]
    sizes = []
    for e in closed:
        x, y = zip(*((p[0], p[1]) for p in e.get_points()), strict=True)
        sizes.append((max(x) - min(x), max(y) - min(y)))
    assert sizes == [pytest.approx((float(c.size["width"]), float(c.size["height"])), abs=1e-6)]
