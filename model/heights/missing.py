"""How much room is missing where no height fits, and which piece would have to stand farther away for one to.

Owns this arithmetic over limits. All that one piece forbids is taken together, whichever bodies of it and of the raised
parts stand against each other, and is moved as one: a piece that stands x mm farther away along the way the parts are
raised forbids the same heights x mm farther on. What is not known of a piece, beyond the range looked at, counts as
forbidden. What no piece that stands still is the cause of cannot be moved away.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from elbowroom.model.heights.limits import Limit
from elbowroom.model.heights.ranges import Stretch, merged
from elbowroom.model.layout.layout import Layout
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.pose import apply

_AT = 1e-6  # mm: ends nearer than this are one


@dataclass(frozen=True, slots=True)
class Need:
    """A height that would fit if these pieces stood farther away: mm each, positive along the way parts are raised."""

    height: float
    moves: tuple[tuple[str, float], ...]

    @property
    def total(self) -> float:
        return sum(abs(x) for _, x in self.moves)


def able(need: Need, layout: Layout, way: Floats) -> bool:
    """Whether every piece that is to stand farther away can: it is none of the case, and gets no farther out of it.

    way: where the raised parts go, mm for each mm of height.
    """
    box = layout.interior
    for name, x in need.moves:
        piece = layout.piece(name)
        if piece.part.encloses:
            return False
        if box is not None:
            here = apply(piece.pose, piece.part.box().corners())
            there = here + x * way
            lo, hi = np.minimum(here.min(axis=0), box.lo) - _AT, np.maximum(here.max(axis=0), box.hi) + _AT
            if (there.min(axis=0) < lo).any() or (there.max(axis=0) > hi).any():
                return False
    return True


def blocker(limit: Limit, movers: Collection[str]) -> str | None:
    """The piece that stands still and is in the way; None where there is none to move."""
    if limit.question not in ("clearance", "keep-out"):
        return None
    still = [p for p in limit.parts if p not in movers]
    return still[0] if len(still) == 1 else None


def forbidden(limits: Sequence[Limit], movers: Collection[str]) -> dict[str | None, list[Stretch]]:
    """The heights each piece stands against, joined up; under None what no piece is to blame for."""
    out: dict[str | None, list[Stretch]] = {}
    for x in limits:
        out.setdefault(blocker(x, movers), []).extend(x.bad)
    return {name: merged(bad) for name, bad in out.items()}


def needs(by_piece: dict[str | None, list[Stretch]], lo: float, hi: float) -> list[Need]:
    """What would have to be moved for a height to fit, for every height at which that may be least; least first."""
    at = sorted({h for bad in by_piece.values() for s in bad for h in s if lo - _AT <= h <= hi + _AT} | {lo, hi})
    found = [n for h in at if (n := _need(by_piece, h, lo, hi)) is not None and n.moves]
    return sorted(found, key=lambda n: (len(n.moves), n.total, n.height))


def _need(by_piece: dict[str | None, list[Stretch]], h: float, lo: float, hi: float) -> Need | None:
    moves = []
    for name, bad in by_piece.items():
        if not _inside(bad, h):
            continue
        x = None if name is None else _least_move(bad, h, lo, hi)
        if name is None or x is None:
            return None
        moves.append((name, x))
    return Need(h, tuple(moves))


def _least_move(bad: Sequence[Stretch], h: float, lo: float, hi: float) -> float | None:
    """The least move after which the stretches leave h, mm; None where none is known to."""
    wide = hi - lo
    known = merged([*bad, (lo - wide, lo), (hi, hi + wide)], _AT)  # beyond the range nothing is known to be free
    moves = sorted((h - e for s in known for e in s if lo - _AT <= e <= hi + _AT), key=abs)
    return next((x for x in moves if not _inside(known, h - x)), None)


def _inside(bad: Sequence[Stretch], h: float) -> bool:
    return any(a + _AT < h < b - _AT for a, b in bad)
