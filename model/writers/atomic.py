"""Putting files in place all together or not at all.

Owns `Staging`: every file of one export is first written whole beside its target, and only when all of them are
safely on the disk are they renamed over the old ones. A fault at any point (disk full, folder not writable, a target
that is a folder) leaves the earlier files as they were and no temporary file behind. What is in the files is the
writers' work.
"""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import shutil
from pathlib import Path, PurePosixPath
from types import TracebackType
from typing import NamedTuple, Self

from elbowroom.model.problems import InputError


class OutputError(InputError):
    """An export could not be written; the message says in plain words where and why."""


class Staging:
    """A set of files on their way into one folder. Use as a context: `add` each file, then `commit` once.

    Leaving the context without a commit removes everything that was staged, and the folders that were made for it.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = Path(folder)
        self._staged: list[tuple[Path, Path]] = []  # temporary file, target
        self._made: list[Path] = []  # folders that were not there before
        self.replaced: frozenset[Path] = frozenset()  # files of the commit that stood there before

    def __enter__(self) -> Self:
        self._make_folder(self.folder)
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, tb: TracebackType | None) -> None:
        for temporary, _ in self._staged:
            _remove(temporary)
        self._staged.clear()
        for made in reversed(self._made):
            with contextlib.suppress(OSError):  # not empty: an earlier commit or somebody else filled it
                made.rmdir()
        self._made.clear()

    def add(self, name: str, content: bytes) -> None:
        """Write `content` beside its target `name`, a relative path with `/`; raises OutputError."""
        target = self._target(name)
        if any(target == other for _, other in self._staged):
            raise ValueError(f"two files of one export are called {name!r}")
        temporary = target.parent / f".{target.name}.{os.getpid()}-{secrets.token_hex(4)}.part"
        try:
            # O_EXCL: never through a link or into a file that somebody put there; 0o666, so that the umask decides.
            flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
            descriptor = os.open(temporary, flags, 0o666)
            self._staged.append((temporary, target))
            with os.fdopen(descriptor, "wb") as stream:
                stream.write(content)
                stream.flush()
                os.fsync(stream.fileno())
        except OSError as e:
            raise OutputError(f"cannot write {target}: {_reason(e)}; the earlier files are unchanged") from e

    def commit(self) -> list[Path]:
        """Rename every staged file over its target; on a fault put the earlier files back and raise OutputError."""
        begun: list[_Rename] = []
        try:
            for temporary, target in self._staged:
                begun.append(_Rename(temporary, target, _second_name(target)))
                os.replace(temporary, target)
            for parent in {rename.target.parent for rename in begun}:
                _sync_folder(parent)
        except BaseException as e:
            lost = [rename for rename in reversed(begun) if not rename.undone()]
            if not isinstance(e, OSError):
                raise
            raise OutputError(f"cannot write {target}: {_reason(e)}; {_state(lost)}") from e
        for rename in begun:
            if rename.earlier is not None:
                _remove(rename.earlier)
        self._staged.clear()
        self._made.clear()
        self.replaced = frozenset(rename.target for rename in begun if rename.earlier is not None)
        return [rename.target for rename in begun]

    def _target(self, name: str) -> Path:
        pure = PurePosixPath(name)
        if pure.is_absolute() or not pure.parts or any(p in ("", ".", "..") or "\\" in p for p in pure.parts):
            raise ValueError(f"{name!r} is not a path inside the export folder")
        target = self.folder.joinpath(*pure.parts)
        self._make_folder(target.parent)
        # A link inside the folder must not lead the files out of it; the folder itself may be a link of the user's.
        if not target.parent.resolve().is_relative_to(self.folder.resolve()):
            raise OutputError(f"cannot write {target}: {target.parent} is a link that leads out of {self.folder}")
        if target.is_dir() and not target.is_symlink():
            raise OutputError(f"cannot write {target}: there is a folder of that name")
        return target

    def _make_folder(self, folder: Path) -> None:
        try:
            missing: list[Path] = []
            here = folder
            while not os.path.lexists(here) and here.parent != here:
                missing.append(here)
                here = here.parent
            for path in reversed(missing):
                path.mkdir()
                self._made.append(path)
            if not folder.is_dir():
                raise NotADirectoryError(errno.ENOTDIR, "it is not a folder")
        except (OSError, ValueError) as e:  # ValueError: a name no system takes, such as one with a null character
            self.__exit__(None, None, None)
            raise OutputError(f"cannot make the folder {folder}: {_reason(e)}") from e


class _Rename(NamedTuple):
    """One rename on its way; `earlier` is a second name of the file that stood at the target, None where none did."""

    temporary: Path
    target: Path
    earlier: Path | None

    def undone(self) -> bool:
        """Put the target back as it was; False where that cannot be done."""
        try:
            if os.path.lexists(self.temporary):  # it never came to the rename
                if self.earlier is not None:
                    _remove(self.earlier)
            elif self.earlier is None:
                self.target.unlink(missing_ok=True)
            else:
                os.replace(self.earlier, self.target)
        except OSError:
            return False
        return True


def _state(lost: list[_Rename]) -> str:
    if not lost:
        return "the earlier files are unchanged"
    said = (f"{r.target}" + (f" (its earlier content is in {r.earlier})" if r.earlier else "") for r in lost)
    return f"could not be put back: {', '.join(said)}"


def write_file(path: Path, content: bytes) -> None:
    """Write one file whole or not at all; raises OutputError.

    What stands at `path` and is no file (a terminal, a pipe, a null device) is written into, never replaced; a folder
    that is not there is not made, since a name mistyped should not leave a tree behind.
    """
    if path.exists() and not path.is_file() and not path.is_dir():
        try:
            with path.open("wb", buffering=0) as stream:
                stream.write(content)
        except OSError as fault:
            raise OutputError(f"cannot write {path}: {fault.strerror or fault}") from None
        return
    if not path.parent.is_dir():
        raise OutputError(f"cannot write {path}: there is no folder {path.parent}")
    with Staging(path.parent) as staging:
        staging.add(path.name, content)
        staging.commit()


def _second_name(target: Path) -> Path | None:
    """A second name for the file at `target`, by which it can be put back; None where there is no such file."""
    if not os.path.lexists(target):
        return None
    backup = target.parent / f".{target.name}.{os.getpid()}-{secrets.token_hex(4)}.old"
    try:
        os.link(target, backup, follow_symlinks=False)
    except (OSError, NotImplementedError):  # a file system without hard links: a copy does the same, slower
        try:
            shutil.copy2(target, backup, follow_symlinks=False)
        except BaseException:
            _remove(backup)
            raise
    return backup


def _remove(path: Path) -> None:
    with contextlib.suppress(OSError):
        os.unlink(path)


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
