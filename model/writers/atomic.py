"""Putting files in place all together or not at all.

Owns `Staging`: every file of one export is first written whole into a hidden folder inside its target, and only when
all of them are safely on the disk are they renamed over the old ones. A fault at any point (disk full, folder not
writable, a target that is a folder) leaves the earlier files as they were and nothing else behind. A run that is killed
between two renames leaves its plan, by which whoever comes next finishes them: the one switch is the plan's own rename.
One run at a time writes into a folder. What is in the files is the writers' work; the plan is `journal`'s.
"""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
from pathlib import Path, PurePosixPath
from types import TracebackType
from typing import Self

from elbowroom.model.build.problems import InputError, quoted
from elbowroom.model.writers.journal import Entry, Held, Interrupted, Journal, held, scratch_of
from elbowroom.model.writers.noted import note_writing, note_written, undisturbed


class OutputError(InputError):
    """An export could not be written; the message says in plain words where and why."""


class Staging:
    """A set of files on their way into one folder. Use as a context: `add` each file, then `commit` once.

    Leaving the context without a commit removes everything that was staged, and the folders that were made for it.
    Entering it first puts in order what a killed run left, and waits for a run that is writing there just now.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = Path(folder)
        self._scratch = scratch_of(self.folder)
        self._lock: Held | None = None
        self._begun = False  # the hidden folder is ours
        self._targets: list[Path] = []
        self._made: list[Path] = []  # folders that were not there before
        self.replaced: frozenset[Path] = frozenset()  # files of the commit that stood there before

    def __enter__(self) -> Self:
        self._make_folder(self.folder)
        try:
            self._lock = held(self.folder)
            if self._lock is None:
                raise OutputError(
                    f"another run is writing into {quoted(self.folder)} just now; try again when it is done"
                )
            note_writing(self.folder, self._made)
            Journal(self.folder).put_in_order()
            os.mkdir(self._scratch)
            self._begun = True
        except (OSError, Interrupted) as e:
            self.__exit__(None, None, None)
            if isinstance(e, OSError):
                raise OutputError(f"cannot write into {quoted(self.folder)}: {_reason(e)}") from e
            raise OutputError(str(e)) from e
        except OutputError:
            self.__exit__(None, None, None)
            raise
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, tb: TracebackType | None) -> None:
        if self._begun:
            Journal(self.folder).drop()
            self._begun = False
        self._targets.clear()
        for made in reversed(self._made):
            with contextlib.suppress(OSError):  # not empty: an earlier commit or somebody else filled it
                made.rmdir()
        self._made.clear()
        if self._lock is not None:
            self._lock.release()
            self._lock = None
            note_written()

    def add(self, name: str, content: bytes) -> None:
        """Write `content` on its way to its target `name`, a relative path with `/`; raises OutputError."""
        target = self._target(name)
        if target in self._targets:
            raise ValueError(f"two files of one export are called {name!r}")
        try:
            # O_EXCL: never through a link or into a file that somebody put there; 0o666, so that the umask decides.
            flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
            descriptor = os.open(self._scratch / f"{len(self._targets)}.new", flags, 0o666)
            self._targets.append(target)
            with os.fdopen(descriptor, "wb") as stream:
                stream.write(content)
                stream.flush()
                os.fsync(stream.fileno())
        except OSError as e:
            raise OutputError(f"cannot write {quoted(target)}: {_reason(e)}; the earlier files are unchanged") from e

    def commit(self) -> list[Path]:
        """Rename every staged file over its target; on a fault put the earlier files back and raise OutputError."""
        targets = list(self._targets)
        journal, target = Journal(self.folder), self.folder
        with undisturbed():
            try:
                entries = []
                for i, target in enumerate(targets):
                    entries.append(self._entry(i, target))
                target = self.folder
                journal.begin(entries)
                for i, target in enumerate(targets):
                    os.replace(self._scratch / f"{i}.new", target)
                for parent in {target.parent for target in targets}:
                    _sync_folder(parent)
            except BaseException as e:
                lost = journal.undo()
                if not isinstance(e, OSError):
                    raise
                raise OutputError(f"cannot write {quoted(target)}: {_reason(e)}; {_state(lost)}") from e
            journal.drop()
            self._targets.clear()
            self._made.clear()
            self.replaced = frozenset(t for t, entry in zip(targets, entries, strict=True) if entry.stood)
        return targets

    def _entry(self, number: int, target: Path) -> Entry:
        return Entry(target.relative_to(self.folder).as_posix(), _kept(target, self._scratch / f"{number}.old"))

    def _target(self, name: str) -> Path:
        pure = PurePosixPath(name)
        if pure.is_absolute() or not pure.parts or any(p in ("", ".", "..") or "\\" in p for p in pure.parts):
            raise ValueError(f"{name!r} is not a path inside the export folder")
        target = self.folder.joinpath(*pure.parts)
        self._make_folder(target.parent)
        # A link inside the folder must not lead the files out of it; the folder itself may be a link of the user's.
        if not target.parent.resolve().is_relative_to(self.folder.resolve()):
            raise OutputError(
                f"cannot write {quoted(target)}: {quoted(target.parent)} is a link that leads out of "
                f"{quoted(self.folder)}"
            )
        if target.is_dir() and not target.is_symlink():
            raise OutputError(f"cannot write {quoted(target)}: there is a folder of that name")
        return target

    def _make_folder(self, folder: Path) -> None:
        try:
            missing: list[Path] = []
            here = folder
            while not os.path.lexists(here) and here.parent != here:
                missing.append(here)
                here = here.parent
            for path in reversed(missing):
                try:
                    path.mkdir()
                except FileExistsError:  # another run has just made it
                    continue
                self._made.append(path)
                if self._lock is not None:
                    note_writing(self.folder, self._made)
            if not folder.is_dir():
                raise NotADirectoryError(errno.ENOTDIR, "it is not a folder")
        except (OSError, ValueError) as e:  # ValueError: a name no system takes, such as one with a null character
            self.__exit__(None, None, None)
            raise OutputError(f"cannot make the folder {quoted(folder)}: {_reason(e)}") from e


def put_in_order(folder: Path, made: list[Path]) -> None:
    """Finish or undo what a killed run was writing into `folder`; `made`: folders it had made, removed where empty.

    Never raises: what cannot be done now is left to the next run.
    """
    lock = None
    with contextlib.suppress(OSError, Interrupted):
        lock = held(folder)
        if lock is not None:
            Journal(folder).put_in_order()
    for path in reversed(made):
        with contextlib.suppress(OSError):
            path.rmdir()
    if lock is not None:
        lock.release()


def _state(lost: dict[str, str]) -> str:
    """How things stand after a fault: `lost` has each file that could not be put back, and where its content is."""
    if not lost:
        return "the earlier files are unchanged"
    said = (quoted(t) + (f" (its earlier content is in {quoted(old)})" if old else "") for t, old in lost.items())
    return f"could not be put back: {', '.join(said)}"


def write_file(path: Path, content: bytes) -> None:
    """Write one file whole or not at all; raises OutputError.

    What stands at `path` and is no file (a terminal, a pipe, a null device) is written into, never replaced; a folder
    that is not there is not made, since a name mistyped should not leave a tree behind.
    """
    try:
        if path.is_dir() or not path.name:
            raise OutputError(f"cannot write {quoted(path)}: it is a folder; name a file")
        if path.exists() and not path.is_file():
            with path.open("wb", buffering=0) as stream:
                stream.write(content)
            return
        if not path.parent.is_dir():
            raise OutputError(f"cannot write {quoted(path)}: there is no folder {quoted(path.parent)}")
    except (OSError, ValueError) as fault:  # ValueError: a null character in the name
        raise OutputError(f"cannot write {quoted(path)}: {_reason(fault)}") from None
    with Staging(path.parent) as staging:
        staging.add(path.name, content)
        staging.commit()


def _kept(target: Path, second: Path) -> bool:
    """Give the file at `target` a second name, by which it can be put back; False where there is no such file."""
    if not os.path.lexists(target):
        return False
    try:
        os.link(target, second, follow_symlinks=False)
    except (OSError, NotImplementedError):  # a file system without hard links: a copy does the same, slower
        shutil.copy2(target, second, follow_symlinks=False)
    return True


def _sync_folder(folder: Path) -> None:
    """Make the renames last through a power cut where the system can: a folder cannot be opened on every one."""
    with contextlib.suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _reason(e: OSError | ValueError) -> str:
    return (getattr(e, "strerror", None) or str(e)).lower()
