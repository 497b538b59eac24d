"""What the page shows, as one state: the words worked on, how far their check is, what was found, what was not written.

Owns that state and who is told of each change of it, the order of work - the quick look first, the whole answer after
it, both given up where the words have changed meanwhile - and what a change of a number means for the file. The state
is plain JSON values; the last good model stays in it whatever is wrong with the words.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from elbowroom.model.build.faults import Faults
from elbowroom.model.build.problems import BuildError
from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import parse, plain
from elbowroom.model.build.writing import MISSING, put, value_at
from elbowroom.model.heights.words import wishes_of, with_numbers
from elbowroom.model.view.desk import Desk, Refused
from elbowroom.model.view.numbers import around
from elbowroom.model.view.working import Worker

PATIENT_S = 3.0  # a quick look at words that have changed since is waited for no longer; by choice
MODELS = 3  # answers that are kept for a page to fetch
NOTES = 5  # of what happened that the page still tells

State = dict[str, Any]


class Room:
    """One build being looked at. Made in the loop that it is used in, and used in that alone."""

    def __init__(self, file: Path, worker: Callable[..., Worker] = Worker) -> None:
        self.desk = Desk(file)
        self.models: dict[int, bytes] = {}
        self._first, self._whole = worker("first", file, self._heard), worker("whole", file, self._heard)
        self._listeners: set[asyncio.Queue[State]] = set()
        self._pieces: dict[str, asyncio.Future[State]] = {}
        self._asked = 0
        self._n = 0  # of the words that were last looked at
        self._doing: State = {}
        self._stage = "checking"
        self._problems: list[State] = []
        self._found: State = {}  # what the last good answer said
        self._changes: State = {}
        self._kept: dict[str, str] = {}  # the findings of the last answer of each stage
        self._shown: State = {}  # the newest model: its number and stage
        self._lost = ""
        self._notes: list[str] = []
        self._since = time.monotonic()
        self._first_n = 0  # of the words that the quick look was last asked about
        self._unread = False  # the file could not be read when it was last looked at

    # What is shown -----------------------------------------------------------------------------------------------

    def state(self) -> State:
        """All that the page shows beside the model, which it fetches by its number."""
        desk = self.desk
        return {
            "file": desk.file.name, "n": self._n, "stage": self._stage, "doing": self._doing, "lost": self._lost,
            "problems": self._problems, "found": self._found, "changes": self._changes, "notes": self._notes,
            "model": self._shown, "unsaved": desk.difference(), "digest": desk.digest,
            "undo": desk.undo_words, "redo": desk.redo_words,
        }  # fmt: skip

    def listen(self) -> asyncio.Queue[State]:
        """A queue of the newest state: what a listener has not taken yet is replaced by what is newer."""
        queue: asyncio.Queue[State] = asyncio.Queue(1)
        queue.put_nowait(self.state())
        self._listeners.add(queue)
        return queue

    def unlisten(self, queue: asyncio.Queue[State]) -> None:
        self._listeners.discard(queue)

    @property
    def listeners(self) -> int:
        return len(self._listeners)

    def _show(self) -> None:
        state = self.state()
        for queue in self._listeners:
            if queue.full():
                queue.get_nowait()
            queue.put_nowait(state)

    # Work ------------------------------------------------------------------------------------------------------------

    def look(self) -> None:
        """Have the words as they are now checked."""
        self._n += 1
        self._stage, self._doing, self._lost, self._problems = "checking", {}, "", []
        self._since = time.monotonic()
        if self._whole.busy_for is not None:
            self._whole.end()
        waited = self._first.busy_for
        if waited is None:
            self._ask_first()
        elif waited > PATIENT_S:
            self._first.end()
            self._unanswered()
            self._ask_first()
        self._show()

    def end(self) -> None:
        """End all work."""
        self._first.end()
        self._whole.end()
        self._unanswered()

    async def piece(self, name: str) -> State:
        """The numbers of a piece of the words as they are now."""
        self._asked += 1
        key = f"piece {self._asked}"
        answer: asyncio.Future[State] = asyncio.get_running_loop().create_future()
        self._pieces[key] = answer
        self._first.ask("piece", {"n": key, "text": self.desk.text, "name": name})
        return await answer

    def _ask_first(self) -> None:
        self._first_n = self._n
        self._first.ask("look", self._question("first"))

    def _go_on(self) -> None:
        """Ask about the words as they are now, where they have changed while the quick look was busy."""
        if self._first.busy_for is None and self._first_n != self._n:
            self._ask_first()

    def _question(self, stage: str) -> State:
        """What is asked at a stage, with what was found at the last answer there."""
        return {"n": self._n, "text": self.desk.text, "before": self._kept.get(stage)}

    def _unanswered(self) -> None:
        for answer in self._pieces.values():
            if not answer.done():
                answer.set_result({"name": "", "numbers": [], "with": [], "whence": "", "lost": True})
        self._pieces.clear()

    def _heard(self, kind: str, told: State, data: bytes) -> None:
        """An answer of either process."""
        n = told.get("n")
        if isinstance(n, str):
            answer = self._pieces.pop(n, None)
            if answer is not None and not answer.done():
                answer.set_result(told if kind == "piece" else {"name": "", "numbers": [], "with": [], "whence": ""})
            if kind != "lost":
                self._go_on()
                return
        if kind == "doing":
            self._doing = told
            self._show()
            return
        if kind == "lost" and n is None:
            self._unanswered()
        if (n or self._first_n) != self._n:  # of words that have changed since
            self._go_on()
            return
        self._doing = {}
        if kind in ("first", "whole"):
            self._stage, self._problems = kind, []
            changes = told.pop("changes")
            self._found = told | {"seconds": round(time.monotonic() - self._since, 2)}
            self._changes = {"stage": kind, "told": changes} if changes or kind == "whole" else self._changes
            self._kept[kind] = data.decode()
        elif kind == "model":
            number = max(self.models, default=0) + 1
            self.models[number], self._shown = data, {"number": number, "stage": told["stage"]}
            for old in sorted(self.models)[:-MODELS]:
                del self.models[old]
            if told["stage"] == "first":
                self._whole.ask("look", self._question("whole"))
        elif kind == "wrong":
            self._stage, self._problems = "wrong", self._lined(told["problems"])
        else:
            self._stage, self._lost = "lost", str(told.get("said", ""))
        self._show()

    def _lined(self, problems: Sequence[State]) -> list[State]:
        lines = self.desk.text.splitlines()
        return [p | {"text": lines[p["line"] - 1] if 0 < p["line"] <= len(lines) else ""} for p in problems]

    # Changes ---------------------------------------------------------------------------------------------------------

    async def saved(self) -> None:
        """The file may have been saved by somebody: take it in where it has."""
        try:
            lost = self.desk.reread()
        except BuildError as e:
            self._n, self._stage, self._unread = self._n + 1, "wrong", True
            self._problems = [{"line": 0, "column": 0, "path": "", "said": p.message, "text": ""} for p in e.problems]
            self._show()
            return
        if lost is None and not self._unread:
            return
        self._unread = False
        for words in lost or ():
            self._note(f"the file was changed outside; lost: {words}")
        self.look()

    async def change(self, path: Sequence[str | int], typed: str, *, whole: Any = None, going_on: bool = False) -> bool:
        """Put what was typed at a path of the build; whether that changes anything. whole: what is written around it
        where nothing stands there yet.

        Raises BuildError with what is wrong with it, in which case nothing is changed.
        """
        at, value, desk = tuple(path), value_of(typed), self.desk
        if whole is not None and value_at(parse(desk.text), at[:-1]) is MISSING:
            at, value = around(at, whole, value)
        text = put(desk.text, at, value)
        await asyncio.to_thread(load_text, text, desk.file)
        if not desk.change(at, value, going_on=going_on):
            return False
        self._notes = []
        self.look()
        return True

    def move(self, how: Callable[[Desk], Any]) -> None:
        """Undo, redo or drop."""
        before = self.desk.text
        how(self.desk)
        self._notes = []
        if self.desk.text != before:
            self.look()
        else:
            self._show()

    def write(self, shown: str) -> None:
        """Write what is worked on into the file; see `Desk.write`."""
        try:
            self.desk.write(shown)
        finally:
            self._show()
        self._note(f"written: {self.desk.file.name}")
        self._show()

    def _note(self, words: str) -> None:
        self._notes = [*self._notes, words][-NOTES:]


def load_text(text: str, file: Path) -> None:
    """Raises BuildError with what is wrong with the words of a build, before any part of it is placed."""
    document = parse(text, str(file), file.parent)
    faults = Faults(document)
    wishes = wishes_of(document, faults)
    if wishes.heights or wishes.lifts or faults:
        faults.stop()
        document = with_numbers(document, wishes.trial())
    load(document)


def value_of(text: str) -> Any:
    """What a person typed for a number: a number, or text such as `236 ± 1` or `4.5 in`. Raises Refused for nothing."""
    words = text.strip()
    if not words:
        raise Refused("nothing is written there; a number is expected, such as 12.5 or 12.5 ± 0.2")
    return plain(words)
