"""A row of fan positions: the hole squares that radiators, dust filters and gaskets share, so that they stack.

Owns the arithmetic of a row: where each fan's hole square sits, all its holes, and the two opposite faces `a` (z up)
and `b` (z down) with one more face for each fan. The origin is the centre of the holes, x along the row, and fans are
numbered from -x to +x. Leaves outlines, threads and drawing to the families.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from elbowroom.parts.fan.fan import HOLE_PITCH
from elbowroom.parts.vocabulary.base import Frame, Hole
from elbowroom.parts.vocabulary.ports import TOUCH
from elbowroom.parts.vocabulary.pose import Pose, pose


@dataclass(frozen=True, slots=True)
class FanField:
    """`count` squares of holes `hole_pitch` apart, adjacent squares `gap` apart, each for a fan of `size`; mm."""

    count: int
    size: float
    hole_pitch: float
    gap: float

    @classmethod
    def of(cls, count: int, size: float, hole_pitch: float | None, gap: float | None) -> FanField:
        """A row with what is left out filled in: the trade's hole pitch for the size, and fans that touch.

        ValueError where the size has no known pitch, or adjacent fans would overlap.
        """
        if hole_pitch is None:
            if float(size) not in HOLE_PITCH:
                known = ", ".join(str(s) for s in HOLE_PITCH)
                raise ValueError(f"no hole pitch is known for a {size:g} mm fan (known: {known}); state hole_pitch")
            hole_pitch = HOLE_PITCH[int(size)]
        if hole_pitch >= size:
            raise ValueError(
                f"hole_pitch {hole_pitch:g} is not inside a {size:g} mm fan: {hole_pitch - size:g} too wide"
            )
        gap = size - hole_pitch if gap is None else gap
        if count > 1 and hole_pitch + gap < size - TOUCH:
            raise ValueError(
                f"gap {gap:g} puts {size:g} mm fans {hole_pitch + gap:g} apart: they overlap by "
                f"{size - hole_pitch - gap:g} mm"
            )
        return cls(count, float(size), float(hole_pitch), float(gap))

    @property
    def pitch(self) -> float:
        """Distance between the centres of adjacent fans, mm."""
        return self.hole_pitch + self.gap

    @property
    def row(self) -> float:
        """Distance between the first and the last row of holes, mm."""
        return (self.count - 1) * self.pitch + self.hole_pitch

    @property
    def length(self) -> float:
        """Length of the row of fans over their frames, mm."""
        return (self.count - 1) * self.pitch + self.size

    @property
    def centres(self) -> tuple[float, ...]:
        """x of each fan's centre, mm."""
        return tuple((i - (self.count - 1) / 2) * self.pitch for i in range(self.count))

    @property
    def points(self) -> tuple[tuple[float, float], ...]:
        """All hole centres, four a fan, fan by fan."""
        h = self.hole_pitch / 2
        return tuple((c + x, y) for c in self.centres for x in (-h, h) for y in (-h, h))

    def holes(self, diameter: float, **more: Any) -> tuple[Hole, ...]:
        """All holes alike (`more`: further fields of `Hole`), in the order of `points`; the row is symmetric, so they
        serve both faces.
        """
        return tuple(Hole(x, y, diameter, **more) for x, y in self.points)

    def frames(self, z_a: float, z_b: float, bodies: tuple[str, ...], size: tuple[float, float]) -> tuple[Frame, ...]:
        """Faces `a` at z_a and `b` at z_b over the whole row, footprint `size`, and one of each for every fan."""
        out = []
        for name, z, up in (("a", z_a, 1.0), ("b", z_b, -1.0)):
            out.append(Frame(name, "face", _face(0.0, z, up), bodies, size=size))
            out += [
                Frame(f"{name}-{i}", "face", _face(c, z, up), bodies, size=(self.size, self.size))
                for i, c in enumerate(self.centres, 1)
            ]
        return tuple(out)

    def opening(self, border: float, keep: float) -> tuple[tuple[tuple[float, float], ...], ...]:
        """For each fan a square opening `border` in from its edges, its corners cut `keep` clear of the hole centres.

        ValueError where nothing of it is left.
        """
        h, p = self.size / 2 - border, self.hole_pitch / 2
        # The corner is cut along x + y = 2p - keep sqrt(2): the line square to the diagonal, `keep` short of the hole.
        c = min(h, 2 * p - keep * math.sqrt(2) - h)
        if min(c, h) <= 0:
            raise ValueError(f"border {border:g} and hole_pitch {self.hole_pitch:g} leave no opening for a fan")
        outline = [(-c, -h), (c, -h), (h, -c), (h, c), (c, h), (-c, h), (-h, c), (-h, -c)]
        if h - c < TOUCH:
            outline = outline[1::2]
        return tuple(tuple((x + cx, y) for x, y in outline) for cx in self.centres)


def _face(x: float, z: float, up: float) -> Pose:
    return pose((x, 0, z), (0, 0, up), (1, 0, 0))
