"""The processes that check: one for what fails before tubes are laid, which must be quick, one for the whole answer.

Owns how such a process is asked and answers, and what it is given of the machine: a bound on its memory, and an end
when it holds too much after an answer. It can be ended at any moment, in the middle of a kernel's call: what it has
worked out is in the cache, and the next one goes on from there. A crash of it is an answer, too. What is done with the
answers is `room`'s.
"""

from __future__ import annotations

import asyncio
import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

from elbowroom.parts.imported import child

if TYPE_CHECKING:
    from elbowroom.model.geometry.scene import Scene
    from elbowroom.model.layout.layout import Piece
    from elbowroom.model.told.findings import Finding

# Bytes beyond what it has at its beginning, libraries and compiled loops included that it loads later. By choice: a
# check of the largest demo holds under 1 GB.
MEMORY = child.Limits(cpu=10**7, clock=0.0, memory=5000 * child.MEGABYTE)
MOST_HELD = 1_500_000_000  # bytes in memory after an answer, above which the process is ended and begun anew; by choice
EVERY_S = 0.25  # between two words of how far the work is

Said = tuple[str, dict[str, Any], bytes]  # kind, what is told, and a model as the page takes it, or kept findings
Answer = Callable[[str, dict[str, Any], bytes], None]
LAST = frozenset({"model", "piece", "wrong", "lost"})  # kinds after which a question is answered


class Worker:
    """One such process, started when it is first asked. stage: `first` or `whole`. heard: called in the loop it was
    made in, with each answer to what was asked last, and with how far the work is.
    """

    def __init__(self, stage: str, file: Path, heard: Answer) -> None:
        self.stage, self._file, self._heard = stage, file, heard
        self._process: subprocess.Popen[bytes] | None = None
        self._loop = asyncio.get_running_loop()
        self._sent = threading.Lock()
        self._open = 0  # requests without an answer
        self._begun = 0.0

    @property
    def busy_for(self) -> float | None:
        """Seconds since it was last asked something, while it has not answered all; None where it is free."""
        return time.monotonic() - self._begun if self._open else None

    def ask(self, kind: str, told: dict[str, Any]) -> None:
        """Have something worked out; what it was asked before and has not answered comes first."""
        process = self._process
        if process is None or process.poll() is not None:
            process = self._process = child.start(__name__, "work", (self.stage, str(self._file)))
            threading.Thread(target=self._listen, args=(process,), daemon=True).start()
        self._open, self._begun = self._open + 1, time.monotonic()
        request = json.dumps(told).encode("utf-8", "surrogatepass")
        threading.Thread(target=self._send, args=(process, kind.encode(), request), daemon=True).start()

    def end(self) -> None:
        """End the process, whatever it is doing; what it was asked is not answered any more."""
        process, self._process, self._open = self._process, None, 0
        if process is not None:
            process.kill()

    def _send(self, process: subprocess.Popen[bytes], *blobs: bytes) -> None:
        assert process.stdin is not None
        try:
            with self._sent:
                child.send(process.stdin, *blobs)
        except (OSError, ValueError):  # it is gone, which its other pipe tells
            return

    def _listen(self, process: subprocess.Popen[bytes]) -> None:
        try:
            while True:
                kind, told, model = child.receive(child.out_of(process))
                self._tell(process, kind.decode(), json.loads(told), model)
        except (EOFError, OSError, ValueError):
            status = process.wait()
            how = child.ending(status, MEMORY)
            self._tell(process, "lost", {"said": how}, b"")

    def _tell(self, process: subprocess.Popen[bytes], kind: str, told: dict[str, Any], model: bytes) -> None:
        try:
            self._loop.call_soon_threadsafe(self._take, process, kind, told, model)
        except RuntimeError:  # the loop has ended
            return

    def _take(self, process: subprocess.Popen[bytes], kind: str, told: dict[str, Any], model: bytes) -> None:
        if process is not self._process:  # of one that was ended
            return
        if kind in LAST:
            self._open = max(0, self._open - 1)
        if kind == "lost" or (told.get("held", 0) > MOST_HELD and not self._open):
            self.end()
        self._heard(kind, told, model)


