"""Directions in the case as a person says them: toward the glass, the roof, the rear.

Owns turning a vector of the case frame into words, and a range of directions into the way it goes round. Angles of
swivels and slides have no zero that a builder knows; where they point, everyone sees. Leaves which vectors those are to
their owners.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from elbowroom.model.layout.layout import Layout
from elbowroom.parts.case.case import Case

OPEN_SIDE = "open side"  # the open side's name where nothing says what closes it
GLASS = "glass"

# deg off the main direction under which another one is not told, and above which both count alike.
SLIGHT_DEG = 11.25
ALIKE_DEG = 33.75
_LITTLE = {"floor": "a little downward", "roof": "a little upward"}


def open_side_of(layout: Layout) -> str:
    """What the open side of the layout's case is called."""
    glass = any(isinstance(p.part, Case) and p.part.open_side == "glass" for p in layout.pieces)
    return GLASS if glass else OPEN_SIDE


def sides(open_side: str = OPEN_SIDE) -> tuple[tuple[str, str], tuple[str, str], tuple[str, str]]:
    """For x, y and z of the case frame: what lies in the negative and in the positive direction."""
    return (("rear", "front"), (open_side, "tray"), ("floor", "roof"))


def named(vector: Sequence[float], open_side: str = OPEN_SIDE) -> str:
    """Where a vector of the case frame (any length) points: "the roof", "the glass and a little to the rear".

    Raises ValueError for one without length.
    """
    alike, little = _parts(vector, open_side)
    return " and ".join([*alike, *little]) if len(alike) < 3 else f"{alike[0]}, {alike[1]} and {alike[2]}"


def _parts(vector: Sequence[float], open_side: str) -> tuple[list[str], list[str]]:
    """The walls a vector points to, those that count alike first, and those it points to a little."""
    length = math.hypot(*vector)
    if not (math.isfinite(length) and length > 0):
        raise ValueError("a direction needs length")
    parts = sorted(
        ((abs(v) / length, pair[v > 0]) for v, pair in zip(vector, sides(open_side), strict=True)),
        key=lambda p: -p[0],
    )
    most, main = parts[0]
    alike, little = [f"the {main}"], []
    for share, name in parts[1:]:
        off = math.degrees(math.atan2(share, most))
        if off > ALIKE_DEG:
            alike.append(f"the {name}")
        elif off > SLIGHT_DEG:
            little.append(_LITTLE.get(name, f"a little to the {name}"))
    return alike, little


def toward(vector: Sequence[float], open_side: str = OPEN_SIDE) -> str:
    """As `named`, as one says it of what points there: "toward the roof"."""
    return f"toward {named(vector, open_side)}"


def round_by(vectors: Sequence[Sequence[float]], open_side: str = OPEN_SIDE) -> str:
    """A range of directions in their order: "toward the rear", or "anywhere from the rear, round by the roof, to the
    front".

    Every direction may be given; neighbours that read alike are told once, and of many between the ends the middle one,
    by the wall it points to most.
    """
    told = list(dict.fromkeys(named(v, open_side) for v in vectors))
    if len(told) == 1:
        return f"toward {told[0]}"
    first, last = (_end(v, open_side) for v in (vectors[0], vectors[-1]))
    middle = _parts(vectors[len(vectors) // 2], open_side)[0][0]
    over = "" if middle in (first, last) else f", round by {middle},"
    return f"anywhere from {first}{over} to {last}"


def _end(vector: Sequence[float], open_side: str) -> str:
    """An end of a range: "the roof", "between the tray and the roof", "the roof and a little to the rear"."""
    alike, little = _parts(vector, open_side)
    main = f"between {' and '.join(filter(None, (', '.join(alike[:-1]), alike[-1])))}" if len(alike) > 1 else alike[0]
    return " and ".join([main, *little])
