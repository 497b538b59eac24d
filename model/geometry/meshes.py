"""Plain work on triangle meshes: welding, soundness, volume, areas, point in solid, components.

Owns what can be said of a mesh with numpy alone, so that it stays independent of the mesh kernels it is compared with.
"""

from __future__ import annotations

import numpy as np

from elbowroom.model.geometry.rays import Facets
from elbowroom.model.tolerances import WELD_MM
from elbowroom.parts.vocabulary.arrays import Floats, Ints, Mask, Triangles
from elbowroom.parts.vocabulary.tolerances import TINY


def welded(points: Floats, triangles: Triangles) -> tuple[Floats, Triangles, Mask]:
    """One vertex for each position, the triangles that are left, and which those are.

    Positions within the weld distance become one, also where rounding to a grid would part them.
    """
    label = _clusters(points)
    order, first = np.unique(label, return_index=True)
    renumber = np.empty(int(label.max()) + 1, dtype=np.int32)
    renumber[order] = np.arange(len(order), dtype=np.int32)
    joined = renumber[label[triangles]]
    kept = (joined[:, 0] != joined[:, 1]) & (joined[:, 1] != joined[:, 2]) & (joined[:, 2] != joined[:, 0])
    return np.ascontiguousarray(points[first]), np.ascontiguousarray(joined[kept]), kept


def _clusters(points: Floats) -> Ints:
    """A number for each point, the same for points within the weld distance of each other along every axis in turn."""
    label = np.zeros(len(points), dtype=np.int64)
    for _ in range(2):  # a second round parts points that an axis joined through a neighbour elsewhere
        for axis in range(3):
            order = np.lexsort((points[:, axis], label))
            step = np.diff(points[order, axis]) > WELD_MM
            fresh = np.concatenate([[True], step | (np.diff(label[order]) != 0)])
            ranked = np.cumsum(fresh) - 1
            label = np.empty_like(ranked)
            label[order] = ranked
    return label


def fault_of(vertices: Floats, triangles: Triangles) -> str | None:
    """Why a mesh is no closed, consistently oriented surface; None where it is one."""
    if len(triangles) < 4:
        return "fewer than four triangles"
    if not np.isfinite(vertices).all():
        return "a vertex is not a finite number"
    start = triangles.astype(np.int64)
    end = np.roll(start, -1, axis=1)
    n = len(vertices)
    directed = np.sort((start * n + end).ravel())
    if (np.diff(directed) == 0).any():
        return "an edge is used twice in one direction: the surface meets itself or its triangles disagree on outside"
    if not np.array_equal(directed, np.sort((end * n + start).ravel())):
        return "an edge has a triangle on one side only: the surface is not closed"
    return None


def without_rim(vertices: Floats, triangles: Triangles) -> bool:
    """Whether no edge of a mesh is free: each has two triangles or more, whichever way round, all vertices finite."""
    if len(triangles) < 4 or not np.isfinite(vertices).all():
        return False
    start = triangles.astype(np.int64)
    end = np.roll(start, -1, axis=1)
    low, high = np.minimum(start, end), np.maximum(start, end)
    _, counts = np.unique((low * len(vertices) + high).ravel(), return_counts=True)
    return bool((counts >= 2).all())


def mesh_volume(vertices: Floats, triangles: Triangles) -> float:
    """Signed volume, mm3: positive where the triangles face outward."""
    c = vertices[triangles] - vertices.mean(axis=0)
    return float(np.einsum("ij,ij->", c[:, 0], np.cross(c[:, 1], c[:, 2])) / 6.0)


def normals_areas(vertices: Floats, triangles: Triangles) -> tuple[Floats, Floats]:
    """Unit normals (zero for a triangle without area) and areas, mm2."""
    c = vertices[triangles]
    n = np.cross(c[:, 1] - c[:, 0], c[:, 2] - c[:, 0])
    length = np.linalg.norm(n, axis=1)
    return n / np.where(length > 0, length, 1.0)[:, None], length / 2.0


def seeds(vertices: Floats, triangles: Triangles) -> Ints:
    """One vertex of each connected piece of the surface."""
    label = np.arange(len(vertices))
    while True:
        least = label[triangles].min(axis=1)
        fresh = label.copy()
        for k in range(3):
            np.minimum.at(fresh, triangles[:, k], least)
        fresh = fresh[fresh]
        if np.array_equal(fresh, label):
            return np.unique(label[triangles[:, 0]])
        label = fresh


class Surface:
    """Triangles (m, 3, 3) prepared to be asked for their nearest point."""

    def __init__(self, corners: Floats) -> None:
        self._empty = len(corners) == 0
        self._facets = Facets(corners)  # one without area has no inside: its sides are all there is of it
        self._start = corners.reshape(-1, 3)
        self._along = np.roll(corners, -1, axis=1).reshape(-1, 3) - self._start
        self._over = 1.0 / np.maximum(np.einsum("ij,ij->i", self._along, self._along), TINY)

    def nearest(self, point: Floats) -> tuple[float, Floats]:
        """Least distance from the point, mm, and where; infinity where there are no triangles."""
        if self._empty:
            return float("inf"), point
        off = point - self._start
        t = np.clip((off * self._along).sum(axis=1) * self._over, 0.0, 1.0)
        off -= t[:, None] * self._along
        square = (off * off).sum(axis=1)
        i = int(square.argmin())
        best, on = float(square[i]), point - off[i]
        v, w, h = self._facets.over(point).T
        height = np.where(self._facets.flat & (v >= 0) & (w >= 0) & (v + w <= 1), np.abs(h), np.inf)
        j = int(height.argmin())
        if height[j] ** 2 < best:
            return float(height[j]), point - h[j] * self._facets.units[j]
        return best**0.5, on

    def along_ray(self, point: Floats, direction: Floats, beyond: float) -> float:
        """How far a ray from the point runs before it meets a triangle farther than `beyond`, mm; infinity if none."""
        return float(self._facets.along(point, direction, beyond).min(initial=np.inf))
