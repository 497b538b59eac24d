"""The exact solids of a shape, for the formats that hold surfaces rather than triangles.

Owns where they come from: what drawing kept of them, else the part drawn again. Reading them back is `exact`'s work.
"""

from __future__ import annotations

from typing import Any

from elbowroom.model.scene import Shape
from elbowroom.model.writers.job import Job
from elbowroom.parts.base import Part


def exact_solids(job: Job, part: Part, shape: Shape) -> dict[str, Any]:
    """Each body's solid (TopoDS_Shape) by body name, in part coordinates; of a user's mesh, one with a flat face for
    each triangle. Raises PartFileError where the user's file gives none.
    """
    kept = None
    if shape.brep is not None:
        from elbowroom.model import exact

        kept = exact.bodies(shape, part, job.store)
    return kept if kept is not None else {name: solid.wrapped for name, solid in part.drawn().items()}
