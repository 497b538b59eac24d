"""Which screw each axis gets: its layers and receiver with what they are uncertain by, then the build's own screw
judged or the safest stock length chosen.

Owns the way from posed parts to the plain numbers of `stack`, and the grouping of axes that are alike. Soft layers are
taken as pressed to as little as half (common practice, no source); a dimension without a ± of its own as within
ISO 2768-m.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from elbowroom.model.layout import Piece
from elbowroom.model.screw_spec import Head, ScrewsSpec, ScrewWords
from elbowroom.model.screws.faces import edge
from elbowroom.model.screws.holding import bearing, washer_for
from elbowroom.model.screws.joints import FAN_SCREW, Joint, meant, slots_of
from elbowroom.model.screws.lines import Axis, Passed
from elbowroom.model.screws.picking import Choice, Limits, settled
from elbowroom.model.screws.stack import (
    Judged,
    Layer,
    Receiver,
    judge,
    least_engagement,
    washer_layer,
)
from elbowroom.model.tolerances import general_tolerance
from elbowroom.parts import screw_tables
from elbowroom.parts.base import Body, Hole, Part
from elbowroom.parts.measure import Measure
from elbowroom.parts.screw_tables import Stock
from elbowroom.parts.threads import thread

SOFT = frozenset({"gasket", "rubber"})  # materials that a screw presses together
PRESSED = 0.5  # of a soft layer's thickness that may be gone under a screw; common practice, no source (P)
AROUND_MM = 0.3  # mm wider than a head a hole is to lie around it: play of both; no source (P)
_SAME = 1e-6  # mm: a field is the thickness it is compared with
_NUMBERED = re.compile(r" \d+$")


@dataclass(frozen=True, slots=True, eq=False)
class Chosen:
    """The screw of axes that are alike. rows: of the joint's axes. thread, head: of the screw. length: None where none
    is safe and none is stated. washers: under the head. stated: the build's own words. judged: how `length` does; None
    where there is none, or where it cannot be said (`why`). choice: what the stock has. bears: share of the head's
    ring that lies on metal, and mm it overlaps the hole by; None where it bears on no declared hole. instead: what the
    trade has, where the build's own stock holds none that is safe.
    """

    joint: Joint
    rows: tuple[int, ...]
    layers: tuple[Layer, ...]
    receiver: Receiver | None
    thread: str
    head: Head
    length: float | None = None
    washers: int = 0
    stated: ScrewWords | None = None
    judged: Judged | None = None
    choice: Choice | None = None
    bears: tuple[float, float] | None = None
    why: str = ""
    instead: Choice | None = None

    @property
    def pieces(self) -> list[Piece]:
        """What the screw goes into and what it passes."""
        axis = self.joint.axes[self.rows[0]]
        return list({p.name: p for p in (axis.piece, *(q.piece for q in axis.passed))}.values())

    @property
    def label(self) -> str:
        return self.thread if self.length is None else screw_tables.designation(self.thread, self.length)


def chosen(joint: Joint, spec: ScrewsSpec, skip: Collection[int] = ()) -> list[Chosen]:
    """The screws of a joint, an entry for axes that are alike; none for axes that no screw can take, and for `skip`."""
    words = next((w for pattern, w in spec.use.items() if meant(joint.name, pattern)), None)
    alike: dict[tuple[object, ...], list[int]] = defaultdict(list)
    for i, axis in enumerate(joint.axes):
        if i not in joint.lost and i not in skip:
            alike[_signature(axis)].append(i)
    return [_choose(joint, rows, words, spec) for rows in alike.values()]


def _signature(axis: Axis) -> tuple[object, ...]:
    layers = tuple((base_name(p), None if p.thickness is None else round(p.thickness, 4), _way(p)) for p in axis.passed)
    r = axis.receiver
    return (layers, r.thread, r.depth, r.threaded, r.stop, r.diameter)


def _way(p: Passed) -> tuple[object, ...] | None:
    """A layer's hole as a head sees it: its width, and how near the axis comes to its edge."""
    hole = p.opening
    return None if hole is None else (hole.diameter, hole.slot, p.recess, round(edge(hole, *p.at), 2))


def base_name(passed: Passed) -> str:
    """A layer's name without the number of its copy."""
    return _NUMBERED.sub("", passed.piece.name)


