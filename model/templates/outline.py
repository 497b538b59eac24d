"""The flat outline of a body seen along a direction, read from its exact solid.

Owns finding the flat face that looks at the viewer and turning its edges into straight sides, arcs and circles; edges
of any other kind become chords no farther than `FLATTEN_MM` from them. What lies behind the face is looked at only to
tell a through hole from a blind one. The view is a pose: its z points at the viewer, its x to the viewer's right, so
that what is drawn is what is seen, never its mirror image.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from elbowroom.model.templates.drawing import TemplateError
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.contour import Contour, Point, flattened
from elbowroom.parts.vocabulary.pose import Pose, apply, inverse, turn
from elbowroom.parts.vocabulary.tolerances import ALIKE, ROUNDING, TINY

FLATTEN_MM = 0.01  # chord error of edges that are neither straight nor round: a tenth of a laser's +-0.1 (V)
LOOKS_RAD = 1e-6  # a face whose normal is nearer to the view's than this looks at the viewer
SAME_PLANE_MM = 1e-4  # faces nearer in height than this lie in one plane: the kernel keeps vertices to 1e-7
KERNEL_TOUCH_MM = 1e-7  # the kernel's own confusion tolerance: how near a ray passes a face and meets it
ROUND_MM = 1e-6  # arcs whose centres and radii agree to this are one circle
SAMPLES = 8  # points of a chord at which its error is measured


@dataclass(frozen=True, slots=True)
class Opening:
    """An opening of a face. circle: centre and diameter where it is round. depth: mm where it ends; None: through."""

    contour: Contour
    circle: tuple[float, float, float] | None
    depth: float | None


@dataclass(frozen=True, slots=True)
class Region:
    """One connected flat area: its edge, whether that is a circle, and its openings."""

    contour: Contour
    circle: tuple[float, float, float] | None
    openings: tuple[Opening, ...]
    height: float  # mm of the face over the view's origin, along its z


def regions(solid: Any, view: Pose, at_view: bool = False) -> tuple[Region, ...]:
    """The areas of the body's flat face that looks at the viewer, in the view's x and y.

    The face is the one at the view's own height where `at_view`, else the largest plane (of equal ones the nearest to
    the viewer). solid: a cadquery or OCCT shape. Raises TemplateError where no flat face looks that way.
    """
    shape = getattr(solid, "wrapped", solid)
    planes = planes_of(shape, view)
    if at_view:
        planes = {h: faces for h, faces in planes.items() if abs(h) <= SAME_PLANE_MM}
    if not planes:
        said = "at that height " if at_view else ""
        raise TemplateError(f"no flat face {said}looks along {np.round(view[:3, 2], 3).tolist()}")
    height = max(planes, key=lambda h: (round(sum(a for _, a in planes[h]), 6), h))
    if len(planes[height]) > 1:
        merged = planes_of(_unified(shape), view)
        height = min(merged, key=lambda h: abs(h - height))
        planes = merged
    found = [wires_of(face, view) for face, _ in planes[height]]
    return tuple(
        Region(outer, _circle(outer), tuple(_opening(c, found, shape, view, height) for c in inner), height)
        for outer, inner in found
    )


def planes_of(shape: Any, view: Pose) -> dict[float, list[tuple[Any, float]]]:
    """Flat faces that look at the viewer, with their areas, by height in the view."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.BRepGProp import BRepGProp
    from OCP.GeomAbs import GeomAbs_SurfaceType
    from OCP.GProp import GProp_GProps
    from OCP.TopAbs import TopAbs_Orientation, TopAbs_ShapeEnum
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    toward = view[:3, 2]
    out: dict[float, list[tuple[Any, float]]] = {}
    explorer = TopExp_Explorer(shape, TopAbs_ShapeEnum.TopAbs_FACE)
    while explorer.More():
        face = TopoDS.Face_s(explorer.Current())
        explorer.Next()
        surface = BRepAdaptor_Surface(face)
        if surface.GetType() != GeomAbs_SurfaceType.GeomAbs_Plane:
            continue
        plane = surface.Plane()
        normal = plane.Axis().Direction()
        sign = 1.0 if plane.Position().Direct() else -1.0
        if face.Orientation() == TopAbs_Orientation.TopAbs_REVERSED:
            sign = -sign
        n = sign * np.array([normal.X(), normal.Y(), normal.Z()])
        if float(np.linalg.norm(n - toward)) > LOOKS_RAD:
            continue
        p = plane.Location()
        h = float((np.array([p.X(), p.Y(), p.Z()]) - view[:3, 3]) @ toward)
        size = GProp_GProps()
        BRepGProp.SurfaceProperties_s(face, size)
        same = next((k for k in out if abs(k - h) <= SAME_PLANE_MM), h)
        out.setdefault(same, []).append((face, float(size.Mass())))
    return out


def _unified(shape: Any) -> Any:
    """The shape with neighbouring faces of one plane joined, where a boolean operation left them apart."""
    from OCP.ShapeUpgrade import ShapeUpgrade_UnifySameDomain

    joiner = ShapeUpgrade_UnifySameDomain(shape, True, True, False)
    joiner.Build()
    return joiner.Shape()


def wires_of(face: Any, view: Pose) -> tuple[Contour, list[Contour]]:
    """The outer outline of a flat face and those of its openings, in the view's x and y."""
    from OCP.BRepTools import BRepTools
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    outer = BRepTools.OuterWire_s(face)
    inner = []
    explorer = TopExp_Explorer(face, TopAbs_ShapeEnum.TopAbs_WIRE)
    while explorer.More():
        wire = TopoDS.Wire_s(explorer.Current())
        explorer.Next()
        if not wire.IsSame(outer):
            inner.append(_contour(wire, face, view))
    return _contour(outer, face, view), inner


