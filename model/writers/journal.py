"""The plan of a commit, kept on the disk beside the files it moves, so that a killed run can be finished or undone.

Owns the hidden folder inside an export's target, the form of the plan in it, finishing and undoing by it, and the lock
that lets one run at a time write there. The hidden folder holds `0.new`, `1.new`, ... (files on their way), `0.old` and
so on (second names of the files that stood at their targets) and, once all of these are whole, `plan`. While there is
no plan no target was touched. With one, every file is to go to its target; renamed to `undo`, every target is to be as
it was. Finishing and undoing may themselves be killed at any point and taken up again.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import stat
import time
from collections.abc import Sequence
from pathlib import Path, PurePosixPath
from typing import NamedTuple

from elbowroom.model.build.problems import quoted

FORM = 1
PATIENCE_S = 20.0  # that a run waits for another one to finish in the same folder
_MOST_BYTES = 4_000_000  # of a plan: that of 2000 files has about 100 kB


class Interrupted(Exception):
    """A killed run's files cannot be put in order; the message says why and what to do."""


class Entry(NamedTuple):
    """One file of a commit: its target, relative to the folder, and whether a file stood there before."""

    target: str
    stood: bool


def scratch_of(folder: Path) -> Path:
    """The hidden folder of a commit into `folder`; one for each user, for folders that several may write to."""
    return folder / f".elbowroom-{os.getuid() if hasattr(os, 'getuid') else 0}"


class Journal:
    """The plan of the commit into one folder. Whoever uses it holds the folder's lock."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.scratch = scratch_of(folder)
        self.plan, self.undoing = self.scratch / "plan", self.scratch / "undo"

    def begin(self, entries: Sequence[Entry]) -> None:
        """Write the plan down, and with one rename make it hold."""
        place = os.stat(self.scratch)
        text = json.dumps({"form": FORM, "place": [place.st_dev, place.st_ino], "files": entries}).encode()
        draft = self.scratch / "draft"
        with draft.open("xb") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(draft, self.plan)
        descriptor = os.open(self.scratch, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)

    def undo(self) -> dict[str, str]:
        """Make every target as it was; the targets that could not be, with where their earlier content is."""
        if self.plan.exists():
            try:
                os.replace(self.plan, self.undoing)
            except OSError:
                with contextlib.suppress(OSError):
                    shutil.copyfile(self.plan, self.undoing)
        path = self.undoing if self.undoing.exists() else self.plan
        if not path.exists():
            return {}
        lost = {}
        for i, entry in enumerate(self._read(path)):
            new, old, target = self._paths(i, entry)
            try:
                if not os.path.lexists(new):  # else it never came to the rename
                    if not entry.stood:
                        target.unlink(missing_ok=True)
                    elif os.path.lexists(old):
                        os.replace(old, target)
            except OSError:
                lost[str(target)] = str(old) if entry.stood else ""
        return lost

    def finish(self) -> None:
        """Move every file that is still on its way to its target."""
        for i, entry in enumerate(self._read(self.plan)):
            new, _, target = self._paths(i, entry)
            if os.path.lexists(new):
                target.parent.mkdir(parents=True, exist_ok=True)
                if not target.parent.resolve().is_relative_to(self.folder.resolve()):
                    raise Interrupted(self._told(f"{quoted(target.parent)} leads out of the folder"))
                os.replace(new, target)

    def put_in_order(self) -> None:
        """Finish or undo a run that was killed, and leave nothing of it; nothing to do where none was.

        Raises Interrupted where that cannot be done safely.
        """
        try:
            found = os.lstat(self.scratch)
        except FileNotFoundError:
            return
        if not stat.S_ISDIR(found.st_mode) or (hasattr(os, "getuid") and found.st_uid != os.getuid()):
            raise Interrupted(self._told("it is in the way, and elbowroom did not make it"))
        try:
            if self.undoing.exists():
                if lost := self.undo():
                    raise Interrupted(self._told(f"{quoted(next(iter(lost)))} cannot be put back"))
            elif self.plan.exists():
                self.finish()
        except OSError as e:
            raise Interrupted(self._told((e.strerror or str(e)).lower())) from e
        self.drop()

    def drop(self) -> None:
        """Remove the hidden folder and what is in it; what it says of files that could not be put back is kept."""
        if self.undoing.exists() and any(self.scratch.glob("*.old")) and self._unsettled():
            return
        with contextlib.suppress(OSError):
            # The plan first: without it the rest means nothing. There are no folders in it.
            for path in (self.plan, self.undoing, *self.scratch.iterdir()):
                path.unlink(missing_ok=True)
            self.scratch.rmdir()

    def _unsettled(self) -> bool:
        """Whether a target is still not as it was, though its earlier content is here."""
        with contextlib.suppress(Interrupted):
            for i, entry in enumerate(self._read(self.undoing)):
                new, old, _ = self._paths(i, entry)
                if entry.stood and not os.path.lexists(new) and os.path.lexists(old):
                    return True
        return False

    def _paths(self, number: int, entry: Entry) -> tuple[Path, Path, Path]:
        return self.scratch / f"{number}.new", self.scratch / f"{number}.old", self.folder / entry.target

    def _read(self, path: Path) -> list[Entry]:
        """The entries of a plan that was made here; Interrupted where it was not, or is damaged."""
        try:
            with path.open("rb") as stream:
                values = json.loads(stream.read(_MOST_BYTES))
            place = os.stat(self.scratch)
            if values["form"] != FORM or values["place"] != [place.st_dev, place.st_ino]:
                raise ValueError("of another place")  # a copy of the folder: its plan is about other files
            entries = [Entry(str(target), bool(stood)) for target, stood in values["files"]]
        except (OSError, ValueError, KeyError, TypeError) as e:
            raise Interrupted(self._told("its plan cannot be used")) from e
        for entry in entries:
            pure = PurePosixPath(entry.target)
            if pure.is_absolute() or not pure.parts or any(p in ("", ".", "..") or "\\" in p for p in pure.parts):
                raise Interrupted(self._told("its plan cannot be used"))
        return entries

    def _told(self, why: str) -> str:
        return (
            f"an earlier run left {quoted(self.scratch)}, and it cannot be put in order: {why}. "
            "Look into it, move it away, and try again; nothing was written"
        )


class Held:
    """A folder held for one run until it is released, or the process ends."""

    def __init__(self, descriptor: int | None) -> None:
        self._descriptor = descriptor

    def release(self) -> None:
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None


def held(folder: Path, patience: float = PATIENCE_S) -> Held | None:
    """The folder, held against other runs; None where another run has it for longer than `patience` seconds.

    Where the system cannot lock a folder nothing is held: then two runs may meet, and one of them fails with a message.
    """
    try:
        import fcntl
    except ImportError:
        return Held(None)
    try:
        descriptor = os.open(folder, os.O_RDONLY)
    except OSError:  # a folder one may write to and not list
        return Held(None)
    until = time.monotonic() + patience
    while True:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            if time.monotonic() > until:
                os.close(descriptor)
                return None
            time.sleep(0.05)
        except OSError:  # a file system that knows no locks
            os.close(descriptor)
            return Held(None)
        else:
            return Held(descriptor)
