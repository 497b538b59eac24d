"""Remedies followed to the letter: the edit of the build file that a remedy's own words ask for, and nothing else."""

from __future__ import annotations

import copy
import re
from typing import Any

import yaml

from elbowroom.model.build.source import parse

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


_SCREW = re.compile(
    r"(?:buy )?(?P<thread>M\S+) x (?P<length>[0-9.]+)(?: with (?P<washers>\d+) washers? under the head)?"
)
_CUT = re.compile(r"cut (?P<thread>M\S+) x \S+ down to (?P<length>[0-9.]+) mm and deburr it(?: with (?P<washers>\d+))?")
_LEFT_OUT = re.compile(r"leave out (?P<name>.+?): then ")


def screwed(text: str, remedy: str, joint: str) -> str | None:
    """The build file with the screw of a remedy in a joint, sold or cut; None where the remedy names none."""
    m = _CUT.match(remedy) or _SCREW.match(remedy)
    if m is None:
        return None
    document = copy.deepcopy(parse(text).values)
    use = document.setdefault("screws", {}).setdefault("use", {})
    use[joint] = {"screw": f"{m['thread']}x{m['length']}", "washers": int(m["washers"] or 0)}
    return yaml.safe_dump(document, sort_keys=False)


def left_out(text: str, remedy: str) -> str | None:
    """The build file without the layer that a remedy leaves out; None where it leaves none out."""
    m = _LEFT_OUT.match(remedy)
    if m is None:
        return None
    document = copy.deepcopy(parse(text).values)
    entry = _entry(document, m["name"])
    for words in document["stacks"].values():
        for side in ("layers", "outside"):
            if side in words:
                words[side] = [layer for layer in words[side] if layer is not entry]
    return yaml.safe_dump(document, sort_keys=False)


def layered(text: str, layer: str, stack: str) -> str:
    """The build file with a layer, as it is written for the file, put nearest to the panel."""
    document = copy.deepcopy(parse(text).values)
    document["stacks"][stack]["layers"][:0] = yaml.safe_load(layer)
    return yaml.safe_dump(document, sort_keys=False)
