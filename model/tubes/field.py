"""A grid that knows the way to the nearest obstacle: the planner's map, never a verdict.

Owns one array over a box: for the middle of every cell the nearest known point of any obstacle's surface (or the
middle itself, where it lies in a solid) and the distance wanted there. Seen from any point of the cell, the distance to
that point less the wanted one is an upper bound of the true excess of room, and near it: what the map calls blocked is
blocked, what it calls free is for `freespace` to confirm. To build it surfaces are sampled,
solids filled by counting crossings along columns, and distances spread axis by axis.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.geometry.envelopes import Floats, Margins
from elbowroom.model.geometry.freespace import Space
from elbowroom.model.geometry.inside import spans

Floats32 = NDArray[np.float32]

CELLS = 1_400_000  # cells of a map: 3 mm in a large case, some 30 MB
LEAST_CELL = 1.0  # mm: finer cells would resolve less than the meshes' own bounds
REACH = 24.0  # mm beyond a surface to which the map looks: a tube's radius, its widest wanted distance and some more
WALL = 14.0  # mm of solid drawn round a walled box: thicker than a cell, so that no step leaps over it
NOTHING, OUTSIDE = -1, -2  # owners that are no obstacle: nothing within reach, and what lies outside a walled box
_NUDGE = 0.0137  # of a cell: keeps the columns off faces and edges at round coordinates


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """near (nx, ny, nz, 4): nearest surface point (mm) and the distance wanted from it; owner: that obstacle's index.

    Where nothing is within REACH the point is the cell's own middle, the distance wanted -REACH and the owner NOTHING.
    """

    lo: Floats
    cell: float
    near: Floats32
    owner: NDArray[np.int32]

    @property
    def shape(self) -> tuple[int, int, int]:
        return (self.near.shape[0], self.near.shape[1], self.near.shape[2])

    @property
    def influence(self) -> float:
        """mm along each axis from a cell beyond which nothing bears on what it knows: sources are taken from REACH and
        two cells, and what they say is handed on by one.
        """
        return REACH + 4 * self.cell

    @property
    def place(self) -> tuple[Floats32, np.float32, np.float32]:
        """Lower corner, cells a mm and mm a cell, as the kernels take them."""
        return self.lo.astype(np.float32), np.float32(1 / self.cell), np.float32(self.cell)

    def excess(self, points: Floats, *, tight: bool = False, seen: NDArray[np.uint8] | None = None) -> Floats32:
        """Upper bound, mm, of the distance to the obstacles less the distance wanted, at each point (..., 3).

        tight: the least of what the cell and its six neighbours know: slower, and nearer the truth. seen: as `blank`
        makes it; the cells that are asked are marked there.
        """
        from elbowroom.model.tubes.kernels import excess_at  # compiled: loaded only where a run is looked for

        out = np.empty(points.shape[:-1], dtype=np.float32)
        flat = np.ascontiguousarray(points.reshape(-1, 3), dtype=np.float32)
        excess_at(self.near, *self.place, flat, tight, self.blank() if seen is None else seen, out.reshape(-1))
        return out

    def blank(self) -> NDArray[np.uint8]:
        """A mark for every cell, none set."""
        return np.zeros(self.shape, dtype=np.uint8)

    def axes(self) -> tuple[Floats32, Floats32, Floats32]:
        """Coordinates of the cells' middles along each axis."""
        x, y, z = ((self.lo[k] + (np.arange(self.shape[k]) + 0.5) * self.cell).astype(np.float32) for k in range(3))
        return x, y, z

    def middles(self) -> Floats32:
        """Middle of every cell, (nx, ny, nz, 3)."""
        return np.stack(np.meshgrid(*self.axes(), indexing="ij"), axis=-1)

    def with_rods(self, starts: Floats, ends: Floats, needs: Floats, owner: int, *, copy: bool = True) -> Field:
        """This map and bars: from each bar's axis the distance needs[i] is wanted. copy=False draws into this map."""
        near, owners = (self.near.copy(), self.owner.copy()) if copy else (self.near, self.owner)
        n = np.array(self.shape)
        for a, b, need in zip(starts, ends, needs, strict=True):
            i0 = np.clip(((np.minimum(a, b) - REACH - self.lo) / self.cell).astype(int), 0, n)
            i1 = np.clip(((np.maximum(a, b) + REACH - self.lo) / self.cell).astype(int) + 1, 0, n)
            if np.any(i1 <= i0):
                continue
            part = tuple(slice(int(u), int(v)) for u, v in zip(i0, i1, strict=True))
            axes = [self.lo[k] + (np.arange(i0[k], i1[k]) + 0.5) * self.cell for k in range(3)]
            v = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
            d = b - a
            t = np.clip((v - a) @ d / max(float(d @ d), 1e-12), 0, 1)
            q = a + t[..., None] * d
            rows = near[part]
            room = np.linalg.norm(v - q, axis=-1) - need
            better = room < np.minimum(np.linalg.norm(v - rows[..., :3], axis=-1) - rows[..., 3], REACH)
            rows[..., :3][better], rows[..., 3][better], owners[part][better] = q[better], need, owner
        return Field(self.lo, self.cell, near, owners)


