"""The mesh kernels: overlap volume by manifold3d, distance and close triangle pairs by coal.

Owns the one place where those libraries are called, and the kernel objects of one body, made when first needed. All of
a pair is counted in the first body's coordinates; `turn` and `move` place the second in them. Leaves what the numbers
mean to `geometry.judge`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import coal
import manifold3d
import numpy as np
from numpy.typing import NDArray

from elbowroom.model.geometry.enclosure import Enclosure
from elbowroom.model.geometry.meshes import seeds
from elbowroom.model.geometry.scene import Mesh
from elbowroom.model.geometry.trees import tree_of
from elbowroom.model.tolerances import FLOAT32_STEP, GRAIN_MM, MAX_CLOSE_PAIRS, VOLUME_REL
from elbowroom.parts.vocabulary.arrays import Floats, Ints
from elbowroom.parts.vocabulary.winding import goes_round

Some = tuple[Ints | None, Ints | None]  # triangles of a first body and of a second; None: all
_HERE = coal.Transform3s()


class Kernel:
    """One body's mesh with what the mesh kernels make of it."""

    def __init__(self, mesh: Mesh) -> None:
        self.mesh = mesh
        self.bound = mesh.bound
        self.fault = mesh.fault
        if self.fault is None and self.manifold.status() != manifold3d.Error.NoError:
            self.fault = f"the mesh kernel refuses it ({self.manifold.status().name})"
        self.lo: Floats = mesh.vertices.min(axis=0) if len(mesh.vertices) else np.zeros(3)
        self.hi: Floats = mesh.vertices.max(axis=0) if len(mesh.vertices) else np.zeros(3)

    @cached_property
    def manifold(self) -> Any:
        return manifold_of(self.mesh.vertices, self.mesh.triangles)

    @cached_property
    def bvh(self) -> Any:
        return tree_of(self.mesh.vertices, self.mesh.triangles)

    def some(self, which: Ints | None) -> Any:
        """The tree of some of its triangles; of all of them where `which` is None."""
        return self.bvh if which is None else tree_of(self.mesh.vertices, self.mesh.triangles[which])

    @cached_property
    def enclosure(self) -> Enclosure:
        return Enclosure(self.mesh)

    @cached_property
    def seeds(self) -> Floats:
        """A vertex of each connected piece of the surface."""
        return self.mesh.vertices[seeds(self.mesh.vertices, self.mesh.triangles)]

    @cached_property
    def grain(self) -> float:
        """What its vertices may be off by for being kept in single precision, as in an STL file; 0 if they are not."""
        v = self.mesh.vertices
        if self.mesh.faces is not None or not np.array_equal(v.astype(np.float32), v):
            return 0.0
        return float(np.abs(v).max(initial=0.0)) * FLOAT32_STEP

    def holds(self, point: Floats) -> bool:
        """Whether a point away from the surface lies inside."""
        if (point < self.lo).any() or (point > self.hi).any():
            return False
        return goes_round(point, self.mesh.vertices[self.mesh.triangles])


def crossing(vertices: Floats, triangles: NDArray[np.int32], volume: float) -> str | None:
    """Why a closed mesh is no boundary of a solid: it crosses itself, so that some is inside out or counted twice.

    Its union with itself counts what is truly inside once; where that is another volume, the surface crosses itself.
    """
    solid = manifold_of(vertices, triangles)
    if abs(float((solid + solid).volume()) - volume) > VOLUME_REL * volume:
        return "its surface crosses itself"
    return None


def coarse(vertices: Floats) -> str | None:
    """Why a mesh kept in single precision is too far from its origin to be judged; None where it is near enough."""
    if not np.array_equal(vertices.astype(np.float32), vertices):
        return None
    grain = float(np.abs(vertices).max(initial=0.0)) * FLOAT32_STEP
    if grain <= GRAIN_MM:
        return None
    return f"it is drawn so far from its origin that its points are known to {grain:.2g} mm only; move it to the origin"


def manifold_of(vertices: Floats, triangles: NDArray[np.int32]) -> Any:
    """The solid of a closed mesh, in double precision."""
    v, t = np.array(vertices, order="C"), np.array(triangles, dtype=np.uint64, order="C")  # it refuses read-only ones
    return manifold3d.Manifold(manifold3d.Mesh64(v, t))


def arrays_of(solid: Any) -> tuple[Floats, NDArray[np.int32]]:
    """Vertices and triangles of a manifold3d solid."""
    m = solid.to_mesh64()
    return np.asarray(m.vert_properties)[:, :3].astype(np.float64), np.asarray(m.tri_verts).astype(np.int32)


@dataclass(frozen=True, slots=True, eq=False)
class Nearest:
    """Least distance of two meshes, mm, 0 where they meet; where, and on which triangle of each."""

    distance: float
    point_a: Floats
    point_b: Floats
    triangle_a: int
    triangle_b: int


def nearest(a: Kernel, b: Kernel, turn: Floats, move: Floats) -> Nearest:
    """The two surfaces' least distance: it knows nothing of one body inside the other."""
    request, result = coal.DistanceRequest(), coal.DistanceResult()
    d = coal.distance(a.bvh, _HERE, b.bvh, coal.Transform3s(turn, move), request, result)
    p, q = np.array(result.getNearestPoint1()), np.array(result.getNearestPoint2())
    return Nearest(max(float(d), 0.0), p, q, int(result.b1), int(result.b2))


def common(a: Kernel, b: Kernel, turn: Floats, move: Floats) -> Any:
    """The solid that the two meshes share (manifold3d); empty where they only touch."""
    return a.manifold ^ b.manifold.transform(np.hstack([turn, move.reshape(3, 1)]))


class ClosePairs:
    """Pairs of triangles near each other: their numbers, and on demand a direction from one to the other.

    complete: whether these are all there are within the margin asked for.
    """

    def __init__(self, contacts: Any, complete: bool, some: Some = (None, None)) -> None:
        self._contacts = contacts
        self.complete = complete
        both = np.array([(c.b1, c.b2) for c in contacts], dtype=np.int64).reshape(-1, 2)
        self.i, self.j = (own if part is None else part[own] for own, part in zip(both.T, some, strict=True))

    def towards(self, which: Ints) -> Floats:
        """Directions (k, 3) of the pairs asked about; zero where the kernel has none."""
        out = np.array([self._contacts[int(k)].normal for k in which], dtype=np.float64).reshape(-1, 3)
        out[~np.isfinite(out).all(axis=1)] = 0.0
        return out


def close_pairs(
    a: Kernel,
    b: Kernel,
    turn: Floats,
    move: Floats,
    margin: float,
    most: int = MAX_CLOSE_PAIRS,
    some: Some = (None, None),
) -> ClosePairs:
    """The pairs of triangles within `margin` mm; where there are more than `most`, some of them.

    `some`: which triangles of each body are looked at; all where that is None.
    """
    request, result = coal.CollisionRequest(), coal.CollisionResult()
    request.num_max_contacts = most
    request.enable_contact = True
    request.security_margin = margin
    coal.collide(a.some(some[0]), _HERE, b.some(some[1]), coal.Transform3s(turn, move), request, result)
    return ClosePairs(list(result.getContacts()), result.numContacts() < most, some)


def held(a: Kernel, b: Kernel, turn: Floats, move: Floats) -> tuple[bool, bool]:
    """For meshes whose surfaces do not meet: whether a piece of a lies in b, and of b in a, by point in solid."""
    into_b = (a.seeds - move) @ turn
    into_a = b.seeds @ turn.T + move
    return any(b.holds(p) for p in into_b), any(a.holds(p) for p in into_a)
