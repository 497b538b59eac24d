"""What the verdict on a port rests on: the meshes near it, and the dimensions of fittings that nobody has stated.

Owns `basis_of` and `unsound`. What the verdict is is the business of `verdicts`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from elbowroom.model.loop.plumbing import Link
from elbowroom.model.reach.rooms import Rooms, Site
from elbowroom.model.reach.why import Reason
from elbowroom.model.told.findings import Basis
from elbowroom.model.told.wordings import assumed_by
from elbowroom.parts.catalogue import sizes
from elbowroom.parts.fitting.fitting import Fitting
from elbowroom.parts.vocabulary.base import ASSUMED

NEARBY = 30.0  # mm around a chain in which an unsound mesh leaves the verdict open: the tube's leg and a finger
# Fields of a fitting that its envelope is made of: what a finding calls assumed where the build does not state them.
_ENVELOPE = (
    "body_od", "hex_af", "height", "collar_od", "collar_height", "axis_height", "next_distance", "next_od", "sidestep",
    "thread_length", "seal_od", "insertion", "finger_room",
)  # fmt: skip


def unsound(rooms: Rooms, site: Site, links: Sequence[Link]) -> str:
    """A mesh near a chain that no verdict may rest on, in words; empty where all are sound."""
    reach = sum(li.fitting.reach_length for li in links) + NEARBY
    for s in rooms.around(site, reach):
        if s.mesh.fault is not None and s.body.keep_out is None:
            return f"the mesh of {s.name} is not sound: {s.mesh.fault}"
    return ""


def rests_on_fault(rooms: Rooms, reason: Reason | None) -> bool:
    return reason is not None and rooms.solids[reason.blockage.obstacle].mesh.fault is not None


def basis_of(rooms: Rooms, site: Site, links: Sequence[Link], reason: Reason | None) -> Basis:
    near = rooms.around(site, sum(li.fitting.reach_length for li in links) + NEARBY)
    bound = max([s.mesh.bound for s in near], default=0.0)
    assumed = dict(assumed_by(site.piece))
    if reason is not None:
        solid = rooms.solids[reason.blockage.obstacle]
        bound = float(solid.mesh.bound)
        assumed |= dict(assumed_by(solid.piece))
    for li in links:
        assumed[li.size] = tuple(f for f in _ENVELOPE if f in li.fitting.fields_used() and _is_assumed(li, f))
    return Basis("mesh" if bound > 0 else "exact", bound, tuple(assumed.items()))


def _is_assumed(link: Link, field: str) -> bool:
    """Whether a field of a fitting rests on memory or common practice: neither the build nor a document states it."""
    if field in link.given:
        return False
    row = sizes("fitting").get(link.size)
    extra: Any = Fitting.model_fields[field].json_schema_extra
    mark = row.sources[field][1] if row is not None and field in row.sources else extra["mark"]
    return mark in ASSUMED
