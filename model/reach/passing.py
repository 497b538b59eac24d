"""Does a port pass, asked without words, of one height of parts or of all heights of a stretch at once?

Owns the yes and no behind a port's finding, for a search that asks very often. An obstacle that moves by up to r mm
against the port stands in the scene with r more of bound: what stands free of it so, in one posture, does wherever it
is; and bars r thinner and shorter (`Space`'s `less`) meet something wherever it is. Leaves verdicts and words to
`verdicts`.
"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from elbowroom.model.geometry.envelopes import Rod, posed
from elbowroom.model.geometry.freespace import FREE
from elbowroom.model.reach.land import ABOVE, land_state
from elbowroom.model.reach.resting import unsound
from elbowroom.model.reach.rooms import Rooms, Site
from elbowroom.model.reach.trial import attempt
from elbowroom.model.reach.verdicts import Wanted, ground_fails, land_of


def passes(rooms: Rooms, site: Site, wanted: Wanted, moving: Collection[str] = ()) -> bool:
    """Whether the chain meant for a port is neither at fault there nor left open. moving: bodies (piece/body) that move
    against the port and stand in the scene with their bound widened by as much.
    """
    ground = land_state(rooms, site, land_of(site, wanted.links))
    if ground.state not in ("free", "broken") or unsound(rooms, site, wanted.links):
        return False
    if ground_fails(rooms, site, ground, wanted.links):
        return False
    if moving and not _land_stays(rooms, site, ground.diameter, moving):
        return False
    return attempt(rooms, site, wanted.links, wanted.tubing, full=False).problem is None


def cannot(rooms: Rooms, site: Site, wanted: Wanted) -> bool:
    """Whether no posture that is tried lets the chain stand, come in, be turned and let its tube out."""
    return attempt(rooms, site, wanted.links, wanted.tubing, full=False).problem is not None


def _land_stays(rooms: Rooms, site: Site, diameter: float, moving: Collection[str]) -> bool:
    """Whether nothing that moves comes onto the seal face."""
    still = [n for n in rooms.standing.names if n not in moving]
    disc = Rod((0, 0, ABOVE[0]), (0, 0, max(ABOVE[1], site.lift)), diameter / 2)
    return bool(rooms.standing.met(posed(disc, np.array(site.pose)[None]), ignore=still)[0] == FREE)
