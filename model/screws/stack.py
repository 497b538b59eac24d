"""The arithmetic of one screw: through the layers under its head, into the thread that receives it.

Owns how far the tip gets past the receiving face, how much thread it holds by, both as intervals, the verdict on them,
and the lengths that are safe. Leaves which of them to buy to `picking`. Pure numbers: where layers and threads come
from is left to the rest of `screws`. Lengths in millimetres. A verdict rests on the worst case: every
tolerance at its bad end at once. The root-sum-square interval stands beside it and decides nothing. Numbers that cannot
be lengths raise ValueError with the value.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, NamedTuple

from elbowroom.model.tolerances import CONTACT_MM
from elbowroom.parts.screw.screw_tables import ENGAGEMENT, designation, length_tolerance, shank, washer

Verdict = Literal["short", "safe", "close", "bottoms", "pierces"]
CLEAR = 1.0  # mm a tip should stay from the end of its room, by nominal sizes: rule of the trade, no source (P)
AMPLE = 2.0  # mm to spare on both sides that a longer screw need not better: no source (P)
LEAST_THREADS = 2.5  # turns of thread that hold in a thin plate: common practice, no source (P)


@dataclass(frozen=True, slots=True)
class Layer:
    """Something under the head. It may be `minus` thinner or `plus` thicker: soft ones give more than they gain."""

    name: str
    thickness: float
    minus: float = 0.0
    plus: float = 0.0

    def __post_init__(self) -> None:
        for what, value in (("thickness", self.thickness), ("minus", self.minus), ("plus", self.plus)):
            _length(f"{self.name}: {what}", value)
        if self.minus > self.thickness:
            raise ValueError(f"{self.name}: {self.minus:g} mm cannot be lost of a thickness of {self.thickness:g}")


@dataclass(frozen=True, slots=True)
class Receiver:
    """The thread a screw goes into.

    depth: from the receiving face to where the tip must not get; None for a hole through. depth_minus, depth_plus: how
    much less and more it may be. threaded: of thread from that face. stop: what lies at the bottom ("fins"); None: the
    hole's own bottom. least: engagement wanted, and least_why its reason. free: for a hole through, room from the
    receiving face to what lies behind, with the same tolerances; None: no end to it. whole: the screw must come through
    all of it, as through a nut, and no less will do.
    """

    thread: str
    depth: float | None
    depth_minus: float
    depth_plus: float
    threaded: float
    stop: str | None
    least: float
    least_why: str = ""
    free: float | None = None
    whole: bool = False

    def __post_init__(self) -> None:
        shank(self.thread)
        if self.depth is not None and self.free is not None:
            raise ValueError(f"a hole {self.depth:g} mm deep has no room behind it: free {self.free:g}")
        for what in ("depth", "depth_minus", "depth_plus", "threaded", "least", "free"):
            if (value := getattr(self, what)) is not None:
                _length(what, value, some=what in ("threaded", "least"))

    @property
    def room(self) -> float | None:
        """From the receiving face to what the tip must not reach, mm; None where there is no end."""
        return self.free if self.depth is None else self.depth

    @property
    def wanted(self) -> float:
        """Engagement that must be there: what is wanted, but no more than all the thread there is, mm."""
        return min(self.least, self.threaded)


@dataclass(frozen=True, slots=True)
class Span:
    """A length with its worst cases, mm."""

    low: float
    nominal: float
    high: float


@dataclass(frozen=True, slots=True)
class Judged:
    """One screw judged. Lengths in mm.

    engagement: thread held by. tip: past the receiving face (negative: it does not get there). tip_rss: the same by
    root-sum-square of the tolerances. margin: from the tip to the end of its room, negative where it gets beyond; None
    where there is no end. wanted: engagement that must be there at worst.
    """

    length: float
    name: str
    engagement: Span
    tip: Span
    tip_rss: Span
    margin: Span | None
    wanted: float
    wanted_why: str
    verdict: Verdict

    @property
    def spare(self) -> float:
        """The lesser of two margins, mm: to too little engagement (no more thread than wanted counts as none), and to
        the end of the room or to `CLEAR` before it. Negative unless the verdict is safe."""
        hold = self.tip.low - self.wanted
        if self.margin is None:
            return hold
        return min(hold, self.margin.low, self.margin.nominal - CLEAR)


def judge(length: float, length_tol: tuple[float, float], layers: Sequence[Layer], receiver: Receiver) -> Judged:
    """Judge a screw of nominal `length`, which may be `length_tol` (shorter, longer).

    Worst case first: beyond the end of the room it pierces what stops it, or bottoms before it clamps; then it is short
    of the engagement wanted; close is a nominal tip less than `CLEAR` before the end; what remains is safe.
    """
    for what, value in (("length", length), ("length_tol", length_tol[0]), ("length_tol", length_tol[1])):
        _length(what, value)
    shorter, longer = length_tol
    nominal = length - math.fsum(x.thickness for x in layers)
    tip = Span(
        nominal - shorter - math.fsum(x.plus for x in layers),
        nominal,
        nominal + longer + math.fsum(x.minus for x in layers),
    )
    tip_rss = Span(
        nominal - math.hypot(shorter, *(x.plus for x in layers)),
        nominal,
        nominal + math.hypot(longer, *(x.minus for x in layers)),
    )
    engagement = Span(*(min(max(t, 0.0), receiver.threaded) for t in (tip.low, tip.nominal, tip.high)))
    margin = None
    if receiver.room is not None:
        margin = Span(
            receiver.room - receiver.depth_minus - tip.high,
            receiver.room - nominal,
            receiver.room + receiver.depth_plus - tip.low,
        )
    verdict: Verdict = "safe"
    if margin is not None and margin.low < -CONTACT_MM:
        verdict = "bottoms" if receiver.stop is None else "pierces"
    elif engagement.low < receiver.wanted - CONTACT_MM or tip.low <= 0.0:
        verdict = "short"
    elif margin is not None and margin.nominal < CLEAR - CONTACT_MM:
        verdict = "close"
    why = receiver.least_why
    if receiver.wanted < receiver.least:
        why = f"{why + ', but ' if why else ''}all the thread there is"
    name = designation(receiver.thread, length)
    return Judged(length, name, engagement, tip, tip_rss, margin, receiver.wanted, why, verdict)


@dataclass(frozen=True, slots=True)
class Window:
    """Nominal lengths of safe screws, mm: none is safe below `lo` or above `hi` (None: no end); none where lo > hi.

    Between them all are, but for those that a step of the length tolerance makes a few hundredths short.
    """

    lo: float
    hi: float | None

    @property
    def empty(self) -> bool:
        return self.hi is not None and self.lo > self.hi + CONTACT_MM


def window(layers: Sequence[Layer], receiver: Receiver) -> Window:
    """The nominal lengths that are safe through these layers, with the length tolerance the thread's screws have."""
    thick = math.fsum(x.thickness for x in layers)
    base = thick + receiver.wanted + math.fsum(x.plus for x in layers)
    lo, last = base, -1.0
    while lo > last:  # the tolerance grows with the length, in steps
        last, lo = lo, base + _tolerance(receiver.thread, lo)[0]
    if receiver.room is None:
        return Window(lo, None)
    top = thick + receiver.room - receiver.depth_minus - math.fsum(x.minus for x in layers)
    longer = _tolerance(receiver.thread, top)[1]
    under, over = top - longer, top
    alike = _tolerance(receiver.thread, under)[1] == longer  # then every length between has it
    while over - under > CONTACT_MM / 4:  # length plus tolerance grows with the length
        middle = (under + over) / 2
        fits = middle + (longer if alike else _tolerance(receiver.thread, middle)[1]) <= top
        under, over = (middle, over) if fits else (under, middle)
    return Window(lo, min(under, thick + receiver.room - CLEAR))


