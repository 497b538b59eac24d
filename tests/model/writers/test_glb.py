"""GLB: structure checked strictly from the bytes, size and axes against the scene, and read by trimesh."""

from __future__ import annotations

import json
import struct
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from elbowroom.model.geometry.scene import Scene
from elbowroom.model.store import Store
from elbowroom.model.writers import json_report, write
from elbowroom.model.writers.glb import quaternion
from elbowroom.model.writers.materials import LOOKS
from elbowroom.model.writers.shading import CREASE, shaded
from elbowroom.parts.vocabulary.pose import rotation, shift

METRE = 1e-3
POSITION_M = 1e-7  # 32-bit positions and nine-place moves at the scene's size of half a metre
SIZES = {5121: 1, 5123: 2, 5125: 4, 5126: 4}
WIDTHS = {"SCALAR": 1, "VEC3": 3}
DTYPES = {5123: "<u2", 5125: "<u4", 5126: "<f4"}


def parse(data: bytes) -> tuple[dict[str, Any], bytes]:
    """Header and chunks, each checked by glTF 2.0 section 4.4."""
    magic, version, length = struct.unpack_from("<4sII", data)
    assert (magic, version, length) == (b"glTF", 2, len(data))
    chunks, at = [], 12
    while at < len(data):
        size, kind = struct.unpack_from("<II", data, at)
        assert size % 4 == 0
        chunks.append((kind, data[at + 8 : at + 8 + size]))
        at += 8 + size
    assert at == len(data)
    assert [kind for kind, _ in chunks] == [0x4E4F534A, 0x004E4942][: len(chunks)]
    document = json.loads(chunks[0][1].decode("utf-8"))
    return document, chunks[1][1] if len(chunks) > 1 else b""


def values(document: dict[str, Any], binary: bytes, index: int) -> NDArray[Any]:
    """An accessor's values; its view must be aligned, inside the buffer, and hold it exactly."""
    accessor = document["accessors"][index]
    view = document["bufferViews"][accessor["bufferView"]]
    start, size = view["byteOffset"], view["byteLength"]
    width = WIDTHS[accessor["type"]]
    assert start % 4 == 0
    assert start + size <= document["buffers"][0]["byteLength"] <= len(binary)
    assert size == accessor["count"] * width * SIZES[accessor["componentType"]]
    found = np.frombuffer(binary, DTYPES[accessor["componentType"]], accessor["count"] * width, start)
    return found.reshape(-1, width) if width > 1 else found


def check_structure(document: dict[str, Any], binary: bytes) -> None:
    """What a strict validator looks at: ranges, bounds, unit normals, a tree without loops, nothing unused."""
    assert document["asset"]["version"] == "2.0"
    assert document["buffers"][0]["byteLength"] == len(binary)
    used: dict[str, set[int]] = {"meshes": set(), "materials": set(), "accessors": set(), "bufferViews": set()}
    for mesh in document["meshes"]:
        for primitive in mesh["primitives"]:
            positions = values(document, binary, primitive["attributes"]["POSITION"])
            normals = values(document, binary, primitive["attributes"]["NORMAL"])
            indices = values(document, binary, primitive["indices"])
            assert np.isfinite(positions).all()
            assert len(positions) == len(normals)
            assert np.linalg.norm(normals, axis=1) == pytest.approx(1.0, abs=1e-5)
            assert len(indices) % 3 == 0
            assert set(np.unique(indices)) == set(range(len(positions)))
            assert indices.max() < (0xFFFF if indices.dtype == np.uint16 else 0xFFFFFFFF)
            accessor = document["accessors"][primitive["attributes"]["POSITION"]]
            assert accessor["min"] == positions.min(axis=0).tolist()
            assert accessor["max"] == positions.max(axis=0).tolist()
            assert document["bufferViews"][accessor["bufferView"]]["target"] == 34962
            used["accessors"] |= {*primitive["attributes"].values(), primitive["indices"]}
            used["materials"].add(primitive["material"])
    parents = [child for node in document["nodes"] for child in node.get("children", ())]
    assert sorted(parents + document["scenes"][0]["nodes"]) == list(range(len(document["nodes"])))
    for node in document["nodes"]:
        assert np.linalg.norm(node.get("rotation", [0, 0, 0, 1])) == pytest.approx(1.0, abs=1e-8)
        used["meshes"] |= {node["mesh"]} if "mesh" in node else set()
    used["bufferViews"] = {a["bufferView"] for a in document["accessors"]}
    for kind, indices in used.items():
        assert indices == set(range(len(document[kind])))


