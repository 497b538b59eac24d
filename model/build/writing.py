"""Values put into the text of a build file: one value at a path, every other character as it was.

Owns where in the text a value stands, how one is written there, and the proof: the new text is read again, and it must
say what the old one said with that value in it. No dumper is used, which would write comments, order, quotes and widths
in its own way. Reading is `source`'s; what a value means, `resolve`'s.
"""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Sequence
from typing import Any

import yaml

from elbowroom.model.build.merging import spelled_out
from elbowroom.model.build.problems import InputError, Path, shown
from elbowroom.model.build.source import Document, parse, plain

_BREAKS = re.compile("\r\n|[\n\r\x85\u2028\u2029]")  # line breaks as YAML counts them (YAML 1.1, b-break)
_SAFE = re.compile(
    r"(?:[A-Za-z0-9_+.]|-(?=\d))[A-Za-z0-9_+./ ±°%*x()-]*"
)  # text that is read as it stands in any place
MISSING = object()  # what stands at a path where nothing does


class CannotWrite(InputError):
    """A value cannot be put into a text so that nothing else changes; the message says why."""


def value_at(document: Document, path: Sequence[str | int]) -> Any:
    """What stands at a path; `MISSING` where nothing does."""
    here = document.values
    for step in path:
        inside = (isinstance(here, dict) and step in here) or (
            isinstance(here, list) and isinstance(step, int) and 0 <= step < len(here)
        )
        if not inside:
            return MISSING
        here = here[step]
    return here


def put(text: str, path: Path, value: Any) -> str:
    """The text of a build file with `value` at `path`. What holds it is made where it is missing, and a part written as
    the bare name of its size is spelled out.

    Raises BuildError where the text is no build file, CannotWrite where the value cannot stand there by itself.
    """
    before = parse(text)
    lines = _Lines(text)
    node = yaml.compose(text, Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader))
    assert node is not None, "a document that was read has a node"
    new = _put(lines, node, before.values, tuple(path), value)
    after = parse(new)
    wanted = _set(copy.deepcopy(before.values), tuple(path), value)
    if after.values != wanted:
        where = ".".join(map(str, path))
        raise CannotWrite(f"{shown(where)} cannot be written into this file by itself; change it there by hand")
    return new


class _Lines:
    """A text with the place of every line in it."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.starts = [0, *(m.end() for m in _BREAKS.finditer(text))]
        found = _BREAKS.search(text)
        self.newline = found[0] if found else "\n"

    def at(self, mark: yaml.Mark) -> int:
        return self.starts[mark.line] + int(mark.column)

    def end_of_line(self, at: int) -> int:
        """Where the line that holds a place ends, its break not counted."""
        found = _BREAKS.search(self.text, at)
        return found.start() if found else len(self.text)

    def replaced(self, start: int, end: int, new: str) -> str:
        return self.text[:start] + new + self.text[end:]


def _put(lines: _Lines, node: yaml.Node, here: Any, path: Path, value: Any) -> str:
    """`here`: the value that the node stands for."""
    if not path:
        return _replace(lines, node, written(value))
    step, rest = path[0], path[1:]
    if isinstance(node, yaml.MappingNode):
        for key, inner in node.value:
            if key.value == step:
                return _put(lines, inner, here[step], rest, value)
        return _add(lines, node, str(step), written(_nested(rest, value)))
    if isinstance(node, yaml.SequenceNode):
        if not isinstance(step, int) or not 0 <= step < len(node.value):
            raise CannotWrite(f"the list has no item {shown(step)}")
        return _put(lines, node.value[step], here[step], rest, value)
    spelt = spelled_out(here) if isinstance(here, str) else {} if here is None else here
    if not isinstance(spelt, dict):
        raise CannotWrite(f"{shown(here)} has nothing inside it to change")
    return _replace(lines, node, written({**spelt, step: _nested(rest, value)}))


def _replace(lines: _Lines, node: yaml.Node, new: str) -> str:
    start, end = lines.at(node.start_mark), lines.at(node.end_mark)
    if isinstance(node, yaml.ScalarNode) and node.style in ("|", ">"):
        raise CannotWrite("a text of several lines is changed by hand")
    if isinstance(node, yaml.CollectionNode) and not node.flow_style:
        raise CannotWrite("a value of several lines is changed by hand")
    if start == end:  # nothing stands there: `key:` alone
        gap = "" if start and lines.text[start - 1] in " \t" else " "
        return lines.replaced(start, end, gap + new)
    return lines.replaced(start, end, new)


def _add(lines: _Lines, node: yaml.MappingNode, key: str, value: str) -> str:
    """The text with a key more in a mapping, after those it has."""
    words = f"{_scalar(key)}: {value}"
    if node.flow_style:
        if not node.value:
            start, end = lines.at(node.start_mark), lines.at(node.end_mark)
            return lines.replaced(start, end, f"{{{words}}}")
        end = lines.at(node.value[-1][1].end_mark)
        return lines.replaced(end, end, f", {words}")
    for _, inner in reversed(node.value):
        last = _last(inner)
        if isinstance(last, yaml.ScalarNode) and last.style in ("|", ">"):
            continue  # where such a text ends depends on what follows it
        end = lines.end_of_line(max(lines.at(last.end_mark), lines.at(last.start_mark)))
        return lines.replaced(end, end, f"{lines.newline}{' ' * node.value[0][0].start_mark.column}{words}")
    raise CannotWrite(f"{shown(key)} is added by hand: it would follow a text of several lines")


def _last(node: yaml.Node) -> yaml.Node:
    """The last thing written of a node: a block's own end lies beyond the comments that follow it."""
    while isinstance(node, yaml.CollectionNode) and not node.flow_style and node.value:
        item = node.value[-1]
        node = item[1] if isinstance(item, tuple) else item
    return node


def _nested(path: Path, value: Any) -> Any:
    for step in reversed(path):
        if not isinstance(step, str):
            raise CannotWrite("a list that is not there is written whole")
        value = {step: value}
    return value


def _set(values: Any, path: Path, value: Any) -> Any:
    """`values` with `value` at `path`, in place."""
    if not path:
        return value
    step, rest = path[0], path[1:]
    if isinstance(values, list):
        assert isinstance(step, int)
        values[step] = _set(values[step], rest, value)
        return values
    holder = spelled_out(values) if isinstance(values, str) else {} if values is None else values
    holder[step] = _set(holder.get(step, {}), rest, value) if rest else value
    return holder


def written(value: Any) -> str:
    """A value as it stands in a line of a build file."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_scalar(str(k))}: {written(v)}" for k, v in value.items()) + "}"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(map(written, value)) + "]"
    if value is None or isinstance(value, bool):
        return {None: "null", True: "true", False: "false"}[value]
    if isinstance(value, (int, float)):
        return number(value)
    if isinstance(value, str):
        return _scalar(value)
    raise CannotWrite(f"{shown(value)} is nothing that a build file holds")


def number(value: float) -> str:
    """A number in the fewest digits that say it, never in powers of ten where a person would not."""
    if isinstance(value, int) or float(value).is_integer():
        return str(int(value))
    text = repr(float(value))
    return text if "e" not in text else f"{value:.12f}".rstrip("0")


def _scalar(text: str) -> str:
    if text == text.strip() and _SAFE.fullmatch(text) and plain(text) == text:
        return text
    if text.isprintable() and "'" not in text:
        return f"'{text}'"
    return json.dumps(text, ensure_ascii=False)