# In the process ------------------------------------------------------------------------------------------------------


def work() -> None:
    """In the process: answer what comes in over standard input until it ends. Arguments: the stage, the build file."""
    pipe, requests = child.answers(), sys.stdin.buffer
    stage, file = sys.argv[1], Path(sys.argv[2])
    os.nice(0 if stage == "first" else 5)  # what is waited for goes before what follows
    child.confine(MEMORY)
    work = _Work(file, pipe)
    while True:
        try:
            kind, request = child.receive(requests)
        except EOFError:
            return
        asked = json.loads(request)
        for answer, told, data in work.answers(stage if kind == b"look" else "piece", asked):
            child.send(pipe, answer.encode(), _json(told | {"n": asked["n"], "held": _held()}), data)
        work.warm()


class _Work:
    """What the process does, with the session it keeps."""

    def __init__(self, file: Path, pipe: IO[bytes]) -> None:
        from elbowroom.model.session import Session
        from elbowroom.model.store import Store

        self.session, self.pipe = Session(file), pipe
        self.drawn, self.packed = Store(self.session.store.folder), dict[Any, Any]()
        self.told_at, self.warmed = 0.0, False
        self.screwed: tuple[Piece, ...] = ()  # the pieces of the last quick look, screws among them

    def answers(self, kind: str, asked: dict[str, Any]) -> Iterator[Said]:
        from elbowroom.model.build.problems import BuildError, InputError

        try:
            yield from {"first": self.first, "whole": self.whole, "piece": self.piece}[kind](asked)
        except BuildError as e:
            problems = [{"line": p.mark.line, "column": p.mark.column, "path": ".".join(map(str, p.path)),
                         "said": p.message} for p in e.problems]  # fmt: skip
            yield "wrong", {"problems": problems}, b""
        except InputError as e:
            yield "wrong", {"problems": [{"line": 0, "column": 0, "path": "", "said": str(e)}]}, b""
        except MemoryError:
            yield "lost", {"said": "it needs more memory than it is given"}, b""
        except Exception as e:
            said = " ".join(f"a fault of elbowroom itself: {type(e).__name__}: {e}".split())[:300]
            if os.environ.get("ELBOWROOM_DEBUG"):
                import traceback

                said = traceback.format_exc()
            yield "lost", {"said": said}, b""

    def doing(self, done: int, total: int, what: str) -> None:
        now = time.monotonic()
        if now - self.told_at > EVERY_S:
            self.told_at = now
            child.send(self.pipe, b"doing", _json({"what": what, "done": done, "total": total}), b"")

    def first(self, asked: dict[str, Any]) -> Iterator[Said]:
        """What fails of parts, holes and screws, and those as a model."""
        found = self.session.outlook(progress=self.doing, text=asked["text"])
        self.screwed = found.scene.layout.pieces
        yield from self._told("first", found.scene, found.failing, asked.get("before"))

    def whole(self, asked: dict[str, Any]) -> Iterator[Said]:
        """The whole answer, and its model."""
        from elbowroom.model import pipeline

        checked = self.session.check(progress=self.doing, text=asked["text"]).checked
        spaces = partial(pipeline.reach_solids, checked, self.session.store)
        yield from self._told("whole", checked.scene, checked.findings, asked.get("before"), spaces)

    def _told(
        self, stage: str, scene: Scene, findings: list[Finding], before: str | None, reach: Any = None
    ) -> Iterator[Said]:
        """What was found, and since `before`, the findings of an earlier answer, at once; then the model of it."""
        from elbowroom.model.page.contents import said_first
        from elbowroom.model.page.document import data_text
        from elbowroom.model.page.packing import QUICK, Pack
        from elbowroom.model.session import changed
        from elbowroom.model.told import kept_findings
        from elbowroom.model.writers import html
        from elbowroom.model.writers.job import Job

        words = said_first(findings)
        if stage == "first":
            words |= early_words(words)
        since = () if before is None else kept_findings.unpack(before.encode())
        changes = [] if before is None else changed({f.id: f for f in since}, {f.id: f for f in findings})
        head = words | {"build": scene.layout.title, "stage": stage}
        yield stage, head | {"changes": _changes(changes)}, kept_findings.pack(findings)
        job = Job(scene, findings, self.session.store.folder, reach=reach, drawn=self.drawn)
        told, pack = html.told(job, Pack(kept=self.packed))
        model = _json({"contents": data_text(told | words, QUICK), "meshes": pack.text(QUICK)})
        yield "model", {"stage": stage}, model

    def piece(self, asked: dict[str, Any]) -> Iterator[Said]:
        """The numbers of a piece, and what it comes from where it has none."""
        from elbowroom.model import pipeline
        from elbowroom.model.build.faults import Faults
        from elbowroom.model.build.resolve import load
        from elbowroom.model.build.source import Document, parse
        from elbowroom.model.build.writing import value_at
        from elbowroom.model.heights.words import wishes_of, with_numbers
        from elbowroom.model.layout.layout import Layout
        from elbowroom.model.layout.place import placed as place
        from elbowroom.model.view import numbers
        from elbowroom.model.view.ways import with_ways

        text, name = asked["text"], asked["name"]
        document = parse(text, str(self.session.file), self.session.file.parent)
        found = pipeline.of_document(document, self.session.store).placed
        left_open = wishes_of(document, Faults(document)).trial()
        heights = {path: value_at(found.build.document, path) for path in left_open}

        def placed(d: Document) -> Layout:
            """Heights left open stay what they were found to be: looking for them anew would take too long."""
            return place(load(with_numbers(d, heights) if heights else d)).layout

        piece = next((p for p in (*found.layout.pieces, *self.screwed) if p.name == name), None)
        if piece is None:
            yield "piece", {"name": name, "numbers": [], "with": [], "whence": numbers.LAID}, b""
            return
        own = with_ways(numbers.numbers_of(found.build, document, piece), text, document, piece, placed)
        entry = numbers.entry_of(found.build, piece)
        alike = [p.name for p in found.layout.pieces if p is not piece and numbers.entry_of(found.build, p) is entry]
        told = {
            "name": name, "numbers": [n.json() for n in own], "with": alike if entry is not None else [],
            "whence": numbers.whence(piece),
        }  # fmt: skip
        yield "piece", told, b""

    def warm(self) -> None:
        """Load, once the first answer is out, what an answer after a change may need and the first did not."""
        if not self.warmed:
            self.warmed = True
            import cadquery  # noqa: F401


