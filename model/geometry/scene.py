"""The scene: every piece's bodies as closed meshes with a known error, ready to be judged.

Owns the frozen nouns `Mesh`, `Shape` and `Solid`. A Shape is what one part draws, shared by every piece that has the
same dimensions; a Solid is one body of one piece, posed. Making them is `solidify`'s work.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.base import Body
from elbowroom.parts.vocabulary.pose import Pose


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """A triangulated body in part coordinates, welded.

    vertices (n, 3) float64 mm; triangles (m, 3) int32, outward; bound: mm that the drawn surface may lie from the mesh
    (0 where all faces are flat, and for a user's mesh, which is its own truth); volume_mm3: of the true solid where a
    kernel knows it, else of the mesh; fault: why no verdict may rest on this mesh (None: closed, oriented, sound).
    faces (m,): row of `surfaces` each triangle lies on; surfaces: as `enclosure` reads them. Both None: all flat.
    """

    vertices: Floats
    triangles: NDArray[np.int32]
    bound: float
    volume_mm3: float
    fault: str | None = None
    faces: NDArray[np.int32] | None = None
    surfaces: Floats | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """What a part draws: `key` (content address), a mesh for each body, and the file its exact solids are kept in."""

    key: str
    meshes: dict[str, Mesh]
    brep: Path | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Solid:
    """One body of one piece, standing in the case."""

    piece: Piece
    body: Body
    shape: Shape
    mesh: Mesh
    pose: Pose
    lo: Floats  # box in case coordinates, mm
    hi: Floats

    @property
    def name(self) -> str:
        return f"{self.piece.name}/{self.body.name}"


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """A layout made solid; `solids` in the order of the layout's pieces and their bodies, keep-outs included."""

    layout: Layout
    solids: tuple[Solid, ...]
