"""STEP files as solids, and faceted solids of meshes.

Owns running the reader of STEP files apart from this process and taking in what it found, and making a B-rep of a
triangle mesh. Importing this module loads no kernel; drawing does.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from elbowroom.parts.imported import child
from elbowroom.parts.imported.shells import components
from elbowroom.parts.imported.unreadable import PartFileError
from elbowroom.parts.vocabulary.arrays import Triangles, Vertices
from elbowroom.parts.vocabulary.base import Box

if TYPE_CHECKING:
    from cadquery import Shape, Solid


@dataclass(frozen=True, slots=True)
class StepBody:
    """One body of a STEP file: its name, its box (mm), and why no verdict may rest on it (None: a sound solid)."""

    name: str
    box: Box
    fault: str | None


@dataclass(frozen=True, slots=True)
class StepContent:
    """What a STEP file holds: its bodies, and their shapes in the kernel's binary form, in the same order."""

    bodies: tuple[StepBody, ...]
    brep: bytes

    def shapes(self) -> dict[str, Shape]:
        """Each body's shape by its name: a solid, or the surfaces of a body with a fault."""
        from cadquery import Shape
        from OCP.BinTools import BinTools
        from OCP.TopoDS import TopoDS_Iterator, TopoDS_Shape

        shape, found = TopoDS_Shape(), []
        BinTools.Read_s(shape, BytesIO(self.brep))
        children = TopoDS_Iterator(shape)
        while children.More():
            found.append(Shape.cast(children.Value()))
            children.Next()
        return {b.name: s for b, s in zip(self.bodies, found, strict=True)}


def read_step(path: Path) -> StepContent:
    """The content of a STEP file; PartFileError where it has no valid solid or the kernel fails on it.

    A process of its own reads it: the kernel can crash on a damaged file, and prints what nobody asked for.
    """
    try:
        reader = child.start("elbowroom.parts.imported.step_reader", "main", [str(path.absolute())])
    except OSError as e:
        raise PartFileError(f"{path.name}: its reader cannot be started: {e.strerror}") from None
    try:
        said, brep = child.within(reader, child.FOREIGN, lambda: child.receive(child.out_of(reader)))
        facts = json.loads(said)
        if "fault" in facts:
            raise PartFileError(f"{path.name}: {facts['fault']}")
        bodies = tuple(StepBody(n, Box((b[0], b[1], b[2]), (b[3], b[4], b[5])), f) for n, b, f in facts["bodies"])
    except child.Lost as e:
        raise PartFileError(f"{path.name}: malformed STEP, or too large: {e}") from None
    finally:
        child.end(reader)
    return StepContent(bodies, brep)


def faceted(vertices: Vertices, triangles: Triangles) -> Solid:
    """A closed mesh as a B-rep solid of flat faces; DrawError where that is not one valid solid."""
    from cadquery import Shape
    from OCP.BRep import BRep_Builder
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeShapeOnMesh
    from OCP.gp import gp_Pnt
    from OCP.Poly import Poly_Triangle, Poly_Triangulation
    from OCP.TopoDS import TopoDS_Shell, TopoDS_Solid

    from elbowroom.parts.vocabulary import draw

    builder, solid = BRep_Builder(), TopoDS_Solid()
    builder.MakeSolid(solid)
    for shell_triangles in components(triangles):
        part = triangles[shell_triangles]
        used = sorted(set(part.ravel().tolist()))
        number = {v: i for i, v in enumerate(used, 1)}
        mesh = Poly_Triangulation(len(used), len(part), False)
        for v, i in number.items():
            mesh.SetNode(i, gp_Pnt(*(float(c) for c in vertices[v])))
        for i, t in enumerate(part.tolist(), 1):
            mesh.SetTriangle(i, Poly_Triangle(*(number[v] for v in t)))
        maker = BRepBuilderAPI_MakeShapeOnMesh(mesh)
        maker.Build()
        shell = TopoDS_Shell()
        builder.MakeShell(shell)
        for face in Shape.cast(maker.Shape()).Faces():
            builder.Add(shell, face.wrapped)
        shell.Closed(True)
        builder.Add(solid, shell)
    return draw.one(Shape.cast(solid))
