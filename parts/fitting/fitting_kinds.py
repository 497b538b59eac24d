"""The kinds of fitting: which fields each kind has, and what they are where nobody says.

Owns that table and its reading, as data. Lengths in millimetres, angles in degrees. Every value is common practice
without a published source (mark P), which is also what the fields of `fitting` say; a caliper overrides it.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Literal

Kind = Literal[
    "barb", "compression", "collar", "rotary-45", "rotary-90", "offset",
    "extension", "male-male", "plug", "ball-valve", "pass-through",
]  # fmt: skip

SOFT_KINDS: frozenset[str] = frozenset({"barb", "compression"})  # hold a soft tube
TUBE_KINDS: frozenset[str] = SOFT_KINDS | {"collar"}  # hold a tube
RING_KINDS: frozenset[str] = frozenset({"compression", "collar"})  # a ring is screwed down on the tube
TILT: Mapping[str, float] = MappingProxyType({"rotary-45": 45.0, "rotary-90": 90.0})  # next axis off the thread axis
SWIVELS: frozenset[str] = frozenset({*TILT, "offset"})  # turn about the thread axis once they are tight
HEX_KINDS: frozenset[str] = frozenset({"barb", "plug", "extension", "male-male"})  # may have a hexagon for a spanner

_SEAL = {"land": 17.0, "seal_id": 13.4, "seal_od": 16.4, "seal_depth": 1.2}
_MALE = {"thread_length": 5.0, **_SEAL}
_NEXT = {"next_depth": 6.5, "next_land": 17.5}
_SWIVEL = {**_MALE, **_NEXT, "bore": 8.0, "collar_od": 18.5, "next_od": 17.5, "angle": 0.0, "swing_keep_out": False}

DEFAULTS: Mapping[str, Mapping[str, Any]] = MappingProxyType(
    {
        "barb": {
            **_MALE, "bore": 7.5, "body_od": 17.5, "hex_af": 0.0, "height": 22.0,
            "tube_od": 13.0, "tube_id": 10.0, "insertion": 15.0,
        },
        "compression": {
            **_MALE, "bore": 8.0, "body_od": 17.5, "height": 21.0, "collar_od": 18.0, "collar_height": 16.0,
            "tube_od": 13.0, "tube_id": 10.0, "insertion": 15.0,
        },
        "collar": {
            **_MALE, "bore": 9.0, "body_od": 20.0, "height": 17.0, "collar_od": 20.5, "collar_height": 12.0,
            "tube_od": 14.0, "insertion": 10.0,
        },
        "rotary-45": {
            **_SWIVEL, "collar_height": 4.0, "body_od": 17.5, "axis_height": 10.5, "next_distance": 12.0,
            "swing_radius": None,
        },
        "rotary-90": {
            **_SWIVEL, "collar_height": 5.0, "body_od": 17.5, "axis_height": 16.0, "next_distance": 14.0,
            "swing_radius": None,
        },
        "offset": {
            **_SWIVEL, "bore": 7.0, "collar_height": 4.0, "height": 22.0, "sidestep": 10.0, "swing_radius": None,
        },
        "extension": {**_MALE, **_NEXT, "bore": 8.0, "body_od": 17.5, "hex_af": 0.0, "height": 15.0},
        "male-male": {**_MALE, "bore": 8.0, "body_od": 17.5, "hex_af": 0.0, "height": 5.0},
        "plug": {**_MALE, "body_od": 17.5, "hex_af": 0.0, "height": 4.0},
        "ball-valve": {
            **_MALE, **_NEXT, "bore": 9.0, "body_od": 21.0, "height": 50.0, "handle_sweep": 30.0,
            "handle_width": 8.0, "handle_thickness": 3.0, "angle": 0.0,
        },
        "pass-through": {
            "bore": 10.0, "body_od": 25.0, "height": 5.0, "tail": 15.0, "panel_hole": 19.0, "nut_af": 23.0,
            "nut_height": 4.0, "panel": 2.0, "max_panel": 8.0, **_SEAL, "land": 24.0, "seal_id": 20.0, "seal_od": 23.0,
            **_NEXT,
        },
    }
)  # fmt: skip
COMMON = ("kind", "thread", "finger_room")  # fields of every kind


def uses(kind: str) -> tuple[str, ...]:
    """The fields a kind of fitting has, `kind` first."""
    return (*COMMON, *DEFAULTS[kind])


def completed(given: Mapping[str, Any], generic: Mapping[str, Any]) -> dict[str, Any]:
    """The given fields and, for those left out, the kind's own values.

    generic: defaults of all fields. Raises ValueError naming fields that the kind does not have, unless they hold the
    generic default, which is how a complete dump of a fitting reads back. An unknown kind is left to the field's type.
    """
    kind = given.get("kind", generic["kind"])
    if not isinstance(kind, str) or kind not in DEFAULTS:
        return dict(given)
    own = uses(kind)
    strange = [n for n in given if n in generic and n not in own and given[n] != generic[n]]
    if strange:
        raise ValueError(f"a {kind} fitting has no {', '.join(strange)}; its fields are {', '.join(own)}")
    return {**DEFAULTS[kind], **given}
