"""The words of a build as they are worked on: what is on the disk, the changes made since, and the way back.

Owns the changes (each one value at one path, in text as `build.writing` puts it), undo and redo, what happens to them
when the file is saved by somebody else meanwhile, the difference that is shown before anything is written, and the
writing itself: whole or not at all, and only over the very bytes that the difference was shown against.
"""

from __future__ import annotations

import difflib
import hashlib
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any

from elbowroom.model.build.problems import BuildError, InputError, Path, quoted
from elbowroom.model.build.source import parse, text_of
from elbowroom.model.build.writing import MISSING, CannotWrite, put, value_at
from elbowroom.model.writers.atomic import write_file

MOST_STEPS = 500  # changes that can be undone; by choice
BOM = "\ufeff".encode()


class Refused(InputError):
    """What was asked cannot be done as things stand; the message says why, and nothing was changed."""


@dataclass(frozen=True, slots=True)
class Step:
    """A change and the words after it. was: what stood at the path before; None for the words it all begins with."""

    text: str
    path: Path = ()
    value: Any = None
    was: Any = MISSING

    @property
    def words(self) -> str:
        """The change in a line."""
        was = "not stated" if self.was is MISSING else _shown(self.was)
        return f"{'.'.join(map(str, self.path))}: {was} → {_shown(self.value)}"


class Desk:
    """One build file being worked on. `text` is what is worked on, `disk` what the file held when it was last read."""

    def __init__(self, file: FilePath) -> None:
        self.file = file
        self.disk, self._bom = _read(file)
        self._steps = [Step(self.disk)]
        self._at = 0
        self._waiting: list[Step] = []  # changes to words that were then saved with a mistake in them

    @property
    def text(self) -> str:
        return self._steps[self._at].text

    @property
    def undo_words(self) -> str | None:
        """The change that `undo` takes back; None where there is none."""
        return self._steps[self._at].words if self._at else None

    @property
    def redo_words(self) -> str | None:
        return self._steps[self._at + 1].words if self._at + 1 < len(self._steps) else None

    @property
    def unsaved(self) -> bool:
        return self.text != self.disk

    @property
    def digest(self) -> str:
        """Of what would be written over what: whoever asks to write names it, so that what was shown is written."""
        both = f"{len(self.disk)}\0{self.disk}{self.text}".encode("utf-8", "surrogatepass")
        return hashlib.blake2b(both, digest_size=16).hexdigest()

    def difference(self) -> list[str]:
        """What writing would change, as a unified difference; empty where nothing would."""
        was, now = (t.splitlines() for t in (self.disk, self.text))
        name = self.file.name
        return list(difflib.unified_diff(was, now, name, f"{name}, as worked on", n=2, lineterm=""))

    def change(self, path: Path, value: Any, *, going_on: bool = False) -> bool:
        """Put a value at a path; whether that changes anything. going_on: it takes the place of the change before it
        where that was to the same path.

        Raises BuildError or CannotWrite where it cannot stand there; nothing is then changed.
        """
        base = self._at
        if going_on and base and self._steps[base].path == path:
            base -= 1
        before = self._steps[base].text
        text = put(before, path, value)
        if text == self.text:
            return False
        if text == before and base < self._at:  # back where it began
            del self._steps[base + 1 :]
        else:
            step = Step(text, path, value, value_at(parse(before), path))
            self._steps[base + 1 :] = [step]
            del self._steps[1 : len(self._steps) - MOST_STEPS]
        self._at = min(base + 1, len(self._steps) - 1)
        return True

    def undo(self) -> bool:
        self._at, moved = max(self._at - 1, 0), self._at > 0
        return moved

    def redo(self) -> bool:
        last = len(self._steps) - 1
        self._at, moved = min(self._at + 1, last), self._at < last
        return moved

    def drop(self) -> None:
        """Go back to what is on the disk; the changes can be redone where the way there is known."""
        for at in range(len(self._steps)):
            if self._steps[at].text == self.disk:
                self._at = at
                return
        self._begin()

    def reread(self) -> list[str] | None:
        """Take in what the file holds now: None where it holds the same, else what was lost of the changes, in words.

        Changes that are not written yet are made anew in it, each where what it changed still stands; while the file is
        no YAML they wait. Raises BuildError where it cannot be read as text; the words worked on then stay as they are.
        """
        text, bom = _read(self.file)
        if text == self.disk:
            return None
        known = [at for at in range(self._at + 1) if self._steps[at].text == self.disk]
        unsaved, mine = self.unsaved, self._steps[known[-1] + 1 : self._at + 1] if known else []
        self.disk, self._bom = text, bom
        self._begin()
        mine = self._waiting + mine
        try:
            parse(text)
        except BuildError:
            self._waiting = mine
            return []
        self._waiting, lost = [], []
        for step in mine:
            try:
                stands = value_at(parse(self.text), step.path)
                if stands not in (step.was, step.value):
                    raise CannotWrite("it was changed in the file, too")
                self.change(step.path, step.value)
            except (BuildError, InputError) as e:
                said = e.problems[0].message if isinstance(e, BuildError) else str(e)
                lost.append(f"{step.words} ({said})")
        if unsaved and not known:
            lost.append("what was undone after it had been written")
        return lost

    def write(self, shown: str) -> None:
        """Write what is worked on into the file. shown: the digest of the difference that was looked at.

        Raises Refused where the file holds something else than it did, or the difference is another by now.
        """
        held, _ = _read(self.file)
        if held != self.disk:
            raise Refused(f"{quoted(self.file.name)} was changed on the disk meanwhile: nothing was written")
        if shown != self.digest:
            raise Refused("the changes are no longer those that were shown: nothing was written; look at them again")
        target = FilePath(os.path.realpath(self.file))  # a link stays a link
        mode = target.stat().st_mode & 0o7777
        write_file(target, (BOM if self._bom else b"") + self.text.encode("utf-8", "surrogatepass"))
        os.chmod(target, mode)
        self.disk = self.text

    def unsaved_words(self) -> list[str]:
        """The changes that are not written, a line each."""
        return [d for d in self.difference()[2:] if d[:1] in "+-"] if self.unsaved else []

    def _begin(self) -> None:
        self._steps, self._at = [Step(self.disk)], 0


def _read(file: FilePath) -> tuple[str, bool]:
    """The file's text as it is, line ends and all, and whether a mark of byte order stands before it."""
    text = text_of(file)
    with file.open("rb") as stream:
        return text, stream.read(len(BOM)) == BOM


def _shown(value: Any) -> str:
    from elbowroom.model.build.writing import written

    text = written(value)
    return text if len(text) <= 60 else text[:59] + "…"


def unsaved(lines: Sequence[str]) -> str:
    """The line that tells at the end that changes were not written."""
    return "\n".join(["these changes were not written:", *(f"  {line}" for line in lines)])
