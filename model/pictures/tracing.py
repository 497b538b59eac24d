"""The two inner loops of hidden lines, as machine code: filling a depth buffer, and following edges over it.

Owns them alone. What is drawn, and how deep is deep enough to be hidden, is `hidden`'s.
"""

from __future__ import annotations

import numpy as np

from elbowroom.model.tubes.compiled import kernel
from elbowroom.parts.vocabulary.arrays import Floats, Ints

LEAST_AREA = 1e-9  # px2 of twice a triangle's area under which it covers no pixel


@kernel("void(f8[:,:,::1], i8[::1], f8[::1], f8[:,::1], i8[:,::1], f8[:,::1])")
def fill(corners: Floats, owner: Ints, light: Floats, depth: Floats, seen: Ints, lit: Floats) -> None:
    """Triangles (m, 3, 3), in px and mm toward the viewer, into the buffers: the nearest wins."""
    high, wide = depth.shape
    for t in range(corners.shape[0]):
        ax, ay, az = corners[t, 0]
        bx, by, bz = corners[t, 1]
        cx, cy, cz = corners[t, 2]
        area = (bx - ax) * (cy - ay) - (cx - ax) * (by - ay)
        if abs(area) < LEAST_AREA:
            continue
        x0, x1 = max(0, int(np.floor(min(ax, bx, cx)))), min(wide - 1, int(np.ceil(max(ax, bx, cx))))
        y0, y1 = max(0, int(np.floor(min(ay, by, cy)))), min(high - 1, int(np.ceil(max(ay, by, cy))))
        for y in range(y0, y1 + 1):
            for x in range(x0, x1 + 1):
                px, py = x + 0.5, y + 0.5
                u = ((bx - px) * (cy - py) - (cx - px) * (by - py)) / area
                v = ((cx - px) * (ay - py) - (ax - px) * (cy - py)) / area
                w = 1.0 - u - v
                if u < 0.0 or v < 0.0 or w < 0.0:
                    continue
                z = u * az + v * bz + w * cz
                if z > depth[y, x]:
                    depth[y, x] = z
                    seen[y, x] = owner[t]
                    lit[y, x] = light[t]


@kernel("i8(f8[:,:,::1], i8[::1], f8[:,::1], i8[:,::1], f8, f8[:,::1], b1)")
def follow(edges: Floats, owner: Ints, depth: Floats, seen: Ints, within: float, out: Floats, write: bool) -> int:
    """The visible stretches of edges (k, 2, 3): how many, and where asked their ends and whether another part, or
    nothing, lies beside them (x, y, x, y, rim). A place of an edge is hidden where all around it is nearer by more than
    `within` mm."""
    high, wide = depth.shape
    count = 0
    for e in range(edges.shape[0]):
        ax, ay, az = edges[e, 0]
        bx, by, bz = edges[e, 1]
        n = max(1, int(np.ceil(max(abs(bx - ax), abs(by - ay)))))
        start, rim = -1, False
        for i in range(n + 1):
            t = i / n
            x, y, z = int(ax + t * (bx - ax)), int(ay + t * (by - ay)), az + t * (bz - az)
            visible, beside = False, False
            for dy in range(-1, 2):
                for dx in range(-1, 2):
                    qx, qy = x + dx, y + dy
                    if 0 <= qx < wide and 0 <= qy < high:
                        if depth[qy, qx] <= z + within:
                            visible = True
                        if seen[qy, qx] != owner[e]:
                            beside = True
                    else:
                        visible = True
                        beside = True
            ends = start >= 0 and (not visible or beside != rim or i == n)
            if ends:
                last = i if visible else i - 1
                if last > start:
                    if write:
                        s, f = start / n, last / n
                        out[count, 0], out[count, 1] = ax + s * (bx - ax), ay + s * (by - ay)
                        out[count, 2], out[count, 3] = ax + f * (bx - ax), ay + f * (by - ay)
                        out[count, 4] = 1.0 if rim else 0.0
                    count += 1
                start = -1
            if visible and start < 0:
                start, rim = i, beside
    return count
