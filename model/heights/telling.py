"""What is said of a height that was left open: the range that fits, the height taken, and what stands at either end.

Owns the wording and the finding, for a height that was found and for one that was not. No number is worked out here
beyond what is missing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from elbowroom.model.checks.wordings import assumed_by, mm
from elbowroom.model.findings import Basis, Finding, Verdict, rounded
from elbowroom.model.heights.limits import Limit
from elbowroom.model.heights.ranges import Stretch, chain
from elbowroom.model.heights.tying import Group
from elbowroom.model.layout import Layout

_AT = 1e-4  # mm: ends of stretches nearer than this are one
_NAMED = 3  # reasons named in a sentence; all are in the JSON


@dataclass(frozen=True, slots=True)
class Choice:
    """A height taken, mm, the stretches that fit, and the one it was taken from (None: none fits).

    aside: what no height mends, and what was therefore left out of the question. doubt: what the checks had against
    the height taken; empty where they bear it out.
    """

    height: float
    fits: tuple[Stretch, ...]
    within: Stretch | None
    layer: float
    aside: tuple[Limit, ...]
    doubt: tuple[str, ...] = ()


def finding(group: Group, layout: Layout, limits: Sequence[Limit], choice: Choice) -> Finding:
    """The finding about one group's height."""
    name, carried = group.wish.entry, group.lift or _first_carried(group, layout)
    pieces = [p for p in layout.pieces if p.name in group.moves]  # those of a later group are not there yet
    open_limits = [x for x in limits if x not in choice.aside]
    ok = choice.within is not None and not choice.aside and not choice.doubt
    verdict: Verdict = "pass" if ok else "unknown" if choice.doubt and not choice.aside else "fail"
    extra: list[tuple[str, Any]] = [
        ("range", [rounded(group.lo), rounded(group.hi)]),
        ("intervals", [[rounded(a, 4), rounded(b, 4)] for a, b in choice.fits]),
        ("layer", rounded(choice.layer)),
        ("lift", None if group.lift is None else rounded(choice.height + group.offset)),
    ]
    missing = None
    if choice.within is not None:
        a, b = choice.within
        below, above = _ending_at(open_limits, a), _starting_at(open_limits, b)
        text = (
            f"{name}: {mm(choice.height)} high, so that {carried} fits: anything from {mm(a)} to {mm(b)} does; "
            f"lower, {_why(below, 'that is the least asked for')}; higher, {_why(above, 'that is the most asked for')}"
        )
        low, high = a, b
        extra += [("lower", [_plain(x) for x in below]), ("upper", [_plain(x) for x in above])]
    else:
        text, missing, links = _no_height(name, carried, group, open_limits)
        low, high = group.lo, group.hi
        extra += [("excluded", links), ("missing_mm", rounded(missing))]
    if choice.aside:
        # A fault that stands at every height asked for outweighs all that is well: it is told first.
        text = (
            f"{name}: no height from {mm(group.lo)} to {mm(group.hi)} fits, and others are not asked for: at every one "
            f"{_list([_fault(x) for x in choice.aside])}. But for that: {text.removeprefix(f'{name}: ')}"
        )
        extra.append(("at_every_height", [_plain(x) for x in choice.aside]))
    if choice.doubt:
        text += "; yet the checks have against this height: " + _list(list(choice.doubt))
    read = max((x.read for x in open_limits), default=0.0)
    # No height of a cell lies farther than a quarter of it from one that was asked.
    basis = Basis("mesh" if read else "exact", read / 4, tuple(a for p in pieces for a in assumed_by(p)))
    remedies: tuple[str, ...] = ()
    if missing is not None:
        remedies = (f"make {mm(missing)} of room: move one of those named away from {carried}, or take a thinner one",)
    return Finding(
        "height", verdict, (carried,), text, (), choice.height, "mm", None, low, high, (), basis, remedies,
        tuple(extra), name.replace(" ", "-"),
    )  # fmt: skip


def _first_carried(group: Group, layout: Layout) -> str:
    own = {w.entry for w in group.wishes}
    return next(
        (p.name for p in layout.pieces if p.name in group.moves and not any(_of(p.name, e) for e in own)),
        min(group.moves),
    )


def _of(piece: str, entry: str) -> bool:
    return piece == entry or (piece.startswith(entry + " ") and piece[len(entry) + 1 :].isdigit())


def _no_height(
    name: str, carried: str, group: Group, limits: Sequence[Limit]
) -> tuple[str, float | None, list[dict[str, Any]]]:
    """The sentence, the least room missing (mm; None: one thing stands against all), and what excludes what."""
    stretches = [(s, n) for n, x in enumerate(limits) for s in x.bad]
    links = chain(stretches, group.lo, group.hi)
    overlaps = [links[k][0][1] - links[k + 1][0][0] for k in range(len(links) - 1)]
    missing = min(overlaps) if overlaps else None
    told = []
    for (a, b), n in links:
        where = (
            "at every height" if a <= group.lo + _AT and b >= group.hi - _AT
            else f"below {mm(b)}" if a <= group.lo + _AT
            else f"above {mm(a)}" if b >= group.hi - _AT
            else f"from {mm(a)} to {mm(b)}"
        )  # fmt: skip
        told.append(f"{where} {_fault(limits[n])}")
    short = "" if missing is None else f"; {mm(missing)} are missing"
    plain = [{**_plain(limits[n]), "from": rounded(a, 4), "to": rounded(b, 4)} for (a, b), n in links]
    return f"{name}: no height lets {carried} fit: {'; '.join(told)}{short}", missing, plain


def _ending_at(limits: Sequence[Limit], at: float) -> list[Limit]:
    return [x for x in limits if any(abs(b - at) < _AT for _, b in x.bad)]


def _starting_at(limits: Sequence[Limit], at: float) -> list[Limit]:
    return [x for x in limits if any(abs(a - at) < _AT for a, _ in x.bad)]


def _why(limits: Sequence[Limit], otherwise: str) -> str:
    return _list([_fault(x) for x in limits]) if limits else otherwise


def _fault(limit: Limit) -> str:
    a, b = limit.names
    if limit.question == "containment":
        return f"{a} stands out of the case at the {b.replace('-', ' ')}"
    if limit.question == "mate":
        return f"{a} and {b} do not meet"
    if limit.question == "keep-out":
        return f"{b} stands in the room {a} must keep free"
    if limit.wanted is None:
        return f"{a} and {b} run into each other"
    return f"{a} and {b} stand nearer than the {mm(limit.wanted)} wanted"


def _list(words: Sequence[str]) -> str:
    """Some of the words in a row, and how many more there are."""
    distinct = list(dict.fromkeys(words))
    more = len(distinct) - _NAMED
    return " and ".join(distinct[:_NAMED]) + (f" and {more} more" if more > 0 else "")


def _plain(limit: Limit) -> dict[str, Any]:
    """A limit as JSON values."""
    return {
        "question": limit.question,
        "parts": list(limit.parts),
        "names": list(limit.names),
        "wanted": rounded(limit.wanted),
        "bad": [[rounded(a, 4), rounded(b, 4)] for a, b in limit.bad],
    }
