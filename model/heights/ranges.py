"""At which heights a question is answered badly: found by stepping as far as each answer is certain to hold.

Owns the arithmetic of stretches of height and the search. A gap changes by no more than the bodies move, so an answer
at one height holds over a stretch around it, whose length the answer itself states; nothing is sampled where stretches
join up. Where an answer is certain only of its own height, the search stops at cells of `RESOLUTION`: a cell that
reads alike at both ends and in the middle counts as read. Knows nothing of bodies. Millimetres.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

RESOLUTION = 0.05  # mm: the finest cell searched; the finest layer a filament printer lays is 0.05 (P)
COARSE = 1.0  # mm: the cells where many heights had to be asked, as of bodies that graze each other all along
MANY = 200  # heights asked before cells become coarse
MOST = 2000  # heights asked of one question; what is still open then counts as at fault, and as unread
_SLIVER = 1e-7  # mm: what rounding leaves between stretches that join, far below any tolerance of a gap (1e-6)
_EDGE = 1e-5  # mm: to which the edge inside a cell is halved down

_WORTH = 1 / 8  # of a cell: an answer that holds over less is not worth stepping on; halving comes as near as soon

Stretch = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Answer:
    """Whether a height is fine, and the change of height (mm) over which that certainly stays so. asked: False where a
    bound kept it from being asked, so that it is only taken to be at fault.
    """

    fine: bool
    radius: float
    asked: bool = True


@dataclass(frozen=True, slots=True)
class Found:
    """The stretches at fault, in order; `read`: the widest cell that was taken as read, mm (0: none); `unread`: mm that
    were still open when the bound on questions was reached, and are counted among those at fault.
    """

    bad: tuple[Stretch, ...]
    read: float
    asked: int
    unread: float = 0.0


def search(ask: Callable[[float], Answer], lo: float, hi: float) -> Found:
    """The stretches of [lo, hi] in which `ask` answers badly."""
    known: dict[float, Answer] = {}

    def at(h: float) -> Answer:
        if h not in known:
            known[h] = ask(h)
        return known[h]

    bad: list[Stretch] = []
    read = unread = 0.0
    open_ = [(lo, hi)]
    while open_:
        a, b = open_.pop()
        if b - a <= _SLIVER:
            continue
        if len(known) >= MOST:
            unread += b - a
            bad.append((a, b))
            continue
        middle = (a + b) / 2
        answer = at(middle)
        # Written so that a radius that is no number holds over nothing.
        if not answer.radius >= (b - a) * _WORTH and b - a <= (RESOLUTION if len(known) < MANY else COARSE):
            read = max(read, b - a)
            unread += 0.0 if answer.asked else b - a
            bad += _cell(at, a, middle, b)
            continue
        start, end = max(a, middle - answer.radius), min(b, middle + answer.radius)
        if not answer.fine:
            bad.append((start, end))
        if answer.radius > 0:
            open_ += [(a, start), (end, b)]
        else:
            open_ += [(a, middle), (middle, b)]
    return Found(tuple(merged(bad)), read, len(known), unread)


def _cell(at: Callable[[float], Answer], a: float, middle: float, b: float) -> list[Stretch]:
    """The part of a cell at fault, by its ends and middle, the edges between them halved down."""
    out = []
    for left, right in ((a, middle), (middle, b)):
        fine = (at(left).fine, at(right).fine)
        if fine == (False, False):
            out.append((left, right))
        elif fine != (True, True):
            start, end = _edge(at, left, right)
            out.append((left, end) if fine[1] else (start, right))
    return out


def _edge(at: Callable[[float], Answer], start: float, end: float) -> Stretch:
    """Two heights no farther apart than `_EDGE` between which the answer changes, from two that are answered unlike.

    Each answer's own radius is used up first: where a gap changes as fast as the bodies move, both meet at once.
    """
    first = at(start).fine
    while end - start > _EDGE:
        one, other = at(start), at(end)
        if start + max(one.radius, 0.0) >= end - max(other.radius, 0.0) - _EDGE / 2:
            middle = min(max(start + one.radius, start), end)
            return max(start, middle - _EDGE / 2), min(end, middle + _EDGE / 2)
        half = (start + max(one.radius, 0.0) + end - max(other.radius, 0.0)) / 2
        start, end = (half, end) if at(half).fine == first else (start, half)
    return start, end


def merged(stretches: Iterable[Stretch], apart: float = 2 * _SLIVER) -> list[Stretch]:
    """The same stretches in order, those joined that lie no more than `apart` from each other."""
    out: list[Stretch] = []
    for a, b in sorted(stretches):
        if out and a <= out[-1][1] + apart:
            out[-1] = (out[-1][0], max(out[-1][1], b))
        else:
            out.append((a, b))
    return out


def left(bad: Iterable[Stretch], lo: float, hi: float) -> list[Stretch]:
    """What stretches at fault leave of [lo, hi], in order; a single height counts where it is left exactly."""
    out: list[Stretch] = []
    at = lo
    for a, b in merged(bad, 0.0):
        if a > at + _SLIVER:
            out.append((at, a))
        at = max(at, b)
    if hi > at + _SLIVER:
        out.append((at, hi))
    return out


def chain(bad: Iterable[tuple[Stretch, int]], lo: float, hi: float) -> list[tuple[Stretch, int]]:
    """The fewest stretches that cover [lo, hi] from below upward, each with the number it came with.

    Raises ValueError where they do not cover it.
    """
    rest = sorted(bad)
    out: list[tuple[Stretch, int]] = []
    at = lo
    while at < hi - _SLIVER:
        can = [s for s in rest if s[0][0] <= at + _SLIVER and s[0][1] > at + _SLIVER]
        if not can:
            raise ValueError(f"nothing covers {at:g}")
        best = max(can, key=lambda s: s[0][1])
        out.append(best)
        at = best[0][1]
    return out
