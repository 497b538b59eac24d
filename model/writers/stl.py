"""STL: binary, millimetres, closed and welded; one file for each distinct shape, and one of the whole build.

Owns the making of printable triangles: a shape's bodies are joined into one skin where that changes nothing but the
walls between them, laid on z = 0 in part coordinates, and rounded to the 32 bits of the format without opening the
mesh. `assembly.stl` holds every body as a closed skin of its own, in case coordinates.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.geometry.scene import Mesh
from elbowroom.model.writers.job import Files, Job
from elbowroom.parts.vocabulary.arrays import Ints, Vertices
from elbowroom.parts.vocabulary.pose import apply
from elbowroom.parts.vocabulary.tolerances import ROUNDING

FOLDER = "stl"
FILE = "assembly.stl"

# 80 bytes that must not begin with "solid", or readers take the file for a text one.
HEADER = b"binary STL, millimetres, written by elbowroom".ljust(80)

# Joining bodies that only touch keeps the sum of their volumes to rounding; a larger change would mean that the union
# filled or ate something (a faceted pin in a faceted bore), and then the bodies stay apart.
JOINED_VOLUME = 1e-9  # of the volume

# mm that a skin is drawn back from another it meets: several steps of 32 bits at a metre, a hundredth of what a printer
# sets. Doubled where rounding brings them together again, up to `_PARTINGS` times.
PART_MM = 2e-4
_PARTINGS = 6

_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def write(job: Job) -> Files:
    """`stl/<shape>.stl` for each distinct shape with a real body, and `assembly.stl`."""
    for label, _, pieces, solids in job.shapes:
        meshes = [s.mesh for s in solids if s.body.keep_out is None]
        if not meshes:
            continue
        vertices, triangles = joined(meshes)
        vertices = vertices - [0.0, 0.0, vertices[:, 2].min()]
        name = f"{FOLDER}/{label}.stl"
        yield name, encoded(vertices, triangles)
        faults = sorted({s.mesh.fault for s in solids if s.body.keep_out is None and s.mesh.fault})
        if faults:
            job.notes.append(f"{name}: not a closed mesh ({'; '.join(faults)}): {pieces[0].name} as it was given")
    placed = [(apply(s.pose, s.mesh.vertices), s.mesh.triangles) for s in job.scene.solids if s.body.keep_out is None]
    if placed:
        yield FILE, encoded(*stacked(placed))


def joined(meshes: Sequence[Mesh]) -> tuple[Vertices, Ints]:
    """The bodies as one skin without inner walls where they only touch, else as separate skins in one list."""
    apart = stacked([(m.vertices, m.triangles) for m in meshes])
    if len(meshes) < 2 or any(m.fault for m in meshes):
        return apart
    import manifold3d as m3

    # Copied, because the library takes no read-only arrays, which a scene's are.
    solids = [m3.Manifold(m3.Mesh64(np.array(m.vertices), np.array(m.triangles, dtype=np.uint64))) for m in meshes]
    total = sum(s.volume() for s in solids)
    union = m3.Manifold.batch_boolean(solids, m3.OpType.Add)
    whole = union.status() == m3.Error.NoError and all(s.status() == m3.Error.NoError for s in solids)
    if not whole or abs(union.volume() - total) > JOINED_VOLUME * total:
        return apart
    mesh = union.to_mesh64()
    return np.asarray(mesh.vert_properties, dtype=np.float64)[:, :3], np.asarray(mesh.tri_verts, dtype=np.int64)


def stacked(meshes: Sequence[tuple[Vertices, NDArray[np.integer]]]) -> tuple[Vertices, Ints]:
    """Several meshes as one list of vertices and triangles."""
    offsets = np.cumsum([0, *(len(v) for v, _ in meshes)])
    triangles = [t.astype(np.int64) + o for (_, t), o in zip(meshes, offsets, strict=False)]
    return np.concatenate([v for v, _ in meshes]), np.concatenate(triangles)


def encoded(vertices: Vertices, triangles: Ints) -> bytes:
    """A binary STL. Vertices that fall together in 32 bits are made one and the triangles that collapse are dropped,
    which keeps a closed mesh closed. Skins that meet along an edge are parted there (see `_parted`).
    """
    single, welded = _single(vertices, triangles)
    for k in range(_PARTINGS):
        crowded = _crowded(welded)
        if not len(crowded):
            break
        vertices = _parted(vertices, triangles, welded, crowded, PART_MM * 2**k)
        single, welded = _single(vertices, triangles)
    alive = (welded[:, 0] != welded[:, 1]) & (welded[:, 1] != welded[:, 2]) & (welded[:, 2] != welded[:, 0])
    corners = single[triangles[alive]]
    wide = corners.astype(np.float64)
    normals = np.cross(wide[:, 1] - wide[:, 0], wide[:, 2] - wide[:, 0])
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    normals = np.divide(normals, length, out=np.zeros_like(normals), where=length > 0)
    records = np.zeros(len(corners), dtype=_RECORD)
    records["normal"], records["corners"] = normals + 0.0, corners
    return HEADER + struct.pack("<I", len(records)) + records.tobytes()


def _single(vertices: Vertices, triangles: Ints) -> tuple[NDArray[np.float32], Ints]:
    """The vertices in 32 bits, and the triangles by numbers that are the same where vertices are."""
    # Adding zero turns -0 into 0: two spellings of one vertex would be two vertices to a reader that compares bytes.
    single = vertices.astype(np.float32) + np.float32(0.0)
    _, same = np.unique(single, axis=0, return_inverse=True)
    return single, same.reshape(-1)[triangles].astype(np.int64)


def _crowded(welded: Ints) -> Ints:
    """The welded vertices on edges that more than two triangles share."""
    alive = (welded[:, 0] != welded[:, 1]) & (welded[:, 1] != welded[:, 2]) & (welded[:, 2] != welded[:, 0])
    edges = np.sort(welded[alive][:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    n = int(welded.max(initial=0)) + 1
    keys, uses = np.unique(edges[:, 0] * n + edges[:, 1], return_counts=True)
    found = keys[uses > 2]
    return np.unique(np.concatenate([found // n, found % n]))


def _parted(vertices: Vertices, triangles: Ints, welded: Ints, crowded: Ints, by: float) -> Vertices:
    """The vertices with all skins but one drawn back from where several meet, by `by` mm into their own body.

    A file of triangles knows no bodies: where two touch along an edge, a reader finds four triangles on it and calls
    the mesh broken. Each skin stays closed, and none moves by what any printer or eye can tell.
    """
    number = np.full(len(vertices), -1, dtype=np.int64)  # of each vertex, after welding
    number[triangles.reshape(-1)] = welded.reshape(-1)
    mine = np.flatnonzero(np.isin(number, crowded))
    order = mine[np.argsort(number[mine], kind="stable")]
    place = np.arange(len(order))
    first = np.ones(len(order), dtype=bool)
    first[1:] = number[order][1:] != number[order][:-1]
    turn = place - np.maximum.accumulate(np.where(first, place, 0))  # 0 for the one that stays
    out = _outward(vertices, triangles)
    moved = vertices.copy()
    moved[order] -= out[order] * (by * turn)[:, None]
    return moved


def _outward(vertices: Vertices, triangles: Ints) -> Vertices:
    """A unit vector out of the body at each vertex: the mean of its triangles' normals."""

    def unit(v: Vertices) -> Vertices:
        length = np.linalg.norm(v, axis=1, keepdims=True)
        out: Vertices = np.divide(v, length, out=np.full_like(v, 0.6), where=length > ROUNDING)
        return out

    corners = vertices[triangles]
    flat = unit(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]))
    total = np.zeros_like(vertices)
    for k in range(3):
        np.add.at(total, triangles[:, k], flat)
    return unit(total)
