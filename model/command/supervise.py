"""One run of a command in a process of its own, watched by the process that was called.

Owns what a program can do only from outside: stopping at once on Ctrl-C though the geometry kernel is in the middle of
a long call, leaving no worker behind, putting a folder in order that a killed run was writing to, telling a crash of
the kernel in one line, and saying so when a run takes long or much memory. What the run does is `cli`'s business.
"""

from __future__ import annotations

import contextlib
import math
import os
import select
import signal
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from elbowroom.model.build.problems import escaped
from elbowroom.model.writers import noted

INTERNAL = 70  # exit status of a fault of elbowroom's own (EX_SOFTWARE of BSD's sysexits.h; mark M)
STOPPED = 130  # exit status after Ctrl-C: 128 + SIGINT, as shells have it
PATIENCE_S = 2.0  # between being asked to stop and being made to
LONG_S, AGAIN_S = 30.0, 60.0  # a run that takes this long says so, and says so again
MUCH_BYTES = 1_500_000_000  # a run that holds more memory than this says so
_TICK_S = 0.25
_LOOK_S = 2.0  # between looks at the memory: one reads the state of every process there is

_stopping = False


def supervised(run: Callable[[], int]) -> int:
    """What `run` returns, run in a child process where the system can; the status where the child ends otherwise.

    Comes back in both processes, in each with the status to exit with.
    """
    if not hasattr(os, "fork") or threading.active_count() > 1 or noted.watched():
        return run()
    reading, writing = os.pipe()
    os.set_blocking(writing, False)
    watcher = os.getpid()
    signal.pthread_sigmask(signal.SIG_BLOCK, noted.LISTENED)
    try:
        child = os.fork()
    except OSError:  # no further process is allowed: do without
        os.close(reading)
        os.close(writing)
        signal.pthread_sigmask(signal.SIG_UNBLOCK, noted.LISTENED)
        return run()
    if child:
        os.close(writing)
        noted.prctl(noted.CHILD_SUBREAPER, 1)
        return _Watch(child, reading).status()
    os.close(reading)
    noted.watched_by(writing)
    if os.getppid() != watcher:
        os._exit(STOPPED)
    if signal.getsignal(signal.SIGINT) is not signal.SIG_IGN:  # as in the background of a shell
        signal.signal(signal.SIGINT, _once)
    try:
        signal.pthread_sigmask(signal.SIG_UNBLOCK, noted.LISTENED)
        return run()
    except KeyboardInterrupt:  # before the run had begun
        say("stopped; nothing was half-written")
        return STOPPED


def _once(number: int, frame: Any) -> None:
    """Ctrl-C in the run: the first one stops it, further ones would only disturb the tidying up."""
    global _stopping
    _stopping = True
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # Where it cannot be raised (in a library's callback), it is no use to anyone to read of it.
    sys.unraisablehook = _unheard
    threading.excepthook = _unheard
    raise KeyboardInterrupt


def _unheard(_: Any) -> None:
    pass


def stopping() -> bool:
    """Whether Ctrl-C has come: whatever fails from then on fails because of it."""
    return _stopping


