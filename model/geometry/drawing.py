"""Drawing one part: its exact solids and their meshes as bytes, here or in a worker process.

Owns the form in which a drawn shape is kept, and the worker that `geometry.solidify` starts to draw several at
once. A worker is a plain child process that reads parts and writes shapes over its pipes: unlike a process pool it
never imports the caller's main script again.
"""

from __future__ import annotations

import io
import json
import pickle
import sys
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from elbowroom.model.geometry.scene import Mesh
from elbowroom.parts.imported import child
from elbowroom.parts.imported.mesh_file import MOST_TRIANGLES
from elbowroom.parts.vocabulary.base import Part

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
    from elbowroom.model.geometry.tessellate import tessellate
    from elbowroom.parts.vocabulary.draw import DrawError

    solids = part.drawn()
    missing = [b.name for b in part.bodies() if b.name not in solids]
    if missing or len(solids) != len(part.bodies()):
        raise DrawError(f"bodies drawn and bodies declared differ: {', '.join(missing) or 'too many were drawn'}")
    ordered = {b.name: solids[b.name].wrapped for b in part.bodies()}
    meshes = {name: tessellate(shape) for name, shape in ordered.items()}
    if is_foreign(part):
        faults = part.body_faults()  # type: ignore[attr-defined]
        meshes = {n: _bounded(replace(m, fault=faults.get(n, m.fault))) for n, m in meshes.items()}
    return Drawn(pack(meshes), brep_of(list(ordered.values())))


def is_foreign(part: Part) -> bool:
    """Whether a part is read from a file someone else made, which may be damaged, endless or made to do harm."""
    return part.path_field is not None


def stand_in(part: Part, why: str) -> dict[str, Mesh]:
    """The meshes of a user's part that could not be drawn: the box of each body, with the reason as its fault."""
    corners = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 0, 1], [1, 0, 1], [1, 1, 1], [0, 1, 1]], float)
    quads = [(0, 3, 2, 1), (4, 5, 6, 7), (0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7)]
    triangles = np.array([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))], dtype=np.int32)
    out = {}
    for name, box in part.body_boxes().items():  # type: ignore[attr-defined]
        lo, size = np.array(box.lo), np.array(box.size)
        out[name] = Mesh(lo + corners * size, triangles, 0.0, float(size.prod()), f"it could not be meshed: {why}")
    return out


def _bounded(mesh: Mesh) -> Mesh:
    """The mesh, with a fault if it is larger than can be judged in bounded time."""
    n = len(mesh.triangles)
    if n <= MOST_TRIANGLES or mesh.fault is not None:
        return mesh
    return replace(mesh, fault=f"its mesh has {n} triangles; more than {MOST_TRIANGLES} are not judged: simplify it")


def of_dimensions(fault: Exception) -> bool:
    """Whether a fault of drawing may be laid to the part's dimensions: the kernel's, and our refusals of a shape.

    A library that is missing, a disk that is full, memory that is short or a mistake of ours is not.
    """
    from elbowroom.parts.vocabulary.draw import DrawError

    kernel = type(fault).__module__.startswith("OCP") and type(fault).__name__ != "Standard_OutOfMemory"
    return kernel or isinstance(fault, (DrawError, ValueError, ArithmeticError))


def _own_mesh(vertices: Any, triangles: Any, fault: str | None) -> Mesh:
    """A user's mesh, which is its own truth: nothing is between it and the surface."""
    from elbowroom.model.geometry.meshes import fault_of, mesh_volume
    from elbowroom.model.geometry.narrow import coarse, crossing

    v = np.ascontiguousarray(vertices, dtype=np.float64)
    t = np.ascontiguousarray(triangles, dtype=np.int32)
    fault = fault or fault_of(v, t)
    volume = mesh_volume(v, t) if fault is None else 0.0
    if fault is None and volume <= 0:
        fault = "its triangles face inward"
    if fault is None:
        fault = crossing(v, t, volume) or coarse(v)
    return Mesh(v, t, 0.0, volume, fault)


def brep_of(shapes: list[Any]) -> bytes:
    """Exact solids (OCCT) in the kernel's own format."""
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


def request(part: Part) -> bytes:
    """A part as it is sent to a worker, with what was read of its file."""
    return pickle.dumps((part, part.held() if is_foreign(part) else None), protocol=pickle.HIGHEST_PROTOCOL)  # type: ignore[attr-defined]


def work() -> None:
    """Draw the parts that come in over standard input until it ends. Back goes ("drawn", meshes, exact solids),
    ("fault", why) where it lies in the part, ("broken", why) where it does not, or ("cannot", why).
    """
    pipe, requests = child.answers(), sys.stdin.buffer
    while True:
        try:
            (data,) = child.receive(requests)
        except EOFError:
            return
        try:
            part, held = pickle.loads(data)
        except Exception as fault:  # a part of a module that only the caller can import
            child.send(pipe, b"cannot", said(fault), b"")
            continue
        try:
            if is_foreign(part):
                _load_libraries(part)
                child.confine(child.FOREIGN)
                part.take(held)
            drawn = draw(part)
            answer = (b"drawn", drawn.meshes, drawn.brep or b"")
        except Exception as fault:
            kind = (
                b"broken" if of_machine(fault) else b"fault" if is_foreign(part) or of_dimensions(fault) else b"cannot"
            )
            answer = (kind, said(fault), b"")
        finally:
            child.release()
        child.send(pipe, *answer)


def said(fault: BaseException) -> bytes:
    """A fault in words."""
    return (str(fault) or type(fault).__name__).encode("utf-8", "replace")


def of_machine(fault: BaseException) -> bool:
    """Whether a fault of drawing is the machine's, or that of someone who stops it."""
    seen: BaseException | None = fault
    while seen is not None:
        if isinstance(seen, ImportError | MemoryError | OSError | SystemError | KeyboardInterrupt):
            return True
        seen = seen.__cause__ or seen.__context__
    return False


def _load_libraries(part: Part) -> None:
    """What drawing a user's part needs, before its memory is bounded."""
    import elbowroom.model.geometry.narrow

    if not getattr(part, "is_mesh", False):
        import cadquery  # noqa: F401

        import elbowroom.model.geometry.tessellate  # noqa: F401
