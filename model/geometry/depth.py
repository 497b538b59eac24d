"""How deep two solids overlap: the least width of what they share, at its deepest place.

Owns the measure that tells touch from overlap and that a finding reports. It is local: each connected piece of the
shared solid is measured by itself, what hangs together by a film only is taken apart first, and the deepest place
counts, however large the film. For a convex place the depth is its least width, over the normals of its faces and the
common normals of its edges, among which the least is known to lie; so it is exact for boxes, however they are turned.
For a place that is not convex (a ring, a bracket's corner) a width would cross empty space, and the diameter of the
largest ball found inside it is taken, with a bound that no ball exceeds. Either way no shorter move of one body frees
them: a ball of that diameter, or a chord of that length along any direction, lies in both.

A film is what is nowhere as thick as the slack, by the proof in `geometry.thickness`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.geometry.thickness import Solid, at_triangles, core, widest
from elbowroom.model.tolerances import CONTACT_MM, CONVEX_REL, DIRECTION_STEPS, MAX_DIRECTIONS
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.tolerances import ALIKE, ROUNDING, TINY

_EDGES = 40  # edge directions combined for common normals: 780 pairs
_CORE_MORE = 3**0.5  # a convex place is wider than its core by no more than so many widths of the core's step
_DENT = 0.02  # share of a piece's width up to which facets may dent it: then its width is off by some 5 % at most
_COMPACT = 0.5  # a piece whose widest ball is this part of its hull's width is no film with something on it
_MOST_INNER = 64  # points kept of an overlap


@dataclass(frozen=True, slots=True, eq=False)
class Depth:
    """Depth of an overlap, mm, between two points of its surface, and the bounds it is known to lie between.

    high at or below the slack asked for: a film everywhere. `inner`: points well inside, best first, of every piece.
    volume_mm3 is that of all pieces together; box: extents (2, 3) of the deepest one.
    """

    depth: float
    low: float
    high: float
    volume_mm3: float
    point_a: Floats
    point_b: Floats
    inner: tuple[Floats, ...]
    box: Floats


def depth_of(shared: Any, slack: float = CONTACT_MM, bound: float = 0.0) -> Depth | None:
    """Depth of a shared solid (manifold3d); None where it is empty. Below `slack`, mm, it is a film.

    `bound`: what its surface may be off by, mm, so that a facet's dent of that size makes no round piece hollow.
    """
    if shared.is_empty():
        return None
    best: Depth | None = None
    inner: list[Floats] = []
    for piece in shared.decompose():
        box = np.array(piece.bounding_box())
        if best is not None and float((box[3:] - box[:3]).min()) <= min(best.depth, slack):
            continue  # no piece is deeper than its box is wide
        found = _piece(piece, slack, bound)
        if found is None:
            continue
        if found.high > slack:
            inner += found.inner
        if best is None or (found.depth, found.high) > (best.depth, best.high):
            high = found.high if best is None else max(best.high, found.high)
            best = replace(found, high=high)
        elif found.high > best.high:
            best = replace(best, high=found.high)
    if best is None:
        return None
    points = [*best.inner, *inner][:_MOST_INNER]
    return replace(best, volume_mm3=float(shared.volume()), inner=tuple(points))


def _piece(piece: Any, slack: float, bound: float) -> Depth | None:
    """One connected piece; where it is not convex, what is left of it without films decides."""
    own = Solid(piece)
    if len(own.triangles) < 4:
        return None
    width = _width(own)
    if width.depth <= slack or _convex(own, min(bound, _DENT * width.depth)):
        return width
    balls = at_triangles(own, width.depth)
    if balls and 2 * balls[0][0] >= _COMPACT * width.depth:  # no film: it is about as thick as its hull
        return _place(own, slack, bound)
    left = core(own, slack)
    if left is None or core(own, slack, full=True) is None:
        return replace(width, depth=min(width.depth, slack), low=0.0, high=slack, inner=())
    places = (_place(Solid(p), slack, bound) for p in left.decompose())
    found: list[Depth] = [d for d in places if d is not None]
    found.sort(key=lambda d: (d.depth, d.high), reverse=True)
    if not found:
        return replace(width, depth=slack, low=0.0, high=_CORE_MORE * slack, inner=())
    # A ball is wider than what the core keeps of it by the core's step; so is a convex place, but for its corners.
    high = min(max(d.high for d in found) + 2 * _CORE_MORE * slack, width.depth)
    inner = tuple(p for d in found for p in d.inner[:4])
    best = found[0]
    return replace(best, depth=min(best.depth + slack, high), high=max(high, best.low), inner=inner)


def _place(own: Solid, slack: float, bound: float) -> Depth | None:
    """One place that is thicker than a film: its width where it is convex, else the widest ball in it."""
    if len(own.triangles) < 4:
        return None
    width = _width(own)
    if _convex(own, max(slack, min(bound, _DENT * width.depth))):
        return width
    balls, high = widest(own, slack, width.depth)
    middle = own.vertices.mean(axis=0)
    if not balls:
        return replace(width, depth=0.0, low=0.0, high=high, inner=(middle,))
    radius, at = balls[0]
    _, on = own.surface.nearest(at)
    out = (on - at) / max(radius, TINY)
    return replace(
        width, depth=2 * radius, low=2 * radius, high=high, point_a=at + radius * out, point_b=at - radius * out,
        inner=tuple(b[1] for b in balls),
    )  # fmt: skip


def _convex(own: Solid, slack: float) -> bool:
    """Whether a solid fills its hull but for rounding, and for a skin of `slack` mm."""
    hull = float(own.solid.hull().volume())
    return hull - abs(float(own.solid.volume())) <= CONVEX_REL * hull + slack * float(own.areas.sum())


def _width(own: Solid) -> Depth:
    """The least width of a solid's hull, as a depth."""
    vertices = own.vertices
    width, along = least_width(vertices, _directions(vertices, own.triangles, own.normals, own.areas))
    ends = _ends(vertices, along, width)
    middle, centre = (ends[0] + ends[1]) / 2, vertices.mean(axis=0)
    largest = own.corners[np.argsort(-own.areas)[:12]].mean(axis=1)
    box = np.array([vertices.min(axis=0), vertices.max(axis=0)])
    volume = abs(float(own.solid.volume()))  # a piece that comes out inside out is no less an overlap
    return Depth(width, width, width, volume, *ends, (middle, centre, *((largest + centre) / 2)), box)


