"""The outline to cut from a sheet so that something clears it by a wanted gap.

Owns the geometry: what of the obstacle lies beside, or within the gap over and under, the sheet is cut into layers;
each layer's silhouette along the sheet's normal is grown by what a sphere of the gap still reaches of the sheet at that
height. The cut is never too small: meshes are grown by their own error, arcs are circumscribed, and the outline is
checked to cover what must go. `excess` bounds how far its edge lies outside the least possible cut, corners rounded for
the tool aside. Leaves who the obstacle is to `cut_spec`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.templates.arcs import fitted
from elbowroom.model.templates.drawing import TemplateError
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.contour import Contour, flattened
from elbowroom.parts.vocabulary.pose import Pose, apply, inverse
from elbowroom.parts.vocabulary.tolerances import ALIKE

LAYERS = 16  # over and under the sheet, by equal steps of reach: the edge lies at most gap / 16 too far out for them
FIT_MM = 0.05  # mm: sides and arcs stray from the computed ring by at most this; half of ISO 2768-m's finest, 0.1
CHORDS_MM = FIT_MM / 50  # of arcs while they are compared with the ring: no part of what they may stray
QUADRANT = 16  # chords of a quarter circle where outlines are grown, around the circle, not in it
PAST = 1.0  # mm a notch runs past the sheet's edge, so that no wall of nothing is left; any length does
LEAST_MM2 = 1e-6  # areas below are rounding
BITE_MM2 = 1e-3  # what the gap does not need to be cut by more than this is not cut at all
SLIT = 0.01  # mm: corners sharper than the tool by less than this come of chords around circles, and are left


class Obstacle(NamedTuple):
    """A closed mesh in the coordinates the sheet stands in; bound: mm the true surface may lie from it."""

    name: str
    vertices: Floats
    triangles: NDArray[np.int32]
    bound: float = 0.0


@dataclass(frozen=True, slots=True)
class Sheet:
    """A flat body: it fills `outline` (shapely, in the pose's x and y) from z = 0 to `thickness` of its pose."""

    pose: Pose
    thickness: float
    outline: Any


@dataclass(frozen=True, slots=True)
class Cut:
    """One outline to cut, in the sheet's x and y; it runs past the edge where it is a notch.

    kind: a notch is open to an edge, a hole is not. area: mm2 that it takes from the sheet. web: mm of the narrowest
    material left between it and any other edge, hole or cut; None where there is none other.
    """

    contour: Contour
    kind: Literal["notch", "hole"]
    area: float
    web: float | None


@dataclass(frozen=True, slots=True)
class Notch:
    """Everything to be cut for one set of obstacles. excess: mm its edge may lie outside the least cut.

    fallen: mm2 of each piece that comes away with it, largest first. left: what remains of the sheet (shapely).
    """

    cuts: tuple[Cut, ...]
    excess: float
    fallen: tuple[float, ...]
    left: Any


def notch(sheet: Sheet, obstacles: Sequence[Obstacle], gap: float, tool: float = 0.0, *, alone: bool = True) -> Notch:
    """What to cut so that every obstacle clears the sheet by `gap` mm, with a tool of diameter `tool` mm.

    alone: whether the sheet is held by nothing but itself, so that what a cut parts from the rest of it falls; one with
    a bend at an edge goes on there. No inner corner of the cut is sharper than the tool. No cuts where everything is
    clear already. Raises TemplateError for a gap or tool that is none, an obstacle whose mesh is not closed, and where
    nothing of the sheet would be left.
    """
    import shapely

    if not (math.isfinite(gap) and gap >= 0) or not (math.isfinite(tool) and tool >= 0):
        raise TemplateError(f"gap {gap:g}, tool {tool:g}: expected lengths of 0 mm or more")
    bound = max((o.bound for o in obstacles), default=0.0)
    chords = (gap + bound + FIT_MM) * (1 / math.cos(math.pi / 4 / QUADRANT) - 1)
    excess = (gap + bound) / LAYERS + 2 * bound + 2 * FIT_MM + chords
    needed = reached(sheet, obstacles, gap, 0.0)
    if needed.intersection(sheet.outline).area <= BITE_MM2:
        return Notch((), excess, (), sheet.outline)
    within = _parts(reached(sheet, obstacles, gap, FIT_MM))
    surrounded = [shapely.Polygon(hole).intersection(sheet.outline).area for r in within for hole in r.interiors]
    cut = shapely.union_all([_relieved(r, tool / 2) for r in within])
    whole, parted = _with_what_falls(cut, sheet) if alone else (cut, ())
    fallen = tuple(sorted((float(a) for a in (*surrounded, *parted) if a > LEAST_MM2), reverse=True))
    room = sheet.outline.buffer(PAST, join_style="mitre")
    rings = [
        shapely.Polygon(p.exterior)
        for p in _parts(whole.intersection(room))
        if p.intersection(sheet.outline).area > BITE_MM2
    ]
    contours = [_drawn(ring, needed) for ring in rings]
    shapes = [shapely.Polygon(flattened(c, FIT_MM / 50)) for c in contours]
    left = max(_parts(sheet.outline.difference(shapely.union_all(shapes))), key=lambda p: float(p.area), default=None)
    if left is None or left.area < LEAST_MM2:
        raise TemplateError("clearing it by that gap leaves nothing of the sheet")
    cuts = tuple(
        Cut(c, _kind(shape, sheet.outline), float(shape.intersection(sheet.outline).area),
            _web(shape, sheet.outline, [s for s in shapes if s is not shape]))
        for c, shape in zip(contours, shapes, strict=True)
    )  # fmt: skip
    return Notch(cuts, excess, fallen, left)


def reached(sheet: Sheet, obstacles: Sequence[Obstacle], gap: float, more: float) -> Any:
    """What of the sheet's plane the obstacles reach within the gap, and `more` mm around it; a shapely shape."""
    import manifold3d as m3
    import shapely

    back = inverse(sheet.pose)
    out = []
    for o in obstacles:
        reach = gap + o.bound
        points = apply(back, o.vertices)
        lo, hi = -reach, sheet.thickness + reach
        x0, y0, x1, y1 = sheet.outline.buffer(reach + more, join_style="mitre").bounds
        room = np.array([[x0, y0, lo], [x1, y1, hi]])
        if (points.max(axis=0) <= room[0]).any() or (points.min(axis=0) >= room[1]).any():
            continue
        solid = m3.Manifold(m3.Mesh64(np.array(points), np.array(o.triangles, dtype=np.uint64)))
        if solid.status() != m3.Error.NoError or solid.is_empty():
            raise TemplateError(f"the shape of {o.name} is no closed surface: nothing can be cut to clear it")
        for i in range(3):  # what is far from the sheet takes no part, and all that follows goes the faster
            along = tuple(1.0 if k == i else 0.0 for k in range(3))
            solid = solid.trim_by_plane(along, float(room[0, i])).trim_by_plane(
                tuple(-c for c in along), -float(room[1, i])
            )
        for low, high, r in _layers(sheet.thickness, reach):
            layer = solid.trim_by_plane((0.0, 0.0, 1.0), low).trim_by_plane((0.0, 0.0, -1.0), -high)
            if layer.is_empty():
                continue
            out.append(_grown(_polygons(layer.project().to_polygons()), r + more))
    return shapely.union_all(out)


def _layers(thickness: float, reach: float) -> list[tuple[float, float, float]]:
    """Lower and upper height of each layer, mm, and how far a sphere of `reach` in it can reach along the sheet."""
    if reach <= 0:
        return [(0.0, thickness, 0.0)]
    heights = [math.sqrt(max(0.0, reach**2 - (reach * (1 - k / LAYERS)) ** 2)) for k in range(LAYERS + 1)]
    out = [(0.0, thickness, reach)]
    for k in range(LAYERS):
        r = reach * (1 - k / LAYERS)
        out.append((thickness + heights[k], thickness + heights[k + 1], r))
        out.append((-heights[k + 1], -heights[k], r))
    return out


def _polygons(rings: Sequence[Floats]) -> Any:
    """Rings as one shape: what an odd number of them surrounds."""
    import shapely

    out = shapely.Polygon()
    for ring in rings:
        if len(ring) >= 3:
            out = out.symmetric_difference(shapely.make_valid(shapely.Polygon(ring)))
    return out


def _grown(shape: Any, r: float) -> Any:
    """The shape grown by at least r: the chords of its rounded corners lie around the circle."""
    return shape.buffer(r / math.cos(math.pi / 4 / QUADRANT), quad_segs=QUADRANT) if r > 0 else shape


def _parts(shape: Any) -> list[Any]:
    return [g for g in getattr(shape, "geoms", [shape]) if g.geom_type == "Polygon" and g.area > LEAST_MM2]


def _relieved(region: Any, radius: float) -> Any:
    """The region with room for a round tool in every corner: nothing in it that a disc of that radius cannot reach.

    Where a disc does not get into a corner, one is laid over it; what is narrower than the disc is widened to it.
    """
    import shapely

    region = shapely.Polygon(region.exterior)  # what it surrounds falls out anyway
    if radius <= 0:
        return region
    core = region.buffer(SLIT / 2).buffer(-radius, quad_segs=QUADRANT)  # where the disc's middle may be
    reached = _grown(core, radius)
    more = []
    for bit in _parts(region.difference(reached)):
        if bit.buffer(-SLIT / 2).is_empty:
            continue
        ball = shapely.minimum_bounding_radius(bit)
        if ball > radius or core.is_empty:
            more.append(_swept(bit, radius))
            continue
        # Any disc holds the corner that holds the corner's own circle; the best lies as far inward as that allows.
        way = shapely.shortest_line(shapely.minimum_bounding_circle(bit).centroid, core)
        more.append(_grown(way.interpolate(min(radius - ball, way.length)), radius))
    return shapely.union_all([region, reached, *more])


def _swept(region: Any, radius: float) -> Any:
    """A small area around the region that a disc of that radius reaches everywhere, found by halving."""
    low, high = 0.0, radius
    for _ in range(10):
        inward = (low + high) / 2
        middle = region.buffer(-inward)
        fits = not middle.is_empty and _grown(middle, radius).covers(region)
        low, high = (inward, high) if fits else (low, inward)
    return _grown(region.buffer(-low), radius)


def _with_what_falls(cut: Any, sheet: Sheet) -> tuple[Any, tuple[float, ...]]:
    """The cut with every piece of the sheet that it parts from the largest, and their areas."""
    pieces = sorted(_parts(sheet.outline.difference(cut)), key=lambda p: -float(p.area))
    if len(pieces) < 2:
        return cut, ()
    main, loose = pieces[0], pieces[1:]
    whole = cut
    for piece in loose:
        whole = whole.union(piece.buffer(PAST, join_style="mitre").difference(main))
    return whole, tuple(float(p.area) for p in loose)


def _drawn(ring: Any, needed: Any) -> Contour:
    """The ring as sides and arcs; as the chords it has where those would leave any of what must go."""
    import shapely

    points = np.array(shapely.geometry.polygon.orient(ring).exterior.coords)[:-1]
    found = fitted(points, FIT_MM)
    drawn = shapely.Polygon(flattened(found, CHORDS_MM))
    must = needed.intersection(ring)
    if drawn.is_valid and must.difference(drawn.buffer(CHORDS_MM)).area <= LEAST_MM2:
        return tuple((round(x, 4), round(y, 4), round(b, 9)) for x, y, b in found)
    return tuple((float(x), float(y), 0.0) for x, y in points)


def _kind(shape: Any, outline: Any) -> Literal["notch", "hole"]:
    import shapely

    return "hole" if shapely.Polygon(outline.exterior).contains_properly(shape) else "notch"


def _web(shape: Any, outline: Any, others: Sequence[Any]) -> float | None:
    """Narrowest material between the cut and an edge it does not open, a hole or another cut, mm."""
    import shapely

    edge = shapely.get_coordinates(outline.exterior.simplify(ALIKE))
    straight = [shapely.LineString(edge[i : i + 2]) for i in range(len(edge) - 1)]
    rest = [side for side in straight if not side.intersects(shape)]
    rest += [hole for hole in map(shapely.Polygon, outline.interiors) if not hole.intersects(shape)]
    rest += list(others)
    return min((float(r.distance(shape)) for r in rest), default=None)
