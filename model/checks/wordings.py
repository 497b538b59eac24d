"""How the checks of this room write numbers and name what a number rests on.

Owns the wording only, so that every finding says a length or a volume in the same way.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.layout import Piece
from elbowroom.model.spec import WALLS

OBLIQUE = 0.383  # a direction is told by every wall it looks at within 67.5 degrees: halves of the quarters between


def toward(way: Sequence[float] | NDArray[np.float64]) -> str:
    """A direction in words a person at the case knows: toward one wall, or several where it runs obliquely.

    way: a unit vector in case coordinates.
    """
    axes = [k for k in sorted(range(3), key=lambda i: -abs(float(way[i]))) if abs(float(way[k])) > OBLIQUE]
    named = [next(w for w, (axis, far) in WALLS.items() if axis == k and far == (float(way[k]) > 0)) for k in axes]
    return "toward the " + " and the ".join("open side" if w == "open" else w for w in named)


def mm(value: float) -> str:
    """A length for a sentence: two decimals, more where it would read as nothing."""
    if 0.0 < abs(value) < 0.005:
        return f"{value:.1g} mm" if abs(value) < 1e-4 else f"{value:.4f} mm"
    return f"{value:.2f} mm"


def mm2(value: float) -> str:
    """An area for a sentence."""
    return f"{value:.3g} mm2" if abs(value) < 1.0 else f"{value:.1f} mm2"


def mm3(value: float) -> str:
    """A volume for a sentence."""
    return f"{value:.3g} mm3" if abs(value) < 1.0 else f"{value:.1f} mm3"


def ml(value: float, *, rough: bool = False) -> str:
    """A volume of coolant for a sentence: whole millilitres, one decimal under ten; rough: to ten, where it is assumed
    rather than measured or drawn."""
    if rough:
        return "under 10 ml" if 0.0 < value < 5.0 else f"{round(value, -1) + 0.0:.0f} ml"
    return f"{value:.1f} ml" if abs(value) < 10 else f"{value:.0f} ml"


def assumed_by(piece: Piece) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """The piece's fields that a finding must call assumed, as `Basis.assumed` wants them."""
    fields = piece.assumed
    return ((piece.name, fields),) if fields else ()
