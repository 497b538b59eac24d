"""What a thin sheet holds apart: parts on both of its sides may be as near each other as it is thin.

Owns one rule of which bodies may be nearer than the wanted gap: what lies against the inside and what lies against the
outside of one panel of the case, and the case's feet against what stands on its floor. The sheet is between them, so
that no wider gap can be had; only overlap counts there. Faces a part is not mated to have no part in it.
"""

from __future__ import annotations

from collections.abc import Sequence

from elbowroom.model.layout.layout import Gaps, Joined, Mate, Piece
from elbowroom.model.tolerances import MATE_PLANE_MM
from elbowroom.parts.vocabulary.base import Frame

_OPPOSITE = -1 + 1e-9  # cosine of two faces that look away from each other, from arithmetic alone
_FLOOR = "floor"


def held_apart(pieces: Sequence[Piece], mates: Sequence[Mate], gaps: Gaps) -> list[Joined]:
    """Bodies on the two sides of one panel thinner than the gap wanted between them."""
    by_name = {p.name: p for p in pieces}
    out: dict[tuple[str, str], Joined] = {}
    for case in (p for p in pieces if p.part.encloses):
        on = _laid_on(case, by_name, mates)
        for i, (face, one, bodies) in enumerate(on):
            for to_face, other, to_bodies in on[i + 1 :]:
                thick = _between(face, to_face)
                if one.name != other.name and thick is not None and thick < gaps.wanted(one, other) - MATE_PLANE_MM:
                    for a in bodies:
                        for b in to_bodies:
                            out.setdefault((a, b), Joined(a, b, f"either side of the {face.bodies[0]}"))
            if _FLOOR in face.bodies and face.pose[2, 2] > -_OPPOSITE:
                sheet = float(getattr(case.part, "sheet", 0.0))
                if sheet < gaps.wanted(case, one) - MATE_PLANE_MM:
                    for foot in (b.name for b in case.part.bodies() if b.name.startswith("foot-")):
                        for a in bodies:
                            key = (f"{case.name}/{foot}", a)
                            out.setdefault(key, Joined(*key, "either side of the floor"))
    return list(out.values())


def _laid_on(case: Piece, by_name: dict[str, Piece], mates: Sequence[Mate]) -> list[tuple[Frame, Piece, list[str]]]:
    """What is mated to the case: the case's frame, the piece, and its bodies that may touch there."""
    frames = {f.name: f for f in case.part.frames()}
    out = []
    for m in mates:
        for piece, own, to, face in (
            (m.piece, m.frame, m.to_piece, m.to_frame),
            (m.to_piece, m.to_frame, m.piece, m.frame),
        ):
            if to == case.name and piece != to:
                other = by_name[piece]
                out.append((frames[face], other, [f"{piece}/{b}" for b in other.frame(own).bodies]))
    return out


def _between(one: Frame, other: Frame) -> float | None:
    """Thickness of the panel whose two sides the frames are, mm; None where they are not."""
    if not set(one.bodies) & set(other.bodies) or float(one.pose[:3, 2] @ other.pose[:3, 2]) > _OPPOSITE:
        return None
    thick = float((one.pose[:3, 3] - other.pose[:3, 3]) @ one.pose[:3, 2])
    return thick if thick > 0 else None
