"""Generic sizes as data: one YAML file a family, every row with its source and evidence mark.

Owns reading those files. A row names fields that differ from the family's defaults; fields it leaves out keep the
default and the default's own source. Rows are shipped data, checked by a contract test, so a fault in one is a bug.

Layout of a file::

    family: fan
    sizes:
      fan-120x25:
        about: 120 mm fan, 25 mm deep
        source: common practice, no source
        mark: P
        fields: {size: 120, depth: 25}
        sources: {hole_pitch: {source: fan hole pitches as drawn, mark: V}}   # where a field's source differs
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, cast

import yaml

from elbowroom.parts.families import FAMILIES, family_class
from elbowroom.parts.vocabulary.base import Mark, Part

_FOLDER = Path(__file__).parent


@dataclass(frozen=True, slots=True)
class Size:
    """One catalogue row. `sources` gives (source, mark) for each field the row sets."""

    name: str
    family: str
    about: str
    fields: MappingProxyType[str, Any]
    sources: MappingProxyType[str, tuple[str, Mark]]


@cache
def sizes(family: str) -> MappingProxyType[str, Size]:
    """The catalogue's sizes of a family, by name; KeyError for an unknown family."""
    if family not in FAMILIES:
        raise KeyError(family)
    path = _FOLDER / f"{family.replace('-', '_')}.yaml"
    if not path.is_file():
        return MappingProxyType({})
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    data = yaml.load(path.read_text(encoding="utf-8"), Loader=loader)
    found = {}
    for name, row in data["sizes"].items():
        fields = row.get("fields", {})
        own = row.get("sources", {})
        sources = {
            f: (own[f]["source"], cast("Mark", own[f]["mark"]))
            if f in own
            else (row["source"], cast("Mark", row["mark"]))
            for f in fields
        }
        found[name] = Size(name, data["family"], row["about"], MappingProxyType(fields), MappingProxyType(sources))
    return MappingProxyType(found)


def family_of(size: str) -> str | None:
    """The family a size is of; None for a name that is no size."""
    return next((f for f in FAMILIES if size in sizes(f)), None)


def sample(family: str, size: str | None = None) -> tuple[str, Part] | None:
    """A part of a family with its name: of the size asked for, else of the first, else of the family's defaults; None
    where a build states what there are no defaults for."""
    row = next((s for s in sizes(family).values() if size in (None, s.name)), None)
    cls = family_class(family)
    fields = {} if row is None else dict(row.fields)
    if any(f.is_required() and name not in fields for name, f in cls.model_fields.items()):
        return None
    return (family if row is None else row.name, cls.model_validate(fields))
