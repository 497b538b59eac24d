"""Does each card go into its slot, and has the rear of the case a slot for all of its bracket?

Owns two facts that the standards fix, said before any solid is judged: a card's edge goes into a connector of its own
length or a longer one, as shorter ones end in a wall; and a bracket of n slots needs n neighbouring slots, counted from
the card's own away from the CPU, in the case, in an upright mount or in the case's own upright field. What clashes for
such a reason alone is said to follow from it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from elbowroom.model.checks.slot_places import InTheWay, taken
from elbowroom.model.layout.layout import Layout, Piece, piece_of
from elbowroom.model.told.findings import Basis, Finding, Point
from elbowroom.model.told.particulars import InSlot
from elbowroom.model.told.wordings import assumed_by
from elbowroom.parts.board.motherboard import Motherboard
from elbowroom.parts.card.gpu import Gpu
from elbowroom.parts.card.gpu_mount import GpuMount
from elbowroom.parts.case.case import Case
from elbowroom.parts.vocabulary import board_standard as std

_UPRIGHT = "upright-slot-"


def check(layout: Layout, in_the_way: InTheWay | None = None) -> list[Finding]:
    """What there is to say against the slots that cards are in; nothing for a card that has what it needs.

    in_the_way: tells what keeps a card out of another slot (`slot_places`); left out, the cards in it alone.
    """
    if in_the_way is None:

        def in_the_way(card: Piece, to: Piece, was: str, frame: str) -> str:
            return taken(layout, card, to, frame)

    found: list[Finding] = []
    for mate in layout.mates:
        card, to = layout.piece(mate.piece), layout.piece(mate.to_piece)
        if not isinstance(card.part, Gpu):
            continue
        if isinstance(to.part, Motherboard) and mate.to_frame.startswith("slot-"):
            number = int(mate.to_frame.removeprefix("slot-"))
            found += _connector(layout, card, card.part, to, to.part, number, in_the_way)
            found += _behind_board(layout, card, card.part, to, to.part, number, in_the_way)
        elif isinstance(to.part, GpuMount) and to.part.style == "rear" and mate.to_frame == "slot":
            found += _needs(card, card.part, to, f"{to.name}.{mate.to_frame}", 1, to.part.slots, "the mount")
        elif isinstance(to.part, Case) and to.part.upright and mate.to_frame.startswith(_UPRIGHT):
            number = int(mate.to_frame.removeprefix(_UPRIGHT))
            have = to.part.upright.slots
            free = _offers(card, to, mate.to_frame, range(1, have - card.part.slots + 2), in_the_way, {})
            at = f"{to.name}.{mate.to_frame}"
            found += _needs(card, card.part, to, at, number, have, "the upright field", free)
    return found


def gathered(findings: Sequence[Finding]) -> list[Finding]:
    """The findings, those that follow from a slot that is not there or too short naming it as their cause."""
    causes = [f for f in findings if f.question == "slot"]
    out, effects = [], {f.id: list[str]() for f in causes}
    for f in findings:
        cause = next((c for c in causes if f.verdict in ("clash", "touch", "fail", "tight") and _follows(f, c)), None)
        if cause is None:
            out.append(f)
        else:
            effects[cause.id].append(f.id)
            out.append(replace(f, cause=cause.id))
    return [
        replace(f, effects=tuple(effects[f.id])) if effects.get(f.id) else f for f in out
    ]  # fmt: skip


def _follows(f: Finding, cause: Finding) -> bool:
    """Whether it is about the bodies that the cause names: the card's own, and where it goes."""
    if f.question not in ("interference", "clearance", "mate") or cause.parts[0] not in f.parts:
        return False
    mine = {b for b in f.bodies if piece_of(b) == cause.parts[0]}
    other = set(f.bodies) - mine
    own = cause.about.own_bodies if isinstance(cause.about, InSlot) else ()
    return bool(mine) and bool(other) and all(b.rpartition("/")[2] in own for b in mine) and other <= set(cause.bodies)


def _offers(
    card: Piece, to: Piece, was: str, numbers: Iterable[int], in_the_way: InTheWay, kinds: Mapping[int, str]
) -> list[str]:
    """What to do instead: the slots of some in which nothing is in the card's way, else what is in each of them."""
    stem = was.rpartition("-")[0]
    tried = {n: in_the_way(card, to, was, f"{stem}-{n}") for n in numbers if f"{stem}-{n}" != was}
    fit = [
        f"put it on {to.name}.{stem}-{n}" + (f", an {kinds[n]} slot" if n in kinds else "")
        for n, why in tried.items()
        if not why
    ]
    told = [f"{to.name}.{stem}-{n} would do, but {why}" for n, why in tried.items()]
    return fit or told


