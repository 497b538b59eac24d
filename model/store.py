"""The cache: drawn shapes and judged pairs, in memory and on disk, by content.

Owns where the cache lives, how an entry is written so that a reader never sees half of one, how a damaged one is found
out, and the limit on its size. An entry that cannot be read is as good as absent; a folder that cannot be written is
replaced by a private one for this process. So the cache can make an answer faster, never different.
"""

from __future__ import annotations

import atexit
import contextlib
import hashlib
import os
import shutil
import sqlite3
import tempfile
import threading
from collections import OrderedDict
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

MAGIC = b"ELBOW\x02"
_DIGEST = 16  # bytes of checksum before a payload
MAX_BYTES = 1_000_000_000  # the cache is trimmed to this, oldest entries first
MAX_RECORDS = 500_000  # judged pairs kept, about 150 MB
MAX_MEMORY = 20_000  # objects kept in memory, oldest use first out
_TRIM_EVERY = 64  # files written between two looks at the size


def _digest(key: bytes, payload: bytes) -> bytes:
    return hashlib.blake2b(payload, digest_size=_DIGEST, key=hashlib.blake2b(key, digest_size=32).digest()).digest()


def sealed(key: bytes, payload: bytes) -> bytes:
    """A payload with a mark and a checksum before it, bound to the key it is kept under."""
    return MAGIC + _digest(key, payload) + payload


def unsealed(key: bytes, data: bytes) -> bytes | None:
    """The payload of bytes sealed for that key; None where they are not whole, or another's."""
    head = len(MAGIC) + _DIGEST
    if len(data) < head or not data.startswith(MAGIC):
        return None
    payload = data[head:]
    return payload if _digest(key, payload) == data[len(MAGIC) : head] else None


