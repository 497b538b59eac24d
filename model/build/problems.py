"""What is wrong with a build file, said so that it can be mended.

Owns the record of one problem (file, line, column, path, sentence), the exception that carries all of them at once,
and the wording of choices and nearest names. Build faults found by the checks are findings, not problems.
"""

from __future__ import annotations

import os
import re
import unicodedata
from collections.abc import Collection, Iterable
from dataclasses import dataclass

from elbowroom.model.build.name_lists import known_names, nearest_name
from elbowroom.parts.families import families_of

Path = tuple[str | int, ...]


@dataclass(frozen=True, slots=True, order=True)
class Mark:
    """A place in a source, counted from 1. `line` is 0 for a source that has no lines (a command-line option)."""

    line: int
    column: int
    source: str

    def __str__(self) -> str:
        return f"{quoted(self.source)}:{self.line}:{self.column}" if self.line else quoted(self.source)


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with the input: where, at which path of the build, and what was expected."""

    mark: Mark
    path: Path
    message: str

    def __str__(self) -> str:
        where = escaped(".".join(str(p) for p in self.path))
        return f"{self.mark}{' ' + where if where else ''}: {self.message}"


MOST_TOLD = 200  # problems of one input that are told: more than that are of one cause


class BuildError(Exception):
    """The input cannot be used; carries every problem found, in file order, and tells the first of very many."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        unique = dict.fromkeys(problems)
        self.problems = tuple(sorted(unique, key=lambda p: (p.mark.source, p.mark)))
        more = len(self.problems) - MOST_TOLD
        told = [str(p) for p in self.problems[:MOST_TOLD]] + ([f"... and {more} more"] if more > 0 else [])
        super().__init__("\n".join(told))


def is_plain(text: str) -> bool:
    """Whether a terminal shows the text as it stands: nothing in it that moves, hides or turns round what is shown.

    Not plain are control characters, the marks of direction, and characters without a shape of their own. Those that
    scripts and emoji join letters with count as plain between letters, and nowhere else.
    """
    return unseen(text) is None


def unseen(text: str) -> tuple[int, str] | None:
    """The first character of the text that is not plain, by its place in it; None where all are."""
    if text.isascii() and text.isprintable():
        return None
    for i, c in enumerate(text):
        if c == " " or (c.isprintable() and unicodedata.category(c) != "Mn" and c not in _BLANK):
            continue
        kind = unicodedata.category(c)
        if kind == "Mn" and i and text[i - 1] not in " " and c not in _BLANK:
            continue  # an accent on the letter before it
        if c in _JOINERS and 0 < i < len(text) - 1 and not text[i - 1].isspace() and ord(text[i - 1]) > _LATIN:
            continue
        return i, c
    return None


# Characters that stand for nothing one sees though Unicode counts them as letters, marks or symbols (The Unicode
# Standard, Default_Ignorable_Code_Point, and the blank pattern of Braille), mark M.
_BLANK = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u180b\u180c\u180d\u180f\u2800\u3164\uffa0") | frozenset(
    map(chr, range(0xE0100, 0xE01F0))
)
_JOINERS = "\u200c\u200d"
_LATIN = 0x24F  # the last of Latin letters with accents: none of those is ever joined


def character(c: str) -> str:
    """A character that cannot be shown, by its number and name."""
    name = unicodedata.name(c, "") or {"\t": "a tab", "\n": "a line break", "\r": "a carriage return",
                                       "\x1b": "escape"}.get(c, "a control character")  # fmt: skip
    return f"U+{ord(c):04X} ({name.lower()})"


def escaped(text: str) -> str:
    """The text with what a terminal would not show as it stands written as escapes."""
    out, rest = [], text
    while (found := unseen(rest)) is not None:
        i, c = found
        out += [rest[:i], c.encode("unicode_escape").decode("ascii") if not 0xD800 <= ord(c) < 0xE000 else "\ufffd"]
        rest = rest[i + 1 :]
    return "".join([*out, rest])


def quoted(path: object) -> str:
    """A file's path as it is told: as it is, with escapes for what a terminal would not show as it stands."""
    return escaped(os.fsdecode(path) if isinstance(path, (bytes, os.PathLike)) else str(path))


def shown(value: object, limit: int = 60) -> str:
    """A value as it is quoted in a message: one line, bounded, escapes for what cannot be shown."""
    words = {None: "nothing", True: "true", False: "false"}
    if value is None or isinstance(value, bool):
        return words[value]
    if isinstance(value, (list, tuple, dict)) and len(value) > limit:
        value = dict(list(value.items())[:limit]) if isinstance(value, dict) else value[:limit]
    text = escaped((value if isinstance(value, str) else repr(value))[: 20 * limit])
    return f'"{text[:limit]}…"' if len(text) > limit else f'"{text}"'


def everyday(word: object, known: Iterable[str]) -> str:
    """The ending of a message about an unknown family that is a builder's word for others; empty where it is none."""
    known = frozenset(known)
    found = [f for f in families_of(word) if f in known] if isinstance(word, str) else []
    return f"; a builder's word for: {' or '.join(found)}" if found else ""


def choices(wrong: object, known: Iterable[str], limit: int = 40) -> str:
    """The ending of a message about an unknown name: the nearest known one where there is one, and the choices.

    limit: how many choices are listed, a numbered row counting as one; where there are more, the nearest come first.
    0 where there are too many for a list to help.
    """
    known = tuple(known)
    if not known:
        return "; there are none"
    like = str(wrong)
    near = nearest_name(like, known)
    nearest = f'; nearest: "{escaped(near)}"' if near is not None else ""
    if limit <= 0:
        return nearest or f"; none of the {len(set(known))} known is like it"
    return f"{nearest}; {escaped(known_names(like, known, limit))}"


class InputError(Exception):
    """Something the user named cannot be used (an output folder, a format, a part's file); the message says why."""


def missing_library(text: str) -> str | None:
    """What to install, where `text` is the dynamic linker's complaint about a library; None where it is not."""
    found = re.search(r"(lib[\w.+-]+\.so[.\d]*): cannot open shared object file", text)
    if found is None:
        return None
    package = "libgl1" if found[1].startswith("libGL.") else f"the package that holds {found[1]}"
    return (
        f"the geometry kernel needs the system library {found[1]}, which is not installed.\n"
        f"On Debian, as root: apt-get install -y --no-install-recommends {package}"
    )


def picked(names: Iterable[str], known: Collection[str]) -> tuple[str, ...]:
    """The formats of `known` that are named, in its order. Raises InputError for an unknown name, or none at all."""
    wanted = [name.strip().lower() for name in names if name.strip()]
    for name in wanted:
        if name not in known:
            raise InputError(f"no format {shown(name)}{choices(name, known)}")
    if not wanted:
        raise InputError(f"no format named; known: {', '.join(known)}")
    return tuple(name for name in known if name in wanted)
