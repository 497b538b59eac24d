"""Which findings people are shown, by which number, and which are alike, so that the worst speaks for the others.

Owns these rules, for every output that people read; none is left out of the JSON.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from elbowroom.model.build.problems import InputError
from elbowroom.model.layout.identity import Screwed
from elbowroom.model.layout.layout import Piece
from elbowroom.model.told.findings import Finding

SHOWN = frozenset({"clash", "fail", "touch", "tight", "unknown", "caution"})  # verdicts that are not well


def leading(findings: Sequence[Finding]) -> list[Finding]:
    """Worst first, without those that follow from another, which are told under it."""
    present = {f.id for f in findings}
    return [f for f in sorted(findings, key=lambda f: f.rank) if f.cause not in present]


def numbered(findings: Sequence[Finding]) -> list[Finding]:
    """What is not well, in the order of the numbers it is called by, from 1."""
    return [f for f in leading(findings) if f.verdict in SHOWN]


def by_number(findings: Sequence[Finding], number: str) -> Finding:
    """The finding called by a number. Raises InputError where none is."""
    found = numbered(findings)
    if not 0 < int(number) <= len(found):
        listed = f"the list goes from 1 to {len(found)}" if found else "nothing is listed: all is well"
        raise InputError(f"no finding {number}; {listed}")
    return found[int(number) - 1]


def key(f: Finding, pieces: Mapping[str, Piece]) -> tuple[str, ...]:
    """What findings that one of them may speak for have in common."""

    def called(name: str) -> str:
        piece = pieces.get(name)
        return piece.row if piece is not None and (alike or isinstance(piece.identity, Screwed)) else name

    # Screws speak for each other, and so do joints of parts that there are several of.
    alike = f.question in ("hole-alignment", "screw", "tool-access")
    if f.question in ("coolant", "loop", "air"):
        return (f.id,)  # each says something of its own, of the same parts
    return (f.verdict, f.question, *map(called, f.parts))


def gathered(findings: Sequence[Finding], pieces: Mapping[str, Piece]) -> list[list[Finding]]:
    """The leading ones, those alike together, the worst of them first."""
    kinds: dict[tuple[str, ...], list[Finding]] = {}
    for f in leading(findings):
        kinds.setdefault(key(f, pieces), []).append(f)
    return list(kinds.values())