def turned(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Case coordinates in mm as glTF has them, in metres: (x, z, -y)."""
    return np.column_stack([points[:, 0], points[:, 2], -points[:, 1]]) * METRE


def test_the_file_is_sound(written: Path) -> None:
    check_structure(*parse((written / "assembly.glb").read_bytes()))


def test_the_tree_has_the_names_of_the_report(written: Path, scene: Scene) -> None:
    document, _ = parse((written / "assembly.glb").read_bytes())
    nodes = document["nodes"]

    def children(node: dict[str, Any]) -> list[dict[str, Any]]:
        return [nodes[i] for i in node.get("children", ())]

    root = nodes[document["scenes"][0]["nodes"][0]]
    assert root["name"] == scene.layout.title
    *assemblies, kept = children(root)
    assert kept["name"] == "keep-outs"
    report = json.loads((written / "report.json").read_bytes())
    pieces = [p for a in assemblies for p in children(a)]
    assert [p["extras"]["id"] for p in pieces] == [p["name"] for p in pieces]
    assert {p["name"] for p in pieces} == {p["name"] for p in report["pieces"]}
    assert {(p["name"], a["name"]) for a in assemblies for p in children(a)} == {
        (p["name"], p["assembly"]) for p in report["pieces"]
    }
    everything = [b for p in pieces for b in children(p)]
    looks = [b for b in everything if b["extras"]["kind"] == "look"]
    bodies = [b for b in everything if b["extras"]["kind"] == "body"]
    assert len(looks) + len(bodies) == len(everything)
    # A fan's four arrows and its bit of cable are there to be seen: no finding can be about them.
    assert len(looks) == 5 * sum(p.part.family == "fan" for p in scene.layout.pieces)
    assert not any("id" in b["extras"] for b in looks)
    assert [b["extras"]["id"] for b in bodies] == [b["name"] for b in bodies]
    assert {b["name"] for b in bodies} == {s.name for s in scene.solids if s.body.keep_out is None}
    assert [k["extras"]["id"] for k in children(kept)] == [s.name for s in scene.solids if s.body.keep_out is not None]
    for finding in report["findings"]:
        assert set(finding["bodies"]) <= {b["extras"]["id"] for b in bodies}
    real = [s for s in scene.solids if s.body.keep_out is None]
    assert len({b["mesh"] for b in bodies}) == len({(s.shape.key, s.body.name) for s in real})
    seen_through = {m["name"] for m in document["materials"] if m.get("alphaMode") == "BLEND"}
    assert seen_through == {"keep-out"} | {m for m in LOOKS if LOOKS[m].opacity < 1} & {
        s.body.material for s in scene.solids if s.body.keep_out is None
    }


def test_every_body_stands_where_the_scene_has_it_in_metres_and_y_up(written: Path, scene: Scene) -> None:
    """Fans, which are drawn with blades here and as a disc there, keep their frame's place; all else is the same."""
    read = trimesh.load(written / "assembly.glb", process=False)
    by_name = {s.name: s for s in scene.solids if s.piece.part.family != "fan"}
    frames = {s.name: s for s in scene.solids if s.name.endswith("/frame")}
    assert frames
    seen, volume = set(), 0.0
    for node in read.graph.nodes_geometry:
        transform, geometry = read.graph[node]
        if node in frames:
            mesh = read.geometry[geometry].copy().apply_transform(transform)
            box = np.sort(turned(np.array([frames[node].lo, frames[node].hi])), axis=0)
            assert mesh.bounds == pytest.approx(box, abs=POSITION_M)
        if node not in by_name:
            continue
        mesh, solid = read.geometry[geometry].copy(), by_name[node]
        mesh.apply_transform(transform)
        wanted = turned(np.array([solid.lo, solid.hi]))
        assert mesh.bounds == pytest.approx(np.sort(wanted, axis=0), abs=POSITION_M)
        assert (np.einsum("ij,ij->i", mesh.vertex_normals[mesh.faces[:, 0]], mesh.face_normals) > 0.5).all()
        seen.add(node)
        if solid.body.keep_out is None:
            volume += mesh.volume / METRE**3
    assert seen == set(by_name)
    real = [s for s in by_name.values() if s.body.keep_out is None]
    exact = sum(trimesh.Trimesh(s.mesh.vertices, s.mesh.triangles, process=False).volume for s in real)
    assert volume == pytest.approx(exact, rel=1e-6)


def test_a_scene_of_nothing_is_still_a_sound_file(scene: Scene, tmp_path: Path) -> None:
    empty = Scene(type(scene.layout)("empty", (), (), scene.layout.gaps), ())
    assert [p.name for p in write(empty, [], tmp_path, ["glb"], store=Store.default()).paths] == ["assembly.glb"]
    document, binary = parse((tmp_path / "assembly.glb").read_bytes())
    assert (document["nodes"], binary) == ([{"name": "empty"}], b"")
    assert json.loads(json_report.render(empty, []))["pieces"] == []


def test_a_round_wall_is_smooth_and_its_rims_are_sharp(scenes: ModuleType) -> None:
    solid = scenes.scene_of([scenes.piece("c", scenes.PlainCylinder(), shift(), "parts")]).solids[0]
    origin, normals, triangles = shaded(solid.mesh.vertices, solid.mesh.triangles)
    points = solid.mesh.vertices[origin]
    wall = np.abs(normals[:, 2]) < 0.5
    radial = points[wall, :2] / np.linalg.norm(points[wall, :2], axis=1, keepdims=True)
    # The mean over the facets beside a ruling is the true normal to within a facet's own turn.
    assert np.einsum("ij,ij->i", normals[wall, :2], radial).min() > np.cos(np.radians(6))
    assert np.abs(normals[~wall, 2]) == pytest.approx(1.0)
    assert len(np.unique(origin[wall])) == wall.sum() == len(solid.mesh.vertices)
    # No triangle mixes a wall's corner with a lid's.
    assert (wall[triangles].all(axis=1) | ~wall[triangles].any(axis=1)).all()


@given(st.floats(0.05, 3.0))
def test_the_crease_angle_decides(angle: float) -> None:
    """Two triangles folded by an angle share normals along the fold exactly where they turn by less than the crease."""
    c, s = np.cos(angle), np.sin(angle)
    vertices = np.array([[0, 0, 0], [0, 1, 0], [-1, 0.5, 0], [c, 0.5, -s]])
    origin, normals, triangles = shaded(vertices, np.array([[0, 1, 2], [1, 0, 3]], dtype=np.int32))
    if abs(angle - CREASE) > 1e-6:
        assert len(origin) == (4 if angle < CREASE else 6)
    assert np.linalg.norm(normals, axis=1) == pytest.approx(1.0)
    assert (origin[triangles] == [[0, 1, 2], [1, 0, 3]]).all()


@given(st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda a: np.linalg.norm(a) > 1e-3), st.floats(-360, 360))
def test_a_quaternion_turns_as_its_matrix_does(axis: tuple[float, float, float], degrees: float) -> None:
    m = rotation(axis, degrees)[:3, :3]
    x, y, z, w = quaternion(m)
    assert w >= 0
    assert np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    ) == pytest.approx(m, abs=1e-12)
