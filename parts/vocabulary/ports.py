"""Threaded ports and drilled bores as data: what a port states, its frame, and whether two bores run into each other.

Owns the fields every threaded port has, whatever part it sits in, the straight round bore, and the exact test of two
bores that are parallel or square to each other. Leaves where a port may sit to each family, and whether a fitting can
reach it to `elbowroom.model`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Literal

from pydantic import BaseModel, ConfigDict

from elbowroom.parts.vocabulary.base import Box, Frame, dim
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import Pose, Vec, pose
from elbowroom.parts.vocabulary.threads import ThreadName, thread

if TYPE_CHECKING:
    from cadquery import Solid

_PRACTICE = "common practice, no source"
# Two bores that only touch along a line share no volume; rounding of sums of a few hundred mm must not call it meeting.
TOUCH = 1e-9
Point3 = tuple[float, float, float]


class Port(BaseModel):
    """A threaded port's own fields; each family adds where it sits."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True, allow_inf_nan=False)

    name: str = dim(
        ..., "Name of the port, unique in its part", source="stated by the build", mark="V",
        pattern=r"^[A-Za-z][A-Za-z0-9 _-]{0,31}$",
    )  # fmt: skip
    thread: ThreadName = dim("G1/4", "Thread", source="the usual thread of the trade, no source", mark="P")
    depth: Mm = dim(Mm(8), "Depth of the bore from the seal face", source=_PRACTICE, mark="P", ge=3, le=40)
    land: Mm = dim(Mm(18), "Diameter of the flat seal face around the bore", source=_PRACTICE, mark="P", ge=8, le=60)
    flow: Literal["in", "out"] | None = dim(
        None, "Which way coolant passes it, in or out; left out: either way", source=_PRACTICE, mark="P"
    )


@dataclass(frozen=True, slots=True)
class Bore:
    """A round hole: `start` on the surface, unit direction `inward`, `length` and `diameter`, mm."""

    name: str
    start: Point3
    inward: Point3
    length: float
    diameter: float

    @property
    def bottom(self) -> Point3:
        """Centre of the bore's far end."""
        a, d = self.start, self.inward
        return (a[0] + d[0] * self.length, a[1] + d[1] * self.length, a[2] + d[2] * self.length)

    def room(self, wall: float) -> Box:
        """The box around the bore with `wall` mm about it and behind its bottom."""
        lo, hi = [], []
        for a, b, d in zip(self.start, self.bottom, self.inward, strict=True):
            around = self.diameter / 2 + wall if d == 0 else 0.0
            lo.append(min(a, b) - around - wall * (d < 0))
            hi.append(max(a, b) + around + wall * (d > 0))
        return Box((lo[0], lo[1], lo[2]), (hi[0], hi[1], hi[2]))

    def solid(self) -> Solid:
        """The bore as a solid to cut away."""
        from elbowroom.parts.vocabulary import draw

        return draw.cylinder(self.diameter, self.length, self.start, self.inward)


def port_frame(port: Port, origin: Vec, out: Vec, x: Vec, bodies: tuple[str, ...]) -> Frame:
    """The frame of a port whose seal face is centred on `origin`, its axis along `out`."""
    return Frame(
        port.name, "port", pose(origin, out, x), bodies,
        thread=port.thread, depth=float(port.depth), land=float(port.land), flow=port.flow,
    )  # fmt: skip


def bore_of(frame: Frame) -> Bore:
    """The bore a threaded frame stands on, at the thread's drawn diameter; ValueError for a frame without a thread."""
    if frame.thread is None or frame.depth is None:
        raise ValueError(f"frame '{frame.name}' has no threaded bore")
    return straight_bore(frame.name, frame.pose, frame.depth, thread(frame.thread).bore)


def straight_bore(name: str, at: Pose, depth: float, diameter: float) -> Bore:
    """A bore going in against the z axis of a pose."""
    start = (float(at[0, 3]), float(at[1, 3]), float(at[2, 3]))
    return Bore(name, start, (-float(at[0, 2]), -float(at[1, 2]), -float(at[2, 2])), depth, diameter)


def overlap(a: Bore, b: Bore) -> float:
    """How far two bores run into each other across their axes, mm; 0 or less where they do not share volume.

    Exact for axes that are parallel or square to each other along the part's axes, which all bores here are.
    """
    ka, kb = _axis(a), _axis(b)
    sa, sb = _span(a, ka), _span(b, kb)
    ra, rb = a.diameter / 2, b.diameter / 2
    if ka == kb:
        across = math.dist(*([p[i] for i in range(3) if i != ka] for p in (a.start, b.start)))
        return min(ra + rb - across, min(sa[1], sb[1]) - max(sa[0], sb[0]))
    # Square to each other: in the plane at height h along the common normal, each bore is a strip of half-width
    # sqrt(r^2 - (h - own height)^2); it must reach the other's end, which leaves each an interval of heights.
    common = 3 - ka - kb
    da, db = _outside(sb, a.start[kb]), _outside(sa, b.start[ka])
    if da >= ra or db >= rb:
        return min(ra - da, rb - db)
    return math.sqrt(ra**2 - da**2) + math.sqrt(rb**2 - db**2) - abs(a.start[common] - b.start[common])


def refuse_meeting_bores(bores: Iterable[Bore], what: str = "bores") -> None:
    """ValueError naming every two bores that run into each other and by how many mm."""
    pairs = [(a, b, overlap(a, b)) for a, b in combinations(bores, 2)]
    met = [f"'{a.name}' and '{b.name}' by {depth:.2f} mm" for a, b, depth in pairs if depth > TOUCH]
    if met:
        raise ValueError(f"{what} run into each other: " + "; ".join(met))


def refuse_outside(bore: Bore, wall: float, within: Box, spans: tuple[str, str, str]) -> None:
    """ValueError where a bore with its wall leaves the box it must stay in; `spans` names the box's x, y and z."""
    room = bore.room(wall)
    over = [max(within.lo[i] - room.lo[i], room.hi[i] - within.hi[i]) for i in range(3)]
    left = [f"the {what} by {mm:.2f} mm" for what, mm in zip(spans, over, strict=True) if mm > TOUCH]
    if left:
        raise ValueError(
            f"port '{bore.name}' (bore {bore.diameter:g}, {bore.length:g} deep, wall {wall:g}) leaves "
            + " and ".join(left)
        )


def beyond_outline(at: tuple[float, float], radius: float, half: tuple[float, float], corner: float) -> float:
    """How far a circle reaches beyond a rectangle about the origin with rounded corners, mm; negative inside it."""
    qx, qy = abs(at[0]) - half[0] + corner, abs(at[1]) - half[1] + corner
    return math.hypot(max(qx, 0.0), max(qy, 0.0)) + min(max(qx, qy), 0.0) - corner + radius


def refuse_repeated_names(names: Sequence[str]) -> None:
    """ValueError naming every name that is used twice."""
    again = sorted({n for n in names if names.count(n) > 1})
    if again:
        raise ValueError(f"names used more than once: {', '.join(again)}")


def _axis(bore: Bore) -> int:
    return max(range(3), key=lambda i: abs(bore.inward[i]))


def _span(bore: Bore, k: int) -> tuple[float, float]:
    ends = (bore.start[k], bore.bottom[k])
    return (min(ends), max(ends))


def _outside(span: tuple[float, float], value: float) -> float:
    return max(span[0] - value, value - span[1], 0.0)
