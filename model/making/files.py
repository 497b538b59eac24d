"""Which files are ours: nothing that somebody else made is overwritten, and what an earlier run left is told.

Owns the signs by which a file written by elbowroom is known. Putting files in place all together is `atomic`'s work.
"""

from __future__ import annotations

import zipfile
from collections.abc import Iterable
from pathlib import Path

from elbowroom.model.making.threemf import APPLICATION, MODEL
from elbowroom.model.making.told import FIRST_LINE, LAYER_LINE
from elbowroom.model.writers.atomic import OutputError
from elbowroom.model.writers.stl import HEADER

FOLDERS = ("print", "step", "layers")  # what `make` fills
_HEAD = 4096  # bytes in which a file's sign stands
_STEP_SIGN = b"'elbowroom','elbowroom'"  # who wrote it, in the header of the STEP files we write


def refuse_others(folder: Path, names: Iterable[str]) -> None:
    """OutputError where one of the files to be written is there already and elbowroom did not write it."""
    for name in names:
        path = folder / name
        if path.is_file() and not ours(path):
            raise OutputError(
                f"{path} is there already, and elbowroom did not write it: it is left as it is and nothing is written; "
                "move it, or name another folder"
            )


def left_over(folder: Path, names: Iterable[str]) -> list[str]:
    """Files of an earlier run in our folders that this one does not write."""
    written = set(names)
    found = [p for f in FOLDERS if (folder / f).is_dir() for p in sorted((folder / f).iterdir())]
    return [
        name
        for p in found
        if (name := p.relative_to(folder).as_posix()) not in written and p.is_file() and ours(p)
    ]  # fmt: skip


def ours(path: Path) -> bool:
    """Whether elbowroom wrote the file: by the sign each format has; a file of another format is never ours."""
    try:
        with path.open("rb") as stream:
            head = stream.read(_HEAD)
        kind = path.suffix.lower()
        if kind == ".3mf":
            with zipfile.ZipFile(path) as archive, archive.open(MODEL) as model:
                return f'"Application" preserve="1">{APPLICATION}<'.encode() in model.read(_HEAD)
    except (OSError, zipfile.BadZipFile, KeyError, NotImplementedError, RuntimeError):
        return False
    return {
        ".stl": head.startswith(HEADER),
        ".step": _STEP_SIGN in head,
        ".txt": head.startswith(FIRST_LINE.encode()),
        ".yaml": head.startswith(LAYER_LINE.encode()),
    }.get(kind, False)
