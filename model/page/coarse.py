"""Meshes for the eye from afar: a third of the triangles, drawn while a point of the picture is larger than what they
are off by.

Owns how far off they may be. Nothing is measured on them.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.geometry.narrow import Kernel, arrays_of
from elbowroom.model.geometry.scene import Mesh
from elbowroom.parts.vocabulary.arrays import Floats

COARSE_MM = 0.4  # half a point of the picture where a tower fills the height of a screen
MOST_KEPT = 1000  # answers kept, by the mesh itself: who makes page after page of one build has the same ones
WORTH = 0.7  # of the triangles: with more left over, a second mesh is not worth its bytes


@lru_cache(MOST_KEPT)
def coarse(mesh: Mesh) -> tuple[Floats, NDArray[np.int32]] | None:
    """Vertices and triangles off the mesh by no more than COARSE_MM; None where that saves little, or cannot be had."""
    kernel = Kernel(mesh)
    if kernel.fault is not None:
        return None
    vertices, triangles = arrays_of(kernel.manifold.simplify(COARSE_MM))
    return (vertices, triangles) if 0 < len(triangles) < WORTH * len(mesh.triangles) else None
