"""How far a body that stands through a thin room must come back: how deep they overlap would only tell the room.

Owns that number. A plug that stands 15 mm through a room of 1 mm shares 1 mm with it, and moving it by 1 mm helps
nothing: it has to come back 15, or go aside as far as it reaches over the room's edge, whichever is less. Of parts that
share room `way_out` has the number, with more care.
"""

from __future__ import annotations

import numpy as np

from elbowroom.model.geometry.scene import Solid
from elbowroom.model.tolerances import CONTACT_MM

SHEET_MM = 6.0  # thickest panel of the trade, acrylic; common practice, no source (P)
FLAT = 10.0  # a sheet is so many times as wide, both ways, as it is thick


def missing_mm(a: Solid, b: Solid) -> float | None:
    """By how much one of two bodies has to move along the case's axes for their boxes to be clear of each other, where
    one is a sheet along those axes, mm. None where neither is one, or the overlap's depth says as much.
    """
    found = [m for sheet, other in ((a, b), (b, a)) if (m := _past(sheet, other)) is not None]
    return max(found) if found else None


def _past(sheet: Solid, other: Solid) -> float | None:
    size = sheet.hi - sheet.lo
    k = int(np.argmin(size))
    if size[k] > SHEET_MM or np.delete(size, k).min() < FLAT * size[k]:
        return None
    back = float(np.minimum(other.hi - sheet.lo, sheet.hi - other.lo).min())
    return back if back > size[k] + CONTACT_MM else None
