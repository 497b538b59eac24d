"""The scene as a port's questions see it: what stands in the way of what, and where each port is.

Owns the spaces that envelopes are put to (a fitting, a tube, a hand), the ports with their seats, and which solids
lie near one. Leaves the questions to the other modules of this room.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np

from elbowroom.model.geometry.envelopes import Obstacle, Rod, Rods, obstacles_of, posed
from elbowroom.model.geometry.freespace import FREE, Space
from elbowroom.model.geometry.looked import Blocks, note
from elbowroom.model.geometry.narrow import manifold_of
from elbowroom.model.geometry.scene import Scene, Solid
from elbowroom.model.layout.identity import Port
from elbowroom.model.layout.layout import Piece
from elbowroom.model.loop.plumbing import ports_of
from elbowroom.model.store import Store
from elbowroom.parts.case.case import Case
from elbowroom.parts.vocabulary.arrays import Floats, Mask
from elbowroom.parts.vocabulary.base import Frame
from elbowroom.parts.vocabulary.pose import Pose

# mm above the land at which a fitting's envelope begins. Below it the fitting touches the land, as it must; above it
# everything counts. Well over the error of a mesh (0.075), well under anything a caliper finds on a land.
LIFT = 0.2
LIFT_OVER = 0.02  # mm by which the envelope clears the port's own mesh error where that is larger than usual

FEW = 16  # poses up to which all bars of an envelope are asked at once: one question costs as much as some ten bars
RUN_STEP = 0.01  # mm: a free length is narrowed to this: what calipers show
SLICES = 16  # of a length, asked at once
WORTH = 2.0  # times the room of its parts that a bar holding them all may take and still be worth asking first
_PARALLEL = 1e-9  # sine of the angle under which bars lie along one direction: rounding of posed ones is 1e-15


@dataclass(frozen=True, slots=True, eq=False)
class Site:
    """A female port that stands somewhere. pose: its frame in case coordinates. lift: mm, see LIFT."""

    port: Port
    piece: Piece
    frame: Frame
    pose: Pose
    lift: float

    @property
    def origin(self) -> Floats:
        return self.pose[:3, 3]

    @property
    def axis(self) -> Floats:
        return self.pose[:3, 2]


class Rooms:
    """A scene without fittings and tubes, ready for the questions about its ports."""

    def __init__(self, scene: Scene, store: Store, *, less: float = 0.0, base: Rooms | None = None) -> None:
        """less: mm that every bar is asked about thinner and, at each end, shorter than it is; see `Space`. base: rooms
        of the first of the scene's solids, whose spaces are then extended by the others, which must be real ones.
        """
        self.scene, self.store, self.layout, self.less, self._base = scene, store, scene.layout, less, base
        self.solids = {s.name: s for s in scene.solids}
        self.real = tuple(s for s in scene.solids if s.body.keep_out is None)
        self._removable = {
            f"{p.name}/{body}"
            for p in scene.layout.pieces
            if isinstance(p.part, Case)
            for body in (p.part.panel("open"), "back-side")
        }
        self.lo = np.array([s.lo for s in scene.solids]).reshape(-1, 3)
        self.hi = np.array([s.hi for s in scene.solids]).reshape(-1, 3)

    @cached_property
    def sites(self) -> tuple[Site, ...]:
        """Every female port, in the layout's order."""
        bounds: dict[str, float] = {}
        for s in self.real:
            bounds[s.piece.name] = max(bounds.get(s.piece.name, 0.0), s.mesh.bound)
        return tuple(
            Site(Port(p.name, f.name), p, f, p.frame_pose(f.name), max(LIFT, bounds.get(p.name, 0.0) + LIFT_OVER))
            for p, f in ports_of(self.layout)
        )

    # Spaces ---------------------------------------------------------------------------------------------------------

    @cached_property
    def _obstacles(self) -> dict[str, Obstacle]:
        return {o.name: o for o in obstacles_of(self.scene)}

    def _those(self, solids: list[Solid]) -> list[Obstacle]:
        return [self._obstacles[s.name] for s in solids]

    @cached_property
    def workshop(self) -> Space:
        """What is in the way while the loop is put together: real solids, with the side panels off."""
        if self._base is not None:
            return self._base.workshop.extended(self._those(list(self.scene.solids[len(self._base.scene.solids) :])))
        return Space(self._those([s for s in self.real if s.name not in self._removable]), less=self.less)

    @cached_property
    def rest(self) -> Space:
        """What is in a fitting's way besides once the case is closed: panels, and keep-outs that admit no fittings."""
        return Space(self._closing("fitting"), less=self.less) if self._base is None else self._base.rest

    @cached_property
    def standing(self) -> Space:
        """All that a fitting may not stand in: `workshop` and `rest`."""
        return self.workshop.extended(self._closing("fitting"))

    @cached_property
    def tubes(self) -> Space:
        """The same for a tube."""
        own = [s for s in self.scene.solids if ("fitting" in s.body.admits) != ("tube" in s.body.admits)]
        return self.workshop.extended(self._closing("tube")) if own else self.standing

    def _closing(self, family: str) -> list[Obstacle]:
        more = [
            s
            for s in self.scene.solids
            if s.name in self._removable or (s.body.keep_out is not None and family not in s.body.admits)
        ]
        return self._those(more)

    # What is near ---------------------------------------------------------------------------------------------------

    def near(self, lo: Floats, hi: Floats) -> list[Solid]:
        """The solids, keep-outs too, whose box meets a box."""
        note(lo, hi)
        met = np.all((self.lo <= hi) & (self.hi >= lo), axis=1)
        return [self.scene.solids[i] for i in np.nonzero(met)[0]]

    def meeting(self, blocks: Blocks) -> list[Solid]:
        """The solids, keep-outs too, that meet a record of where somebody looked."""
        bound = np.array([[s.mesh.bound] for s in self.scene.solids]).reshape(-1, 1)
        return [self.scene.solids[i] for i in blocks.met(self.lo - bound, self.hi + bound)]

    def around(self, site: Site, distance: float) -> list[Solid]:
        """The solids whose box comes within `distance` mm of a port, along every axis."""
        return self.near(site.origin - distance, site.origin + distance)

    def manifold(self, solid: Solid) -> Any:
        """The solid of a body in its part's coordinates (manifold3d)."""
        key = (solid.shape.key, solid.body.name)
        found = self.store.recall("reach-solid", key)
        if found is None:
            found = manifold_of(solid.mesh.vertices, solid.mesh.triangles)
            self.store.remember("reach-solid", key, found)
        return found

    def mated(self, a: str, b: str) -> bool:
        """Whether a mate joins two pieces."""
        return any({m.piece, m.to_piece} == {a, b} for m in self.layout.mates)


