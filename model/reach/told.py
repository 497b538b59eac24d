"""Where a tube can go from a port, and what keeps a hand from its collars, in words.

Owns those sentences. What was found is `leaving`'s and `hands`'; what it comes to is `verdicts`'.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from elbowroom.model.layout.directions import sides
from elbowroom.model.reach.hands import in_the_way
from elbowroom.model.reach.rooms import Rooms, Site
from elbowroom.model.reach.trial import Trial
from elbowroom.parts.vocabulary.arrays import Floats

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
