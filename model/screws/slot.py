"""A slot in a plane, and slots of one line that are cut as one.

Owns what a slot is. Leaves which screws pass it to `slots`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

SAME_MM = 1e-6  # mm: widths and lines nearer than this are the same, from rounding of sums and poses


@dataclass(frozen=True, slots=True)
class Slot:
    """A slot: centre, width, length between its end centres (0: a round hole), mm, and angle from x, degrees."""

    x: float
    y: float
    width: float
    length: float = 0.0
    angle: float = 0.0

    @property
    def ends(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Centres of the two round ends."""
        u, v = (self.length / 2 * f(math.radians(self.angle)) for f in (math.cos, math.sin))
        return (self.x - u, self.y - v), (self.x + u, self.y + v)


def joined(slots: Sequence[Slot], web: float = 0.0) -> tuple[Slot, ...]:
    """The slots, those of one width on one line that meet or leave less than `web` mm of sheet made one.

    For slots that are cut so, as a case cuts those of adjacent fans (`LEAST_WEB` there). Two that are each cut with
    their own round ends and only overlap keep a waist between them: leave those apart.
    """
    out: list[Slot] = []
    for slot in slots:
        now = slot
        while (k := next((i for i, s in enumerate(out) if _line(s, now, web)), None)) is not None:
            now = _union(out.pop(k), now)
        out.append(now)
    return tuple(out)


def _union(s: Slot, t: Slot) -> Slot:
    (p, q), along = max(
        (((p, q), math.dist(p, q)) for p in (*s.ends, *t.ends) for q in (*s.ends, *t.ends)), key=lambda e: e[1]
    )
    if along <= SAME_MM:
        return s
    angle = (s if s.length else t).angle if s.length or t.length else math.degrees(math.atan2(q[1] - p[1], q[0] - p[0]))
    return replace(s, x=(p[0] + q[0]) / 2, y=(p[1] + q[1]) / 2, length=along, angle=angle)


def _line(s: Slot, t: Slot, web: float) -> bool:
    """Whether two slots are of one width, on one line, and nearer to each other than their width and the web."""
    if abs(s.width - t.width) > SAME_MM:
        return False
    u = (t.x - s.x, t.y - s.y)
    for slot in (s, t):
        if slot.length:
            a = math.radians(slot.angle)
            u = (math.cos(a), math.sin(a))
    off = [(x - s.x) * -u[1] + (y - s.y) * u[0] for x, y in (*s.ends, *t.ends)]
    size = math.hypot(*u)
    if size > SAME_MM and max(map(abs, off)) > SAME_MM * size:
        return False
    return math.dist((s.x, s.y), (t.x, t.y)) - (s.length + t.length) / 2 < s.width + web
