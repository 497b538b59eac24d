"""Half-sections of round risers and of studs, as (radius, z) points to be turned about z.

Owns this arithmetic alone; what a riser is, and which of these it has, is `made.riser`'s. Millimetres.
"""

from __future__ import annotations

STUD_CHAMFER = 0.5  # mm off the end of a stud; P

Points = list[tuple[float, float]]


def through(height: float, foot: float, top: float, r: float) -> Points:
    """A riser of radius `foot` to `top`, bored through at radius r."""
    return [(r, 0), (foot, 0), (top, height), (r, height)]


def blind(height: float, foot: float, top: float, depth: float, r_top: float, r_foot: float) -> Points:
    """The same bored `depth` deep from both ends."""
    return [(0.0, depth), (r_foot, depth), (r_foot, 0.0), *_bored_top(height, foot, top, depth, r_top)]


def with_stud(height: float, foot: float, top: float, depth: float, r_top: float, r_stud: float, stud: float) -> Points:
    """The same bored `depth` deep from the top, with a stud below the foot."""
    return [*stud_section(r_stud, stud)[:-1], *_bored_top(height, foot, top, depth, r_top)]


def solid(height: float, foot: float, top: float) -> Points:
    """The same without a hole."""
    return [(0.0, 0.0), (foot, 0.0), (top, height), (0.0, height)]


def _bored_top(height: float, foot: float, top: float, depth: float, r: float) -> Points:
    return [(foot, 0.0), (top, height), (r, height), (r, height - depth), (0.0, height - depth)]


def stud_section(r: float, length: float) -> Points:
    """A stud that reaches `length` below z = 0, from its end up its surface and back to the axis."""
    return [(0.0, -length), (r - STUD_CHAMFER, -length), (r, STUD_CHAMFER - length), (r, 0.0), (0.0, 0.0)]
