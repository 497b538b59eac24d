"""Neighbouring ports: do the fittings on two ports leave each other room, and the fingers that tighten them?

Owns findings about two ports, or about one port among its neighbours. Two chains that meet, or stand nearer than GAP,
fail: that is the pitch of (OD1 + OD2) / 2 + 1.5. Where chains have free swivels they fail only if no turn of them
leaves the gap. A collar with finger room in the scene but, its neighbours in place, on no side is a caution: it can be
tightened before they are. On a port that nobody chose for the lowest plug is assumed, and it makes cautions only.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, islice

import numpy as np

from elbowroom.model.geometry.envelopes import Rod
from elbowroom.model.loop.plumbing import Link
from elbowroom.model.reach.bars_apart import clear, least
from elbowroom.model.reach.chains import Item, Postures, coarse, grid, items, walk
from elbowroom.model.reach.choices import candidates, lowest
from elbowroom.model.reach.hands import STEP, finger_sides, fingertip
from elbowroom.model.reach.rooms import Rooms, Site
from elbowroom.model.reach.told import turned
from elbowroom.model.reach.trial import attempt
from elbowroom.model.reach.verdicts import Wanted, mended_beside
from elbowroom.model.told.findings import Basis, Finding, Verdict
from elbowroom.model.told.wordings import assumed_by, tenths
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.pose import apply, rotation

GAP = 1.5  # mm between neighbouring fittings: a coat of fingers' play; common practice, no source (P)
MOST_REMEDIES = 2  # other chains named for a pair
MOST_TRIES = 24  # of them tried for each of the two ports


@dataclass(frozen=True, slots=True, eq=False)
class Stand:
    """A chain standing on a port: `bars` in case coordinates; assumed: nobody chose it."""

    site: Site
    wanted: Wanted
    assumed: bool
    parts: tuple[Item, ...]
    posture: Postures
    bars: tuple[Rod, ...]
    owner: tuple[int, ...]  # link of each bar

    @property
    def links(self) -> tuple[Link, ...]:
        return self.wanted.links

    @property
    def free(self) -> bool:
        return any(li.free for li in self.links)

    @property
    def reach(self) -> float:
        return sum(max(li.fitting.reach_length, li.fitting.swing) for li in self.links) + GAP


def stand(rooms: Rooms, site: Site, wanted: Wanted, degrees: Mapping[int, int]) -> Stand | None:
    """The chain of a port as it stands, its free swivels turned as given; for a port without one, the lowest plug."""
    assumed = not wanted.links
    if assumed:
        plug = lowest(site, None)
        if plug is None:
            return None
        wanted = Wanted((plug,))
    parts = items(wanted.links, site)
    turned = [np.array([degrees.get(i, 0)]) for i, li in enumerate(wanted.links) if li.free]
    posture = walk(rooms, site, parts, turned, judge=False)
    bars, owner = _bars(parts, posture, 0)
    return Stand(site, wanted, assumed, tuple(parts), posture, bars, owner)


def _bars(parts: Sequence[Item], p: Postures, row: int) -> tuple[tuple[Rod, ...], tuple[int, ...]]:
    bars, owner = [], []
    for i, one in enumerate(parts):
        for r in (*one.fixed, *one.turning):
            bars.append(_moved(r, p.links[i][row]))
            owner.append(i)
    return tuple(bars), tuple(owner)


def _moved(r: Rod, at: Floats) -> Rod:
    a, b = apply(at, [r.start, r.end]).tolist()
    return replace(r, start=(a[0], a[1], a[2]), end=(b[0], b[1], b[2]))


def neighbours(rooms: Rooms, stands: Sequence[Stand]) -> list[Finding]:
    """Findings about every two ports whose fittings are too near, and about collars that their neighbours enclose."""
    pairs = [_pair(rooms, a, b) for a, b in combinations(stands, 2) if _near(a, b)]
    chosen = [s for s in stands if not s.assumed]
    enclosed = [_enclosed(rooms, a, [b for b in chosen if b is not a and _near(a, b, fingers=True)]) for a in chosen]
    return [f for f in (*pairs, *enclosed) if f is not None]


def _near(a: Stand, b: Stand, *, fingers: bool = False) -> bool:
    room = max((float(li.fitting.finger_room) for li in a.links), default=0.0) if fingers else 0.0
    return float(np.linalg.norm(a.site.origin - b.site.origin)) <= a.reach + b.reach + room


def advised(rooms: Rooms, s: Stand, finding: Finding, stands: Sequence[Stand]) -> Finding:
    """A port's finding, its remedies among the fittings chosen for other ports, as these stand."""
    others = [r for o in stands if o is not s and not o.assumed for r in o.bars]
    if s.assumed or not finding.remedies or not others:
        return finding

    def beside(links: Sequence[Link], p: Postures) -> bool:
        return clear(_bars(items(links, s.site), p, 0)[0], others, GAP)

    return mended_beside(rooms, s.site, s.wanted, finding, beside)


# Two ports ------------------------------------------------------------------------------------------------------------


