"""How a printed part stands in its build, for whoever prints it: the height and what else would fit, and each end with
its holes, its screws and the way it looks.

Owns those lines of the sheet. Heights were found by `heights`, screws by `screws`; nothing is worked out here.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from elbowroom.model.layout.directions import open_side_of, toward
from elbowroom.model.layout.implied import CARRIERS
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.making.orders import Order
from elbowroom.model.screws.fasten import Fastened
from elbowroom.model.told.findings import Finding
from elbowroom.model.told.wordings import ceil_mm, floor_mm
from elbowroom.parts.vocabulary.base import HolePattern


def standing(order: Order, layout: Layout, heights: Sequence[Finding], fastened: Fastened | None) -> list[str]:
    """The lines about one order. fastened: None where no screws were looked for, which the lines then leave open."""
    pieces = [p for p in layout.pieces if p.name in order.wanted]
    return [*_height(order, pieces, heights), *_ends(order, pieces, layout, fastened)]


def _height(order: Order, pieces: Sequence[Piece], heights: Sequence[Finding]) -> list[str]:
    """The height of what stands between two faces, and which others do as well."""
    if order.part.family not in CARRIERS:
        return []
    high = f"height {float(order.part.model_dump()['height']):g} mm"
    if not pieces:
        return [f"{high} as asked for; which others would do is known in a build alone (height: fit)"]
    by_finding: dict[str, tuple[Finding | None, list[str]]] = {}
    for p in pieces:
        found = next((f for f in heights if _about(f, p)), None)
        by_finding.setdefault("" if found is None else found.id, (found, []))[1].append(p.name)
    several = len(by_finding) > 1
    return [
        f"{', '.join(names) + ': ' if several else ''}{_range(high, found)}" for found, names in by_finding.values()
    ]


def _about(finding: Finding, piece: Piece) -> bool:
    """Whether a finding about a height is about a piece's entry."""
    entries = dict(finding.extra).get("entries")
    assert isinstance(entries, list)
    return any(re.fullmatch(re.escape(str(e)) + r"( \d+)?", piece.name) for e in entries)


def _range(high: str, found: Finding | None) -> str:
    if found is None:
        return f"{high} as the build says; which others would do was not asked (height: fit asks)"
    if found.verdict != "pass":
        return f"{high}, NOT found to fit: {found.text}"
    spans = dict(found.extra)["intervals"]
    assert isinstance(spans, list)
    told = " or ".join(f"{ceil_mm(a)} to {floor_mm(b)}" for a, b in spans)
    return f"{high}, found so that {found.parts[0]} fits; {told} would do as well, with screws to match, nothing else"


def _ends(order: Order, pieces: Sequence[Piece], layout: Layout, fastened: Fastened | None) -> list[str]:
    """A line for each pattern of holes."""
    side, out = open_side_of(layout), []
    for pattern in order.part.patterns():
        told = f"{pattern.name}: {_holes(pattern)}"
        looks: dict[str, list[str]] = {}
        for p in pieces:
            way = toward((p.pose[:3, :3] @ pattern.pose[:3, 2]).tolist(), side)
            on = _on(layout, p, pattern.name)
            looks.setdefault(f"{way}{', on ' + ' and '.join(on) if on else ''}", []).append(p.name)
        told += _each("looks", looks)
        if pieces and fastened is not None:
            screws: dict[str, list[str]] = {}
            for p in pieces:
                screws.setdefault(_screws(p, pattern.name, fastened), []).append(p.name)
            told += _each("screws", screws)
        out.append(told)
    return out


def _each(what: str, said: Mapping[str, Sequence[str]]) -> str:
    """What holds for all, or for which of them what holds."""
    if len(said) == 1:
        return f"; {what} {next(iter(said))}"
    return "".join(f"; {what} {words} ({', '.join(names)})" for words, names in said.items())


def _on(layout: Layout, piece: Piece, end: str) -> list[str]:
    """What a piece lies on with one end."""
    me, found = (piece.name, end), list[str]()
    for m in layout.mates:
        one, other = (m.piece, m.frame), (m.to_piece, m.to_frame)
        found += [other[0]] if one == me else [one[0]] if other == me else []
    return list(dict.fromkeys(found))


def _holes(pattern: HolePattern) -> str:
    kinds: dict[str, int] = {}
    for h in pattern.holes:
        kind = f"for thread {h.thread}" if h.thread else f"of {h.diameter:g} mm"
        kinds[kind] = kinds.get(kind, 0) + 1
    return ", ".join(f"{n} hole{'s' * (n > 1)} {kind}" for kind, n in kinds.items())


def _screws(piece: Piece, end: str, fastened: Fastened) -> str:
    counts: dict[str, int] = {}
    for c in fastened.chosen:
        for row in c.rows:
            axis = c.joint.axes[row]
            how = ""
            if axis.piece.name == piece.name and axis.pattern.name == end:
                how = "into it"
            elif any(
                p.piece.name == piece.name
                and (piece.part.family in CARRIERS or (p.pattern is not None and p.pattern.name == end))
                for p in axis.passed
            ):
                how = "right through it" if piece.part.family in CARRIERS else "through it"
            if how:
                said = f"{c.label if c.length is not None else f'{c.thread}, no length found,'} {how}"
                counts[said] = counts.get(said, 0) + 1
    return ", ".join(f"{n} x {said}" for said, n in counts.items()) or "none"
