"""One chain of fittings tried on one port: does it seat, stand, come in, can it be turned, can its tube leave?

Owns the order of these questions and the posture that answers them best. Each posture of the free swivels that stands
free is put to the tube, then to the fingers, until one passes both; so a chain fails only where no posture on the grid
passes. Leaves verdicts and words to `verdicts`, why not to `why`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Literal

import numpy as np

from elbowroom.model.loop.plumbing import Link, Tubing
from elbowroom.model.reach.chains import (
    COARSE,
    FINE,
    Interval,
    Item,
    Postures,
    coarse,
    free_angles,
    free_postures,
    grid,
    items,
)
from elbowroom.model.reach.hands import Grip, any_finger, grip
from elbowroom.model.reach.leaving import Leaving, Leg, leaves, leaving
from elbowroom.model.reach.rooms import Rooms, Site
from elbowroom.parts.fitting.fitting_rules import ROUNDING
from elbowroom.parts.vocabulary.arrays import Ints

PORTION = 24  # postures put to the tube at once

Problem = Literal["seal", "depth", "stands", "leaves", "fingers"]


@dataclass(frozen=True, slots=True, eq=False)
class Trial:
    """What came of a chain on a port.

    problem: the first question it fails, None where it goes on; short: mm that a rule of plain numbers is short by,
    with its words in `rule`. posture: the one that passes, or the one that came farthest; None where none stands free.
    angles: of each free swivel. grips: of each link, from the port outward.
    """

    links: tuple[Link, ...]
    problem: Problem | None
    posture: Postures | None = None
    angles: tuple[tuple[Interval, ...], ...] = ()
    grips: tuple[Grip, ...] = ()
    leaving: Leaving | None = None
    short: float = 0.0
    rule: str = ""

    @property
    def degrees(self) -> dict[int, int]:
        """Degrees of each free swivel in the posture, by its place in the chain."""
        if self.posture is None or not len(self.posture):
            return {}
        places = [i for i, link in enumerate(self.links) if link.free]
        return dict(zip(places, self.posture.degrees[0].tolist(), strict=True))


def leg_of(links: Sequence[Link], tubing: Tubing | None) -> Leg | None:
    """The tube in a chain's last fitting; None where it holds none."""
    if tubing is None or not links or not links[-1].fitting.holds_tube:
        return None
    return Leg.of(tubing, float(links[-1].fitting.insertion))


def seat(site: Site, links: Sequence[Link]) -> tuple[Problem, float, str] | None:
    """What plain numbers say against a chain: seal rings wider than their land, threads longer than their hole."""
    land, depth, where = site.frame.land, site.frame.depth, "the port"
    for link in links:
        f = link.fitting
        if land is not None and f.seal_od > land + ROUNDING:
            short = float(f.seal_od - land)
            return (
                "seal",
                short,
                f"the seal ring of {link.size} is {f.seal_od:g} wide, the flat around {where} {land:g}",
            )
        if depth is not None and f.thread_length > depth + ROUNDING:
            short = float(f.thread_length - depth)
            return "depth", short, f"the thread of {link.size} is {f.thread_length:g} long, {where} {depth:g} deep"
        following = f.next_frames()
        if following:
            land, depth, where = following[-1].land, following[-1].depth, link.size
    return None


def attempt(
    rooms: Rooms, site: Site, links: Sequence[Link], tubing: Tubing | None, *, full: bool,
    coarsely: bool = False, accept: Callable[[Postures], bool] | None = None,
) -> Trial:  # fmt: skip
    """A chain tried on a port. full: with the angles of its swivels and every side for tube, fingers and hand.

    coarsely: only postures on the coarse grid are tried. accept: what one must satisfy besides, asked one at a time.
    """
    chain = tuple(links)
    wrong = seat(site, chain)
    if wrong is not None:
        return Trial(chain, wrong[0], short=wrong[1], rule=wrong[2])
    parts, leg = items(chain, site), leg_of(chain, tubing)
    standing: Postures | None = None
    left: Postures | None = None
    good: Postures | None = None
    for found in sets(rooms, site, parts) if not coarsely else islice(sets(rooms, site, parts), 1):
        standing = found if standing is None else standing
        for some in _portions(found):
            rows = np.arange(len(some)) if leg is None else _leaving(rooms, some, leg)
            if not len(rows):
                continue
            left = some.take(rows[:1]) if left is None else left
            each = (some.take(np.array([r])) for r in rows)
            fit = (p for p in each if accept is None or accept(p))
            good = next((p for p in fit if _fingers(rooms, site, parts, p)), None)
            if good is not None:
                break
        if good is not None:
            break
    problem: Problem | None = None
    if good is None:
        problem = "stands" if standing is None else "leaves" if left is None else "fingers"
    best = good or left or (None if standing is None else standing.take(np.array([0])))
    if not full or best is None:
        return Trial(chain, problem, best)
    grips = tuple(
        grip(rooms, base[0], one.link.fitting, site.lift if i == 0 else 0.0)
        for i, (one, base) in enumerate(zip(parts, best.links, strict=True))
    )
    out = None
    if leg is not None and best.ends is not None:
        out = leaving(rooms, best.ends[0], leg)
    return Trial(chain, problem, best, free_angles(rooms, site, parts), grips, out)


def sets(rooms: Rooms, site: Site, parts: Sequence[Item]) -> Iterator[Postures]:
    """Free postures, coarse ones first, then each swivel in turn by single degrees; none that are empty."""
    wide = coarse(parts)
    found = free_postures(rooms, site, parts, wide)
    if len(found):
        yield _roomiest_first(found)
    for k in range(len(wide)):
        found = free_postures(rooms, site, parts, [*wide[:k], grid(FINE), *wide[k + 1 :]])
        if len(found):
            yield found


def _portions(found: Postures) -> Iterator[Postures]:
    """Postures a few at a time: the first few mostly answer."""
    for at in range(0, len(found), PORTION):
        yield found.take(np.arange(at, min(at + PORTION, len(found))))


def _roomiest_first(found: Postures) -> Postures:
    """Postures of one swivel in the order of their distance from an angle that is not free; others as they are."""
    if found.degrees.shape[1] != 1:
        return found
    here = found.degrees[:, 0]
    blocked = np.setdiff1d(grid(COARSE[1]), here)
    if not len(blocked):
        return found
    apart = np.abs((here[:, None] - blocked[None] + 180) % 360 - 180).min(axis=1)
    return found.take(np.lexsort((here, -apart)))


def _leaving(rooms: Rooms, found: Postures, leg: Leg) -> Ints:
    assert found.ends is not None
    return np.nonzero(leaves(rooms, found.ends, leg))[0]


def _fingers(rooms: Rooms, site: Site, parts: Sequence[Item], posture: Postures) -> bool:
    return all(
        any_finger(rooms, base[0], one.link.fitting, site.lift if i == 0 else 0.0)
        for i, (one, base) in enumerate(zip(parts, posture.links, strict=True))
    )
