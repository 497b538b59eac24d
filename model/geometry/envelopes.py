"""What is asked about free space: round rods, chains of them, and meshes, as plain values.

Owns the nouns of the free-space oracle and their boxes and frames. Millimetres. Leaves the answers to `freespace`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.geometry.scene import Scene
from elbowroom.parts.vocabulary.arrays import Floats as Floats  # model.tubes takes it from here
from elbowroom.parts.vocabulary.arrays import Ints, Mask
from elbowroom.parts.vocabulary.pose import Pose, apply
from elbowroom.parts.vocabulary.tolerances import TINY

Point = tuple[float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Obstacle:
    """A closed mesh in case coordinates: vertices (n, 3) mm, triangles (m, 3) outward.

    bound: mm the true surface may lie from the mesh. fault: why the mesh is not a sound closed surface; its triangles
    still stand in the way, but "not inside it" rests on its solid angle alone. own: the vertices in the part's own
    coordinates and the pose that takes them to `vertices`, for an obstacle that may be met again in other places.
    """

    name: str
    vertices: Floats
    triangles: NDArray[np.int32]
    bound: float = 0.0
    fault: str | None = None
    own: tuple[Floats, Pose] | None = None


@dataclass(frozen=True, slots=True)
class Margins:
    """Wanted distance to every obstacle, mm: a default, and a figure of its own for those named in `special`."""

    default: float = 0.0
    special: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))

    def to(self, name: str) -> float:
        return self.special.get(name, self.default)


NO_MARGIN = Margins()


@dataclass(frozen=True, slots=True)
class Rod:
    """A solid round bar from `start` to `end`, mm; `round_ends` adds a half ball at each end (a capsule)."""

    start: Point
    end: Point
    radius: float
    round_ends: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Rods:
    """Many bars of one kind: starts and ends (n, 3), radii (n,), mm."""

    starts: Floats
    ends: Floats
    radii: Floats
    round_ends: bool = True

    def __len__(self) -> int:
        return len(self.starts)

    def boxes(self) -> tuple[Floats, Floats]:
        """Lower and upper corners (n, 3) of boxes that hold the bars."""
        r = self.radii[:, None]
        if not self.round_ends:
            d = self.ends - self.starts
            along = d / np.maximum(np.linalg.norm(d, axis=1), TINY)[:, None]
            r = r * np.sqrt(np.clip(1 - along**2, 0.0, 1.0))
        return np.minimum(self.starts, self.ends) - r, np.maximum(self.starts, self.ends) + r

    def frames(self) -> tuple[Floats, Floats, Floats]:
        """Rotations (n, 3, 3) with z along each bar, midpoints (n, 3) and lengths (n,)."""
        d = self.ends - self.starts
        length = np.linalg.norm(d, axis=1)
        z = np.where(length[:, None] > 0, d / np.maximum(length, TINY)[:, None], (0.0, 0.0, 1.0))
        x = _cross(z, np.eye(3)[np.argmin(np.abs(z), axis=1)])
        x /= np.linalg.norm(x, axis=1)[:, None]
        return np.stack([x, _cross(z, x), z], axis=2), (self.starts + self.ends) / 2, length

    def thinned(self, less: float) -> tuple[Ints, Rods]:
        """The bars of which something is left once `less` mm are taken off all round, by their rows, and what is."""
        d = self.ends - self.starts
        length = np.linalg.norm(d, axis=1)
        off = np.zeros(len(self)) if self.round_ends else np.full(len(self), less)
        rows = np.nonzero((self.radii > less) & (length > 2 * off))[0]
        step = d[rows] * (off[rows] / np.maximum(length[rows], TINY))[:, None]
        left = Rods(self.starts[rows] + step, self.ends[rows] - step, self.radii[rows] - less, self.round_ends)
        return rows, left

    def take(self, rows: Ints | Mask) -> Rods:
        return Rods(self.starts[rows], self.ends[rows], self.radii[rows], self.round_ends)

    def one(self, i: int) -> Rod:
        a, b = self.starts[i], self.ends[i]
        return Rod((a[0], a[1], a[2]), (b[0], b[1], b[2]), float(self.radii[i]), self.round_ends)


def _cross(a: Floats, b: Floats) -> Floats:
    """Cross products of rows (n, 3): numpy's own takes a tenth of a millisecond to find out what it was given."""
    out = np.empty(a.shape)
    for k, u, v in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        out[:, k] = a[:, u] * b[:, v] - a[:, v] * b[:, u]
    return out


def posed(rod: Rod, poses: Floats) -> Rods:
    """One bar in every pose (n, 4, 4)."""
    n = len(poses)
    a, b = (poses[:, :3, :3] @ np.asarray(p, dtype=float) + poses[:, :3, 3] for p in (rod.start, rod.end))
    return Rods(a, b, np.full(n, rod.radius), rod.round_ends)


Manner = Literal["near", "overlap", "through", "inside"]


@dataclass(frozen=True, slots=True)
class Blockage:
    """Why an envelope is not free: the obstacle, the distance wanted (mm) and the certified distance there is.

    clearance: distance to the mesh less its bound; below 0 the envelope reaches that deep in. For a bar that overlaps
    it is the lesser of two figures: how much thinner or how much shorter (from its start) the bar would have to be to
    come free; how much shorter where its own axis meets the obstacle. manner: `near` (apart, but too near), `overlap`,
    `through` (the bar's own axis meets the obstacle) or `inside` (wholly within the solid; then clearance is the depth
    under its surface, below 0). at: point on the obstacle. on: the point of the envelope's axis (or surface, of a mesh)
    that is nearest to it.
    """

    obstacle: str
    required: float
    clearance: float
    manner: Manner
    at: Point
    on: Point

    @property
    def shortfall(self) -> float:
        """mm that are missing."""
        return self.required - self.clearance


def obstacles_of(scene: Scene, *, ignore: Collection[str] = (), family: str | None = None) -> tuple[Obstacle, ...]:
    """Every solid of a scene as an obstacle named piece/body, without the pieces named in `ignore`.

    Keep-outs are obstacles too, save those that admit the part `family` that is to stand there.
    """
    out = []
    for s in scene.solids:
        if s.piece.name in ignore or (s.body.keep_out is not None and family is not None and family in s.body.admits):
            continue
        out.append(
            Obstacle(
                s.name, apply(s.pose, s.mesh.vertices), s.mesh.triangles, float(s.mesh.bound), s.mesh.fault,
                (s.mesh.vertices, s.pose),
            )
        )  # fmt: skip
    return tuple(out)
