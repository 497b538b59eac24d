"""Reading a build file as text: YAML into plain values, with the line and column of each.

Owns the YAML meaning (1.2 core scalars, so that `no`, `010` and `1:30` mean what a person wrote), the refusals
(duplicate keys, aliases, tags, several documents, NaN, infinity), the bounds on size, depth and count that keep a
hostile file from eating the machine, and `--set` overrides. Knows nothing of what a build means.
"""

from __future__ import annotations

import math
import os
import re
import stat
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import Any

import yaml

from elbowroom.model.build.problems import BuildError, Mark, Path, Problem, character, choices, shown, unseen
from elbowroom.model.build.yaml_words import error_mark, error_text

MAX_BYTES = 1_000_000  # a build of 2000 parts is about 200 kB
MAX_NODES = 100_000
MAX_DEPTH = 20  # the deepest legal build nests 9
MAX_SCALAR = 4_000

_NULL = re.compile(r"^(?:~|null|Null|NULL|)$")
_TRUE = re.compile(r"^(?:true|True|TRUE)$")
_FALSE = re.compile(r"^(?:false|False|FALSE)$")
_INT = re.compile(r"^[-+]?[0-9]{1,30}$")
_HEX = re.compile(r"^0(?:x[0-9a-fA-F]{1,16}|o[0-7]{1,20})$")
_FLOAT = re.compile(r"^[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?$")
_SPECIAL = re.compile(r"^(?:[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN))$")


@dataclass(frozen=True, slots=True)
class Document:
    """Plain values (dict, list, str, int, float, bool, None) and where each stands. `folder` is the file's own."""

    values: Any
    marks: dict[Path, Mark]  # of each value
    keys: dict[Path, Mark] = field(default_factory=dict)  # of each key, by the path of its value
    name: str = "build"
    folder: FilePath = FilePath(".")

    def mark(self, path: Sequence[str | int], *, key: bool = False) -> Mark:
        """Where `path` stands, or the nearest thing around it that stands anywhere."""
        p = tuple(path)
        if key and p in self.keys:
            return self.keys[p]
        while p and p not in self.marks:
            p = p[:-1]
        return self.marks.get(p, Mark(1, 1, self.name))

    def problem(self, path: Sequence[str | int], message: str, *, key: bool = False) -> Problem:
        return Problem(self.mark(path, key=key), tuple(path), message)


def read(file: FilePath, overrides: Sequence[str] = ()) -> Document:
    """The document in `file` with `path=value` overrides applied; raises BuildError with all problems found."""
    document = parse(text_of(file), str(file), file.parent)
    override(document, overrides)
    return document


def override(document: Document, overrides: Sequence[str]) -> None:
    """Apply `path=value` overrides to a document in place; raises BuildError with all that cannot be applied."""
    problems = [problem for text in overrides for problem in _override(document, text)]
    if problems:
        raise BuildError(problems)


