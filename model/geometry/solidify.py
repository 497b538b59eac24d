"""Layout -> Scene: every piece's bodies as meshes, drawn once for each distinct shape and kept on disk.

Owns what a shape's cache key covers, drawing what is missing (in two worker processes, largest first; what comes from
a user's file there and nowhere else, within limits), and standing the bodies in the case. Where everything is cached no
kernel is loaded. Leaves how one part is drawn to `drawing`.
"""

from __future__ import annotations

import hashlib
import queue
import subprocess
import sys
import threading
from pathlib import Path

from elbowroom.model import digest
from elbowroom.model.build.problems import InputError
from elbowroom.model.geometry.drawing import (
    Drawn,
    draw,
    is_foreign,
    of_dimensions,
    of_machine,
    request,
    said,
    stand_in,
    unpack,
)
from elbowroom.model.geometry.scene import Mesh, Scene, Shape, Solid
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.store import Store
from elbowroom.model.told.progress import Progress
from elbowroom.parts.imported import child
from elbowroom.parts.vocabulary.arrays import Floats

WORKERS = 2  # the build machine's cores; each costs the kernel's import (3 s), so more gain nothing on usual builds
POOL_FROM = 3  # fewer missing shapes than this are drawn in this process: starting workers would cost as much
POOL_FROM_LOADED = 24  # the same where this process has the kernel loaded already, and workers have not
# A part of the catalogue with its dimensions: seconds at most. The bound is for the kernel that never comes back.
OWN = child.Limits(cpu=600, clock=600.0, memory=0)


class CannotDraw(InputError):
    """A piece's shape could not be drawn with the dimensions given."""

    def __init__(self, piece: Piece, reason: str) -> None:
        what = "its file" if piece.part.path_field else f"the {piece.part.family}"
        dimensions = "" if piece.part.path_field else " with these dimensions"
        super().__init__(f"{piece.name}: {what} cannot be drawn{dimensions}: {reason}")
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


def shape_of(piece: Piece, store: Store) -> Shape:
    """The shape of one piece; raises CannotDraw where it cannot be drawn."""
    key = shape_key(piece)
    found = _kept(store, key)
    return _draw_all({key: piece}, store, None)[key] if found is None else found


def shape_key(piece: Piece) -> str:
    """Content address of a piece's drawn shape: class, dimensions, code, libraries and tolerances."""
    kind = type(piece.part)
    text = f"{digest.version()}|{kind.__module__}.{kind.__qualname__}|{piece.part.shape_key()}"
    return hashlib.blake2b(text.encode(), digest_size=16).hexdigest()


def _extents(mesh: Mesh, pose: Floats) -> tuple[Floats, Floats]:
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


class _Drawing:
    """What is still to be drawn, and what came of it so far; shared by the threads that talk to the workers."""

    def __init__(self, missing: dict[str, Piece], store: Store, progress: Progress | None) -> None:
        self.missing, self._store, self._progress = missing, store, progress
        self.shapes: dict[str, Shape] = {}
        self.faults: dict[str, InputError] = {}
        self._lock = threading.Lock()

    def done(self, key: str, drawn: Drawn) -> None:
        with self._lock:
            self.shapes[key] = _keep(self._store, key, drawn)
            self._tell(key)

    def lost(self, key: str, why: str) -> None:
        """A user's part that cannot be drawn: its box stands in for it, and nothing is said of it but "unknown"."""
        with self._lock:
            shape = Shape(key, stand_in(self.missing[key].part, why))
            self._store.remember("shape", key, shape)  # in memory only: another run may have more time
            self.shapes[key] = shape
            self._tell(key)

    def failed(self, key: str, why: str, blame: bool) -> None:
        piece = self.missing[key]
        self.faults[key] = CannotDraw(piece, why) if blame else InputError(f"{piece.name}: it is not drawn: {why}")

    def open(self, key: str) -> bool:
        return key not in self.shapes and key not in self.faults

    def _tell(self, key: str) -> None:
        if self._progress is not None:
            self._progress(len(self.shapes), len(self.missing), f"drawing {self.missing[key].name}")


def _draw_all(missing: dict[str, Piece], store: Store, progress: Progress | None) -> dict[str, Shape]:
    order = sorted(missing, key=lambda k: (-_effort(missing[k]), missing[k].name))
    work = _Drawing(missing, store, progress)
    # What someone else made is never drawn in this process: it may end it.
    foreign = [k for k in order if is_foreign(missing[k].part)]
    many = len(order) >= (POOL_FROM_LOADED if "cadquery" in sys.modules else POOL_FROM)
    _in_workers(order if many else foreign, work)
    for key in order:  # all, where there are few; else those that the workers could not take
        if not work.open(key):
            continue
        if key in foreign:
            work.lost(key, "no process to draw it in can be started")
            continue
        try:
            drawn = draw(missing[key].part)
        except Exception as fault:
            if _stopped(fault):
                raise KeyboardInterrupt from fault
            if not of_machine(fault) and not of_dimensions(fault):
                raise  # a mistake of ours
            work.failed(key, said(fault).decode(), not of_machine(fault))
        else:
            work.done(key, drawn)
    if work.faults:
        raise work.faults[next(key for key in missing if key in work.faults)]
    return work.shapes


def _stopped(fault: BaseException | None) -> bool:
    """Whether a fault is what a library made of Ctrl-C."""
    while fault is not None:
        if isinstance(fault, KeyboardInterrupt):
            return True
        fault = fault.__cause__ or fault.__context__
    return False


def _in_workers(keys: list[str], work: _Drawing) -> None:
    """Draw in child processes; what they cannot take is simply left undone."""
    jobs: queue.SimpleQueue[str] = queue.SimpleQueue()
    for key in keys:
        jobs.put(key)

    def drive() -> None:
        worker = None
        try:
            while True:
                try:
                    key = jobs.get_nowait()
                except queue.Empty:
                    return
                if worker is None:
                    worker = child.start("elbowroom.model.geometry.drawing", "work")
                try:
                    _draw_in(worker, key, work)
                except child.Lost as end:
                    child.end(worker)
                    worker = None  # the next part gets another one
                    if is_foreign(work.missing[key].part):
                        work.lost(key, str(end))
                    else:
                        work.failed(key, str(end), blame=True)
        except Exception:  # no worker, or a part that cannot be sent: it is drawn in this process
            return
        finally:
            if worker is not None:
                child.end(worker)

    drivers = [threading.Thread(target=drive, daemon=True) for _ in range(min(WORKERS, len(keys)))]
    for d in drivers:
        d.start()
    for d in drivers:
        d.join()


def _draw_in(worker: subprocess.Popen[bytes], key: str, work: _Drawing) -> None:
    """Have a worker draw one part; `Lost` where it ends over it."""
    part = work.missing[key].part
    data = request(part)

    def ask() -> list[bytes]:
        assert worker.stdin is not None
        child.send(worker.stdin, data)
        return child.receive(child.out_of(worker))

    kind, first, second = child.within(worker, child.FOREIGN if is_foreign(part) else OWN, ask)
    if kind == b"drawn":
        work.done(key, Drawn(first, second or None))
    elif kind == b"fault" and is_foreign(part):
        work.lost(key, first.decode())
    elif kind in (b"fault", b"broken"):
        work.failed(key, first.decode(), blame=kind == b"fault")
