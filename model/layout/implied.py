"""Mates that follow from others: what every builder takes for granted once a part is seated.

Owns a few rules. A card in slot n of a motherboard that stands on a case's standoffs has its bracket at the case's slot
n: the standards fix both from the same datum (see `vocabulary.board_standard`). So the bracket may touch the rear
panel there, and is claimed to meet it: where the board's own place is off, the claim fails and is reported.

A riser or spacer at a part that is lifted off a face, and whose other end comes to rest on that very face, stands on
it: nothing else can be meant. Where it ends short of the face, or beside it, nothing is claimed. In the same way the
foot of a card's stand or support that comes to rest on a wall of the case stands on it.

A card in the slot of an upright mount that has a place for the card's bracket is screwed to it there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from elbowroom.model.layout.layout import Mate, Piece
from elbowroom.model.tolerances import MATE_PLANE_MM
from elbowroom.parts.vocabulary.base import Frame

CARRIERS: Mapping[str, tuple[str, str]] = {"riser": ("foot", "top"), "spacer": ("foot", "top")}
"""Families that stand between two faces, with the frames at their two ends."""
STANDING = frozenset({"gpu-mount", "card-support"})  # families whose foot carries a card
FOOT = "foot"
_OPPOSED = -1 + 1e-9  # cosine of faces that look at each other, from arithmetic alone


def implied_mates(pieces: Sequence[Piece], mates: Sequence[Mate], lifted: Sequence[Mate] = ()) -> list[Mate]:
    """The mates that placements imply and the build does not state: brackets of cards, and feet of risers.

    lifted: the placements with a lift, whose faces do not meet themselves.
    """
    by_name = {p.name: p for p in pieces}
    return [
        *_brackets(by_name, mates),
        *_on_mounts(by_name, mates),
        *_feet(by_name, mates, lifted),
        *_stands(by_name, mates),
    ]


def _brackets(by_name: Mapping[str, Piece], mates: Sequence[Mate]) -> list[Mate]:
    seats = {m.piece: m.to_piece for m in mates if m.placed and m.to_frame == "board"}
    stated = _stated(mates)
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


def _on_mounts(by_name: Mapping[str, Piece], mates: Sequence[Mate]) -> list[Mate]:
    """Brackets of cards at the mounts whose slot they are in."""
    stated = _stated(mates)
    found = []
    for mate in mates:
        card, mount = by_name[mate.piece], by_name[mate.to_piece]
        if mate.placed and mate.to_frame == "slot" and (card.name, "bracket") not in stated:
            both = [{f.name for f in p.part.frames()} for p in (card, mount)]
            if all("bracket" in names for names in both):
                found.append(Mate(card.name, "bracket", mount.name, "bracket", contact=True, placed=False))
    return found


def _stands(by_name: Mapping[str, Piece], mates: Sequence[Mate]) -> list[Mate]:
    """Feet of stands and supports that lie on a wall of the case."""
    stated = _stated(mates)
    cases = [p for p in by_name.values() if p.part.encloses]
    found = []
    for piece in by_name.values():
        own = {f.name for f in piece.part.frames()} if piece.part.family in STANDING else set()
        if FOOT not in own or (piece.name, FOOT) in stated:
            continue
        walls = ((case, f.name) for case in cases for f in case.part.frames() if f.kind == "wall")
        for case, wall in walls:
            on = Mate(piece.name, FOOT, case.name, wall, contact=True, placed=False)
            if _rests(piece, FOOT, case, on):
                found.append(on)
                break
    return found


def _feet(by_name: Mapping[str, Piece], mates: Sequence[Mate], lifted: Sequence[Mate]) -> list[Mate]:
    """Ends of risers at a lifted part that lie on the face it is lifted off."""
    off = {m.piece: m for m in lifted}
    stated = _stated(mates)
    found = []
    for mate in mates:
        above = off.get(mate.to_piece)
        ends = CARRIERS.get(by_name[mate.piece].part.family)
        if not mate.placed or above is None or ends is None or mate.frame not in ends:
            continue
        free = ends[1] if mate.frame == ends[0] else ends[0]
        if (mate.piece, free) not in stated and _rests(by_name[mate.piece], free, by_name[above.to_piece], above):
            found.append(Mate(mate.piece, free, above.to_piece, above.to_frame, contact=True, placed=False))
    return found


def _rests(riser: Piece, end: str, on: Piece, above: Mate) -> bool:
    """Whether an end of a riser lies in a face of another piece, and on it where that is no wall and has a size."""
    face: Frame = on.frame(above.to_frame)
    pose, plane = riser.frame_pose(end), on.frame_pose(above.to_frame)
    away = pose[:3, 3] - plane[:3, 3]
    if float(pose[:3, 2] @ plane[:3, 2]) > _OPPOSED or abs(float(away @ plane[:3, 2])) > MATE_PLANE_MM:
        return False
    if face.size is None or face.kind == "wall":
        return True
    return all(abs(float(away @ plane[:3, k])) <= face.size[k] / 2 for k in (0, 1))


def _stated(mates: Sequence[Mate]) -> set[tuple[str, str]]:
    return {(m.piece, m.frame) for m in mates} | {(m.to_piece, m.to_frame) for m in mates}
