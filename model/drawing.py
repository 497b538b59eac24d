"""Drawing one part: its exact solids and their meshes as bytes, here or in a worker process.

Owns the form in which a drawn shape is kept, and the worker that `elbowroom.model.solidify` starts to draw several at
once. A worker is a plain child process that reads parts and writes shapes over its pipes: unlike a process pool it
never imports the caller's main script again.
"""

from __future__ import annotations

import io
import json
import os
import pickle
import struct
import sys
from dataclasses import dataclass
from typing import IO, Any

import numpy as np

from elbowroom.model.scene import Mesh
from elbowroom.parts.base import Part

FORM = 1  # version of the packed form below


@dataclass(frozen=True, slots=True)
class Drawn:
    """A drawn shape as bytes: meshes (npz), and the exact solids (the kernel's own format) where there are any."""

    meshes: bytes
    brep: bytes | None


def draw(part: Part) -> Drawn:
    """The part's bodies, drawn and tessellated; raises whatever the drawing raises."""
    if getattr(part, "is_mesh", False):
        own = part.meshes()  # type: ignore[attr-defined]
        return Drawn(pack({name: _own_mesh(*data) for name, data in own.items()}), None)
    from elbowroom.model.tessellate import tessellate
    from elbowroom.parts.draw import DrawError

    solids = part.solids()
    missing = [b.name for b in part.bodies() if b.name not in solids]
    if missing or len(solids) != len(part.bodies()):
        raise DrawError(f"bodies drawn and bodies declared differ: {', '.join(missing) or 'too many were drawn'}")
    ordered = {b.name: solids[b.name].wrapped for b in part.bodies()}
    return Drawn(pack({name: tessellate(shape) for name, shape in ordered.items()}), _brep(list(ordered.values())))


def of_dimensions(fault: Exception) -> bool:
    """Whether a fault of drawing may be laid to the part's dimensions: the kernel's, and our refusals of a shape.

    A library that is missing, a disk that is full, memory that is short or a mistake of ours is not.
    """
    from elbowroom.parts.draw import DrawError

    kernel = type(fault).__module__.startswith("OCP") and type(fault).__name__ != "Standard_OutOfMemory"
    return kernel or isinstance(fault, (DrawError, ValueError, ArithmeticError))


def _own_mesh(vertices: Any, triangles: Any, fault: str | None) -> Mesh:
    """A user's mesh, which is its own truth: nothing is between it and the surface."""
    from elbowroom.model.meshes import fault_of, mesh_volume
    from elbowroom.model.narrow import coarse, crossing

    v = np.ascontiguousarray(vertices, dtype=np.float64)
    t = np.ascontiguousarray(triangles, dtype=np.int32)
    fault = fault or fault_of(v, t)
    volume = mesh_volume(v, t) if fault is None else 0.0
    if fault is None and volume <= 0:
        fault = "its triangles face inward"
    if fault is None:
        fault = crossing(v, t, volume) or coarse(v)
    return Mesh(v, t, 0.0, volume, fault)


def _brep(shapes: list[Any]) -> bytes:
    from OCP.BinTools import BinTools
    from OCP.BRep import BRep_Builder
    from OCP.TopoDS import TopoDS_Compound

    compound, builder = TopoDS_Compound(), BRep_Builder()
    builder.MakeCompound(compound)
    for shape in shapes:
        builder.Add(compound, shape)
    out = io.BytesIO()
    BinTools.Write_s(compound, out)
    return out.getvalue()


def pack(meshes: dict[str, Mesh]) -> bytes:
    """Meshes as one npz file."""
    rows = []
    for name, m in meshes.items():
        faces = -1 if m.surfaces is None else len(m.surfaces)
        rows.append([name, len(m.vertices), len(m.triangles), faces, m.bound, m.volume_mm3, m.fault])
    text = json.dumps({"form": FORM, "bodies": rows}).encode()
    own = [m for m in meshes.values() if m.faces is not None and m.surfaces is not None]
    out = io.BytesIO()
    np.savez(
        out,
        bodies=np.frombuffer(text, dtype=np.uint8),
        vertices=np.concatenate([np.zeros((0, 3)), *(m.vertices for m in meshes.values())]),
        triangles=np.concatenate([np.zeros((0, 3), np.int32), *(m.triangles for m in meshes.values())]),
        faces=np.concatenate([np.zeros(0, np.int32), *(m.faces for m in own if m.faces is not None)]),
        surfaces=np.concatenate([np.zeros((0, 10)), *(m.surfaces for m in own if m.surfaces is not None)]),
    )
    return out.getvalue()


def unpack(data: bytes) -> dict[str, Mesh]:
    """The meshes in packed bytes; raises where they are not what `pack` wrote."""
    with np.load(io.BytesIO(data), allow_pickle=False) as f:
        head = json.loads(f["bodies"].tobytes())
        vertices, triangles, faces, surfaces = (f[k] for k in ("vertices", "triangles", "faces", "surfaces"))
    if head["form"] != FORM:
        raise ValueError("another form")
    meshes, v, t, n, s = {}, 0, 0, 0, 0
    for name, nv, nt, ns, bound, volume, fault in head["bodies"]:
        own = ns >= 0
        mesh = Mesh(
            vertices[v : v + nv], triangles[t : t + nt], bound, volume, fault,
            faces[n : n + nt] if own else None, surfaces[s : s + ns] if own else None,
        )  # fmt: skip
        if len(mesh.vertices) != nv or len(mesh.triangles) != nt:
            raise ValueError("too short")
        for array in (mesh.vertices, mesh.triangles, mesh.faces, mesh.surfaces):
            if array is not None:
                array.setflags(write=False)
        meshes[name] = mesh
        v, t = v + nv, t + nt
        if own:
            n, s = n + nt, s + ns
    return meshes


# The worker -----------------------------------------------------------------------------------------------------------


def send(pipe: IO[bytes], value: Any) -> None:
    """Write one value, its length first."""
    data = pickle.dumps(value, protocol=pickle.HIGHEST_PROTOCOL)
    pipe.write(struct.pack("<Q", len(data)) + data)
    pipe.flush()


def receive(pipe: IO[bytes]) -> Any:
    """Read one value; EOFError where the other end is gone."""
    head = pipe.read(8)
    if len(head) < 8:
        raise EOFError
    size = struct.unpack("<Q", head)[0]
    data = pipe.read(size)
    if len(data) < size:
        raise EOFError
    return pickle.loads(data)


def work() -> None:
    """Draw the parts that come in over standard input until it ends; ("drawn", Drawn) or ("fault", text) goes back."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # the kernel prints; that must not get among the answers
    requests = sys.stdin.buffer
    while True:
        try:
            part = receive(requests)
        except EOFError:
            return
        except Exception as fault:  # a part of a module that only the caller can import
            send(answers, ("cannot", str(fault)))
            continue
        try:
            send(answers, ("drawn", draw(part)))
        except Exception as fault:
            send(answers, ("fault" if of_dimensions(fault) else "cannot", f"{fault}" or type(fault).__name__))


if __name__ == "__main__":
    work()
