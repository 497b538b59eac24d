"""Screws, washers and nuts as pieces of the layout, so that every other check and writer takes them as it takes parts.

Owns where they stand and which bodies they may touch: a screw fills its holes, so contact and nearness to what it
passes and to what it is screwed into are the point; overlap is a clash all the same.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from elbowroom.model.layout.identity import Screwed
from elbowroom.model.layout.layout import Joined, Piece
from elbowroom.model.screws.choosing import Chosen
from elbowroom.model.screws.lines import Axis
from elbowroom.model.screws.receivers import bore_of
from elbowroom.parts.fan.layers import Washer
from elbowroom.parts.screw.screw import Nut, Screw
from elbowroom.parts.screw.screw_tables import washer
from elbowroom.parts.vocabulary.base import Mark
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import Pose, compose, pose

ASSEMBLY = "screws"
HELD_BY = "screw"  # why a screw and what it holds may touch, in a word
SAME_DIGITS = 9  # of mm: lengths that sums of other lengths make are one length, however they are added up
_TOUCH = 0.3  # mm: faces of a piece nearer than this to an end of the axis in it lie on that end


def insert_fasteners(chosen: Sequence[Chosen]) -> tuple[list[Piece], list[Joined]]:
    """The pieces of all screws that have a length, and what they may touch."""
    pieces: list[Piece] = []
    joined: list[Joined] = []
    faces = _Faces()
    for c in chosen:
        if c.length is None or c.why:
            continue
        for row in c.rows:
            new = _pieces(c, row)
            pieces += new
            joined += _joined(new, c.joint.axes[row], faces)
    return pieces, joined


def _pieces(c: Chosen, row: int) -> list[Piece]:
    axis, joint = c.joint.axes[row], c.joint.name
    height = sum(x.thickness for x in c.layers)
    out: list[Piece] = []
    for k in range(c.washers):
        size = washer(c.thread)
        part = Washer(inner=Mm(size.inner), outer=Mm(size.outer), thickness=Mm(size.thickness))
        who = Screwed("washer", joint, row, k if c.washers > 1 else None)
        out.append(_piece(who, part, _at(axis, height), (size.cited.source, size.cited.mark)))
        height += size.thickness
    assert c.length is not None
    if axis.stud is not None:
        hole = axis.passed[-1].opening
        if hole is None or hole.thread is None:
            nut = Nut(thread=c.thread)
            out.append(_piece(Screwed("nut", joint, row), nut, _at(axis, height), ("ISO 4032", "V")))
        return out
    # A thread-forming screw is thin down to the end of what it cuts: its thread passes the holes before that.
    plain = 0.0 if c.joint.ends == "forming" else round(min(height, c.length), SAME_DIGITS)
    # No longer than the shank, so that a bore that grows with the part around it draws the same screw.
    bored = Mm(round(min(bore_of(c.joint, axis) + height, c.length) - plain, SAME_DIGITS))
    screw = Screw(thread=c.thread, length=Mm(c.length), head=c.head, plain=Mm(plain), bored=bored)
    out.append(_piece(Screwed(c.label, joint, row), screw, _at(axis, height), ("chosen for the joint", "V")))
    if c.joint.ends == "nut":
        nut = Nut(thread=c.thread)
        out.append(_piece(Screwed("nut", joint, row), nut, _at(axis, -nut.box().hi[2]), ("ISO 4032", "V")))
    return out


def _piece(who: Screwed, part: Washer | Screw | Nut, at: Pose, rests: tuple[str, Mark]) -> Piece:
    # Heads lie outside the panel they hold; which pieces may stand out there is no question of theirs.
    sources = dict.fromkeys(type(part).model_fields, rests)
    return Piece(str(who), part, at, ASSEMBLY, frozenset(), sources, outside=True, identity=who)


def _at(axis: Axis, height: float) -> Pose:
    p, out = axis.point(height), np.array(axis.out)
    return pose((p[0], p[1], p[2]), (out[0], out[1], out[2]))


class _Faces:
    """The frames of pieces in case coordinates, each piece's worked out once."""

    def __init__(self) -> None:
        self._known: dict[str, list[tuple[Pose, tuple[str, ...]]]] = {}

    def of(self, piece: Piece) -> list[tuple[Pose, tuple[str, ...]]]:
        if piece.name not in self._known:
            self._known[piece.name] = [(compose(piece.pose, f.pose), f.bodies) for f in piece.part.frames()]
        return self._known[piece.name]


def _joined(new: Sequence[Piece], axis: Axis, faces: _Faces) -> list[Joined]:
    """All the new pieces with each other, and with the bodies of everything on the axis."""
    own = [f"{p.name}/{b.name}" for p in new for b in p.part.bodies()]
    others = [f"{axis.piece.name}/{b.name}" for b in axis.piece.part.bodies() if b.keep_out is None]
    out = np.array(axis.out)
    for p in axis.passed:
        bodies = {p.pattern.body} if p.pattern is not None else set()
        for at, touching in faces.of(p.piece):
            along = float((at[:3, 3] - np.array(p.near)) @ out)
            level = abs(float(at[:3, 2] @ out)) > 0.999
            if level and min(abs(along), abs(along - (p.thickness or 0.0))) <= _TOUCH:
                bodies.update(touching)
        others += sorted(f"{p.piece.name}/{b}" for b in bodies)
    pairs = [(a, b) for i, a in enumerate(own) for b in own[i + 1 :]] + [(a, b) for a in own for b in others]
    return [Joined(a, b, HELD_BY) for a, b in pairs]
