"""Two bodies in one coordinate system, and what can be measured of them there.

Owns the measures that `geometry.judge` weighs, each made once when first asked for. Points are in the first
body's coordinates. Leaves every decision to the rules.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from elbowroom.model.geometry.depth import Depth, depth_of
from elbowroom.model.geometry.enclosure import FLAT
from elbowroom.model.geometry.facing import facing_point
from elbowroom.model.geometry.meshes import Surface
from elbowroom.model.geometry.narrow import ClosePairs, Kernel, Nearest, close_pairs, common, held, nearest
from elbowroom.model.geometry.parting import flat_gaps, pair_gaps
from elbowroom.model.geometry.parting_planes import parted
from elbowroom.model.tolerances import CONTACT_MM, MAX_CLOSE_PAIRS, SOME_CLOSE_PAIRS
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.tolerances import TINY


@dataclass(frozen=True, eq=False)
class PosedPair:
    """Body b, placed by `turn` and `move` in the coordinates of body a; what is measured of them is measured once."""

    a: Kernel
    b: Kernel
    turn: Floats
    move: Floats
    _close: tuple[float, ClosePairs] | None = None

    @property
    def bound(self) -> float:
        return self.a.bound + self.b.bound

    @property
    def slack(self) -> float:
        return CONTACT_MM + self.a.grain + self.b.grain

    def into_b(self, point: Floats) -> Floats:
        out: Floats = (point - self.move) @ self.turn
        return out

    def clear_of_curves(self, point: Floats) -> bool:
        """Whether meshes and true solids are the same at the point, which is in a's coordinates."""
        return (
            self.a.enclosure.from_curved(point) > self.a.bound
            and self.b.enclosure.from_curved(self.into_b(point)) > self.b.bound
        )

    @cached_property
    def near(self) -> Nearest:
        """Least distance of the two surfaces; it knows nothing of one body inside the other."""
        return nearest(self.a, self.b, self.turn, self.move)

    @cached_property
    def deep(self) -> Depth | None:
        """Depth and volume of what the meshes share; None where that is nothing."""
        if not self.boxes_meet() or self._parted():
            return None
        return depth_of(common(self.a, self.b, self.turn, self.move), self.slack, self.bound)

    def film(self, thickest: float) -> bool:
        """Whether the meshes share nothing that is anywhere thicker than so many mm."""
        return self.deep is None or self.deep.high <= thickest

    def held(self) -> bool:
        """By point in solid: whether a piece of either body, whose surfaces do not meet, lies in the other."""
        return any(held(self.a, self.b, self.turn, self.move))

    def close(self, margin: float) -> ClosePairs:
        """The triangle pairs within `margin` mm, and maybe some farther ones."""
        if self._close is None or self._close[0] < margin:
            object.__setattr__(self, "_close", (margin, close_pairs(self.a, self.b, self.turn, self.move, margin)))
        assert self._close is not None
        return self._close[1]

    def facing(self, within: float, usable: Callable[[Floats], bool] | None = None) -> tuple[Floats, Floats] | None:
        """Opposite points of flat faces at most `within` mm apart, where the meshes are the solids."""
        margin = within + CONTACT_MM
        if self._close is not None and self._close[0] >= margin and self._close[1].complete:
            return facing_point(
                self.a, self.b, self.turn, self.move, self._close[1], within, usable or self.clear_of_curves
            )
        for most in (SOME_CLOSE_PAIRS, MAX_CLOSE_PAIRS):  # one facing pair is enough: not all need be listed
            pairs = close_pairs(self.a, self.b, self.turn, self.move, margin, most)
            found = facing_point(self.a, self.b, self.turn, self.move, pairs, within, usable or self.clear_of_curves)
            if found is not None or pairs.complete:
                return found
        return None

    def boxes_meet(self) -> bool:
        """Whether b's box, turned, and a's box share room: where they do not, no volume is shared."""
        b = self.b
        corners = np.array(
            [[x, y, z] for x in (b.lo[0], b.hi[0]) for y in (b.lo[1], b.hi[1]) for z in (b.lo[2], b.hi[2])]
        )
        placed = corners @ self.turn.T + self.move
        return bool((placed.min(axis=0) <= self.a.hi).all() and (placed.max(axis=0) >= self.a.lo).all())

    def _parted(self) -> bool:
        """Whether the meshes lie on two sides of a plane along their nearest triangles or their own axes, but for what
        is no thicker than the slack: they then share a film at most, which flush plates full of holes take long to
        be cut for."""
        a, b = self.a.mesh.vertices, self.b.mesh.vertices
        near = [
            self.a.enclosure.normals[self.near.triangle_a],
            self.turn @ self.b.enclosure.normals[self.near.triangle_b],
        ]
        tries = np.column_stack([*near, np.eye(3), self.turn])
        one, other = a @ tries, b @ (self.turn.T @ tries) + self.move @ tries
        gap = np.maximum(other.min(axis=0) - one.max(axis=0), one.min(axis=0) - other.max(axis=0))
        length = np.linalg.norm(tries, axis=0)
        return bool((gap[length > 0.5] >= -self.slack).any())

    def certified(self, distance: float, flats: bool = False) -> float | None:
        """Sound lower bound of the true surfaces' gap (negative: not certified); None where nothing can be said.

        `distance`: the meshes' own, mm. `flats`: whether flat faces, too, are to be shown not to cross; else that is
        taken from what the meshes share.
        """
        margin = distance + 2 * self.bound + self.slack
        pairs = self.close(margin)
        if pairs.complete:
            return min(self.least(pairs, flats), distance)
        found = parted(self, pairs, margin, flats)
        return None if found is None else min(found, distance)

    def least(self, pairs: ClosePairs, flats: bool) -> float:
        """The least of the sound gaps of listed pairs, mm; flat ones only where `flats` asks for them."""
        # Two flat triangles are the solids themselves: their gap is the meshes' own.
        a, b = self.a.enclosure, self.b.enclosure
        either = (a.kind[pairs.i] != FLAT) | (b.kind[pairs.j] != FLAT)
        curved = np.flatnonzero(either)
        low = float("inf")
        if len(curved):
            which = (pairs.i[curved], pairs.j[curved])
            low = float(pair_gaps(a, b, self.turn, self.move, which, pairs.towards(curved)).min())
        flat = np.flatnonzero(~either)
        if flats and len(flat):
            placed = b.corners[pairs.j[flat]] @ self.turn.T + self.move
            low = min(float(flat_gaps(a.corners[pairs.i[flat]], placed).min()), low)
        return low

    def touching_at(self, otherwise: Floats) -> Floats:
        """A point where two flat bodies touch: witness points of meeting triangles are not to be trusted."""
        facing = self.facing(self.slack, lambda _: True)
        if facing is not None:
            return facing[0]
        own, other = self.a.enclosure, self.b.enclosure
        placed = self.b.mesh.vertices @ self.turn.T + self.move
        for vertices, corners in (
            (placed, own.corners),
            (self.a.mesh.vertices, other.corners @ self.turn.T + self.move),
        ):
            surface = Surface(corners)
            for v in vertices[:200]:
                if surface.nearest(v)[0] <= self.slack:
                    found: Floats = v
                    return found
        return otherwise

    def between_flats(self, deep: Depth) -> bool:
        """Whether the depth is that between two flat faces, owing nothing to tessellation.

        So it is where both its ends lie clear of curves, and beyond each end no curved face near the overlap reaches,
        of at least one of the bodies.
        """
        if not all(self.clear_of_curves(p) for p in (deep.point_a, deep.point_b)):
            return False
        along = (deep.point_b - deep.point_a) / max(deep.depth, TINY)
        start, end = float(deep.point_a @ along), float(deep.point_b @ along)
        box = deep.box + np.array([[-self.bound], [self.bound]])
        a = self.a.enclosure.curved_extent(box, np.eye(3), np.zeros(3), along)
        b = self.b.enclosure.curved_extent(box, self.turn, self.move, along)
        return max(a[0], b[0]) >= start - CONTACT_MM and min(a[1], b[1]) <= end + CONTACT_MM
