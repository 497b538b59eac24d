"""Adapter plates for joints whose screws do not all find a slot: planned, and offered with what they would gain.

Owns which joints get an offer, and the way from a joint's own planes to the plane a plate is planned in: the opening's,
whose z looks from the panel to the part. Leaves the plate to `adapting`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from elbowroom.model.screws.adapting import adapter_for
from elbowroom.model.screws.joints import PASSES, Fit, Joint, slots_of
from elbowroom.model.screws.slot import joined
from elbowroom.model.writers.names import safe_name
from elbowroom.parts.adapter import Adapter
from elbowroom.parts.adapter_holes import AirOpening
from elbowroom.parts.case_openings import LEAST_WEB
from elbowroom.parts.measure import Mm

NO_PANEL = frozenset({"gasket", "dust-filter", "washer", "shim", "adapter"})  # another of them costs less than a plate
AIR_LESS = 8.0  # mm in diameter that the plate's air holes are narrower than the fans' frames: walls to the screws; P


@dataclass(frozen=True, slots=True, eq=False)
class Offer:
    """An adapter plate for a joint, or (part None) the reason why there is none. centre: of the plate, mm from the
    opening's middle along and across its row.
    """

    joint: str
    part: Adapter | None
    words: str
    centre: tuple[float, float] = (0.0, 0.0)


def offers(joints: Sequence[Joint]) -> list[Offer]:
    """An offer for each joint of a part with threaded holes that loses screws on a panel's slots."""
    return [
        _offer(joint, fit)
        for joint in joints
        if joint.ends == "thread"
        for fit in joint.fits
        if fit.piece.part.air_flow() is None and fit.piece.part.family not in NO_PANEL and max(fit.off) > PASSES
    ]


def _offer(joint: Joint, fit: Fit) -> Offer:
    points = [next(p.at for p in joint.axes[i].passed if p.piece is fit.piece) for i in fit.rows]
    slots = joined(slots_of(fit.pattern), LEAST_WEB if fit.piece.part.family == "case" else 0.0)
    plan = adapter_for(points, slots, screw=joint.thread, openings=_air(joint, fit, points))
    if plan.part is None:
        return Offer(joint.name, None, f"an adapter plate does not do it: {plan.reason}")
    x, y, z = plan.part.box().size
    assert plan.part_side is not None
    gained = f"{len(plan.points)} of {len(points)} screws hold ({plan.part_side.verdict})"
    words = (
        f"put an adapter plate {x:g} x {y:g} x {z:g} between: {gained}; elbowroom make writes it as "
        f"adapter-for-{safe_name(joint.name)}, and the stack grows by {z:g} mm"
    )
    return Offer(joint.name, plan.part, words, plan.centre)


def _air(joint: Joint, fit: Fit, points: Sequence[tuple[float, float]]) -> list[AirOpening]:
    """A round air hole for each fan: in the middle of each four holes that belong to one passed fan, else of each
    four in the order they are drilled.
    """
    fans: dict[str, list[tuple[float, float]]] = {}
    for k, i in enumerate(fit.rows):
        moved = [p.piece.name for p in joint.axes[i].passed if p.piece.part.air_flow() is not None]
        fans.setdefault(moved[0] if moved else f"fan {k // 4}", []).append(points[k])
    out = []
    for four in fans.values():
        if len(four) == 4:
            at = np.mean(four, axis=0)
            pitch = float(np.ptp(np.array(four), axis=0).min())
            out.append(AirOpening.model_validate({"at": (Mm(at[0]), Mm(at[1])), "diameter": Mm(pitch + AIR_LESS)}))
    return out
