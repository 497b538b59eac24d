"""In which other slot would a card fit? Each is tried in the scene before it is offered.

Owns putting a card, with all that stands on it, into another slot of the same board or case and asking the checks about
it there, and naming what is in the way where it does not fit. Leaves which slots come into question to `slots`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from elbowroom.model.checks.containment import check as containment
from elbowroom.model.checks.interference import check as interference
from elbowroom.model.checks.keep_out import check as keep_out
from elbowroom.model.checks.mates import check as mates
from elbowroom.model.geometry.pairs import Checker
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.store import Store
from elbowroom.model.told.findings import FAILING, UNDECIDED, Finding
from elbowroom.parts.card.gpu import Gpu
from elbowroom.parts.tube.tube import TubeRun

InTheWay = Callable[[Piece, Piece, str, str], str]  # card, board, frame it is in, frame asked about: what is in the way


def taken(layout: Layout, card: Piece, to: Piece, frame: str) -> str:
    """The cards that take a slot, or the ones beside it that the card would need, in words; empty where none does."""
    part = card.part
    if not isinstance(part, Gpu):
        return ""
    stem, own = frame.rpartition("-")[0], _covered(frame, part.slots)
    by = [
        m.piece
        for m in layout.mates
        if m.to_piece == to.name and m.piece != card.name and m.to_frame.rpartition("-")[0] == stem
        and isinstance(other := layout.piece(m.piece).part, Gpu) and own & _covered(m.to_frame, other.slots)
    ]  # fmt: skip
    return f"{' and '.join(dict.fromkeys(by))} {'takes' if len(by) == 1 else 'take'} it" if by else ""


def _covered(frame: str, count: int) -> frozenset[int]:
    first = int(frame.rpartition("-")[2])
    return frozenset(range(first, first + count))


def trier(scene: Scene, store: Store) -> InTheWay:
    """Asks of a scene what would be in a card's way in another slot."""

    def in_the_way(card: Piece, to: Piece, was: str, frame: str) -> str:
        by = taken(scene.layout, card, to, frame)
        return by or _met(scene, store, card, to, was, frame)

    return in_the_way


def _met(scene: Scene, store: Store, card: Piece, to: Piece, was: str, frame: str) -> str:
    layout = scene.layout
    step = to.frame_pose(frame)[:3, 3] - to.frame_pose(was)[:3, 3]
    along = _on(layout, card.name)
    loose = {p.name for p in layout.pieces if isinstance(p.part, TubeRun) and _ends_at(layout, p.name, along)}
    moved = {n: _moved(layout.piece(n), step) for n in along}
    pieces = tuple(moved.get(p.name, p) for p in layout.pieces if p.name not in loose)
    # With the slot of the board goes the one of the case behind it, whose frame is called by the same number.
    joined = tuple(
        replace(m, to_frame=m.to_frame.removesuffix(was) + frame)
        if m.piece == card.name and m.to_frame in (was, f"rear-{was}")
        else m
        for m in layout.mates
        if not {m.piece, m.to_piece} & loose
    )
    solids = tuple(
        replace(s, piece=moved[s.piece.name], pose=moved[s.piece.name].pose, lo=s.lo + step, hi=s.hi + step)
        if s.piece.name in moved
        else s
        for s in scene.solids
        if s.piece.name not in loose
    )
    tried = Scene(replace(layout, pieces=pieces, mates=joined), solids)
    checker = Checker(tried, store)
    found = [
        *interference(tried, checker), *keep_out(tried, checker), *mates(tried, checker), *containment(tried, checker)
    ]  # fmt: skip
    checker.flush()
    return _words([f for f in found if f.verdict in FAILING | UNDECIDED and set(f.parts) & along], along)


def _words(bad: list[Finding], along: frozenset[str]) -> str:
    if not bad:
        return ""
    first = min(bad, key=lambda f: f.rank)
    others = [n for n in first.parts if n not in along]
    if first.question == "containment" or not others:
        return f"there {first.text}"
    return f"it would {'meet' if first.verdict in ('clash', 'touch') else 'stand too near to'} {others[0]} there"


def _on(layout: Layout, name: str) -> frozenset[str]:
    """A piece and all that is placed on it, and on that."""
    found, ask = {name}, [name]
    while ask:
        at = ask.pop()
        for m in layout.mates:
            if m.placed and m.to_piece == at and m.piece not in found:
                found.add(m.piece)
                ask.append(m.piece)
    return frozenset(found)


def _ends_at(layout: Layout, tube: str, pieces: frozenset[str]) -> bool:
    return any(tube in (m.piece, m.to_piece) and {m.piece, m.to_piece} & pieces for m in layout.mates)


def _moved(piece: Piece, step: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> Piece:
    pose = piece.pose.copy()
    pose[:3, 3] += step
    return replace(piece, pose=pose)
