"""How much is missing where a body goes right through a thin sheet: how deep they overlap would only tell the sheet.

Owns that number. A board that stands 15 mm through a floor of 1 mm shares 1 mm with it, and moving it by 1 mm helps
nothing: it has to come back 15.
"""

from __future__ import annotations

import numpy as np

from elbowroom.model.geometry.scene import Solid
from elbowroom.model.tolerances import CONTACT_MM

SHEET_MM = 6.0  # thickest panel of the trade, acrylic; common practice, no source (P)
FLAT = 10.0  # a sheet is so many times as wide, both ways, as it is thick


def missing_mm(a: Solid, b: Solid) -> float | None:
    """By how much the body that goes right through the other, a sheet along the case's axes, has to come back, mm.

    It is free of the sheet when it has come back so far, to the side that most of it stands on. None where neither is
    such a sheet, or nothing goes right through it.
    """
    found = [m for sheet, other in ((a, b), (b, a)) if (m := _past(sheet, other)) is not None]
    return max(found) if found else None


def _past(sheet: Solid, other: Solid) -> float | None:
    size = sheet.hi - sheet.lo
    k = int(np.argmin(size))
    if size[k] > SHEET_MM or np.delete(size, k).min() < FLAT * size[k]:
        return None
    below, above = float(other.hi[k] - sheet.lo[k]), float(sheet.hi[k] - other.lo[k])
    back = min(below, above)
    return back if back > size[k] + CONTACT_MM else None
