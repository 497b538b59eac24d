"""Which bodies may touch: those that a mate brings together, and what lies flush with them.

Owns `mated_bodies`. What is judged of them is `interference`.
"""

from __future__ import annotations

from elbowroom.model.geometry.pairs import Checker
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.layout.layout import Piece
from elbowroom.model.tolerances import MATE_PRESS_MM
from elbowroom.parts.vocabulary.base import Frame
from elbowroom.parts.vocabulary.pose import apply, compose

BodyPair = tuple[int, int]


def mated_bodies(scene: Scene, checker: Checker) -> dict[BodyPair, str]:
    """Pairs of solids that a mate lets touch, both ways round, and the mate in words."""
    index = {s.name: k for k, s in enumerate(scene.solids)}
    found = {}
    for mate in scene.layout.mates:
        one, other = checker.piece(mate.piece), checker.piece(mate.to_piece)
        words = f"{mate.frame} to {mate.to_frame}"
        to_frame = checker.frame(other, mate.to_frame)
        onto = [f"{other.name}/{b}" for b in to_frame.bodies]
        if one.part.goes_into_ports:
            onto += _flush(scene, other, to_frame)
        for body in checker.frame(one, mate.frame).bodies:
            for to_body in onto:
                a, b = index.get(f"{one.name}/{body}"), index.get(to_body)
                if a is not None and b is not None:
                    found[(a, b)] = found[(b, a)] = words
    for joined in scene.layout.joined:
        a, b = index.get(joined.body), index.get(joined.to_body)
        if a is not None and b is not None:
            found[(a, b)] = found[(b, a)] = joined.why
    return found


def _flush(scene: Scene, piece: Piece, port: Frame) -> list[str]:
    """The piece's other bodies that end at the plane of a port of it: a fitting that is wider than the port's own body
    seats on them as well, and they can be touched by it nowhere else.
    """
    out = compose(piece.pose, port.pose)
    return [
        s.name
        for s in scene.solids
        if s.piece is piece
        and s.body.keep_out is None
        and s.body.name not in port.bodies
        and float((apply(s.pose, s.mesh.vertices) @ out[:3, 2]).max()) <= out[:3, 3] @ out[:3, 2] + MATE_PRESS_MM
    ]
