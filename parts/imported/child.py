"""Child processes: started so that nothing in the current folder can run in them, bounded, and gone with their parent.

Owns the command a child is started with, its limits of memory and of computing time, and how its end is put into
words. A build comes from someone else, and Python looks for modules in the current folder first: a `json.py` beside a
build would be run. So a child is isolated (`-I`: no current folder, no PYTHONPATH, no user site) and is handed its
parent's module path without that folder. It runs in the root folder, so that no library's settings file is read from
beside the build either. Leaves what is done in a child to its callers.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import signal
import struct
import subprocess
import sys
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO

try:
    import resource
except ImportError:  # not on every system; there the time limit of the parent alone bounds a child
    resource = None  # type: ignore[assignment]

MEGABYTE = 1024**2
MOST_ANSWER = 2**32  # bytes of one answer: longer is no answer of ours. Bound by choice
_DIES_WITH_PARENT = 1  # PR_SET_PDEATHSIG of Linux's prctl(2) (V)
_GRACE = 5.0  # s in which a process that has closed its pipe comes to its end


@dataclass(frozen=True, slots=True)
class Limits:
    """What one task may take: s of computing time, s by the clock, bytes of memory beyond the libraries' own."""

    cpu: int
    clock: float
    memory: int


# For the files of others. Bound by choice, so that a process with its libraries stays under 2 GB.
FOREIGN = Limits(cpu=60, clock=150.0, memory=1400 * MEGABYTE)


def start(module: str, function: str, arguments: Sequence[str] = ()) -> subprocess.Popen[bytes]:
    """A child that calls `function` of `module`; its standard input and output are pipes, what it prints is dropped.

    OSError where it cannot be started.
    """
    call = (
        f"import sys; sys.path[:] = {module_path()!r} + sys.path; "
        f"from {__name__} import leash; leash({os.getpid()}); from {module} import {function}; {function}()"
    )
    plain = ["-B"] if sys.dont_write_bytecode else []
    if sys.pycache_prefix:  # isolated, it would not see the variable that says so
        plain += ["-X", f"pycache_prefix={sys.pycache_prefix}"]
    # One thread for the linear algebra: it reserves memory for each, which would count against the limit.
    return subprocess.Popen(
        [sys.executable, "-I", *plain, "-c", call, *arguments],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        cwd=os.sep, env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )  # fmt: skip


def module_path() -> list[str]:
    """This process's folders of modules without the current one, unless it is where this package itself lies."""
    here = os.path.realpath(os.getcwd())
    ours = str(Path(__file__).resolve().parents[3])
    folders = [p for p in sys.path if os.path.isabs(p)]
    return [p for p in folders if os.path.realpath(p) != here or os.path.realpath(p) == ours]


def leash(parent: int) -> None:
    """Called first in a child: it dies with its parent, leaves Ctrl-C to it, and writes no image of its memory."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(_DIES_WITH_PARENT, signal.SIGKILL, 0, 0, 0)
    if os.name == "posix" and os.getppid() != parent:  # it died before the line above
        os._exit(1)
    if resource is not None:
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def confine(limits: Limits) -> None:
    """Bound this process from here on, beyond what it has taken so far; call after the libraries are loaded."""
    if resource is None:
        return
    used = resource.getrusage(resource.RUSAGE_SELF)
    seconds = int(used.ru_utime + used.ru_stime) + 1 + limits.cpu
    for kind, wanted in ((resource.RLIMIT_CPU, seconds), (resource.RLIMIT_AS, _address_space() + limits.memory)):
        hard = resource.getrlimit(kind)[1]
        with contextlib.suppress(ValueError, OSError):
            resource.setrlimit(kind, (wanted if hard == resource.RLIM_INFINITY else min(wanted, hard), hard))


def release() -> None:
    """Take back the bounds of `confine`."""
    if resource is not None:
        for kind in (resource.RLIMIT_CPU, resource.RLIMIT_AS):
            hard = resource.getrlimit(kind)[1]
            resource.setrlimit(kind, (hard, hard))


def _address_space() -> int:
    """Bytes of address space in use; 1 GB, the kernel's libraries, where the system does not tell."""
    try:
        return int(Path("/proc/self/statm").read_text().split()[0]) * os.sysconf("SC_PAGE_SIZE")
    except (OSError, ValueError, IndexError):
        return 1024 * MEGABYTE


def ending(status: int | None, limits: Limits) -> str:
    """How a child ended that gave no answer, in a few words; status None: it was stopped when its time was up."""
    if status is None:
        return f"it took more than {limits.clock:g} s"
    if status == -signal.SIGXCPU:
        return f"it took more than {limits.cpu} s of computing time"
    if status < 0:
        return f"the geometry kernel crashed on it (signal {-status})"
    return f"the geometry kernel stopped on it, perhaps for want of memory (status {status})"


# Messages: a child that reads what others wrote is only ever sent objects; its answers are taken as plain bytes. ------


def send(pipe: IO[bytes], *blobs: bytes) -> None:
    """Write one message of several byte strings, their lengths first."""
    head = struct.pack(f"<I{len(blobs)}Q", len(blobs), *(len(b) for b in blobs))
    for part in (head, *blobs):
        pipe.write(part)
    pipe.flush()


def receive(pipe: IO[bytes]) -> list[bytes]:
    """Read one message; EOFError where the other end is gone, or sends none of ours."""
    count = struct.unpack("<I", _whole(pipe, 4))[0]
    if count > 16:
        raise EOFError
    sizes = struct.unpack(f"<{count}Q", _whole(pipe, 8 * count))
    if sum(sizes) > MOST_ANSWER:
        raise EOFError
    return [_whole(pipe, size) for size in sizes]


def _whole(pipe: IO[bytes], size: int) -> bytes:
    data = pipe.read(size)
    if len(data) < size:
        raise EOFError
    return data


def answers() -> IO[bytes]:
    """In a child: the pipe for its answers. What the kernel prints from here on goes where errors do."""
    own = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    return own


def within(child: subprocess.Popen[bytes], limits: Limits, ask: Callable[[], list[bytes]]) -> list[bytes]:
    """The answer that `ask` gets from a child; `Lost` where the child ends or the clock runs out before it does."""
    late = threading.Event()

    def stop() -> None:
        late.set()
        child.kill()

    timer = threading.Timer(limits.clock, stop)
    timer.daemon = True
    timer.start()
    try:
        return ask()
    except (EOFError, OSError):
        try:
            status = child.wait(_GRACE)
        except subprocess.TimeoutExpired:  # it closed its pipe and stays
            child.kill()
            status = child.wait()
        raise Lost(ending(None if late.is_set() else status, limits)) from None
    finally:
        timer.cancel()


class Lost(Exception):
    """A child gave no answer; the message says how it ended."""


def out_of(child: subprocess.Popen[bytes]) -> IO[bytes]:
    """The pipe that a child's answers come from."""
    assert child.stdout is not None
    return child.stdout


def end(child: subprocess.Popen[bytes]) -> None:
    """Close a child's pipes and wait until it has gone."""
    for pipe in (child.stdin, child.stdout):
        if pipe is not None:
            with contextlib.suppress(OSError):
                pipe.close()
    child.kill()
    child.wait()
