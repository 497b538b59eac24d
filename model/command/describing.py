"""What one piece of a build is, in words: its size and place, its fields, and every name it offers with what is on it.

Owns the text of `elbowroom describe`, and the table of names that the catalogue prints too. Names and findings come
from their owners.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from elbowroom.model.geometry.names import catalogue_name
from elbowroom.model.layout.directions import open_side_of
from elbowroom.model.layout.identity import Fitted, Port
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.told.catalogued import NAMES, names_told
from elbowroom.model.told.offered import HOLES, PORT, Offered, offered
from elbowroom.model.told.places import distances
from elbowroom.parts.vocabulary.base import SHORT_MARKS, Part
from elbowroom.parts.vocabulary.measure import Measure

if TYPE_CHECKING:
    from elbowroom.model.pipeline import Checked


def names_table(part: Part) -> Table | None:
    """The names a part offers, as a build file writes them after the piece's own; None where it offers none."""
    found = names_told(part)
    if not found:
        return None
    table = Table(*NAMES, box=None, pad_edge=False)
    for row in found:
        table.add_row(*map(escape, row))
    return table


def describe(out: Console, checked: Checked, piece: Piece) -> None:
    """Print all about one piece."""
    size = catalogue_name(piece.part)
    out.print(f"[bold]{escape(piece.name)}[/bold]: {piece.part.family}{f' {escape(size)}' if size else ''}")
    for line in _place(checked, piece):
        out.print(f"  {escape(line)}", soft_wrap=True)
    fields = Table("field", "value", "rests on", box=None, pad_edge=False)
    unused = piece.part.unused_fields()
    for name in type(piece.part).model_fields:
        value = getattr(piece.part, name)
        if isinstance(value, Measure) and name not in unused:
            fields.add_row(name, _value(value), escape(_rests(piece, name)))
    if fields.row_count:
        out.print()
        out.print(fields)
    names = Table("name", "what it is", "looks along", "what is on it", box=None, pad_edge=False)
    layout = checked.layout
    for o in offered(piece.part, rows=False):
        names.add_row(
            escape(f"{piece.name}.{o.name}"),
            escape(o.words),
            o.looks,
            escape("; ".join(_on(checked, layout, piece, o))),
        )
    if names.row_count:
        out.print()
        out.print(names)
    told = [f for f in checked.findings if piece.name in f.parts and f.verdict not in ("clear", "pass")]
    if told:
        out.print()
    for f in sorted(told, key=lambda f: f.rank):
        out.print(f"  {f.verdict:8} {escape(f.text)}", soft_wrap=True)
        out.print(f"           [dim]{escape(f.id)}[/dim]", soft_wrap=True)


def _place(checked: Checked, piece: Piece) -> Iterator[str]:
    own = [s for s in checked.scene.solids if s.piece.name == piece.name and s.body.keep_out is None]
    if not own:
        return
    lo, hi = np.min([s.lo for s in own], axis=0), np.max([s.hi for s in own], axis=0)
    side = open_side_of(checked.layout)
    x, y, z = (f"{round(float(v), 2) + 0.0:g}" for v in hi - lo)
    yield f"{x} x {y} x {z} mm along the case (rear to front, {side} to tray, floor to roof)"
    if checked.layout.interior is not None and not piece.part.encloses:
        m = (lo + hi) / 2
        yield f"its middle: {distances((float(m[0]), float(m[1]), float(m[2])), checked.layout.interior)} mm"
    if piece.stack is not None:
        yield f"a layer of the stack {piece.stack}"


def _value(value: Measure) -> str:
    range_ = "" if value.plus_minus is None else f" ± {value.plus_minus:g}"
    return f"{float(value):g}{range_} {value.UNIT}"


def _rests(piece: Piece, name: str) -> str:
    if name in piece.given:
        return "the build"
    if name in piece.sources:
        source, mark = piece.sources[name]
        return f"{source} ({SHORT_MARKS[mark]})"
    return ""


def _on(checked: Checked, layout: Layout, piece: Piece, o: Offered) -> list[str]:
    """What is on a place, in a port, or goes through holes."""
    name = o.names[0]
    if o.sort == HOLES:
        return list(_screws(checked, piece, name))
    out = [
        f"{other}.{to}"
        for m in layout.mates
        for own, frame, other, to in (
            (m.piece, m.frame, m.to_piece, m.to_frame),
            (m.to_piece, m.to_frame, m.piece, m.frame),
        )
        if (own, frame) == (piece.name, name)
    ]
    if o.sort != PORT:
        return list(dict.fromkeys(out))
    port = Port(piece.name, name)
    fitted = [
        (p.identity.link, p.identity.size)
        for p in layout.pieces
        if isinstance(p.identity, Fitted) and p.identity.port == port
    ]
    chain = " + ".join(size for _, size in sorted(fitted))
    plumbing = checked.plumbed.plumbing
    runs = [] if plumbing is None else [x.name for x in plumbing.lines if port in (x.start.port, x.end.port)]
    return [w for w in (chain, *(f"run {r}" for r in runs)) if w] or out


def _screws(checked: Checked, piece: Piece, pattern: str) -> Iterator[str]:
    for c in checked.fastened.chosen:
        if c.joint.name == f"{piece.name}.{pattern}":
            yield f"{len(c.rows)} x {c.label}"
    for joint in checked.fastened.joints:
        for f in joint.fits:
            if f.piece.name == piece.name and f.pattern.name == pattern:
                yield f"screws into {joint.name} pass"
