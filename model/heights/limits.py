"""What stands against a height: every question of the checks, asked as a function of it.

Owns which questions depend on the height and where each is at fault: gaps between bodies, overlap of mated ones, room
kept free, faces that must meet, and standing inside the case. Pairs are measured with the mesh kernel, the meshes'
bounds taken off; where a verdict hangs on less, the pair is judged as the checks judge it. Leaves choosing a height to
`solving`.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal, assert_never

import numpy as np

from elbowroom.model.checks.contacts import mated_bodies
from elbowroom.model.checks.containment import check as contained
from elbowroom.model.checks.interference import wanted_between
from elbowroom.model.checks.keep_out import admitted
from elbowroom.model.checks.mates import ALIGNED
from elbowroom.model.geometry import judged
from elbowroom.model.geometry.pairs import Checker
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.heights.moved import Moved
from elbowroom.model.heights.nearing import by_boxes, never_near, relative
from elbowroom.model.heights.ranges import Answer, Stretch, search
from elbowroom.model.layout.layout import Piece
from elbowroom.model.told.progress import Progress
from elbowroom.model.tolerances import CONTACT_MM, MATE_ORIGIN_MM, MATE_PLANE_MM
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.pose import compose

_EDGE = 1e-6  # mm: to which the height is found at which a piece leaves the case
EXACT_ASKED = 200  # heights of one search that the exact kernel is asked about, at up to 0.5 s each; what hangs on it
# beyond that counts as at fault, and as unread


Question = Literal[
    "clearance", "keep-out", "mate", "containment", "screw", "hole-alignment", "tool-access", "port-reach"
]
Apart = Callable[[Piece, Piece], bool]  # whether two pieces need not be asked about


@dataclass(frozen=True, slots=True)
class Limit:
    """One thing that stands against some heights: the question, the names it is about, and the heights at fault.

    parts: the pieces; names: as a finding says them. wanted: the gap asked for, mm, None where none is. read: the
    widest cell that was taken as read, mm; 0 where the stretches are certain throughout. unread: mm of the stretches
    that the bound on questions left open. said: the fault in words, where the question has words of its own.
    """

    question: Question
    parts: tuple[str, ...]
    names: tuple[str, ...]
    wanted: float | None
    bad: tuple[Stretch, ...]
    read: float = 0.0
    unread: float = 0.0
    said: str = ""


class Budget:
    """How many more heights the exact kernel may be asked about."""

    def __init__(self, left: int = EXACT_ASKED) -> None:
        self.left = left

    def take(self) -> bool:
        self.left -= 1
        return self.left >= 0


def limits(
    moved: Moved,
    progress: Progress | None = None,
    *,
    only: Collection[str] | None = None,
    apart: Apart | None = None,
    budget: Budget | None = None,
) -> list[Limit]:
    """Everything that is at fault at some height of the range.

    only: pieces of which one is in every pair that is asked about (mates and the case are then asked of them alone).
    apart: tells pairs that need not be asked about.
    """
    budget = Budget() if budget is None else budget
    pairs = _pairs(moved, only, apart)
    found = [*_mates(moved, only), *_contained(moved, only)]
    for n, (i, j, question, wanted) in enumerate(pairs, 1):
        one, other = moved.scene.solids[i], moved.scene.solids[j]
        pair = _Pair(moved, i, j, wanted, budget)
        got = search(pair.ask, moved.lo, moved.hi)
        if got.bad or got.read:
            parts, names = (one.piece.name, other.piece.name), (one.name, other.name)
            found.append(Limit(question, parts, names, wanted, got.bad, got.read, got.unread))
        if progress is not None:
            progress(n, len(pairs), "finding the height")
    return found


# Pairs of bodies ------------------------------------------------------------------------------------------------------


def _pairs(
    moved: Moved, only: Collection[str] | None, apart: Apart | None
) -> list[tuple[int, int, Literal["clearance", "keep-out"], float | None]]:
    """The pairs to follow: solids, question, and the wanted gap; None where only overlap counts."""
    scene = moved.scene
    by_name = {s.name: k for k, s in enumerate(scene.solids)}
    kept = Scene(replace(moved.layout, mates=tuple(moved.mates())), scene.solids)
    mated = mated_bodies(kept, Checker(kept, moved.store))
    let_in = admitted(scene, moved.checker)
    gaps: dict[tuple[str, str], float] = {}
    out: list[tuple[int, int, Literal["clearance", "keep-out"], float | None]] = []
    for i, j in by_boxes(moved, only):
        one, other = scene.solids[i], scene.solids[j]
        a, b = one.piece, other.piece
        if apart and apart(a, b):
            continue
        if one.mesh.fault is not None or other.mesh.fault is not None:
            continue  # at no height can that pair be judged: the check says so, whatever the height
        rooms = [s for s in (one, other) if s.body.keep_out is not None]
        if len(rooms) == 2:
            continue
        if rooms:
            body = other if rooms[0] is one else one
            own = rooms[0]
            if body.piece.part.family in own.body.admits or (own.name, body.piece.name) in let_in:
                continue
            k = (by_name[own.name], by_name[body.name])
            wanted = None
            question: Literal["clearance", "keep-out"] = "keep-out"
        else:
            k = (i, j)
            if (a.name, b.name) not in gaps:
                gaps[(a.name, b.name)] = wanted_between(moved.layout.gaps, a, b)
            wanted = None if (i, j) in mated else gaps[(a.name, b.name)]
            question = "clearance"
        if not never_near(moved, *k, wanted):
            out.append((*k, question, wanted))
    return out


class _Pair:
    """One pair of bodies as a function of the height. wanted: the gap, mm; None where only overlap is a fault."""

    def __init__(self, moved: Moved, i: int, j: int, wanted: float | None, budget: Budget) -> None:
        self.moved, self.i, self.j, self.wanted, self.budget = moved, i, j, wanted, budget
        names = (moved.scene.solids[i].piece.name, moved.scene.solids[j].piece.name)
        self.rate = moved.rate(*names)

    def ask(self, h: float) -> Answer:
        """Whether the pair is as wanted at height h, and the change over which that must stay so.

        A true gap g is at least d - e, with d the meshes' distance and e their bounds together, and at most d + e; the
        bodies come nearer by no more than `rate` for each millimetre of height.
        """
        from elbowroom.model.geometry.narrow import nearest
        from elbowroom.model.geometry.posed_pair import PosedPair

        one, other = (self.moved.solid(k, h) for k in (self.i, self.j))
        a, b = self.moved.checker.kernel(one), self.moved.checker.kernel(other)
        turn, move = relative(one, other)
        e, d = a.bound + b.bound, nearest(a, b, turn, move).distance
        pair = PosedPair(a, b, turn, move)
        need = 0.0 if self.wanted is None else self.wanted - CONTACT_MM  # as the check has it
        if d > e + pair.slack:
            if pair.boxes_meet() and pair.held():
                # Free only once the surfaces have met and parted again by what is wanted.
                return Answer(False, (d - e + max(need, 0.0)) / self.rate)
            if d - e >= need:
                return Answer(True, (d - e - max(need, 0.0)) / self.rate)
        if d + e < need:  # apart, touching or overlapping: less than wanted in every case
            return Answer(False, (need - d - e) / self.rate)
        return self._judged(h)

    def _judged(self, h: float) -> Answer:
        """The answer as the check gives it, exact kernel included; at fault where the bound on that is reached."""
        if not self.budget.take():
            return Answer(False, 0.0, asked=False)
        solids = (self.moved.solid(self.i, h), self.moved.solid(self.j, h))
        found = Checker(Scene(self.moved.layout, solids), self.moved.store).judge(0, 1, self.wanted)
        need = 0.0 if self.wanted is None else max(self.wanted - CONTACT_MM, 0.0)
        match found:
            case judged.Overlap():  # no shorter move than the depth frees them
                return Answer(False, (found.low + need) / self.rate)
            case judged.Contact():
                return Answer(self.wanted is None, 0.0 if self.wanted is None else need / self.rate)
            case judged.Apart():
                if found.low >= need:
                    return Answer(True, (found.low - need) / self.rate)
                return Answer(False, max(0.0, need - found.high) / self.rate)
            case judged.Undecided():
                return Answer(False, 0.0)
            case _:
                assert_never(found)


# Faces that must meet, and the case -----------------------------------------------------------------------------------


def _mates(moved: Moved, only: Collection[str] | None) -> list[Limit]:
    """Mates that hold at some heights only: the frames' offset is linear in the height."""
    out = []
    for m in moved.layout.mates:
        if not m.contact or (only is not None and m.piece not in only and m.to_piece not in only):
            continue
        ends: list[Floats] = []
        aligned = False
        for h in (moved.lo, moved.hi):
            one, other = (moved.piece(moved.layout.piece(n), h) for n in (m.piece, m.to_piece))
            frame, to_frame = one.frame(m.frame), other.frame(m.to_frame)
            aligned = frame.kind in ALIGNED or to_frame.kind in ALIGNED
            pose, to_pose = compose(one.pose, frame.pose), compose(other.pose, to_frame.pose)
            off = pose[:3, 3] - to_pose[:3, 3]
            ends.append(off if aligned else to_pose[:3, 2] * float(off @ to_pose[:3, 2]))
        speed = (ends[1] - ends[0]) / (moved.hi - moved.lo)
        if float(np.linalg.norm(speed)) < CONTACT_MM:
            continue
        best = moved.lo - float(ends[0] @ speed) / float(speed @ speed)
        miss = ends[0] + speed * (best - moved.lo)
        room = (MATE_ORIGIN_MM if aligned else MATE_PLANE_MM) ** 2 - float(miss @ miss)
        half = (max(room, 0.0) / float(speed @ speed)) ** 0.5
        bad = [(moved.lo, min(best - half, moved.hi)), (max(best + half, moved.lo), moved.hi)]
        if room < 0:
            bad = [(moved.lo, moved.hi)]
        kept = tuple(s for s in bad if s[1] > s[0])
        if kept:
            names = (f"{m.piece}/{m.frame}", f"{m.to_piece}/{m.to_frame}")
            out.append(Limit("mate", (m.piece, m.to_piece), names, None, kept))
    return out


