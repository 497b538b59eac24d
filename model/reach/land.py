"""The seal face: is the flat around a port whole, and does anything lie on it?

Owns that question. A thin ring under the port's plane must be filled by the port's own piece, and the disc above it
must be empty; both are cut with the real meshes, so a hole of any place and shape is found. A land that a mated piece
lies on all round is covered, which is not the same as blocked.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

import manifold3d
import numpy as np

from elbowroom.model.geometry.envelopes import Point
from elbowroom.model.geometry.scene import Solid
from elbowroom.model.reach.rooms import Rooms, Site
from elbowroom.parts.vocabulary.pose import apply, compose, inverse, shift
from elbowroom.parts.vocabulary.threads import thread

UNDER = (-0.25, -0.05)  # mm: the layer looked at under the land: clear of the plane itself and of anything that deep
ABOVE = (0.02, 0.2)  # mm: the layer above it: over it an envelope of its own begins
SIDES = 96  # corners of the ring: strays 0.01 mm at a land of 20
WHOLE = 2e-3  # share of the ring that may be missing: facets of bores and rims; a scratch 0.1 mm wide is more
_COVERED = 0.99  # share of the disc that must be covered for the port to count as covered, facets again
_NOTHING = 1e-4  # share of a layer that a body may fill and be told as nothing: what rounding leaves of a flush face

State = Literal["free", "covered", "taken", "blocked", "broken", "unknown"]


@dataclass(frozen=True, slots=True)
class Land:
    """A land's state. diameter: mm. missing: mm2 of the ring without material. obstacle: what lies on it. seam: bodies
    of the own piece that the ring is parted over. at: where it is missing or covered.
    """

    state: State
    diameter: float
    missing: float = 0.0
    obstacle: str | None = None
    seam: tuple[str, ...] = ()
    at: Point | None = None
    fault: str | None = None


def land_state(rooms: Rooms, site: Site, diameter: float) -> Land:
    """The state of the ring of that outer diameter, mm, around a port."""
    bound = site.lift - 0.0
    near = [s for s in rooms.around(site, diameter / 2 + bound) if s.body.keep_out is None]
    for s in near:
        if s.mesh.fault is not None:
            return Land("unknown", diameter, fault=f"the mesh of {s.name} is not sound: {s.mesh.fault}")
    own = [s for s in near if s.piece.name == site.piece.name]
    slack = max([s.mesh.bound for s in own], default=0.0)
    inner = (thread(site.frame.thread).major / 2 if site.frame.thread else 0.0) + slack
    outer = diameter / 2 - slack
    over = _layer(0.0, outer, ABOVE)
    on = [(s, cut) for s in near if (cut := _cut(rooms, site, s, over)) is not None]
    if on:
        return _with_cover(rooms, site, diameter, on, over)
    if inner >= outer:
        return Land("broken", diameter, math.pi * (outer**2 - inner**2))
    ring = _layer(inner, outer, UNDER)
    cuts = [(s, cut) for s in own if (cut := _cut(rooms, site, s, ring)) is not None]
    filled = sum(cut.volume() for _, cut in cuts)
    thick = UNDER[1] - UNDER[0]
    missing = max(0.0, ring.volume() - filled) / thick
    if missing * thick > WHOLE * ring.volume():
        lack = ring
        for s, _ in cuts:
            lack = lack - _posed(rooms, site, s)
        return Land("broken", diameter, missing, at=_middle(site, lack))
    parted = tuple(s.name for s, cut in cuts if cut.volume() > WHOLE * ring.volume())
    return Land("free", diameter, 0.0, seam=parted if len(parted) > 1 else ())


def _with_cover(rooms: Rooms, site: Site, diameter: float, on: list[tuple[Solid, Any]], over: Any) -> Land:
    other = [(s, cut) for s, cut in on if s.piece.name != site.piece.name]
    share = sum(cut.volume() for _, cut in other) / over.volume()
    s, cut = max(on, key=lambda e: (e[1].volume(), e[0].name))
    at = _middle(site, cut)
    seated = {
        m.piece if m.to_piece == site.piece.name else m.to_piece
        for m in rooms.layout.mates
        if (m.piece, m.frame) == (site.piece.name, site.frame.name)
        or (m.to_piece, m.to_frame) == (site.piece.name, site.frame.name)
    }
    names = {e[0].piece.name for e in on}
    for name in sorted(names & seated):
        fitted = rooms.layout.piece(name).part.goes_into_ports
        return Land("taken" if fitted else "covered", diameter, 0.0, name, at=at)
    mated = all(rooms.mated(site.piece.name, e[0].piece.name) for e in other)
    if other and mated and len(other) == len(on) and share >= _COVERED:
        return Land("covered", diameter, 0.0, s.piece.name, at=at)
    return Land("blocked", diameter, 0.0, s.name, at=at)


def _layer(inner: float, outer: float, span: tuple[float, float]) -> Any:
    """A flat ring about z, its corners on the circles."""
    disc = manifold3d.CrossSection.circle(outer, SIDES)
    if inner > 0:
        disc = disc - manifold3d.CrossSection.circle(inner, SIDES)
    return manifold3d.Manifold.extrude(disc, span[1] - span[0]).translate((0, 0, span[0]))


def _posed(rooms: Rooms, site: Site, s: Solid) -> Any:
    """A body in the port's own coordinates."""
    return rooms.manifold(s).transform(compose(inverse(site.pose), s.pose)[:3])


def _cut(rooms: Rooms, site: Site, s: Solid, layer: Any) -> Any | None:
    """What a body fills of a layer; None where that is nothing, or no more than rounding makes."""
    cut = layer ^ _posed(rooms, site, s)
    return cut if not cut.is_empty() and cut.volume() > _NOTHING * layer.volume() else None


def _middle(site: Site, solid: Any) -> Point | None:
    """A point of case coordinates in the middle of the largest part of a solid of port coordinates."""
    parts = [p for p in solid.decompose() if p.volume() > 0]
    if not parts:
        return None
    box = max(parts, key=lambda p: p.volume()).bounding_box()
    x, y, z = apply(compose(site.pose, shift()), (np.array(box[:3]) + np.array(box[3:])) / 2)
    return (float(x), float(y), float(z))
