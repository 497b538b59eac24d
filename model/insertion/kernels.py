"""The arithmetic of a straight slide, compiled: where one body's front runs into another's back.

Owns the loop over triangles seen along the direction of the slide. Leaves what its figures mean to `sliding`.
"""

# mypy: disable-error-code="no-any-return"

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.tubes.compiled import helper, kernel

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CORNERS = 12  # of a triangle cut by a triangle and by two planes there are at most eight
KEPT = 512  # thin places of two bodies that are kept; more are as good as a wide one


@helper
def _cut(poly: Floats, n: int, a: float, b: float, c: float, out: Floats) -> int:
    """The part of a convex polygon where a * x + b * y + c >= 0, into `out`; how many corners it has."""
    m = 0
    for i in range(n):
        j = i + 1 if i + 1 < n else 0
        f = a * poly[i, 0] + b * poly[i, 1] + c
        g = a * poly[j, 0] + b * poly[j, 1] + c
        if f >= 0.0:
            out[m, 0], out[m, 1] = poly[i, 0], poly[i, 1]
            m += 1
        if (f > 0.0 and g < 0.0) or (f < 0.0 and g > 0.0):
            t = f / (f - g)
            out[m, 0] = poly[i, 0] + t * (poly[j, 0] - poly[i, 0])
            out[m, 1] = poly[i, 1] + t * (poly[j, 1] - poly[i, 1])
            m += 1
    return m


@kernel(
    "i8(f8[:,::1], f8[:,::1], f8[:,::1], f8[:,::1], f8[:,::1], f8[:,::1], i8[::1], i8[::1], f8[::1], f8[::1],"
    " f8, f8, f8, f8, f8[::1], f8[:,:,::1], i8[::1], f8[::1])"
)
def run_into(
    a: Floats, a_plane: Floats, a_box: Floats, b: Floats, b_plane: Floats, b_box: Floats, first: Ints, items: Ints,
    grid: Floats, shift: Floats, level: float, far: float, film: float, wide: float, best: Floats, thin: Floats,
    corners: Ints, thin_far: Floats,
) -> int:  # fmt: skip
    """How far a's triangles go before they run into b's, which look back at them; how many places are thin.

    a, b (n, 6): corners seen along the slide; planes (n, 3): height along it as p * x + q * y + r; boxes (n, 6): least
    and most of x, y and height. first, items, grid: b's triangles by squares, grid being x0, y0, width, height of one
    and their number each way. shift: added to a. level: mm under which heights are one; far: mm that the slide is long.
    A place wider than `wide` counts at once and lowers best[0], with where in best[1:4]; one thinner than `film` does
    not; those between are listed in thin with the count of their corners and how far away they are.
    """
    n_thin = 0
    cells = int(grid[4])
    one, two = np.empty((CORNERS, 2)), np.empty((CORNERS, 2))
    sx, sy, sz = shift[0], shift[1], shift[2]
    for i in range(a.shape[0]):
        lo_x, hi_x = a_box[i, 0] + sx, a_box[i, 1] + sx
        lo_y, hi_y = a_box[i, 2] + sy, a_box[i, 3] + sy
        lo_z, hi_z = a_box[i, 4] + sz, a_box[i, 5] + sz
        i0 = math.floor((lo_x - grid[0]) / grid[2])
        i1 = math.floor((hi_x - grid[0]) / grid[2])
        j0 = math.floor((lo_y - grid[1]) / grid[3])
        j1 = math.floor((hi_y - grid[1]) / grid[3])
        if i1 < 0 or j1 < 0 or i0 >= cells or j0 >= cells:
            continue
        i0, j0 = max(i0, 0), max(j0, 0)
        i1, j1 = min(i1, cells - 1), min(j1, cells - 1)
        for p in range(i0, i1 + 1):
            for q in range(j0, j1 + 1):
                at = p * cells + q
                for k in range(first[at], first[at + 1]):
                    t = items[k]
                    if b_box[t, 5] < lo_z - level or b_box[t, 4] > hi_z + min(far, best[0]):
                        continue
                    if b_box[t, 1] <= lo_x or b_box[t, 0] >= hi_x or b_box[t, 3] <= lo_y or b_box[t, 2] >= hi_y:
                        continue
                    # A triangle of several squares is taken in the first that both of them stand over.
                    p0 = min(max(math.floor((b_box[t, 0] - grid[0]) / grid[2]), 0), cells - 1)
                    q0 = min(max(math.floor((b_box[t, 2] - grid[1]) / grid[3]), 0), cells - 1)
                    if p != max(i0, p0) or q != max(j0, q0):
                        continue
                    for c in range(3):
                        one[c, 0] = a[i, 2 * c] + sx
                        one[c, 1] = a[i, 2 * c + 1] + sy
                    n = 3
                    for c in range(3):
                        d = c + 1 if c < 2 else 0
                        x0, y0, x1, y1 = b[t, 2 * c], b[t, 2 * c + 1], b[t, 2 * d], b[t, 2 * d + 1]
                        n = _cut(one, n, y0 - y1, x1 - x0, x0 * y1 - x1 * y0, two)
                        one, two = two, one
                        if n < 3:
                            break
                    if n < 3:
                        continue
                    # The way between them is p x + q y + r; only what lies ahead and within the slide counts.
                    gp = b_plane[t, 0] - a_plane[i, 0]
                    gq = b_plane[t, 1] - a_plane[i, 1]
                    gr = b_plane[t, 2] - (a_plane[i, 2] - a_plane[i, 0] * sx - a_plane[i, 1] * sy + sz)
                    n = _cut(one, n, gp, gq, gr + level, two)
                    one, two = two, one
                    if n < 3:
                        continue
                    n = _cut(one, n, -gp, -gq, far - gr, two)
                    one, two = two, one
                    if n < 3:
                        continue
                    area, round_ = 0.0, 0.0
                    near, x, y = np.inf, 0.0, 0.0
                    for c in range(n):
                        d = c + 1 if c + 1 < n else 0
                        # Told from a corner of its own: far from the origin rounding would give a point an area.
                        area += (one[c, 0] - one[0, 0]) * (one[d, 1] - one[0, 1])
                        area -= (one[d, 0] - one[0, 0]) * (one[c, 1] - one[0, 1])
                        round_ += math.hypot(one[d, 0] - one[c, 0], one[d, 1] - one[c, 1])
                        gap = gp * one[c, 0] + gq * one[c, 1] + gr
                        if gap < near:
                            near, x, y = gap, one[c, 0], one[c, 1]
                    area = abs(area) / 2
                    # The widest disc in a convex polygon is between 2 and 4 times its area by its round.
                    if round_ <= 2 * film or 4 * area <= film * round_:
                        continue
                    if 2 * area > wide * round_:
                        if near < best[0]:
                            best[0], best[1], best[2] = max(near, 0.0), x, y
                            best[3] = b_plane[t, 0] * x + b_plane[t, 1] * y + b_plane[t, 2]
                        continue
                    if n_thin < KEPT:
                        for c in range(n):
                            thin[n_thin, c, 0], thin[n_thin, c, 1] = one[c, 0], one[c, 1]
                        corners[n_thin] = n
                        thin_far[n_thin] = max(near, 0.0)
                    n_thin += 1
    return n_thin
