"""What is cut through a sheet besides its holes: closed outlines, which may run over an edge and so make a notch.

Owns how a build states them, and what is left of a rectangular sheet: one piece, with enough of it about every bore.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import lru_cache
from typing import Annotated, Any

from pydantic import Field

from elbowroom.parts.vocabulary.contour import Contour, Point, area, flattened, without_steps
from elbowroom.parts.vocabulary.measure import Deg, Mm
from elbowroom.parts.vocabulary.tolerances import ROUNDING

MOST_POINTS = 2000  # of one outline: a bound on the work, beyond any outline that is drawn by hand or computed here
CHORD = 1e-4  # mm: of arcs where what is left is worked out; extents must be right to this
LEAST = 1e-6  # mm2: areas below are rounding where outlines meet

Corner = tuple[Mm, Mm] | tuple[Mm, Mm, Deg]
Cutout = Annotated[
    tuple[Corner, ...],
    Field(
        min_length=2,
        max_length=MOST_POINTS,
        description="corners [x, y], in order; [x, y, angle] where an arc of that angle leads to the next, "
        "degrees, positive where it turns left",
    ),
]


def contour_of(cutout: Cutout) -> Contour:
    """The outline a build's corners mean; ValueError where an arc turns by a whole circle or more."""
    out = []
    for c in cutout:
        angle = float(c[2]) if len(c) == 3 else 0.0
        if abs(angle) >= 360:
            raise ValueError(
                f"an arc at ({c[0]:g}, {c[1]:g}) turns by {angle:g} degrees; at most a little less than 360"
            )
        out.append((float(c[0]), float(c[1]), math.tan(math.radians(angle) / 4)))
    return without_steps(tuple(out))


def cutout_of(contour: Contour) -> Cutout:
    """The corners of an outline as a build states them."""
    return tuple(
        (Mm(x), Mm(y), Deg(math.degrees(4 * math.atan(bulge)))) if bulge else (Mm(x), Mm(y)) for x, y, bulge in contour
    )


def remaining(length: float, width: float, contours: tuple[Contour, ...]) -> Any:
    """What is left of a sheet about the origin, as a shapely polygon; ValueError where that is not one piece."""
    return _remaining(float(length), float(width), contours)


@lru_cache(maxsize=256)
def _remaining(length: float, width: float, contours: tuple[Contour, ...]) -> Any:
    import shapely

    whole = shapely.box(-length / 2, -width / 2, length / 2, width / 2)
    cut = []
    for i, contour in enumerate(contours, 1):
        if len(contour) < 3 and not all(abs(v[2]) > ROUNDING for v in contour):
            raise ValueError(f"cutout {i} has {len(contour)} corners; an outline without arcs needs at least 3")
        polygon = shapely.Polygon(flattened(contour, CHORD))
        if not polygon.is_valid or abs(area(contour)) < LEAST:
            raise ValueError(f"cutout {i} crosses itself or encloses nothing: {shapely.is_valid_reason(polygon)}")
        if polygon.intersection(whole).area < LEAST:
            x, y = polygon.centroid.coords[0]
            raise ValueError(f"cutout {i}, about ({x:.1f}, {y:.1f}), lies outside the sheet of {length:g} x {width:g}")
        cut.append(polygon)
    left = shapely.difference(whole, shapely.union_all(cut))
    pieces = sorted((p for p in getattr(left, "geoms", [left]) if p.area > LEAST), key=lambda p: -float(p.area))
    if not pieces:
        raise ValueError("the cutouts leave nothing of the sheet")
    if len(pieces) > 1:
        sizes = ", ".join(f"{p.area:.0f}" for p in pieces[:4])
        raise ValueError(f"the cutouts part the sheet into {len(pieces)} pieces ({sizes} mm2); a sheet is one piece")
    return pieces[0]


def short_of(left: Any, size: Point, ends: Iterable[Point], radius: float) -> float:
    """mm by which a bore of that radius comes too near what is cut from a sheet of that size; 0 where it is sound.

    ends: where the bore's axis, or a slot's two, start and end, seen along the sheet's normal. left: see `remaining`.
    """
    import shapely

    cut = shapely.difference(shapely.box(-size[0] / 2, -size[1] / 2, size[0] / 2, size[1] / 2), left)
    away = shapely.distance(shapely.MultiPoint(list(ends)).convex_hull, cut)
    return max(0.0, radius - float(away)) if not cut.is_empty else 0.0