class _Watch:
    """The watcher's side: waits for the run, passes signals on, and speaks where the run cannot."""

    def __init__(self, child: int, notes: int) -> None:
        self.child, self.notes = child, notes
        self.asked: int | None = None  # the signal that asked us to stop
        self.deadline: float | None = None
        self.rest = b""
        self.folder: Path | None = None
        self.made: list[Path] = []
        self.work = ""
        self.started = time.monotonic()
        self.next_word, self.next_look, self.much = LONG_S, 1.0, False
        for number in noted.LISTENED:
            if signal.getsignal(number) is not signal.SIG_IGN:  # as under nohup: it stays so
                signal.signal(number, self._ask)
        signal.pthread_sigmask(signal.SIG_UNBLOCK, noted.LISTENED)

    def _ask(self, number: int, frame: Any) -> None:
        self.asked = self.asked or number
        self.deadline = self.deadline or time.monotonic() + PATIENCE_S
        with contextlib.suppress(ProcessLookupError):
            os.kill(self.child, number)

    def status(self) -> int:
        ended = self._wait()
        self._read()
        _end_all()
        if self.folder is not None:
            from elbowroom.model.writers.atomic import put_in_order

            put_in_order(self.folder, self.made)
        if os.WIFEXITED(ended):
            return os.WEXITSTATUS(ended)
        if self.asked == signal.SIGINT:
            say("stopped; nothing was half-written")
            return STOPPED
        if self.asked is not None:  # end as the caller of kill expects
            signal.signal(self.asked, signal.SIG_DFL)
            os.kill(os.getpid(), self.asked)
        say(_crashed(os.WTERMSIG(ended)))
        return INTERNAL

    def _wait(self) -> int:
        """The wait status of the run, once it has ended."""
        while True:
            pid, ended = os.waitpid(self.child, os.WNOHANG)
            if pid:
                return ended
            self._read(_TICK_S)
            now = time.monotonic()
            if self.deadline is not None and now > self.deadline:
                with contextlib.suppress(ProcessLookupError):
                    os.kill(self.child, signal.SIGKILL)
            self._say_so(now - self.started)

    def _say_so(self, seconds: float) -> None:
        if seconds > self.next_word:
            if not os.isatty(2):  # a terminal has a bar that tells it
                doing = f" ({self.work})" if self.work else ""
                say(f"still at work after {self.next_word:.0f} s{doing}; Ctrl-C stops it, nothing half-written")
            self.next_word += AGAIN_S
        if self.much or seconds < self.next_look:
            return
        self.next_look = seconds + _LOOK_S
        if _memory(self.child) > MUCH_BYTES:
            self.much = True
            say(f"this run holds more than {MUCH_BYTES / 1e9:.1f} GB of memory")

    def _read(self, timeout: float = 0.0) -> None:
        """Take in what the run has noted; waits at most `timeout` seconds for the first of it."""
        if self.notes < 0:
            time.sleep(timeout)
            return
        while select.select([self.notes], [], [], timeout)[0]:
            data = os.read(self.notes, 65536)
            if not data:
                os.close(self.notes)
                self.notes = -1
                return
            *whole, self.rest = (self.rest + data).split(b"\0")
            for note in whole:
                self._take(note[:1], note[1:])
            timeout = 0.0

    def _take(self, kind: bytes, text: bytes) -> None:
        if kind == b"W":
            self.folder, self.made = Path(os.fsdecode(text)), []
        elif kind == b"M":
            self.made.append(Path(os.fsdecode(text)))
        elif kind == b"D":
            self.folder = None
        elif kind == b"P":
            self.work = text.decode("utf-8", "replace")
        elif kind == b"I":
            self.next_word = math.inf


def say(text: str) -> None:
    """A line for a person, on standard error; that nobody reads it changes nothing."""
    with contextlib.suppress(OSError, ValueError):
        # Names of files come into it, which may hold anything: nothing of it moves what is on a terminal.
        print("\n".join(map(escaped, text.split("\n"))), file=sys.stderr, flush=True)


def own_fault(what: str) -> str:
    """The line that tells a fault of elbowroom's own, and how to see more of it."""
    return (
        f"elbowroom: a fault of elbowroom itself, not of the build: {what}\n"
        "Nothing was half-written. ELBOWROOM_DEBUG=1 shows where it happened; please report it with the build file."
    )


def _crashed(number: int) -> str:
    name = signal.Signals(number).name if number in {s.value for s in signal.Signals} else f"signal {number}"
    if number == signal.SIGKILL:
        return own_fault(f"the run was killed from outside ({name}), as a system does that runs out of memory")
    return own_fault(f"the run crashed in the geometry kernel ({name})")


def _end_all() -> None:
    """End the workers that the run could not end itself; they are ours once it is gone, where the system has that."""
    while pids := _below(os.getpid()):
        for pid in pids:
            with contextlib.suppress(OSError):
                os.kill(pid, signal.SIGKILL)
        try:
            os.waitpid(-1, 0)
        except ChildProcessError:
            return


def _below(pid: int) -> list[int]:
    """The processes below `pid`, nearest first; none where the system does not list them as files.

    What was started in a session of its own is a person's, such as a browser, and not among them.
    """
    under: dict[int, list[int]] = {}
    session = os.getsid(0)
    for entry in Path("/proc").glob("[0-9]*/stat"):
        with contextlib.suppress(OSError, ValueError, IndexError):
            _, above, _, of, *_ = entry.read_bytes().rpartition(b")")[2].split()
            if int(of) == session:
                under.setdefault(int(above), []).append(int(entry.parent.name))
    found, queue = [], [pid]
    while queue:
        children = under.get(queue.pop(0), [])
        found += children
        queue += children
    return found


def _memory(pid: int) -> int:
    """Bytes that `pid` and the processes below it hold in memory; 0 where the system does not tell."""
    total = 0
    for p in (pid, *_below(pid)):
        with contextlib.suppress(OSError, ValueError, IndexError):
            total += int(Path(f"/proc/{p}/statm").read_bytes().split()[1]) * os.sysconf("SC_PAGE_SIZE")
    return total
