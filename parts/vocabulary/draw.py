"""Drawing helpers: the few solid operations the part families use, on the OCCT kernel through CadQuery.

Owns how a shape is built: outlines with holes extruded in one go (a perforated sheet is one face with inner wires,
which is ten times faster than cutting), boxes, cylinders, turned profiles, booleans that must give one valid solid,
and moves by a pose. Part families import this module inside `solids()`, so that reading a build never loads the
kernel.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import cadquery as cq
from cadquery import Shape, Solid, Vector, Wire

from elbowroom.parts.vocabulary.pose import Pose
from elbowroom.parts.vocabulary.tolerances import ROUNDING

Point2 = tuple[float, float]
LEAST_PIECE = 1e-3  # mm3: smaller pieces that a cut leaves are rounding


class DrawError(RuntimeError):
    """A shape could not be drawn as one valid solid with the dimensions given."""


def location(p: Pose) -> cq.Location:
    """The kernel's form of a pose."""
    from OCP.gp import gp_Trsf

    t = gp_Trsf()
    t.SetValues(*(float(v) for v in p[:3].ravel()))
    return cq.Location(t)


def moved(shape: Shape, p: Pose) -> Shape:
    """The shape placed by a pose; geometry is shared, not copied."""
    return shape.moved(location(p))