TO_COME = "ports, tubes, air and coolant are still being checked"


def early_words(told: dict[str, Any]) -> dict[str, Any]:
    """What is said of a build before the whole answer: never that it fits."""
    if told["verdict"] == "fails":
        return {"sentence": f"{told['sentence']}; {TO_COME}"}
    return {"verdict": "unknown", "said": "Nothing fails so far", "sentence": TO_COME}


def _changes(found: Sequence[Any]) -> list[dict[str, Any]]:
    """What became of findings, without those that are well before and after."""
    from elbowroom.model.told.findings import WELL, rounded
    from elbowroom.model.told.headlines import headline

    out = []
    for c in found:
        if all(f is None or f.verdict in WELL for f in (c.was, c.now)):
            continue
        f = c.either
        out.append({
            "id": f.id, "what": c.what, "headline": headline(f), "better": c.better, "by": c.by, "unit": f.unit,
            "follows": f.cause is not None,
            **{when: None if g is None else {"verdict": g.verdict, "measured": rounded(g.measured)}
               for when, g in (("was", c.was), ("now", c.now))},
        })  # fmt: skip
    return out


def _json(told: dict[str, Any]) -> bytes:
    return json.dumps(told, allow_nan=False).encode("ascii")


def _held() -> int:
    """Bytes this process holds in memory; 0 where the system does not tell."""
    try:
        return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")
    except (OSError, ValueError, IndexError):
        return 0
