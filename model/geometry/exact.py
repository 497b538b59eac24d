"""The exact kernel (OCCT): common volume and distance of two B-rep solids, and finer meshes of one.

Owns reading back the solids that drawing kept, with a check that the file is whole; where it is not, the part is drawn
again. Loaded only where a verdict hangs on it. The kernel's distance alone proves nothing: it has answered 0.08 for
cylinders that cross. Whoever asks must hold it against the volume and the meshes, as `geometry.judge` does.
"""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass
from typing import Any

import numpy as np

from elbowroom.model.geometry.drawing import is_foreign
from elbowroom.model.geometry.scene import Mesh, Shape
from elbowroom.model.store import Store
from elbowroom.model.tolerances import SQUARE_RAD
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.base import Part

SLOPELESS = 1e-9  # a derivative of a surface no longer than this gives it no normal there: a cone's tip, a pole
MOST_SOLUTIONS = 8  # of the extrema that are looked at: where many are equal (parallel faces), any will do


@dataclass(frozen=True, slots=True, eq=False)
class ExactPair:
    """volume_mm3 of what two solids share, mean_depth (2 V / S, mm) of the piece of it where that is most; their
    distance, mm, and where.

    inner: the kernel found one solid inside the other. square: the points lie on faces that both look along the line
    between them, so that the distance is a true least one and not only one between two points. Points are in the first
    body's coordinates.
    """

    volume_mm3: float
    mean_depth: float
    distance: float
    inner: bool
    point_a: Floats
    point_b: Floats
    square: bool = False


def bodies(shape: Shape, part: Part, store: Store) -> dict[str, Any] | None:
    """The exact solids (OCCT shapes, part coordinates) of a shape by body name; None for a user's mesh.

    Read from the shape's file where that is whole, else drawn again. TypeError of a part from someone else's file:
    that is worked on in the child of `geometry.confined` and nowhere else.
    """
    if is_foreign(part):
        raise TypeError(f"{part.family}: the solids of a user's file are not for this process")
    known: dict[str, Any] | None = store.recall("brep", shape.key)
    if known is not None:
        return known
    if all(m.surfaces is None for m in shape.meshes.values()):
        return None
    found = _read(shape, store)
    if found is None:
        drawn = part.drawn()
        found = {name: drawn[name].wrapped for name in shape.meshes}
    store.remember("brep", shape.key, found)
    return found


def kept(shape: Shape, store: Store) -> bytes | None:
    """The bytes of a shape's file; None where it has none that is whole."""
    digest = store.read(f"{shape.key}.sum")
    if shape.brep is None or digest is None:
        return None
    try:
        data = shape.brep.read_bytes()
    except OSError:
        return None
    return data if hashlib.blake2b(data, digest_size=16).digest() == digest else None


def solids_in(data: bytes) -> list[Any]:
    """The solids in the bytes of a shape's file, in the order of its bodies."""
    from OCP.BinTools import BinTools
    from OCP.TopoDS import TopoDS_Iterator, TopoDS_Shape

    compound = TopoDS_Shape()
    BinTools.Read_s(compound, io.BytesIO(data))
    found, children = [], TopoDS_Iterator(compound)
    while children.More():
        found.append(children.Value())
        children.Next()
    return found


def _read(shape: Shape, store: Store) -> dict[str, Any] | None:
    data = kept(shape, store)
    found = [] if data is None else solids_in(data)
    return dict(zip(shape.meshes, found, strict=True)) if len(found) == len(shape.meshes) else None


