"""A program of its own that reads one STEP file, started by `imported.step_file`.

Owns the kernel's STEP reader, kept in a process apart because a damaged file can crash it or fill the memory, and that
must cost one error message, not the run. Answers with facts (JSON: each body's name, box and fault, or what is wrong
with the file) and the bodies themselves (one compound, mm). What encloses a volume becomes a solid; what was meant to
and does not stays a body with a fault, so that nothing in the file is passed over. Loads the kernel's bindings alone,
not CadQuery, which take a third of the time.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from io import BytesIO
from typing import Any

from elbowroom.parts.imported import child
from elbowroom.parts.imported.step_census import Census, census
from elbowroom.parts.imported.step_names import unique_names, useful_name
from elbowroom.parts.imported.step_solids import NotUsable, bounded, box_of, filled, sew, sound, within

MOST_SOLIDS = 1000  # solids that become bodies of their own; bound by choice
MOST_VISITS = 20_000  # products looked at in an assembly tree; bound by choice, since trees may share their branches


@dataclass
class _Found:
    """A shape of the file that encloses a volume or was meant to: `fault` says why it does not."""

    shape: Any
    name: str | None
    fault: str | None = None


def read(path: str) -> list[_Found]:
    """The file's bodies in mm, each solid valid, facing outward and carrying no location."""
    from OCP.IFSelect import IFSelect_RetDone
    from OCP.Interface import Interface_Static
    from OCP.STEPCAFControl import STEPCAFControl_Reader
    from OCP.TCollection import TCollection_ExtendedString
    from OCP.TDocStd import TDocStd_Document
    from OCP.XCAFDoc import XCAFDoc_DocumentTool

    held = census(path)
    document = TDocStd_Document(TCollection_ExtendedString("BinXCAF"))
    reader = STEPCAFControl_Reader()
    reader.SetNameMode(True)
    for unused in (reader.SetColorMode, reader.SetLayerMode, reader.SetPropsMode, reader.SetGDTMode):
        unused(False)
    Interface_Static.SetCVal_s("xstep.cascade.unit", "MM")
    if reader.ReadFile(path) != IFSelect_RetDone:
        raise NotUsable("malformed STEP: the text does not follow ISO 10303-21")
    if not reader.Transfer(document):
        raise NotUsable("the STEP file holds no shape")
    leaves = _leaves(XCAFDoc_DocumentTool.ShapeTool_s(document.Main()))
    if not leaves:
        raise NotUsable("the STEP file holds no shape")
    bodies, counts = _bodies(leaves)
    if not any(b.fault is None for b in bodies):
        kinds = counts.words() or "nothing"
        what = "surfaces" if bodies or counts.faces else "curves" if counts.curves else "points"
        raise NotUsable(f"the STEP file holds {what} but no solid ({kinds}); export it as a solid body")
    lost = held.unread(counts)
    if lost:
        raise NotUsable(f"{lost}; export it again, as boundary representation (AP203, AP214 or AP242)")
    if len(bodies) > MOST_SOLIDS:
        raise NotUsable(f"{len(bodies)} solids; the most that are read is {MOST_SOLIDS}")
    for b in bodies:
        if b.fault is not None:
            b.fault = f"the file holds {counts.words()}; {b.fault}"
    return bodies


def _leaves(tool: Any) -> list[tuple[Any, str | None]]:
    """Every shape at the ends of the assembly tree, where it stands, and its name: its place's, else its product's."""
    from OCP.TDF import TDF_Label, TDF_LabelSequence
    from OCP.TopLoc import TopLoc_Location
    from OCP.XCAFDoc import XCAFDoc_ShapeTool

    out: list[tuple[Any, str | None]] = []
    visits = 0

    def walk(label: Any, place: Any, name: str | None) -> None:
        nonlocal visits
        visits += 1
        if visits > MOST_VISITS:
            raise NotUsable(f"an assembly of more than {MOST_VISITS} products; the most that are read")
        if XCAFDoc_ShapeTool.IsAssembly_s(label):
            parts = TDF_LabelSequence()
            XCAFDoc_ShapeTool.GetComponents_s(label, parts)
            for i in range(1, parts.Length() + 1):
                part, product = parts.Value(i), TDF_Label()
                if XCAFDoc_ShapeTool.GetReferredShape_s(part, product):
                    at = place.Multiplied(XCAFDoc_ShapeTool.GetLocation_s(part))
                    walk(product, at, useful_name(_label_name(part)) or useful_name(_label_name(product)))
            return
        shape = XCAFDoc_ShapeTool.GetShape_s(label)
        if shape is not None and not shape.IsNull():
            out.append((shape.Moved(place), name))

    roots = TDF_LabelSequence()
    tool.GetFreeShapes(roots)
    for i in range(1, roots.Length() + 1):
        walk(roots.Value(i), TopLoc_Location(), useful_name(_label_name(roots.Value(i))))
    return out