class Store:
    """A cache folder with its memory. Safe to share between threads, and the folder between processes."""

    def __init__(self, folder: Path) -> None:
        self.folder = _writable(folder)
        self.memory: OrderedDict[tuple[str, Any], Any] = OrderedDict()
        self._lock = threading.RLock()
        self._records: sqlite3.Connection | None = None
        self._written = 0

    @classmethod
    def default(cls) -> Store:
        """The user's cache: $ELBOWROOM_CACHE, else elbowroom under $XDG_CACHE_HOME or ~/.cache."""
        given = os.environ.get("ELBOWROOM_CACHE")
        if given:
            return cls(Path(given))
        base = os.environ.get("XDG_CACHE_HOME")
        try:
            return cls(Path(base) / "elbowroom" if base else Path.home() / ".cache" / "elbowroom")
        except RuntimeError:  # no home folder
            return cls(Path(os.devnull))

    # In memory ------------------------------------------------------------------------------------------------------

    def recall(self, kind: str, key: Any) -> Any:
        """What `remember` kept; None where nothing is."""
        with self._lock:
            found = self.memory.get((kind, key))
            if found is not None:
                self.memory.move_to_end((kind, key))
            return found

    def remember(self, kind: str, key: Any, value: Any) -> None:
        with self._lock:
            self.memory[(kind, key)] = value
            while len(self.memory) > MAX_MEMORY:
                self.memory.popitem(last=False)

    # Files ----------------------------------------------------------------------------------------------------------

    def path(self, name: str) -> Path:
        """Where the entry `name` lies (two-letter sub-folder)."""
        return self.folder / name[:2] / name

    def read(self, name: str) -> bytes | None:
        """The payload written under `name`; None where it is absent or damaged."""
        try:
            return unsealed(name.encode(), self.path(name).read_bytes())
        except OSError:
            return None

    def write(self, name: str, payload: bytes) -> None:
        """Keep a payload; a failure to write is no failure of the caller."""
        self.write_plain(name, sealed(name.encode(), payload))

    def write_plain(self, name: str, data: bytes) -> Path | None:
        """Write a file as it is, whole or not at all, for readers that know nothing of seals; its path, None if not."""
        path = self.path(name)
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".part-")
            try:
                with os.fdopen(handle, "wb") as f:
                    f.write(data)
                os.replace(temporary, path)
            except OSError:
                with contextlib.suppress(OSError):
                    os.unlink(temporary)
                raise
        except OSError:
            return None
        self._written += 1
        if self._written % _TRIM_EVERY == 1:
            self.trim()
        return path

    def trim(self, limit: int = MAX_BYTES) -> None:
        """Delete the oldest files until the folder holds at most `limit` bytes; left-over temporary files too."""
        found: list[tuple[float, int, Path]] = []
        for path in self.folder.glob("??/*"):
            with contextlib.suppress(OSError):
                s = path.stat()
                found.append((s.st_mtime, s.st_size, path))
        total = sum(size for _, size, _ in found)
        for _, size, path in sorted(found, key=lambda f: f[0]):
            if total <= limit:
                break
            with contextlib.suppress(OSError):
                path.unlink()
                total -= size

    # Records --------------------------------------------------------------------------------------------------------

    def records(self, keys: Iterable[bytes]) -> dict[bytes, bytes]:
        """The records kept under these keys, those that are whole."""
        wanted = list(keys)
        found: dict[bytes, bytes] = {}
        with self._lock:
            for i in range(0, len(wanted), 500):
                part = wanted[i : i + 500]
                marks = ",".join("?" * len(part))
                for key, value in self._ask(f"SELECT key, value FROM record WHERE key IN ({marks})", part):
                    payload = unsealed(key, value) if isinstance(value, bytes) else None
                    if payload is not None:
                        found[key] = payload
        return found

    def keep_records(self, records: Mapping[bytes, bytes]) -> None:
        """Keep records; a failure to write is no failure of the caller."""
        if not records:
            return
        rows = [(k, sealed(k, v)) for k, v in records.items()]
        with self._lock:
            db = self._open()
            if db is None:
                return
            try:
                with db:
                    db.executemany("INSERT OR REPLACE INTO record (key, value) VALUES (?, ?)", rows)
                    db.execute("DELETE FROM record WHERE id <= (SELECT MAX(id) FROM record) - ?", (MAX_RECORDS,))
            except sqlite3.Error as fault:
                self._forget(fault)

    def _ask(self, query: str, values: list[bytes]) -> list[tuple[bytes, Any]]:
        db = self._open()
        if db is None:
            return []
        try:
            return db.execute(query, values).fetchall()
        except sqlite3.Error as fault:
            self._forget(fault)
            return []

    def _open(self) -> sqlite3.Connection | None:
        if self._records is None:
            path = self.folder / "pairs.sqlite"
            for _ in range(2):
                try:
                    db = sqlite3.connect(path, timeout=5.0, check_same_thread=False)
                    # No file is mapped into memory, as a write-ahead log's index would be: one that another process
                    # cuts short would then end this one.
                    db.execute("PRAGMA mmap_size=0")
                    db.execute("PRAGMA journal_mode=DELETE")
                    db.execute("PRAGMA synchronous=OFF")  # a record lost with the power is only a record to remake
                    db.execute(
                        "CREATE TABLE IF NOT EXISTS record"
                        " (id INTEGER PRIMARY KEY, key BLOB NOT NULL UNIQUE, value BLOB NOT NULL)"
                    )
                    self._records = db
                    break
                except sqlite3.Error as fault:
                    if not _is_damage(fault):  # locked, full or read-only: leave it to its owner
                        break
                    self._remove_records()  # not a database any more: start it anew, once
        return self._records

    def _forget(self, fault: sqlite3.Error) -> None:
        """Close the records after a fault; a damaged file is removed so that the next opening starts anew."""
        db, self._records = self._records, None
        if db is not None:
            with contextlib.suppress(sqlite3.Error):
                db.close()
        if _is_damage(fault):
            self._remove_records()

    def _remove_records(self) -> None:
        for end in ("", "-journal"):
            with contextlib.suppress(OSError):
                (self.folder / f"pairs.sqlite{end}").unlink()


_HARMLESS = ("SQLITE_BUSY", "SQLITE_LOCKED", "SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_FULL", "SQLITE_PERM")


def _is_damage(fault: sqlite3.Error) -> bool:
    """Whether a fault says that the file itself is no good, rather than that it cannot be used just now."""
    return not str(getattr(fault, "sqlite_errorname", "")).startswith(_HARMLESS)


def _writable(folder: Path) -> Path:
    """The folder if files can be written there, else a private one that goes with the process."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return folder
    except OSError:
        private = Path(tempfile.mkdtemp(prefix="elbowroom-"))
        atexit.register(shutil.rmtree, private, ignore_errors=True)
        return private
