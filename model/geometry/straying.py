"""How far the true faces and edges of a solid stray from their triangles.

Owns the bound kept with every mesh that is not flat or plainly round: on the whole of each face, not at samples of it,
wherever control points or a formula allow. Needs the exact kernel. Bounds of splines are `geometry.bending`'s.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
from OCP.GeomAbs import (
    GeomAbs_BezierCurve,
    GeomAbs_BezierSurface,
    GeomAbs_BSplineCurve,
    GeomAbs_BSplineSurface,
    GeomAbs_Line,
    GeomAbs_Sphere,
    GeomAbs_SurfaceOfExtrusion,
    GeomAbs_Torus,
)
from OCP.GeomConvert import GeomConvert
from OCP.TopAbs import TopAbs_EDGE
from OCP.TopExp import TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS

from elbowroom.model.geometry.bending import Spline, curve_spline, surface_spline
from elbowroom.model.geometry.meshes import Surface, normals_areas
from elbowroom.model.tolerances import CHORD_SAFETY
from elbowroom.parts.vocabulary.arrays import Floats

if TYPE_CHECKING:
    from OCP.TopoDS import TopoDS_Face


NO_CHORD_MM2 = 1e-30  # square of a chord's length: one under 1e-15 mm is a point, and no divisor


def xyz(p: Any) -> tuple[float, float, float]:
    return (p.X(), p.Y(), p.Z())


def strayed(surface: BRepAdaptor_Surface, mesh: Any, nodes: Floats, tris: NDArray[np.int32]) -> float:
    """Bound on the distance between mesh and surface, mm.

    Of a sphere it is exact. Of free-form faces it holds over the whole of each triangle, by their control points. Of a
    torus, by its own formula, and of what else there is (cylinders cut slantwise, revolved splines), by equal
    parameters, it is sampled at the triangles' centres and mid-sides, and widened: over so small a part such a
    surface is as good as quadratic, and a quadratic that vanishes at the corners is nowhere more than 4/3 of its
    greatest at the mid-sides.
    """
    corners = nodes[tris]
    weights = np.array([[1, 1, 1], [1.5, 1.5, 0], [0, 1.5, 1.5], [1.5, 0, 1.5]]) / 3.0
    on_mesh = np.einsum("wk,tkc->twc", weights, corners).reshape(-1, 3)
    kind = surface.GetType()
    if kind == GeomAbs_Sphere:
        sphere = surface.Sphere()
        return float(sphere.Radius()) - Surface(corners).nearest(np.array(xyz(sphere.Location())))[0]
    if kind == GeomAbs_Torus:
        torus = surface.Torus()
        off = on_mesh - xyz(torus.Axis().Location())
        height = off @ np.array(xyz(torus.Axis().Direction()))
        out = np.sqrt(np.maximum(np.einsum("ij,ij->i", off, off) - height**2, 0.0))
        return CHORD_SAFETY * float(np.abs(np.hypot(out - torus.MajorRadius(), height) - torus.MinorRadius()).max())
    if not mesh.HasUVNodes():
        return float("inf")
    uv = np.array([[p.X(), p.Y()] for p in (mesh.UVNode(i) for i in range(1, mesh.NbNodes() + 1))])
    boxes = uv[tris].min(axis=1), uv[tris].max(axis=1)
    normals, _ = normals_areas(nodes, tris)
    bent = _bent(surface, *boxes, normals)
    if bent is not None:
        at = np.array([xyz(surface.Value(float(u), float(v))) for u, v in uv])
        off = np.linalg.norm(at - nodes, axis=1)  # nodes on an edge lie on the edge's own curve
        whole, out = bent
        # A point that strays along the triangles only is still on the mesh, but for the angle between neighbours.
        over = np.minimum(whole, out + whole * _turned(tris, normals))
        return float((over + off[tris].max(axis=1)).max(initial=0.0))
    on_uv = np.einsum("wk,tkc->twc", weights, uv[tris]).reshape(-1, 2)
    true = np.array([xyz(surface.Value(float(u), float(v))) for u, v in on_uv])
    return CHORD_SAFETY * float(np.linalg.norm(true - on_mesh, axis=1).max())


def _turned(tris: NDArray[np.int32], normals: Floats) -> float:
    """Twice the sine of the greatest angle between neighbouring triangles of a face: one step to a neighbour and on."""
    start = tris.astype(np.int64)
    ends = np.sort(np.stack([start, np.roll(start, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    order = np.lexsort(ends.T)
    same = (np.diff(ends[order], axis=0) == 0).all(axis=1)
    one, other = order[:-1][same] // 3, order[1:][same] // 3
    return min(2 * float(np.linalg.norm(np.cross(normals[one], normals[other]), axis=1).max(initial=0.0)), 1.0)


def _bent(surface: BRepAdaptor_Surface, lo: Floats, hi: Floats, normals: Floats) -> tuple[Floats, Floats] | None:
    """Bounds (k,), mm, on how far the surface strays over parameter boxes (k, 2), in all and along the normals; None
    where no formula is at hand."""
    kind = surface.GetType()
    if kind == GeomAbs_BSplineSurface:
        return surface_spline(surface.BSpline()).strays(lo, hi, normals)
    if kind == GeomAbs_BezierSurface:
        return surface_spline(GeomConvert.SurfaceToBSplineSurface_s(surface.Bezier())).strays(lo, hi, normals)
    if kind == GeomAbs_SurfaceOfExtrusion:
        curve = _curve_spline(surface.BasisCurve())
        if curve is not None:
            ends = np.zeros_like(lo[:, :1])
            return curve.strays(np.hstack([lo[:, :1], ends]), np.hstack([hi[:, :1], ends]), normals)
    return None


def _curve_spline(curve: Any) -> Spline | None:
    if curve.GetType() == GeomAbs_BSplineCurve:
        return curve_spline(GeomConvert.CurveToBSplineCurve_s(curve.BSpline()))  # a copy
    if curve.GetType() == GeomAbs_BezierCurve:
        return curve_spline(GeomConvert.CurveToBSplineCurve_s(curve.Bezier()))
    return None


def edges_of(face: TopoDS_Face) -> Iterator[Any]:
    """The edges of a face, but for those that are a point."""
    explorer = TopExp_Explorer(face, TopAbs_EDGE)
    while explorer.More():
        edge = TopoDS.Edge_s(explorer.Current())
        explorer.Next()
        if not BRep_Tool.Degenerated_s(edge):
            yield edge


def edges_stray(face: TopoDS_Face, mesh: Any, place: TopLoc_Location) -> float:
    """Bound on the distance between the face's curved edges and their chords, mm: by control points, else sampled at
    mid-chord and widened."""
    worst = 0.0
    for edge in edges_of(face):
        chords = BRep_Tool.PolygonOnTriangulation_s(edge, mesh, place)
        curve = BRepAdaptor_Curve(edge)
        if chords is None or not chords.HasParameters() or curve.GetType() == GeomAbs_Line:
            continue
        t = np.array([chords.Parameter(i) for i in range(1, chords.NbNodes() + 1)])
        spline = _curve_spline(curve)
        if spline is not None:
            worst = max(worst, spline.off_chords(t))
            continue
        ends = np.array([xyz(curve.Value(float(s))) for s in t])
        middle = np.array([xyz(curve.Value(float(s))) for s in (t[1:] + t[:-1]) / 2])
        along = ends[1:] - ends[:-1]
        off = middle - ends[:-1]
        length2 = np.maximum(np.einsum("ij,ij->i", along, along), NO_CHORD_MM2)
        off -= along * np.clip(np.einsum("ij,ij->i", off, along) / length2, 0, 1)[:, None]
        worst = max(worst, CHORD_SAFETY * float(np.linalg.norm(off, axis=1).max(initial=0.0)))
    return worst
