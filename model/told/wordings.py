"""How the checks of this room write numbers and name what a number rests on.

Owns the wording only, so that every finding says a length or a volume in the same way.
"""

from __future__ import annotations

import math
import re

from elbowroom.model.layout.layout import Piece
from elbowroom.model.tolerances import CONTACT_MM

READS_AS_NOTHING_MM = 0.005  # shorter lengths round to 0.00
FOUR_DIGITS_MM = 1e-4  # lengths from here on show a digit in four decimals


def tenths(value: float, *limits: float) -> str:
    """A length for a sentence: a tenth of a millimetre, which is what a person can measure; more digits only where
    that would read as nothing, or as one of the limits the verdict hangs on while it is not."""
    apart = [limit for limit in (0.0, *limits) if abs(value - limit) > CONTACT_MM]
    for digits in range(1, 5):
        said = round(value, digits) + 0.0
        if all(round(limit, 4) != said and (said < limit) == (value < limit) for limit in apart):
            return f"{said:.{digits}f} mm"
    return f"{value:.1g} mm"


def whole_mm(value: float) -> str:
    """A height in a case for a sentence: whole millimetres, a tenth under ten."""
    return f"{value:.0f} mm" if value >= 10 else f"{value:.1f} mm"


def lacking(value: float) -> str:
    """A length that is missing, for a sentence: a tenth of a millimetre, rounded up, so that as much is enough."""
    return f"{math.ceil(round(value * 10, 6)) / 10:.1f} mm"


def body_words(piece: Piece, body: str) -> str:
    """A body of a piece as a builder calls it: "case foot", and the piece alone where it has one body only."""
    real = [b.name for b in piece.part.bodies() if b.keep_out is None]
    return piece.name if len(real) == 1 else f"{piece.name} {re.sub(r'-[0-9]+$', '', body)}"


def mm(value: float) -> str:
    """A length for a sentence where hundredths count, as of screws and holes; more where it would read as nothing."""
    if 0.0 < abs(value) < READS_AS_NOTHING_MM:
        return f"{value:.1g} mm" if abs(value) < FOUR_DIGITS_MM else f"{value:.4f} mm"
    return f"{value:.2f} mm"


def ceil_mm(value: float) -> str:
    """The lower end of what fits: rounded inward, so that what is told fits."""
    return mm(math.ceil(round(value * 100, 3)) / 100)


def floor_mm(value: float) -> str:
    """The upper end of what fits, rounded inward."""
    return mm(math.floor(round(value * 100, 3)) / 100)


def mm2(value: float) -> str:
    """An area for a sentence."""
    return f"{value:.3g} mm2" if abs(value) < 1.0 else f"{value:.1f} mm2"


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
