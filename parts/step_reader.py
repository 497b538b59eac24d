"""A program of its own that reads one STEP file: `python -m elbowroom.parts.step_reader FILE FOLDER`.

Owns the kernel's STEP reader, kept in a process apart because a damaged file can crash it or fill the memory, and that
must cost one error message, not the run. Writes `solids.bin` (one compound, mm) and `facts.json` (each solid's box, or
what is wrong) into FOLDER. Loads the kernel's bindings alone, not CadQuery, which take a third of the time.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

MOST_SOLIDS = 1000  # solids that become bodies of their own; bound by choice
MOST_MEMORY = 6 * 1024**3  # bytes of address space, the kernel's own libraries (about 1 GB) included; bound by choice


class NotUsable(Exception):
    """Why the file gives no solids."""


def read(path: str) -> list[Any]:
    """The file's solids in mm, each valid and carrying no location."""
    from OCP.IFSelect import IFSelect_RetDone
    from OCP.Interface import Interface_Static
    from OCP.STEPControl import STEPControl_Reader
    from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE, TopAbs_SOLID
    from OCP.TopExp import TopExp
    from OCP.TopTools import TopTools_IndexedMapOfShape

    reader = STEPControl_Reader()
    Interface_Static.SetCVal_s("xstep.cascade.unit", "MM")
    if reader.ReadFile(path) != IFSelect_RetDone:
        raise NotUsable("malformed STEP: the text does not follow ISO 10303-21")
    shape = reader.OneShape() if reader.TransferRoots() else None
    if shape is None or shape.IsNull():
        raise NotUsable("the STEP file holds no shape")

    def parts(kind: Any) -> list[Any]:
        found = TopTools_IndexedMapOfShape()
        TopExp.MapShapes_s(shape, kind, found)
        return [found.FindKey(i) for i in range(1, found.Extent() + 1)]

    solids = parts(TopAbs_SOLID)
    if not solids:
        held = "surfaces" if parts(TopAbs_FACE) else "wires" if parts(TopAbs_EDGE) else "points"
        raise NotUsable(f"the STEP file holds {held} but no solid; export it as a solid body")
    if len(solids) > MOST_SOLIDS:
        raise NotUsable(f"{len(solids)} solids; the most that are read is {MOST_SOLIDS}")
    return [_sound(s, f"solid {i}") for i, s in enumerate(solids, 1)]


def _sound(shape: Any, what: str) -> Any:
    """The solid with its location written into its geometry, mended where it must be."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_Transform
    from OCP.BRepCheck import BRepCheck_Analyzer
    from OCP.BRepLib import BRepLib
    from OCP.ShapeFix import ShapeFix_Solid
    from OCP.TopAbs import TopAbs_SOLID
    from OCP.TopLoc import TopLoc_Location
    from OCP.TopoDS import TopoDS

    if not shape.Location().IsIdentity():
        move = shape.Location().Transformation()
        shape = BRepBuilderAPI_Transform(shape.Located(TopLoc_Location()), move, True).Shape()
    if not BRepCheck_Analyzer(shape).IsValid():
        fix = ShapeFix_Solid(TopoDS.Solid_s(shape))
        fix.Perform()
        shape = fix.Solid()
        if shape.IsNull() or shape.ShapeType() != TopAbs_SOLID or not BRepCheck_Analyzer(shape).IsValid():
            raise NotUsable(f"{what} is not a valid solid; export it again or repair it")
    solid = TopoDS.Solid_s(shape)
    if _volume(solid) < 0:
        BRepLib.OrientClosedSolid_s(solid)
    if _volume(solid) <= 0:
        raise NotUsable(f"{what} encloses no volume")
    return solid


def _volume(shape: Any) -> float:
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps

    found = GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, found)
    return float(found.Mass())


def _box(shape: Any) -> list[float]:
    """Exact extents without triangulation and without the kernel's safety gap."""
    from OCP.Bnd import Bnd_Box
    from OCP.BRepBndLib import BRepBndLib

    b = Bnd_Box()
    b.SetGap(0.0)
    BRepBndLib.AddOptimal_s(shape, b, False, False)
    return [float(v) for v in b.Get()]


def main(path: str, folder: str) -> int:
    """Read, write, and say in facts.json how it went."""
    from OCP.BinTools import BinTools
    from OCP.BRep import BRep_Builder
    from OCP.Standard import Standard_Failure
    from OCP.TopoDS import TopoDS_Compound

    try:
        solids = read(path)
        whole, builder = TopoDS_Compound(), BRep_Builder()
        builder.MakeCompound(whole)
        for s in solids:
            builder.Add(whole, s)
        BinTools.Write_s(whole, str(Path(folder) / "solids.bin"))
        facts: dict[str, Any] = {"boxes": [_box(s) for s in solids]}
    except NotUsable as e:
        facts = {"fault": str(e)}
    except Standard_Failure as e:
        facts = {"fault": f"malformed STEP: the kernel stops with {type(e).__name__}"}
    (Path(folder) / "facts.json").write_text(json.dumps(facts), encoding="utf-8")
    return 0


def _bound_memory() -> None:
    try:
        import resource
    except ImportError:  # not on every system; there the time limit alone bounds a hostile file
        return
    hard = resource.getrlimit(resource.RLIMIT_AS)[1]
    most = MOST_MEMORY if hard == resource.RLIM_INFINITY else min(MOST_MEMORY, hard)
    resource.setrlimit(resource.RLIMIT_AS, (most, hard))


if __name__ == "__main__":
    _bound_memory()
    sys.exit(main(sys.argv[1], sys.argv[2]))
