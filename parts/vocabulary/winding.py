"""How often a surface of triangles goes round a point: 1 inside a closed one, 0 outside.

Owns the one formula: the solid angles of the triangles over that of the whole sphere (Van Oosterom and Strackee). It
holds for surfaces with gaps, too, as a number between.
"""

from __future__ import annotations

import numpy as np

from elbowroom.parts.vocabulary.arrays import Floats

_CHUNK = 4_000_000  # (point, triangle) pairs worked on at once: bounds memory to some hundred MB


def winding(points: Floats, corners: Floats) -> Floats:
    """For points (n, 3) and triangles (m, 3, 3): times the surface winds around each point, (n,)."""
    out = np.zeros(len(points))
    step = max(1, _CHUNK // max(1, len(corners)))
    for at in range(0, len(points), step):
        r = corners[None] - points[at : at + step, None, None, :]
        a, b, c = r[..., 0, :], r[..., 1, :], r[..., 2, :]
        la, lb, lc = (np.linalg.norm(v, axis=-1) for v in (a, b, c))
        triple = np.einsum("...i,...i", a, np.cross(b, c))
        flat = la * lb * lc
        for u, v, w in ((a, b, lc), (b, c, la), (c, a, lb)):
            flat = flat + np.einsum("...i,...i", u, v) * w
        out[at : at + step] = np.arctan2(triple, flat).sum(axis=-1) / (2 * np.pi)
    return out


def goes_round(point: Floats, corners: Floats) -> bool:
    """Whether a closed surface, facing either way, goes round a point away from it."""
    return bool(abs(winding(point[None], corners)[0]) > 0.5)