def judge_exact(a: Any, b: Any, turn: Floats, move: Floats) -> ExactPair | None:
    """Common and distance of solid a and solid b placed by `turn` and `move`; None where the kernel gives up."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Common
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape
    from OCP.gp import gp_Trsf
    from OCP.TopLoc import TopLoc_Location

    trsf = gp_Trsf()
    trsf.SetValues(*(float(v) for v in np.hstack([turn, move.reshape(3, 1)]).ravel()))
    placed = b.Moved(TopLoc_Location(trsf))
    try:
        shared = BRepAlgoAPI_Common(a, placed)
        parts = _volumes_and_areas(shared.Shape())
        apart = BRepExtrema_DistShapeShape(a, placed)
        if not (shared.IsDone() and apart.IsDone()) or apart.NbSolution() < 1:
            return None
        p, q = apart.PointOnShape1(1), apart.PointOnShape2(1)
    except Exception:  # the kernel's own exceptions share no base class
        return None
    d = float(apart.Value())
    if not np.isfinite([*(x for part in parts for x in part), d]).all() or any(v < 0 for v, _ in parts) or d < 0:
        return None
    deepest = max((2 * v / s for v, s in parts if s > 0), default=0.0)
    return ExactPair(
        sum(v for v, _ in parts), deepest, d, bool(apart.InnerSolution()),
        np.array([p.X(), p.Y(), p.Z()]), np.array([q.X(), q.Y(), q.Z()]), d > 0 and _square(apart, a, placed),
    )  # fmt: skip


def _volumes_and_areas(shape: Any) -> list[tuple[float, float]]:
    """Volume, mm3, and surface, mm2, of each solid of a shape: a film beside a pin is a solid of its own."""
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp_Explorer

    found = []
    solids = TopExp_Explorer(shape, TopAbs_ShapeEnum.TopAbs_SOLID)
    while solids.More():
        volume, area = GProp_GProps(), GProp_GProps()
        BRepGProp.VolumeProperties_s(solids.Current(), volume)
        BRepGProp.SurfaceProperties_s(solids.Current(), area)
        found.append((float(volume.Mass()), float(area.Mass())))
        solids.Next()
    return found


def _square(apart: Any, first: Any, second: Any) -> bool:
    """Whether a solution of the extrema stands square on a face of each body, or on a face that ends there."""
    from OCP.gp import gp_Dir, gp_Vec

    for n in range(1, min(apart.NbSolution(), MOST_SOLUTIONS) + 1):
        p, q = apart.PointOnShape1(n), apart.PointOnShape2(n)
        along = gp_Dir(gp_Vec(p, q))
        if _looks(apart.SupportOnShape1(n), first, p, along) and _looks(apart.SupportOnShape2(n), second, q, along):
            return True
    return False


def _looks(support: Any, whole: Any, point: Any, along: Any) -> bool:
    """Whether a face at the support (itself, or one it bounds) has its normal along the line at the point."""
    from OCP.BRep import BRep_Tool
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.BRepLProp import BRepLProp_SLProps
    from OCP.GeomAPI import GeomAPI_ProjectPointOnSurf
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp
    from OCP.TopoDS import TopoDS
    from OCP.TopTools import TopTools_IndexedDataMapOfShapeListOfShape

    faces = [support]
    if support.ShapeType() != TopAbs_ShapeEnum.TopAbs_FACE:
        bounded = TopTools_IndexedDataMapOfShapeListOfShape()
        TopExp.MapShapesAndAncestors_s(whole, support.ShapeType(), TopAbs_ShapeEnum.TopAbs_FACE, bounded)
        faces = list(bounded.FindFromKey(support)) if bounded.Contains(support) else []
    for one in faces:
        face = TopoDS.Face_s(one)
        near = GeomAPI_ProjectPointOnSurf(point, BRep_Tool.Surface_s(face))
        if near.NbPoints() < 1:
            continue
        u, v = near.LowerDistanceParameters()
        here = BRepLProp_SLProps(BRepAdaptor_Surface(face), u, v, 1, SLOPELESS)
        if here.IsNormalDefined() and abs(here.Normal().Dot(along)) >= 1.0 - SQUARE_RAD**2 / 2:
            return True
    return False


def finer_mesh(solid: Any, finer: float) -> Mesh:
    """The solid's mesh at a chord divided by `finer`."""
    from elbowroom.model.geometry.tessellate import tessellate

    return tessellate(solid, finer)
