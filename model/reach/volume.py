"""The reachable space in front of a port as a volume and a closed solid.

Owns the envelopes that are united and how. For each kit (a fitting with its tube straight on; the same with the tube
bent through 90 degrees to each side; the same on each adapter with a swivel, to each side) the bars that stay free are
kept. A side stands for the sector of SECTOR degrees about the port's axis, a bar for the ring its turning sweeps there.
The union less every obstacle is the reachable space, so an obstacle more can only take away; the same union with
nothing in the way is what its share is counted of. Millimetres.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import manifold3d
import numpy as np

from elbowroom.model.geometry.envelopes import Rod
from elbowroom.model.geometry.narrow import arrays_of
from elbowroom.model.geometry.scene import Mesh
from elbowroom.model.loop.plumbing import Link, Tubing
from elbowroom.model.reach.chains import grid, intervals, items, turns
from elbowroom.model.reach.rooms import Rooms, Site, bars_met, stands_free
from elbowroom.model.reach.trial import leg_of
from elbowroom.parts.fitting.fitting_choice import adapters_for, catalogue_fittings, fittings_for
from elbowroom.parts.vocabulary.arrays import Floats, Mask
from elbowroom.parts.vocabulary.pose import apply, compose, inverse, pose

SECTOR = 15  # deg that one side stands for
ROUND = 72  # corners of a full turn, three a sector, the fewest the solid kernel turns: strays 0.05 mm at 50
DRAWN = 5.0  # deg of arc in a bar of a bend that is united: 0.013 mm thicker than the tube at a radius of 28
# deg by which the n-th sweep's sector is narrower at either end, n times: planes of two sweeps that all but coincide
# leave slivers that no reader of the mesh can keep apart (measured: 0.03 % of the volume lost). 1 um at 50 mm.
INSET = 1e-3
RIM = 16  # corners of a bar's own section
_SLIVER = 1e-3  # mm3: what rounding leaves of a solid that is cut away wholly
_ON_AXIS = 1e-9  # mm: as far off the axis as rounding puts a bar that lies on it


@dataclass(frozen=True, slots=True)
class Sweep:
    """Bars in a port's coordinates that stand free together or not at all: of fittings, and of a tube lying there.

    coming: bars that must be free while the side panels are off; they are no part of the union. turned: swept round
    the port's axis, each side judged alone. after: the sweep without which this one cannot be. drawn: bars of the
    union, inside the bodies and the tube; empty: those themselves.
    """

    bodies: tuple[Rod, ...]
    tube: tuple[Rod, ...] = ()
    coming: tuple[Rod, ...] = ()
    turned: bool = False
    after: int | None = None
    drawn: tuple[Rod, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Volume:
    """Reachable volume and what it is a share of, mm3; the solid in case coordinates, None where nothing is left.

    faults: obstacles whose mesh is not sound, so that they could not be taken away.
    """

    mm3: float
    of: float
    solid: Mesh | None
    faults: tuple[str, ...] = ()

    @property
    def share(self) -> float:
        return self.mm3 / self.of if self.of > 0 else 0.0


def kits(site: Site, tubing: Tubing | None, chosen: Sequence[Link]) -> list[tuple[Link, ...]]:
    """The chains whose envelopes are united: an end alone and on every adapter that swivels.

    The end is the chosen fitting that holds the tube, else the lowest of the catalogue that does; without a tube every
    fitting of the catalogue stands for itself.
    """
    thread = site.frame.thread or ""
    if tubing is None:
        every = (c for c in catalogue_fittings() if c.fitting.accepts(thread))
        return [(Link(c.name, c.fitting, c.fitting.is_rotary),) for c in every]
    end = next((li for li in chosen if li.fitting.holds_tube), None)
    if end is None:
        stock = tubing.stock
        known = fittings_for(thread, stock.od, stock.id, stock.kind)
        if not known:
            return []
        end = Link(known[0].name, known[0].fitting, False)
    swivels = [Link(c.name, c.fitting, True) for c in adapters_for(thread) if c.fitting.is_rotary]
    return [(end,), *((s, end) for s in swivels)]


def volume(rooms: Rooms, site: Site, chains: Sequence[Sequence[Link]], tubing: Tubing | None) -> Volume:
    """The reachable space of a port for these chains."""
    sweeps: list[Sweep] = []
    for chain in chains:
        sweeps += _sweeps(site, chain, tubing, len(sweeps))
    every = np.ones(360 // SECTOR, dtype=bool)
    key = tuple(sweeps)
    whole = rooms.store.recall("reach-union", key)
    if whole is None:
        whole = _united(sweeps, [every] * len(sweeps))
        rooms.store.remember("reach-union", key, whole)
    of = float(whole.volume())
    masks: list[Mask] = []
    still = _standing(rooms, site, sweeps)
    for n, s in enumerate(sweeps):
        allowed = (s.after is None or bool(masks[s.after].any())) and n not in still
        masks.append(_sides(rooms, site, s) if allowed and s.turned else np.full_like(every, allowed))
    reached, faults = _less_obstacles(rooms, site, whole if all(m.all() for m in masks) else _united(sweeps, masks))
    size = float(reached.volume())
    if size < _SLIVER:
        return Volume(0.0, of, None, faults)
    v, t = arrays_of(reached)
    bound = float(np.hypot(v[:, 0], v[:, 1]).max()) * (1 - math.cos(math.pi / ROUND))
    return Volume(size, of, Mesh(apply(site.pose, v), t, bound, size), faults)


# Envelopes ------------------------------------------------------------------------------------------------------------


def _sweeps(site: Site, chain: Sequence[Link], tubing: Tubing | None, first: int) -> list[Sweep]:
    """A chain's sweeps, numbered from `first`: what stays, then what turns with its first swivel or with its tube."""
    bodies: tuple[list[Rod], list[Rod]] = ([], [])  # those that stay, those that turn
    coming: tuple[list[Rod], list[Rod]] = ([], [])
    at, turned = np.eye(4), 0
    for one in items(chain, site):
        base = at @ one.mount
        bodies[turned].extend(_moved(r, base) for r in one.fixed)
        coming[turned].extend(_moved(r, base) for r in one.fixed_in)
        turned = turned or int(one.link.free)
        bodies[turned].extend(_moved(r, base) for r in one.turning)
        coming[turned].extend(_moved(r, base) for r in one.turning_in)
        if one.following is not None:
            at = base @ one.following
    leg = leg_of(chain, tubing)
    out = [Sweep(tuple(bodies[0]), (), tuple(coming[0]))]
    ahead, pushed, bend = (
        tuple(_moved(r, at) for r in rods)
        for rods in (((), (), ()) if leg is None else ((leg.ahead,), (leg.pushed,), (leg.leg, *leg.bend())))
    )
    if turned:
        out.append(Sweep(tuple(bodies[1]), ahead, (*coming[1], *pushed), True, first))
    elif leg is not None:
        drawn = tuple(_moved(r, at) for r in (leg.leg, *leg.bend(DRAWN)))
        out += [Sweep((), ahead, pushed, False, first), Sweep((), bend, pushed, True, first, drawn)]
    return out


