"""What a watched run lets its watcher know, and file operations that a signal to end does not cut in two.

Owns the run's end of the pipe to the process that watches it, and the notes that go through it. Without a watcher they
go nowhere. The watcher is `command.supervise`.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

LISTENED = (signal.SIGINT, signal.SIGTERM, *((signal.SIGHUP,) if hasattr(signal, "SIGHUP") else ()))
PARENT_DEATH_SIGNAL, CHILD_SUBREAPER = 1, 36  # linux/prctl.h

_notes: int | None = None


def watched_by(pipe: int) -> None:
    """From now on notes go to the watcher at the other end of a pipe, and this process ends with it."""
    global _notes
    _notes = pipe
    prctl(PARENT_DEATH_SIGNAL, signal.SIGKILL)


def watched() -> bool:
    return _notes is not None


def note_writing(folder: Path, made: list[Path]) -> None:
    """Tell the watcher that files are being put into `folder`, and which folders were made for them."""
    _note(b"W", os.fsencode(folder.absolute()))
    for path in made:
        _note(b"M", os.fsencode(path.absolute()))


def note_written() -> None:
    """Tell the watcher that the folder is in order again."""
    _note(b"D", b"")


def note_work(what: str) -> None:
    """Tell the watcher what is being done, for when it has to say that it takes long."""
    _note(b"P", what.encode("utf-8", "replace")[:200])


def note_waiting() -> None:
    """Tell the watcher that the run waits for a person, so that it need not say how long it takes."""
    _note(b"I", b"")


@contextmanager
def undisturbed() -> Iterator[None]:
    """A few file operations that are carried through: a signal to end is kept until they are done."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    came: list[int] = []
    before = {s: signal.signal(s, lambda number, _: came.append(number)) for s in LISTENED}
    prctl(PARENT_DEATH_SIGNAL, 0)
    try:
        yield
    finally:
        if _notes is not None:
            prctl(PARENT_DEATH_SIGNAL, signal.SIGKILL)
        for number, handler in before.items():
            signal.signal(number, handler)
        for number in came[:1]:
            os.kill(os.getpid(), number)


def _note(kind: bytes, text: bytes) -> None:
    if _notes is not None:
        with contextlib.suppress(OSError):  # a full pipe: the watcher is stopped, and misses a note
            os.write(_notes, kind + text + b"\0")


def prctl(option: int, value: int) -> None:
    """Linux's process control; nothing where it is not known."""
    if sys.platform == "linux":
        import ctypes

        with contextlib.suppress(OSError, AttributeError):
            ctypes.CDLL(None).prctl(option, int(value), 0, 0, 0)
