"""The free-space oracle: may this envelope stand here, and if not, what is in the way, by how much and where.

Owns the answers. An envelope is free only where its distance to every obstacle's mesh is at least the wanted margin
plus that mesh's own bound, and where it does not lie wholly inside a solid: surfaces alone cannot tell that, so every
envelope that touches nothing is also put to a point-in-solid test. All obstacles with one margin stand in one tree of
triangles, so that a question costs about as much among a hundred bodies as among one. Same questions, same answers:
nothing here is random. Leaves what may be placed where to its callers.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from functools import cached_property
from typing import Any

import coal
import numpy as np
from numpy.typing import NDArray

from elbowroom.model.geometry import rays
from elbowroom.model.geometry.envelopes import NO_MARGIN, Blockage, Manner, Margins, Obstacle, Point, Rod, Rods, posed
from elbowroom.model.geometry.inside import Insides
from elbowroom.model.geometry.looked import Blocks, looking_aside, note
from elbowroom.model.geometry.trees import ENGINE_EPS, HERE, THIN, Block, bar_of, nearer_than, tree_of
from elbowroom.parts.vocabulary.arrays import Floats, Ints, Mask
from elbowroom.parts.vocabulary.tolerances import TINY

FREE = -1  # answer of a question about which obstacle is met: none

GRAZING = 1e-9  # of a triangle's edge or a bar's length: rounding of where one goes through the other
LENGTH_STEP = 1e-3  # mm: a free length is narrowed to this: a tenth of what calipers show


class Space:
    """Obstacles in case coordinates, ready to be asked. Order of obstacles is the order of their indices.

    less: mm that `met` takes off every bar's radius and both its ends. What is met so is met wherever all obstacles are
    moved by up to as much; a bar of which nothing is left meets nothing.
    """

    def __init__(self, obstacles: Sequence[Obstacle], *, less: float = 0.0, _base: tuple[Block, ...] = ()) -> None:
        self.less = less
        self._asked: tuple[Margins, Floats] | None = None
        self._blocks = _base + ((Block(obstacles),) if obstacles else ())
        self.obstacles: tuple[Obstacle, ...] = tuple(o for b in self._blocks for o in b.obstacles)
        self.names = tuple(o.name for o in self.obstacles)
        self._shifts = np.cumsum([0, *(len(b.obstacles) for b in self._blocks)])
        empty = np.zeros((0, 3))
        self.lo = np.vstack([empty, *(b.lo for b in self._blocks)])
        self.hi = np.vstack([empty, *(b.hi for b in self._blocks)])
        self.bounds = np.concatenate([np.zeros(0), *(b.bounds for b in self._blocks)])

    def extended(self, obstacles: Sequence[Obstacle]) -> Space:
        """This space with more obstacles behind its own; what was built for the present ones is shared."""
        return Space(obstacles, less=self.less, _base=self._blocks)

    @cached_property
    def _whole(self) -> Space:
        """The same obstacles, asked about bars as they are."""
        return Space((), _base=self._blocks)

    def beyond(self, count: int) -> Space:
        """The obstacles after the first `count`, which must be those this space was extended from or all of them."""
        k = int(np.searchsorted(self._shifts, count))
        if self._shifts[k] != count:
            raise ValueError(f"this space was not extended from {count} obstacles")
        return Space((), less=self.less, _base=self._blocks[k:])

    def margins(self, margins: Margins) -> Floats:
        """The wanted margin to each obstacle, mm; not to be written to, since one answer serves many questions."""
        if self._asked is None or self._asked[0] is not margins:
            out = np.array([margins.to(n) for n in self.names], dtype=float)
            out.setflags(write=False)
            self._asked = (margins, out)
        return self._asked[1]

    def ignored(self, names: Collection[str]) -> Mask:
        if not names:
            return np.zeros(len(self.names), dtype=bool)
        return np.array([n in names for n in self.names], dtype=bool)

    def standing(self, blocks: Blocks, margins: Margins) -> list[list[Any]]:
        """The obstacles that meet a record of where somebody looked, in their order, and those no record bounds: number
        of the obstacle, name, mesh as it stands, bound, fault and margin.
        """
        bound, wanted = self.bounds[:, None], self.margins(margins)
        faulty = [i for i, o in enumerate(self.obstacles) if o.fault is not None]
        digests = [d for b in self._blocks for d in b.digests]
        return [
            [i, self.names[i], digests[i], float(self.bounds[i]), self.obstacles[i].fault, float(wanted[i])]
            for i in sorted({*blocks.met(self.lo - bound, self.hi + bound).tolist(), *faulty})
        ]

    # Bars ---------------------------------------------------------------------------------------------------------

    def met(
        self, rods: Rods, margins: Margins = NO_MARGIN, ignore: Collection[str] = (), *, solid: bool = True,
        first: bool = False,
    ) -> Ints:  # fmt: skip
        """For each bar the index of an obstacle that is too near or holds it, FREE where none is.

        solid=False leaves out the point-in-solid test: for bars known to hang together with one that passed it.
        first: of several that are too near the first is told, for callers that name it; else any, which is quicker, and
        which of them may depend on what stands elsewhere.
        """
        wanted, skip = self.margins(margins), self.ignored(ignore)
        out = np.full(len(rods), FREE, dtype=np.int64)
        if not len(rods) or not len(self.names):
            return out
        if self.less > 0:
            left, rods = rods.thinned(self.less)
            out[left] = self._whole.met(rods, margins, ignore, solid=solid, first=first)
            return out
        rotations, middles, lengths = rods.frames()
        lo, hi = rods.boxes()
        note(lo, hi, float(wanted.max(initial=0.0)))
        result = coal.CollisionResult()
        for b, block in enumerate(self._blocks):
            shift = int(self._shifts[b])
            part = slice(shift, shift + len(block.obstacles))
            if not block.often(len(rods)):
                for i in np.nonzero(out == FREE)[0]:
                    bar = (rods.round_ends, float(rods.radii[i]), float(lengths[i]))
                    place = coal.Transform3s(rotations[i], middles[i])
                    hit = self._resolve(bar, place, lo[i], hi[i], block, wanted[part], skip[part])
                    if hit != FREE:
                        out[i] = shift + hit
                continue
            for group in block.groups(wanted[part]):
                request = nearer_than(group.need)
                bars: dict[tuple[float, float], coal.ShapeBase] = {}
                near = (out == FREE) & np.all((lo <= group.box[1]) & (hi >= group.box[0]), axis=1)
                for i in np.nonzero(near)[0]:
                    size = (float(rods.radii[i]), round(float(lengths[i]), 9))
                    if (shape := bars.get(size)) is None:
                        shape = bars[size] = bar_of(rods.round_ends, *size, group.need)
                    place = coal.Transform3s(rotations[i], middles[i])
                    result.clear()
                    if not coal.collide(shape, place, group.tree, HERE, request, result):
                        continue
                    contact = result.getContact(0)
                    hit = int(group.owner[contact.b2])
                    # The contact's triangle settles it where it is nearer than its own obstacle's bound asks for.
                    open_ = (
                        skip[shift + hit] or contact.penetration_depth >= group.margin + block.bounds[hit] - ENGINE_EPS
                    )
                    if open_ or first:
                        bar = (rods.round_ends, float(rods.radii[i]), float(lengths[i]))
                        found = self._resolve(bar, place, lo[i], hi[i], block, wanted[part], skip[part])
                        hit = found if open_ or found != FREE else hit
                    if hit != FREE:
                        out[i] = shift + hit
        if solid:
            free = np.nonzero(out == FREE)[0]
            # A bar's axis is within it, unlike its box, which a solid need not hold although it holds the bar.
            head, tail = rods.starts[free], rods.ends[free]
            out[free] = self._holding(head, np.minimum(head, tail), np.maximum(head, tail), skip)
        return out

    @staticmethod
    def _resolve(
        bar: tuple[bool, float, float], place: coal.Transform3s, lo: Floats, hi: Floats, block: Block, wanted: Floats,
        skip: Mask,
    ) -> int:  # fmt: skip
        """The first obstacle of a block nearer than its own margin and bound, FREE if none."""
        need = (wanted + block.bounds)[:, None]
        near = np.all((block.lo - need <= hi) & (block.hi + need >= lo), axis=1) & ~skip
        result = coal.CollisionResult()
        for i in np.nonzero(near)[0].tolist():
            result.clear()
            shape, request = bar_of(*bar, float(need[i, 0])), nearer_than(float(need[i, 0]))
            if coal.collide(shape, place, *block.tree(i), request, result):
                return int(i)
        return FREE

    def _holding(self, points: Floats, lo: Floats, hi: Floats, skip: Mask) -> Ints:
        """For each envelope (a point of it and the box of some of it) the first obstacle the point is inside of.

        FREE if none. An envelope that meets no surface is inside a solid wholly or not at all, and then so is the box.
        """
        out = np.full(len(points), FREE, dtype=np.int64)
        for b, block in enumerate(self._blocks):
            shift = int(self._shifts[b])
            within = np.ones((len(points), len(block.obstacles)), dtype=bool)
            for k in range(3):
                within &= (lo[:, None, k] >= block.lo[None, :, k]) & (hi[:, None, k] <= block.hi[None, :, k])
            within &= ~skip[shift : shift + len(block.obstacles)] & (out == FREE)[:, None]
            row, mesh = np.nonzero(within)
            inside = block.insides.test(points[row], mesh)
            row, mesh = row[inside][::-1], mesh[inside][::-1]  # the first obstacle is written last and stands
            out[row] = mesh + shift
        return out

    def inside(self, points: Floats, ignore: Collection[str] = ()) -> Ints:
        """For each point the first obstacle it lies inside of, FREE if none."""
        note(points, points)
        return self._holding(points, points, points, self.ignored(ignore))

    def stack(
        self, rods: Sequence[Rod], poses: Floats, margins: Margins = NO_MARGIN, ignore: Collection[str] = ()
    ) -> Ints:
        """For each pose (n, 4, 4) of an envelope made of bars: an obstacle it meets, FREE where it stands free."""
        out = np.full(len(poses), FREE, dtype=np.int64)
        for rod in rods:
            rows = np.nonzero(out == FREE)[0]
            out[rows] = self.met(posed(rod, poses[rows]), margins, ignore)
        return out

    def distances(self, rods: Rods, within: float | Floats, skip: Mask) -> list[tuple[int, int, float, Floats, Floats]]:
        """Obstacles nearer to each bar than `within` mm (one figure, or one each), not those of the mask `skip`: bar,
        obstacle, distance to its mesh, nearest points of the bar's axis and of the mesh.

        Where a bar with round ends overlaps, the distance is below 0 by how much thinner it would have to be, down to
        its radius. Where a flat-ended one does, it is 0 and the points are undefined.
        """
        rotations, middles, lengths = rods.frames()
        lo, hi = rods.boxes()
        note(lo, hi, float(np.max(within, initial=0.0)))
        reach = np.broadcast_to(np.asarray(within, dtype=float), (len(self.names),))
        near = np.ones((len(rods), len(self.names)), dtype=bool)
        for k in range(3):
            near &= (self.lo[None, :, k] - reach <= hi[:, None, k]) & (self.hi[None, :, k] + reach >= lo[:, None, k])
        ask, result, out = coal.DistanceRequest(True, 0.0, 0.0), coal.DistanceResult(), []
        for i, k in zip(*(v.tolist() for v in np.nonzero(near & ~skip)), strict=True):
            # The engine's depth of an overlap is that of some triangle; the distance of a bare axis is a distance.
            radius, length = float(rods.radii[i]), float(lengths[i])
            shape = coal.Capsule(THIN, length) if rods.round_ends else coal.Cylinder(radius, length)
            result.clear()
            place = coal.Transform3s(rotations[i], middles[i])
            d = max(0.0, float(coal.distance(shape, place, *self._tree(k), ask, result)))
            if rods.round_ends:
                d += THIN - radius if d > 0 else -radius
            if d <= reach[k]:
                out.append((i, k, d, np.array(result.getNearestPoint1()), np.array(result.getNearestPoint2())))
        return out

    def _to(self, one: Rods, index: int) -> tuple[float, Floats, Floats]:
        """Distance of a single bar to one obstacle, that is known to be of interest, and the nearest points."""
        with looking_aside():
            ((_, _, d, on, at),) = self.distances(one, np.inf, np.arange(len(self.names)) != index)
        return d, on, at

    def _tree(self, index: int) -> tuple[coal.BVHModelOBBRSS, coal.Transform3s]:
        b = int(np.searchsorted(self._shifts, index, side="right")) - 1
        return self._blocks[b].tree(index - int(self._shifts[b]))

    # Why not ------------------------------------------------------------------------------------------------------

    def blockages(
        self, rod: Rod, margins: Margins = NO_MARGIN, ignore: Collection[str] = (), *, across: bool = False
    ) -> tuple[Blockage, ...]:
        """Everything that keeps a bar from standing free, the largest shortfall first; empty where it is free.

        across: an overlap counts by how much thinner the bar would have to be, even where less would do in length.
        """
        one = Rods(np.array([rod.start]), np.array([rod.end]), np.array([rod.radius]), rod.round_ends)
        axis = Rods(one.starts, one.ends, np.array([THIN]), True)
        wanted, skip, out = self.margins(margins), self.ignored(ignore), []
        met = set()
        for _, i, d, on, at in self.distances(one, wanted + self.bounds, skip):
            if not self._meets(one, i, float(wanted[i] + self.bounds[i])):
                continue
            met.add(i)
            axial, near, near_at = self._to(axis, i)
            through = axial <= ENGINE_EPS
            if through:
                on = at = _crossing(rod, self.obstacles[i]) if math.isnan(near[0]) else near
            elif d <= 0 or rod.round_ends:
                on, at = near, near_at
            if d <= 0:
                d = -(rod.radius - max(0.0, axial) if across else self._too_much(rod, i, max(0.0, axial)))
            manner: Manner = "near" if d > 0 else "through" if through else "overlap"
            out.append(
                Blockage(self.names[i], float(wanted[i]), d - float(self.bounds[i]), manner, _point(at), _point(on))
            )
        lo, hi = np.minimum(one.starts, one.ends), np.maximum(one.starts, one.ends)
        clear = skip | np.isin(np.arange(len(self.names)), list(met))
        while (held := int(self._holding(one.starts, lo, hi, clear)[0])) != FREE:
            clear = clear.copy()
            clear[held] = True
            d, on, at = self._to(axis, held)
            out.append(Blockage(self.names[held], float(wanted[held]), -(max(0.0, d) + rod.radius), "inside",
                                _point(at), _point(on)))  # fmt: skip
        return tuple(sorted(out, key=lambda b: (-b.shortfall, b.obstacle)))

    def _meets(self, one: Rods, index: int, need: float) -> bool:
        """Whether a single bar is nearer to an obstacle's surface than `need` mm."""
        rotations, middles, lengths = one.frames()
        shape = bar_of(one.round_ends, float(one.radii[0]), float(lengths[0]), need)
        place = coal.Transform3s(rotations[0], middles[0])
        return bool(coal.collide(shape, place, *self._tree(index), nearer_than(need), coal.CollisionResult()))

    def _too_much(self, rod: Rod, index: int, axial: float) -> float:
        """mm by which a bar that overlaps one obstacle is too thick or too long, whichever is less. Where the obstacle
        stands in the bar's own axis it is too long: no bar is thin enough to pass, and its radius says nothing."""
        thick = rod.radius - axial
        if rod.round_ends:
            return thick
        lone = Space((self.obstacles[index],), _base=())
        a, b = np.array(rod.start), np.array(rod.end)
        length = float(np.linalg.norm(b - a))
        free, _ = lone.free_length(rod.start, (b - a) / max(length, TINY), rod.radius, length)
        if axial <= ENGINE_EPS:
            return length - free
        return min(thick, length - free) if free > 0 else thick

    def free_length(
        self, start: Point | Floats, axis: Point | Floats, radius: float, longest: float,
        margins: Margins = NO_MARGIN, ignore: Collection[str] = (), step: float = LENGTH_STEP, slices: int = 2,
    ) -> tuple[float, str | None]:  # fmt: skip
        """How far a flat-ended bar can reach from `start` along the unit vector `axis`, mm, and what stops it.

        At most `longest` (then None). Narrowed to `step` and rounded down, so the length itself is free. slices: of
        what is not known yet, asked at once; a bar is free where all its slices are.
        """
        a, d = np.asarray(start, dtype=float), np.asarray(axis, dtype=float)
        low, high, stop = 0.0, longest, None
        while stop is None or high - low > step:
            cuts = np.linspace(low, high, slices + 1)
            froms = cuts[:-1] if stop is None else np.full(slices, low)  # a slice that is stopped is not free wholly
            bars = Rods(a + froms[:, None] * d, a + cuts[1:, None] * d, np.full(slices, radius), False)
            met = self.met(bars, margins, ignore)
            blocked = np.nonzero(met != FREE)[0]
            if not len(blocked):
                return high, stop
            first = int(blocked[0])
            stop = self.names[self.met(bars.take(blocked[:1]), margins, ignore, first=True)[0]]
            low, high = float(cuts[first]), float(cuts[first + 1])
        return low, stop

    # Meshes -------------------------------------------------------------------------------------------------------

    def mesh(
        self, vertices: Floats, triangles: NDArray[np.int32], poses: Floats, margins: Margins = NO_MARGIN,
        ignore: Collection[str] = (), bound: float = 0.0,
    ) -> Ints:  # fmt: skip
        """For each pose of a closed mesh: an obstacle too near to it, inside it or around it; FREE where none is.

        bound: mm the envelope's own true surface may lie from its mesh; it adds to every margin.
        """
        wanted, skip = self.margins(margins), self.ignored(ignore)
        shape, own = tree_of(vertices, triangles), Insides([(vertices, triangles)], [True])
        out = np.full(len(poses), FREE, dtype=np.int64)
        need = (wanted + self.bounds + bound)[:, None]
        result = coal.CollisionResult()
        for n, pose in enumerate(poses):
            moved = vertices @ pose[:3, :3].T + pose[:3, 3]
            lo, hi = moved.min(axis=0), moved.max(axis=0)
            note(lo, hi, float(wanted.max(initial=0.0)) + bound)
            place = coal.Transform3s(np.ascontiguousarray(pose[:3, :3]), np.ascontiguousarray(pose[:3, 3]))
            for i in np.nonzero(np.all((self.lo - need <= hi) & (self.hi + need >= lo), axis=1) & ~skip)[0]:
                result.clear()
                if coal.collide(shape, place, *self._tree(int(i)), nearer_than(float(need[i, 0])), result):
                    out[n] = i
                    break
            if out[n] == FREE:
                out[n] = self._holding(moved[:1], lo[None], hi[None], skip)[0]
            if out[n] == FREE:
                held = np.nonzero(np.all((self.lo >= lo) & (self.hi <= hi), axis=1) & ~skip)[0]
                corners = np.array([self.obstacles[i].vertices[0] for i in held]).reshape(-1, 3)
                within = own.test((corners - pose[:3, 3]) @ pose[:3, :3], np.zeros(len(held), dtype=np.int64))
                out[n] = held[within][0] if within.any() else FREE
        return out


def _crossing(rod: Rod, obstacle: Obstacle) -> Floats:
    """Where a bar's axis first goes through a mesh that it is known to meet; its start where it only grazes it."""
    a, d = np.array(rod.start), np.subtract(rod.end, rod.start)
    met, w = rays.met(obstacle.vertices[obstacle.triangles], a, d, GRAZING, 0.0)
    hit = met & (w >= -GRAZING) & (w <= 1 + GRAZING)
    out: Floats = a + d * float(np.clip(w[hit].min(), 0, 1) if hit.any() else 0.0)
    return out


def _point(v: Floats) -> Point:
    return (float(v[0]), float(v[1]), float(v[2]))