def _pair(rooms: Rooms, a: Stand, b: Stand) -> Finding | None:
    gap, at, on, i, j = least(a.bars, b.bars)
    if gap >= GAP:
        return None
    if a.free or b.free:
        ours, theirs = _farthest_first(_turns(rooms, a), b.site), _farthest_first(_turns(rooms, b), a.site)
        if not ours or not theirs or any(clear(x, y, GAP) for x in ours for y in theirs):
            return None  # one that stands free at no turn has a finding of its own
    one, other = a.links[a.owner[i]], b.links[b.owner[j]]
    verdict: Verdict = "caution" if a.assumed or b.assumed else "fail"
    names = f"{one.size} on {a.site.port} and {other.size} on {b.site.port}"
    how = f"overlap by {tenths(-gap)}" if gap < 0 else f"stand {tenths(gap, GAP)} apart"
    turned = ", however they are turned" if a.free or b.free else ""
    text = f"{names} {how}{turned}; {tenths(GAP)} are wanted"
    if a.assumed or b.assumed:
        text += "; nothing is chosen for " + " and ".join(str(s.site.port) for s in (a, b) if s.assumed)
    assumed = dict((*assumed_by(a.site.piece), *assumed_by(b.site.piece)))
    pitch = float(np.linalg.norm(a.site.origin - b.site.origin))
    extra = (
        ("ports", [str(a.site.port), str(b.site.port)]), ("pitch_mm", pitch),
        ("short_mm", GAP - gap), ("fittings", [one.size, other.size]),
    )  # fmt: skip
    answers = () if a.assumed or b.assumed else (*_instead(rooms, b, a), *_instead(rooms, a, b))
    return Finding(
        "port-reach", verdict, tuple(dict.fromkeys((a.site.piece.name, b.site.piece.name))), text, (), gap, "mm", GAP,
        gap, gap, (at, on), Basis("arithmetic", 0.0, tuple(assumed.items())), answers[:MOST_REMEDIES], extra,
        place=f"{a.site.frame.name}~{b.site.frame.name}",
    )  # fmt: skip


def _farthest_first(turns: Iterator[tuple[Rod, ...]], site: Site) -> list[tuple[Rod, ...]]:
    """Postures in the order of how far their last bar ends from a port: the first mostly clear what stands there."""
    return sorted(turns, key=lambda bars: -float(np.linalg.norm(np.subtract(bars[-1].end, site.origin))))


def _turns(rooms: Rooms, s: Stand) -> Iterator[tuple[Rod, ...]]:
    if not s.free:
        yield s.bars
        return
    found = walk(rooms, s.site, s.parts, coarse(s.parts))
    for row in range(len(found)):
        yield _bars(s.parts, found, row)[0]


def _instead(rooms: Rooms, s: Stand, other: Stand) -> Iterator[str]:
    """The best other chain for a port that goes on and leaves the gap to the other one as it stands."""
    for links in islice(candidates(s.site, s.links, s.wanted.tubing), MOST_TRIES):
        parts = items(links, s.site)

        def clears(p: Postures, parts: Sequence[Item] = parts) -> bool:
            return clear(_bars(parts, p, 0)[0], other.bars, GAP)

        trial = attempt(rooms, s.site, links, s.wanted.tubing, full=False, coarsely=True, accept=clears)
        if trial.problem is None:
            yield f"{turned(rooms, trial)} on {s.site.port}"
            return


# One among its neighbours ---------------------------------------------------------------------------------------------


def _enclosed(rooms: Rooms, a: Stand, around: Sequence[Stand]) -> Finding | None:
    """A caution where neighbours take the finger room of a collar on every side that the scene leaves it."""
    every = [r for b in around for r in b.bars]
    for i, (one, base) in enumerate(zip(a.parts, a.posture.links, strict=True)):
        lift = a.site.lift if i == 0 else 0.0
        sides = finger_sides(rooms, base[0], one.link.fitting, lift)
        if one.link.fitting.finger_room <= 0 or not sides.any():
            continue
        tip = fingertip(one.link.fitting, lift)
        if not any(_fits(tip, base[0], angle, every) for angle in grid(STEP)[sides]):
            names = [str(b.site.port) for b in around]
            text = (
                f"{one.link.size} on {a.site.port} has no finger room on any side once the fittings on "
                f"{' and '.join(names)} are in place; tighten it before them"
            )
            return Finding(
                "port-reach", "caution", (a.site.piece.name,), text, (), None, "mm",
                float(one.link.fitting.finger_room), basis=Basis("mesh", 0.0, assumed_by(a.site.piece)),
                extra=(("port", str(a.site.port)), ("neighbours", names)), place=f"{a.site.frame.name}~fingers",
            )  # fmt: skip
    return None


def _fits(tip: Sequence[Rod], base: Floats, angle: int, others: Sequence[Rod]) -> bool:
    at = base @ rotation((0, 0, 1), float(angle))
    return clear([_moved(r, at) for r in tip], others, 0.0)