def _choose(joint: Joint, rows: Sequence[int], words: ScrewWords | None, spec: ScrewsSpec) -> Chosen:
    axis, taken = joint.axes[rows[0]], tuple(rows)
    size = joint.thread if words is None or words.thread is None else words.thread
    head = _head((words.head if words is not None else None) or spec.head, size)
    length = None if words is None or words.length is None else float(words.length)
    washers = 0 if words is None else words.washers or 0
    wide, ring = screw_tables.head(head, size).diameter, screw_tables.washer(size).outer
    passed = _under_head(axis.passed, wide)
    bears, poorly = _bearing(joint, passed, wide)
    last = passed[-1]
    under_head = None if last.opening is None else last.opening.under_head
    sunk = under_head is not None or last is not axis.passed[len(passed) - 1]
    none_left = spec.washers.high == 0
    if (poorly or washers or spec.washers.low) and not sunk and not (none_left and not washers):
        passed = _under_head(axis.passed, ring)
    with_washer = _bearing(joint, passed, ring)[0]  # a washer bears where it lies, or falls through as a head does
    unsaid = [p for p in axis.passed if p.thickness is None]
    if unsaid:
        why = f"how thick {unsaid[0].piece.name} is there cannot be said: there is no sheet beside the screw"
        return Chosen(joint, taken, (), None, size, head, length, washers, words, bears=bears, why=why)
    layers = tuple(layer_of(p) for p in passed)
    try:
        receiver = receiver_of(joint, axis, size)
    except ValueError as e:
        return Chosen(joint, taken, layers, None, size, head, length, washers, words, bears=bears, why=str(e))
    if axis.stud is not None:
        # A stud has the length it has: judged like a screw that goes into the nut behind what it passes.
        judged = judge(axis.stud, (general_tolerance(axis.stud),) * 2, layers, receiver)
        return Chosen(joint, taken, layers, receiver, size, head, axis.stud, 0, None, judged, None, None)
    least, most = spec.washers.low, spec.washers.high
    if words is not None and length is None and words.washers is not None:
        least = most = words.washers  # so many, and no more
    elif sunk:
        least = most = 0
    elif poorly and helps(bears, with_washer) and most != 0:
        least = max(least, 1)
    washer = washer_layer(size)
    limits = Limits(own_stock(spec, size), washer, least, most)
    settled_receiver, choice = settled(layers, receiver, size, limits)
    instead = None
    if choice.best is None and (limits.stock is not None or spec.washers.high is not None):
        # What a drawer lacks, the trade may have: first with the washers there are, then with any.
        for free in (replace(limits, stock=None), replace(limits, stock=None, most=least if sunk else None)):
            if (found := settled(layers, receiver, size, free)[1]).best is not None:
                instead = found
                break
    receiver = settled_receiver
    if words is not None and length is not None:
        under = (*layers, *([washer] * washers))
        judged = judge(length, screw_tables.length_tolerance(size, length), under, receiver)
        how = with_washer if washers else bears
        return Chosen(
            joint, taken, layers, receiver, size, head, length, washers, words, judged, choice, how, "", instead
        )
    best = choice.best
    if best is None:
        return Chosen(joint, taken, layers, receiver, size, head, choice=choice, bears=bears, instead=instead)
    how = with_washer if choice.washers else bears
    return Chosen(joint, taken, layers, receiver, size, head, best.length, choice.washers, None, best, choice, how)


def helps(bare: tuple[float, float] | None, ring: tuple[float, float] | None) -> bool:
    """Whether a washer bears on more than the head alone does."""
    return bare is not None and ring is not None and ring[0] > bare[0] and ring[1] > 0.0


def own_stock(spec: ScrewsSpec, size: str) -> Stock | None:
    """The lengths of a thread that the build says there are; None where it does not bound them. Fan screws come with
    the fans.
    """
    if not spec.stock or (size == FAN_SCREW and all(s.thread != FAN_SCREW for s in spec.stock)):
        return None
    return Stock(tuple(sorted({float(s.length) for s in spec.stock if s.thread == size})), ())


def _under_head(passed: Sequence[Passed], wide: float) -> list[Passed]:
    """What a head or washer `wide` mm across bears on and what lies below: outer pieces whose hole takes it lie around
    it, and where it goes into a recess of the last, that piece is as thick as what is left under it.
    """
    kept = list(passed)
    while len(kept) > 1 and (hole := kept[-1].opening) is not None and _takes(hole, kept[-1].at, wide):
        kept.pop()
    last = kept[-1]
    if last.recess is not None and last.thickness is not None and last.opening is not None:
        diameter, deep = last.recess
        if _takes(replace(last.opening, diameter=diameter), last.at, wide):
            kept[-1] = replace(last, thickness=last.thickness - deep)
    return kept


def _takes(hole: Hole, at: tuple[float, float], wide: float) -> bool:
    """Whether something round and `wide` mm across about the axis lies inside a hole, with play."""
    return edge(hole, *at) + (wide + AROUND_MM) / 2 <= 0.0


def _head(wanted: Head, size: str) -> Head:
    """The head a screw of that thread gets: the wanted one where it is made, else the pan head all have."""
    return wanted if size in screw_tables.HEADS[wanted] else "pan"


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
        return Receiver(own, None, 0.0, 0.0, through, None, through, "through the nut and a turn beyond")
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


def _bearing(joint: Joint, passed: Sequence[Passed], wide: float) -> tuple[tuple[float, float] | None, bool]:
    """How a head or washer `wide` mm across bears on the outermost hole, and whether that takes another under it."""
    last = passed[-1]
    if last.pattern is None or last.hole is None:
        return None, False
    slot = slots_of(last.pattern)[last.hole]
    share, overlap = bearing(wide, joint.diameter, slot, last.at)
    return (share, overlap), washer_for(wide, joint.diameter, slot, last.at) != ""


def called(thread: str, length: float, washers: int) -> str:
    """A screw with its washers, as it is asked for, and how to come by an odd length."""
    note = screw_tables.odd(thread, length)
    return screw_tables.designation(thread, length) + under(washers) + (f" ({note})" if note else "")


def under(washers: int) -> str:
    return f" with {washers} washer{'s' * (washers > 1)} under the head" if washers else ""
