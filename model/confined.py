"""Exact work on what someone else drew: in a child process that may crash, loop or run out in place of this one.

Owns that child, what it is asked and answers, and which shapes it was lost over: those are not tried again in this
process, so that a file made to do harm costs its bound once. Own parts are worked on in process by
`elbowroom.model.exact`, which the child calls, too.
"""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from elbowroom.model.drawing import pack, said, unpack
from elbowroom.model.exact import ExactPair, finer_mesh, judge_exact, solids_in
from elbowroom.model.scene import Mesh
from elbowroom.parts import child

Array = NDArray[np.float64]

# What one question may take: a pair of ordinary parts takes tens of milliseconds, a large one a second. By choice.
LIMITS = child.Limits(cpu=30, clock=60.0, memory=child.FOREIGN.memory)


@dataclass(frozen=True, slots=True)
class Given:
    """One body as it is sent: the key of its shape, the bytes of the shape's file, and which of the solids in it."""

    key: str
    data: bytes
    index: int
    foreign: bool


class Confined:
    """The child, started when first asked. Safe to share between threads."""

    def __init__(self, limits: child.Limits = LIMITS) -> None:
        self._limits = limits
        self._worker: subprocess.Popen[bytes] | None = None
        self._lost: dict[str, str] = {}
        self._lock = threading.Lock()

    def pair(self, a: Given, b: Given, turn: Array, move: Array) -> ExactPair | None:
        """`judge_exact` of two bodies; `child.Lost` where no answer is to be had."""
        pose = np.hstack([turn, move.reshape(3, 1)]).tolist()
        (answer,) = self._ask((a, b), {"pose": pose})
        values = json.loads(answer)
        if values is None:
            return None
        volume, depth, distance, inner, p, q, square = values
        return ExactPair(
            float(volume), float(depth), float(distance), bool(inner), np.array(p, float), np.array(q, float),
            bool(square),
        )  # fmt: skip

    def finer(self, given: Given, factor: float) -> Mesh:
        """`finer_mesh` of a body; `child.Lost` where no answer is to be had."""
        (answer,) = self._ask((given,), {"finer": factor})
        return unpack(answer)["body"]

    def _ask(self, bodies: tuple[Given, ...], what: dict[str, Any]) -> list[bytes]:
        head = json.dumps({**what, "index": [g.index for g in bodies]}).encode()
        with self._lock:
            for g in bodies:
                if g.key in self._lost:
                    raise child.Lost(self._lost[g.key])
            try:
                return self._answer(head, [g.data for g in bodies])
            except child.Lost as end:
                self._lost.update((g.key, str(end)) for g in bodies if g.foreign)
                raise

    def _answer(self, head: bytes, blobs: list[bytes]) -> list[bytes]:
        worker = self._worker
        if worker is None or worker.poll() is not None:
            try:
                bounds = (str(self._limits.cpu), str(self._limits.memory))
                worker = self._worker = child.start("elbowroom.model.confined", "work", bounds)
            except OSError as fault:
                raise child.Lost(f"no process for it can be started ({fault})") from None

        def ask() -> list[bytes]:
            assert worker.stdin is not None
            child.send(worker.stdin, head, *blobs)
            return child.receive(child.out_of(worker))

        try:
            kind, *answer = child.within(worker, self._limits, ask)
        except child.Lost:
            child.end(worker)
            self._worker = None
            raise
        if kind != b"done":
            raise child.Lost(b" ".join(answer).decode("utf-8", "replace"))
        return answer


def work() -> None:
    """In the child: answer what comes in over standard input until it ends. Arguments: s and bytes for each answer."""
    pipe, requests = child.answers(), sys.stdin.buffer
    limits = child.Limits(cpu=int(sys.argv[1]), clock=0.0, memory=int(sys.argv[2]))
    import cadquery  # noqa: F401  the libraries, before the memory is bounded

    import elbowroom.model.tessellate  # noqa: F401

    while True:
        try:
            head, *blobs = child.receive(requests)
        except EOFError:
            return
        child.confine(limits)
        try:
            answer = (b"done", _done(json.loads(head), blobs))
        except Exception as fault:
            answer = (b"fault", said(fault))
        finally:
            child.release()
        child.send(pipe, *answer)


def _done(what: dict[str, Any], blobs: list[bytes]) -> bytes:
    solids = [solids_in(data)[index] for data, index in zip(blobs, what["index"], strict=True)]
    if "finer" in what:
        return pack({"body": finer_mesh(solids[0], float(what["finer"]))})
    pose = np.array(what["pose"], dtype=np.float64)
    a, b = solids
    found = judge_exact(a, b, np.ascontiguousarray(pose[:, :3]), np.ascontiguousarray(pose[:, 3]))
    if found is None:
        return b"null"
    return json.dumps(
        [found.volume_mm3, found.mean_depth, found.distance, found.inner, found.point_a.tolist(),
         found.point_b.tolist(), found.square]
    ).encode()  # fmt: skip
