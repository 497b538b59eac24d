"""Meshes as few bytes: whole steps of a fixed grid, differences, byte planes, and one deflate over all of them.

Owns the binary form that `viewer/data.js` reads back. Not float32, which deflate can do little with, and not 16 bits
over a mesh's own box, which would move the points of a case by a hundredth of a millimetre: on a grid of 1/512 mm,
measured distances are those of the model to the digits shown. The browser inflates it by itself, so that no decoder is
shipped. Normals are worked out there too: they would be two thirds of the file.
"""

from __future__ import annotations

import base64
import zlib
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from elbowroom.parts.vocabulary.arrays import Floats

STEPS_PER_MM = 512  # of the grid that points are put on: under 0.001 mm off, a hundredth of what is shown
PLANES = 4  # bytes of a difference, of which deflate takes away what is always nought
DEFLATE = 9  # the level: the file is written once and sent often
MOST_KEPT = 4000  # meshes whose bytes are kept; a large build has some hundred
QUICK = 1  # the level for what is looked at once, on the machine it is made on


@dataclass(eq=False)
class Pack:
    """Meshes as they are handed in, each by its number; `text` is all of them for a script tag. kept: what was made of
    arrays before, by which each, for who packs the same ones again and again.
    """

    _planes: list[bytes] = field(default_factory=list)
    table: list[list[int]] = field(default_factory=list)  # vertices and triangles of each mesh
    kept: dict[tuple[int, int], tuple[Any, bytes]] | None = None

    def add(self, vertices: Floats, triangles: NDArray[np.integer]) -> int:
        """The number of this mesh. vertices in mm; points that fall together on the grid stay apart."""
        key = (id(vertices), id(triangles))
        held = None if self.kept is None else self.kept.get(key)
        made = _of_mesh(vertices, triangles) if held is None else held[1]
        if self.kept is not None and held is None:
            if len(self.kept) >= MOST_KEPT:
                self.kept.clear()
            self.kept[key] = ((vertices, triangles), made)  # held, so that no other array gets their identity
        self._planes.append(made)
        self.table.append([len(vertices), len(triangles)])
        return len(self.table) - 1

    def text(self, level: int = DEFLATE) -> str:
        """Base64 of the deflated planes."""
        return packed_text(b"".join(self._planes), level)


def _of_mesh(vertices: Floats, triangles: NDArray[np.integer]) -> bytes:
    grid = np.round(np.asarray(vertices, dtype=np.float64) * STEPS_PER_MM).astype(np.int64)
    return _planes(grid) + _planes(np.asarray(triangles, dtype=np.int64))


def packed_text(data: bytes, level: int = DEFLATE) -> str:
    """Base64 of the deflated bytes (zlib's format, "deflate" to a browser)."""
    return base64.b64encode(zlib.compress(data, level)).decode("ascii")


def _planes(rows: NDArray[np.int64]) -> bytes:
    """Each column's differences from row to row, signs folded into the lowest bit, lowest bytes first."""
    steps = np.diff(rows, axis=0, prepend=np.zeros((1, rows.shape[1]), np.int64)).T.reshape(-1)
    folded = ((steps << 1) ^ (steps >> 63)).astype("<u4")
    return folded.view(np.uint8).reshape(-1, PLANES).T.tobytes()
