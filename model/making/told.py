"""`making.txt`: what to print, how many, which way up, of what plastic and why, what was judged, and the cautions.

Owns the words. Every number comes from an order, its verdicts or the printer's profile.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from elbowroom.model.build.make_spec import PrinterSpec
from elbowroom.model.making.mesh import Skin
from elbowroom.model.making.orders import Order
from elbowroom.model.making.rules import PLASTICS
from elbowroom.model.making.verdict import Verdict
from elbowroom.model.told.cautions import DEFER, PRINTING, UNPLUG, listed
from elbowroom.parts.screw.captive import insert_for
from elbowroom.parts.vocabulary.base import ASSUMED, MARKS
from elbowroom.parts.vocabulary.pose import Pose, turn
from elbowroom.parts.vocabulary.tolerances import ROUNDING

FIRST_LINE = "Parts to make, written by elbowroom"
LAYER_LINE = "# A layer, written by elbowroom"  # the first line of a plate as a build file has it
SIGNS = {"pass": "ok", "caution": "look", "fail": "FAIL"}
_AXES = ("x", "y", "z")
LINE = 110  # characters


def text(
    title: str,
    printer: PrinterSpec,
    made: Sequence[tuple[Order, Skin, Sequence[Verdict]]],
    files: Sequence[str],
    notes: Sequence[str],
) -> bytes:
    """The whole file, UTF-8."""
    lines = [f"{FIRST_LINE}: {title}", "", *_printer(printer), ""]
    for order, skin, verdicts in made:
        lines += [*_part(order, skin, verdicts, printer), ""]
    if notes:
        lines += ["Notes", *(f"- {n}" for n in notes), ""]
    lines += [
        "Files",
        *(f"- {f}" for f in files),
        "",
        *_explained(printer, files),
        "",
        *listed((*PRINTING, UNPLUG, DEFER), LINE),
        "",
    ]
    return "\n".join(lines).encode("utf-8", "replace")


def _printer(printer: PrinterSpec) -> list[str]:
    out = ["Printer"]
    for name, info in PrinterSpec.model_fields.items():
        value = getattr(printer, name)
        shown = " x ".join(f"{float(v):g}" for v in value) if isinstance(value, tuple) else value
        extra = info.json_schema_extra if isinstance(info.json_schema_extra, dict) else {}
        how = "assumed" if extra.get("mark") in ASSUMED else "by"
        rests = "" if name in printer.model_fields_set else f" ({how}: {extra['source']}; {extra['mark']})"
        out.append(f"- {name} {shown if shown is not None else 'as each part needs'}: {info.description}{rests}")
    return out


def _part(order: Order, skin: Skin, verdicts: Sequence[Verdict], printer: PrinterSpec) -> list[str]:
    x, y, z = skin.size
    plastic = printer.material or order.need.plastic
    heat = PLASTICS[plastic]
    low, high = heat.softens
    wanted = f" for {', '.join(order.wanted)}" if order.wanted else f" {order.about}" if order.about else ""
    return [
        f"{order.count} x {order.label}{wanted}",
        f"- lies {up(order.pose)}; {x:.1f} x {y:.1f} mm on the bed, {z:g} mm high",
        f"- {plastic.upper()} (softens at {low:g}-{high:g} °C; {heat.use}; {MARKS[heat.mark]}), "
        f"layers of {float(printer.layer):g} mm, "
        + ("supports none" if not any(v.question == "overhang" and v.verdict == "fail" for v in verdicts)
           else "SUPPORTS NEEDED, see below"),
        *(f"- {line}" for line in order.stands),
        *_set_in(order),
        *(f"- {SIGNS[v.verdict]:4} {v.question}: {v.text}" for v in verdicts),
    ]  # fmt: skip


def _set_in(order: Order) -> list[str]:
    """What is bought and set into each, with how many that are for all."""
    out = []
    for own, each in Counter(order.part.set_in()).items():
        if own.kind == "insert":
            size = insert_for(own.thread)
            what = (
                f"heat-set insert {own.thread}, {size.outer:g} mm wide and {size.length:g} long, melted into its hole "
                f"of {size.pilot:g}"
            )
        else:
            what = f"nut {own.thread}, into its pocket" if own.kind == "nut" else f"screw {own.thread} x {own.length:g}"
        total = f" ({each * order.count} in all)" if order.count > 1 else ""
        out.append(f"- buy {each} x {what}{total}")
    return out


def up(pose: Pose) -> str:
    """Which way a part lies on the bed, by the axis of its own that points up."""
    own = turn(pose.T, (0.0, 0.0, 1.0))  # the bed's upward direction in the part's coordinates
    axis = int(np.abs(own).argmax())
    if abs(own[axis]) < 1 - ROUNDING:
        return "turned so that its own " + ", ".join(f"{v:.3f}" for v in own) + " points up"
    name = _AXES[axis] if own[axis] > 0 else f"-{_AXES[axis]}"
    return "as drawn, its own z up" if name == "z" else f"with its own {name} up"


def _explained(printer: PrinterSpec, files: Sequence[str]) -> list[str]:
    out = []
    if any(f.endswith((".stl", ".3mf")) for f in files):
        out.append(
            f"STL and 3MF are in print position, mm, with holes {float(printer.hole_allowance):g} mm wider than "
            "designed, because they print narrower. Print the coupon first where there is one, and add to "
            "printer.hole_allowance what the hole that fits best is wider than theirs."
        )
    if any(f.endswith(".step") for f in files):
        out.append("STEP holds the part as designed, in its own coordinates, without wider holes.")
    return out