def _moved(rod: Rod, at: Floats) -> Rod:
    a, b = apply(at, [rod.start, rod.end]).tolist()
    return Rod((a[0], a[1], a[2]), (b[0], b[1], b[2]), rod.radius, rod.round_ends)


def _standing(rooms: Rooms, site: Site, sweeps: Sequence[Sweep]) -> set[int]:
    """The numbers of sweeps that do not turn and do not stand free or cannot come in: all asked at once."""
    here = np.array(site.pose)[None]
    out: set[int] = set()
    for space, name in ((rooms.workshop, "coming"), (rooms.rest, "bodies"), (rooms.tubes, "tube")):
        bars = [(n, r) for n, s in enumerate(sweeps) if not s.turned for r in getattr(s, name)]
        met = bars_met(space, [(r, here) for _, r in bars])
        out |= {n for (n, _), hit in zip(bars, met, strict=True) if hit}
    return out


def _sides(rooms: Rooms, site: Site, s: Sweep) -> Mask:
    """For each side whether a sweep's bars stand free and come in there."""
    poses = np.array(site.pose)[None] @ turns(grid(SECTOR))
    free = np.ones(len(poses), dtype=bool)
    for space, rods in ((rooms.workshop, s.coming), (rooms.rest, s.bodies), (rooms.tubes, s.tube)):
        free[free] = stands_free(space, rods, poses[free])
    return free


# Solids ---------------------------------------------------------------------------------------------------------------


