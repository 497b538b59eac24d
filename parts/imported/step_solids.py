"""Solids of a STEP file made sound: shells filled, loose faces sewn, what is inside out turned, what is unsound said.

Owns which shapes may become bodies. How an assembly is read is `step_reader`.
"""

from __future__ import annotations

from typing import Any

from elbowroom.parts.imported.mesh_file import MOST_EXTENT, MOST_OFF

SEW_MM = 1e-4  # mm: faces without a shell are one surface where their edges lie this near; as for ASCII meshes


class NotUsable(Exception):
    """Why the file gives no bodies."""


def within(shape: Any, kind: Any, avoid: Any) -> list[Any]:
    """The sub-shapes of a kind that are not in one of the kind to avoid, each once."""
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopTools import TopTools_IndexedMapOfShape

    found, explorer = TopTools_IndexedMapOfShape(), TopExp_Explorer(shape, kind, avoid)
    while explorer.More():
        found.Add(explorer.Current())
        explorer.Next()
    return [found.FindKey(i) for i in range(1, found.Extent() + 1)]


def filled(shell: Any) -> Any:
    """The solid inside a closed shell; None where it is open or encloses nothing sound."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeSolid
    from OCP.BRepCheck import BRepCheck_NoError, BRepCheck_Shell
    from OCP.TopoDS import TopoDS

    own = TopoDS.Shell_s(shell)
    if BRepCheck_Shell(own).Closed() != BRepCheck_NoError:
        return None
    maker = BRepBuilderAPI_MakeSolid(own)
    if not maker.IsDone():
        return None
    try:
        return sound(maker.Solid(), "shell")
    except NotUsable:
        return None


def sew(pieces: list[Any]) -> list[tuple[Any, bool]]:
    """Loose surfaces joined where their edges meet: solids where that closes them, the rest as it is."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_Sewing
    from OCP.TopAbs import TopAbs_FACE, TopAbs_SHAPE, TopAbs_SHELL

    if not pieces:
        return []
    sewing = BRepBuilderAPI_Sewing(SEW_MM)
    for p in pieces:
        sewing.Add(p)
    sewing.Perform()
    whole = sewing.SewedShape()
    if whole is None or whole.IsNull():
        return [(_unmoved(p), False) for p in pieces]
    out = []
    for shell in within(whole, TopAbs_SHELL, TopAbs_SHAPE):
        made = filled(shell)
        out.append((_unmoved(shell), False) if made is None else (made, True))
    return [*out, *((_unmoved(f), False) for f in within(whole, TopAbs_FACE, TopAbs_SHELL))]


def _unmoved(shape: Any) -> Any:
    """The shape with its location written into its geometry."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_Transform
    from OCP.TopLoc import TopLoc_Location

    if shape.Location().IsIdentity():
        return shape
    move = shape.Location().Transformation()
    return BRepBuilderAPI_Transform(shape.Located(TopLoc_Location()), move, True).Shape()


def sound(shape: Any, what: str) -> Any:
    """The solid without a location, mended where it must be, its faces outward and itself not turned round."""
    from OCP.BRepCheck import BRepCheck_Analyzer
    from OCP.BRepLib import BRepLib
    from OCP.ShapeFix import ShapeFix_Solid
    from OCP.TopAbs import TopAbs_SOLID
    from OCP.TopoDS import TopoDS

    shape = _unmoved(shape)
    bounded(shape, what)
    if not BRepCheck_Analyzer(shape).IsValid():
        fix = ShapeFix_Solid(TopoDS.Solid_s(shape))
        fix.Perform()
        shape = fix.Solid()
        if shape.IsNull() or shape.ShapeType() != TopAbs_SOLID or not BRepCheck_Analyzer(shape).IsValid():
            raise NotUsable(f"{what} is not a valid solid; export it again or repair it")
    solid = TopoDS.Solid_s(shape)
    if _volume(solid) < 0:
        BRepLib.OrientClosedSolid_s(solid)
    solid = _forward(solid)
    if _volume(solid) <= 0:
        raise NotUsable(f"{what} encloses no volume")
    return solid


def _forward(solid: Any) -> Any:
    """The same solid with its own orientation written into its shells: a file keeps the shells' alone."""
    from OCP.BRep import BRep_Builder
    from OCP.TopAbs import TopAbs_FORWARD
    from OCP.TopoDS import TopoDS_Iterator, TopoDS_Solid

    if solid.Orientation() == TopAbs_FORWARD:
        return solid
    out, builder = TopoDS_Solid(), BRep_Builder()
    builder.MakeSolid(out)
    shells = TopoDS_Iterator(solid, True)  # with the solid's orientation laid on each
    while shells.More():
        builder.Add(out, shells.Value())
        shells.Next()
    return out


def _volume(shape: Any) -> float:
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps

    found = GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, found)
    return float(found.Mass())


def box_of(shape: Any) -> list[float]:
    """Exact extents without triangulation and without the kernel's safety gap."""
    from OCP.Bnd import Bnd_Box
    from OCP.BRepBndLib import BRepBndLib

    b = Bnd_Box()
    b.SetGap(0.0)
    BRepBndLib.AddOptimal_s(shape, b, False, False)
    return [0.0] * 6 if b.IsVoid() else [float(v) for v in b.Get()]


def bounded(shape: Any, what: str) -> None:
    """NotUsable for a body larger than any part, before anything is worked out of it."""
    from OCP.Bnd import Bnd_Box
    from OCP.BRepBndLib import BRepBndLib

    b = Bnd_Box()
    BRepBndLib.Add_s(shape, b, False)
    if b.IsVoid():
        return
    if b.IsOpen():
        raise NotUsable(f"{what} has no end")
    v = b.Get()
    span, off = max(v[i + 3] - v[i] for i in range(3)), max(abs(x) for x in v)
    if span > MOST_EXTENT * 1.5:  # poles of a spline stand out of it: the exact box is asked for then
        v = tuple(box_of(shape))
        span = max(v[i + 3] - v[i] for i in range(3))
    if span > MOST_EXTENT:
        raise NotUsable(
            f"{what} is {span:,.0f} mm long; the most that is read is {MOST_EXTENT:,.0f}. Is the file's unit right?"
        )
    if off > MOST_OFF:
        raise NotUsable(f"{what} lies {off:,.0f} mm from the file's origin; the most that is read is {MOST_OFF:,.0f}")
