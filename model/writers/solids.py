"""The exact solids of a shape, for the formats that hold surfaces rather than triangles.

Owns where they come from: the file the engine kept them in when it drew the shape, which needs the bare kernel only, or
else drawing the part again.
"""

from __future__ import annotations

import hashlib
import io
from typing import Any

from elbowroom.model.scene import Shape
from elbowroom.model.store import unsealed
from elbowroom.parts.base import Part


def exact_solids(part: Part, shape: Shape) -> dict[str, Any]:
    """Each body's solid (TopoDS_Shape) by body name, in part coordinates; raises PartFileError where a user's file
    gives none.
    """
    kept = _kept(shape)
    return kept if kept is not None else {name: solid.wrapped for name, solid in part.solids().items()}


def _kept(shape: Shape) -> dict[str, Any] | None:
    """The solids in the shape's file; None where there is no file or it is not whole.

    The file is a compound of the bodies in the order of the meshes; a digest of it lies beside, since the kernel may
    do anything at all with a damaged one.
    """
    if shape.brep is None:
        return None
    try:
        data = shape.brep.read_bytes()
        digest = unsealed(shape.brep.with_suffix(".sum").read_bytes())
    except OSError:
        return None
    if digest != hashlib.blake2b(data, digest_size=16).digest():
        return None
    from OCP.BinTools import BinTools
    from OCP.TopoDS import TopoDS_Iterator, TopoDS_Shape

    compound = TopoDS_Shape()
    BinTools.Read_s(compound, io.BytesIO(data))
    solids = []
    bodies = TopoDS_Iterator(compound)
    while bodies.More():
        solids.append(bodies.Value())
        bodies.Next()
    return dict(zip(shape.meshes, solids, strict=True)) if len(solids) == len(shape.meshes) else None