def baked(shape: Shape, p: Pose) -> Shape:
    """The shape placed by a pose with the move written into its geometry: bodies of a part carry no location."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_Transform

    return Shape.cast(BRepBuilderAPI_Transform(shape.wrapped, location(p).wrapped.Transformation(), True).Shape())


def box(lo: Sequence[float], hi: Sequence[float]) -> Solid:
    """An axis-aligned box from corner to corner."""
    return Solid.makeBox(hi[0] - lo[0], hi[1] - lo[1], hi[2] - lo[2], Vector(*lo))


def cylinder(
    diameter: float, height: float, at: Sequence[float] = (0, 0, 0), axis: Sequence[float] = (0, 0, 1)
) -> Solid:
    """A cylinder from the centre of its first face along `axis`."""
    return Solid.makeCylinder(diameter / 2, height, Vector(*at), Vector(*axis))


def cone(
    d0: float, d1: float, height: float, at: Sequence[float] = (0, 0, 0), axis: Sequence[float] = (0, 0, 1)
) -> Solid:
    """A truncated cone: diameter d0 at `at`, d1 at the far end."""
    return Solid.makeCone(d0 / 2, d1 / 2, height, Vector(*at), Vector(*axis))


def polygon(points: Iterable[Point2], z: float = 0.0) -> Wire:
    """A closed outline of straight edges in the plane at height z."""
    return Wire.makePolygon([Vector(x, y, z) for x, y in points], close=True)


def outline(runs: Iterable[Sequence[Point2]], z: float = 0.0) -> Wire:
    """A closed outline of straight runs (two points) and arcs (three points), each starting where the last one ends."""
    edges = []
    for run in runs:
        points = [Vector(x, y, z) for x, y in run]
        edges.append(cq.Edge.makeLine(*points) if len(points) == 2 else cq.Edge.makeThreePointArc(*points))
    return Wire.assembleEdges(edges)


def rectangle(x0: float, y0: float, x1: float, y1: float, radius: float = 0.0, z: float = 0.0) -> Wire:
    """A rectangle outline, its corners rounded where `radius` > 0."""
    if radius <= 0:
        return polygon([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], z)
    r = min(radius, (x1 - x0) / 2, (y1 - y0) / 2)
    k = r * (1 - math.sqrt(0.5))
    edges = []

    def line(a: Point2, b: Point2) -> None:
        if math.dist(a, b) > ROUNDING:
            edges.append(cq.Edge.makeLine(Vector(*a, z), Vector(*b, z)))

    def arc(a: Point2, m: Point2, b: Point2) -> None:
        edges.append(cq.Edge.makeThreePointArc(Vector(*a, z), Vector(*m, z), Vector(*b, z)))

    line((x0 + r, y0), (x1 - r, y0))
    arc((x1 - r, y0), (x1 - k, y0 + k), (x1, y0 + r))
    line((x1, y0 + r), (x1, y1 - r))
    arc((x1, y1 - r), (x1 - k, y1 - k), (x1 - r, y1))
    line((x1 - r, y1), (x0 + r, y1))
    arc((x0 + r, y1), (x0 + k, y1 - k), (x0, y1 - r))
    line((x0, y1 - r), (x0, y0 + r))
    arc((x0, y0 + r), (x0 + k, y0 + k), (x0 + r, y0))
    return Wire.assembleEdges(edges)


def circle(x: float, y: float, diameter: float, z: float = 0.0) -> Wire:
    """A circle outline."""
    return Wire.makeCircle(diameter / 2, Vector(x, y, z), Vector(0, 0, 1))


def slot(x: float, y: float, width: float, length: float, angle: float = 0.0, z: float = 0.0) -> Wire:
    """A slot outline: `length` between the centres of its round ends, along `angle` degrees from x."""
    if length <= 0:
        return circle(x, y, width, z)
    c, s, r, h = math.cos(math.radians(angle)), math.sin(math.radians(angle)), width / 2, length / 2

    def at(u: float, v: float) -> Vector:
        return Vector(x + c * u - s * v, y + s * u + c * v, z)

    return Wire.assembleEdges(
        [
            cq.Edge.makeLine(at(-h, -r), at(h, -r)),
            cq.Edge.makeThreePointArc(at(h, -r), at(h + r, 0), at(h, r)),
            cq.Edge.makeLine(at(h, r), at(-h, r)),
            cq.Edge.makeThreePointArc(at(-h, r), at(-h - r, 0), at(-h, -r)),
        ]
    )


def bounded(points: Sequence[Sequence[float]], arcs: dict[int, Sequence[float]]) -> Wire:
    """A closed outline through points in space: straight from each to the next, but by an arc through `arcs[i]`."""
    edges = []
    for i, (a, b) in enumerate(zip(points, [*points[1:], points[0]], strict=True)):
        through = arcs.get(i)
        if through is None:
            edges.append(cq.Edge.makeLine(Vector(*a), Vector(*b)))
        else:
            edges.append(cq.Edge.makeThreePointArc(Vector(*a), Vector(*through), Vector(*b)))
    return Wire.assembleEdges(edges)


def slab(outline: Wire, inner: Iterable[Wire] = (), height: float = 1.0) -> Solid:
    """An outline with holes, extruded by `height` along +z (along -z where negative).

    The inner outlines must lie inside the outer one and not meet each other.
    """
    return one(Solid.extrudeLinear(outline, list(inner), Vector(0, 0, height)))


def prism(outline: Wire, along: Sequence[float]) -> Solid:
    """A flat outline anywhere in space, extruded by the vector `along`."""
    return one(Solid.extrudeLinear(outline, [], Vector(*along)))


def turned(profile: Iterable[Point2]) -> Solid:
    """A solid of revolution about z from a closed profile of (radius, z) points."""
    wire = Wire.makePolygon([Vector(r, 0, z) for r, z in profile], close=True)
    return one(Solid.revolve(wire, [], 360.0, Vector(0, 0, 0), Vector(0, 0, 1)))


def pipe(path: Wire, diameter: float) -> Solid:
    """A round rod of `diameter` swept along a smooth path (straights joined to arcs by tangents)."""
    start, tangent = path.startPoint(), path.tangentAt(0)
    section = Wire.makeCircle(diameter / 2, start, tangent)
    return one(Solid.sweep(section, [], path, True, False))


def smooth_path(lines: Iterable[Sequence[Sequence[float]]]) -> Wire:
    """A path from pieces in order: two points make a straight, three an arc from the first through the second."""
    edges = []
    for p in lines:
        v = [Vector(*c) for c in p]
        edges.append(cq.Edge.makeLine(*v) if len(v) == 2 else cq.Edge.makeThreePointArc(*v))
    return Wire.assembleEdges(edges)


def hose(path: Wire, outer: float, inner: float) -> Solid:
    """A round tube of two diameters swept along a smooth path."""
    start, tangent = path.startPoint(), path.tangentAt(0)
    section = [Wire.makeCircle(d / 2, start, tangent) for d in (outer, inner)]
    return one(Solid.sweep(section[0], section[1:], path, True, False))


def fuse(first: Shape, *others: Shape) -> Solid:
    """The union, which must come out as one solid."""
    return one(first.fuse(*others).clean() if others else first)


def cut(first: Shape, *tools: Shape) -> Solid:
    """What is left of `first` without the tools, which must come out as one solid."""
    return one(first.cut(*tools) if tools else first)


def largest_left(first: Solid, *tools: Shape) -> Solid:
    """What is left of `first` without the tools: of several pieces the largest, and `first` itself where none is."""
    if not tools:
        return first
    union = tools[0].fuse(*tools[1:]).clean() if len(tools) > 1 else tools[0]
    pieces = [s for s in first.cut(union).Solids() if s.Volume() > LEAST_PIECE]
    return one(max(pieces, key=lambda s: float(s.Volume()))) if pieces else first


def one(shape: Shape) -> Solid:
    """The single valid solid inside `shape`; raises DrawError where there is none, several, or an invalid one."""
    solids = shape.Solids()
    if len(solids) != 1:
        raise DrawError(f"it falls into {len(solids)} pieces" if solids else "nothing is left of it")
    if not solids[0].isValid() or solids[0].Volume() <= 0:
        raise DrawError("the drawn solid is not valid")
    return solids[0]
