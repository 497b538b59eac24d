"""Where a tube can go from a port, where its swivels may point, and what keeps a hand from its collars, in words.

Owns those sentences. What was found is `leaving`'s and `hands`'; what it comes to is `verdicts`'.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from elbowroom.model.layout.directions import open_side_of, round_by, sides
from elbowroom.model.loop.fitted import outlet
from elbowroom.model.reach.chains import Interval, turns
from elbowroom.model.reach.hands import in_the_way
from elbowroom.model.reach.rooms import Rooms, Site
from elbowroom.model.reach.trial import Trial
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.measure import Deg

POINTED = 10  # deg between the directions that a range is told by
_SQUARELY = 0.866  # cosine of 30 degrees: a direction within it is toward that wall


def tube_leaves(trial: Trial, open_side: str) -> str:
    """Where a tube can go from its mouth, in words: straight on, and toward which walls it can bend."""
    way, posture = trial.leaving, trial.posture
    assert way is not None
    assert posture is not None
    assert posture.ends is not None
    if way.straight and way.count == 36:
        return "the tube can leave in any direction"
    axes = posture.ends[0][:3, :3]
    turned = [np.radians(a) for first, last in way.bends for a in range(first, last + 1, 10)]
    walls = _walls([axes @ (np.cos(t), np.sin(t), 0.0) for t in turned], open_side)
    ways = (["straight on"] if way.straight else []) + ([f"in a bend toward {walls}"] if walls else [])
    if not walls and way.count:
        ways.append(f"in a bend, in {way.count} of the 36 directions tried")
    return f"the tube can leave {' or '.join(ways)}" if ways else "no way out for the tube was found"


def _walls(ways: Sequence[Floats], open_side: str) -> str:
    """The walls that unit vectors look at within 30 degrees: "the roof or the rear"; empty where none does."""
    names = [(k, s, name) for k, pair in enumerate(sides(open_side)) for s, name in zip((-1, 1), pair, strict=True)]
    found = [f"the {name}" for k, s, name in names if any(s * w[k] > _SQUARELY for w in ways)]
    return " or ".join(filter(None, (", ".join(found[:-1]), *found[-1:])))


def hands_told(rooms: Rooms, site: Site, trial: Trial) -> list[str]:
    """For each collar that no straight reach was found to: what is in the way, and what to fit first."""
    if trial.problem is not None or trial.posture is None:
        return []
    by_way: dict[tuple[tuple[str, ...], bool], list[str]] = {}
    for i, (li, g) in enumerate(zip(trial.links, trial.grips, strict=True)):
        if g.fingers and not g.hand:
            lift = site.lift if i == 0 else 0.0
            way = in_the_way(rooms, trial.posture.links[i][0], li.fitting, lift, site.piece.name)
            by_way.setdefault(way, []).append(li.size)
    told = []
    for (names, opens), collars in by_way.items():
        text = f"no straight reach for a hand to the collar of {' and '.join(collars)}"
        own = site.piece.name
        if names:
            more = "" if opens else ", among others,"
            text += f": {' and '.join(names)}{more} {'is' if len(names) == 1 and opens else 'are'} in the way"
        if opens and "case" not in names:
            text += f"; screw it in before {' and '.join(names)} {'goes' if len(names) == 1 else 'go'} in"
        else:
            text += f"; screw it into {own} before {own} goes into the case"
        told.append(text)
    return told


# Turns ----------------------------------------------------------------------------------------------------------------


def named(rooms: Rooms, trial: Trial) -> str:
    """A chain in words, with where its swivels may point."""
    free = iter(enumerate(trial.angles))
    at = {i: next(free) for i, li in enumerate(trial.links) if li.free}
    return " + ".join(
        f"{li.size} ({turns_told(rooms, trial, i, at[i][1])})" if i in at else li.size
        for i, li in enumerate(trial.links)
    )


def turned(rooms: Rooms, trial: Trial) -> str:
    """A chain in words, its free swivels as they were tried: where they point, and the angle to be written for it."""
    at, out = trial.degrees, []
    for i, li in enumerate(trial.links):
        ways = _ways(rooms, trial, i, (at[i], at[i])) if i in at else []
        pointing = f" turned {round_by(ways, open_side_of(rooms.layout))}" if ways else ""
        out.append(f"{li.size}{pointing} (angle: {at[i]})" if i in at else li.size)
    return " + ".join(out)


def turns_told(rooms: Rooms, trial: Trial, i: int, found: Sequence[Interval]) -> str:
    """Where a swivel may point, in words; in degrees where its turn shows in no direction."""
    if not found:
        return "at no angle"
    if tuple(found) == ((0, 360),):
        return "at any angle"
    ways = [_ways(rooms, trial, i, span) for span in found]
    if all(ways):
        side = open_side_of(rooms.layout)
        return "pointing " + ", or ".join(dict.fromkeys(round_by(w, side) for w in ways))
    return "at " + ", ".join(f"{a} deg" if a == b else f"{a} to {b % 360} deg" for a, b in found)


def _ways(rooms: Rooms, trial: Trial, i: int, span: Interval) -> list[list[float]]:
    """The directions a swivel lets on over a range of its degrees, in their order, the others as in the trial's
    posture; empty where its turn shows in none.
    """
    if trial.posture is None:
        return []
    at = trial.posture.links[i][0] @ turns(np.array([-trial.degrees[i]]))[0]
    first, last = span
    ways = []
    for angle in (first, *range(first + POINTED, last, POINTED), last):
        way = outlet(trial.links[i].fitting.model_copy(update={"angle": Deg(angle)}), at)
        if way is None:
            return []
        ways.append(way.tolist())
    return ways