class _Draft:
    """A map being drawn: as `Field`, and `room`, the excess at the middles themselves."""

    def __init__(self, field: Field) -> None:
        self.field, self.middles, self.axes = field, field.middles(), field.axes()
        field.near[..., :3], field.near[..., 3] = self.middles, -REACH
        self.room = np.full(field.shape, REACH, dtype=np.float32)


def build(space: Space, margins: Margins, lo: Floats, hi: Floats, *, walled: bool = False) -> Field:
    """The map of a box (mm) for the wanted margins; each obstacle's mesh bound adds to its margin.

    walled: what lies outside the box counts as solid, with no distance wanted from it.
    """
    from elbowroom.model.tubes import mapping  # compiled: loaded only where a run is looked for

    inner = (np.asarray(lo, dtype=float), np.asarray(hi, dtype=float))
    if walled:
        lo, hi = inner[0] - WALL, inner[1] + WALL
    size = np.maximum(np.asarray(hi, dtype=float) - lo, 1.0)
    cell = max(LEAST_CELL, float(np.prod(size) / CELLS) ** (1 / 3))
    n = np.ceil(size / cell).astype(int)
    near, owner = np.zeros((*n, 4), dtype=np.float32), np.full(tuple(n), NOTHING, dtype=np.int32)
    draft = _Draft(Field(np.asarray(lo, dtype=float), cell, near, owner))
    if walled:
        low, high = (v.astype(np.float32) for v in inner)
        mapping.draw_walls(*draft.axes, low, high, np.int32(OUTSIDE), near, owner, draft.room)
    wanted = space.margins(margins)
    for margin in np.unique(wanted):
        _add(draft, space, np.nonzero(wanted == margin)[0], float(margin))
    mapping.ask_neighbours(*draft.axes, np.int32(NOTHING), near, owner, draft.room)
    return draft.field


