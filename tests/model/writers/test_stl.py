"""STL: strictly closed, welded, in place and of the right volume; and by the word of an outside tool."""

from __future__ import annotations

import io
import re
import shutil
import struct
import subprocess
from collections import Counter
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray

from elbowroom.model.geometry.scene import Scene
from elbowroom.model.store import Store
from elbowroom.model.writers import write
from elbowroom.model.writers.job import Job
from elbowroom.model.writers.stl import encoded, joined, stacked
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import shift

FLOAT32_MM = 500 * 2.0**-23  # half a step of a 32-bit number at the scene's size, and to spare
VOLUME_REL = 1e-6  # what rounding the corners to 32 bits changes at most; measured below 3e-7


def corners(data: bytes) -> NDArray[np.float32]:
    """The triangles of a binary STL, read here from the bytes."""
    assert not data[:80].lower().lstrip().startswith(b"solid")
    (count,) = struct.unpack_from("<I", data, 80)
    assert len(data) == 84 + 50 * count
    rows = np.frombuffer(data, dtype=np.uint8, offset=84).reshape(count, 50)
    assert not rows[:, 48:].any()
    return rows[:, 12:48].copy().view("<f4").reshape(count, 3, 3)


def check_closed(triangles: NDArray[np.float32]) -> None:
    """Every directed edge is met by as many the other way, compared bit by bit; no triangle has a corner twice."""
    points = [[c.tobytes() for c in t] for t in triangles]
    edges: Counter[tuple[bytes, bytes]] = Counter()
    for t in points:
        assert len(set(t)) == 3
        edges.update((t[i], t[(i + 1) % 3]) for i in range(3))
    assert all(edges[b, a] == n for (a, b), n in edges.items())


def volume(triangles: NDArray[np.float32]) -> float:
    a, b, c = (triangles[:, i].astype(float) for i in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)


def mesh_volume(vertices: NDArray[np.float64], triangles: NDArray[np.int32]) -> float:
    return volume(vertices[triangles])


def test_each_shape_is_closed_rests_on_zero_and_keeps_its_volume(written: Path, scene: Scene) -> None:
    shapes = Job(scene, [], Store.default().folder).shapes
    assert sorted(p.stem for p in (written / "stl").iterdir()) == sorted(label for label, *_ in shapes)
    for label, _, pieces, solids in shapes:
        triangles = corners((written / f"stl/{label}.stl").read_bytes())
        check_closed(triangles)
        real = [s for s in solids if s.body.keep_out is None]
        wanted = sum(mesh_volume(s.mesh.vertices, s.mesh.triangles) for s in real)
        assert volume(triangles) == pytest.approx(wanted, rel=VOLUME_REL)
        assert triangles[:, :, 2].min() == 0.0
        box = pieces[0].part.box()
        low, high = np.array(box.lo), np.array(box.hi)
        bound = max(s.mesh.bound for s in real) + FLOAT32_MM
        assert triangles.min(axis=(0, 1)) == pytest.approx([low[0], low[1], 0.0], abs=bound)
        assert triangles.max(axis=(0, 1)) == pytest.approx([high[0], high[1], high[2] - low[2]], abs=bound)


def test_the_assembly_stands_in_case_coordinates_without_keep_outs(written: Path, scene: Scene) -> None:
    triangles = corners((written / "assembly.stl").read_bytes())
    check_closed(triangles)
    real = [s for s in scene.solids if s.body.keep_out is None]
    assert len(triangles) == sum(len(s.mesh.triangles) for s in real)
    assert triangles.min(axis=(0, 1)) == pytest.approx(np.min([s.lo for s in real], axis=0), abs=FLOAT32_MM)
    assert triangles.max(axis=(0, 1)) == pytest.approx(np.max([s.hi for s in real], axis=0), abs=FLOAT32_MM)
    wanted = sum(mesh_volume(s.mesh.vertices, s.mesh.triangles) for s in real)
    assert volume(triangles) == pytest.approx(wanted, rel=VOLUME_REL)


def admesh_faults(path: Path) -> dict[str, str]:
    """What admesh reports before its repair, where it is installed: the kinds of defect with their counts, if not 0."""
    tool = shutil.which("admesh")
    if tool is None:
        return {}
    said = subprocess.run([tool, str(path)], capture_output=True, text=True, check=True, timeout=60).stdout
    counts = dict(re.findall(r"^(.*?)\s*:\s+(\d+)", said, re.MULTILINE))
    kinds = ("Total disconnected facets", "Degenerate facets", "Edges fixed", "Facets removed", "Facets added",
             "Facets reversed", "Backwards edges", "Normals fixed")  # fmt: skip
    return {kind: counts[kind] for kind in kinds if counts[kind] != "0"}


