"""The arithmetic of drawing the map of free room, compiled: surfaces into cells, and what neighbours know.

Owns the loops behind `field`, which says what the arrays mean. Single precision where the map has it.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.tubes.compiled import kernel

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Ints32 = NDArray[np.int32]


@kernel("void(f8[:,:,::1], i4[::1], f8, f8[::1], f8, i8[::1], f4[:,:,:,::1], i4[:,:,::1], f4[:,:,::1])")
def sample_surfaces(
    triangles: Floats, who: Ints32, step: float, lo: Floats, cell: float, first: NDArray[np.int64], q: Floats32,
    label: Ints32, best: Floats32,
) -> None:  # fmt: skip
    """Of points on the triangles, at most about `step` apart, keep the one nearest to each cell's middle.

    q: those points, of a part of the map that begins at its cell `first`; label: `who` of their triangles; best: their
    squared distances, for cells without one inf.
    """
    for m in range(triangles.shape[0]):
        t, longest, base = triangles[m], 0, -1.0
        for k in range(3):
            x, y, z = t[(k + 1) % 3, 0] - t[k, 0], t[(k + 1) % 3, 1] - t[k, 1], t[(k + 1) % 3, 2] - t[k, 2]
            size = math.sqrt(x * x + y * y + z * z)
            if size > base:
                longest, base = k, size
        a, b, c = t[longest], t[(longest + 1) % 3], t[(longest + 2) % 3]
        b0, b1, b2 = b[0] - a[0], b[1] - a[1], b[2] - a[2]
        c0, c1, c2 = c[0] - a[0], c[1] - a[1], c[2] - a[2]
        x, y, z = b1 * c2 - b2 * c1, b2 * c0 - b0 * c2, b0 * c1 - b1 * c0
        height = math.sqrt(x * x + y * y + z * z) / max(base, 1e-12)
        nu, nv = int(math.ceil(base / step)) + 1, int(math.ceil(height / step)) + 1  # noqa: RUF046
        for iv in range(nv):
            v = iv / max(nv - 1, 1)
            for iu in range(nu):
                u = iu / max(nu - 1, 1) * (1 - v)
                x, y, z = a[0] + u * b0 + v * c0, a[1] + u * b1 + v * c1, a[2] + u * b2 + v * c2
                i = int(math.floor((x - lo[0]) / cell))  # noqa: RUF046
                j = int(math.floor((y - lo[1]) / cell))  # noqa: RUF046
                k = int(math.floor((z - lo[2]) / cell))  # noqa: RUF046
                dx = x - (lo[0] + (i + 0.5) * cell)
                dy = y - (lo[1] + (j + 0.5) * cell)
                dz = z - (lo[2] + (k + 0.5) * cell)
                i, j, k = i - first[0], j - first[1], k - first[2]
                if min(i, j, k) < 0 or i >= best.shape[0] or j >= best.shape[1] or k >= best.shape[2]:
                    continue
                d = np.float32(dx * dx + dy * dy + dz * dz)
                if d <= best[i, j, k]:
                    best[i, j, k], label[i, j, k] = d, who[m]
                    q[i, j, k, 0], q[i, j, k, 1], q[i, j, k, 2] = x, y, z


@kernel("void(f4[::1], f4[::1], f4[::1], i8[::1], i4[:,:,::1], f4[:,:,:,::1], i4[:,:,::1], f4[::1], f4[:,:,:,::1],"
        " i4[:,:,::1], f4[:,:,::1])")  # fmt: skip
def offer_nearest(
    xs: Floats32, ys: Floats32, zs: Floats32, first: NDArray[np.int64], nearest: Ints32, q: Floats32, label: Ints32,
    need: Floats32, near: Floats32, owner: Ints32, room: Floats32,
) -> None:  # fmt: skip
    """Take for each cell of a part (at `first` in the map) the point its nearest source knows, where that leaves less
    room than what is drawn. nearest: flat index of the source in the part, -1 where there is none; xs, ys, zs: middles.
    need: of every obstacle's surface, then of every obstacle's inside, as `label` counts them.
    """
    n1, n2 = nearest.shape[1], nearest.shape[2]
    for i in range(nearest.shape[0]):
        for j in range(n1):
            for k in range(n2):
                s = nearest[i, j, k]
                if s < 0:
                    continue
                a, b, c = s // (n1 * n2), s // n2 % n1, s % n2
                who, u, v, w = label[a, b, c], i + first[0], j + first[1], k + first[2]
                dx, dy, dz = xs[u] - q[a, b, c, 0], ys[v] - q[a, b, c, 1], zs[w] - q[a, b, c, 2]
                left = np.sqrt(dx * dx + dy * dy + dz * dz) - need[who]
                if left < room[u, v, w]:
                    room[u, v, w], owner[u, v, w], near[u, v, w, 3] = left, who % (len(need) // 2), need[who]
                    near[u, v, w, 0], near[u, v, w, 1], near[u, v, w, 2] = q[a, b, c, 0], q[a, b, c, 1], q[a, b, c, 2]


@kernel("void(f4[::1], f4[::1], f4[::1], i4, f4[:,:,:,::1], i4[:,:,::1], f4[:,:,::1])")
def ask_neighbours(
    xs: Floats32, ys: Floats32, zs: Floats32, nothing: np.int32, near: Floats32, owner: Ints32, room: Floats32
) -> None:
    """Let every cell take what its six neighbours know, one direction after another, where that leaves less room."""
    n = room.shape
    for axis in range(3):
        for side in range(2):
            # Against the direction that is asked, so that nothing is handed on twice.
            for p in range(n[0]):
                i = n[0] - 1 - p if side == 0 else p
                for r in range(n[1]):
                    j = n[1] - 1 - r if side == 0 else r
                    for t in range(n[2]):
                        k = n[2] - 1 - t if side == 0 else t
                        step = -1 if side == 0 else 1
                        a = i + step if axis == 0 else i
                        b = j + step if axis == 1 else j
                        c = k + step if axis == 2 else k
                        if min(a, b, c) < 0 or a >= n[0] or b >= n[1] or c >= n[2] or owner[a, b, c] == nothing:
                            continue
                        dx, dy, dz = xs[i] - near[a, b, c, 0], ys[j] - near[a, b, c, 1], zs[k] - near[a, b, c, 2]
                        left = np.sqrt(dx * dx + dy * dy + dz * dz) - near[a, b, c, 3]
                        if left < room[i, j, k]:
                            room[i, j, k], owner[i, j, k] = left, owner[a, b, c]
                            for m in range(4):
                                near[i, j, k, m] = near[a, b, c, m]


@kernel("void(f4[::1], f4[::1], f4[::1], f4[::1], f4[::1], i4, f4[:,:,:,::1], i4[:,:,::1], f4[:,:,::1])")
def draw_walls(
    xs: Floats32, ys: Floats32, zs: Floats32, lo: Floats32, hi: Floats32, outside: np.int32, near: Floats32,
    owner: Ints32, room: Floats32,
) -> None:  # fmt: skip
    """Make everything outside the box lo-hi solid, with no distance wanted from it."""
    p, q = np.empty(3, dtype=np.float32), np.empty(3, dtype=np.float32)
    for i in range(room.shape[0]):
        for j in range(room.shape[1]):
            for k in range(room.shape[2]):
                p[0], p[1], p[2] = xs[i], ys[j], zs[k]
                out, least, face = False, np.float32(np.inf), 0
                for m in range(6):
                    apart = p[m] - lo[m] if m < 3 else hi[m - 3] - p[m - 3]
                    out |= apart < 0
                    if apart < least:
                        least, face = apart, m
                left = np.float32(0.0) if out else least
                if left < room[i, j, k]:
                    room[i, j, k], owner[i, j, k], near[i, j, k, 3] = left, outside, 0.0
                    for m in range(3):
                        q[m] = p[m]
                    if not out:
                        q[face % 3] = lo[face] if face < 3 else hi[face - 3]
                    for m in range(3):
                        near[i, j, k, m] = q[m]


@kernel("void(i4[:,:,::1], f8, i8)")
def spread_along(who: Ints32, cell: float, steps: int) -> None:
    """Hand every source on, in place: for each cell the source (its number, -1 for none) that is nearest in cells, over
    at most `steps` along each axis.
    """
    n = who.shape
    d = np.empty(n, dtype=np.float32)
    for i in range(n[0]):
        for j in range(n[1]):
            for k in range(n[2]):
                d[i, j, k] = 0.0 if who[i, j, k] >= 0 else np.inf
    add = np.empty(steps + 1, dtype=np.float32)
    for s in range(steps + 1):
        add[s] = (s * cell) * (s * cell)
    longest = max(n[0], n[1], n[2])
    line, names = np.empty(longest, dtype=np.float32), np.empty(longest, dtype=np.int32)
    for axis in range(3):
        a, b = (1 if axis == 0 else 0), (1 if axis == 2 else 2)
        for u in range(n[a]):
            for v in range(n[b]):
                known = False
                for m in range(n[axis]):
                    i = m if axis == 0 else u
                    j = m if axis == 1 else (u if axis == 0 else v)
                    k = m if axis == 2 else v
                    line[m], names[m] = d[i, j, k], who[i, j, k]
                    known |= names[m] >= 0
                if not known:
                    continue
                for m in range(n[axis]):
                    best, name = line[m], names[m]
                    for s in range(1, min(steps, n[axis] - 1) + 1):
                        if add[s] >= best:
                            break
                        if m - s >= 0 and line[m - s] + add[s] < best:
                            best, name = line[m - s] + add[s], names[m - s]
                        if m + s < n[axis] and line[m + s] + add[s] < best:
                            best, name = line[m + s] + add[s], names[m + s]
                    i = m if axis == 0 else u
                    j = m if axis == 1 else (u if axis == 0 else v)
                    k = m if axis == 2 else v
                    d[i, j, k], who[i, j, k] = best, name
