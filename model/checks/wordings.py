"""How the checks of this room write numbers and name what a number rests on.

Owns the wording only, so that every finding says a length or a volume in the same way.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.layout import Piece
from elbowroom.model.spec import WALLS
from elbowroom.model.tolerances import CONTACT_MM

SQUARELY = 0.866  # cosine of 30 degrees: a direction within it is said to be toward that wall
OBLIQUE = 0.383  # a direction is told by every wall it looks at within 67.5 degrees: halves of the quarters between


def toward(way: Sequence[float] | NDArray[np.float64]) -> str:
    """A direction in words a person at the case knows: toward one wall, or several where it runs obliquely.

    way: a unit vector in case coordinates.
    """
    axes = [k for k in sorted(range(3), key=lambda i: -abs(float(way[i]))) if abs(float(way[k])) > OBLIQUE]
    named = [next(w for w, (axis, far) in WALLS.items() if axis == k and far == (float(way[k]) > 0)) for k in axes]
    return "toward the " + " and the ".join("open side" if w == "open" else w for w in named)


def walls_met(ways: Iterable[Sequence[float] | NDArray[np.float64]]) -> str:
    """The walls that directions look at within 30 degrees: `the roof, the rear`; empty where none does."""
    found: dict[str, None] = {}
    for way in ways:
        for wall, (axis, far) in WALLS.items():
            if float(way[axis]) * (1 if far else -1) > SQUARELY:
                found[wall] = None
    named = ["the open side" if w == "open" else f"the {w}" for w in WALLS if w in found]
    return " or ".join(filter(None, (", ".join(named[:-1]), *named[-1:])))


def tenths(value: float, *limits: float) -> str:
    """A length for a sentence: a tenth of a millimetre, which is what a person can measure; more digits only where
    that would read as nothing, or as one of the limits the verdict hangs on while it is not."""
    apart = [limit for limit in (0.0, *limits) if abs(value - limit) > CONTACT_MM]
    for digits in range(1, 5):
        said = round(value, digits) + 0.0
        if all(round(limit, 4) != said and (said < limit) == (value < limit) for limit in apart):
            return f"{said:.{digits}f} mm"
    return f"{value:.4f} mm"


def lacking(value: float) -> str:
    """A length that is missing, for a sentence: a tenth of a millimetre, rounded up, so that as much is enough."""
    return f"{math.ceil(round(value * 10, 6)) / 10:.1f} mm"


def mm(value: float) -> str:
    """A length for a sentence where hundredths count, as of screws and holes; more where it would read as nothing."""
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
