"""How the checks of this room write numbers and name what a number rests on.

Owns the wording only, so that every finding says a length or a volume in the same way.
"""

from __future__ import annotations

import re

from elbowroom.model.layout import Piece


def body_words(piece: Piece, body: str) -> str:
    """A body of a piece as a builder calls it: "case foot", and the piece alone where it has one body only."""
    real = [b.name for b in piece.part.bodies() if b.keep_out is None]
    return piece.name if len(real) == 1 else f"{piece.name} {re.sub(r'-[0-9]+$', '', body)}"


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


def ml(value: float) -> str:
    """A volume of coolant for a sentence: whole millilitres, one decimal under ten."""
    return f"{value:.1f} ml" if abs(value) < 10 else f"{value:.0f} ml"


def assumed_by(piece: Piece) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """The piece's fields that a finding must call assumed, as `Basis.assumed` wants them."""
    fields = piece.assumed
    return ((piece.name, fields),) if fields else ()
