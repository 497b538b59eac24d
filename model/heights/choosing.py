"""Which height of some stretches is taken: a whole layer of the printer, the least or in the middle.

Owns that rule alone. Millimetres.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from elbowroom.model.heights.ranges import Stretch
from elbowroom.model.tolerances import EXACT_MM


def chosen(fits: Sequence[Stretch], how: str, layer: float) -> tuple[float, Stretch]:
    """A height of the stretches and the one it lies in: the least whole layer, or the middle of the widest.

    Where no stretch holds a whole layer, the middle of the widest is taken.
    """
    widest = max(fits, key=lambda s: (s[1] - s[0], -s[0]))
    middle = (widest[0] + widest[1]) / 2
    if how == "middle":
        near = layered(middle, layer, round)
        return (near if widest[0] <= near <= widest[1] else round(middle, 3)), widest
    for a, b in fits:
        height = whole(a, b, layer)
        if height is not None:
            return height, (a, b)
    return round(middle, 3) if widest[0] <= round(middle, 3) <= widest[1] else middle, widest


def whole(a: float, b: float, layer: float) -> float | None:
    """The least whole layer in a stretch, mm; None where there is none."""
    height = layered(a, layer, math.ceil)
    return height if height <= b + 2 * EXACT_MM else None


def layered(height: float, layer: float, rounding: Any) -> float:
    """A height as whole layers; what is over a whole one by less than a gap is known to is one."""
    steps = height / layer
    whole = round(steps)
    return round((whole if abs(steps - whole) * layer < 2 * EXACT_MM else rounding(steps)) * layer, 6)
