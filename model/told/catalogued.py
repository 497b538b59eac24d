"""What the catalogue says of a family: its sizes, its fields and the names it offers, as rows of words.

Owns those rows, for the terminal and for the page of the catalogue. The names themselves are `offered`'s.
"""

from __future__ import annotations

import typing
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from elbowroom.model.told.offered import HOLES, PORT, offered
from elbowroom.parts import family_class
from elbowroom.parts.catalogue import sizes
from elbowroom.parts.tube.tube_stock import tube_stocks
from elbowroom.parts.vocabulary.base import SHORT_MARKS, Part

FIELDS = ("field", "unit", "range", "default", "meaning", "source", "rests on")
NAMES = ("name", "what it is", "looks along", "named")
_USE = {
    PORT: "in a run of the loop, or under fittings: at",
    HOLES: "under screws: use",
    "place": "after on:, or in mates",
}


@dataclass(frozen=True, slots=True)
class SizeTold:
    """A size of a family: what it is, where its figures come from, and the figures."""

    name: str
    about: str
    rests: str
    fields: str


def sizes_told(family: str) -> list[SizeTold]:
    """The sizes of a family, of tubes their stocks: a run's own sizes are not the catalogue's, the build names one."""
    out = []
    for size in sizes(family).values():
        marks = ", ".join(sorted({SHORT_MARKS[mark] for _, mark in size.sources.values()}))
        sources = "; ".join(sorted({source for source, _ in size.sources.values()}))
        fields = ", ".join(f"{k} {v}" for k, v in _flat(size.fields))
        out.append(SizeTold(size.name, size.about, f"{sources}; {marks}", fields))
    for stock in tube_stocks().values() if family == "tube" else ():
        fields = f"od {stock.od:g}, id {stock.id:g}, bent to {stock.usual_radius:g}, at least {stock.least_radius:g}"
        out.append(SizeTold(stock.name, stock.about, f"{stock.source}; {SHORT_MARKS[stock.mark]}", fields))
    return out


def fields_told(family: str) -> list[tuple[str, ...]]:
    """A row under FIELDS for each field of a family."""
    return list(_field_rows(family_class(family), ""))


def names_told(part: Part) -> list[tuple[str, ...]]:
    """A row under NAMES for each name a part offers, as a build file writes them after the piece's own."""
    return [(o.name, o.words, o.looks, _USE[o.sort]) for o in offered(part)]


def _flat(fields: Mapping[str, Any], prefix: str = "") -> Iterator[tuple[str, Any]]:
    """Nested values as dotted names; lists stay whole."""
    for key, value in fields.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{prefix}{key}.")
        else:
            yield f"{prefix}{key}", value


def _field_rows(model: type[BaseModel], prefix: str) -> Iterator[tuple[str, ...]]:
    """One row a field, those of nested models under their field's name."""
    for name, info in model.model_fields.items():
        extra = info.json_schema_extra if isinstance(info.json_schema_extra, dict) else {}
        inner = _inner_model(info.annotation)
        default = "required" if info.is_required() else _default(info.get_default(call_default_factory=True))
        yield (
            prefix + name, _unit(info.annotation), _range(info.metadata), "" if inner else default,
            info.description or "", str(extra.get("source", "")), _rests(extra),
        )  # fmt: skip
        if inner is not None:
            yield from _field_rows(inner, f"{prefix}{name}.")


def _rests(extra: Mapping[str, Any]) -> str:
    """What kind of source a field rests on; none where it is the build that states it."""
    stated = extra.get("source") == "stated by the build"
    return "" if stated else SHORT_MARKS.get(str(extra.get("mark", "")), "")


def _inner_model(annotation: Any) -> type[BaseModel] | None:
    """The model inside a field's type, however wrapped (optional, list, mapping of names)."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in typing.get_args(annotation):
        if (found := _inner_model(inner)) is not None:
            return found
    return None


def _default(value: Any) -> str:
    text = str(value)
    return text if len(text) <= 40 else text[:39] + "…"


def _unit(annotation: Any) -> str:
    for t in (annotation, *typing.get_args(annotation)):
        unit = getattr(t, "UNIT", None)
        if unit:
            return str(unit)
    return ""


def _range(metadata: Iterable[Any]) -> str:
    parts = []
    for m in metadata:
        for name, sign in (("ge", "≥"), ("gt", ">"), ("le", "≤"), ("lt", "<")):
            limit = getattr(m, name, None)
            if limit is not None:
                parts.append(f"{sign} {limit:g}")
    return " ".join(parts)
