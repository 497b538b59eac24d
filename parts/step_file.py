"""STEP files as solids, and faceted solids of meshes.

Owns running the reader of STEP files apart from this process and taking in what it found, and making a B-rep of a
triangle mesh. Importing this module loads no kernel; drawing does.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from elbowroom.parts.base import Box
from elbowroom.parts.mesh_file import PartFileError, Triangles, Vertices, components

if TYPE_CHECKING:
    from cadquery import Solid

LONGEST_READ = 300.0  # s a STEP file may take to read; a 100 MB assembly takes about one minute. Bound by choice


@dataclass(frozen=True, slots=True)
class StepContent:
    """What a STEP file holds: the box of each solid (mm), and the solids themselves in the kernel's binary form."""

    boxes: tuple[Box, ...]
    brep: bytes

    def solids(self) -> list[Solid]:
        """The solids, in the order of `boxes`."""
        from cadquery import Shape
        from OCP.BinTools import BinTools
        from OCP.TopoDS import TopoDS_Shape

        shape = TopoDS_Shape()
        BinTools.Read_s(shape, BytesIO(self.brep))
        return [s for s in Shape.cast(shape) if s.ShapeType() == "Solid"]


def read_step(path: Path) -> StepContent:
    """The content of a STEP file; PartFileError where it has no valid solid or the kernel fails on it.

    A process of its own reads it: the kernel can crash on a damaged file, and prints what nobody asked for.
    """
    with tempfile.TemporaryDirectory(prefix="elbowroom-step-") as folder:
        command = [sys.executable, "-m", "elbowroom.parts.step_reader", str(path), folder]
        try:
            done = subprocess.run(
                command, stdin=subprocess.DEVNULL, capture_output=True, timeout=LONGEST_READ, check=False
            )
        except subprocess.TimeoutExpired:
            raise PartFileError(f"{path.name}: not read within {LONGEST_READ:g} s") from None
        except OSError as e:
            raise PartFileError(f"{path.name}: its reader cannot be started: {e.strerror}") from None
        told = Path(folder) / "facts.json"
        if done.returncode != 0 or not told.is_file():
            raise PartFileError(f"{path.name}: malformed STEP: the kernel fails on it ({_end(done)})")
        facts = json.loads(told.read_text(encoding="utf-8"))
        if "fault" in facts:
            raise PartFileError(f"{path.name}: {facts['fault']}")
        boxes = tuple(Box((b[0], b[1], b[2]), (b[3], b[4], b[5])) for b in facts["boxes"])
        return StepContent(boxes, (Path(folder) / "solids.bin").read_bytes())


def _end(done: subprocess.CompletedProcess[bytes]) -> str:
    """How the reader ended, in a few words."""
    if done.returncode < 0:
        return f"stopped by signal {-done.returncode}"
    last = done.stderr.decode("utf-8", "replace").strip().splitlines()
    return last[-1][:200] if last else f"exit status {done.returncode}"


def faceted(vertices: Vertices, triangles: Triangles) -> Solid:
    """A closed mesh as a B-rep solid of flat faces; DrawError where that is not one valid solid."""
    from cadquery import Shape
    from OCP.BRep import BRep_Builder
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeShapeOnMesh
    from OCP.gp import gp_Pnt
    from OCP.Poly import Poly_Triangle, Poly_Triangulation
    from OCP.TopoDS import TopoDS_Shell, TopoDS_Solid

    from elbowroom.parts import draw

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
