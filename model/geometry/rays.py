"""Where lines go through triangles.

Owns the one test of that, in two forms: `met`, of one line and triangles that are asked once, and `Facets`, of
triangles that are asked over and over, each answer a product of matrices. Which crossing counts is the caller's.
"""

from __future__ import annotations

import numpy as np

from elbowroom.parts.vocabulary.arrays import Floats, Ints, Mask

EDGE_SLACK = 1e-9
"""Share of a triangle's sides by which a line may miss it and still count, so that none slips between neighbours."""

NO_AREA = 1e-200
"""Square of twice a triangle's area, mm4, below which it has no plane: its square would leave the range of numbers."""


def met(corners: Floats, origin: Floats, way: Floats, slack: float, parallel: float) -> tuple[Mask, Floats]:
    """Which triangles (m, 3, 3) a line goes through, and where, in lengths of `way` from `origin` (Moeller, Trumbore).

    slack: share of a triangle's sides by which it may miss it. parallel: a determinant up to this is a line along the
    triangle's plane, which goes through nothing.
    """
    a, e1, e2 = corners[:, 0], corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    p = np.cross(way, e2)
    det = np.einsum("ij,ij->i", e1, p)
    across = np.abs(det) > parallel
    over = np.where(across, det, 1.0)
    s = origin - a
    u = np.einsum("ij,ij->i", s, p) / over
    q = np.cross(s, e1)
    v, at = q @ way / over, np.einsum("ij,ij->i", e2, q) / over
    return across & (u >= -slack) & (v >= -slack) & (u + v <= 1 + slack), at


class Facets:
    """Triangles (m, 3, 3) prepared for many questions.

    A point's shares of two sides and its height over the plane are linear in the point: `rows` are what its offset from
    the first corner is multiplied by.
    """

    def __init__(self, corners: Floats) -> None:
        self.start: Floats = corners[:, 0]
        ab, ac = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
        n = np.cross(ab, ac)
        square = np.einsum("ij,ij->i", n, n)[:, None]
        self.flat: Mask = square[:, 0] > NO_AREA  # one without area is met by nothing
        square = np.where(self.flat[:, None], square, 1.0)
        self.units: Floats = n / np.sqrt(square)
        self.rows: Floats = np.stack([np.cross(ac, n) / square, np.cross(n, ab) / square, self.units], axis=1)

    def over(self, point: Floats) -> Floats:
        """A point's shares of the sides and its height over each triangle's plane, (m, 3)."""
        out: Floats = (self.rows @ (point - self.start)[:, :, None])[:, :, 0]
        return out

    def along(self, point: Floats, direction: Floats, beyond: float) -> Floats:
        """How far (m,) a ray runs to each triangle that it meets beyond `beyond` mm; infinity where it misses."""
        return self._hits(self.over(point), self.rows @ direction, beyond)

    def first(self, points: Floats, directions: Floats, beyond: float) -> tuple[Floats, Ints, Floats]:
        """For rays (k, 3): how far each runs to the first triangle beyond `beyond` mm, which that is, and how steeply
        it is left by its face, as the cosine to the face's normal.

        All rays against all triangles at once: the caller sees to it that they are not too many.
        """
        rows = self.rows.transpose(1, 0, 2)
        start = np.stack([points @ r.T - np.einsum("ij,ij->i", r, self.start) for r in rows], axis=2)
        step = np.stack([directions @ r.T for r in rows], axis=2)
        far = self._hits(start, step, beyond)
        which, each = far.argmin(axis=1), np.arange(len(points))
        return far[each, which], which, step[each, which, 2]

    def _hits(self, start: Floats, step: Floats, beyond: float) -> Floats:
        with np.errstate(divide="ignore", invalid="ignore"):
            t = -start[..., 2] / step[..., 2]
            v, w = start[..., 0] + t * step[..., 0], start[..., 1] + t * step[..., 1]
            hit = self.flat & (v >= -EDGE_SLACK) & (w >= -EDGE_SLACK) & (v + w <= 1 + EDGE_SLACK) & (t > beyond)
        out: Floats = np.where(hit, t, np.inf)
        return out