def test_an_outside_tool_finds_nothing_to_repair(written: Path) -> None:
    """admesh where it is installed, else trimesh."""
    for path in [*(written / "stl").iterdir(), written / "assembly.stl"]:
        assert not admesh_faults(path), path.name
        if shutil.which("admesh") is None:
            mesh = trimesh.load_mesh(io.BytesIO(path.read_bytes()), file_type="stl", process=True)
            assert mesh.is_winding_consistent
            assert mesh.is_watertight or path.name == "assembly.stl"  # it counts two bodies on one edge as a hole
            assert mesh.volume > 0


def test_bodies_that_only_touch_become_one_skin(scenes: ModuleType) -> None:
    scene = scenes.scene_of([scenes.piece("a", scenes.Bracket(), shift(), "parts")])
    meshes = [s.mesh for s in scene.solids if s.body.keep_out is None]
    vertices, triangles = joined(meshes)
    shell = trimesh.Trimesh(vertices, triangles)
    assert shell.body_count == 1
    assert shell.is_watertight
    assert shell.volume == pytest.approx(30 * 15 * 4 + 26 * 15 * 4, rel=1e-12)


def test_bodies_that_overlap_stay_apart_so_that_nothing_is_eaten(scenes: ModuleType) -> None:
    pieces = [scenes.piece(n, scenes.PlainBox(), shift(x), "parts") for n, x in (("a", 0), ("b", 50))]
    meshes = [s.mesh for s in scenes.scene_of(pieces).solids]
    meshes[1] = type(meshes[1])(meshes[1].vertices + np.array([50.0, 0, 0]), meshes[1].triangles, 0.0, 0.0)
    vertices, triangles = joined(meshes)
    assert len(triangles) == 24
    assert mesh_volume(vertices, triangles) == pytest.approx(2 * 100 * 60 * 40)


def test_vertices_that_fall_together_in_32_bits_leave_the_mesh_closed() -> None:
    thin = trimesh.creation.box((1000.0, 1.0, 1.0))
    thin.vertices[:] += [4000.0, 0.0, 0.0]
    split = thin.vertices[thin.faces[0]]
    middle = split.mean(axis=0)
    # A fan of three slivers inside one face, two of its corners nearer to each other than 32 bits can tell at 4 m.
    near = split[0] + (middle - split[0]) * 1e-9
    vertices = np.vstack([thin.vertices, near])
    a, b, c = thin.faces[0]
    faces = np.vstack([thin.faces[1:], [[a, b, 8], [b, c, 8], [c, a, 8]]])
    triangles = corners(encoded(vertices, faces))
    check_closed(triangles)
    assert len(triangles) == 12
    assert volume(triangles) == pytest.approx(1000.0, rel=1e-3)


def test_a_mesh_with_a_fault_is_written_as_it_is_and_said(scenes: ModuleType, tmp_path: Path) -> None:
    scene = scenes.scene_of([scenes.piece("a", scenes.PlainBox(length=Mm(70)), shift(), "parts")])
    solid = scene.solids[0]
    open_mesh = type(solid.mesh)(solid.mesh.vertices, solid.mesh.triangles[1:], 0.0, 0.0, "it has a hole")
    faulty = type(solid)(solid.piece, solid.body, solid.shape, open_mesh, solid.pose, solid.lo, solid.hi)
    result = write(Scene(scene.layout, (faulty,)), [], tmp_path, ["stl"], store=Store.default())
    assert result.notes == ["stl/box-70x60x40.stl: not a closed mesh (it has a hole): a as it was given"]
    assert len(corners((tmp_path / "stl/box-70x60x40.stl").read_bytes())) == 11


@pytest.mark.parametrize("step", [(10.0, 10.0, 0.0), (10.0, 0.0, 0.0), (10.0, 10.0, 10.0), (0.0, 10.0, -10.0)])
@pytest.mark.parametrize("turned", [0.0, 0.6])
@pytest.mark.parametrize("off", [0.0, 700.0])
def test_bodies_that_meet_leave_no_edge_with_more_than_two_triangles(
    step: tuple[float, ...], turned: float, off: float
) -> None:
    """Three blocks in a row that share edges, faces or corners: any reader that welds by place finds closed skins."""
    blocks = []
    for k in range(3):
        block = trimesh.creation.box((10.0, 10.0, 10.0))
        block.apply_translation(np.array(step) * k)
        block.apply_transform(trimesh.transformations.rotation_matrix(turned, [1, 2, 3]))
        block.apply_translation([off, 0, 0])
        blocks.append((np.asarray(block.vertices), np.asarray(block.faces)))
    triangles = corners(encoded(*stacked(blocks)))
    _, number = np.unique(triangles.reshape(-1, 3), axis=0, return_inverse=True)
    edges = np.sort(number.reshape(-1, 3)[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    assert set(np.unique(edges, axis=0, return_counts=True)[1]) == {2}
    assert volume(triangles) == pytest.approx(3000.0, rel=1e-3)
