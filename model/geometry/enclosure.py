"""Where the true surface can be, given its triangles: sound bounds on the gap between two drawn bodies.

A row of `surfaces` says what a triangle was drawn from: kind; point on the axis (3); direction of the axis (3);
radius at that point; growth of the radius along the axis; and how far the true surface may stray, mm.

- FLAT: the triangle is the surface, but for slivers along curved edges, which lie in their neighbours' enclosures.
- ROUND: a cylinder or cone bounded by rulings and circles. Over a triangle it lies within the hull of six points: at
  the triangle's two ends along the axis, the ends of the arc and the point where the tangents at those ends meet.
- CURVED: anything else: the triangle, thickened by how far the surface strays. Of a sphere the row also names its
  centre and radius, of a torus centre, axis, radius and (as the growth) the radius of its tube: the surface lies within
  the whole sphere or torus, too, which along the normal of a tangent plane is exact.

How far two enclosures are apart at least is `geometry.parting`'s.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np

from elbowroom.model.geometry.meshes import Surface, normals_areas
from elbowroom.model.geometry.scene import Mesh
from elbowroom.parts.vocabulary.arrays import Floats, Ints
from elbowroom.parts.vocabulary.tolerances import ROUNDING, TINY

FLAT, ROUND, CURVED = 0.0, 1.0, 2.0
SURFACE_COLUMNS = 10
_WIDEST = 1.0  # rad, half of the arc a ROUND triangle may span: the angle asked for keeps it far below


def about_axis(corners: Floats, rows: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """For triangles (m, 3, 3) on ROUND rows (m, 10): heights (m, 2) of both ends, and the directions of the arc's
    start, end (m, 2, 3) and middle (m, 3) with the half angle (m,)."""
    origin, axis = rows[:, 1:4], rows[:, 4:7]
    off = corners - origin[:, None]
    height = np.einsum("mki,mi->mk", off, axis)
    radial = off - height[:, :, None] * axis[:, None]
    length = np.linalg.norm(radial, axis=2)
    unit = radial / np.maximum(length, TINY)[:, :, None]
    unit = np.where((length > ROUNDING)[:, :, None], unit, 0.0)  # the tip of a cone has no direction
    middle = unit.sum(axis=1)
    middle /= np.maximum(np.linalg.norm(middle, axis=1), TINY)[:, None]
    side = np.cross(axis, middle)
    angle = np.arctan2(np.einsum("mki,mi->mk", unit, side), np.einsum("mki,mi->mk", unit, middle))
    lo, hi = angle.min(axis=1), angle.max(axis=1)

    def at(a: Floats) -> Floats:
        out: Floats = np.cos(a)[:, None] * middle + np.sin(a)[:, None] * side
        return out

    ends = np.stack([at(lo), at(hi)], axis=1)
    heights = np.stack([height.min(axis=1), height.max(axis=1)], axis=1)
    return heights, ends, at((lo + hi) / 2), (hi - lo) / 2


def round_sagitta(corners: Floats, row: Floats) -> float | None:
    """Greatest distance of a ROUND surface from its triangles, mm; None where one spans too wide an arc to be sure."""
    rows = np.broadcast_to(row, (len(corners), SURFACE_COLUMNS))
    heights, _, _, half = about_axis(corners, rows)
    if half.max(initial=0.0) > _WIDEST:
        return None
    radius = np.abs(row[7] + row[8] * heights).max(axis=1)
    return float((radius * (1.0 - np.cos(half))).max(initial=0.0))


class Enclosure:
    """The enclosures of one body's triangles, in the body's coordinates."""

    def __init__(self, mesh: Mesh) -> None:
        self.mesh = mesh
        self.corners: Floats = mesh.vertices[mesh.triangles]
        self.normals, self.areas = normals_areas(mesh.vertices, mesh.triangles)
        if mesh.faces is None or mesh.surfaces is None:
            self.rows = np.zeros((len(mesh.triangles), SURFACE_COLUMNS))
        else:
            self.rows = mesh.surfaces[mesh.faces]
        self.kind = self.rows[:, 0]
        self.stray = np.where(self.kind == CURVED, self.rows[:, 9], 0.0)
        self.curved: Ints = np.flatnonzero(self.kind != FLAT)
        self._curves: Surface | None = None
        self._reach: tuple[Floats, Floats] | None = None

    def hulls(self, which: Ints) -> Floats:
        """Six points (k, 6, 3) around each triangle; the surface lies in their hull thickened by `stray`."""
        return self.hulls_and_sides(which)[0]

    def hulls_and_sides(self, which: Ints) -> tuple[Floats, Floats]:
        """The same, and the normals (k, 2, 3) at the two ends of a ROUND triangle's arc; zero for others.

        A fillet ends in the plane it runs into, so what lies beyond that plane is parted from it by this normal.
        """
        out = np.concatenate([self.corners[which]] * 2, axis=1)
        sides = np.zeros((len(which), 2, 3))
        ring = np.flatnonzero(self.kind[which] == ROUND)
        if len(ring):
            rows = self.rows[which[ring]]
            heights, ends, middle, half = about_axis(self.corners[which[ring]], rows)
            radius = np.abs(rows[:, 7:8] + rows[:, 8:9] * heights)
            base = rows[:, None, 1:4] + heights[:, :, None] * rows[:, None, 4:7]
            tip = base + (radius / np.cos(half)[:, None])[:, :, None] * middle[:, None]
            arc = base[:, :, None] + radius[:, :, None, None] * ends[:, None]
            out[ring] = np.concatenate([tip, arc.reshape(len(ring), 4, 3)], axis=1)
            sides[ring] = ends
        return out, sides

    @cached_property
    def curved_hulls(self) -> Floats:
        """Hulls (k, 6, 3) of all triangles that are not flat."""
        return self.hulls(self.curved)

    @cached_property
    def beside(self) -> Ints:
        """For each triangle, up to three (n, 3), a ROUND triangle whose arc cuts a sliver off it; -1 where none does.

        A flat face ends at a hole's arc and not at its chord: what a flat triangle there has beyond the chord is void.
        """
        out = np.full((len(self.corners), 3), -1, dtype=np.int64)
        if not (self.kind == ROUND).any():
            return out
        t = self.mesh.triangles.astype(np.int64)
        ends = np.stack([t, np.roll(t, -1, axis=1)], axis=2).reshape(-1, 2)
        order = np.lexsort(np.sort(ends, axis=1).T)
        one, other = order[::2], order[1::2]  # a closed mesh has every edge twice
        for mine, yours in ((one, other), (other, one)):
            own, near = mine // 3, yours // 3
            at = np.flatnonzero((self.kind[own] == FLAT) & (self.kind[near] == ROUND))
            if not len(at):
                continue
            rows = self.rows[near[at]]
            tri = self.corners[own[at]]
            edge = mine[at] % 3
            k = np.arange(len(at))
            first, second, third = tri[k, edge], tri[k, (edge + 1) % 3], tri[k, (edge + 2) % 3]
            middle = (first + second) / 2
            radial = middle - rows[:, 1:4]
            radial -= np.einsum("ki,ki->k", radial, rows[:, 4:7])[:, None] * rows[:, 4:7]
            level = np.abs(np.einsum("ki,ki->k", second - first, rows[:, 4:7])) < ROUNDING
            hole = level & (np.einsum("ki,ki->k", third - middle, radial) > 0)
            out[own[at[hole]], edge[hole]] = near[at[hole]]
        return out

    def reach(self) -> tuple[Floats, Floats]:
        """All hull points (n, 3) and the stray of each: whose extent along a direction bounds the body's."""
        if self._reach is None:
            if len(self.curved):
                hulls = self.curved_hulls.reshape(-1, 3)
                stray = np.repeat(self.stray[self.curved], 6)
                points = np.concatenate([self.mesh.vertices, hulls])
                self._reach = points, np.concatenate([np.zeros(len(self.mesh.vertices)), stray])
            else:
                self._reach = self.mesh.vertices, np.zeros(len(self.mesh.vertices))
        return self._reach

    def curved_extent(self, box: Floats, turn: Floats, move: Floats, along: Floats) -> tuple[float, float]:
        """How far the curved faces near a box (2, 3) reach along a unit direction, least and most, mm.

        The body is placed by `turn` and `move`; (inf, -inf) where no curved face is near.
        """
        if not len(self.curved):
            return float("inf"), float("-inf")
        hulls = self.curved_hulls @ turn.T + move
        stray = self.stray[self.curved]
        lo, hi = hulls.min(axis=1) - stray[:, None], hulls.max(axis=1) + stray[:, None]
        near = ((lo <= box[1]) & (hi >= box[0])).all(axis=1)
        if not near.any():
            return float("inf"), float("-inf")
        reach = hulls[near] @ along
        return float((reach.min(axis=1) - stray[near]).min()), float((reach.max(axis=1) + stray[near]).max())

    def from_curved(self, point: Floats) -> float:
        """Distance from a point to the triangles drawn from curved faces, mm: farther than the bound, the mesh is
        the solid."""
        if self._curves is None:
            self._curves = Surface(self.corners[self.curved])
        return self._curves.nearest(point)[0]

    def true_point(self, triangle: int, point: Floats) -> tuple[Floats, float]:
        """A point of the true surface near a point of a triangle, and what it may still be off by, mm."""
        row = self.rows[triangle]
        if row[0] == ROUND:
            off = point - row[1:4]
            height = float(off @ row[4:7])
            radial = off - height * row[4:7]
            length = float(np.linalg.norm(radial))
            if length > ROUNDING:
                return row[1:4] + height * row[4:7] + radial * (abs(row[7] + row[8] * height) / length), 0.0
            return point, self.mesh.bound
        if row[0] == CURVED:
            return point, float(row[9])
        if not len(self.curved) or np.abs(self.corners[triangle] - point).max(axis=1).min() < ROUNDING:
            return point, 0.0  # corners of triangles lie on the surface
        return point, 0.0 if self.from_curved(point) > self.mesh.bound else self.mesh.bound


def slab_gap(a: Enclosure, b: Enclosure, turn: Floats, move: Floats, direction: Floats) -> float:
    """Gap between two whole bodies along a unit direction from a to b, mm; negative where their extents overlap.

    `turn` and `move` place b in a's coordinates.
    """
    points, stray = a.reach()
    far = float((points @ direction + stray).max())
    points, stray = b.reach()
    near = float((points @ (turn.T @ direction) - stray).min())
    return near + float(move @ direction) - far