def stands_free(space: Space, rods: Sequence[Rod], poses: Floats) -> Mask:
    """For each pose (n, 4, 4) whether all bars of an envelope stand free.

    One bar that holds them all, if it is not much larger, is asked first: where it is free nothing else need be asked.
    """
    if not len(poses) or not rods:
        return np.ones(len(poses), dtype=bool)
    if len(rods) == 1:
        return ~bars_met(space, [(rods[0], poses)])
    free = np.zeros(len(poses), dtype=bool)
    whole = holding(tuple(rods))
    if _size(whole) < WORTH * sum(_size(r) for r in rods):
        free = ~bars_met(space, [(whole, poses)])
    rows = np.nonzero(~free)[0]
    if len(rows) > FEW or len({r.round_ends for r in rods}) != 1:
        free[rows] = space.stack(rods, poses[rows]) == FREE
    elif len(rows):
        met = bars_met(space, [(r, poses[rows]) for r in rods])
        free[rows] = ~met.reshape(len(rods), len(rows)).any(axis=0)
    return free


def _size(r: Rod) -> float:
    """A bar's volume in units of pi, its ends taken as flat."""
    return r.radius**2 * math.dist(r.start, r.end)


@lru_cache(maxsize=4096)
def holding(rods: tuple[Rod, ...]) -> Rod:
    """A flat-ended bar that holds all of some bars, along the first where they are parallel, else from end to end."""
    a, b = np.array([r.start for r in rods]), np.array([r.end for r in rods])
    thick, ends = np.array([r.radius for r in rods]), np.vstack([a, b])
    each = (b - a) / np.linalg.norm(b - a, axis=1)[:, None]
    along = each[0]
    slant = np.linalg.norm(np.cross(each, along), axis=1)
    if slant.max() > _PARALLEL:
        along = (b[-1] - a[0]) / np.linalg.norm(b[-1] - a[0])
        slant = np.linalg.norm(np.cross(each, along), axis=1)
    past = np.tile(np.where([r.round_ends for r in rods], 1.0, np.minimum(slant + _PARALLEL, 1.0)) * thick, 2)
    at = ends @ along
    aside = ends - at[:, None] * along
    middle = (aside.min(axis=0) + aside.max(axis=0)) / 2
    middle = middle - (middle @ along) * along
    radius = float((np.linalg.norm(aside - middle, axis=1) + np.tile(thick, 2)).max())
    start, end = (middle + s * along for s in (float((at - past).min()), float((at + past).max())))
    return Rod((start[0], start[1], start[2]), (end[0], end[1], end[2]), radius)


def bars_met(space: Space, bars: Sequence[tuple[Rod, Floats]]) -> Mask:
    """For every bar of one kind in each of its own poses, one after another, whether it meets anything."""
    each = [posed(r, poses) for r, poses in bars]
    if not each:
        return np.zeros(0, dtype=bool)
    every = Rods(
        np.concatenate([b.starts for b in each]), np.concatenate([b.ends for b in each]),
        np.concatenate([b.radii for b in each]), each[0].round_ends,
    )  # fmt: skip
    met: Mask = space.met(every) != FREE
    return met
