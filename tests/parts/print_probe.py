"""Questions asked of a part as it lies on the bed: what hangs over, how thin its walls are.

Measured on the tessellated solid (chords to 0.02 mm, 0.2 rad), in the print pose. A triangle hangs over where its
outward normal points down by more than 45 degrees from level, with FACET_DEG for facets of a 45 degree surface, and it
is not on the bed. Triangles that hang over and share an edge are one region. A region is a bridge where all of it is
level, every edge of its outline has a wall going down from it, and its narrowest extent in plan over 36 directions is
at most 10 mm; anything else is an overhang.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass

import numpy as np
from cadquery import Shape

from elbowroom.parts.vocabulary.pose import Pose, apply

FACET_DEG = 0.5  # degrees; far below any slope a part is drawn with between 45 and 90
BED_MM = 1e-6
LEVEL = 1e-6
BRIDGE_MM = 10.0


@dataclass(frozen=True)
class Mesh:
    points: np.ndarray
    triangles: np.ndarray
    normals: np.ndarray
    areas: np.ndarray


def mesh_of(shape: Shape, pose: Pose) -> Mesh:
    """The welded mesh of a copy of the solid, on the bed."""
    vertices, triangles = shape.copy().tessellate(0.02, 0.2)
    points = apply(pose, [v.toTuple() for v in vertices])
    _, first, same = np.unique(np.round(points, 6), axis=0, return_index=True, return_inverse=True)
    t = same.reshape(-1)[np.array(triangles)]
    t = t[(t[:, 0] != t[:, 1]) & (t[:, 1] != t[:, 2]) & (t[:, 2] != t[:, 0])]
    points = points[first]
    a, b, c = (points[t[:, i]] for i in range(3))
    cross = np.cross(b - a, c - a)
    length = np.linalg.norm(cross, axis=1)
    keep = length > 1e-12
    return Mesh(points, t[keep], cross[keep] / length[keep, None], length[keep] / 2)


def volume(mesh: Mesh) -> float:
    a, b, c = (mesh.points[mesh.triangles[:, i]] for i in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)


def overhangs(mesh: Mesh) -> list[tuple[float, str]]:
    """(area mm2, why) of every region that hangs over and is no bridge."""
    edges: dict[tuple[int, int], int] = {}
    for i, (a, b, c) in enumerate(mesh.triangles.tolist()):
        edges[a, b] = edges[b, c] = edges[c, a] = i
    high = mesh.points[mesh.triangles][:, :, 2].max(axis=1) > BED_MM
    left = set(np.flatnonzero(high & (-mesh.normals[:, 2] > math.sin(math.radians(45 + FACET_DEG)))).tolist())
    found = []
    while left:
        region, todo = set(), [left.pop()]
        while todo:
            t = todo.pop()
            region.add(t)
            a, b, c = mesh.triangles[t].tolist()
            for u, v in ((a, b), (b, c), (c, a)):
                n = edges[v, u]
                if n in left:
                    left.discard(n)
                    todo.append(n)
        why = _why_no_bridge(mesh, region, edges)
        if why:
            found.append((float(mesh.areas[list(region)].sum()), why))
    return found


def _why_no_bridge(mesh: Mesh, region: set[int], edges: dict[tuple[int, int], int]) -> str | None:
    members = sorted(region)
    if (mesh.normals[members, 2] > LEVEL - 1).any():
        return "sloped"
    rim = defaultdict(float)
    for t in members:
        a, b, c = mesh.triangles[t].tolist()
        for u, v in ((a, b), (b, c), (c, a)):
            n = edges[v, u]
            if n in region:
                continue
            third = next(k for k in mesh.triangles[n].tolist() if k not in (u, v))
            if mesh.points[third, 2] > mesh.points[u, 2] - BED_MM:
                rim["open"] += float(np.linalg.norm(mesh.points[u] - mesh.points[v]))
    if rim["open"] > 0:
        return f"{rim['open']:.2f} mm of its rim stand on nothing"
    flat = mesh.points[np.unique(mesh.triangles[members])][:, :2]
    spans = [np.ptp(flat @ (math.cos(a), math.sin(a))) for a in np.linspace(0, math.pi, 36, endpoint=False)]
    return f"a bridge of {min(spans):.2f} mm" if min(spans) > BRIDGE_MM else None


def thinnest(mesh: Mesh, most: int = 400) -> float:
    """Least wall met by rays from triangles' centres straight inward, mm: only where the far skin faces the near one
    within 45 degrees, since a ray leaving through the flank of an edge says nothing of a wall."""
    a, b, c = (mesh.points[mesh.triangles[:, i]] for i in range(3))
    e1, e2 = b - a, c - a
    least = math.inf
    step = max(1, len(a) // most)
    for i in range(0, len(a), step):
        d = -mesh.normals[i]
        origin = (a[i] + b[i] + c[i]) / 3
        p = np.cross(d, e2)
        det = np.einsum("ij,ij->i", e1, p)
        with np.errstate(divide="ignore", invalid="ignore"):  # triangles along the ray
            s = origin - a
            u = np.einsum("ij,ij->i", s, p) / det
            q = np.cross(s, e1)
            v = q @ d / det
            t = np.einsum("ij,ij->i", e2, q) / det
            t[~np.isfinite(u + v)] = -1.0
        hit = (np.abs(det) > 1e-12) & (u >= -1e-9) & (v >= -1e-9) & (v <= 1 - u + 1e-9) & (t > 1e-6)
        if not hit.any():
            continue
        nearest = np.flatnonzero(hit)[t[hit].argmin()]
        if float(mesh.normals[nearest] @ d) >= math.sqrt(0.5):
            least = min(least, float(t[nearest]))
    return least