def _fitting(part: Gpu, board: Motherboard) -> dict[int, str]:
    """The slots of a board whose connector takes a card's edge, with their kind."""
    length = std.CONNECTOR_LENGTH
    return {n: k for n, k in board.connectors().items() if length[k] >= length[part.lanes]}


def _connector(
    layout: Layout, card: Piece, part: Gpu, to: Piece, board: Motherboard, number: int, in_the_way: InTheWay
) -> list[Finding]:
    kind = board.connectors()[number]
    if std.CONNECTOR_LENGTH[kind] >= std.CONNECTOR_LENGTH[part.lanes]:
        return []
    case = _case_of(layout, to)
    room = case.part.slots if case is not None and isinstance(case.part, Case) else len(board.slots)
    long_enough = _fitting(part, board)
    numbers = [n for n in long_enough if n + part.slots - 1 <= room]
    fit = _offers(card, to, f"slot-{number}", numbers, in_the_way, long_enough)
    text = (
        f"{card.name} is an {part.lanes} card, and {to.name}.slot-{number} an {kind} slot with a closed end: "
        "its edge does not go in"
    )
    long = std.CONNECTOR_LENGTH[part.lanes] - std.CONNECTOR_LENGTH[kind]
    return [
        _finding(card, to, text, (f"{to.name}/slot-{number}",), "connector", ("pcb",), long, fit or ["leave it out"])
    ]


def _behind_board(
    layout: Layout, card: Piece, part: Gpu, to: Piece, board: Motherboard, number: int, in_the_way: InTheWay
) -> list[Finding]:
    case = _case_of(layout, to)
    if case is None or not isinstance(case.part, Case) or number + part.slots - 1 <= case.part.slots:
        return []
    long_enough = _fitting(part, board)
    numbers = [n for n in long_enough if n + part.slots - 1 <= case.part.slots]
    free = _offers(card, to, f"slot-{number}", numbers, in_the_way, long_enough)
    return _needs(card, part, case, f"{to.name}.slot-{number}", number, case.part.slots, "the case", free)


def _needs(
    card: Piece, part: Gpu, to: Piece, at: str, first: int, have: int, whose: str, instead: Sequence[str] = ()
) -> list[Finding]:
    """instead: what may be done about it by putting the card elsewhere."""
    last = first + part.slots - 1
    if last <= have:
        return []
    missing = range(max(first, have + 1), last + 1)
    which = f"slot {missing[0]}" if len(missing) == 1 else f"slots {missing[0]} to {missing[-1]}"
    text = (
        f"{card.name}, {part.slots} slot{'s' if part.slots > 1 else ''} wide at {at}, needs {which}; "
        f"{whose} has {have if have else 'none'}"
    )
    remedies = list(instead)
    remedies.append(f"a card with a bracket of {have - first + 1} slots" if have >= first else "another place for it")
    names = [
        b.name for b in to.part.bodies() if b.keep_out is None and (b.name in ("rear", "tray", "floor", "bracket"))
    ]
    own = ("bracket", *(f"output-{i}" for i in range(1, part.outputs + 1)))
    short = (last - have) * std.SLOT_PITCH
    return [_finding(card, to, text, tuple(f"{to.name}/{n}" for n in names), "bracket", own, short, remedies)]


def _finding(
    card: Piece, to: Piece, text: str, bodies: tuple[str, ...], place: str, own: Sequence[str], over: float,
    remedies: Sequence[str],
) -> Finding:  # fmt: skip
    x, y, z = (float(c) for c in card.pose[:3, 3])
    where: tuple[Point, ...] = ((x, y, z),)
    return Finding(
        "slot", "fail", (card.name, to.name), text, bodies, over, "mm", 0.0, over, over, where,
        Basis("arithmetic", 0.0, assumed_by(card) + assumed_by(to)), tuple(remedies),
        place=place, about=InSlot(tuple(own)),
    )  # fmt: skip


def _case_of(layout: Layout, board: Piece) -> Piece | None:
    """The case on whose standoffs a board stands."""
    seats = (m.to_piece for m in layout.mates if (m.piece, m.to_frame) == (board.name, "board"))
    return next((layout.piece(name) for name in seats), None)
