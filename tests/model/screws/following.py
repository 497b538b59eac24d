"""Remedies followed to the letter: the edit of the build file that a remedy's own words ask for, and nothing else."""

from __future__ import annotations

import copy
import re
from typing import Any

import yaml

from elbowroom.model.source import parse

_SLIDE = re.compile(r"slide (?P<what>.+?) by .*? \((?P<written>.*?)(?:; [^:]* go with it)?\): ")
_KEYS = re.compile(r"(slide|aside): (-?[0-9.]+)|offset: \[(-?[0-9.]+), (-?[0-9.]+)\]|(\w+): (-?[0-9.]+)")


def slid(text: str, remedy: str) -> str | None:
    """The build file after a slide; None where the remedy is none."""
    m = _SLIDE.match(remedy)
    if m is None:
        return None
    document = copy.deepcopy(parse(text).values)  # by YAML 1.2, as the tool reads it
    names = re.split(r", | and (?!\d)", m["what"])
    parts = m["written"].split("; ")
    each = dict(p.split(": ", 1) for p in parts) if len(parts) > 1 else dict.fromkeys(names, parts[0])
    for name in names:
        entry = _entry(document, re.sub(r" \d+ (?:to|and) \d+$", "", name))
        for key in _KEYS.finditer(each[name]):
            if key[1]:
                entry[key[1]] = float(key[2])
            elif key[3]:
                entry["offset"] = [float(key[3]), float(key[4])]
            else:
                entry["at"][key[5]] = float(key[6])
    return yaml.safe_dump(document, sort_keys=False)


def _entry(document: Any, name: str) -> dict[str, Any]:
    """The entry of the file whose pieces have that name: by its own, or by the stack's and its family."""
    for stack, words in (document.get("stacks") or {}).items():
        for layer in (*words.get("layers", ()), *words.get("outside", ())):
            family = next(iter(layer))
            if layer.get("name", f"{stack} {family}") == name:
                return layer  # type: ignore[no-any-return]
    return document["parts"][name]  # type: ignore[no-any-return]
