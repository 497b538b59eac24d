"""What is said of a height that was left open: the range that fits, the height taken, and what stands at either end.

Owns the wording and the finding, for a height that was found and for one that was not. No number is worked out here
beyond what is missing.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from elbowroom.model.build.spec import WALLS
from elbowroom.model.heights.choosing import layered
from elbowroom.model.heights.limits import Limit
from elbowroom.model.heights.looking import Look
from elbowroom.model.heights.missing import Need, blocker, forbidden
from elbowroom.model.heights.ranges import Stretch, chain
from elbowroom.model.heights.tying import Group
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.layout.place import SQUARE
from elbowroom.model.told.findings import Basis, Finding, Verdict, rounded
from elbowroom.model.told.wordings import assumed_by, ceil_mm, floor_mm, mm
from elbowroom.parts.vocabulary.arrays import Floats

_AT = 1e-4  # mm: ends of stretches nearer than this are one
_ENDED = "higher ones may do as well, but were not looked at, since looking is bounded"
_NAMED = 3  # reasons named in a sentence; all are in the JSON


@dataclass(frozen=True, slots=True)
class Choice:
    """A height taken, mm, the stretches that fit, and the one it was taken from (None: none fits).

    aside: what no height mends, and what was therefore left out of the question. doubt: what the checks had against
    the height taken; empty where they bear it out. needs: where nothing fits, what would have to stand farther away;
    advised: those of them that the checks bear out.
    ended: the height from which on nothing was looked at. beyond: a stretch outside what was asked that fits, and a
    height of it. narrowed: what drivers and fittings took off the range. asked: heights the whole check was asked of.
    """

    height: float
    fits: tuple[Stretch, ...]
    within: Stretch | None
    layer: float
    aside: tuple[Limit, ...]
    doubt: tuple[str, ...] = ()
    needs: tuple[Need, ...] = ()
    advised: tuple[Need, ...] = ()
    ended: float | None = None
    beyond: tuple[Stretch, float] | None = None
    narrowed: tuple[Limit, ...] = ()
    asked: tuple[float, ...] = ()

    @property
    def open(self) -> bool:
        """Whether a bound was reached before any height was found."""
        return self.within is None and self.ended is not None


def finding(group: Group, layout: Layout, got: Look, choice: Choice, tubes: Sequence[str] = ()) -> Finding:
    """The finding about one group's height. layout: as placed at the height taken. tubes: the runs that end on what
    moves."""
    name, carried = group.wish.entry, group.lift or _first_carried(group, layout)
    pieces = [p for p in layout.pieces if p.name in group.moves]  # those of a later group are not there yet
    open_limits = [*(x for x in got.limits if x not in choice.aside), *choice.narrowed]
    unread = sum(x.unread for x in open_limits)
    ok = choice.within is not None and not choice.aside and not choice.doubt
    unsure = (choice.doubt and not choice.aside) or choice.open or (choice.within is None and unread > 0)
    between = _between_layers(pieces, choice) if ok else None
    verdict: Verdict = "caution" if between else "pass" if ok else "unknown" if unsure else "fail"
    extra: list[tuple[str, Any]] = [
        ("entries", [w.entry for w in group.wishes]),
        ("range", [rounded(group.lo), rounded(group.hi)]),
        ("intervals", [[rounded(a, 4), rounded(b, 4)] for a, b in choice.fits]),
        ("layer", rounded(choice.layer)),
        ("lift", None if group.lift is None else rounded(choice.height + group.offset)),
        ("tried", [rounded(h, 4) for h in choice.asked]),
        ("looked_to", rounded(choice.ended, 4)),
    ]
    remedies: tuple[str, ...] = ()
    if choice.within is not None:
        a, b = choice.within
        below, above = _ending_at(open_limits, a), _starting_at(open_limits, b)
        top = group.ends[1] if choice.ended is None or b < choice.ended - _AT else _ENDED
        said = _why(above, top)
        text = (
            f"{name}: {mm(choice.height)} high, so that {carried} fits: "
            f"anything from {ceil_mm(a)} to {floor_mm(b)} does; "
            f"lower, {_why(below, group.ends[0])}; {'' if said == _ENDED else 'higher, '}{said}"
        )
        text += between or ""
        if others := [f"{ceil_mm(c)} to {floor_mm(d)}" for c, d in choice.fits if (c, d) != (a, b)]:
            text += f"; so does anything from {_list(others)}"
        if unread:
            text += f"; {mm(unread)} of all heights were not looked into, and count as if nothing fitted there"
        if tubes and b - a > _AT:
            what = "tube is" if len(tubes) == 1 else "tubes are"
            text += f"; the {what} laid for this height alone: {_list(list(tubes))}"
        low, high = a, b
        extra += [("tubes_laid_at_this_height_only", list(tubes))] if tubes else []
        extra += [("lower", [_plain(x) for x in below]), ("upper", [_plain(x) for x in above])]
    elif choice.open:
        text = (
            f"{name}: no height up to {mm(choice.ended or 0.0)} lets {carried} fit, and {_ENDED}; "
            f"give a narrower range: height: {{fit: least, at_least: ..., at_most: ...}}"
        )
        low, high = group.lo, group.hi
    else:
        text, links = _no_height(name, carried, group, open_limits, got)
        if unread:
            text += f"; {mm(unread)} of these heights were not looked into: bodies graze each other there"
        low, high = group.lo, group.hi
        missing = choice.needs[0].total if choice.needs else None
        extra += [("excluded", links), ("missing_mm", rounded(missing, 4)), ("missing", _moves(choice.needs[:1]))]
        way = got.stages.moved.way
        remedies = tuple(_remedy(n, carried, way) for n in choice.advised)
    if choice.beyond is not None:
        (a, b), height = choice.beyond
        text += f"; outside of the {mm(group.lo)} to {mm(group.hi)} asked for, {ceil_mm(a)} to {floor_mm(b)} fits"
        remedies = (f"ask for {mm(height)}: at_least and at_most leave it out", *remedies)
        extra.append(("outside", [rounded(a, 4), rounded(b, 4)]))
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
    return Finding(
        "height", verdict, (carried,), text, (), choice.height, "mm", None, low, high, (), basis, remedies,
        tuple(extra), name.replace(" ", "-"),
    )  # fmt: skip


def _between_layers(pieces: Sequence[Piece], choice: Choice) -> str | None:
    """What is told of a height that a printer does not make, as whole layers of it do not fit; None of any other."""
    printed = any(b.material == "printed" for p in pieces for b in p.part.bodies())
    below, above = (layered(choice.height, choice.layer, r) for r in (math.floor, math.ceil))
    if not printed or below == above:
        return None
    return (
        f"; printed in layers of {choice.layer:g} mm it comes out {below:g} or {above:g} mm high, and neither fits: "
        "print it higher and sand it down, give the printer another layer, or make room"
    )


def _first_carried(group: Group, layout: Layout) -> str:
    own = {w.entry for w in group.wishes}
    return next(
        (p.name for p in layout.pieces if p.name in group.moves and not any(p.answers_to(e) for e in own)),
        min(group.moves),
    )


def _no_height(
    name: str, carried: str, group: Group, limits: Sequence[Limit], got: Look
) -> tuple[str, list[dict[str, Any]]]:
    """The sentence, and what excludes what: all that one piece forbids is taken together."""
    lo, hi = group.lo, group.hi
    stretches = [(s, k) for k, bad in forbidden(limits, got.movers).items() for s in bad]
    names = list(dict.fromkeys(k for _, k in stretches))
    told, plain = [], []
    for (a, b), n in chain([(s, names.index(k)) for s, k in stretches], lo, hi):
        own = [x for x in limits if blocker(x, got.movers) == names[n]]
        ends = _ending_at(own, b) if a <= lo + _AT and b < hi - _AT else _starting_at(own, a)
        where = (
            "at every height" if a <= lo + _AT and b >= hi - _AT
            else f"below {mm(b)}" if a <= lo + _AT
            else f"above {mm(a)}" if b >= hi - _AT
            else f"from {mm(a)} to {mm(b)}"
        )  # fmt: skip
        told.append(f"{where} {_list([_fault(x) for x in ends or own])}")
        plain += [{**_plain(x), "from": rounded(a, 4), "to": rounded(b, 4)} for x in (ends or own)[:1]]
    short = ""
    if got.needs:
        need = got.needs[0]
        short = f"; {ceil_mm(need.total)} are missing at a height of {mm(need.height)}"
        if len(need.moves) > 1:
            short += " (" + " and ".join(f"{ceil_mm(abs(x))} before {piece}" for piece, x in need.moves) + ")"
        if got.bare and got.bare[0].total < need.total - _AT:
            short += f", {ceil_mm(got.bare[0].total)} of them for the parts without their screws and fittings"
        if got.screws_at is not None:
            # What another height's screws would need is not known: they may be shorter, or none may be sold.
            short += f" (counted with the screws chosen for a height of {mm(got.screws_at)}; "
            short += "another height takes other lengths, and may miss less or more)"
    return f"{name}: no height lets {carried} fit: {'; '.join(told)}{short}", plain


def _moves(found: Sequence[Need]) -> list[dict[str, Any]]:
    return [
        {"height": rounded(n.height, 4), "piece": piece, "mm": rounded(abs(x), 4), "away": x > 0}
        for n in found
        for piece, x in n.moves
    ]


def _remedy(need: Need, carried: str, way: Floats) -> str:
    away = [f"{piece} {ceil_mm(abs(x))} away from {carried}{_toward(x * way)}" for piece, x in need.moves]
    return f"move {' and '.join(away)}: then {mm(need.height)} fits"


def _toward(way: Floats) -> str:
    k = int(np.abs(way).argmax())
    if abs(way[k]) < SQUARE * float(np.linalg.norm(way)):
        return ""
    wall = next(w for w, (i, far) in WALLS.items() if i == k and far == bool(way[k] > 0))
    return f", toward the {wall}"


def _ending_at(limits: Sequence[Limit], at: float) -> list[Limit]:
    return [x for x in limits if any(abs(b - at) < _AT for _, b in x.bad)]


def _starting_at(limits: Sequence[Limit], at: float) -> list[Limit]:
    return [x for x in limits if any(abs(a - at) < _AT for a, _ in x.bad)]


def _why(limits: Sequence[Limit], otherwise: str) -> str:
    return _list([_fault(x) for x in limits]) if limits else otherwise


def _fault(limit: Limit) -> str:
    if limit.said:
        return limit.said
    a, b = limit.names
    if limit.question == "containment":
        return f"{a} stands out of the case at the {b.replace('-', ' ')}"
    if limit.question == "mate":
        return f"{a} and {b} do not meet"
    if limit.question == "keep-out":
        return f"{b} reaches into the space that {a} needs free"
    if limit.wanted is None:
        return f"{a} and {b} run into each other"
    return f"{a} and {b} stand nearer than the {mm(limit.wanted)} wanted"


def _list(words: Sequence[str]) -> str:
    """Some of the words in a row, and how many more there are."""
    # What is said of several copies of a part in the same words is said of the first.
    distinct = list({re.sub(r" \d+([./])", r"\1", w): w for w in reversed(words)}.values())[::-1]
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
