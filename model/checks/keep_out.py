"""Does anything stand in room that must stay free - for fingers, plugs, a cable's bend?

Owns the verdict on every keep-out against the real bodies of other pieces: `fail` where they certainly share volume,
`unknown` where that cannot be said; touching its boundary is allowed and gives no finding. A keep-out lets in the
families it admits, and whatever is mated to a frame that names the keep-out among its bodies. Two keep-outs may share
room: it is only free once.
"""

from __future__ import annotations

from typing import Any, assert_never

import numpy as np

from elbowroom.model.checks.right_through import missing_mm
from elbowroom.model.geometry.judged import Apart, Contact, Overlap, Undecided
from elbowroom.model.geometry.pairs import Checker, box_gap
from elbowroom.model.geometry.scene import Scene, Solid
from elbowroom.model.told.findings import Basis, Finding
from elbowroom.model.told.wordings import assumed_by, tenths


def check(scene: Scene, checker: Checker) -> list[Finding]:
    """A finding for each keep-out that another piece's body stands in, or may."""
    real = np.array([k for k, s in enumerate(scene.solids) if s.body.keep_out is None], dtype=np.int64)
    rooms = [k for k, s in enumerate(scene.solids) if s.body.keep_out is not None]
    if len(real) == 0:
        return []
    let_in = admitted(scene, checker)
    pairs = []
    lo, hi = checker.boxes.lo, checker.boxes.hi
    for k in rooms:
        room = scene.solids[k]
        for other in real[box_gap(lo[k], hi[k], lo[real], hi[real]) == 0.0]:
            solid = scene.solids[int(other)]
            if (
                solid.piece is not room.piece
                and solid.piece.part.family not in room.body.admits
                and (room.name, solid.piece.name) not in let_in
            ):
                pairs.append((k, int(other)))
    checker.prefetch(pairs)
    return [f for pair in pairs if (f := _finding(checker, pair)) is not None]


def admitted(scene: Scene, checker: Checker) -> set[tuple[str, str]]:
    """(keep-out, piece) where the piece is mated to a frame that counts the keep-out among its bodies."""
    found = set()
    for m in scene.layout.mates:
        for own, frame, other in ((m.piece, m.frame, m.to_piece), (m.to_piece, m.to_frame, m.piece)):
            found |= {(f"{own}/{body}", other) for body in checker.frame(checker.piece(own), frame).bodies}
    return found


def _finding(checker: Checker, pair: tuple[int, int]) -> Finding | None:
    room, solid = (checker.scene.solids[k] for k in pair)
    judged = checker.judge(*pair)
    parts, bodies = (room.piece.name, solid.piece.name), (room.name, solid.name)
    assumed = assumed_by(room.piece) + assumed_by(solid.piece)
    match judged:
        case Contact() | Apart():
            return None
        case Undecided():
            text = f"unknown whether {solid.name} reaches into {_room(room)}; {judged.reason}"
            return Finding("keep-out", "unknown", parts, text, bodies, basis=Basis("none", judged.bound, assumed))
        case Overlap():
            pass
        case _:
            assert_never(judged)
    text = f"{solid.name} reaches {tenths(judged.depth)} into {_room(room)}"
    extra: tuple[tuple[str, Any], ...] = (
        ("volume_mm3", judged.volume_mm3), ("depth_mm", judged.depth), ("keep_out", room.body.keep_out)
    )  # fmt: skip
    missing = missing_mm(room, solid)
    if missing is not None:
        text += f"; clear of it {tenths(missing)} farther away"
        extra += (("missing_mm", missing),)
    return Finding(
        "keep-out", "fail", parts, text, bodies, judged.depth, "mm", 0.0, judged.low, judged.high,
        (judged.point_a, judged.point_b), Basis(judged.method, judged.bound, assumed), extra=extra,
    )  # fmt: skip


def _room(room: Solid) -> str:
    return f"the space that {room.piece.name} needs free: {room.body.keep_out}"
