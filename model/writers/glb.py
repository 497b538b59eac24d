"""GLB (glTF 2.0, binary): the build for viewers, in metres with y up, one mesh a body shape, instanced by nodes.

Owns the node tree build / sub-assembly / piece / body, whose node names and `extras.id` are the names that the
findings use, and the binary layout. Parts are drawn as people know them (`parts.looks`), each body under its own name;
what is only to be seen (a fan's arrows) stands beside them and has no id. Case coordinates (x, y, z) in mm become
(x, z, -y) in m. Keep-outs stand, translucent, under a node "keep-outs" of their own, so that a viewer can hide them.
"""

from __future__ import annotations

import json
import struct
from typing import Any

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.geometry.scene import Solid
from elbowroom.model.writers.job import Files, Job
from elbowroom.model.writers.materials import KEEP_OUT, LOOKS, Look
from elbowroom.model.writers.shading import shaded
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.pose import Pose

FILE = "assembly.glb"
METRES = 1e-3  # m in a mm
# Case axes to glTF axes: x stays, z (up) becomes y, y becomes -z.
TURN: Floats = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])

# glTF 2.0, sections 3.6 and 5: component and target codes.
_FLOAT, _USHORT, _UINT = 5126, 5123, 5125
_ARRAY, _ELEMENT = 34962, 34963
_JSON_CHUNK, _BIN_CHUNK = 0x4E4F534A, 0x004E4942
_NODE_PLACES = 9  # decimals of a node's move (m) and turn: a nanometre


def write(job: Job) -> Files:
    """The whole build as one GLB file."""
    yield FILE, _Document(job).encoded()


