"""Which screw each axis gets: its layers and receiver with what they are uncertain by, then the build's own screw
judged or the safest stock length chosen.

Owns the way from posed parts to the plain numbers of `stack`, and the grouping of axes that are alike. Soft layers are
taken as pressed to as little as half (common practice, no source); a dimension without a ± of its own as within
ISO 2768-m.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from elbowroom.model.build.screw_spec import Head, ScrewsSpec, ScrewWords
from elbowroom.model.layout.layout import Piece
from elbowroom.model.screws.bearing import Bearing
from elbowroom.model.screws.faces import edge
from elbowroom.model.screws.joints import FAN_SCREW, Joint, words_for
from elbowroom.model.screws.lines import Axis, Passed
from elbowroom.model.screws.picking import Choice, Limits, settled
from elbowroom.model.screws.receivers import base_name, layer_of, receiver_of
from elbowroom.model.screws.stack import (
    Judged,
    Layer,
    Receiver,
    judge,
    washer_layer,
)
from elbowroom.model.screws.under import stands, under_head
from elbowroom.model.tolerances import general_tolerance
from elbowroom.parts.screw import screw_tables
from elbowroom.parts.screw.screw_tables import Stock


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
    bears: Bearing | None = None
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
    words = words_for(joint.name, spec.use)
    size = joint.thread if words is None or words.thread is None else words.thread
    head = _head((words.head if words is not None else None) or spec.head, size)
    alike: dict[tuple[object, ...], list[tuple[int, _Feet]]] = defaultdict(list)
    for i, axis in enumerate(joint.axes):
        if i not in joint.lost and i not in skip:
            feet = _feet(joint, axis, head, size)
            alike[(*_signature(axis), *feet.kind)].append((i, feet))
    return [_choose(joint, [i for i, _ in rows], min(f for _, f in rows), words, spec) for rows in alike.values()]


class _Feet(NamedTuple):
    """What a screw's head stands on, and what a washer under it would: how well, and on which pieces."""

    bears: Bearing | None
    with_washer: Bearing | None
    bare: tuple[Passed, ...]
    ringed: tuple[Passed, ...]
    poorly: bool
    sunk: bool

    @property
    def kind(self) -> tuple[object, ...]:
        """What screws that are told of together must have in common."""
        ways = [None if b is None else (b.enough, b.borne, b.through) for b in (self.bears, self.with_washer)]
        return (self.poorly, self.sunk, len(self.bare), len(self.ringed), *ways)

    def __lt__(self, other: object) -> bool:
        """The worse of two comes first."""
        assert isinstance(other, _Feet)
        return (self.bears or (2.0, 0.0), self.with_washer or (2.0, 0.0)) < (
            other.bears or (2.0, 0.0),
            other.with_washer or (2.0, 0.0),
        )


def _feet(joint: Joint, axis: Axis, head: Head, size: str) -> _Feet:
    out, wide, ring = np.array(axis.out), screw_tables.head(head, size).diameter, screw_tables.washer(size).outer
    bare, ringed = under_head(axis.passed, wide), under_head(axis.passed, ring)
    bears = stands(bare, out, wide, joint.diameter)
    poorly = bears is not None and not bears.enough
    last = bare[-1]
    sunk = last is not axis.passed[len(bare) - 1] or (last.opening is not None and last.opening.under_head is not None)
    return _Feet(bears, stands(ringed, out, ring, joint.diameter), tuple(bare), tuple(ringed), poorly, sunk)


def _signature(axis: Axis) -> tuple[object, ...]:
    layers = tuple((base_name(p), None if p.thickness is None else round(p.thickness, 4), _way(p)) for p in axis.passed)
    r = axis.receiver
    return (layers, r.thread, r.depth, r.threaded, r.stop, r.diameter)


def _way(p: Passed) -> tuple[object, ...] | None:
    """A layer's hole as a head sees it: its width, and how near the axis comes to its edge."""
    hole = p.opening
    return None if hole is None else (hole.diameter, hole.slot, p.recess, round(edge(hole, *p.at), 2))


