"""What two bodies are to each other, and the form of it that the cache keeps.

Owns no rule: `geometry.judge` makes these. Light, so that answers from the cache need no kernel. Lengths in mm, points
in the coordinates the pair was judged in.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import Any, ClassVar, Literal, assert_never

Point = tuple[float, float, float]
Method = Literal["exact", "mesh"]


@dataclass(frozen=True, slots=True)
class Overlap:
    """They share `volume_mm3`, by `depth` between point_a and point_b; low and high bound the depth.

    bound: what the meshes may be off by, 0 where that plays no part.
    """

    kind: ClassVar[Literal["overlap"]] = "overlap"
    volume_mm3: float
    depth: float
    low: float
    high: float
    point_a: Point
    point_b: Point
    method: Method
    bound: float


@dataclass(frozen=True, slots=True)
class Contact:
    """They touch, and share nothing: known exactly, or it is not said. at: a point of both."""

    kind: ClassVar[Literal["contact"]] = "contact"
    at: Point


@dataclass(frozen=True, slots=True)
class Apart:
    """`gap` from point_a on the first body to point_b on the second; low and high bound it; bound as of an overlap."""

    kind: ClassVar[Literal["apart"]] = "apart"
    gap: float
    low: float
    high: float
    point_a: Point
    point_b: Point
    method: Method
    bound: float


@dataclass(frozen=True, slots=True)
class Undecided:
    """No test settles it; `reason` says why. bound: what the meshes may be off by, where that is the reason."""

    kind: ClassVar[Literal["unknown"]] = "unknown"
    reason: str
    bound: float = 0.0


Judged = Overlap | Contact | Apart | Undecided
_KINDS: dict[str, type[Any]] = {c.kind: c for c in (Overlap, Contact, Apart, Undecided)}
_POINTS = ("point_a", "point_b", "at")


def carried(found: Judged, place: Callable[[Point], Point], swapped: bool) -> Judged:
    """The same with its points put elsewhere, and told of the second body to the first where `swapped`."""
    match found:
        case Overlap() | Apart():
            a, b = place(found.point_a), place(found.point_b)
            return replace(found, point_a=b, point_b=a) if swapped else replace(found, point_a=a, point_b=b)
        case Contact():
            return Contact(place(found.at))
        case Undecided():
            return found
        case _:
            assert_never(found)


def to_bytes(found: Judged) -> bytes:
    return json.dumps([found.kind, *(getattr(found, f.name) for f in fields(found))]).encode()


def from_bytes(data: bytes) -> Judged:
    """Raises ValueError or TypeError where the bytes are not those of `to_bytes`."""
    values = json.loads(data)
    sort = _KINDS.get(values[0]) if isinstance(values, list) and values and isinstance(values[0], str) else None
    if sort is None or len(values) != 1 + len(fields(sort)):
        raise ValueError("not a judged pair")
    named = zip(fields(sort), values[1:], strict=True)
    out: Judged = sort(*(_point(v) if f.name in _POINTS else v for f, v in named))
    return out


def _point(value: Any) -> Point:
    x, y, z = (float(c) for c in value)
    return (x, y, z)
