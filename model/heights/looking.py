"""One search: the heights of a range that fit, with everything on the parts that the whole check would find there.

Owns the order of it: first the bare parts over the whole range, then, where these fit, the screws and fittings that
each height has, stretch by stretch in which the screws are alike; where nothing fits, how much is missing. Every part
of it is bounded, and a bound that was reached is told. Leaves what is at fault where to `limits`, which height is taken
to `solving`.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from elbowroom.model.heights.limits import Budget, Limit, limits
from elbowroom.model.heights.missing import Need, able, forbidden, needs
from elbowroom.model.heights.moved import Moved
from elbowroom.model.heights.ranges import Stretch, left
from elbowroom.model.heights.stages import PROBES, SAME_MM, Stages
from elbowroom.model.layout.layout import Layout, Piece, piece_of
from elbowroom.model.screws.fasteners import HELD_BY
from elbowroom.model.store import Store
from elbowroom.model.told.progress import Progress

MAX_STRETCHES = 40  # stretches of other screws that are looked at in one search, some 0.3 s each
AGAIN = 3  # heights whose screws are tried where nothing fits, a second or two each
_SLIVER = 1e-6  # mm: stretches no longer than this are none


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """What a search found: stretches that fit, every limit, what no height mends (`aside`), the first height that was
    not looked at any more (None: all were), and where nothing fits what would have to stand farther away: with all that
    is on the parts (`needs`, those that can be done first), and for the bare parts. screws_at: the height whose screws
    `needs` is worked out with, where any are on the moving parts. movers: all that moves, screws too.
    """

    fits: tuple[Stretch, ...]
    limits: tuple[Limit, ...]
    aside: tuple[Limit, ...]
    stages: Stages
    movers: frozenset[str]
    ended: float | None = None
    needs: tuple[Need, ...] = ()
    bare: tuple[Need, ...] = ()
    screws_at: float | None = None


def look(
    moved: Moved,
    stages_at: Callable[[float], Stages],
    enough: Callable[[Sequence[Stretch]], bool],
    store: Store,
    progress: Progress | None = None,
) -> Look:
    """The heights of a bare layout that fit. stages_at: puts screws and fittings on it, fastened whole at a height.
    enough: whether, from these stretches that fit, a height can be taken, so that higher ones are not looked at.
    """
    budget = Budget()
    found = limits(moved, progress, budget=budget)
    fits, aside = _fits(found, moved)
    bare = () if fits else _needs([x for x in found if x not in aside], moved.movers, moved)
    at = fits[0][0] if fits else bare[0].height if bare else (moved.lo + moved.hi) / 2
    stages = stages_at(at)
    if not fits:
        return _none(stages, at, Look((), tuple(found), aside, stages, moved.movers, bare=bare), budget, store)
    alike = stages.set_aside([at, (fits[0][0] + fits[-1][1]) / 2, fits[-1][1]])
    found, aside = [*found, *alike], (*aside, *alike)
    more, movers, ended = _screwed(stages, fits, enough, budget, store, progress)
    everything = (*found, *more)
    kept = left((s for x in everything if x not in aside for s in x.bad), moved.lo, moved.hi)
    if ended is not None:
        kept = [(a, min(b, ended)) for a, b in kept if a < ended - _SLIVER]
    got = Look(tuple(kept), everything, aside, stages, moved.movers | movers, ended)
    if kept or ended is not None:
        return got
    # Screws that reach only where the bare parts are too near: by how much they are says what must move.
    lower, _, _ = _screwed(stages, left(fits, moved.lo, moved.hi), lambda _: False, budget, store, progress)
    return _none(stages, at, replace(got, limits=(*everything, *lower)), budget, store)


def _needs(found: Sequence[Limit], movers: frozenset[str], moved: Moved) -> tuple[Need, ...]:
    """What would have to stand farther away, what can be done first."""
    all_ = needs(forbidden(found, movers), moved.lo, moved.hi)
    return tuple(sorted(all_, key=lambda n: not able(n, moved.layout, moved.way)))


def _fits(found: Sequence[Limit], moved: Moved) -> tuple[list[Stretch], tuple[Limit, ...]]:
    """The stretches left, and what was left out of the question since no height mends it."""
    lo, hi = moved.lo, moved.hi
    fits = left((s for x in found for s in x.bad), lo, hi)
    if fits:
        return fits, ()
    aside = tuple(x for x in found if not left(x.bad, lo, hi))
    return left((s for x in found if x not in aside for s in x.bad), lo, hi), aside


# Screws and fittings --------------------------------------------------------------------------------------------------


def _screwed(
    stages: Stages,
    fits: Sequence[Stretch],
    enough: Callable[[Sequence[Stretch]], bool],
    budget: Budget,
    store: Store,
    progress: Progress | None,
) -> tuple[list[Limit], frozenset[str], float | None]:
    """What is at fault once screws and fittings are on, where the bare parts fit; what moves; where looking ended."""
    found: list[Limit] = []
    movers: frozenset[str] = frozenset()
    cells: list[Stretch] = []  # between two stretches of different screws: read, not looked into
    count = 0
    for n, (a, b) in enumerate(fits):
        if n and enough(left((s for x in closed(found, cells) for s in x.bad), fits[n - 1][0], fits[n - 1][1])):
            return closed(found, cells), movers, a
        at = a
        while at < b - _SLIVER:
            if count >= MAX_STRETCHES or stages.probes >= PROBES:
                return closed(found, cells), movers, at
            count += 1
            end, after = stages.alike_from(at, b)
            more, own = _stretch(stages, at, end, budget, store)
            found, movers = [*found, *more], movers | own
            if progress is not None:
                progress(count, count + 1, "finding the height")
            if end >= b - _SLIVER:
                break
            cells.append((end, after))
            at = after
    return closed(found, cells), movers, None


def _stretch(stages: Stages, a: float, b: float, budget: Budget, store: Store) -> tuple[list[Limit], frozenset[str]]:
    faults = stages.faults(a, b)
    if faults or b - a <= _SLIVER:
        return faults, frozenset()
    layouts = (stages.whole(a), stages.whole((a + b) / 2), stages.whole(b))
    moved = Moved(a, b, layouts, store)
    return _with_added(moved, stages, budget), moved.movers


def _with_added(moved: Moved, stages: Stages, budget: Budget, bare_only: bool = False) -> list[Limit]:
    """The limits of what is put on the parts. What a screw holds is left out: how it sits there is the joint's
    question, which is asked of every height. bare_only: against the bare parts alone.
    """
    held = {frozenset((piece_of(j.body), piece_of(j.to_body))) for j in moved.layout.joined if j.why == HELD_BY}

    added = _added(stages, moved.layout)

    def apart(a: Piece, b: Piece) -> bool:
        alone = bare_only and a.name in added and b.name in added
        return alone or frozenset((a.name, b.name)) in held or stages.apart(a, b)

    return limits(moved, only=added, apart=apart, budget=budget)


def _added(stages: Stages, layout: Layout) -> frozenset[str]:
    bare = {p.name for p in stages.moved.layout.pieces}
    return frozenset(p.name for p in layout.pieces if p.name not in bare)


def closed(found: Sequence[Limit], cells: Sequence[Stretch]) -> list[Limit]:
    """The limits with every cell at fault that one of the stretches beside it ends at fault at."""

    def widened(s: Stretch) -> Stretch:
        a = min((c[0] for c in cells if abs(c[1] - s[0]) <= _SLIVER), default=s[0])
        b = max((c[1] for c in cells if abs(c[0] - s[1]) <= _SLIVER), default=s[1])
        return a, b

    return [replace(x, bad=tuple(widened(s) for s in x.bad)) for x in found]


# None -----------------------------------------------------------------------------------------------------------------


def _none(stages: Stages, h: float, got: Look, budget: Budget, store: Store) -> Look:
    """What is missing, with screws moved along with the parts they are on: those of the height that is then told.

    Which height needs least depends on the screws, and these on the height: the screws of the height found are tried
    next, until they are the ones it was found with, at most `AGAIN` times. The least of what was tried so is told.
    """
    found: list[Look] = []
    at = h
    for _ in range(AGAIN):
        found.append(_with_screws_of(stages, at, got, budget, store))
        best = found[-1].needs
        if not best or stages.signature(best[0].height) == stages.signature(at):
            break
        at = best[0].height
    settled = [
        x for x in found if x.needs and stages.signature(x.needs[0].height) == stages.signature(x.screws_at or h)
    ]
    return min(settled, key=lambda x: x.needs[0].total) if settled else found[-1]


def _with_screws_of(stages: Stages, h: float, got: Look, budget: Budget, store: Store) -> Look:
    moved, whole = stages.moved, stages.whole(h)
    names = _added(stages, whole)
    frozen = Moved(moved.lo, moved.hi, _frozen(stages, h, whole, names), store)
    more = [x for x in _with_added(frozen, stages, budget, bare_only=True) if left(x.bad, moved.lo, moved.hi)]
    everything, movers = (*got.limits, *more), got.movers | frozen.movers
    best = _needs([x for x in everything if x not in got.aside], movers, moved)
    return replace(got, limits=everything, movers=movers, needs=best, screws_at=h if movers > moved.movers else None)


def _frozen(stages: Stages, h: float, whole: Layout, names: Collection[str]) -> tuple[Layout, Layout, Layout]:
    """The parts at both ends of the range and in its middle, with what is put on them at height h moved along."""
    moved = stages.moved
    own = stages.signature(h)
    step = next((d for d in (SAME_MM / 2, -SAME_MM / 2) if stages.signature(h + d) == own), SAME_MM / 2)
    beside = {p.name: p.pose for p in stages.whole(h + step).pieces}
    velocity = {
        p.name: np.round((beside.get(p.name, p.pose)[:3, 3] - p.pose[:3, 3]) / step, 8)
        for p in whole.pieces
        if p.name in names
    }

    def at(height: float) -> Layout:
        bare = {p.name: p for p in stages.bare(height).pieces}
        out = []
        for p in whole.pieces:
            if p.name in bare:
                out.append(p if p.name not in stages.movers else bare[p.name])
            if p.name not in velocity:
                continue
            pose = p.pose.copy()
            pose[:3, 3] += velocity[p.name] * (height - h)
            out.append(replace(p, pose=pose))
        return replace(whole, pieces=tuple(out))

    return at(moved.lo), at((moved.lo + moved.hi) / 2), at(moved.hi)
