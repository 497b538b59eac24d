"""What a screw goes through and into, as its choice needs it: layers with their spread, and the thread that takes it.

Owns `layer_of` and `receiver_of`. Which screw is taken is the business of `choosing`.
"""

from __future__ import annotations

import numpy as np

from elbowroom.model.screws.joints import FAN_SCREW, Joint
from elbowroom.model.screws.lines import Axis, Passed
from elbowroom.model.screws.stack import (
    Layer,
    Receiver,
    least_engagement,
)
from elbowroom.model.tolerances import general_tolerance
from elbowroom.parts.screw import screw_tables
from elbowroom.parts.vocabulary.base import Body, Part
from elbowroom.parts.vocabulary.measure import Measure
from elbowroom.parts.vocabulary.threads import thread

SOFT = frozenset({"gasket", "rubber"})  # materials that a screw presses together
PRESSED = 0.5  # of a soft layer's thickness that may be gone under a screw; common practice, no source (P)
_SAME = 1e-6  # mm: a field is the thickness it is compared with


def base_name(passed: Passed) -> str:
    """A layer's name without the number of its copy."""
    return passed.piece.row


def layer_of(p: Passed) -> Layer:
    """A passed piece as a layer, with what its thickness is uncertain by."""
    assert p.thickness is not None
    off = spread(p.piece.part, p.thickness)
    less = off + PRESSED * _soft(p.piece.part, p.thickness)
    return Layer(base_name(p), p.thickness, min(less, p.thickness), off)


def _soft(part: Part, thickness: float) -> float:
    """mm of a layer that a screw can press together."""
    bodies = [b for b in part.bodies() if b.keep_out is None]
    if bodies and all(b.material in SOFT for b in bodies):
        return thickness
    return sum(float(getattr(part, f, 0.0)) for f in ("intake_pad", "exhaust_pad"))


def spread(part: Part, value: float) -> float:
    """mm that a dimension of a part may be off: the ± of the fields that make it up, else ISO 2768-m."""
    measured = [v for name in type(part).model_fields if isinstance(v := getattr(part, name), Measure)]
    own = [v for v in measured if abs(v - value) < _SAME and v.plus_minus is not None]
    return float(own[0].plus_minus or 0.0) if own else general_tolerance(value)


def receiver_of(joint: Joint, axis: Axis, size: str) -> Receiver:
    """What the screw goes into. ValueError where its material holds no thread."""
    hole, part = axis.receiver, axis.piece.part
    if joint.ends in ("nut", "stud"):
        if joint.ends == "stud" and (last := axis.passed[-1].opening) is not None and last.thread is not None:
            deep = last.threaded if last.threaded is not None else last.depth or float(axis.stud or 0.0)
            return Receiver(joint.thread, last.depth, 0.0, 0.0, deep, None, min(deep, thread(joint.thread).major))
        own = size if size in screw_tables.NUTS else joint.thread
        through = screw_tables.nut(own).height + thread(own).pitch
        return Receiver(
            own, None, 0.0, 0.0, through, None, through, "to stand a turn out of its nut", whole=True
        )  # fmt: skip
    if joint.ends == "forming":
        closed = bool(getattr(part, "closed", False))
        deep = float(getattr(part, "depth" if closed else "flange", screw_tables.FAN_SCREW_LEAST))
        return Receiver(
            FAN_SCREW, None, 0.0, 0.0, deep, None, min(screw_tables.FAN_SCREW_LEAST, deep), "common practice, no source"
        )
    assert hole.thread is not None
    depth = _free_depth(axis)
    threaded = hole.threaded if hole.threaded is not None else depth if depth is not None else _length(axis)
    body = next((b for b in part.bodies() if b.name == axis.pattern.body), Body("body"))
    # An open-ended hole has no end for the rule of a blind one.
    least = least_engagement(hole.thread, body.material, threaded, depth)
    end = depth if depth is not None else axis.free
    off = 0.0 if end is None else spread(part, end)
    free = axis.free if depth is None else None
    return Receiver(hole.thread, depth, off, off, threaded, hole.stop, least.value, least.why, free)


def bore_of(joint: Joint, axis: Axis) -> float:
    """mm of the hole that a screw stands in as in a thread, from the receiving face; 0 where a nut holds it: nuts are
    drawn wider than their screws. Of a hole through a part an upper bound, where the part is longer than its hole."""
    if joint.ends in ("nut", "stud"):
        return 0.0
    if joint.ends == "forming":
        return receiver_of(joint, axis, joint.thread).threaded
    if axis.receiver.depth is not None:
        return axis.receiver.depth
    if axis.piece.part.encloses and axis.receiver.threaded is not None:
        return axis.receiver.threaded
    return _length(axis)


def _free_depth(axis: Axis) -> float | None:
    """mm a screw may go in: the hole's own depth, or half of a hole that a second screw enters from its other end."""
    if axis.receiver.depth is not None:
        return axis.receiver.depth
    length = _length(axis)
    others = [f for f in axis.piece.part.frames() if f.kind == "face" and f.thread is not None]
    return length / 2 if len(others) > 1 and axis.receiver.threaded is None else None


def _length(axis: Axis) -> float:
    """mm of a hole through a part, by its declared box along the hole; a bound where it declares no thread length."""
    way = axis.pattern.pose[:3, 2]
    size = np.array(axis.piece.part.box().size)
    return float(np.abs(way) @ size)
