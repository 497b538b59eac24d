"""Adapter plates for joints whose screws do not all find a slot: planned, and offered with what they would gain.

Owns which joints get an offer, and the way from a joint's own planes to the plane a plate is planned in: the opening's,
whose z looks from the panel to the part. Leaves the plate to `adapting`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from elbowroom.model.screws.adapting import STEP, adapter_for
from elbowroom.model.screws.choosing import Limits, layer_of, receiver_of, settled
from elbowroom.model.screws.joints import PASSES, Fit, Joint, slots_of
from elbowroom.model.screws.slot import joined
from elbowroom.model.screws.stack import Layer
from elbowroom.model.tolerances import general_tolerance
from elbowroom.model.writers.names import safe_name
from elbowroom.parts.adapter import Adapter
from elbowroom.parts.adapter_holes import AirOpening
from elbowroom.parts.case_openings import LEAST_WEB
from elbowroom.parts.measure import Mm

NO_PANEL = frozenset({"gasket", "dust-filter", "washer", "shim", "adapter"})  # another of them costs less than a plate
THICKER_STEPS = 26  # of a printed layer that a plate is tried thicker by: 5 mm, the step between stock lengths
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
    part, screw = _for_stock(joint, fit, plan.part)
    if part is None:
        return Offer(joint.name, None, f"an adapter plate does not do it: {screw}")
    x, y, z = part.box().size
    assert plan.part_side is not None
    gained = f"{len(plan.points)} of {len(points)} screws hold ({plan.part_side.verdict}), {screw}"
    words = (
        f"put an adapter plate {x:g} x {y:g} x {z:g} between: {gained}; elbowroom make writes it as "
        f"adapter-for-{safe_name(joint.name)}, and the stack grows by {z:g} mm"
    )
    return Offer(joint.name, part, words, plan.centre)


def _for_stock(joint: Joint, fit: Fit, part: Adapter) -> tuple[Adapter | None, str]:
    """The plate as thick as a stock screw needs it under its sunk head, and that screw; None with the reason."""
    axis = joint.axes[fit.rows[0]]
    before = next(k for k, p in enumerate(axis.passed) if p.piece is fit.piece)
    inner = [layer_of(p) for p in axis.passed[:before] if p.thickness is not None]
    recess = max((float(h.recess_depth) for h in part.holes_a if h.recess_depth is not None), default=0.0)
    reason = ""
    for k in range(THICKER_STEPS):
        thick = float(part.thickness) + k * STEP
        under = Layer(
            "adapter", thick - recess, min(general_tolerance(thick), thick - recess), general_tolerance(thick)
        )
        choice = settled((*inner, under), receiver_of(joint, axis, joint.thread), joint.thread, Limits(most=0))[1]
        if choice.best is not None:
            thicker = type(part).model_validate({**part.model_dump(), "thickness": round(thick, 4)})
            return thicker, f"{choice.best.name} under sunk heads"
        reason = choice.reason or ""
    return None, reason


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