def _choose(joint: Joint, rows: Sequence[int], feet: _Feet, words: ScrewWords | None, spec: ScrewsSpec) -> Chosen:
    axis, taken = joint.axes[rows[0]], tuple(rows)
    size = joint.thread if words is None or words.thread is None else words.thread
    head = _head((words.head if words is not None else None) or spec.head, size)
    length = None if words is None or words.length is None else float(words.length)
    washers = 0 if words is None else words.washers or 0
    bears, with_washer = feet.bears, feet.with_washer
    unsaid = [p for p in axis.passed if p.thickness is None]
    if unsaid:
        why = f"how thick {unsaid[0].piece.name} is there cannot be said: there is no sheet beside the screw"
        return Chosen(joint, taken, (), None, size, head, length, washers, words, bears=bears, why=why)
    layers, ringed = tuple(layer_of(p) for p in feet.bare), tuple(layer_of(p) for p in feet.ringed)
    try:
        receiver = receiver_of(joint, axis, size)
    except ValueError as e:
        return Chosen(joint, taken, layers, None, size, head, length, washers, words, bears=bears, why=str(e))
    if axis.stud is not None:
        # A stud has the length it has: judged like a screw that goes into the nut behind what it passes.
        judged = judge(axis.stud, (general_tolerance(axis.stud),) * 2, layers, receiver)
        return Chosen(joint, taken, layers, receiver, size, head, axis.stud, 0, None, judged, None, None)
    stated = None if words is None or length is not None else words.washers
    sold, low, high = own_stock(spec, size), spec.washers.low, spec.washers.high
    under, into, choice = _found(_ways(feet, low, high, stated), receiver, size, sold)
    instead = None
    if choice.best is None and (sold is not None or high is not None):
        # What a drawer lacks, the trade may have: first with the washers there are, then with any.
        for ways in (_ways(feet, low, high, stated), _ways(feet, low, None, None)):
            if instead is None and (found := _found(ways, receiver, size, None)[2]).best is not None:
                instead = found
    if words is not None and length is not None:
        over = (*ringed, *([washer_layer(size)] * washers)) if washers else layers
        judged = judge(length, screw_tables.length_tolerance(size, length), over, into)
        how, own = (with_washer, ringed) if washers else (bears, layers)
        return Chosen(joint, taken, own, into, size, head, length, washers, words, judged, choice, how, "", instead)
    best = choice.best
    if best is None:
        how = with_washer if choice.washers else bears
        return Chosen(joint, taken, under, into, size, head, choice=choice, bears=how, instead=instead)
    how = with_washer if choice.washers else bears
    return Chosen(joint, taken, under, into, size, head, best.length, choice.washers, None, best, choice, how)


PILE = 3  # washers under one head: more slide and tilt on one another; common practice, no source (P)
Way = tuple[tuple[Layer, ...], int, int | None]  # the layers under a head, and how many washers there may be


def _ways(feet: _Feet, low: int, high: int | None, stated: int | None) -> list[Way]:
    """The stacks a length is looked for through, the first that has one counting. A washer that would lie on another
    piece than the bare head does is no step between the two: with it the stack is another one.
    """
    layers, ringed = (tuple(layer_of(p) for p in found) for found in (feet.bare, feet.ringed))
    if stated is not None:  # so many, and no more
        return [(ringed if stated else layers, stated, stated)]
    if feet.sunk or high == 0:
        return [(layers, 0, 0)]
    least = 1 if feet.poorly and helps(feet.bears, feet.with_washer) else 0
    if max(low, least):
        return [(ringed, max(low, least), high)]
    if len(layers) == len(ringed):
        return [(layers, 0, high)]
    return [(layers, 0, 0), (ringed, 1, high)]


def _found(
    ways: Sequence[Way], receiver: Receiver, size: str, sold: Stock | None
) -> tuple[tuple[Layer, ...], Receiver, Choice]:
    """The first of the ways through which there is a safe screw, else the first of all, with what was found for it.
    Where nobody says how many washers there may be, more than `PILE` only where no screw is safe with fewer.
    """
    few: list[Way] = [(u, least, max(least, PILE)) for u, least, most in ways if most is None]
    for under, least, most in [*(w for w in ways if w[2] is not None), *few, *ways] if few else ways:
        into, choice = settled(under, receiver, size, Limits(sold, washer_layer(size), least, most))
        if choice.best is not None:
            return under, into, choice
        if (under, least, most) == ways[0]:
            none = (under, into, choice)
    return none


def helps(bare: Bearing | None, ring: Bearing | None) -> bool:
    """Whether a washer bears on more than the head alone does."""
    return bare is not None and ring is not None and ring.share > bare.share and ring.borne


def own_stock(spec: ScrewsSpec, size: str) -> Stock | None:
    """The lengths of a thread that the build says there are; None where it does not bound them. Fan screws come with
    the fans.
    """
    if not spec.stock or (size == FAN_SCREW and all(s.thread != FAN_SCREW for s in spec.stock)):
        return None
    return Stock(tuple(sorted({float(s.length) for s in spec.stock if s.thread == size})), ())


def _head(wanted: Head, size: str) -> Head:
    """The head a screw of that thread gets: the wanted one where it is made, else the pan head all have."""
    return wanted if size in screw_tables.HEADS[wanted] else "pan"


def called(thread: str, length: float, washers: int) -> str:
    """A screw with its washers, as it is asked for, and how to come by an odd length."""
    note = screw_tables.odd(thread, length)
    return screw_tables.designation(thread, length) + under(washers) + (f" ({note})" if note else "")


def under(washers: int) -> str:
    return f" with {washers} washer{'s' * (washers > 1)} under the head" if washers else ""
