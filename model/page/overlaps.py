"""The room two bodies share, as a solid to be seen.

Owns which findings have one. The overlap is of the meshes, for the eye: its depth and volume are the finding's.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.geometry.narrow import Kernel, arrays_of, common
from elbowroom.model.geometry.scene import Scene, Solid
from elbowroom.model.told.findings import FAILING, Finding
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.pose import apply

SHARING = frozenset({"interference", "keep-out"})  # questions about room that two bodies take up both


def overlaps(scene: Scene, findings: Sequence[Finding]) -> Iterator[tuple[str, Floats, NDArray[np.int32]]]:
    """Finding's id, and vertices (case coordinates, mm) and triangles of what the two bodies share."""
    solids = {s.name: s for s in scene.solids}
    kernels: dict[int, Kernel] = {}

    def kernel(s: Solid) -> Kernel:
        return kernels.setdefault(id(s.mesh), Kernel(s.mesh))

    for f in findings:
        if f.question not in SHARING or f.verdict not in FAILING or len(f.bodies) != 2:
            continue
        a, b = (solids.get(name) for name in f.bodies)
        if a is None or b is None or kernel(a).fault or kernel(b).fault:
            continue
        turn = a.pose[:3, :3].T @ b.pose[:3, :3]
        move = a.pose[:3, :3].T @ (b.pose[:3, 3] - a.pose[:3, 3])
        vertices, triangles = arrays_of(common(kernel(a), kernel(b), turn, move))
        if len(triangles):
            yield f.id, apply(a.pose, vertices), triangles
