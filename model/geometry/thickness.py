"""Where a solid is thick, and how thick at most: balls that lie in it, and proof that no wider one does.

Owns the two sides of a solid's local thickness, the diameter of the largest ball inside it. From below: any ball whose
centre is inside and whose radius is the measured distance to the surface. From above: the solid's core of a width,
which is what stays when it is shared with itself moved half that width both ways along some axes. The centre of a
ball that wide stays for certain; of a film thinner than that nothing stays, however large it is and whatever hangs on
it. So a thick place cannot hide behind a wide thin one, and what stays says where to look for balls.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from elbowroom.model.geometry.meshes import Surface, normals_areas
from elbowroom.model.geometry.narrow import arrays_of
from elbowroom.model.tolerances import CONTACT_MM
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.tolerances import ALIKE, NO_LENGTH
from elbowroom.parts.vocabulary.winding import winding

Ball = tuple[float, Floats]  # radius, mm; centre
GROWN = 1.1  # the first width no ball is found for is so many times the widest ball: what `high` may lie above `low`
SKIN_MM = CONTACT_MM * 1e-3  # a ray has left its own triangle beyond this, and a ball no wider is none
_STARTS = 12  # largest triangles a ball is tried from
_SHRINKS = 20  # steps in which a ball shrinks to its place; it converges in fewer than ten
_FITS = 0.999  # a ball that reaches this part of its radius fits: its radius is measured in the end anyway
_PARTS = 64  # pieces of a core that are looked at, largest first
_CORNERS = 8  # corners of one such piece that are looked at
_CLIMBS = 2  # best places from which a wider ball is sought close by
_HALVINGS = 6  # steps and halvings of the step of that search, which begins with half the radius
_SOUGHT = 1.5  # growth of the width tried where no ball as wide was found though some is left of the core
_ROUNDS = 40  # widths tried at most


class Solid:
    """A solid of manifold3d with what is asked of it over and over."""

    def __init__(self, solid: Any) -> None:
        self.solid = solid
        self.vertices, self.triangles = arrays_of(solid)
        self.corners: Floats = self.vertices[self.triangles]
        self.normals, self.areas = normals_areas(self.vertices, self.triangles)
        self.surface = Surface(self.corners)
        self.frame = _frame(self.normals, self.areas)

    def ball(self, centre: Floats) -> Ball:
        """The largest ball about a point; radius 0 where the point is not inside."""
        inside = float(winding(centre[None], self.corners)[0]) > 0.5
        return (self.surface.nearest(centre)[0] if inside else 0.0), centre


def _frame(normals: Floats, areas: Floats) -> Floats:
    """Three axes (3, 3) square on each other: along the normal of most area, and along that of most area across it."""
    if not len(normals):
        return np.eye(3)
    first = normals[int(np.argmax(areas))]
    across = areas * np.linalg.norm(np.cross(normals, first), axis=1)
    second = normals[int(np.argmax(across))]
    second = second - (second @ first) * first
    if np.linalg.norm(second) < ALIKE or np.linalg.norm(first) < 0.5:
        return np.eye(3)
    second /= np.linalg.norm(second)
    return np.stack([first, second, np.cross(first, second)])


def _axes(frame: Floats) -> Floats:
    """The frame's three axes, then its six face and four space diagonals (13, 3): every direction is within 27 degrees
    of one of them."""
    x, y, z = frame
    more = [x + y, x - y, y + z, y - z, z + x, z - x, x + y + z, x + y - z, x - y + z, -x + y + z]
    return np.stack([x, y, z, *(v / np.linalg.norm(v) for v in more)])


def core(solid: Solid, width: float, full: bool = False) -> Any | None:
    """What of a solid keeps half the width (mm) of itself both ways along three axes, or thirteen; None where nothing.

    It holds the centre of every ball of that diameter; None proves that there is none.
    """
    left = solid.solid
    for axis in _axes(solid.frame)[: 13 if full else 3]:
        for step in (axis * (width / 2), axis * (-width / 2)):
            left = left ^ solid.solid.translate(tuple(float(c) for c in step))
            if left.is_empty():
                return None
    return left


def places(left: Any) -> list[Floats]:
    """Points of a core to look for balls at: the middle and some corners of each of its pieces."""
    out = []
    for piece in sorted(left.decompose(), key=lambda p: -abs(p.volume()))[:_PARTS]:
        vertices, _ = arrays_of(piece)
        if len(vertices):
            middle = vertices.mean(axis=0)
            out += [middle, *(0.5 * (middle + v) for v in vertices[:: max(1, len(vertices) // _CORNERS)])]
    return out


def widest(solid: Solid, least: float, width: float) -> tuple[list[Ball], float]:
    """Balls in the solid, widest first, and a diameter (mm) that no ball inside it exceeds.

    least: mm, diameter below which nobody asks; width: one that is known to be enough. Where no ball as wide as
    `least` is found, the diameter says whether there can be one.
    """
    balls = at_triangles(solid, width)
    at = max(least, GROWN * 2 * balls[0][0] if balls else 0.0)
    for _ in range(_ROUNDS):
        if at >= width:
            break
        left = core(solid, at)
        if left is None:
            break
        fresh = sorted((solid.ball(p) for p in places(left)), key=lambda b: -b[0])[:_CLIMBS]
        balls = sorted([*balls, *(_climbed(solid, b) for b in fresh if b[0] > 0.0)], key=lambda b: -b[0])
        wide = 2 * balls[0][0] if balls else 0.0
        if wide < at and core(solid, at, full=True) is None:
            break
        at = GROWN * wide if wide >= at else _SOUGHT * at
    else:
        at = width
    return balls, max(min(at, width), 2 * balls[0][0] if balls else 0.0)


def at_triangles(solid: Solid, width: float) -> list[Ball]:
    """Balls that touch a large triangle each, shrunk until they fit."""
    found = []
    for t in np.argsort(-solid.areas)[:_STARTS]:
        start, inward = solid.corners[t].mean(axis=0), -solid.normals[t]
        # Up to the far side of the piece every centre is inside it, and no ball inside is wider than the piece.
        radius = min(width, solid.surface.along_ray(start, inward, SKIN_MM)) / 2
        if radius <= SKIN_MM:
            continue
        for _ in range(_SHRINKS):
            gap, on = solid.surface.nearest(start + radius * inward)
            if gap >= radius * _FITS:
                break
            # The ball through `start` with this tangent that also passes through the nearer point.
            off = on - start
            lift = float(off @ inward)
            fresh = float(off @ off) / (2 * lift) if lift > NO_LENGTH else radius / 2
            radius = min(fresh, radius * _FITS)
        ball = solid.ball(start + radius * inward)
        if ball[0] > SKIN_MM:
            found.append(ball)
        if ball[0] >= _FITS * width / 2:  # none can be larger
            break
    return sorted(found, key=lambda b: -b[0])


def _climbed(solid: Solid, ball: Ball) -> Ball:
    """The widest ball found by small steps from one; each stays within the last ball, and so within the solid."""
    step = ball[0] / 2
    for _ in range(_HALVINGS):
        tries = [ball[1] + s * axis for axis in solid.frame for s in (step, -step)]
        best = max(((solid.surface.nearest(p)[0], p) for p in tries), key=lambda b: b[0])
        if best[0] > ball[0]:
            ball = best
        else:
            step /= 2
    return ball
