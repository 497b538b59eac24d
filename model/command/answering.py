"""From one run of a command to its exit status: what each kind of fault is told as, and that nothing else is.

Owns the exit statuses, the streams (closed, cut off or full, they change nothing about an answer), the words for faults
of the input, of the machine and of elbowroom itself, and how a run that is being worked on shows it. The commands are
`cli`'s; the process they run in is `supervise`'s.
"""

from __future__ import annotations

import io
import os
import select
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import typer

from elbowroom.model.build.problems import BuildError, InputError, missing_library
from elbowroom.model.command.supervise import INTERNAL, STOPPED, own_fault, say, stopping, supervised
from elbowroom.model.told.progress import Early, Progress
from elbowroom.model.writers.noted import note_waiting, note_work

FITS, FAILS, BAD_INPUT, UNDECIDED = 0, 1, 2, 3
DEBUG = "ELBOWROOM_DEBUG"  # environment variable: where a fault of elbowroom's own happened is told in full

# A command line that cannot be understood, by whatever name the library at hand knows it.
_Unusable: type = typer.BadParameter.__mro__[2]


class _Lasting(io.RawIOBase):
    """A stream's file descriptor whose faults are kept and not raised: an answer stands whether or not it is read."""

    def __init__(self, descriptor: int) -> None:
        self.descriptor, self.fault = descriptor, None  # type: int, OSError | None

    def fileno(self) -> int:
        return self.descriptor

    def isatty(self) -> bool:
        return os.isatty(self.descriptor)

    def writable(self) -> bool:
        return True

    def write(self, data: object) -> int:
        view = memoryview(data)  # type: ignore[arg-type]
        if self.fault is not None:
            return view.nbytes
        try:
            return os.write(self.descriptor, view)
        except BlockingIOError:  # a pipe that does not wait by itself, and is full
            select.select([], [self.descriptor], [])
            return 0
        except OSError as e:
            self.fault = e
            return view.nbytes


def answer(app: typer.Typer) -> int:
    """Run the command that the command line names; the status to exit with."""
    out = _lasting_streams()
    return supervised(lambda: _printed(_guarded(lambda: _run(app)), out))


def _lasting_streams() -> _Lasting:
    """Standard output and error by streams that last; returns the first. UTF-8, whatever the machine is set to."""
    for descriptor in (0, 1, 2):  # one that is closed would be given to the next file that is opened
        try:
            os.fstat(descriptor)
        except OSError:
            os.open(os.devnull, os.O_RDWR)
    out, errors = _Lasting(1), _Lasting(2)
    sys.stdout = _text(out, line_buffering=os.isatty(1))
    sys.stderr = _text(errors, line_buffering=True)
    return out


def _text(raw: _Lasting, *, line_buffering: bool) -> io.TextIOWrapper:
    return io.TextIOWrapper(
        io.BufferedWriter(raw, 65536), encoding="utf-8", errors="replace", line_buffering=line_buffering
    )


def _run(app: typer.Typer) -> int:
    command = typer.main.get_command(app)
    try:
        with command.make_context("elbowroom", sys.argv[1:]) as context:
            command.invoke(context)
    except typer.Exit as e:
        return e.exit_code
    except Exception as e:
        if isinstance(e, _Unusable):
            e.show()  # type: ignore[attr-defined]
            return BAD_INPUT
        raise
    return FITS


def _printed(status: int, out: _Lasting) -> int:
    """The status, once what was printed is out: its own where the reader has gone, which changes no answer."""
    sys.stdout.flush()
    if out.fault is None or isinstance(out.fault, BrokenPipeError):
        return status
    say(f"cannot print the answer: {out.fault.strerror or out.fault}")
    return BAD_INPUT


def _guarded(run: Callable[[], int | None]) -> int:
    """What `run` returns; where it raises, the fault told and the status that stands for it."""
    try:
        return run() or FITS
    except SystemExit as e:
        return e.code if isinstance(e.code, int) else BAD_INPUT
    except BuildError as e:
        n = len(e.problems)
        say(f"{e}\n{n} problem{'s' if n != 1 else ''} in the input; nothing was checked or written")
        return BAD_INPUT
    except InputError as e:
        say(missing_library(str(e)) or str(e))
        return BAD_INPUT
    except (KeyboardInterrupt, typer.Abort):
        say("stopped; nothing was half-written")
        return STOPPED
    except MemoryError:
        say(own_fault("it needs more memory than it is given"))
        return INTERNAL
    except Exception as e:
        if stopping():  # a library that was being loaded words it in its own way
            say("stopped; nothing was half-written")
            return STOPPED
        told = missing_library(str(e)) if isinstance(e, ImportError) else None
        if told is not None:
            say(told)
            return BAD_INPUT
        if os.environ.get(DEBUG):
            import traceback

            say(traceback.format_exc())
        say(own_fault(_in_one_line(e)))
        return INTERNAL


def _in_one_line(fault: Exception, limit: int = 200) -> str:
    words = " ".join(f"{type(fault).__name__}: {fault}".split())
    return "".join(c if c.isprintable() else "?" for c in words[:limit])


@dataclass(frozen=True, slots=True)
class Work:
    """How far the work is, shown on a terminal and noted for the watcher. early: what is found before the rest; None
    where no person waits at a terminal.
    """

    early: Early | None
    shown: Progress | None

    def __call__(self, done: int, total: int, what: str) -> None:
        note_work(what)
        if self.shown is not None:
            self.shown(done, total, what)


def waiting() -> None:
    """From now on the run waits for a person: that it takes long is not worth a word."""
    note_waiting()


@contextmanager
def working() -> Iterator[Work]:
    """While it is going on, what is done is told."""
    from elbowroom.model.command.screen import screen

    with screen() as shown:
        yield Work(None, None) if shown is None else Work(shown.early, shown.step)
