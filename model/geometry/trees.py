"""Trees of triangles: the engine's form of obstacles, built once a mesh, and once for each set of wanted margins.

Owns what `freespace` asks the collision engine with: meshes as trees, which live as long as the mesh, obstacles with
one margin merged into one tree, bars and requests. Millimetres.
"""

from __future__ import annotations

import hashlib
import weakref
from collections.abc import Sequence
from functools import cached_property

import coal
import numpy as np
from numpy.typing import NDArray

from elbowroom.model.geometry.envelopes import Obstacle
from elbowroom.model.geometry.inside import Insides
from elbowroom.parts.vocabulary.arrays import Floats, Ints

# mm: the engine's iterations stop within it (measured: 1e-13 for bars with round ends, 2e-6 for flat ones), so that a
# distance equal to the margin counts as free.
ENGINE_EPS = 1e-5
THIN = 1e-6  # mm: radius of the bar that stands for an axis: below every other tolerance here

FEW = 4000  # bars that are asked about one obstacle after another before the obstacles are merged (measured)

HERE = coal.Transform3s.Identity()


def tree_of(vertices: Floats, triangles: NDArray[np.int32] | Ints) -> coal.BVHModelOBBRSS:
    """The engine's form of a mesh."""
    model = coal.BVHModelOBBRSS()
    model.beginModel(len(triangles), len(vertices))
    model.addVertices(np.ascontiguousarray(vertices, dtype=float))
    model.addTriangles(np.ascontiguousarray(triangles, dtype=np.int64))
    model.endModel()
    return model


_TREES: dict[tuple[int, int], coal.BVHModelOBBRSS] = {}


def lasting_tree(vertices: Floats, triangles: NDArray[np.int32]) -> coal.BVHModelOBBRSS:
    """The tree of a mesh that is not written to, made once for as long as its two arrays live."""
    key = (id(vertices), id(triangles))
    if key not in _TREES:
        _TREES[key] = tree_of(vertices, triangles)
        for array in (vertices, triangles):
            weakref.finalize(array, _TREES.pop, key, None).atexit = False
    return _TREES[key]


class Group:
    """Obstacles with one margin as one tree: `need` is their largest margin plus bound."""

    __slots__ = ("box", "margin", "need", "owner", "tree")

    def __init__(self, block: Block, members: Ints, margin: float) -> None:
        self.tree, self.owner = block.merged(members)
        bounds = block.bounds[members]
        self.margin, self.need = margin, margin + float(bounds.max())
        self.box = (block.lo[members].min(axis=0) - self.need, block.hi[members].max(axis=0) + self.need)


class Block:
    """A fixed set of obstacles and the trees built over it so far."""

    def __init__(self, obstacles: Sequence[Obstacle]) -> None:
        self.obstacles = tuple(obstacles)
        self.lo = np.array([o.vertices.min(axis=0) for o in self.obstacles]).reshape(-1, 3)
        self.hi = np.array([o.vertices.max(axis=0) for o in self.obstacles]).reshape(-1, 3)
        self.bounds = np.array([o.bound for o in self.obstacles], dtype=float)
        self._trees: dict[int, tuple[coal.BVHModelOBBRSS, coal.Transform3s]] = {}
        self._asked = 0
        self._groups: dict[tuple[float, ...], list[Group]] = {}
        self._merged: dict[tuple[int, ...], tuple[coal.BVHModelOBBRSS, Ints]] = {}

    def tree(self, i: int) -> tuple[coal.BVHModelOBBRSS, coal.Transform3s]:
        """One obstacle's tree and where it stands."""
        if i not in self._trees:
            o = self.obstacles[i]
            if o.own is None:
                self._trees[i] = (lasting_tree(o.vertices, o.triangles), HERE)
            else:
                vertices, pose = o.own
                there = coal.Transform3s(np.ascontiguousarray(pose[:3, :3]), np.ascontiguousarray(pose[:3, 3]))
                self._trees[i] = (lasting_tree(vertices, o.triangles), there)
        return self._trees[i]

    def often(self, bars: int) -> bool:
        """Whether so many bars more make it worth merging the obstacles, which costs as much as some thousand answers
        of one tree each.
        """
        self._asked += bars
        return self._asked > FEW

    def merged(self, members: Ints) -> tuple[coal.BVHModelOBBRSS, Ints]:
        """Some obstacles as one tree, whatever margin they have, and whose each triangle is."""
        key = tuple(members.tolist())
        if key not in self._merged:
            some = [self.obstacles[i] for i in members]
            shifts = np.cumsum([0, *(len(o.vertices) for o in some[:-1])])
            v = np.vstack([o.vertices for o in some])
            f = np.vstack([o.triangles + s for o, s in zip(some, shifts, strict=True)])
            self._merged[key] = (tree_of(v, f), np.repeat(members, [len(o.triangles) for o in some]))
        return self._merged[key]

    def groups(self, margins: Floats) -> list[Group]:
        key = tuple(margins.tolist())
        if key not in self._groups:
            self._groups[key] = [Group(self, np.nonzero(margins == m)[0], float(m)) for m in np.unique(margins)]
        return self._groups[key]

    @cached_property
    def digests(self) -> list[str]:
        """Of each obstacle's mesh as it stands."""
        out = []
        for o in self.obstacles:
            mesh = hashlib.blake2b(o.vertices.tobytes(), digest_size=16)
            mesh.update(o.triangles.tobytes())
            out.append(mesh.hexdigest())
        return out

    @cached_property
    def insides(self) -> Insides:
        return Insides([(o.vertices, o.triangles) for o in self.obstacles], [o.fault is None for o in self.obstacles])


def bar_of(round_ends: bool, radius: float, length: float, need: float) -> coal.ShapeBase:
    """The engine's form of a bar. The engine takes no margin below 0, so where ENGINE_EPS cannot come off the margin it
    comes off the bar.
    """
    less = max(0.0, ENGINE_EPS - need)
    if round_ends:
        return coal.Capsule(radius - less, length)
    return coal.Cylinder(radius - less, max(length - 2 * less, THIN))


def nearer_than(need: float) -> coal.CollisionRequest:
    """Asks for one contact nearer than `need` mm."""
    out = coal.CollisionRequest()
    out.security_margin = max(0.0, need - ENGINE_EPS)
    out.num_max_contacts = 1
    out.enable_contact = True
    return out