def _contour(wire: Any, face: Any, view: Pose) -> Contour:
    from OCP.BRepTools import BRepTools_WireExplorer

    back = inverse(view)
    out: list[tuple[float, float, float]] = []
    explorer = BRepTools_WireExplorer(wire, face)
    while explorer.More():
        out += _edge(explorer.Current(), back)
        explorer.Next()
    if len(out) < 2:
        raise TemplateError("the kernel gave an edge of the face that encloses nothing")
    # The kernel's trigonometry leaves 1e-15 about whole numbers; a millionth of its own tolerance changes nothing.
    return tuple((round(x, 10) + 0.0, round(y, 10) + 0.0, round(b, 12) + 0.0) for x, y, b in out)


def _edge(edge: Any, back: Pose) -> list[tuple[float, float, float]]:
    """Vertices from the start of an edge up to, without, its end."""
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.GeomAbs import GeomAbs_CurveType
    from OCP.TopAbs import TopAbs_Orientation

    curve = BRepAdaptor_Curve(edge)
    first, last = curve.FirstParameter(), curve.LastParameter()
    reversed_ = edge.Orientation() == TopAbs_Orientation.TopAbs_REVERSED
    if reversed_:
        first, last = last, first

    def at(t: float) -> Point:
        p = curve.Value(t)
        x, y, _ = apply(back, (p.X(), p.Y(), p.Z()))
        return (float(x), float(y))

    if curve.GetType() == GeomAbs_CurveType.GeomAbs_Line:
        return [(*at(first), 0.0)]
    if curve.GetType() == GeomAbs_CurveType.GeomAbs_Circle:
        axis = curve.Circle().Axis().Direction()
        up = math.copysign(1.0, float(turn(back, (axis.X(), axis.Y(), axis.Z()))[2]))
        # No arc of more than a half: readers differ there.
        parts = 2 if abs(last - first) > math.pi * (1 + ROUNDING) else 1
        step = (last - first) / parts
        return [(*at(first + k * step), math.tan(up * step / 4)) for k in range(parts)]
    return [(*p, 0.0) for p in _chords(at, first, last)]


def _chords(at: Any, first: float, last: float) -> list[Point]:
    """Points along a curve, its end left out, whose chords stay within FLATTEN_MM of it; twice as many till they do."""
    n = 4
    while True:
        points = np.array([at(first + (last - first) * k / n) for k in range(n + 1)])
        worst = 0.0
        for i in range(n):
            a, d = points[i], points[i + 1] - points[i]
            between = np.array(
                [at(first + (last - first) * (i + k / SAMPLES) / n) for k in range(1, SAMPLES)], dtype=float
            )
            off = between - a
            span = max(float(d @ d), TINY)
            off -= np.clip(off @ d / span, 0, 1)[:, None] * d
            worst = max(worst, float(np.linalg.norm(off, axis=1).max()))
        # Samples miss at most the sixteenth of a chord beside its highest point, where an arc has lost 1.6 % of it.
        if worst * 1.1 <= FLATTEN_MM or n >= 4096:
            return [(float(x), float(y)) for x, y in points[:-1]]
        n *= 2


def _circle(contour: Contour) -> tuple[float, float, float] | None:
    """Centre and diameter where all sides are arcs of one circle."""
    from elbowroom.parts.vocabulary.contour import arc_of, sides

    if any(abs(v[2]) < ALIKE for v in contour):
        return None
    arcs = [arc_of(a, b, a[2]) for a, b in sides(contour)]
    one = arcs[0]
    same = all(
        math.dist(a.centre, one.centre) < ROUND_MM and abs(a.radius - one.radius) < ROUND_MM and a.sweep * one.sweep > 0
        for a in arcs
    )
    if not same or abs(abs(sum(a.sweep for a in arcs)) - 2 * math.pi) > ALIKE:
        return None
    return (round(one.centre[0], 10) + 0.0, round(one.centre[1], 10) + 0.0, round(2 * one.radius, 10))


def _opening(
    contour: Contour, found: list[tuple[Contour, list[Contour]]], shape: Any, view: Pose, height: float
) -> Opening:
    round_ = _circle(contour)
    if round_ is not None and len(found) == 1:
        point: Point = round_[:2]
    else:
        import shapely

        hole = shapely.Polygon(flattened(contour, FLATTEN_MM))
        others = [shapely.Polygon(flattened(c, FLATTEN_MM)) for c, _ in found]
        free = hole.difference(shapely.union_all([o for o in others if not o.covers(hole)]))
        point = (free if not free.is_empty else hole).representative_point().coords[0]
    return Opening(contour, round_, depth_of(shape, apply(view, (*point, height)), view[:3, 2]))


def depth_of(shape: Any, start: Floats, toward: Floats) -> float | None:
    """How far a ray from the face's plane, away from the viewer, runs before it meets the body; None: never."""
    from OCP.gp import gp_Dir, gp_Lin, gp_Pnt
    from OCP.IntCurvesFace import IntCurvesFace_ShapeIntersector

    ray = IntCurvesFace_ShapeIntersector()
    ray.Load(shape, KERNEL_TOUCH_MM)
    ray.Perform(gp_Lin(gp_Pnt(*map(float, start)), gp_Dir(*(-float(c) for c in toward))), SAME_PLANE_MM, 1e6)
    if not ray.IsDone() or ray.NbPnt() == 0:
        return None
    return min(float(ray.WParameter(i)) for i in range(1, ray.NbPnt() + 1))
