"""What the commands print beside findings: the catalogue, what was made or drawn, and the files written.

Owns the look of these. Findings are `verdicts`'; what shows while the work goes on is `screen`'s, on standard error, so
that standard output stays clean for scripts.
"""

from __future__ import annotations

import typing
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from pydantic import BaseModel
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from elbowroom.model.build.problems import escaped, quoted
from elbowroom.model.command.screen import STYLE, answers
from elbowroom.model.told.verdict_words import SIGN
from elbowroom.parts import FAMILIES, family_class
from elbowroom.parts.catalogue import sample, sizes
from elbowroom.parts.tube.tube_stock import tube_stocks
from elbowroom.parts.vocabulary.base import MARKS, SHORT_MARKS


def written(result: Any) -> None:
    """The files a run wrote, and what it had to leave out."""
    out = answers()
    for path in result.paths:
        word = "replaced" if path in result.replaced else "wrote"
        out.print(f"  {word} {escape(quoted(path))}", soft_wrap=True)
    for note in result.notes:
        out.print(f"  note: {escape(escaped(note))}", soft_wrap=True)


def drawn(title: str, paths: Iterable[Any]) -> None:
    """The one picture that was drawn, and its files."""
    out = answers()
    out.print(f"[bold]{escape(escaped(title))}[/bold]", soft_wrap=True)
    for path in paths:
        out.print(f"  wrote {escape(quoted(path))}", soft_wrap=True)


def made(result: Any) -> None:
    """The parts that were made, what to look at in each, and the files."""
    out = answers()
    out.print(f"[bold]{escape(result.title)}[/bold]")
    for order, _, verdicts in result.parts:
        x, y, z = order.part.box().size
        out.print(f"  {order.count} x {escape(order.label)}: {x:g} x {y:g} x {z:g} mm, {order.need.plastic.upper()}")
        for v in verdicts:
            if v.verdict != "pass":
                out.print(f"  [{STYLE[v.verdict]}]{SIGN[v.verdict]} {v.verdict:8}[/] {v.question}: {escape(v.text)}")
    written(result)


def families() -> None:
    """Every part family with its number of sizes."""
    table = Table("family", "sizes", "what it is", box=None, pad_edge=False)
    for family in FAMILIES:
        about = (family_class(family).__doc__ or "").strip().splitlines()[0]
        table.add_row(family, str(len(tube_stocks() if family == "tube" else sizes(family))), escape(about))
    answers().print(table)


def family_details(family: str, alone: str | None = None) -> None:
    """A family's sizes, the names it offers, and its fields with unit, range, default, source and what kind of source
    it is. alone: of this size alone.
    """
    out = answers()
    out.print(f"[bold]{family}[/bold]: {escape((family_class(family).__doc__ or '').strip())}")
    for size in (s for s in sizes(family).values() if alone in (None, s.name)):
        marks = ", ".join(sorted({SHORT_MARKS[mark] for _, mark in size.sources.values()}))
        sources = "; ".join(sorted({source for source, _ in size.sources.values()}))
        out.print(f"\n[bold]{escape(size.name)}[/bold]  {escape(size.about)}  [dim]({escape(sources)}; {marks})[/dim]")
        out.print("  " + escape(", ".join(f"{k} {v}" for k, v in _flat(size.fields))))
    for stock in tube_stocks().values() if family == "tube" else ():  # a run's own sizes: the build names its stock
        out.print(
            f"\n[bold]{escape(stock.name)}[/bold]  {escape(stock.about)}  "
            f"[dim]({escape(stock.source)}; {SHORT_MARKS[stock.mark]})[/dim]"
        )
        out.print(
            f"  od {stock.od:g}, id {stock.id:g}, bent to {stock.usual_radius:g}, at least {stock.least_radius:g}"
        )
    fields = Table("field", "unit", "range", "default", "meaning", "source", "rests on", box=None, pad_edge=False)
    for row in _field_rows(family_class(family), ""):
        fields.add_row(*map(escape, row))
    out.print()
    if (picture := family_class(family).picture) is not None:
        out.print(escape(picture), soft_wrap=True)
        out.print()
    out.print(fields)
    _names(out, family, alone)
    out.print("rests on: " + "; ".join(f"{SHORT_MARKS[m]}: {text}" for m, text in MARKS.items()))


def _names(out: Console, family: str, alone: str | None) -> None:
    """What a family offers, of one of its sizes: larger ones have more of the same."""
    from elbowroom.model.command.describing import names_table

    typical = sample(family, alone)
    table = None if typical is None else names_table(typical[1])
    if table is not None and typical is not None:
        out.print()
        out.print(f"names in a build file, of {escape(typical[0])}:")
        out.print(table)
        out.print()


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
