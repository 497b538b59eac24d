"""STL files and the soundness of triangle meshes: read within bounds, weld, judge, and split into shells.

Owns the STL parser (binary and ASCII), welding, turning shells outward, and the reasons why no verdict may rest on a
mesh. Pure numpy. All lengths are mm once the corners are read: a tolerance in the file's unit would be a thousand times
wider in a file in metres. A surface that crosses itself within one connected shell is not looked for here.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from elbowroom.parts.vocabulary.arrays import Floats, Ints, Mask, Triangles, Vertices
from elbowroom.parts.vocabulary.winding import goes_round

MOST_BYTES = 200_000_000  # a larger file is refused unread; bound by choice, so that a wrong file cannot fill memory
# Bound by choice: whether a mesh of so many crosses itself takes 15 s and 1.4 GB to find out (measured), and both grow
# with their number; the engine's own scene is about 50 000.
MOST_TRIANGLES = 400_000
MOST_LINE = 1000  # bytes of a text file's line that are read as one vertex; three numbers take 75. Bound by choice
MOST_SHELLS = 256  # separate shells that become bodies of their own; bound by choice
MOST_EXTENT = 5000.0  # mm a file's parts may span: twice the largest case there is, by choice; more is another unit
MOST_OFF = 100_000.0  # mm they may lie from the file's origin, where single precision still tells 0.01; by choice
# Height over longest side below which a triangle is a line: single-precision coordinates cannot state less.
DEGENERATE = 1e-7
# Volume over (surface to the power 3/2) below which a closed mesh encloses nothing: a sheet of 1e-6 of its width.
FLAT = 1e-9
# mm: corners of an ASCII file are rounded to its digits; where they do not meet exactly they may be this far apart.
WELD_MM = 1e-4
INSIDE_OUT = "inside out"

_HEADER, _RECORD = 84, 50
_FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
# Line by line and greedy, so that no text makes them look at a byte more than twice.
_VERTEX = re.compile(rb"^[ \t]*vertex[ \t]+([^\r\n]*)", re.MULTILINE | re.IGNORECASE)
_OPENS = re.compile(rb"^[ \t]*facet\b", re.MULTILINE | re.IGNORECASE)
_CLOSES = re.compile(rb"^[ \t]*endsolid\b", re.MULTILINE | re.IGNORECASE)


class PartFileError(ValueError):
    """A user's file cannot be used; the message says what is wrong with it."""


def read_stl(path: Path, scale: float = 1.0) -> tuple[Vertices, Triangles]:
    """Welded vertices in mm and triangles; `scale`: mm in the file's unit. PartFileError where it is no usable STL."""
    try:
        data = path.read_bytes() if path.stat().st_size <= MOST_BYTES else None
    except OSError as e:
        raise PartFileError(f"{path.name}: cannot be read: {e.strerror}") from None
    if data is None:
        raise PartFileError(f"{path.name}: larger than {MOST_BYTES // 1_000_000} MB")
    if not data:
        raise PartFileError(f"{path.name}: the file is empty")
    corners = _corners(data, path.name)
    if not len(corners):
        raise PartFileError(f"{path.name}: holds no triangles")
    if not np.isfinite(corners).all():
        bad = int(np.flatnonzero(~np.isfinite(corners).all(axis=(1, 2)))[0]) + 1
        raise PartFileError(f"{path.name}: triangle {bad} has a coordinate that is not a finite number")
    with np.errstate(over="ignore"):
        # Single precision is all a binary file holds; in mm it must still be told from exact numbers.
        corners = (corners * scale).astype(np.float32).astype(np.float64)
    _bound_extent(corners, path.name)
    return turned_out(*weld(corners))


def _bound_extent(corners: Vertices, name: str) -> None:
    lo, hi = corners.min(axis=(0, 1)), corners.max(axis=(0, 1))
    span, off = float((hi - lo).max()), float(max(np.abs(lo).max(), np.abs(hi).max()))
    hint = "is the unit right?"
    if span > MOST_EXTENT:
        raise PartFileError(f"{name}: it is {span:,.6g} mm long; the most that is read is {MOST_EXTENT:,.0f}: {hint}")
    if off > MOST_OFF:
        raise PartFileError(
            f"{name}: it lies {off:,.6g} mm from the file's origin; the most that is read is {MOST_OFF:,.0f}: {hint}"
        )


def _corners(data: bytes, name: str) -> Vertices:
    """Corner points (m, 3, 3). A binary file is told by its length, since some begin with the word 'solid' too."""
    count = int.from_bytes(data[80:84], "little") if len(data) >= _HEADER else -1
    if count >= 0 and len(data) == _HEADER + _RECORD * count:
        _bound(count, name)
        return np.frombuffer(data, _FACET, count, _HEADER)["corners"].astype(np.float64)
    head = data[:1000].lstrip().lower()
    if head.startswith(b"solid") and b"\x00" not in data[:1000]:
        return _ascii(data, name)
    if len(data) < _HEADER:
        raise PartFileError(f"{name}: not an STL: {len(data)} bytes are too few for one, and it does not begin 'solid'")
    held = (len(data) - _HEADER) // _RECORD
    if _HEADER + _RECORD * count > len(data) and count <= 5 * MOST_TRIANGLES:
        raise PartFileError(f"{name}: cut short: {count} triangles announced, {held} held")
    raise PartFileError(f"{name}: not an STL: it announces {count} triangles and has room for {held}")


