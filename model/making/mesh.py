"""A part's mesh as it is printed: its printed bodies as one skin, laid in the print pose, in the numbers of the file.

Owns the `Skin` that the checks and the writers share, so that what is judged is what is written.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from elbowroom.model.geometry.meshes import normals_areas, seeds
from elbowroom.model.geometry.scene import Mesh
from elbowroom.model.writers.stl import joined
from elbowroom.parts.vocabulary.arrays import Floats, Ints
from elbowroom.parts.vocabulary.pose import Pose, apply


@dataclass(frozen=True, slots=True, eq=False)
class Skin:
    """Triangles on the bed, mm: welded vertices at the precision of STL, outward triangles, their unit normals and
    areas. `lifted`: height the print pose left the lowest point at, before it was set on z = 0. `bound`: mm the drawn
    surface may lie from the mesh. `fault`: why the mesh is no sound one.
    """

    vertices: Floats
    triangles: Ints
    normals: Floats
    areas: Floats
    lifted: float
    bound: float
    fault: str | None

    @property
    def size(self) -> tuple[float, float, float]:
        """Extents along the bed's x and y, and the height."""
        x, y, z = np.ptp(self.vertices, axis=0)
        return float(x), float(y), float(z)

    @property
    def bodies(self) -> int:
        """How many separate surfaces the mesh is made of."""
        return len(seeds(self.vertices, self.triangles.astype(np.int32)))


def skin(meshes: Sequence[Mesh], pose: Pose) -> Skin:
    """The meshes of a part's printed bodies as one skin in the print pose, resting on z = 0."""
    vertices, triangles = joined(meshes)
    placed = apply(pose, vertices)
    if np.linalg.det(pose[:3, :3]) < 0:
        raise ValueError("a print pose turns a part, it does not mirror it")
    lifted = float(placed[:, 2].min(initial=np.inf)) if len(placed) else 0.0
    placed = placed - [0.0, 0.0, lifted]
    vertices, triangles = _single(placed, triangles)
    normals, areas = normals_areas(vertices, triangles.astype(np.int32))
    faults = sorted({m.fault for m in meshes if m.fault})
    return Skin(
        vertices, triangles, normals, areas, lifted, max(m.bound for m in meshes), "; ".join(faults) if faults else None
    )


@cache
def spread(n: int) -> tuple[Floats, Floats]:
    """Shares (u, v) of a triangle's sides at the centres of the n * n congruent triangles it can be cut into."""
    share = [(i + d, j + d) for i in range(n) for j in range(n) for d in (1 / 3, 2 / 3) if i + j + 2 * d < n]
    u, v = np.array(share).T / n
    return u[:, None], v[:, None]


def _single(vertices: Floats, triangles: Ints) -> tuple[Floats, Ints]:
    """The mesh at 32 bits, as the files hold it: vertices that fall together are one, what collapses is dropped."""
    rounded = vertices.astype(np.float32) + np.float32(0.0)  # adding zero turns -0 into 0
    points, same = np.unique(rounded, axis=0, return_inverse=True)
    t = same.reshape(-1)[triangles]
    kept = (t[:, 0] != t[:, 1]) & (t[:, 1] != t[:, 2]) & (t[:, 2] != t[:, 0])
    t = t[kept]
    used, fresh = np.unique(t, return_inverse=True)
    return points[used].astype(np.float64), fresh.reshape(-1, 3).astype(np.int64)
