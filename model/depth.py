"""How deep two solids overlap: the least width of what they share.

Owns the measure that tells touch from overlap and that a finding reports. Each connected piece of the shared solid is
measured by itself and the deepest counts. For a convex piece the depth is its least width, over the normals of its
faces and the common normals of its edges, among which the least is known to lie; so it is exact for boxes, however
they are turned. For a piece that is not convex (a ring, a bracket's corner) a width would cross empty space, and the
diameter of the largest ball found inside it is taken where that is less.
Either way no shorter move of one body frees them: a ball of that diameter, or a chord of that length along any
direction, lies in both.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.meshes import Surface, normals_areas
from elbowroom.model.narrow import arrays_of
from elbowroom.model.tolerances import CONTACT_MM, CONVEX_REL, DIRECTION_STEPS, MAX_DIRECTIONS

Array = NDArray[np.float64]
_BALLS = 12  # largest triangles a ball is tried from
_SHRINKS = 20  # steps in which a ball shrinks to its place; it converges in fewer than ten
_FITS = 0.999  # a ball that reaches this part of its radius fits: its radius is measured in the end anyway
_EDGES = 40  # edge directions combined for common normals: 780 pairs


@dataclass(frozen=True, slots=True, eq=False)
class Depth:
    """Depth of an overlap, mm, between two points of its surface; `inner`: points well inside it, best first.

    volume_mm3 is that of all pieces together; box: extents (2, 3) of the deepest one.
    """

    depth: float
    volume_mm3: float
    point_a: Array
    point_b: Array
    inner: tuple[Array, ...]
    box: Array


def depth_of(shared: Any, bound: float) -> Depth | None:
    """Depth of a shared solid (manifold3d); None where it is empty.

    `bound`: what its surface may be off by, mm, so that a facet's dent of that size makes no round piece hollow.
    """
    if shared.is_empty():
        return None
    best: Depth | None = None
    for piece in shared.decompose():
        box = np.array(piece.bounding_box())
        if best is not None and float((box[3:] - box[:3]).min()) <= best.depth:
            continue  # no piece is deeper than its box is wide
        found = _piece(piece, bound)
        if found is not None and (best is None or found.depth > best.depth):
            best = found
    if best is None:
        return None
    return replace(best, volume_mm3=float(shared.volume()))


def _piece(piece: Any, bound: float) -> Depth | None:
    vertices, triangles = arrays_of(piece)
    if len(triangles) < 4:
        return None
    volume = abs(float(piece.volume()))  # a piece that comes out inside out is no less an overlap
    centre, box = vertices.mean(axis=0), np.array([vertices.min(axis=0), vertices.max(axis=0)])
    normals, areas = normals_areas(vertices, triangles)
    hull = float(piece.hull().volume())
    convex = hull - volume <= CONVEX_REL * hull + bound * float(areas.sum())
    width, along = least_width(vertices, _directions(vertices, triangles, normals, areas))
    corners = vertices[triangles]
    ends = _ends(vertices, along, width)
    middle = (ends[0] + ends[1]) / 2
    if convex:
        largest = corners[np.argsort(-areas)[:_BALLS]].mean(axis=1)
        return Depth(width, volume, *ends, (middle, centre, *((largest + centre) / 2)), box)
    surface = Surface(corners)
    balls = _inner_balls(surface, corners, normals, areas, width)
    inner = [c for _, c in balls]
    if balls and 2 * balls[0][0] < width:
        radius, at = balls[0]
        _, on = surface.nearest(at)
        out = (on - at) / max(radius, 1e-300)
        return Depth(2 * radius, volume, at + radius * out, at - radius * out, tuple(inner), box)
    if not balls:  # a film too thin for any: twice its volume over its surface is its mean thickness
        width = min(width, 2 * volume / max(float(areas.sum()), 1e-300))
    return Depth(width, volume, *ends, (middle, *inner), box)


def least_width(points: Array, directions: Array) -> tuple[float, Array]:
    """Least extent of the points along any of the unit directions, mm, and that direction."""
    along = points @ directions.T
    extent = along.max(axis=0) - along.min(axis=0)
    i = int(np.argmin(extent))
    return float(extent[i]), directions[i]


def _directions(vertices: Array, triangles: NDArray[np.int32], normals: Array, areas: Array) -> Array:
    """Unit directions a least width may lie along: face normals, common normals of edges, principal axes."""
    faces = _distinct(normals[np.argsort(-areas)])[:MAX_DIRECTIONS]
    sides = np.concatenate([vertices[triangles[:, k]] - vertices[triangles[:, (k + 1) % 3]] for k in range(3)])
    length = np.linalg.norm(sides, axis=1)
    order = np.argsort(-length)
    edges = _distinct((sides / np.maximum(length, 1e-300)[:, None])[order])[:_EDGES]
    i, j = np.triu_indices(len(edges), 1)
    crossed = np.cross(edges[i], edges[j])
    size = np.linalg.norm(crossed, axis=1)
    crossed = crossed[size > 1e-6] / size[size > 1e-6][:, None]
    _, _, principal = np.linalg.svd(vertices - vertices.mean(axis=0), full_matrices=False)
    return np.concatenate([faces, crossed, principal])


def _distinct(directions: Array) -> Array:
    """Directions that differ by more than sign and rounding, in the order given."""
    size = np.linalg.norm(directions, axis=1)
    d = directions[size > 0.5]
    lead = np.argmax(np.abs(d) > 1e-9, axis=1)
    d = d * np.where(d[np.arange(len(d)), lead] < 0, -1.0, 1.0)[:, None]
    _, first = np.unique(np.round(d / DIRECTION_STEPS), axis=0, return_index=True)
    out: Array = d[np.sort(first)]
    return out


def _ends(vertices: Array, along: Array, width: float) -> tuple[Array, Array]:
    """Two points of the overlap `width` apart along the direction: between the middles of its two extreme sides."""
    at = vertices @ along
    slack = max(1e-9, 1e-6 * width)
    low, high = vertices[at <= at.min() + slack], vertices[at >= at.max() - slack]
    # The smaller side's middle lies over the larger side: a corner over a face, an edge over a face.
    if len(low) <= len(high):
        start = low.mean(axis=0)
        return start, start + (float(at.max()) - float(start @ along)) * along
    end = high.mean(axis=0)
    return end - (float(end @ along) - float(at.min())) * along, end


def _inner_balls(
    surface: Surface, corners: Array, normals: Array, areas: Array, width: float
) -> list[tuple[float, Array]]:
    """Balls inside the piece, (radius, centre), largest first: each touches a large triangle and shrinks until it
    fits. The radius is the measured distance from the centre to the surface, so each is sound whatever the steps did.
    """
    found = []
    for t in np.argsort(-areas)[:_BALLS]:
        start, inward = corners[t].mean(axis=0), -normals[t]
        # Up to the far side of the piece every centre is inside it, and no ball inside is wider than the piece.
        radius = min(width, surface.along_ray(start, inward, CONTACT_MM * 1e-3)) / 2
        if radius <= CONTACT_MM * 1e-3:
            continue
        for _ in range(_SHRINKS):
            centre = start + radius * inward
            gap, on = surface.nearest(centre)
            if gap >= radius * _FITS:
                break
            # The ball through `start` with this tangent that also passes through the nearer point.
            off = on - start
            lift = float(off @ inward)
            fresh = float(off @ off) / (2 * lift) if lift > 1e-12 else radius / 2
            radius = min(fresh, radius * _FITS)
        centre = start + radius * inward
        gap, _ = surface.nearest(centre)
        if gap > CONTACT_MM * 1e-3:
            found.append((gap, centre))
        if gap >= _FITS * width / 2:  # none can be larger
            break
    return sorted(found, key=lambda f: -f[0])
