"""How far one of two parts that share room must move, along the case, until they share none.

Owns that number. How deep an overlap is tells how much material is in the way at its deepest point, which for thin
things is less than what a part must be moved or be shorter by: a card whose fins stand in a radiator's overlaps it by
a fin's thickness. Each distance told is judged as the checks judge the pair, the part standing there. Other parts are
not asked about, and of the ways out only the shortest of those tried is told. Screws, tubes and cables go where other
parts say, and have none.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from elbowroom.model.geometry.judged import Apart, Contact
from elbowroom.model.geometry.pairs import Checker
from elbowroom.model.geometry.scene import Scene, Solid
from elbowroom.model.layout.directions import open_side_of, sides
from elbowroom.model.store import Store
from elbowroom.model.told.findings import Finding
from elbowroom.model.told.wordings import tenths
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.pose import compose, shift
from elbowroom.parts.vocabulary.tolerances import ROUNDING

MOST_PAIRS = 12  # of parts that are asked about, the worst first, each some tenths of a second
WAYS = 2  # of the six directions that are tried beside a part that is no case: in which the boxes come clear soonest
FARTHEST = 150.0  # mm: a part that must go farther is in the wrong place, and its way out says nothing
MOST_ENDS = 24  # places at which boxes of bodies come clear of each other that are tried in one direction
FINE = 0.05  # mm to which a way is narrowed before it is rounded up to the tenth it is told in


def told(findings: Sequence[Finding], scene: Scene, store: Store) -> list[Finding]:
    """The findings in their order, those about parts that share room with the way to part them where there is one."""
    pieces = {p.name: p for p in scene.layout.pieces}
    ways: dict[tuple[str, ...], tuple[float, str, str] | None] = {}
    for f in sorted((f for f in findings if _asked(f)), key=lambda f: f.rank):
        stays = [n for n in f.parts if pieces[n].part.encloses]
        if f.parts in ways or len(ways) >= MOST_PAIRS or len(f.parts) != 2 or len(stays) > 1:
            continue
        if any(pieces[n].part.small or pieces[n].part.led for n in f.parts):
            continue
        mover = next(n for n in f.parts if n not in stays)
        ways[f.parts] = _way_out(scene, mover, next(n for n in f.parts if n != mover), store)
    return [_with(f, way) if _asked(f) and (way := ways.get(f.parts)) is not None else f for f in findings]


def _asked(f: Finding) -> bool:
    return f.question == "interference" and f.verdict == "clash"


def _with(f: Finding, way: tuple[float, str, str]) -> Finding:
    far, wall, mover = way
    other = next(n for n in f.parts if n != mover)
    text = f"{f.text}; {mover} is clear of {other} {tenths(far)} farther toward the {wall}"
    return replace(f, text=text, extra=(*f.extra, ("clear_after_mm", far), ("clear_toward", wall), ("moved", mover)))


def _way_out(scene: Scene, mover: str, other: str, store: Store) -> tuple[float, str, str] | None:
    """mm, the wall it leads toward, and what moves; None where no way was found within FARTHEST."""
    mine, its = (_solids(scene, name) for name in (mover, other))
    if any(s.mesh.fault is not None for s in (*mine, *its)):
        return None
    best: tuple[float, str, str] | None = None
    ways = [(ends, k, sign) for k in range(3) for sign in (-1, 1) if (ends := _ends(mine, its, k, sign))]
    # A case has bodies on all sides: the nearest says how soon a part is clear of one, that of all says nothing.
    inside = its[0].piece.part.encloses
    for ends, k, sign in sorted(ways, key=lambda w: w[0][0 if inside else -1])[: None if inside else WAYS]:
        far = _far(_judge(scene, mine, its, k, sign, store), ends)
        if far is None or (inside and _leaves(mine, its, far, k, sign)):
            continue  # what is moved out of the case is parted from it as well, and in it no more
        if best is None or far < best[0]:
            best = far, sides(open_side_of(scene.layout))[k][sign > 0], mover
    return best


def _solids(scene: Scene, name: str) -> list[Solid]:
    return [s for s in scene.solids if s.piece.name == name and s.body.keep_out is None]


def _ends(mine: Sequence[Solid], its: Sequence[Solid], k: int, sign: int) -> list[float]:
    """How far the one must go for each two boxes, which now lie in each other's way, to come clear; least first."""
    across = [n for n in range(3) if n != k]
    found = set()
    for a in mine:
        for b in its:
            if all(min(a.hi[n], b.hi[n]) > max(a.lo[n], b.lo[n]) for n in across):
                found.add(round(float(b.hi[k] - a.lo[k] if sign > 0 else a.hi[k] - b.lo[k]), 4))
    return sorted(far for far in found if far > 0)


def _leaves(mine: Sequence[Solid], its: Sequence[Solid], far: float, k: int, sign: int) -> bool:
    """Whether the one, so far along that axis, ends beyond the box of the other."""
    if sign > 0:
        return max(float(s.hi[k]) for s in mine) + far > max(float(s.hi[k]) for s in its)
    return min(float(s.lo[k]) for s in mine) - far < min(float(s.lo[k]) for s in its)


def _judge(
    scene: Scene, mine: Sequence[Solid], its: Sequence[Solid], k: int, sign: int, store: Store
) -> Callable[[float], bool]:
    """Whether the parts share no room with the one so far along that axis."""
    along = np.zeros(3)
    along[k] = sign

    def free(far: float) -> bool:
        there = tuple(_moved(s, along * far) for s in mine)
        checker = Checker(Scene(scene.layout, (*there, *its)), store)
        i, j = (n.ravel() for n in np.meshgrid(np.arange(len(mine)), len(mine) + np.arange(len(its)), indexing="ij"))
        gap = checker.boxes.gap(i, j)
        fine = all(isinstance(checker.judge(int(i[n]), int(j[n])), Apart | Contact) for n in np.flatnonzero(gap <= 0))
        checker.flush()
        return fine

    return free


def _moved(s: Solid, by: Floats) -> Solid:
    return replace(s, pose=compose(shift(*(float(v) for v in by)), s.pose), lo=s.lo + by, hi=s.hi + by)


def _far(free: Callable[[float], bool], ends: Sequence[float]) -> float | None:
    """The first of the ends at which they share none, drawn in toward the one before it, in tenths of a millimetre."""
    low = 0.0
    near = [e for e in ends if e <= FARTHEST]
    tried = (
        [near[round(n * (len(near) - 1) / (MOST_ENDS - 1))] for n in range(MOST_ENDS)]
        if len(near) > MOST_ENDS
        else near
    )
    for end in tried:
        if not free(end):
            low = end
            continue
        high = end
        while high - low > FINE:
            middle = (low + high) / 2
            low, high = (low, middle) if free(middle) else (middle, high)
        return next((t for n in range(3) if free(t := round(math.ceil(high * 10 - ROUNDING) / 10 + n / 10, 1))), None)
    return None
