"""Shells of triangles: whether a mesh is closed and turned right side out, and which separate shells it is made of.

Owns `check_mesh`, `turned_out`, `split` and `components`. How triangles are read from a file and welded is `mesh_file`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from elbowroom.parts.imported.unreadable import PartFileError, count, near
from elbowroom.parts.vocabulary.arrays import Floats, Ints, Mask, Triangles, Vertices
from elbowroom.parts.vocabulary.winding import goes_round

MOST_SHELLS = 256  # separate shells that become bodies of their own; bound by choice
# Height over longest side below which a triangle is a line: single-precision coordinates cannot state less.
DEGENERATE = 1e-7
# Volume over (surface to the power 3/2) below which a closed mesh encloses nothing: a sheet of 1e-6 of its width.
FLAT = 1e-9
INSIDE_OUT = "inside out"


def equal_rows(rows: NDArray[np.generic]) -> tuple[Ints, Ints]:
    """The first row of each set of equal ones, and for every row the number of its set (faster than numpy's unique)."""
    order = np.lexsort(rows.T)
    new = np.ones(len(rows), dtype=bool)
    new[1:] = (rows[order][1:] != rows[order][:-1]).any(axis=1)
    group = np.empty(len(rows), dtype=np.int64)
    group[order] = np.cumsum(new) - 1
    return order[new], group  # lexsort is stable: the first of a run is the first in the array


def check_mesh(vertices: Vertices, triangles: Triangles) -> str | None:
    """Why no verdict may rest on the mesh, in plain words; None for a closed, consistently outward, sound one."""
    if not len(triangles):
        return "it has no triangles"
    if int(triangles.min()) < 0 or int(triangles.max()) >= len(vertices) or not np.isfinite(vertices).all():
        return "its triangles name vertices that are not there, or that are not finite"
    a, b, c = triangles.T
    thin = np.flatnonzero((a == b) | (b == c) | (c == a) | _needles(vertices, triangles))
    if len(thin):
        return f"degenerate: {count(len(thin), 'triangle')} without area {near(vertices[triangles[thin[0]]])}"
    first, group = equal_rows(np.sort(triangles, axis=1))
    twice = np.flatnonzero(np.bincount(group) > 1)
    if len(twice):
        return f"{count(len(twice), 'triangle')} drawn more than once {near(vertices[triangles[first[twice[0]]]])}"
    edges = triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2).astype(np.int64)
    low, high = edges.min(axis=1), edges.max(axis=1)
    key = low * len(vertices) + high
    keys, start, inverse, uses = np.unique(key, return_index=True, return_inverse=True, return_counts=True)
    single = np.flatnonzero(uses == 1)
    if len(single):
        return f"not closed: {count(len(single), 'open edge')} {near(vertices[edges[start[single[0]]]])}"
    many = np.flatnonzero(uses > 2)
    if len(many):
        at = near(vertices[edges[start[many[0]]]])
        return f"not a surface: {count(len(many), 'edge')} shared by more than two triangles {at}"
    sense = np.bincount(
        inverse.reshape(-1), weights=np.where(edges[:, 0] < edges[:, 1], 1.0, -1.0), minlength=len(keys)
    )
    against = np.flatnonzero(sense != 0)
    if len(against):
        at = near(vertices[edges[start[against[0]]]])
        return f"not consistently oriented: {count(len(against), 'edge')} whose two triangles face opposite ways {at}"
    return _sides(vertices, triangles)


def _sides(vertices: Vertices, triangles: Triangles) -> str | None:
    """Whether the shells of a closed, consistent mesh enclose volume and face outward (inward where they are voids)."""
    shells = components(triangles)
    if len(shells) > MOST_SHELLS:
        return f"{len(shells)} separate shells; the most that are judged is {MOST_SHELLS}"
    volumes = [volume(vertices, triangles[s]) for s in shells]
    for s, v in zip(shells, volumes, strict=True):
        corners = vertices[triangles[s]]
        area = float(np.linalg.norm(_normals(corners), axis=1).sum()) / 2
        if abs(v) <= FLAT * area**1.5:
            return f"zero volume: a shell of {count(len(s), 'triangle')} encloses nothing {near(corners[0])}"
    for i, v in enumerate(volumes):
        if v < 0 and enclosing(vertices, triangles, shells, volumes, i) is None:
            at = near(vertices[triangles[shells[i][0]]])
            return f"{INSIDE_OUT}: a shell of {count(len(shells[i]), 'triangle')} faces inward {at}"
    return None


