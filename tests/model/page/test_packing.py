"""What is packed is read back as `viewer/data.js` reads it: planes, differences, signs folded."""

from __future__ import annotations

import base64
import zlib

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from elbowroom.model.page.packing import STEPS_PER_MM, Pack

REACH_MM = 3000.0  # larger than any case


def unpacked(pack: Pack) -> list[tuple[NDArray[np.float64], NDArray[np.int64]]]:
    raw = zlib.decompress(base64.b64decode(pack.text()))
    out, at = [], 0

    def rows(count: int) -> NDArray[np.int64]:
        nonlocal at
        planes = np.frombuffer(raw[at : at + 12 * count], np.uint8).reshape(4, 3, count).astype(np.int64)
        at += 12 * count
        folded = planes[0] | planes[1] << 8 | planes[2] << 16 | planes[3] << 24
        steps = np.where(folded & 1, -(folded >> 1) - 1, folded >> 1)
        return np.cumsum(steps, axis=1).T

    for vertices, triangles in pack.table:
        out.append((rows(vertices) / STEPS_PER_MM, rows(triangles)))
    assert at == len(raw)
    return out


@given(st.integers(3, 40), st.integers(1, 60), st.integers(0, 2**32 - 1))
def test_points_come_back_within_half_a_step_and_triangles_as_they_were(n: int, m: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    meshes = [(rng.uniform(-REACH_MM, REACH_MM, (n, 3)), rng.integers(0, n, (m, 3))) for _ in range(2)]
    pack = Pack()
    assert [pack.add(*mesh) for mesh in meshes] == [0, 1]
    for (v, t), (points, triangles) in zip(meshes, unpacked(pack), strict=True):
        assert np.abs(points - v).max() <= 0.5 / STEPS_PER_MM + 1e-9
        assert np.array_equal(triangles, t)


def test_a_fine_mesh_takes_under_a_third_of_its_floats() -> None:
    u, w = np.meshgrid(np.linspace(0, 2 * np.pi, 60, endpoint=False), np.linspace(0, 100, 60), indexing="ij")
    points = np.stack([40 * np.cos(u), 40 * np.sin(u), w], -1).reshape(-1, 3)
    i = np.arange(59 * 59)
    a = (i // 59) * 60 + i % 59
    triangles = np.concatenate([np.stack([a, a + 1, a + 60], 1), np.stack([a + 1, a + 61, a + 60], 1)])
    pack = Pack()
    pack.add(points, triangles)
    assert len(pack.text()) < (points.size + triangles.size) * 4 / 3
