"""One run of the page's server: from a build file to Ctrl-C.

Owns the address, the browser that is opened with it, the watch over the file's folder, and how it all ends. Who is
answered is `serving`'s, what is shown `room`'s.
"""

from __future__ import annotations

import asyncio
import contextlib
import secrets
import socket
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import FrameType

import uvicorn
from watchfiles import Change, awatch

from elbowroom.model.view.room import Room
from elbowroom.model.view.serving import TOKEN_BYTES, application

LOOPBACK = "127.0.0.1"
SETTLE_MS, STEP_MS = 60, 20  # an editor's save is over once nothing has happened for that long; looked at that often
EMPTY_S = 0.15  # after which a file that holds nothing is looked at again: some editors empty it before they write it
GOODBYE_S = 1  # that open answers are given at the end, before they are cut off
PARTS = (".step", ".stp", ".stl")  # files beside a build that it may use


class _Server(uvicorn.Server):
    """A server that says when it is asked to end, so that streams without an end do not hold it up."""

    def __init__(self, config: uvicorn.Config, ending: Callable[[], None]) -> None:
        super().__init__(config)
        self._ending = ending

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        self.should_exit = True
        self._ending()


def view(file: Path, *, browser: bool, port: int, said: Callable[[str], None]) -> list[str]:
    """Serve the page of a build file until Ctrl-C; the changes that were not written, a line each. said: told the
    address, once it is answered.

    Raises BuildError where there is no such file, OSError where the port cannot be had.
    """
    return asyncio.run(_run(file.absolute(), browser, port, said))


async def _run(file: Path, browser: bool, port: int, said: Callable[[str], None]) -> list[str]:
    room = Room(file)
    token, ticket = secrets.token_urlsafe(TOKEN_BYTES), secrets.token_urlsafe(TOKEN_BYTES)
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listening.bind((LOOPBACK, port))
    number = int(listening.getsockname()[1])
    app = application(room, lambda: number, token, ticket)
    config = uvicorn.Config(
        app, log_level="critical", access_log=False, server_header=False, date_header=False, lifespan="off",
        timeout_graceful_shutdown=GOODBYE_S, limit_concurrency=64, ws="none", h11_max_incomplete_event_size=16_384,
    )  # fmt: skip
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()

    def ending() -> None:
        loop.call_soon_threadsafe(stop.set)

    server = _Server(config, ending)
    address = f"http://{LOOPBACK}:{number}"
    room.look()
    serving = asyncio.create_task(server.serve(sockets=[listening]))
    watching = asyncio.create_task(_watch(file, room, stop))
    said(f"{address}/{token}/")
    if browser:
        _open(f"{address}/open/{ticket}")
    stopped = asyncio.create_task(stop.wait())
    await asyncio.wait({serving, stopped}, return_when=asyncio.FIRST_COMPLETED)
    stop.set()
    room.end()
    server.force_exit = True  # a page's stream has no end of its own
    for task in (serving, watching):
        with contextlib.suppress(asyncio.CancelledError):
            await task
    return room.desk.unsaved_words()


async def _watch(file: Path, room: Room, stop: asyncio.Event) -> None:
    """Have the room look at the file whenever something has happened to it, or to a part's file beside it."""

    def meant(_: Change, path: str) -> bool:
        return Path(path).name == file.name or path.lower().endswith(PARTS)

    async for happened in awatch(file.parent, watch_filter=meant, debounce=SETTLE_MS, step=STEP_MS, stop_event=stop,
                                 recursive=False, raise_interrupt=False):  # fmt: skip
        if all(Path(path).name != file.name for _, path in happened):
            room.look()
            continue
        with contextlib.suppress(OSError):
            if file.stat().st_size == 0:
                await asyncio.sleep(EMPTY_S)
        await room.saved()


def _open(address: str) -> None:
    """Have the person's browser open an address, in a session of its own: it is not ours to end."""
    with contextlib.suppress(OSError):
        subprocess.Popen(
            [sys.executable, "-I", "-m", "webbrowser", address], start_new_session=True, stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
