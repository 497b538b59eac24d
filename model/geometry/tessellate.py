"""From one exact solid to one closed mesh whose error is known.

Owns triangulating a B-rep solid, welding its faces into one surface, noting on which surface each triangle lies, and
bounding how far the true surface strays. Needs the exact kernel, so it is loaded only where something must be drawn.
The rows of `surfaces` are written here and read by `geometry.enclosure`, which describes them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepGProp import BRepGProp
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.BRepTools import BRepTools
from OCP.GeomAbs import (
    GeomAbs_Circle,
    GeomAbs_Cone,
    GeomAbs_Cylinder,
    GeomAbs_Line,
    GeomAbs_Plane,
    GeomAbs_Sphere,
    GeomAbs_Torus,
)
from OCP.GProp import GProp_GProps
from OCP.IMeshTools import IMeshTools_MeshAlgoType, IMeshTools_Parameters
from OCP.TopAbs import TopAbs_FACE, TopAbs_REVERSED, TopAbs_SOLID
from OCP.TopExp import TopExp_Explorer
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS

from elbowroom.model.geometry.enclosure import CURVED, FLAT, ROUND, SURFACE_COLUMNS, round_sagitta
from elbowroom.model.geometry.meshes import fault_of, mesh_volume, welded
from elbowroom.model.geometry.scene import Mesh
from elbowroom.model.geometry.straying import edges_of, edges_stray, strayed, xyz
from elbowroom.model.tolerances import ANGLE_RAD, CHORD_MM, CHORD_SAFETY
from elbowroom.parts.vocabulary.arrays import Floats

if TYPE_CHECKING:
    from OCP.TopoDS import TopoDS_Face, TopoDS_Shape

_TRIES = 4  # each doubles the fineness asked for
# Where a mesh does not close: other fineness, and the kernel's other algorithm, which fail on other shapes.
_OTHER_WAYS = ((1.0, True), (1.37, False), (2.0, False), (2.0, True), (4.0, False))
_CROWDED = (
    300  # outlines of one face above which the kernel's other algorithm is asked: ten times faster there (measured)
)


def tessellate(solid: TopoDS_Shape, finer: float = 1.0) -> Mesh:
    """The solid's mesh at the engine's chord and angle, both finer by `finer` (the angle by its root).

    Where the kernel misses the chord by more than the usual, as it does on small spheres, it is asked for a finer one.
    """
    asked = finer
    for _ in range(_TRIES):
        mesh = _meshed(solid, asked)
        if mesh.bound <= CHORD_SAFETY * CHORD_MM / finer:
            break
        asked *= 2.0
    if mesh.fault is not None and BRepCheck_Analyzer(solid).IsValid() and solid.ShapeType() == TopAbs_SOLID:
        for more, other in _OTHER_WAYS:
            found = _meshed(solid, finer * more, other)
            if found.fault is None and found.bound <= CHORD_SAFETY * CHORD_MM / finer:
                return found
    return mesh


def _crowded(solid: TopoDS_Shape) -> bool:
    explorer = TopExp_Explorer(solid, TopAbs_FACE)
    while explorer.More():
        if explorer.Current().NbChildren() > _CROWDED:
            return True
        explorer.Next()
    return False


def _meshed(solid: TopoDS_Shape, finer: float, other: bool = False) -> Mesh:
    BRepTools.Clean_s(solid)  # meshes stick to shapes, and a coarse one would be taken for a fine one
    asked = IMeshTools_Parameters()
    asked.Deflection, asked.Angle = CHORD_MM / finer, ANGLE_RAD / finer**0.5
    if other or _crowded(solid):
        asked.MeshAlgo = IMeshTools_MeshAlgoType.IMeshTools_MeshAlgoType_Delabella
    BRepMesh_IncrementalMesh(solid, asked)
    points: list[Floats] = []
    triangles: list[NDArray[np.int32]] = []
    faces: list[NDArray[np.int32]] = []
    surfaces: list[Floats] = []
    lost, bound, at = False, 0.0, 0
    explorer = TopExp_Explorer(solid, TopAbs_FACE)
    while explorer.More():
        face = TopoDS.Face_s(explorer.Current())
        explorer.Next()
        found = _face(face)
        if found is None:
            lost = True
            continue
        nodes, tris, row, strayed = found
        points.append(nodes)
        triangles.append(tris + at)
        faces.append(np.full(len(tris), len(surfaces), dtype=np.int32))
        surfaces.append(row)
        bound = max(bound, strayed)
        at += len(nodes)
    BRepTools.Clean_s(solid)
    props = GProp_GProps()
    BRepGProp.VolumeProperties_s(solid, props)
    if not points:
        empty = np.zeros((0, 3))
        return Mesh(empty, empty.astype(np.int32), 0.0, 0.0, "the kernel could not triangulate it")
    vertices, joined, kept = welded(np.concatenate(points), np.concatenate(triangles))
    fault = "the kernel could not triangulate one of its faces" if lost else fault_of(vertices, joined)
    if fault is None and mesh_volume(vertices, joined) < 0:
        joined = np.ascontiguousarray(joined[:, ::-1])
    return Mesh(vertices, joined, bound, abs(props.Mass()), fault, np.concatenate(faces)[kept], np.asarray(surfaces))


def _face(face: TopoDS_Face) -> tuple[Floats, NDArray[np.int32], Floats, float] | None:
    """Nodes, outward triangles, the row of the surface and the deviation of one face; None where it has no mesh."""
    place = TopLoc_Location()
    mesh = BRep_Tool.Triangulation_s(face, place)
    if mesh is None or mesh.NbTriangles() == 0:
        return None
    trsf = place.Transformation()
    nodes = np.array([xyz(mesh.Node(i)) for i in range(1, mesh.NbNodes() + 1)])
    turn = np.array([[trsf.Value(r, c) for c in range(1, 5)] for r in range(1, 4)])
    nodes = nodes @ turn[:, :3].T + turn[:, 3]
    tris = np.array([mesh.Triangle(i).Get() for i in range(1, mesh.NbTriangles() + 1)], dtype=np.int32) - 1
    if (face.Orientation() == TopAbs_REVERSED) != bool(trsf.IsNegative()):
        tris = np.ascontiguousarray(tris[:, ::-1])
    surface = BRepAdaptor_Surface(face, True)
    kind = surface.GetType()
    row = np.zeros(SURFACE_COLUMNS)
    row[0] = FLAT
    if kind == GeomAbs_Plane:
        return nodes, tris, row, 0.0
    if kind in (GeomAbs_Cylinder, GeomAbs_Cone) and _plain_edges(face):
        row[0] = ROUND
        row[1:9] = _axis_row(surface, kind)
        sagitta = round_sagitta(nodes[tris], row)
        if sagitta is not None:
            return nodes, tris, row, sagitta
    row[0] = CURVED
    row[1:9] = _whole_row(surface, kind)
    row[9] = max(strayed(surface, mesh, nodes, tris), edges_stray(face, mesh, place))
    return nodes, tris, row, float(row[9])


def _axis_row(surface: BRepAdaptor_Surface, kind: Any) -> list[float]:
    """Point and direction of the axis, radius at that point, growth of the radius along the axis."""
    if kind == GeomAbs_Cylinder:
        own = surface.Cylinder()
        radius, growth = own.Radius(), 0.0
    else:
        own = surface.Cone()
        radius, growth = own.RefRadius(), float(np.tan(own.SemiAngle()))
    axis = own.Axis()
    return [*xyz(axis.Location()), *xyz(axis.Direction()), radius, growth]


def _whole_row(surface: BRepAdaptor_Surface, kind: Any) -> list[float]:
    """Centre, axis and radii of a sphere (no axis, one radius) or torus; zeros of any other surface."""
    if kind == GeomAbs_Sphere:
        ball = surface.Sphere()
        return [*xyz(ball.Location()), 0.0, 0.0, 0.0, ball.Radius(), 0.0]
    if kind == GeomAbs_Torus:
        ring = surface.Torus()
        axis = ring.Axis()
        return [*xyz(axis.Location()), *xyz(axis.Direction()), ring.MajorRadius(), ring.MinorRadius()]
    return [0.0] * 8


def _plain_edges(face: TopoDS_Face) -> bool:
    """Whether a cylinder or cone is bounded only by its rulings and by circles about its axis."""
    plain = (GeomAbs_Line, GeomAbs_Circle)
    return all(BRepAdaptor_Curve(edge).GetType() in plain for edge in edges_of(face))
