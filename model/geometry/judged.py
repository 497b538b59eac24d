"""The record of what two bodies are to each other, and its form in the cache.

Owns no rule: `geometry.judge` makes these. Light, so that answers from the cache need no kernel.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Literal

Point = tuple[float, float, float]
Kind = Literal["overlap", "contact", "apart", "unknown"]
Method = Literal["exact", "mesh", "boxes", "none"]


@dataclass(frozen=True, slots=True)
class Judged:
    """What two bodies are to each other. Lengths in mm, points in the coordinates the pair was judged in.

    overlap: `volume_mm3`, and `depth` between point_a and point_b; low and high bound the depth. contact: gap 0.
    apart: `gap` from point_a on the first body to point_b on the second; low and high bound it, high None where only a
    lower bound is known. unknown: `reason` says why. bound: what the meshes may be off by, 0 where that plays no part.
    """

    kind: Kind
    volume_mm3: float = 0.0
    depth: float = 0.0
    gap: float | None = None
    low: float | None = None
    high: float | None = None
    point_a: Point | None = None
    point_b: Point | None = None
    method: Method = "none"
    bound: float = 0.0
    reason: str = ""

    def to_bytes(self) -> bytes:
        return json.dumps([getattr(self, name) for name in self.__slots__]).encode()

    @classmethod
    def from_bytes(cls, data: bytes) -> Judged:
        """Raises ValueError or TypeError where the bytes are not those of `to_bytes`."""
        values = json.loads(data)
        if len(values) != len(cls.__slots__) or values[0] not in ("overlap", "contact", "apart", "unknown"):
            raise ValueError("not a judged pair")
        for i in (6, 7):
            values[i] = None if values[i] is None else tuple(float(c) for c in values[i])
        return cls(*values)
