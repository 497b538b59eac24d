"""Exact work on what someone else drew: in a child process that may crash, loop or run out in place of this one.

Owns that child, how it is asked and answers, and which shapes it was lost over: those are not tried again in this
process, so that a file made to do harm costs its bound once. What it does is a function named by its module; own parts
are worked on in process by the same code. What comes back is taken as plain bytes, never as objects.
"""

from __future__ import annotations

import json
import pickle
import subprocess
import sys
import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from importlib import import_module
from typing import Any

import numpy as np

from elbowroom.model.geometry.drawing import brep_of, is_foreign, pack, request, said, unpack
from elbowroom.model.geometry.exact import ExactPair, bodies, finer_mesh, judge_exact, kept, solids_in
from elbowroom.model.geometry.scene import Mesh, Shape
from elbowroom.model.store import Store
from elbowroom.parts.imported import child
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.base import Part

# What one question may take: a pair of ordinary parts takes tens of milliseconds, a large one a second. By choice.
LIMITS = child.Limits(cpu=30, clock=60.0, memory=child.FOREIGN.memory)


@dataclass(frozen=True, slots=True)
class Given:
    """A shape as it is sent: its key, the bytes of its solids or, undrawn, the part itself, and which body is meant."""

    key: str
    data: bytes = field(repr=False)
    index: int
    foreign: bool
    drawn: bool = True


def given(shape: Shape, part: Part, store: Store, body: str | None = None) -> Given | None:
    """A shape as the child is sent it; None of a user's mesh, and of a user's shape that could not be drawn.

    body: the one that is meant, the first where None.
    """
    if all(m.surfaces is None for m in shape.meshes.values()):
        return None
    index = 0 if body is None else list(shape.meshes).index(body)
    data = kept(shape, store)
    if data is None and is_foreign(part):
        return Given(shape.key, request(part), index, True, drawn=False)
    if data is None:
        data = brep_of(list((bodies(shape, part, store) or {}).values()))
    return Given(shape.key, data, index, is_foreign(part))


def drawn_solids(data: bytes, drawn: bool) -> list[Any]:
    """In the child: the solids of a shape that was sent, in the order of its bodies."""
    if drawn:
        return solids_in(data)
    part, held = pickle.loads(data)  # our own parent's
    if held is not None:
        part.take(held)
    made = part.drawn()
    return [made[b.name].wrapped for b in part.bodies()]


class Confined:
    """The child, started when first asked. Safe to share between threads."""

    def __init__(self, limits: child.Limits = LIMITS) -> None:
        self._limits = limits
        self._worker: subprocess.Popen[bytes] | None = None
        self._lost: dict[str, str] = {}
        self._lock = threading.Lock()

    def pair(self, a: Given, b: Given, turn: Floats, move: Floats) -> ExactPair | None:
        """`judge_exact` of two bodies; `child.Lost` where no answer is to be had."""
        pose = np.hstack([turn, move.reshape(3, 1)])
        values = json.loads(self.ask((a, b), __name__, "pair_told", pose))
        if values is None:
            return None
        volume, depth, distance, inner, p, q, square = values
        return ExactPair(
            float(volume), float(depth), float(distance), bool(inner), np.array(p, float), np.array(q, float),
            bool(square),
        )  # fmt: skip

    def finer(self, given: Given, factor: float) -> Mesh:
        """`finer_mesh` of a body; `child.Lost` where no answer is to be had."""
        return unpack(self.ask((given,), __name__, "finer_told", factor))["body"]

    def ask(self, shapes: Sequence[Given], module: str, function: str, wanted: object) -> bytes:
        """What `function` of `module` answers of the shapes' solids and what is wanted; `child.Lost` where it does not.

        The function takes the shapes, each a list of its solids with the body that is meant first, and `wanted`.
        """
        task = pickle.dumps((module, function, wanted, list(shapes)), protocol=pickle.HIGHEST_PROTOCOL)
        with self._lock:
            for g in shapes:
                if g.key in self._lost:
                    raise child.Lost(self._lost[g.key])
            try:
                return self._answer(task)
            except child.Lost as end:
                self._lost.update((g.key, str(end)) for g in shapes if g.foreign)
                raise

    def close(self) -> None:
        """End the child; it is started again when next asked."""
        with self._lock:
            if self._worker is not None:
                child.end(self._worker)
                self._worker = None

    def _answer(self, task: bytes) -> bytes:
        worker = self._worker
        if worker is None or worker.poll() is not None:
            try:
                bounds = (str(self._limits.cpu), str(self._limits.memory))
                worker = self._worker = child.start("elbowroom.model.geometry.confined", "work", bounds)
            except OSError as fault:
                raise child.Lost(f"no process for it can be started ({fault})") from None

        def ask() -> list[bytes]:
            assert worker.stdin is not None
            child.send(worker.stdin, task)
            return child.receive(child.out_of(worker))

        try:
            kind, answer = child.within(worker, self._limits, ask)
        except child.Lost:
            child.end(worker)
            self._worker = None
            raise
        if kind != b"done":
            raise child.Lost(answer.decode("utf-8", "replace"))
        return answer


def work() -> None:
    """In the child: answer what comes in over standard input until it ends. Arguments: s and bytes for each answer."""
    pipe, requests = child.answers(), sys.stdin.buffer
    limits = child.Limits(cpu=int(sys.argv[1]), clock=0.0, memory=int(sys.argv[2]))
    import cadquery  # noqa: F401  the libraries, before the memory is bounded

    import elbowroom.model.geometry.tessellate  # noqa: F401

    while True:
        try:
            (task,) = child.receive(requests)
        except EOFError:
            return
        module, function, wanted, shapes = pickle.loads(task)
        does = getattr(import_module(module), function)
        child.confine(limits)
        try:
            answer = (b"done", does([_meant_first(g) for g in shapes], wanted))
        except Exception as fault:
            answer = (b"fault", said(fault))
        finally:
            child.release()
        child.send(pipe, *answer)


def _meant_first(given: Given) -> list[Any]:
    solids = drawn_solids(given.data, given.drawn)
    return [solids[given.index], *(s for i, s in enumerate(solids) if i != given.index)]


def pair_told(shapes: list[list[Any]], pose: Floats) -> bytes:
    """In the child: `judge_exact` of two bodies."""
    (a, *_), (b, *_) = shapes
    found = judge_exact(a, b, np.ascontiguousarray(pose[:, :3]), np.ascontiguousarray(pose[:, 3]))
    if found is None:
        return b"null"
    return json.dumps(
        [found.volume_mm3, found.mean_depth, found.distance, found.inner, found.point_a.tolist(),
         found.point_b.tolist(), found.square]
    ).encode()  # fmt: skip


def finer_told(shapes: list[list[Any]], factor: float) -> bytes:
    """In the child: `finer_mesh` of a body."""
    return pack({"body": finer_mesh(shapes[0][0], factor)})


def confined(store: Store) -> Confined:
    """The store's child: one for all that is asked in this process."""
    found: Confined | None = store.recall("confined", "")
    if found is None:
        found = Confined()
        store.remember("confined", "", found)
    return found
