"""Threads a printed part is given afterwards: brass inserts set by heat, and nuts in pockets.

Owns the sizes of inserts with their source and mark, the pockets both need, and how both are drawn in place, so that a
screw is judged by the metal it goes into. Leaves nuts' sizes to `screw.screw_tables`, and where a pocket
opens and the wall around it to the families. Lengths in millimetres.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

from elbowroom.parts.screw.screw_tables import NUTS, NutSize
from elbowroom.parts.vocabulary.threads import thread

if TYPE_CHECKING:
    from cadquery import Solid, Wire


@dataclass(frozen=True, slots=True)
class Insert:
    """A heat-set insert: its outer diameter and length, the pilot hole it melts into, and the wall around that hole."""

    outer: float
    length: float
    pilot: float
    wall: float

    @property
    def pocket(self) -> float:
        """Depth of the pocket, mm."""
        return self.length + INSERT_ROOM


# Two makers' listings agree, but for the pilots of M4 and M5, which they give 0.1 apart (5.6 and 5.7, 6.4 and 6.5): the
# tighter one here. Pilots of M3 from 3.9 to 4.24 are in use. All V.
INSERTS: MappingProxyType[str, Insert] = MappingProxyType(
    {
        "M2.5": Insert(4.6, 4.0, 4.0, 1.6),
        "M3": Insert(4.6, 5.7, 4.0, 1.6),
        "M4": Insert(6.3, 8.1, 5.6, 2.1),
        "M5": Insert(7.1, 9.5, 6.4, 2.6),
    }
)
INSERT_ROOM = 1.0  # mm of pocket below an insert, for the plastic it displaces: 0.5 to 1; V, makers' instructions

NUT_PLAY = 0.2  # mm a nut's pocket is wider across the flats than the nut: pressed in by hand; P
NUT_ROOM = 0.3  # mm a nut's pocket is deeper than the nut, so that the nut never stands out; P


def insert_for(name: str) -> Insert:
    """The insert of a thread; ValueError naming those there are."""
    if name not in INSERTS:
        raise ValueError(f"no heat-set insert of thread {name} is known; known: {', '.join(INSERTS)}")
    return INSERTS[name]


def nut_for(name: str) -> NutSize:
    """The nut of a thread; ValueError naming those there are."""
    if name not in NUTS:
        raise ValueError(f"no nut of thread {name} is known; known: {', '.join(NUTS)}")
    return NUTS[name]


def nut_pocket(nut: NutSize) -> tuple[float, float]:
    """Width across the flats and depth of a nut's pocket, mm."""
    return nut.across + NUT_PLAY, nut.height + NUT_ROOM


def hexagon(across: float, z: float = 0.0) -> Wire:
    """A hexagon about the origin, two of its corners on the x axis."""
    from elbowroom.parts.vocabulary import draw

    x, y = across / math.sqrt(3), across / 2
    return draw.polygon([(x, 0), (x / 2, y), (-x / 2, y), (-x, 0), (-x / 2, -y), (x / 2, -y)], z)


def insert_body(name: str, drilled: float, z: float, up: bool) -> Solid:
    """An insert set flush in a face at height z that looks up, or down; drawn as wide as the hole it melted into.

    drilled: diameter the pilot is drawn with, mm; an insert is never drawn wider than it, nor than its own pilot.
    """
    from elbowroom.parts.vocabulary import draw

    own = insert_for(name)
    outer = draw.circle(0, 0, min(own.pilot, drilled), z)
    return draw.slab(outer, [draw.circle(0, 0, thread(name).bore, z)], -own.length if up else own.length)


def nut_body(name: str, z: float, up: bool) -> Solid:
    """A nut lying against the bottom of its pocket at height z, in a pocket that opens upward, or downward."""
    from elbowroom.parts.vocabulary import draw

    own = nut_for(name)
    hole = draw.circle(0, 0, thread(name).bore, z)
    return draw.slab(hexagon(own.across, z), [hole], own.height if up else -own.height)
