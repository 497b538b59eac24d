"""Layout -> Scene: every piece's bodies as meshes, drawn once for each distinct shape and kept on disk.

Owns what a shape's cache key covers, drawing what is missing (in two worker processes, largest first), and standing
the bodies in the case. Where everything is cached no kernel is loaded. Leaves how one part is drawn to `drawing`.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import queue
import subprocess
import sys
import threading
from collections.abc import Callable
from functools import cache
from importlib import metadata
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from elbowroom.model import tolerances
from elbowroom.model.drawing import FORM, Drawn, draw, receive, send, unpack
from elbowroom.model.layout import Layout, Piece
from elbowroom.model.problems import InputError
from elbowroom.model.scene import Mesh, Scene, Shape, Solid
from elbowroom.model.store import Store

Progress = Callable[[int, int, str], None]  # done, total, what

WORKERS = 2  # the build machine's cores; each costs the kernel's import (3 s), so more gain nothing on usual builds
POOL_FROM = 3  # fewer missing shapes than this are drawn in this process: starting workers would cost as much
POOL_FROM_LOADED = 24  # the same where this process has the kernel loaded already, and workers have not
_LIBRARIES = ("cadquery", "cadquery-ocp", "numpy")
_DRAWN_HERE = (
    "narrow.py", "drawing.py", "tessellate.py", "straying.py", "bending.py", "enclosure.py", "meshes.py",
)  # fmt: skip


class CannotDraw(InputError):
    """A piece's shape could not be drawn with the dimensions given."""

    def __init__(self, piece: Piece, reason: str) -> None:
        super().__init__(f"{piece.name}: the {piece.part.family} cannot be drawn with these dimensions: {reason}")
        self.piece = piece.name
        self.reason = reason


def solidify(layout: Layout, store: Store, progress: Progress | None = None) -> Scene:
    """The scene of a layout; raises CannotDraw naming the first piece whose shape cannot be drawn."""
    users: dict[str, Piece] = {}
    keys = []
    for piece in layout.pieces:
        key = shape_key(piece)
        keys.append(key)
        users.setdefault(key, piece)
    shapes = {key: found for key in users if (found := _kept(store, key)) is not None}
    missing = {key: piece for key, piece in users.items() if key not in shapes}
    if missing:
        shapes |= _draw_all(missing, store, progress)
    solids: list[Solid] = []
    for piece, key in zip(layout.pieces, keys, strict=True):
        shape = shapes[key]
        for body in piece.part.bodies():
            mesh = shape.meshes[body.name]
            lo, hi = _extents(mesh, piece.pose)
            solids.append(Solid(piece, body, shape, mesh, piece.pose, lo, hi))
    return Scene(layout, tuple(solids))


def shape_key(piece: Piece) -> str:
    """Content address of a piece's drawn shape: class, dimensions, code, libraries and tolerances."""
    kind = type(piece.part)
    text = f"{code_version()}|{kind.__module__}.{kind.__qualname__}|{piece.part.shape_key()}"
    return hashlib.blake2b(text.encode(), digest_size=16).hexdigest()


@cache
def code_version() -> str:
    """Digest of everything but the dimensions that a shape depends on."""
    import elbowroom.parts

    digest = hashlib.blake2b(digest_size=16)
    here = Path(__file__).parent
    files = [*sorted(Path(elbowroom.parts.__file__).parent.glob("*.py")), *(here / name for name in _DRAWN_HERE)]
    for path in files:
        digest.update(path.name.encode() + b"\0" + path.read_bytes())
    drawn_with: list[float | str] = [
        tolerances.CHORD_MM,
        tolerances.ANGLE_RAD,
        tolerances.CHORD_SAFETY,
        tolerances.WELD_MM,
        FORM,
    ]
    for name in _LIBRARIES:
        with contextlib.suppress(metadata.PackageNotFoundError):
            drawn_with.append(f"{name} {metadata.version(name)}")
    digest.update(repr(drawn_with).encode())
    return digest.hexdigest()


