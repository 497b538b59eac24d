"""A finding as a builder says it, in one short sentence: what, how much, of what.

Owns the short wordings only; the finding's own text says all of it. Numbers are the finding's, worded as its text has
them.
"""

from __future__ import annotations

from elbowroom.model.layout.layout import piece_of
from elbowroom.model.told import alike
from elbowroom.model.told.findings import FAILING, UNDECIDED, Finding, overall
from elbowroom.model.told.wordings import tenths

CASE = "case"  # the name of the piece that is the case: so large that it says nothing of where


def headline(f: Finding) -> str:
    """One sentence without a full stop, starting with a name."""
    if f.short:
        return f.short
    if len(f.parts) == 2 and f.measured is not None:
        one, other = _told_apart(f)
        if (f.question, f.verdict) == ("interference", "clash"):
            return f"{one} and {other} run {tenths(f.measured)} into each other"
        if (f.question, f.verdict) == ("clearance", "tight") and f.required is not None:
            return f"{one} is only {tenths(f.measured, f.required)} from {other}; {tenths(f.required)} are wanted"
        if (f.question, f.verdict) == ("clearance", "touch"):
            return f"{one} touches {other}, and nothing says it should"
    return f.text.split("; ")[0]


def label(f: Finding) -> str:
    """The finding's number for a label beside the place, worded as its headline has it; empty where it has none."""
    if f.verdict == "touch":
        return "touches"
    if f.measured is None or f.unit != "mm" or not f.where:
        return ""
    if (f.question, f.verdict) == ("interference", "clash"):
        return f"{tenths(f.measured)} into each other"
    if f.required is not None and f.verdict == "tight":
        return f"{tenths(f.measured, f.required)}, {tenths(f.required)} wanted"
    if f.measured < 0:
        return f"{tenths(-f.measured)} in the way" if f.question == "port-reach" else ""
    return tenths(f.measured) if f.question in ("clearance", "keep-out") else ""


def sentence(findings: list[Finding]) -> str:
    """What stands below the build's verdict: how many things are wrong, of which kind, without what follows from
    others.
    """
    leading = alike.leading(findings)
    wrong = sum(f.verdict in FAILING for f in leading)
    unknown = sum(f.verdict in UNDECIDED for f in leading)
    look = sum(f.verdict == "caution" for f in leading)
    told = []
    if wrong:
        told.append(f"{wrong} {'thing is' if wrong == 1 else 'things are'} in the way")
    if unknown:
        told.append(f"{unknown} cannot be decided")
    if look:
        told.append(f"{look} to look at")
    return ", ".join(told) or ("nothing is in the way" if overall(findings) == "fits" else "")


def _told_apart(f: Finding) -> tuple[str, str]:
    """The two pieces, of the case the part of it that is meant; their bodies where both belong to one piece."""
    one, other = f.parts
    if len(f.bodies) != 2:
        return one, other
    if one == other:
        return f.bodies[0], f.bodies[1]
    own = {piece_of(b): b for b in f.bodies}
    return _in_words(one, own), _in_words(other, own)


def _in_words(piece: str, bodies: dict[str, str]) -> str:
    part = bodies.get(piece, piece).removeprefix(f"{piece}/")
    return f"{piece} {part}" if piece == CASE and part != piece else piece