def _contained(moved: Moved, only: Collection[str] | None) -> list[Limit]:
    """Where pieces leave the case: through each side a piece is inside up to some height, or from one on."""
    asked = moved.movers if only is None else moved.movers & frozenset(only)
    moves = [k for k, s in enumerate(moved.scene.solids) if s.piece.name in asked or s.piece.part.encloses]

    def outside(h: float) -> set[tuple[str, str]]:
        solids = tuple(moved.solid(k, h) for k in moves)
        part = Scene(moved.layout, solids)
        return {(f.parts[0], f.place) for f in contained(part, Checker(part, moved.store)) if f.verdict == "fail"}

    at_lo, at_hi = outside(moved.lo), outside(moved.hi)
    out = []
    for key in sorted(at_lo | at_hi):
        stretch = (moved.lo, moved.hi)
        bad = partial(_among, outside, key)
        if key not in at_hi:
            stretch = (moved.lo, _edge(bad, moved.lo, moved.hi))
        elif key not in at_lo:
            stretch = (_edge(bad, moved.hi, moved.lo), moved.hi)
        out.append(Limit("containment", (key[0],), (key[0], key[1]), None, (stretch,)))
    return out


def _among(outside: Callable[[float], set[tuple[str, str]]], key: tuple[str, str], h: float) -> bool:
    return key in outside(h)


def _edge(bad: Callable[[float], bool], at_fault: float, fine: float) -> float:
    """The height between one at fault and one that is fine up to which the fault lasts."""
    while abs(at_fault - fine) > _EDGE:
        middle = (at_fault + fine) / 2
        at_fault, fine = (middle, fine) if bad(middle) else (at_fault, middle)
    return fine
