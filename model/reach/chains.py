"""A chain of fittings as bars in space: every posture its swivels allow, and which of them stand free.

Owns posing chains and the search over swivels. A fitting stands free where its cylinders meet nothing, and comes in
where the same cylinders, moved out along its thread axis by the length of its thread, meet nothing either; for the
second the case's side panels are off. Angles in degrees, as `Fitting.angle` counts them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import coal
import numpy as np

from elbowroom.model.geometry.envelopes import Point, Rod, posed
from elbowroom.model.loop.plumbing import Link
from elbowroom.model.reach.rooms import Rooms, Site, stands_free
from elbowroom.parts.vocabulary.arrays import Floats, Ints, Mask
from elbowroom.parts.vocabulary.measure import Deg
from elbowroom.parts.vocabulary.pose import IDENTITY, Pose, apply, bring_together

FINE = 1  # deg: step at which one swivel's angles are searched
# deg: step of the other swivels of a chain with that many, so that a chain of six stays within a second or two
COARSE = {0: 360, 1: 10, 2: 10, 3: 30, 4: 45, 5: 90, 6: 90}
_STEPS = (0.5, 1.0)  # shares of the thread's length at which what lies across the axis is tried on its way in
_ON_AXIS = 1e-9  # mm: a cylinder whose axis is the thread's does not change as it turns

Interval = tuple[int, int]


@dataclass(frozen=True, slots=True, eq=False)
class Item:
    """A link ready to be posed, in its fitting's coordinates.

    fixed, turning: bars that stay, and that turn with a free swivel (as they are at angle 0). fixed_in, turning_in:
    the same on their way in, their last place included. following: pose of what comes next, at angle 0 where free.
    """

    link: Link
    mount: Pose
    fixed: tuple[Rod, ...]
    turning: tuple[Rod, ...]
    fixed_in: tuple[Rod, ...]
    turning_in: tuple[Rod, ...]
    following: Pose | None


@dataclass(frozen=True, slots=True, eq=False)
class Postures:
    """Free postures: degrees of each free swivel (n, k), pose of every link (n, 4, 4) each, and of what comes next."""

    degrees: Ints
    links: tuple[Floats, ...]
    ends: Floats | None

    def __len__(self) -> int:
        return len(self.degrees)

    def take(self, rows: Ints | Mask) -> Postures:
        return Postures(
            self.degrees[rows], tuple(p[rows] for p in self.links), None if self.ends is None else self.ends[rows]
        )


def item(link: Link, lift: float = 0.0) -> Item:
    """A link as bars. lift: mm above its seat at which its bars begin."""
    f = link.fitting
    if link.free:
        f = f.model_copy(update={"angle": Deg(0)})
    fixed: list[Rod] = []
    turning: list[Rod] = []
    for start, end, radius in f.cylinders():
        a: Point = (start[0], start[1], max(start[2], lift)) if _upright(start, end) else start
        alone = math.hypot(*start[:2]) < _ON_AXIS and math.hypot(*end[:2]) < _ON_AXIS
        (turning if link.free and not alone else fixed).append(Rod(a, end, radius))
    frames = f.next_frames()
    for frame in frames:
        if frame.kind == "port" and frame.depth is None:  # a male end: its thread stands out of the body
            a, b = apply(frame.pose, [(0, 0, 0), (0, 0, float(f.thread_length))]).tolist()
            fixed.append(Rod((a[0], a[1], a[2]), (b[0], b[1], b[2]), f.thread_data.major / 2))
    length = float(f.thread_length)
    return Item(
        link, bring_together(f.frame("base").pose, IDENTITY), tuple(fixed), tuple(turning), _coming(fixed, length),
        _coming(turning, length), frames[-1].pose if frames else None,
    )  # fmt: skip


def items(links: Sequence[Link], site: Site) -> list[Item]:
    return [item(link, site.lift if i == 0 else 0.0) for i, link in enumerate(links)]


def _upright(a: Point, b: Point) -> bool:
    return math.hypot(a[0] - b[0], a[1] - b[1]) < _ON_AXIS


def _coming(rods: Sequence[Rod], length: float) -> tuple[Rod, ...]:
    """What bars sweep on the last `length` mm along z: exact for upright ones, in steps for those across."""
    out = []
    for r in rods:
        if _upright(r.start, r.end):
            out.append(Rod(r.start, (r.end[0], r.end[1], r.end[2] + length), r.radius))
        else:
            out.append(r)
            for share in _STEPS:
                a, b = ((p[0], p[1], p[2] + share * length) for p in (r.start, r.end))
                out.append(Rod(a, b, r.radius))
    return tuple(out)


def turns(degrees: Ints) -> Floats:
    """Poses (n, 4, 4) turned about z."""
    t = np.radians(degrees.astype(float))
    out = np.tile(np.eye(4), (len(t), 1, 1))
    out[:, 0, 0] = out[:, 1, 1] = np.cos(t)
    out[:, 1, 0] = np.sin(t)
    out[:, 0, 1] = -out[:, 1, 0]
    return out


def free_postures(
    rooms: Rooms, site: Site, chain: Sequence[Item], grids: Sequence[Ints], *, judge: bool = True
) -> Postures:
    """Every posture with the swivels on these grids (one each) that stands free and comes in; all if not `judge`."""
    at = np.array(site.pose)[None]
    degrees = np.zeros((1, 0), dtype=np.int64)
    history: list[Floats] = []
    left = iter(grids)
    for one in chain:
        base = at @ one.mount
        if judge:
            rows = free(rooms, one.fixed, one.fixed_in, base)
            base, degrees, history = base[rows], degrees[rows], [h[rows] for h in history]
        if one.link.free:
            grid = next(left)
            spun = (base[:, None] @ turns(grid)[None]).reshape(-1, 4, 4)
            degrees = np.hstack([np.repeat(degrees, len(grid), axis=0), np.tile(grid, len(base))[:, None]])
            history = [np.repeat(h, len(grid), axis=0) for h in history]
            base = spun
            if judge:
                rows = free(rooms, one.turning, one.turning_in, base)
                base, degrees, history = base[rows], degrees[rows], [h[rows] for h in history]
        history.append(base)
        at = base if one.following is None else base @ one.following
    found = Postures(degrees, tuple(history), at if chain and chain[-1].following is not None else None)
    return found.take(~_self_crossing(chain, found)) if judge else found


def free(rooms: Rooms, rods: Sequence[Rod], coming: Sequence[Rod], base: Floats) -> Ints:
    """The poses (n, 4, 4) in which bars come in past everything and then stand free in the closed case."""
    rows = np.nonzero(stands_free(rooms.workshop, coming, base))[0]
    return rows[stands_free(rooms.rest, rods, base[rows])]


def _self_crossing(chain: Sequence[Item], p: Postures) -> Mask:
    """Whether a link of a posture meets one that it is not screwed to."""
    out = np.zeros(len(p), dtype=bool)
    for i in range(len(chain)):
        for j in range(i + 2, len(chain)):
            for a in (*chain[i].fixed, *chain[i].turning):
                for b in (*chain[j].fixed, *chain[j].turning):
                    out |= meeting(a, p.links[i], b, p.links[j], 0.0)
    return out


def meeting(a: Rod, at_a: Floats, b: Rod, at_b: Floats, within: float) -> Mask:
    """For each two poses (n, 4, 4) of two flat-ended bars, whether they come nearer than `within` mm."""
    one, other = posed(a, at_a), posed(b, at_b)
    (ra, ma, la), (rb, mb, lb) = one.frames(), other.frames()
    far = np.linalg.norm(ma - mb, axis=1) > np.hypot(la / 2, a.radius) + np.hypot(lb / 2, b.radius) + within
    out = np.zeros(len(at_a), dtype=bool)
    request = coal.CollisionRequest()
    request.security_margin = within
    for i in np.nonzero(~far)[0]:
        result = coal.CollisionResult()
        shapes = coal.Cylinder(a.radius, float(la[i])), coal.Cylinder(b.radius, float(lb[i]))
        out[i] = coal.collide(
            shapes[0], coal.Transform3s(ra[i], ma[i]), shapes[1], coal.Transform3s(rb[i], mb[i]), request, result
        )
    return out


# Angles ---------------------------------------------------------------------------------------------------------------


def grid(step: int) -> Ints:
    return np.arange(0, 360, step, dtype=np.int64)


def coarse(chain: Sequence[Item]) -> list[Ints]:
    """A grid for each free swivel of a chain."""
    k = sum(one.link.free for one in chain)
    return [grid(COARSE[k])] * k


def free_angles(rooms: Rooms, site: Site, chain: Sequence[Item]) -> tuple[tuple[Interval, ...], ...]:
    """For each free swivel, the angles (in whole degrees) for which all others can be turned so that the chain fits."""
    wide = coarse(chain)
    out = []
    for k in range(len(wide)):
        mask = np.zeros(360, dtype=bool)
        # A grid three times as coarse is part of the other: it settles most angles at a ninth of the cost or less.
        for others in ([w[::3] for w in wide], wide) if len(wide) > 1 else (wide,):
            found = free_postures(rooms, site, chain, [*others[:k], grid(FINE)[~mask], *others[k + 1 :]])
            mask[found.degrees[:, k]] = True
        out.append(intervals(mask, FINE))
    return tuple(out)


def intervals(mask: Mask, step: int) -> tuple[Interval, ...]:
    """Runs of a mask round the circle as first and last degree; the last is over 360 where a run passes 0."""
    n = len(mask)
    if mask.all():
        return ((0, 360),)
    if not mask.any():
        return ()
    starts = np.nonzero(mask & ~np.roll(mask, 1))[0]
    out = []
    for s in starts:
        length = int(np.argmin(np.roll(mask, -s)))
        out.append((int(s) * step, (int(s) + length - 1) * step))
    assert n * step == 360
    return tuple(out)