def _add(draft: _Draft, space: Space, members: NDArray[np.int64], margin: float) -> None:
    """Spread the surfaces and insides of some obstacles of one margin over the part of the map that they reach."""
    from elbowroom.model.tubes import mapping

    field = draft.field
    n = np.array(field.shape)
    pad = int(np.ceil(REACH / field.cell)) + 1
    i0 = np.clip(((space.lo[members].min(axis=0) - field.lo) / field.cell).astype(int) - pad, 0, n)
    i1 = np.clip(((space.hi[members].max(axis=0) - field.lo) / field.cell).astype(int) + 1 + pad, 0, n)
    if np.any(i1 <= i0):
        return
    part = tuple(slice(int(u), int(v)) for u, v in zip(i0, i1, strict=True))
    shape = tuple(int(k) for k in i1 - i0)
    obstacles = [space.obstacles[i] for i in members]
    triangles = np.concatenate([o.vertices[o.triangles] for o in obstacles])
    who = np.repeat(members, [len(o.triangles) for o in obstacles]).astype(np.int32)
    q, label = np.empty((*shape, 3), dtype=np.float32), np.full(shape, -1, dtype=np.int32)
    mapping.sample_surfaces(
        np.ascontiguousarray(triangles, dtype=float), who, field.cell / 2, field.lo, field.cell, i0.astype(np.int64), q,
        label, np.full(shape, np.inf, dtype=np.float32),
    )  # fmt: skip
    filled = _filled(triangles, who, field, i0, shape)
    solid = filled >= 0
    q[solid], label[solid] = draft.middles[part][solid], len(space.names) + filled[solid]
    # Inside, the margin alone: which of several solids a cell lies in is not known for sure, nor then which bound.
    need = np.concatenate([margin + space.bounds, np.full(len(space.names), margin)]).astype(np.float32)
    # The number of the source whose middle is nearest, for each cell within REACH of one.
    nearest = np.where(label >= 0, np.arange(label.size, dtype=np.int32).reshape(shape), np.int32(-1))
    mapping.spread_along(nearest, field.cell, int(np.ceil(REACH / field.cell)) + 1)
    mapping.offer_nearest(
        *draft.axes, i0.astype(np.int64), nearest, q, label, need, field.near, field.owner, draft.room
    )


def _filled(
    t: Floats, who: NDArray[np.int32], field: Field, i0: NDArray[np.int64], shape: tuple[int, ...]
) -> NDArray[np.int32]:
    """For each cell of the part that begins at cell i0 an obstacle its middle lies in, -1 where none: crossings counted
    upward along columns.
    """
    lo, cell = field.lo, field.cell
    origin = lo[:2] + (0.5 + np.array([_NUDGE, 1.7 * _NUDGE])) * cell  # feet of the columns
    first = np.ceil((t[..., :2].min(axis=1) - origin) / cell).astype(np.int64)
    last = np.floor((t[..., :2].max(axis=1) - origin) / cell).astype(np.int64)
    first, last = np.maximum(first, i0[:2]), np.minimum(last, i0[:2] + np.array(shape[:2]) - 1)
    wide = np.maximum(last - first + 1, 0)
    owner, k = spans(wide[:, 0] * wide[:, 1])
    i = first[owner, 0] + k // np.maximum(wide[owner, 1], 1)
    j = first[owner, 1] + k % np.maximum(wide[owner, 1], 1)
    p = t[owner]
    x, y = p[..., 0] - (origin[0] + i * cell)[:, None], p[..., 1] - (origin[1] + j * cell)[:, None]
    nxt = [1, 2, 0]
    edge = x * y[:, nxt] - y * x[:, nxt]
    area = edge.sum(axis=1)
    crossed = (np.all(edge >= 0, axis=1) | np.all(edge <= 0, axis=1)) & (area != 0)
    edge, area, i, j, p, owner = edge[crossed], area[crossed], i[crossed], j[crossed], p[crossed], owner[crossed]
    z = (edge[:, 0] * p[:, 2, 2] + edge[:, 1] * p[:, 0, 2] + edge[:, 2] * p[:, 1, 2]) / area
    level = np.clip(np.ceil((z - lo[2]) / cell - 0.5) - i0[2], 0, shape[2]).astype(np.int64)
    i, j = i - i0[0], j - i0[1]
    count = np.zeros((shape[0], shape[1], shape[2] + 1), dtype=np.int32)
    np.add.at(count, (i, j, level), np.where(area > 0, -1, 1))  # a triangle that faces up is left, going up
    inside = np.cumsum(count, axis=2)[..., :-1] != 0
    # Whose it is: the obstacle of the last crossing below. Only used to name one, so overlaps need not be told apart.
    mark = np.full(count.shape, -1, dtype=np.int32)
    order = np.argsort(level, kind="stable")
    mark[i[order], j[order], level[order]] = who[owner[order]]
    at = np.maximum.accumulate(np.where(mark >= 0, np.arange(mark.shape[2]), 0), axis=2)
    named = np.take_along_axis(mark, at, axis=2)[..., :-1]
    return np.where(inside, np.maximum(named, who.min()), -1).astype(np.int32)
