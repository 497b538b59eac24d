"""Rules between a fitting's fields: what cannot be made, said in millimetres.

Owns the clearances that fittings are drawn with and the check that one fitting's fields agree. Leaves whether a fitting
suits a port or a tube to whoever brings them together.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from elbowroom.parts.fitting import fitting_shape as shape
from elbowroom.parts.fitting.fitting_kinds import HEX_KINDS, RING_KINDS, SOFT_KINDS, SWIVELS, TILT
from elbowroom.parts.fitting.fitting_shape import CLEAR, RING_WALL, WALL

if TYPE_CHECKING:
    from elbowroom.parts.fitting.fitting import Fitting

FLOOR = 1.0  # mm: least material under a tube's end, around a channel and under a female thread; common practice (P)
ROUNDING = 1e-9  # mm: sums of a few hundred mm in float64; a shortfall under it is none


def faults(f: Fitting) -> list[str]:
    """Everything about the fields that cannot be made; empty where all agree."""
    return [text for text in _all(f) if text]


def _all(f: Fitting) -> Iterator[str]:
    yield from _seal(f)
    if f.kind in HEX_KINDS and f.hex_af > 0:
        yield _short("hex_af", float(f.hex_af), f.seal_od + 2 * WALL, "the seal ring and a wall around it")
    if f.kind in SOFT_KINDS or f.kind == "collar":
        yield from _tube(f)
    if f.kind in SWIVELS:
        yield from _swivel(f)
    if f.kind in SWIVELS or f.kind in ("extension", "ball-valve", "pass-through"):
        yield from _female(f)
    if f.kind == "male-male":
        yield _short("height", float(f.height), 2 * f.seal_depth + WALL, "a seal groove in either face")
    if f.kind == "ball-valve":
        yield _short("handle_sweep", float(f.handle_sweep), f.handle_width, "a handle longer than it is wide")
        yield _short("body_od", float(f.body_od), f.handle_width + FLOOR, "a boss for the handle")
        yield _short("height", float(f.height), 2 * (f.handle_width / 2 + FLOOR), "the handle's boss on the body")
    if f.kind == "pass-through":
        yield from _panel(f)


def _short(name: str, has: float, needs: float, what: str) -> str:
    """The fault text where a field is under what it needs; empty where it is not."""
    if has >= needs - ROUNDING:
        return ""
    return f"{name} {has:g} is {needs - has:.2f} mm short for {what} (needs {needs:.2f})"


def _seal(f: Fitting) -> Iterator[str]:
    inside = f.panel_hole if f.kind == "pass-through" else f.thread_data.major
    yield _short("seal_id", float(f.seal_id), float(inside), "the thread or shank inside the seal ring")
    yield _short("seal_od", float(f.seal_od), f.seal_id + 1.0, "a seal ring between its groove's walls")
    yield _short("land", float(f.land), float(f.seal_od), "the whole seal ring to lie on it")
    if not (f.kind in HEX_KINDS and f.hex_af > 0):
        name = "collar_od" if f.kind in SWIVELS else "body_od"
        yield _short(name, shape.foot_diameter(f), f.seal_od + 2 * WALL, "the seal ring and a wall around it")
    foot, depth = shape.foot_height(f), f.seal_depth + WALL
    yield _short("the foot's height", foot, depth, "the seal ring's groove")
    if f.kind not in ("plug", "pass-through"):
        stub = 2 * shape.stub_radius(f)
        yield _short("thread", stub, f.bore + 2 * WALL, f"a bore of {f.bore:g} and a wall around it")


def _tube(f: Fitting) -> Iterator[str]:
    yield _short("height", float(f.height), f.insertion + f.seal_depth + FLOOR, f"{f.insertion:g} mm of tube to go in")
    if f.kind in SOFT_KINDS:
        yield _short("tube_od", float(f.tube_od), f.tube_id + 1.0, "a wall of 0.5 around its tube_id")
        yield _short("tube_id", float(f.tube_id), f.bore + 2 * (WALL + CLEAR), f"a stem around a bore of {f.bore:g}")
    else:
        yield _short("tube_od", float(f.tube_od), f.bore + 2 * WALL, f"a stop around a bore of {f.bore:g}")
    if f.kind == "barb":
        yield _short("body_od", shape.foot_diameter(f), float(f.tube_od), "a stop as wide as the tube")
    if f.kind in RING_KINDS:
        yield _short("height", float(f.height), f.collar_height + f.seal_depth + WALL, "the collar above a foot")
        yield _short("collar_od", float(f.collar_od), f.tube_od + 2 * (CLEAR + RING_WALL), "its tube and a wall")
        yield _short("insertion", float(f.insertion), 3.0, "a grip on the tube")
        inside = f.tube_od + 2 * (CLEAR + WALL)
        if f.kind == "compression":
            if f.height - f.insertion < f.height - f.collar_height - ROUNDING:
                yield _short("body_od", float(f.body_od), inside, "the tube's end inside the body")
        else:
            yield _short("body_od", float(f.body_od), inside + 2 * CLEAR + WALL, "the sleeve around the tube's end")
            yield _short("collar_od", float(f.collar_od), inside + 2 * (CLEAR + RING_WALL), "a sleeve around the tube")
            lip = shape.LIP + 2 * WALL
            yield _short("collar_height", float(f.collar_height), lip, "a lip over the sleeve")


def _female(f: Fitting) -> Iterator[str]:
    outer = {"offset": f.next_od, "rotary-45": f.next_od, "rotary-90": f.next_od}.get(f.kind, f.body_od)
    if f.kind == "extension" and f.hex_af > 0:
        outer = f.hex_af
    yield _short("next_land", float(f.next_land), f.thread_data.major + 2 * WALL, f"a {f.thread} port")
    yield _short("the arm" if f.kind in SWIVELS else "the body", float(outer), float(f.next_land), "next_land")
    yield _short("next_depth", float(f.next_depth), 3.0, "a thread to hold")
    yield _short(f"{f.thread}", f.thread_data.minor, float(f.bore), "a bore no wider than the thread")
    if f.kind in ("extension", "ball-valve"):
        yield _short("height", float(f.height), f.next_depth + f.seal_depth + FLOOR, f"a port {f.next_depth:g} deep")
    if f.kind == "pass-through":
        whole = f.height + f.tail
        yield _short("height + tail", float(whole), 2 * f.next_depth + FLOOR, f"two ports {f.next_depth:g} deep")


def _swivel(f: Fitting) -> Iterator[str]:
    if f.swing_radius is not None:
        least = shape.swing_radius(f)
        yield _short("swing_radius", float(f.swing_radius), least, "what the other fields already sweep")
    if f.kind == "offset":
        yield _short("next_od", float(f.next_od), f.bore + 2 * FLOOR, f"a bore of {f.bore:g}")
        needs = f.collar_height + f.bore + 2 * FLOOR
        yield _short("height", float(f.height), needs, f"a channel of {f.bore:g} from one port to the other")
        yield _short("height", float(f.height), f.collar_height + FLOOR + f.next_depth, f"a port {f.next_depth:g} deep")
        return
    tilt = math.radians(TILT[f.kind])
    yield _short("body_od", float(f.body_od), f.bore + 2 * FLOOR, f"a bore of {f.bore:g}")
    yield _short("next_distance", float(f.next_distance), f.next_depth + FLOOR, f"a port {f.next_depth:g} deep")
    drum = f.body_od / 2 * math.sin(tilt) + (shape.drum_top(f) - f.axis_height) * math.cos(tilt)
    yield _short("next_distance", float(f.next_distance), drum, "its face to stand clear of the drum")
    needs = f.collar_height + f.bore / 2 + FLOOR
    yield _short("axis_height", float(f.axis_height), needs, f"a channel of {f.bore:g} above the collar")
    lowest = f.axis_height + f.next_distance * math.cos(tilt) - f.next_od / 2 * math.sin(tilt)
    yield _short("axis_height", float(f.axis_height), f.axis_height + f.collar_height - lowest,
                 "the next port's face to clear the collar")  # fmt: skip


def _panel(f: Fitting) -> Iterator[str]:
    yield _short("max_panel", float(f.max_panel), float(f.panel), f"a panel of {f.panel:g}")
    yield _short("tail", float(f.tail), f.max_panel + f.nut_height, "max_panel and the nut")
    yield _short("nut_af", float(f.nut_af), f.panel_hole + 2 * WALL, "a nut wider than the hole")
    yield _short("panel_hole", float(f.panel_hole), f.thread_data.major + 2 * (WALL + CLEAR), f"a {f.thread} port")