def least_width(points: Floats, directions: Floats) -> tuple[float, Floats]:
    """Least extent of the points along any of the unit directions, mm, and that direction."""
    along = points @ directions.T
    extent = along.max(axis=0) - along.min(axis=0)
    i = int(np.argmin(extent))
    return float(extent[i]), directions[i]


def _directions(vertices: Floats, triangles: NDArray[np.int32], normals: Floats, areas: Floats) -> Floats:
    """Unit directions a least width may lie along: face normals, common normals of edges, principal axes."""
    faces = _distinct(normals[np.argsort(-areas)])[:MAX_DIRECTIONS]
    sides = np.concatenate([vertices[triangles[:, k]] - vertices[triangles[:, (k + 1) % 3]] for k in range(3)])
    length = np.linalg.norm(sides, axis=1)
    order = np.argsort(-length)
    edges = _distinct((sides / np.maximum(length, TINY)[:, None])[order])[:_EDGES]
    i, j = np.triu_indices(len(edges), 1)
    crossed = np.cross(edges[i], edges[j])
    size = np.linalg.norm(crossed, axis=1)
    crossed = crossed[size > ALIKE] / size[size > ALIKE][:, None]
    _, _, principal = np.linalg.svd(vertices - vertices.mean(axis=0), full_matrices=False)
    return np.concatenate([faces, crossed, principal])


def _distinct(directions: Floats) -> Floats:
    """Directions that differ by more than sign and rounding, in the order given."""
    size = np.linalg.norm(directions, axis=1)
    d = directions[size > 0.5]
    lead = np.argmax(np.abs(d) > ROUNDING, axis=1)
    d = d * np.where(d[np.arange(len(d)), lead] < 0, -1.0, 1.0)[:, None]
    _, first = np.unique(np.round(d / DIRECTION_STEPS), axis=0, return_index=True)
    out: Floats = d[np.sort(first)]
    return out


def _ends(vertices: Floats, along: Floats, width: float) -> tuple[Floats, Floats]:
    """Two points of the overlap `width` apart along the direction: between the middles of its two extreme sides."""
    at = vertices @ along
    slack = max(ROUNDING, ALIKE * width)
    low, high = vertices[at <= at.min() + slack], vertices[at >= at.max() - slack]
    # The smaller side's middle lies over the larger side: a corner over a face, an edge over a face.
    if len(low) <= len(high):
        start = low.mean(axis=0)
        return start, start + (float(at.max()) - float(start @ along)) * along
    end = high.mean(axis=0)
    return end - (float(end @ along) - float(at.min())) * along, end