def _label_name(label: Any) -> str:
    from OCP.TDataStd import TDataStd_Name

    found = TDataStd_Name()
    return str(found.Get().ToExtString()) if label.FindAttribute(TDataStd_Name.GetID_s(), found) else ""


def _bodies(leaves: list[tuple[Any, str | None]]) -> tuple[list[_Found], Census]:
    """What encloses a volume as solids, what is left of surfaces as bodies with a fault; and how much there was."""
    from OCP.TopAbs import TopAbs_EDGE, TopAbs_FACE, TopAbs_SHAPE, TopAbs_SHELL, TopAbs_SOLID
    from OCP.TopLoc import TopLoc_Location
    from OCP.TopTools import TopTools_IndexedMapOfShape

    counts = Census()
    bodies: list[_Found] = []
    left: list[_Found] = []  # surfaces that close nothing by themselves
    known: dict[Any, Any] = {kind: TopTools_IndexedMapOfShape() for kind in (TopAbs_SOLID, TopAbs_SHELL)}
    for shape, name in leaves:
        solids = within(shape, TopAbs_SOLID, TopAbs_SHAPE)
        shells = within(shape, TopAbs_SHELL, TopAbs_SOLID)
        faces = within(shape, TopAbs_FACE, TopAbs_SHELL)
        counts.curves += len(within(shape, TopAbs_EDGE, TopAbs_FACE))
        counts.faces += len(faces)
        for kind, all_known in known.items():  # a product used twice stands in the file once
            for s in within(shape, kind, TopAbs_SHAPE):
                all_known.Add(s.Located(TopLoc_Location()))
        counts.solids += len(solids)
        bodies += [_Found(sound(s, name or f"solid {len(bodies) + i}"), name) for i, s in enumerate(solids, 1)]
        open_: list[Any] = []
        for shell in shells:
            made = filled(shell)
            if made is None:
                open_.append(shell)
            else:
                counts.closed += 1
                bodies.append(_Found(made, name))
        for sewn, closed in sew([*open_, *faces]):
            if closed:
                counts.closed += 1
                bodies.append(_Found(sewn, name))
            else:
                left.append(_Found(sewn, name, f"what {_shell(name)} encloses cannot be told: it is not closed"))
    together = sew([f.shape for f in left]) if len(left) > 1 else []
    if together and all(closed for _, closed in together):  # faces of one body, each a product of its own
        counts.closed += len(together)
        left = [_Found(made, None) for made, _ in together]
    else:
        counts.open += len(left)
    bodies += left
    counts.products, counts.shells = (known[k].Extent() for k in (TopAbs_SOLID, TopAbs_SHELL))
    return bodies, counts


def _shell(name: str | None) -> str:
    return "an open shell" if name is None else f'the open shell "{name}"'


def main() -> None:
    """Read the file named on the command line and answer how it went."""
    from OCP.BinTools import BinTools
    from OCP.BRep import BRep_Builder
    from OCP.Standard import Standard_Failure
    from OCP.TopoDS import TopoDS_Compound

    pipe = child.answers()
    child.confine(child.FOREIGN)
    out = BytesIO()
    try:
        found = read(sys.argv[1])
        for f in found:
            bounded(f.shape, f.name or "a surface")
        whole, builder = TopoDS_Compound(), BRep_Builder()
        builder.MakeCompound(whole)
        for f in found:
            builder.Add(whole, f.shape)
        BinTools.Write_s(whole, out)
        names = unique_names([f.name for f in found], [f.fault is None for f in found])
        facts: dict[str, Any] = {
            "bodies": [[n, box_of(f.shape), f.fault] for n, f in zip(names, found, strict=True)],
        }
    except NotUsable as e:
        facts = {"fault": str(e)}
    except Standard_Failure as e:
        facts = {"fault": f"malformed STEP: the kernel stops with {type(e).__name__}"}
    except (RecursionError, MemoryError) as e:
        facts = {"fault": f"malformed STEP: reading it ends in a {type(e).__name__}"}
    child.send(pipe, json.dumps(facts).encode(), out.getvalue() if "bodies" in facts else b"")
