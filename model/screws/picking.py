"""Which stock screw, with how many washers, is the safest through some layers into some receiver.

Owns the search over every stock length with every number of washers that can matter, the rule by which one is safer
than another, how much thread is asked for in the end, and the reason where none is safe. Pure numbers, as in `stack`,
whose verdict decides what is safe.

The rule. Of two safe screws the one with more to spare at worst is the safer; beyond `ENOUGH` more counts no further,
and what differs by no more than `TIE` is alike. Of those alike: a usual length before an odd one, then fewer washers,
then more to spare (up to `AMPLE`), then the shorter. Where the room has no end all that hold are alike.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from elbowroom.model.screws.stack import AMPLE, CLEAR, LEAST_THREADS, Judged, Layer, Receiver, Window, judge, window
from elbowroom.model.tolerances import CONTACT_MM
from elbowroom.parts.screw.screw_tables import Stock, length_tolerance, shank
from elbowroom.parts.screw.screw_tables import stock as stock_of

# Both common practice, no source (P).
ENOUGH = 1.0  # mm to spare at worst: more of it is not worth a washer
TIE = 0.1  # mm: nobody measures a stack of layers more nearly, so that no washer is added for less
_ROUGHLY = 1e-4  # mm: over all rounding of sums, and over the width a window is looked at with
ROUNDED = 6  # decimals of a millimetre: two with the same to spare do not fall either way by a last bit


@dataclass(frozen=True, slots=True)
class Combo:
    """A safe stock screw with the washers under its head. usual: its length is one that is commonly sold."""

    judged: Judged
    washers: int
    usual: bool


@dataclass(frozen=True, slots=True)
class Choice:
    """What to buy. best: None where no stock length is safe, and then `reason` says why.

    washers: under the head for it. safe: every safe length with these washers, the best first. tried: every stock
    length with them, shortest first. window: of safe lengths with the fewest washers asked for. ranked: every safe
    length with every number of washers, the safest first.
    """

    best: Judged | None
    washers: int
    safe: tuple[Judged, ...]
    tried: tuple[Judged, ...]
    window: Window
    reason: str | None
    ranked: tuple[Combo, ...] = ()


@dataclass(frozen=True, slots=True)
class Limits:
    """What is chosen from. stock: lengths there are, None for all that are sold; washer: as a layer, None for none;
    least, most: how many of it (most None: as many as can matter).
    """

    stock: Stock | None = None
    washer: Layer | None = None
    least: int = 0
    most: int | None = None


def choose(
    layers: Sequence[Layer],
    receiver: Receiver,
    stock: Stock | None = None,
    washer: Layer | None = None,
    most: int | None = None,
    least: int = 0,
) -> Choice:
    """The stock length and the washers to buy for these layers, by the module's rule.

    stock: lengths there are; left out, what the receiver's thread is sold in. washer: as a layer; None: none is put
    under the head. most, least: how many there may be; `most` left out: as many as can matter, which is bounded by the
    longest screw. Every combination that could be safe is judged, so that "none" is proved. Raises ValueError for
    numbers of washers that are none.
    """
    if least < 0 or (most is not None and most < least):
        raise ValueError(f"{least if least < 0 else most} washers cannot be added")
    lengths = stock_of(receiver.thread) if stock is None else stock
    # Screws that are alike, and a joint asked about at many heights, have the same plain numbers under other names.
    return _choice(tuple(replace(x, name="") for x in layers), receiver, lengths, washer, most, least)


@lru_cache(maxsize=4096)
def _choice(
    layers: tuple[Layer, ...], receiver: Receiver, lengths: Stock, washer: Layer | None, most: int | None, least: int
) -> Choice:
    fewest = [*layers, *([washer] * least if washer is not None else [])]
    safe = _safe(layers, receiver, lengths, washer, most, least)
    room = window(fewest, receiver)
    if not safe:
        tried = tuple(_judged(x, layers, receiver, washer, least) for x in lengths.all())
        return Choice(None, least, (), tried, room, _reason(room, receiver, lengths, washer, most, least))
    ranked = _ranked(safe, receiver)
    n = ranked[0].washers
    return Choice(
        ranked[0].judged, n, tuple(c.judged for c in ranked if c.washers == n),
        tuple(_judged(x, layers, receiver, washer, n) for x in lengths.all()), room, None, ranked,
    )  # fmt: skip


def settled(layers: Sequence[Layer], receiver: Receiver, size: str, limits: Limits) -> tuple[Receiver, Choice]:
    """The stock screw for these layers, and the receiver with the engagement that was asked for in the end.

    The rule of the material asks for a thread that holds as much as the screw does. Where no stock length gives that,
    one diameter will do, and in thin metal two and a half turns: both common practice, no source. Never in a nut.
    """
    own = shank(receiver.thread)
    stock = stock_of(size) if limits.stock is None else limits.stock

    def pick(into: Receiver) -> Choice:
        return choose(layers, into, stock, limits.washer, limits.most, limits.least)

    choice = pick(receiver)
    for least, said in ((own.major, "1 diameter"), (LEAST_THREADS * own.pitch, f"{LEAST_THREADS:g} turns")):
        if choice.best is not None or receiver.whole:
            break
        if least < receiver.wanted:
            why = (
                f"{said} (common practice): no stock length gives the {receiver.wanted:.2f} mm of {receiver.least_why}"
            )
            receiver = replace(receiver, least=least, least_why=why)
            choice = pick(receiver)
    return receiver, choice


def _judged(length: float, layers: Sequence[Layer], receiver: Receiver, washer: Layer | None, n: int) -> Judged:
    under = [*layers, *([washer] * n if washer is not None else [])]
    return judge(length, length_tolerance(receiver.thread, length), under, receiver)


def _safe(
    layers: tuple[Layer, ...], receiver: Receiver, lengths: Stock, washer: Layer | None, most: int | None, least: int
) -> list[Combo]:
    """Every safe length with every number of washers. Judging costs more than the window of what may be safe, so that
    is looked at first, a little widely; and before it what no tolerance widens, which costs less still.
    """
    rooms: dict[int, Window] = {}
    out = []
    bare, soft = sum(x.thickness for x in layers), sum(x.plus for x in layers)
    one, give = (washer.thickness, washer.plus) if washer is not None else (0.0, 0.0)
    for length in lengths.all():
        for n in _numbers(length, layers, receiver, washer, least, most):
            past = length - bare - n * one
            if past < receiver.wanted + soft + n * give - _ROUGHLY:
                continue
            if receiver.room is not None and past > receiver.room - CLEAR + _ROUGHLY:
                continue
            if n not in rooms:
                rooms[n] = window([*layers, *([washer] * n if washer is not None else [])], receiver)
            lo, hi = rooms[n].lo - 2 * CONTACT_MM, rooms[n].hi
            if lo <= length and (hi is None or length <= hi + 2 * CONTACT_MM):
                judged = _judged(length, layers, receiver, washer, n)
                if judged.verdict == "safe":
                    out.append(Combo(judged, n, length in lengths.first))
    return out


def _numbers(
    length: float, layers: Sequence[Layer], receiver: Receiver, washer: Layer | None, least: int, most: int | None
) -> Iterator[int]:
    """Numbers of washers with which a length can be safe: with more its tip does not get to the receiving face by
    nominal sizes, with fewer it gets beyond the end of its room by them.
    """
    if washer is None or washer.thickness <= 0.0:
        yield least
        return
    past = length - math.fsum(x.thickness for x in layers)
    high = math.floor(past / washer.thickness) if most is None else most
    low = least
    if receiver.room is not None:
        low = max(least, math.floor((past - receiver.room) / washer.thickness))
    yield from range(low, min(high, math.floor(past / washer.thickness)) + 1)


def _ranked(safe: Sequence[Combo], receiver: Receiver) -> tuple[Combo, ...]:
    """All of them, the safest first."""
    endless = receiver.room is None

    def spare(c: Combo, most: float) -> float:
        return 0.0 if endless else min(round(c.judged.spare, ROUNDED), most)

    top = max(spare(c, ENOUGH) for c in safe)

    def key(c: Combo) -> tuple[float, ...]:
        own = spare(c, ENOUGH)
        behind = own if own < top - TIE else top  # of those alike it says nothing
        return (-behind, not c.usual, c.washers, -spare(c, AMPLE), c.judged.length)

    return tuple(sorted(safe, key=key))


def _reason(
    safe: Window, receiver: Receiver, lengths: Stock, washer: Layer | None, most: int | None, least: int
) -> str:
    under = f" with {least} washer{'s' * (least > 1)} under the head" if least and washer is not None else ""
    if safe.hi is not None and safe.empty:
        end = receiver.stop or ("the bottom of the hole" if receiver.depth is not None else "what lies behind")
        return (
            f"no length is safe: to hold at worst takes {safe.lo:.2f} mm, and beyond {safe.hi:.2f} mm the tip comes "
            f"too near to {end}"
        )
    wanted = f"from {safe.lo:.2f} to {safe.hi:.2f} mm" if safe.hi is not None else f"of {safe.lo:.2f} mm or more"
    known = lengths.all()
    beside = [n for n in known if n < safe.lo][-1:] + [n for n in known if safe.hi is not None and n > safe.hi][:1]
    near = " and ".join(f"{n:g}" for n in beside)
    nor = ""
    if washer is not None and most != least:
        more = "more washers" if least else "any number of washers"
        nor = f"; nor with {more if most is None else f'up to {most} of {washer.name}'}"
    if known and safe.lo > known[-1]:
        near += (
            ", the longest this catalogue lists" if lengths == stock_of(receiver.thread) else ", the longest there is"
        )
    return f"no stock length lies in what is safe, {wanted}{under}{f' (nearest {near})' if near else ''}{nor}"
