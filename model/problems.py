"""What is wrong with a build file, said so that it can be mended.

Owns the record of one problem (file, line, column, path, sentence), the exception that carries all of them at once,
and the wording of choices and nearest names. Build faults found by the checks are findings, not problems.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection, Iterable
from dataclasses import dataclass

from elbowroom.model.name_lists import known_names

Path = tuple[str | int, ...]


@dataclass(frozen=True, slots=True, order=True)
class Mark:
    """A place in a source, counted from 1. `line` is 0 for a source that has no lines (a command-line option)."""

    line: int
    column: int
    source: str

    def __str__(self) -> str:
        return f"{self.source}:{self.line}:{self.column}" if self.line else self.source


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with the input: where, at which path of the build, and what was expected."""

    mark: Mark
    path: Path
    message: str

    def __str__(self) -> str:
        where = ".".join(str(p) for p in self.path)
        return f"{self.mark}{' ' + where if where else ''}: {self.message}"


class BuildError(Exception):
    """The input cannot be used; carries every problem found, in file order."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        unique = dict.fromkeys(problems)
        self.problems = tuple(sorted(unique, key=lambda p: (p.mark.source, p.mark)))
        super().__init__("\n".join(str(p) for p in self.problems))


def shown(value: object, limit: int = 60) -> str:
    """A value as it is quoted in a message: one line, bounded, control characters escaped."""
    words = {None: "nothing", True: "true", False: "false"}
    if value is None or isinstance(value, bool):
        return words[value]
    text = value if isinstance(value, str) else repr(value)
    text = text.encode("unicode_escape").decode("ascii") if not text.isprintable() else text
    return f'"{text[:limit]}…"' if len(text) > limit else f'"{text}"'


def choices(wrong: object, known: Iterable[str], limit: int = 40) -> str:
    """The ending of a message about an unknown name: the nearest known one where there is one, and the choices.

    limit: how many choices are listed, a numbered row counting as one; where there are more, the nearest come first.
    0 where there are too many for a list to help.
    """
    names = sorted(set(known), key=_natural)
    like = str(wrong)[:80]
    near = difflib.get_close_matches(like, [n for n in names if n != like], n=1, cutoff=0.55)
    nearest = f'; nearest: "{near[0]}"' if near else ""
    if not names:
        return "; there are none"
    if limit <= 0:
        return nearest or f"; none of the {len(names)} known is like it"
    return f"{nearest}; {known_names(like, names, limit)}"


def _natural(name: str) -> list[tuple[int, int, str]]:
    return [(0, int(t), "") if t.isdigit() else (1, 0, t) for t in re.findall(r"\d{1,9}|\D+", name)]


class InputError(Exception):
    """Something the user named cannot be used (an output folder, a format, a part's file); the message says why."""


def picked(names: Iterable[str], known: Collection[str]) -> tuple[str, ...]:
    """The formats of `known` that are named, in its order. Raises InputError for an unknown name, or none at all."""
    wanted = [name.strip().lower() for name in names if name.strip()]
    for name in wanted:
        if name not in known:
            raise InputError(f"no format {shown(name)}{choices(name, known)}")
    if not wanted:
        raise InputError(f"no format named; known: {', '.join(known)}")
    return tuple(name for name in known if name in wanted)