def _extents(mesh: Mesh, pose: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    if len(mesh.vertices) == 0:
        return pose[:3, 3].copy(), pose[:3, 3].copy()
    points = mesh.vertices @ pose[:3, :3].T
    return points.min(axis=0) + pose[:3, 3], points.max(axis=0) + pose[:3, 3]


# Cache ----------------------------------------------------------------------------------------------------------------


def _kept(store: Store, key: str) -> Shape | None:
    """A shape from memory or disk; None where it must be drawn."""
    shape: Shape | None = store.recall("shape", key)
    if shape is None:
        data = store.read(f"{key}.npz")
        if data is None:
            return None
        try:
            shape = Shape(key, unpack(data), _brep_path(store, key))
        except (ValueError, KeyError, TypeError, OSError):
            return None
        store.remember("shape", key, shape)
    return shape


def _brep_path(store: Store, key: str) -> Path | None:
    path = store.path(f"{key}.brep")
    return path if path.is_file() else None


def _keep(store: Store, key: str, drawn: Drawn) -> Shape:
    brep = None
    if drawn.brep is not None:
        brep = store.write_plain(f"{key}.brep", drawn.brep)
        store.write(f"{key}.sum", hashlib.blake2b(drawn.brep, digest_size=16).digest())
    store.write(f"{key}.npz", drawn.meshes)
    shape = Shape(key, unpack(drawn.meshes), brep)
    store.remember("shape", key, shape)
    return shape


# Drawing what is missing ----------------------------------------------------------------------------------------------


def _effort(piece: Piece) -> int:
    """A guess at the work of drawing a part, for the order: bodies, and the holes bored in them."""
    return len(piece.part.bodies()) + sum(len(p.holes) for p in piece.part.patterns())


def _draw_all(missing: dict[str, Piece], store: Store, progress: Progress | None) -> dict[str, Shape]:
    order = sorted(missing, key=lambda k: (-_effort(missing[k]), missing[k].name))
    shapes: dict[str, Shape] = {}
    faults: dict[str, str] = {}
    lock = threading.Lock()

    def done(key: str, drawn: Drawn) -> None:
        with lock:
            shapes[key] = _keep(store, key, drawn)
            if progress is not None:
                progress(len(shapes), len(order), f"drawing {missing[key].name}")

    if len(order) >= (POOL_FROM_LOADED if "cadquery" in sys.modules else POOL_FROM):
        _in_workers(order, missing, done, faults)
    for key in order:  # all, where there are few; else those that the workers could not take
        if key in shapes or key in faults:
            continue
        try:
            drawn = draw(missing[key].part)
        except Exception as fault:
            faults[key] = str(fault) or type(fault).__name__
        else:
            done(key, drawn)
    if faults:
        first = next(key for key in missing if key in faults)
        raise CannotDraw(missing[first], faults[first])
    return shapes


def _in_workers(
    order: list[str], missing: dict[str, Piece], done: Callable[[str, Drawn], None], faults: dict[str, str]
) -> None:
    """Draw in child processes; what they cannot take, or lose, is simply left undone."""
    jobs: queue.SimpleQueue[str] = queue.SimpleQueue()
    for key in order:
        jobs.put(key)

    same_modules = {**os.environ, "PYTHONPATH": os.pathsep.join(p or os.getcwd() for p in sys.path)}

    def drive() -> None:
        command = [sys.executable, "-c", "from elbowroom.model.drawing import work; work()"]
        try:
            child = subprocess.Popen(
                command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=same_modules
            )
        except OSError:
            return
        assert child.stdin is not None
        assert child.stdout is not None
        try:
            while True:
                try:
                    key = jobs.get_nowait()
                except queue.Empty:
                    return
                send(child.stdin, missing[key].part)
                kind, answer = receive(child.stdout)
                if kind == "drawn":
                    done(key, answer)
                elif kind == "fault":
                    faults[key] = answer
        except Exception:  # a worker that died, or a part that cannot be sent: it is drawn in this process
            return
        finally:
            with contextlib.suppress(OSError):
                child.stdin.close()
            child.stdout.close()
            child.terminate()
            child.wait()

    drivers = [threading.Thread(target=drive, daemon=True) for _ in range(min(WORKERS, len(order)))]
    for d in drivers:
        d.start()
    for d in drivers:
        d.join()
