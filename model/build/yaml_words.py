"""What is wrong with a text that is no YAML, in the words of someone who writes a build file.

Owns the sentences for the parser's faults and the place each is told at. Reading is `source`'s.
"""

from __future__ import annotations

import yaml

from elbowroom.model.build.problems import Mark, character

_CLOSED = "check its indentation, and that each quote, [ and { before it is closed"
# The parser's own words -> ours. The parsers (libyaml, and PyYAML's own) word some of them differently.
_WORDS = (
    ("mapping values are not allowed", 'a second ": " in one line: put the text in quotes, or start a new line'),
    ("block sequence entries are not allowed", 'a "- " cannot stand here: start a new line for each item'),
    ("could not find expected ':'", 'a key without ": " after it'),
    ("expected ',' or ']'", 'a "," or "]" is missing before this'),
    ("expected ',' or '}'", 'a "," or "}" is missing before this'),
    ("did not find expected key", f"this does not belong to the lines before it: {_CLOSED}"),
    ("expected <block end>", f"this does not belong to the lines before it: {_CLOSED}"),
    ("did not find expected '-' indicator", f"this does not belong to the list before it: {_CLOSED}"),
    ("expected <document start>", f"this does not belong to the lines before it: {_CLOSED}"),
    ("did not find expected node content", "a value is missing here"),
    ("expected the node content", "a value is missing here"),
    ("unexpected end of stream", "the text ends inside quotes"),
    ("found unknown escape character", 'a "\\" in double quotes starts an escape: write two, or use single quotes'),
    ("did not find expected comment or line break", "nothing may follow on this line but a comment"),
)


def error_mark(e: yaml.YAMLError, text: str, name: str) -> Mark:
    """Where in `text` the parser stopped."""
    mark = getattr(e, "problem_mark", None) or getattr(e, "context_mark", None)
    if mark is not None:
        return Mark(mark.line + 1, mark.column + 1, name)
    position = _position(e, text)
    if position is not None:
        before = text[:position]
        return Mark(before.count("\n") + 1, position - (before.rfind("\n") + 1) + 1, name)
    return Mark(1, 1, name)


def error_text(e: yaml.YAMLError, text: str) -> str:
    """The sentence for a parser's fault."""
    problem = str(getattr(e, "problem", None) or getattr(e, "reason", None) or "it cannot be read")
    mark, position = getattr(e, "problem_mark", None), _position(e, text)
    if mark is None and position is not None and position < len(text):
        return f"not YAML: control characters are not allowed: {character(text[position])}"
    said = next((words for theirs, words in _WORDS if theirs in problem), None)
    if said is None and mark is not None and ("cannot start any token" in problem or "tab character" in problem):
        lines = text.split("\n")
        line = lines[mark.line] if mark.line < len(lines) else ""
        at = line[mark.column : mark.column + 1]
        if at == "\t" or "tab character" in problem or "\t" in line[: mark.column]:
            said = "a tab stands here: indent with spaces"
        elif at:
            said = f'text cannot start with "{at}": put it in quotes'
    opened = getattr(e, "context_mark", None)
    far = opened is not None and mark is not None and opened.line != mark.line
    since = f" (of what starts in line {opened.line + 1})" if said and far and opened is not None else ""
    context = getattr(e, "context", None)
    return f"not YAML: {said}{since}" if said else f"not YAML: {problem}" + (f" ({context})" if context else "")


def _position(e: yaml.YAMLError, text: str) -> int | None:
    """Index in `text` of a character that the parser's reader refuses: it counts in bytes or characters."""
    position = getattr(e, "position", None)
    if not isinstance(position, int):
        return None
    return next((i for i, c in enumerate(text) if not _readable(c)), min(position, len(text)))


def _readable(c: str) -> bool:
    """Whether YAML allows a character in a file (YAML 1.2.2, rule c-printable)."""
    return (
        c in "\t\n\r\x85"
        or " " <= c <= "~"
        or "\xa0" <= c <= "\ud7ff"
        or "\ue000" <= c <= "\ufffd"
        or c >= "\U00010000"
    )
