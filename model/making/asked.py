"""What `make` is asked for, as a build that was read: a build file, or one part by its size or family without one.

Owns the small build that stands for one part alone. Everything is then read and refused as in a build file.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from elbowroom.model import pipeline
from elbowroom.model.build import source
from elbowroom.model.build.merging import spelled_out
from elbowroom.model.build.problems import BuildError, InputError, Mark, Problem
from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import Document
from elbowroom.model.layout.place import placed
from elbowroom.model.pipeline import Read
from elbowroom.model.store import Store
from elbowroom.model.told.progress import Progress

ALONE = ("make", 0)  # where the part stands in the build that is made for it
ELSEWHERE = ("printer", "title")  # sections `--set` reaches beside the part's own fields


def build_to_make(
    file: Path | None, part: str | None, overrides: Sequence[str], store: Store, progress: Progress | None = None
) -> Read:
    """The build to make, with what was found for the heights it leaves open; with `part`, that part alone on the
    printer of the build file, where there is one.

    With `part`, overrides are the part's own fields (`height=20`), `count`, or the printer's (`printer.layer=0.1`).
    Raises BuildError with every fault, InputError where neither a file nor a part is named.
    """
    if part is None:
        if file is None:
            raise InputError("name a build file, or one part: --part riser-12x18 (see elbowroom catalogue)")
        return pipeline.read(file, store, overrides, progress)
    document = Document({}, {}) if file is None else source.read(file)
    values = document.values if isinstance(document.values, dict) else {}
    entry = spelled_out(part)
    printer = {"printer": values["printer"]} if "printer" in values else {}
    marks = {p: m for p, m in document.marks.items() if p[:1] == ("printer",)}
    marks[()] = Mark(0, 0, f"--part {part[:120]}")  # everything else was not read from a file
    marks[ALONE] = marks[()]  # what is wrong with the part as a whole is no one field's fault
    alone = Document({"title": part[:120] or "part", "make": [entry], **printer}, marks, name=document.name)
    try:
        if isinstance(entry, dict):  # else its name is unknown, and that is told first
            source.override(alone, [_of_part(text) for text in overrides])
        return Read(placed(load(alone)))
    except BuildError as e:
        raise BuildError(_as_typed(p) for p in e.problems) from None


def _of_part(text: str) -> str:
    first = text.partition("=")[0].split(".")[0].strip()
    return text if first in ELSEWHERE else ".".join((*map(str, ALONE), text.strip()))


def _as_typed(problem: Problem) -> Problem:
    """A problem at the option as it was typed: who names a part knows of no list that it stands in."""
    mark, path = problem.mark, problem.path
    source = mark.source.replace(f"--set {'.'.join(map(str, ALONE))}.", "--set ", 1)
    if path[: len(ALONE)] == ALONE:
        path = path[len(ALONE) :] if source == mark.source else ()  # the option names the field already
    return Problem(Mark(mark.line, mark.column, source), path, problem.message)
