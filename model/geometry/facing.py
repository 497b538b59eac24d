"""Where flat faces of two bodies look at each other across a small gap.

Owns finding one point where a flat triangle of each body faces the other, away from every curved edge. There the
meshes are the solids themselves, so the distance between the two faces is an upper bound of the gap that owes nothing
to tessellation; at no distance it proves contact.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from elbowroom.model.geometry.enclosure import FLAT
from elbowroom.model.geometry.narrow import ClosePairs, Kernel
from elbowroom.model.tolerances import CONTACT_MM, FLAT_ANGLE_RAD
from elbowroom.parts.vocabulary.arrays import Floats

_TRIES = 60  # largest facing pairs looked at; the first nearly always serves


def facing_point(
    a: Kernel,
    b: Kernel,
    turn: Floats,
    move: Floats,
    pairs: ClosePairs,
    within: float,
    usable: Callable[[Floats], bool],
) -> tuple[Floats, Floats] | None:
    """Points on a and on b, opposite each other on parallel flat faces at most `within` mm apart; None where none are.

    `pairs` holds at least the triangle pairs that near. `usable` is asked whether meshes and solids agree at a point.
    Of several the nearest faces, then the largest.
    """
    i, j = pairs.i, pairs.j
    ea, eb = a.enclosure, b.enclosure
    na, nb = ea.normals[i], eb.normals[j] @ turn.T
    opposed = (np.linalg.norm(na + nb, axis=1) < FLAT_ANGLE_RAD) & (ea.kind[i] == FLAT) & (eb.kind[j] == FLAT)
    i, j, na = i[opposed], j[opposed], na[opposed]
    if len(i) == 0:
        return None
    tb = eb.corners[j] @ turn.T + move
    height = np.einsum("ki,ki->k", tb[:, 0] - ea.corners[i, 0], na)
    size = np.minimum(ea.areas[i], eb.areas[j])
    near = np.flatnonzero(np.abs(height) <= within + CONTACT_MM)
    for k in near[np.lexsort((-size[near], np.round(np.abs(height[near]), 6)))][:_TRIES]:
        centre = _shared_centre(ea.corners[i[k]], tb[k], na[k])
        if centre is not None and usable(centre):
            return centre, centre + height[k] * na[k]
    return None


def _shared_centre(one: Floats, other: Floats, normal: Floats) -> Floats | None:
    """Centre, in the plane of `one`, of what two parallel triangles share when looked at along the normal."""
    x = one[1] - one[0]
    x = x / np.linalg.norm(x)
    basis = np.stack([x, np.cross(normal, x)])
    p = (one - one[0]) @ basis.T
    subject = list((other - one[0]) @ basis.T)
    for s in range(3):
        edge, start = p[(s + 1) % 3] - p[s], p[s]
        side = [edge[0] * (v[1] - start[1]) - edge[1] * (v[0] - start[0]) for v in subject]
        kept = []
        for k, v in enumerate(subject):
            n = (k + 1) % len(subject)
            if side[k] >= 0:
                kept.append(v)
            if (side[k] > 0) != (side[n] > 0) and side[k] != side[n]:
                kept.append(v + (subject[n] - v) * (side[k] / (side[k] - side[n])))
        subject = kept
        if len(subject) < 3:
            return None
    points = np.array(subject)
    fan = points[1:] - points[0]
    crossed = np.abs(fan[:-1, 0] * fan[1:, 1] - fan[:-1, 1] * fan[1:, 0])
    if crossed.sum() <= CONTACT_MM:  # twice the area, mm2: a touch along an edge
        return None
    centres = points[0] + (fan[:-1] + fan[1:]) / 3.0
    flat = (centres * crossed[:, None]).sum(axis=0) / crossed.sum()
    out: Floats = one[0] + flat @ basis
    return out