def washer_layer(thread: str) -> Layer:
    """The plain washer of a screw's thread as a layer; KeyError for what is no screw's thread."""
    size = washer(thread)
    return Layer(f"washer {thread}", size.thickness, size.plus_minus, size.plus_minus)


class Least(NamedTuple):
    """Least engagement in mm, and why."""

    value: float
    why: str


def least_engagement(thread: str, material: str, threaded: float, depth: float | None = None) -> Least:
    """Least engagement of a screw in a thread cut `threaded` mm deep in `material`; `depth`: of a blind hole, mm.

    The rule of the material where the hole has room for it (`CLEAR` kept from a blind end). Where it has not: one
    diameter (P) where there is room for that, and in a thin plate `LEAST_THREADS` turns (P), or all the thread there
    is. KeyError for what is no screw's thread, ValueError for a material that holds none.
    """
    own = shank(thread)
    _length("threaded", threaded, some=True)
    if material not in ENGAGEMENT:
        raise ValueError(f"{material} holds no thread; known: {', '.join(ENGAGEMENT)}")
    diameters, there = ENGAGEMENT[material][0], threaded if depth is None else min(threaded, depth - CLEAR)
    said = f"{diameters:g} diameters, as {material} asks"
    if there >= diameters * own.major - CONTACT_MM:
        return Least(diameters * own.major, said)
    if there >= own.major - CONTACT_MM:
        return Least(own.major, f"1 diameter (common practice): no room for {said}")
    turns = LEAST_THREADS * own.pitch
    if threaded >= turns:
        return Least(turns, f"{LEAST_THREADS:g} turns (common practice): no room for {said}")
    return Least(threaded, f"all the thread there is, less than {LEAST_THREADS:g} turns (common practice)")


@lru_cache(maxsize=1 << 16)
def _tolerance(thread: str, length: float) -> tuple[float, float]:
    """Length tolerance where a length may lie outside what screws are made in: that of the nearest made one."""
    return length_tolerance(thread, min(max(length, 1.0), 120.0))


def _length(what: str, value: float, some: bool = False) -> None:
    if not math.isfinite(value) or value < 0 or (some and value == 0):
        raise ValueError(f"{what} {value:g} is no length in mm: expected {'more than 0' if some else '0 or more'}")