class _Document:
    """A glTF document while it is put together; indices in the order things are first needed."""

    def __init__(self, job: Job) -> None:
        self.nodes: list[dict[str, Any]] = []
        self.meshes: list[dict[str, Any]] = []
        self.materials: list[dict[str, Any]] = []
        self.accessors: list[dict[str, Any]] = []
        self.views: list[dict[str, Any]] = []
        self.binary = bytearray()
        self._mesh_of: dict[tuple[str, str, bool], int | None] = {}
        self._material_of: dict[str, int] = {}
        self._title = job.title
        self._labels = job.labels
        self._judged = {s.name for s in job.scene.solids}
        self._build(job)

    def _build(self, job: Job) -> None:
        root = self._node(job.title)
        assemblies: dict[str, int] = {}
        for piece, _, solids in job.shown:
            if piece.assembly not in assemblies:
                assemblies[piece.assembly] = self._node(piece.assembly, root, kind="assembly")
            parent = self._node(
                piece.name, assemblies[piece.assembly], id=piece.name, kind="piece", family=piece.part.family
            )
            self.nodes[parent].update(placed(piece.pose))
            for solid in solids:
                self._solid(solid, parent)
        kept = [s for s in job.scene.solids if s.body.keep_out is not None]
        if kept:
            parent = self._node("keep-outs", root, kind="keep-outs")
            for solid in kept:
                self.nodes[self._solid(solid, parent)].update(placed(solid.pose))

    def _node(self, name: str, parent: int | None = None, **extras: Any) -> int:
        self.nodes.append({"name": name} | ({"extras": extras} if extras else {}))
        index = len(self.nodes) - 1
        if parent is not None:
            self.nodes[parent].setdefault("children", []).append(index)
        return index

    def _solid(self, solid: Solid, parent: int) -> int:
        keep_out = solid.body.keep_out
        judged = solid.name in self._judged
        more = {"id": solid.name} if judged else {}
        if keep_out is not None:
            more |= {"kind": "keep-out", "why": keep_out}
        else:
            more |= {"kind": "body" if judged else "look", "material": solid.body.material}
        node = self._node(solid.name, parent, **more)
        mesh = self._mesh(solid)
        if mesh is not None:
            self.nodes[node]["mesh"] = mesh
        return node

    def _mesh(self, solid: Solid) -> int | None:
        """The mesh of the solid's shape, written when first asked for; None where it has no triangle with an area."""
        key = (solid.shape.key, solid.body.name, solid.body.keep_out is not None)
        if key not in self._mesh_of:
            origin, normals, triangles = shaded(solid.mesh.vertices, solid.mesh.triangles)
            if len(triangles) == 0:
                self._mesh_of[key] = None
                return None
            positions = (solid.mesh.vertices[origin] @ TURN.T * METRES).astype("<f4") + np.float32(0.0)
            directions = (normals @ TURN.T).astype("<f4") + np.float32(0.0)
            # 65535 is left unused in 16 bits: it means "restart" to some graphics hardware.
            wide = len(positions) > 0xFFFF
            indices = triangles.astype("<u4" if wide else "<u2").reshape(-1)
            bounds = {
                "min": [float(v) for v in positions.min(axis=0)],
                "max": [float(v) for v in positions.max(axis=0)],
            }
            primitive = {
                "attributes": {
                    "POSITION": self._accessor(positions, _FLOAT, "VEC3", _ARRAY, bounds),
                    "NORMAL": self._accessor(directions, _FLOAT, "VEC3", _ARRAY, {}),
                },
                "indices": self._accessor(indices, _UINT if wide else _USHORT, "SCALAR", _ELEMENT, {}),
                "material": self._material(solid),
            }
            name = f"{self._labels[solid.shape.key]}/{solid.body.name}"
            self.meshes.append({"name": name, "primitives": [primitive]})
            self._mesh_of[key] = len(self.meshes) - 1
        return self._mesh_of[key]

    def _accessor(self, values: NDArray[Any], component: int, kind: str, target: int, bounds: dict[str, Any]) -> int:
        self.binary.extend(b"\0" * (-len(self.binary) % 4))
        data = values.tobytes()
        self.views.append({"buffer": 0, "byteOffset": len(self.binary), "byteLength": len(data), "target": target})
        self.binary.extend(data)
        self.accessors.append(
            {"bufferView": len(self.views) - 1, "componentType": component, "count": len(values), "type": kind} | bounds
        )
        return len(self.accessors) - 1

    def _material(self, solid: Solid) -> int:
        kept = solid.body.keep_out is not None
        name = "keep-out" if kept else solid.body.material
        if name not in self._material_of:
            self.materials.append(material(name, KEEP_OUT if kept else LOOKS[solid.body.material]))
            self._material_of[name] = len(self.materials) - 1
        return self._material_of[name]

    def encoded(self) -> bytes:
        """The file's bytes: header, JSON chunk padded with spaces, binary chunk padded with zeros."""
        document: dict[str, Any] = {
            "asset": {"version": "2.0", "generator": "elbowroom"},
            "scene": 0,
            "scenes": [{"name": self._title, "nodes": [0]}],
            "nodes": self.nodes,
        }
        self.binary.extend(b"\0" * (-len(self.binary) % 4))
        if self.meshes:
            document |= {
                "meshes": self.meshes,
                "materials": self.materials,
                "accessors": self.accessors,
                "bufferViews": self.views,
                "buffers": [{"byteLength": len(self.binary)}],
            }
        text = json.dumps(document, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode(
            "utf-8", "replace"
        )
        text += b" " * (-len(text) % 4)
        chunks = struct.pack("<II", len(text), _JSON_CHUNK) + text
        if self.binary:
            chunks += struct.pack("<II", len(self.binary), _BIN_CHUNK) + bytes(self.binary)
        return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks


def material(name: str, look: Look) -> dict[str, Any]:
    """A glTF material. What is seen through is drawn from both sides, since its far wall shows."""
    made: dict[str, Any] = {
        "name": name,
        "pbrMetallicRoughness": {
            "baseColorFactor": [*(round(c, 6) for c in look.linear), look.opacity],
            "metallicFactor": look.metalness,
            "roughnessFactor": look.roughness,
        },
    }
    return made | ({"alphaMode": "BLEND", "doubleSided": True} if look.opacity < 1 else {})


def placed(pose: Pose) -> dict[str, Any]:
    """The node properties of a pose: a move in metres and a turn as a quaternion (x, y, z, w), left out where none."""
    found: dict[str, Any] = {}
    move = [round(float(v), _NODE_PLACES) + 0.0 for v in TURN @ pose[:3, 3] * METRES]
    if any(move):
        found["translation"] = move
    turn = [round(v, _NODE_PLACES) + 0.0 for v in quaternion(TURN @ pose[:3, :3] @ TURN.T)]
    if turn != [0.0, 0.0, 0.0, 1.0]:
        found["rotation"] = turn
    return found


def quaternion(m: Floats) -> list[float]:
    """The unit quaternion (x, y, z, w) of a rotation matrix, from its largest component so that nothing cancels
    (Shepperd's method), with w >= 0.
    """
    trace = float(np.trace(m))
    q = np.zeros(4)
    i = int(np.argmax([m[0, 0], m[1, 1], m[2, 2], trace]))
    if i == 3:
        q[:] = (m[2, 1] - m[1, 2], m[0, 2] - m[2, 0], m[1, 0] - m[0, 1], 1.0 + trace)
    else:
        j, k = (i + 1) % 3, (i + 2) % 3
        q[i] = 1.0 + m[i, i] - m[j, j] - m[k, k]
        q[j], q[k], q[3] = m[j, i] + m[i, j], m[k, i] + m[i, k], m[k, j] - m[j, k]
    q /= np.linalg.norm(q)
    return [float(v) for v in (-q if q[3] < 0 else q)]
