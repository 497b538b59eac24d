"""How the air goes through the whole build, and what fans are called where several are spoken of.

Owns the one `pass` that tells every fan's direction, every opening's sign and the air each radiator gets: the room's
where its fans blow into the case, the case's where they blow out of it or stand inside. What works against the air is
`air`'s; the geometry is `airflow`'s.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations
from typing import Any

from elbowroom.model.checks.airflow import Blown, moved, openings, opposed
from elbowroom.model.checks.loop_terms import listed
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.told.findings import Basis, Finding, rounded

_WAYS = {1: "in", -1: "out"}


def flow(layout: Layout, every: Sequence[Blown], radiators: Sequence[Piece]) -> Finding:
    """The whole flow: each fan's direction, each opening's sign, each radiator's air."""
    signs = {name: _sign(f for f in every if f.opening == name) for name in openings(layout)}
    air = {r.name: _air(layout, r, every) for r in radiators}
    told = [
        f"{word}: {', '.join(short(n) for n, s in signs.items() if s == sign)}"
        for word, sign in (("air goes in", "in"), ("air goes out", "out"), ("both ways", "both"))
        if sign in signs.values()
    ]
    told += [f"{name} gets {_AIR[a]}" for name, a in air.items() if a in _AIR]
    if {"case", "both"} & set(air.values()):
        told.append(f"air of the case costs a radiator some {COST[0]:g} to {COST[1]:g} degrees (rule of thumb)")
    inside = [f for f in every if f.wall is None and layout.interior is not None]
    if inside:
        told.append(f"{called(inside)} {'stand' if len(inside) > 1 else 'stands'} inside")
    count = f"{len(every)} fan{'' if len(every) == 1 else 's'}"
    extra: tuple[tuple[str, Any], ...] = (
        ("fans", [_fan(f) for f in every]),
        ("openings", [_opening(n, s, every) for n, s in signs.items()]),
        ("radiators", [
            {"radiator": r.name, "air": air[r.name], "fans": [f.name for f in every if r in f.line]} for r in radiators
        ]),
        ("opposed", [[a.name, b.name] for a, b in combinations(every, 2)
                     if opposed(a, b) and (b.piece in a.line or a.piece in b.line)]),
    )  # fmt: skip
    case = tuple(p.name for p in layout.pieces if p.part.encloses)
    parts = case or (*(f.name for f in every), *(r.name for r in radiators))
    text = f"{count}: {'; '.join(told)}" if told else f"{count} at no opening of a case"
    return Finding(
        "air", "pass", parts, text, measured=len(every), unit="fans", where=tuple(f.middle for f in every),
        basis=Basis("arithmetic"), extra=extra, place="flow",
    )  # fmt: skip


# K that coolant is warmer on a radiator with air from inside the case than on one with the room's: a few degrees;
# common practice, no source (P)
COST = (2.0, 5.0)
_AIR = {"room": "the room's air", "case": "air from inside the case", "both": "air of the room and of the case"}


def filtered(f: Blown) -> bool:
    """Whether a dust filter is in a fan's line."""
    return any(p.part.filters_dust for p in f.line)


def _opening(name: str, sign: str, every: Sequence[Blown]) -> dict[str, Any]:
    here = [f for f in every if f.opening == name]
    into = [f for f in here if f.inward > 0]
    return {
        "opening": name,
        "air": sign,
        "fans": [f.name for f in here],
        "filter": all(map(filtered, into)) if into else None,
        "free_flow_m3h": rounded(moved(here, every).flow) if sign in ("in", "out") else None,
    }


def _fan(f: Blown) -> dict[str, Any]:
    return {
        "fan": f.name,
        "direction": [rounded(float(c)) for c in f.flow],
        "toward": f.toward,
        "opening": f.opening,
        "air": _WAYS.get(f.inward),
    }


def _sign(here: Iterable[Blown]) -> str:
    ways = {_WAYS[f.inward] for f in here if f.inward}
    return "none" if not ways else "both" if len(ways) > 1 else ways.pop()


def _air(layout: Layout, radiator: Piece, every: Sequence[Blown]) -> str:
    """What air a radiator gets: room, case, both, none (no fan), or unknown where there is no case to tell by."""
    here = [f for f in every if radiator in f.line]
    if not here:
        return "none"
    if layout.interior is None:
        return "unknown"
    kinds = {"room" if f.inward > 0 and not f.closed else "case" for f in here}
    return "both" if len(kinds) > 1 else kinds.pop()


def called(here: Sequence[Blown]) -> str:
    """Fans by name; copies numbered in a row as one."""
    copies: dict[str, list[int]] = {}
    for f in here:
        numbers = copies.setdefault(f.piece.row, [])
        if f.piece.number is not None:
            numbers.append(f.piece.number)
    told = []
    for base, numbers in copies.items():
        row = numbers == list(range(numbers[0], numbers[0] + len(numbers))) if numbers else False
        if len(numbers) > 2 and row:
            told.append(f"{base} {numbers[0]} to {numbers[-1]}")
        else:
            told += [f"{base} {n}" for n in numbers] or [base]
    return listed(told)


def blow(here: Sequence[Blown]) -> str:
    return "blow" if len(here) > 1 else "blows"


def short(opening: str) -> str:
    """An opening's name without the case's."""
    return opening.removeprefix("case.")
