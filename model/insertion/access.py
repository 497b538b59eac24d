"""What keeps a driver from a screw and fingers from a collar, as sets of pieces, whatever of them stands at a step.

Owns the bars that stand for tools and hands, each put to all pieces at once: at any step a tool gets there if none of
those it meets is in yet. Which tool a screw takes is told as in `screws.drivers`: a straight driver, or a short key
where the case or what the screw holds leaves no more.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from elbowroom.model.geometry.envelopes import Rod, Rods, obstacles_of, posed
from elbowroom.model.geometry.freespace import Space
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.insertion.items import Fastening, Items, Plug
from elbowroom.model.reach.chains import grid, turns
from elbowroom.model.reach.hands import STEP, fingertip
from elbowroom.model.reach.rooms import LIFT
from elbowroom.model.screws.drivers import CLEAR_MM, KEY_MM, KEY_ROOM_MM, over_head
from elbowroom.parts.fitting.fitting import Fitting
from elbowroom.parts.screw.screw_tables import DRIVER
from elbowroom.parts.vocabulary.arrays import Mask

Pieces = frozenset[str]


@dataclass(frozen=True, slots=True)
class Reached:
    """Whether a tool gets there at a step, and with what; else what is in the way."""

    by: str | None
    blockers: Pieces = frozenset()
    row: int = 0


class Access:
    """Answers about one scene."""

    def __init__(self, items: Items) -> None:
        self.items = items
        self._fingers: dict[str, tuple[Pieces, ...]] = {}

    @cached_property
    def _space(self) -> Space:
        """Everything real that stays where it is put: no screws, no cables, and nothing of the case that is off."""
        keep = tuple(
            s for s in self.items.scene.solids
            if s.body.keep_out is None and not s.piece.part.small and s.name not in self.items.off
            and s.piece.name not in self.items.bending
        )  # fmt: skip
        return Space(obstacles_of(Scene(self.items.scene.layout, keep)))

    @cached_property
    def _pieces(self) -> list[str]:
        keep = {s.name: s.piece.name for s in self.items.scene.solids}
        return [keep[n] for n in self._space.names]

    def _met(self, rods: Rods, skip: Mask | None = None) -> list[Pieces]:
        """For each bar all pieces that it meets."""
        space = self._space
        out: list[set[str]] = [set() for _ in range(len(rods))]
        none = np.zeros(len(space.names), dtype=bool)
        for bar, k, d, _, _ in space.distances(
            rods, float(space.bounds.max(initial=0.0)), none if skip is None else skip
        ):
            if d <= space.bounds[k]:
                out[bar].add(self._pieces[k])
        inside = space.inside((rods.starts + rods.ends) / 2)
        for bar, k in enumerate(inside.tolist()):
            if k >= 0:
                out[bar].add(self._pieces[k])
        return [frozenset(o) for o in out]

    # Screws -----------------------------------------------------------------------------------------------------------

    @cached_property
    def drivers(self) -> dict[str, list[tuple[int, Pieces, Pieces]]]:
        """By joint and row: what a straight driver meets over the head, and what a slim key does."""
        placed = [
            (f, c, row) for f in self.items.fastenings for c in f.chosen for row in c.rows
            if row in f.screws and c.length is not None and not c.why and f.joint.ends != "stud"
        ]  # fmt: skip
        if not placed:
            return {}
        starts = np.array([over_head(c, row) for _, c, row in placed])
        ways = np.array([f.joint.axes[row].out for f, _, row in placed])
        begin = starts + CLEAR_MM * ways
        bars = [
            self._met(Rods(begin, starts + far * ways, np.full(len(starts), thick / 2), False))
            for far, thick in ((DRIVER.length, DRIVER.diameter), (KEY_ROOM_MM, KEY_MM))
        ]
        out: dict[str, list[tuple[int, Pieces, Pieces]]] = {}
        for (f, _, row), straight, key in zip(placed, *bars, strict=True):
            out.setdefault(f.name, []).append((row, straight, key))
        return out

    def driven(self, joint: Fastening, there: Collection[str]) -> Reached:
        """Whether every screw of a joint is reached while these pieces and the case stand."""
        standing = frozenset(there) | self.items.cases
        own = joint.holds | self.items.cases
        by = "straight driver"
        for row, straight, key in self.drivers.get(joint.name, ()):
            met = straight & standing
            if not met:
                continue
            if met <= own and not key & standing:
                by = "short key"
                continue
            return Reached(None, (met - own) or met, row)
        return Reached(by)

    # Collars ----------------------------------------------------------------------------------------------------------

    def fingers(self, plug: Plug) -> tuple[Pieces, ...]:
        """For each side of a fitting's collar what is in a fingertip's way; empty where nothing is turned by hand."""
        if plug.guest not in self._fingers:
            self._fingers[plug.guest] = self._sides(plug)
        return self._fingers[plug.guest]

    def _sides(self, plug: Plug) -> tuple[Pieces, ...]:
        piece = self.items.pieces[plug.guest]
        if not isinstance(piece.part, Fitting) or piece.part.finger_room <= 0:
            return ()
        base = self.items.pieces[plug.host].frame_pose(plug.frame)
        poses = base[None] @ turns(grid(STEP))
        tips: Sequence[Rod] = fingertip(piece.part, LIFT)
        own = np.array([n == plug.guest for n in self._pieces], dtype=bool)
        sides: list[set[str]] = [set() for _ in range(len(poses))]
        for tip in tips:
            for k, met in enumerate(self._met(posed(tip, poses), own)):
                sides[k] |= met
        found = {frozenset(s) for s in sides}
        return tuple(sorted((s for s in found if not any(o < s for o in found)), key=lambda s: (len(s), sorted(s))))

    def turned(self, plug: Plug, there: Collection[str]) -> Reached:
        """Whether fingers find room beside a fitting's collar while these pieces and the case stand."""
        sides = self.fingers(plug)
        standing = frozenset(there) | self.items.cases
        left = [s & standing for s in sides]
        if not left or any(not s for s in left):
            return Reached("fingers")
        return Reached(None, min(left, key=lambda s: (len(s), sorted(s))))
