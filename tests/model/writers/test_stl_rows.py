"""STL of sizes in the catalogue: a surface in which every edge has exactly two triangles, counted in the bytes.

Drawing and meshing all sizes takes five minutes of computing time, so that every tenth is taken here, from all over the
list; with ELBOWROOM_TEST_EVERY=1 in the environment it is all of them.
"""

from __future__ import annotations

import io
import os
from functools import cache

import numpy as np
import pytest
import trimesh

from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.layout import Gaps, Layout, Piece
from elbowroom.model.store import Store
from elbowroom.model.writers import stl
from elbowroom.model.writers.job import Job
from elbowroom.parts.vocabulary.pose import IDENTITY
from tests.model.writers.test_stl import admesh_faults, corners
from tests.parts.test_contract import ROWS, make

EVERY = int(os.environ.get("ELBOWROOM_TEST_EVERY", "10"))
TAKEN = ROWS[::EVERY]


@cache
def written() -> dict[str, bytes]:
    """The STL of each distinct shape of those taken, each as if it were a build of its own."""
    pieces = tuple(Piece(f"{family} {row}", make(family, row), IDENTITY, "parts") for family, row in TAKEN)
    job = Job(solidify(Layout("all", pieces, (), Gaps()), Store.default()), [], Store.default().folder)
    return {name: data for name, data in stl.write(job) if name != stl.FILE}


@pytest.mark.slow
def test_every_edge_of_a_size_has_exactly_two_triangles_one_each_way() -> None:
    """Corners are one where their 12 bytes are, as a reader of the format sees them."""
    assert len(written()) > 0.7 * len(TAKEN)  # some sizes share a shape
    for name, data in written().items():
        flat = corners(data).reshape(-1, 3)
        _, number = np.unique(flat, axis=0, return_inverse=True)
        ends = number.reshape(-1, 3)[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
        assert (ends[:, 0] != ends[:, 1]).all(), f"{name}: a triangle with one corner twice"
        edges, back, uses = np.unique(np.sort(ends, axis=1), axis=0, return_inverse=True, return_counts=True)
        bad = edges[uses != 2]
        assert not len(bad), f"{name}: {len(bad)} edges with other than two triangles, first {flat[bad[0]]}"
        ways = np.bincount(back.reshape(-1), weights=np.where(ends[:, 0] < ends[:, 1], 1, -1))
        assert not ways.any(), f"{name}: {np.count_nonzero(ways)} edges whose triangles face opposite ways"


@pytest.mark.slow
def test_an_outside_tool_agrees_on_a_sample(tmp_path) -> None:
    """Every fourth shape: admesh where it is installed, and trimesh."""
    for name, data in sorted(written().items())[::4]:
        path = tmp_path / "part.stl"
        path.write_bytes(data)
        assert not admesh_faults(path), name
        mesh = trimesh.load_mesh(io.BytesIO(data), file_type="stl", process=True)
        assert mesh.is_watertight, name
        assert mesh.is_winding_consistent, name
        assert mesh.volume > 0, name