def turned_out(vertices: Vertices, triangles: Triangles) -> tuple[Vertices, Triangles]:
    """The mesh with every shell that lies in no other facing outward, what lies in it turned with it.

    A closed surface encloses the same room whichever way its triangles face; some programs write them inward. A mesh
    that is unsound in another way comes back as it is.
    """
    if not (check_mesh(vertices, triangles) or "").startswith(INSIDE_OUT):
        return vertices, triangles
    shells = components(triangles)
    volumes = [volume(vertices, triangles[s]) for s in shells]
    sizes = [abs(v) for v in volumes]
    outermost = [_outermost(vertices, triangles, shells, sizes, i) for i in range(len(shells))]
    turned = triangles.copy()
    for i, s in enumerate(shells):
        if volumes[outermost[i]] < 0:
            turned[s] = triangles[s][:, ::-1]
    return vertices, turned


def _outermost(vertices: Vertices, triangles: Triangles, shells: list[Ints], sizes: list[float], inner: int) -> int:
    """The largest shell around shell `inner`, itself where there is none."""
    point, at = vertices[triangles[shells[inner][0], 0]], inner
    for i, s in enumerate(shells):
        if sizes[i] > sizes[at] and _around(vertices[triangles[s]], point):
            at = i
    return at


def _around(corners: Vertices, point: Floats) -> bool:
    """Whether a closed shell, facing either way, goes round a point."""
    if (point < corners.min(axis=(0, 1))).any() or (point > corners.max(axis=(0, 1))).any():
        return False
    return goes_round(point, corners)


def split(vertices: Vertices, triangles: Triangles) -> list[tuple[Vertices, Triangles]]:
    """The bodies of a sound mesh: each outward shell with the voids inside it, in file order."""
    shells = components(triangles)
    volumes = [volume(vertices, triangles[s]) for s in shells]
    members: dict[int, list[Ints]] = {i: [s] for i, s in enumerate(shells) if volumes[i] > 0}
    for i, s in enumerate(shells):
        if volumes[i] < 0:
            outer = enclosing(vertices, triangles, shells, volumes, i)
            if outer is None:
                raise PartFileError("the mesh has a shell that faces inward")
            members[outer].append(s)
    out = []
    for group in members.values():
        used, back = np.unique(triangles[np.sort(np.concatenate(group))], return_inverse=True)
        out.append((vertices[used], back.reshape(-1, 3).astype(np.int32)))
    return out


def enclosing(
    vertices: Vertices, triangles: Triangles, shells: list[Ints], volumes: list[float], inner: int
) -> int | None:
    """The smallest outward shell around one vertex of shell `inner`; None where none is."""
    point = vertices[triangles[shells[inner][0], 0]]
    around = [
        i
        for i, s in enumerate(shells)
        if volumes[i] > max(0.0, abs(volumes[inner])) and _around(vertices[triangles[s]], point)
    ]
    return min(around, key=lambda i: volumes[i], default=None)


def components(triangles: Triangles) -> list[Ints]:
    """Triangle indices of each connected shell (joined through shared edges), in the order they first occur."""
    m = len(triangles)
    edges = np.sort(triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    order = np.lexsort((edges[:, 1], edges[:, 0]))
    same = (edges[order][1:] == edges[order][:-1]).all(axis=1)
    a, b = order[:-1][same] // 3, order[1:][same] // 3
    label = np.arange(m)
    while True:  # hook each pair's roots to the lower one, then point all at their roots; ends in few rounds
        la, lb = label[a], label[b]
        low = np.minimum(la, lb)
        np.minimum.at(label, la, low)
        np.minimum.at(label, lb, low)
        while not np.array_equal(label, label[label]):
            label = label[label]
        if np.array_equal(label[a], label[b]):
            break
    order = np.argsort(label, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(label[order])) + 1)


def volume(vertices: Vertices, triangles: Triangles) -> float:
    """Signed volume enclosed by a closed mesh, in the unit of its vertices cubed."""
    corners = vertices[triangles] - vertices[triangles[0, 0]]
    return float(np.einsum("ij,ij->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))) / 6.0


def _normals(corners: Vertices) -> Vertices:
    return np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])


def _needles(vertices: Vertices, triangles: Triangles) -> Mask:
    corners = vertices[triangles]
    sides = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    thin: Mask = np.linalg.norm(_normals(corners), axis=1) <= DEGENERATE * sides**2
    return thin
