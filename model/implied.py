"""Mates that follow from others: what every builder takes for granted once a part is seated.

Owns one rule. A card in slot n of a motherboard that stands on a case's standoffs has its bracket at the case's slot n:
the standards fix both from the same datum (see `elbowroom.parts.board_standard`). So the bracket may touch the rear
panel there, and is claimed to meet it: where the board's own place is off, the claim fails and is reported.
"""

from __future__ import annotations

from collections.abc import Sequence

from elbowroom.model.layout import Mate, Piece


def implied_mates(pieces: Sequence[Piece], mates: Sequence[Mate]) -> list[Mate]:
    """The bracket mates that the placements of boards and cards imply and the build does not state."""
    by_name = {p.name: p for p in pieces}
    seats = {m.piece: m.to_piece for m in mates if m.placed and m.to_frame == "board"}
    stated = {(m.piece, m.frame) for m in mates} | {(m.to_piece, m.to_frame) for m in mates}
    found = []
    for mate in mates:
        case = by_name.get(seats.get(mate.to_piece, ""))
        slot = f"rear-{mate.to_frame}"
        if not mate.placed or case is None or (mate.piece, "bracket") in stated:
            continue
        own = {f.name for f in by_name[mate.piece].part.frames()}
        if "bracket" in own and slot in {f.name for f in case.part.frames()}:
            found.append(Mate(mate.piece, "bracket", case.name, slot, contact=True, placed=False))
    return found
