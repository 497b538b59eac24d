"""STL files and the soundness of triangle meshes: read within bounds, weld, judge, and split into shells.

Owns the STL parser (binary and ASCII), welding, turning shells outward, and the reasons why no verdict may rest on a
mesh. Pure numpy. All lengths are mm once the corners are read: a tolerance in the file's unit would be a thousand times
wider in a file in metres. A surface that crosses itself within one connected shell is not looked for here.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from elbowroom.parts.imported.shells import check_mesh, equal_rows, turned_out
from elbowroom.parts.imported.unreadable import PartFileError
from elbowroom.parts.vocabulary.arrays import Triangles, Vertices

MOST_BYTES = 200_000_000  # a larger file is refused unread; bound by choice, so that a wrong file cannot fill memory
# Bound by choice: whether a mesh of so many crosses itself takes 15 s and 1.4 GB to find out (measured), and both grow
# with their number; the engine's own scene is about 50 000.
MOST_TRIANGLES = 400_000
MOST_LINE = 1000  # bytes of a text file's line that are read as one vertex; three numbers take 75. Bound by choice
MOST_EXTENT = 5000.0  # mm a file's parts may span: twice the largest case there is, by choice; more is another unit
MOST_OFF = 100_000.0  # mm they may lie from the file's origin, where single precision still tells 0.01; by choice
# mm: corners of an ASCII file are rounded to its digits; where they do not meet exactly they may be this far apart.
WELD_MM = 1e-4

_HEADER, _RECORD = 84, 50
_FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
# Line by line and greedy, so that no text makes them look at a byte more than twice.
_VERTEX = re.compile(rb"^[ \t]*vertex[ \t]+([^\r\n]*)", re.MULTILINE | re.IGNORECASE)
_OPENS = re.compile(rb"^[ \t]*facet\b", re.MULTILINE | re.IGNORECASE)
_CLOSES = re.compile(rb"^[ \t]*endsolid\b", re.MULTILINE | re.IGNORECASE)


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
    first, index = equal_rows(keys)
    order = np.argsort(first)
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    triangles = rank[index].reshape(-1, 3).astype(np.int32)
    a, b, c = triangles.T
    triangles = triangles[(a != b) & (b != c) & (c != a)]
    used, back = np.unique(triangles, return_inverse=True)
    return points[first[order]][used], back.reshape(-1, 3).astype(np.int32)