def _united(sweeps: Sequence[Sweep], masks: Sequence[Mask]) -> Any:
    """The union of sweeps over their sides, in port coordinates."""
    solids, whole = [], []
    for n, (s, mask) in enumerate(zip(sweeps, masks, strict=True), 1):
        bars = s.drawn or (*s.bodies, *s.tube)
        if mask.all():
            whole += [_profile(rod) for rod in bars if s.turned or _on_axis(rod)]
            solids += [_bar(rod) for rod in bars if not s.turned and not _on_axis(rod)]
        elif mask.any():
            profile = manifold3d.CrossSection.batch_boolean([_profile(rod) for rod in bars], manifold3d.OpType.Add)
            for a, b in intervals(mask, SECTOR):
                angle, inset = b - a + SECTOR, INSET * n
                part = manifold3d.Manifold.revolve(profile, ROUND * angle // 360, angle - 2 * inset)
                solids.append(part.rotate((0.0, 0.0, a - SECTOR / 2 + inset)))
    if whole:
        profile = manifold3d.CrossSection.batch_boolean(whole, manifold3d.OpType.Add)
        solids.append(manifold3d.Manifold.revolve(profile, ROUND).rotate((0.0, 0.0, -SECTOR / 2)))
    return manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add) if solids else manifold3d.Manifold()


def _on_axis(rod: Rod) -> bool:
    return max(math.hypot(*rod.start[:2]), math.hypot(*rod.end[:2])) < _ON_AXIS


def _bar(rod: Rod) -> Any:
    """A flat-ended bar as it stands."""
    d = np.subtract(rod.end, rod.start)
    upright = manifold3d.Manifold.cylinder(float(np.linalg.norm(d)), rod.radius, rod.radius, RIM)
    return upright.transform(pose(rod.start, d)[:3])


@lru_cache(maxsize=8192)
def _profile(rod: Rod) -> Any:
    """Distance from the axis against height of all that a bar sweeps as it turns.

    The bar is even about a plane through z. Of the halves before and behind the axis each is convex, and so is the
    distance from z along any line: the hull of a half's corners, seen so, holds it outward; inward its nearest points
    lie in that plane, among the corners.
    """
    a, b = np.array(rod.start), np.array(rod.end)
    d = (b - a) / np.linalg.norm(b - a)
    side = np.cross((0.0, 0.0, 1.0), d)
    length = float(np.linalg.norm(side))
    if length < _ON_AXIS:  # upright: its plane is the one through its own foot
        out = np.array((a[0], a[1], 0.0)) if math.hypot(a[0], a[1]) > _ON_AXIS else np.array((1.0, 0.0, 0.0))
        side = np.cross((0.0, 0.0, 1.0), out / np.linalg.norm(out))
    else:
        side = side / length
    across, t = np.cross(side, d), 2 * np.pi * np.arange(RIM) / RIM
    points = [p + rod.radius * (np.cos(t)[:, None] * across + np.sin(t)[:, None] * side) for p in (a, b)]
    if rod.round_ends:
        points += [p + rod.radius * (np.cos(t)[:, None] * across + np.sin(t)[:, None] * d) for p in (a, b)]
    p = np.vstack(points)
    seen = np.stack([p @ np.cross(side, (0.0, 0.0, 1.0)), p @ side, p[:, 2]], axis=1)  # ahead, sideways, up
    ahead = seen[:, 0]
    if ahead.min() > -_ON_AXIS or ahead.max() < _ON_AXIS:
        return _hull(seen)
    before, behind = seen[ahead > 0], seen[ahead <= 0]
    share = (before[:, 0] / (before[:, 0] - behind[:, 0][:, None]))[..., None]
    crossing = (before[None] + share * (behind[:, None] - before[None])).reshape(-1, 3)
    return _hull(np.vstack([before, crossing])) + _hull(np.vstack([behind, crossing]))


def _hull(seen: Floats) -> Any:
    flat = np.stack([np.hypot(seen[:, 0], seen[:, 1]), seen[:, 2]], axis=1)
    return manifold3d.CrossSection.hull_points(np.ascontiguousarray(flat))


def _less_obstacles(rooms: Rooms, site: Site, reached: Any) -> tuple[Any, tuple[str, ...]]:
    """What is left outside all obstacles, and those whose mesh is too unsound to be taken away."""
    if reached.is_empty():
        return reached, ()
    box = np.array(reached.bounding_box())
    corners = apply(site.pose, [(x, y, z) for x in box[::3] for y in box[1::3] for z in box[2::3]])
    faults, tools = [], []
    for s in rooms.near(corners.min(axis=0), corners.max(axis=0)):
        if s.body.keep_out is not None and not {"fitting", "tube"}.isdisjoint(s.body.admits):
            continue
        if s.mesh.fault is not None:
            faults.append(s.name)
            continue
        tool = rooms.manifold(s).transform(compose(inverse(site.pose), s.pose)[:3])
        if not (reached ^ tool).is_empty():
            tools.append(tool)
    if tools:
        reached = manifold3d.Manifold.batch_boolean([reached, *tools], manifold3d.OpType.Subtract)
    return reached, tuple(faults)
