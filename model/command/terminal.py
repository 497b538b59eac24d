"""What the commands print beside findings: the catalogue, what was made or drawn, and the files written.

Owns the look of these. Findings are `verdicts`'; what shows while the work goes on is `screen`'s, on standard error, so
that standard output stays clean for scripts.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from elbowroom.model.build.problems import escaped, quoted
from elbowroom.model.command.screen import STYLE, answers
from elbowroom.model.told.catalogued import FIELDS, fields_told, sizes_told
from elbowroom.model.told.verdict_words import SIGN
from elbowroom.parts import FAMILIES, family_class
from elbowroom.parts.catalogue import sample
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
        table.add_row(family, str(len(sizes_told(family))), escape(about))
    answers().print(table)


def family_details(family: str, alone: str | None = None) -> None:
    """A family's sizes, the names it offers, and its fields with unit, range, default, source and what kind of source
    it is. alone: of this size alone.
    """
    out = answers()
    out.print(f"[bold]{family}[/bold]: {escape((family_class(family).__doc__ or '').strip())}")
    for size in (s for s in sizes_told(family) if alone in (None, s.name)):
        rests = escape(f"({size.rests})")
        out.print(f"\n[bold]{escape(size.name)}[/bold]  {escape(size.about)}  [dim]{rests}[/dim]")
        out.print("  " + escape(size.fields))
    fields = Table(*FIELDS, box=None, pad_edge=False)
    for row in fields_told(family):
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
