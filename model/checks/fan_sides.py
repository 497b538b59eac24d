"""What stands right before a fan, and which way round the fan itself is: its cable at the glass, its pads.

Owns these three. A fan's line, and what is closed in it, are `airflow`'s and `air`'s.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from elbowroom.model.build.spec import WALLS
from elbowroom.model.checks.air_told import called
from elbowroom.model.checks.airflow import HALF, Blown, hits
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.layout.layout import Layout
from elbowroom.model.told.findings import Basis, Finding
from elbowroom.model.told.wordings import tenths
from elbowroom.parts.case.case import Case
from elbowroom.parts.fan.fan import Fan

NEAR_MM = 15.0  # before or behind a fan: what stands nearer takes much of its air; common practice, no source (P)
_ASIDE_MM = 5.0  # from the fan's middle toward the glass: an exit nearer to it is at neither side


def crowded(every: Sequence[Blown], scene: Scene | None) -> list[Finding]:
    """A caution for each fan that a part stands right before, or behind, over half of its disc or more."""
    solids = [
        s for s in (scene.solids if scene is not None else ())
        if s.body.keep_out is None and not s.piece.part.encloses and not s.piece.part.small
    ]  # fmt: skip
    found = []
    for fan in every:
        line = {fan.name, *(p.name for p in fan.line)}
        others = [s for s in solids if s.piece.name not in line]
        for sign, words in ((1.0, "blows at"), (-1.0, "draws past")):
            names, reach = hits(fan, others, sign, NEAR_MM)
            share = float(np.mean(np.isfinite(reach)))
            if share < HALF:
                continue
            gap = float(reach.min())
            found.append(
                Finding(
                    "air", "caution", (fan.name, *names),
                    f"{fan.name} {words} {' and '.join(names)}, {tenths(gap)} away over {share:.0%} of its disc",
                    measured=gap, required=NEAR_MM, where=(fan.middle,), basis=Basis("mesh"),
                    remedies=(f"leave {NEAR_MM:g} mm before a fan (rule of thumb), or take a thinner one",),
                    place=f"crowded {'ahead' if sign > 0 else 'behind'}",
                )
            )  # fmt: skip
    return found


def at_glass(layout: Layout, every: Sequence[Blown]) -> list[Finding]:
    """A caution for the fans whose cable leaves by a corner toward the glass, where it is seen."""
    if not any(isinstance(p.part, Case) and p.part.open_side == "glass" for p in layout.pieces):
        return []
    axis, far = WALLS["open"]
    seen = []
    for fan in every:
        exit_ = fan.piece.frame_pose("cable")[:3, 3]
        toward = (exit_ - np.array(fan.middle))[axis] * (1 if far else -1)
        if toward > _ASIDE_MM:
            seen.append(fan)
    if not seen:
        return []
    leave, seen_there = ("cables leave", "they are") if len(seen) > 1 else ("cable leaves", "it is")
    return [
        Finding(
            "air", "caution", tuple(f.name for f in seen),
            f"the {leave} {called(seen)} by a corner at the glass, where {seen_there} seen",
            where=tuple(f.middle for f in seen), basis=Basis("arithmetic"),
            remedies=("name a corner at the tray in cable_to",), place="glass",
        )
    ]  # fmt: skip


def padded(layout: Layout, every: Sequence[Blown]) -> list[Finding]:
    """A caution for the fans held by the side without pads, while their pads are on the other."""
    wrong: dict[tuple[str, str], list[Blown]] = {}
    for fan in every:
        part = fan.piece.part
        assert isinstance(part, Fan)
        held = {m.frame for m in layout.mates if m.piece == fan.name}
        held |= {m.to_frame for m in layout.mates if m.to_piece == fan.name}
        pads = {"intake": float(part.intake_pad), "exhaust": float(part.exhaust_pad)}
        for side, other in (("intake", "exhaust"), ("exhaust", "intake")):
            if side in held and other not in held and pads[side] == 0 and pads[other] > 0:
                wrong.setdefault((side, other), []).append(fan)
    return [
        Finding(
            "air", "caution", tuple(f.name for f in here),
            f"the {side} side holds {called(here)}, and the pads are on the {other} side",
            where=tuple(f.middle for f in here), basis=Basis("arithmetic"),
            remedies=(f"move the pads to the {side} side, or leave them off",), place=f"pads {side}",
        )
        for (side, other), here in wrong.items()
    ]  # fmt: skip