def text_of(file: FilePath) -> str:
    """The text of a build file, within bounds, its line ends as they are; raises BuildError where it is none."""
    name = str(file)
    start = Mark(1, 1, name)

    def refuse(message: str, mark: Mark = start) -> BuildError:
        return BuildError([Problem(mark, (), message)])

    try:
        # O_NONBLOCK: a named pipe must not hang the open; it is refused as not a regular file.
        descriptor = os.open(file, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
    except (OSError, ValueError) as e:
        raise refuse(f"cannot read the build file: {getattr(e, 'strerror', None) or e}") from None
    info = os.fstat(descriptor)
    if not stat.S_ISREG(info.st_mode):
        os.close(descriptor)
        kind = "a folder" if stat.S_ISDIR(info.st_mode) else "not a regular file"
        raise refuse(f"cannot read the build file: it is {kind}")
    with os.fdopen(descriptor, "rb") as stream:
        if info.st_size > MAX_BYTES:
            raise refuse(f"the file has {info.st_size} bytes; a build file has at most {MAX_BYTES}")
        data = stream.read(MAX_BYTES + 1)
    if len(data) > MAX_BYTES:
        raise refuse(f"a build file has at most {MAX_BYTES} bytes")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as e:
        line = data.count(b"\n", 0, e.start) + 1
        column = e.start - (data.rfind(b"\n", 0, e.start) + 1) + 1
        raise refuse(
            f"not UTF-8 text: byte 0x{data[e.start]:02x} cannot stand here; save the file as UTF-8",
            Mark(line, column, name),
        ) from None


def parse(text: str, name: str = "build", folder: FilePath = FilePath(".")) -> Document:
    """The document in `text`; raises BuildError with every problem found before the text stops being YAML."""
    reader = _Reader(name)
    try:
        values = reader.document(text)
    except yaml.YAMLError as e:
        reader.problems.append(Problem(error_mark(e, text, name), (), error_text(e, text)))
        values = None
    except _TooMuch as e:
        reader.problems.append(e.problem)
        values = None
    if not reader.problems and not isinstance(values, dict):
        said = (
            "the file holds nothing; elbowroom new FILE writes a build to start from"
            if values is None
            else f"a build file is lines of key: value, such as title: My build; found {shown(values)}"
        )
        reader.problems.append(Problem(Mark(1, 1, name), (), said))
    if reader.problems:
        raise BuildError(reader.problems)
    return Document(values, reader.marks, reader.keys, name, folder)


class _TooMuch(Exception):
    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        super().__init__(str(problem))


class _Reader:
    """Builds values from YAML events, within bounds, noting where each stands."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.problems: list[Problem] = []
        self.marks: dict[Path, Mark] = {}
        self.keys: dict[Path, Mark] = {}
        self.count = 0

    def document(self, text: str) -> Any:
        # The C parser where PyYAML has it: five times faster, same events.
        events = yaml.parse(text, Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader))
        values = None
        documents = 0
        for event in events:
            if isinstance(event, yaml.DocumentStartEvent):
                documents += 1
                if documents > 1:
                    self._problem(event, (), "a second document starts here; a build file holds one")
                    break
            elif isinstance(event, (yaml.ScalarEvent, yaml.CollectionStartEvent, yaml.AliasEvent)):
                values = self._value(event, events, (), 0)
        return values

    def _mark(self, event: yaml.Event) -> Mark:
        start = event.start_mark
        return Mark(1, 1, self.name) if start is None else Mark(start.line + 1, start.column + 1, self.name)

    def _problem(self, event: yaml.Event, path: Path, message: str) -> None:
        self.problems.append(Problem(self._mark(event), path, message))

    def _value(self, event: yaml.Event, events: Iterator[yaml.Event], path: Path, depth: int) -> Any:
        self.count += 1
        if self.count > MAX_NODES:
            raise _TooMuch(Problem(self._mark(event), (), f"more than {MAX_NODES} values in one build file"))
        if depth > MAX_DEPTH:
            raise _TooMuch(Problem(self._mark(event), (), f"nested more than {MAX_DEPTH} deep"))
        self.marks[path] = self._mark(event)
        if isinstance(event, yaml.AliasEvent):
            self._problem(event, path, f'alias "*{event.anchor}": write the value out, aliases are not read')
            return None
        if anchor := getattr(event, "anchor", None):
            self._problem(event, path, f'anchor "&{anchor}": anchors and aliases are not read')
        tag = getattr(event, "tag", None)
        if tag is not None:
            self._problem(event, path, f"tag {shown(tag)}: tags are not read; write the plain value")
        if isinstance(event, yaml.ScalarEvent):
            return self._scalar(event, path)
        if isinstance(event, yaml.SequenceStartEvent):
            items: list[Any] = []
            while not isinstance(inner := next(events), yaml.SequenceEndEvent):
                items.append(self._value(inner, events, (*path, len(items)), depth + 1))
            return items
        return self._mapping(events, path, depth)

    def _mapping(self, events: Iterator[yaml.Event], path: Path, depth: int) -> dict[str, Any]:
        found: dict[str, Any] = {}
        while not isinstance(event := next(events), yaml.MappingEndEvent):
            if not isinstance(event, yaml.ScalarEvent):
                self._problem(event, path, "a key must be plain text")
                self._value(event, events, (*path, "?"), depth + 1)
                self._value(next(events), events, (*path, "?"), depth + 1)
                continue
            key = event.value
            here = (*path, key)
            if event.anchor or event.tag:
                self._problem(event, here, "anchors and tags are not read")
            if len(key) > 80 or not key.strip():
                self._problem(event, path, f"the key {shown(key)} must be 1 to 80 characters")
            self._unseen(event, path, key)
            if key in found:
                first = self.keys[here]
                self._problem(event, here, f'the key "{key}" stands twice; first in line {first.line}')
                self._value(next(events), events, (*here, "?"), depth + 1)
                continue
            self.keys[here] = self._mark(event)
            found[key] = self._value(next(events), events, here, depth + 1)
        return found

    def _scalar(self, event: yaml.ScalarEvent, path: Path) -> Any:
        if len(event.value) > MAX_SCALAR:
            self._problem(event, path, f"text of {len(event.value)} characters; at most {MAX_SCALAR}")
            return None
        self._unseen(event, path, event.value)
        if not event.implicit[0]:  # quoted or block text
            return event.value
        value = plain(event.value)
        if isinstance(value, float) and not math.isfinite(value):
            self._problem(event, path, f"{shown(event.value)} is not a finite number")
            return None
        return value

    def _unseen(self, event: yaml.ScalarEvent, path: Path, text: str) -> None:
        """Refuse what moves, hides or turns round what people and programs are later shown of the text."""
        lines = path[-1:] == ("note",)  # the one text that may have several lines
        found = unseen("".join(" " if c in _WIDTHS or (lines and c in "\n\t") else c for c in text))
        if found is None:
            return
        i, c = found
        said = "; only a note has several lines" if c in "\n\t" else ""
        self._problem(event, path, f"{character(c)} stands in {shown(text)}, as character {i + 1}: leave it out{said}")


# Spaces of other widths, as text programs put them before a unit: they look like what they are (Unicode, Zs).
_WIDTHS = frozenset("\u00a0\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009\u200a\u202f\u205f\u3000")


def plain(text: str) -> Any:
    """The YAML 1.2 core meaning of an unquoted scalar; numbers too large for a float come out infinite."""
    if _NULL.match(text):
        return None
    if _TRUE.match(text):
        return True
    if _FALSE.match(text):
        return False
    if _INT.match(text):
        return int(text, 10)
    if _HEX.match(text):
        return int(text, 0)
    if _FLOAT.match(text):
        return float(text)
    if _SPECIAL.match(text):
        return math.nan if "n" in text.lower().replace("inf", "") else math.inf
    return text


def _override(document: Document, text: str) -> list[Problem]:
    """Apply one `path=value` to the document's values; returns what is wrong with it."""
    source = f"--set {text[:120]}"
    path_text, equals, value_text = text.partition("=")
    if not equals or not path_text.strip():
        return [
            Problem(Mark(0, 0, source), (), "expected path=value, such as case.sheet=1.2, or of a part alone height=12")
        ]
    reader = _Reader(source)
    try:
        value = reader.document(value_text)
    except yaml.YAMLError as e:
        return [Problem(Mark(0, 0, source), (), error_text(e, value_text))]
    except _TooMuch as e:
        reader.problems.append(e.problem)
    if reader.problems:
        return [Problem(Mark(0, 0, source), p.path, p.message) for p in reader.problems]
    here: Any = document.values
    steps = [s.strip() for s in path_text.split(".")]
    path: list[str | int] = []
    for i, step in enumerate(steps):
        last = i == len(steps) - 1
        key: str | int = step
        if isinstance(here, list):
            if not step.isdigit() or int(step) >= len(here):
                return [Problem(Mark(0, 0, source), tuple(path), f"no item {shown(step)}; it has 0 to {len(here) - 1}")]
            key = int(step)
        elif not isinstance(here, dict):
            return [Problem(Mark(0, 0, source), tuple(path), f"{shown(here)} has nothing inside it to set")]
        path.append(key)
        if last:
            _forget(document, tuple(path))
            here[key] = value
        elif isinstance(here, dict) and key not in here:
            if i > 0:  # a section may be new; what it holds is set whole, so that a misspelt name is no new thing
                said = f"there is no {shown(step)} here{choices(step, here)}"
                return [Problem(Mark(0, 0, source), tuple(path[:-1]), said)]
            here[key] = {}
            here = here[key]
        else:
            here = here[key]
        document.marks[tuple(path)] = document.marks.get(tuple(path), Mark(0, 0, source))
    for inner in reader.marks:
        document.marks[(*path, *inner)] = Mark(0, 0, source)
    document.keys[tuple(path)] = Mark(0, 0, source)
    return []


def _forget(document: Document, path: Path) -> None:
    for table in (document.marks, document.keys):
        for p in [p for p in table if p[: len(path)] == path]:
            del table[p]
