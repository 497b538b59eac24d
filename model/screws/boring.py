"""Holes that a build could have drilled in its own parts: sheets, plain shapes, adapter plates.

Owns putting them into the part, which says itself whether it still is sound with them. A case's walls are `drilling`'s.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from pydantic import ValidationError

from elbowroom.model.layout.layout import Piece
from elbowroom.model.screws.faces import OPPOSED
from elbowroom.model.screws.lines import Axis
from elbowroom.parts.made.adapter import Adapter
from elbowroom.parts.made.adapter_holes import AdapterHole
from elbowroom.parts.made.primitives import Plain
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.declared import FaceHole
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import apply, compose, inverse, turn

PLACES = 2  # decimals of a millimetre a hole is marked out to


def bored(piece: Piece, axes: Sequence[Axis], diameter: float) -> Part | None:
    """The piece's part with a through hole for each screw's line; None where it is of no family that can be drilled, or
    would not be sound with them.
    """
    part = piece.part
    fields = {name: getattr(part, name) for name in type(part).model_fields}
    try:
        if isinstance(part, Adapter):
            points = [apply(inverse(piece.pose), np.array(a.origin)) for a in axes]
            new = tuple(AdapterHole(at=_at(p[0], p[1]), diameter=Mm(diameter)) for p in points)
            return type(part).model_validate(
                {**fields, "holes_a": (*part.holes_a, *new), "holes_b": (*part.holes_b, *new)}
            )
        if isinstance(part, Plain):
            holes = tuple(_face_hole(piece, part, a, diameter) for a in axes)
            return type(part).model_validate({**fields, "holes": (*part.holes, *holes)})
    except (ValidationError, LookupError):
        return None
    return None


def _face_hole(piece: Piece, part: Plain, axis: Axis, diameter: float) -> FaceHole:
    """The hole in the face that a screw's line goes out by; LookupError where no face lies square to it."""
    for name, flat in part.flats().items():
        at = compose(piece.pose, flat.pose)
        if float(at[:3, 2] @ np.array(axis.out)) >= -OPPOSED:
            back = inverse(at)
            point, way = apply(back, np.array(axis.origin)), turn(back, np.array(axis.out))
            x, y, _ = point - point[2] / way[2] * way
            return FaceHole(face=name, at=_at(x, y), diameter=Mm(diameter))
    raise LookupError(f"{piece.name} has no face square to the screw")


def _at(x: float, y: float) -> tuple[Mm, Mm]:
    return (Mm(round(float(x), PLACES)), Mm(round(float(y), PLACES)))