def _ascii(data: bytes, name: str) -> Vertices:
    """Corner points (m, 3, 3). Takes memory by what it keeps, never by what a hostile text holds."""
    facets = sum(1 for _ in _OPENS.finditer(data))
    _bound(facets, name)
    held = sum(1 for _ in _VERTEX.finditer(data))
    if held != 3 * facets:
        raise PartFileError(f"{name}: malformed: {facets} facets have {held} vertices, not {3 * facets}")
    if not _CLOSES.search(data[-2000:]):
        raise PartFileError(f"{name}: cut short: no 'endsolid' at its end")
    out = np.empty((held, 3))
    for i, match in enumerate(_VERTEX.finditer(data)):
        row = data[match.start(1) : min(match.end(1), match.start(1) + MOST_LINE)]
        values = row.split()
        if len(values) != 3 or match.end(1) > match.start(1) + MOST_LINE:
            raise PartFileError(f"{name}: malformed: vertex {i + 1} has not three coordinates: {_shown(row)}")
        try:
            out[i] = [float(v) for v in values]
        except ValueError:
            bad = next(v for v in values if not _number(v))
            raise PartFileError(f"{name}: malformed: vertex {i + 1}: not a number: {_shown(bad)}") from None
    return out.reshape(-1, 3, 3)


def _bound(count: int, name: str) -> None:
    if count > MOST_TRIANGLES:
        raise PartFileError(
            f"{name}: {count} triangles; more than {MOST_TRIANGLES} are not read: reduce the mesh, or give a STEP file"
        )


def _number(text: bytes) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _shown(text: bytes) -> str:
    return repr(text[:40].decode("ascii", "replace"))


def weld(corners: Vertices) -> tuple[Vertices, Triangles]:
    """Shared vertices and triangles from corner points (m, 3, 3), in the order the file first names them.

    Corners are one vertex where they are equal; only where that leaves edges open, those within WELD_MM are tried, and
    kept if that closes the mesh. Triangles that weld to a line are dropped: their neighbours close up over them.
    """
    exact = _welded(corners, None)
    if check_mesh(*exact) is None:
        return exact
    near = _welded(corners, WELD_MM)
    return near if check_mesh(*near) is None else exact


def _welded(corners: Vertices, grid: float | None) -> tuple[Vertices, Triangles]:
    points = corners.reshape(-1, 3) + 0.0  # no negative zero, which would be another vertex
    keys = points if grid is None else np.round(points / grid)
    first, index = _equal_rows(keys)
    order = np.argsort(first)
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    triangles = rank[index].reshape(-1, 3).astype(np.int32)
    a, b, c = triangles.T
    triangles = triangles[(a != b) & (b != c) & (c != a)]
    used, back = np.unique(triangles, return_inverse=True)
    return points[first[order]][used], back.reshape(-1, 3).astype(np.int32)


def _equal_rows(rows: NDArray[np.generic]) -> tuple[Ints, Ints]:
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
        return f"degenerate: {_count(len(thin), 'triangle')} without area {_near(vertices[triangles[thin[0]]])}"
    first, group = _equal_rows(np.sort(triangles, axis=1))
    twice = np.flatnonzero(np.bincount(group) > 1)
    if len(twice):
        return f"{_count(len(twice), 'triangle')} drawn more than once {_near(vertices[triangles[first[twice[0]]]])}"
    edges = triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2).astype(np.int64)
    low, high = edges.min(axis=1), edges.max(axis=1)
    key = low * len(vertices) + high
    keys, start, inverse, uses = np.unique(key, return_index=True, return_inverse=True, return_counts=True)
    single = np.flatnonzero(uses == 1)
    if len(single):
        return f"not closed: {_count(len(single), 'open edge')} {_near(vertices[edges[start[single[0]]]])}"
    many = np.flatnonzero(uses > 2)
    if len(many):
        at = _near(vertices[edges[start[many[0]]]])
        return f"not a surface: {_count(len(many), 'edge')} shared by more than two triangles {at}"
    sense = np.bincount(
        inverse.reshape(-1), weights=np.where(edges[:, 0] < edges[:, 1], 1.0, -1.0), minlength=len(keys)
    )
    against = np.flatnonzero(sense != 0)
    if len(against):
        at = _near(vertices[edges[start[against[0]]]])
        return f"not consistently oriented: {_count(len(against), 'edge')} whose two triangles face opposite ways {at}"
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
            return f"zero volume: a shell of {_count(len(s), 'triangle')} encloses nothing {_near(corners[0])}"
    for i, v in enumerate(volumes):
        if v < 0 and enclosing(vertices, triangles, shells, volumes, i) is None:
            at = _near(vertices[triangles[shells[i][0]]])
            return f"{INSIDE_OUT}: a shell of {_count(len(shells[i]), 'triangle')} faces inward {at}"
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


def _near(points: Vertices) -> str:
    x, y, z = (float(v) + 0.0 for v in np.round(points.mean(axis=0), 2))
    return f"near ({x:g}, {y:g}, {z:g})"


def _count(n: int, noun: str) -> str:
    return f"{n} {noun}" + ("" if n == 1 else "s")
