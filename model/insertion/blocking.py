"""What is in the way of a piece that moves straight, in which direction, and after how far.

Owns the question put to every two pieces, what counts as in the way, and the memory of answers. Bodies that a mate or a
screw lets touch may pass each other by as much as their meshes are known to; what shares room where it stands is told
by the checks, and is no obstacle here, since it can be taken apart by no move. Leaves which ways are tried to `ways`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass

import numpy as np

from elbowroom.model.checks.contacts import mated_bodies
from elbowroom.model.geometry.judged import Overlap
from elbowroom.model.geometry.pairs import Checker
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.insertion.items import Items
from elbowroom.model.insertion.sliding import FAR, FILM_MM, LEVEL_MM, Profile, Ran, along, profile, run_into
from elbowroom.model.store import Store
from elbowroom.model.tolerances import CONTACT_MM, POSE_MOVE_DIGITS, POSE_TURN_DIGITS
from elbowroom.parts.vocabulary.arrays import Floats, Ints, Triangles, Vector
from elbowroom.parts.vocabulary.pose import Pose, apply

NOWHERE: Vector = np.zeros(3)


@dataclass(frozen=True, slots=True)
class Met:
    """What a unit runs into: both units, the bodies that meet first (their places in the scene), and the contact. sure:
    False where it may yet pass, the meshes being known no better."""

    mover: str
    other: str
    bodies: tuple[int, int]
    ran: Ran

    @property
    def sure(self) -> bool:
        return not self.ran.thin


@dataclass(frozen=True, slots=True, eq=False)
class Slide:
    """A straight move: from where it stands by `shift`, then `far` mm along `way`, a unit vector."""

    way: Vector
    shift: Vector
    far: float
    key: bytes

    @classmethod
    def of(cls, way: Vector, shift: Vector = NOWHERE, far: float = FAR) -> Slide:
        text = np.round(np.array([*way, *shift, min(far, FAR)]), POSE_MOVE_DIGITS) + 0.0
        return cls(way, shift, far, text.tobytes())


class View:
    """All bodies as they are seen along one line."""

    def __init__(self, axes: Floats, vertices: Sequence[Floats], triangles: Sequence[Triangles]) -> None:
        self.axes, self._vertices, self._triangles = axes, vertices, triangles
        seen = [v @ axes for v in vertices]
        self.lo = np.array([s.min(axis=0) for s in seen]).reshape(-1, 3)
        self.hi = np.array([s.max(axis=0) for s in seen]).reshape(-1, 3)
        self._profiles: dict[int, Profile] = {}

    def profile(self, k: int) -> Profile:
        if k not in self._profiles:
            self._profiles[k] = profile(self._vertices[k], self._triangles[k], self.axes)
        return self._profiles[k]


class Blocking:
    """Answers about one scene; remembers them. A unit is a part, the screws of a joint, or a case."""

    def __init__(self, items: Items, store: Store) -> None:
        self.items, self.scene = items, items.scene
        self.checker = Checker(items.scene, store)
        self.mated = mated_bodies(items.scene, self.checker)
        self.let_by = frozenset(_let_by(items.scene))
        self.vertices = [apply(s.pose, s.mesh.vertices) for s in self.scene.solids]
        self.triangles = [s.mesh.triangles for s in self.scene.solids]
        self.bounds = np.array([s.mesh.bound for s in self.scene.solids])
        self.rows: dict[str, Ints] = {n: items.rows([n]) for n in (*items.parts, *items.cases)}
        for f in items.fastenings:
            self.rows[f.name] = items.rows([n for names in f.screws.values() for n in names])
        self.unit_of = {k: unit for unit, rows in self.rows.items() for k in rows.tolist()}
        self._taken_part = np.array([k in self.unit_of for k in range(len(self.scene.solids))], dtype=bool)
        self._views: dict[bytes, View] = {}
        self._near: dict[tuple[str, bytes], dict[str, list[tuple[int, int]]]] = {}
        self._pairs: dict[tuple[str, str, bytes], Met | None] = {}
        self._bodies: dict[tuple[int, int, bytes], Ran | None] = {}
        self.asked = 0

    def view(self, axes: Floats) -> View:
        key = np.round(axes, POSE_TURN_DIGITS).tobytes()
        if key not in self._views:
            self._views[key] = View(axes, self.vertices, self.triangles)
        return self._views[key]

    def turned(self, moving: Collection[str], motion: Pose) -> Blocking:
        """The same scene with some units moved by a motion of the case, for what is asked of them there."""
        out = copy(self)
        out.vertices = list(self.vertices)
        for n in moving:
            for k in self.rows[n].tolist():
                out.vertices[k] = apply(motion, self.vertices[k])
        out._views, out._near, out._pairs, out._bodies = {}, {}, {}, {}
        return out

    def clashing(self, i: int, j: int) -> bool:
        """Whether two bodies share room where they stand."""
        a, b = (i, j) if i < j else (j, i)
        if self.checker.boxes.gap(np.array([a]), np.array([b]))[0] > 0:
            return False
        return isinstance(self.checker.judge(a, b), Overlap)

    def clashes(self) -> list[tuple[str, str]]:
        """Units that share room where they stand, each two once: what is told of a way leaves such two out."""
        rows = [k for k in range(len(self.scene.solids)) if self._taken_part[k]]
        found: dict[tuple[str, str], None] = {}
        for n, i in enumerate(rows):
            own = self.unit_of[i]
            others = np.array([j for j in rows[n + 1 :] if self.unit_of[j] != own], dtype=np.int64)
            if not len(others):
                continue
            gaps = self.checker.boxes.gap(np.full(len(others), i), others)
            for j in others[gaps <= 0].tolist():
                pair = (own, self.unit_of[j])
                if pair not in found and self.clashing(i, j):
                    found[pair] = None
        return list(found)

    def met(self, moving: Iterable[str], standing: Collection[str], slide: Slide, *, first: bool = False) -> list[Met]:
        """What some units run into of those that stand, each two units' first contact. first: one is enough."""
        out: list[Met] = []
        group = frozenset(moving)
        for unit in sorted(group):
            for other in self._near_to(unit, slide):
                if other in group or other not in standing:
                    continue
                met = self._pair(unit, other, slide)
                if met is not None:
                    out.append(met)
                    if first:
                        return out
        return out

    def bodies_met(self, moving: Ints, others: Collection[str], slide: Slide) -> list[Met]:
        """The same of some bodies by themselves."""
        pairs: dict[str, list[tuple[int, int]]] = {}
        for k in moving.tolist():
            for other, some in self._boxes_met(np.array([k]), slide).items():
                if other in others:
                    pairs.setdefault(other, []).extend(some)
        found = (self._first(self.unit_of[some[0][0]], other, some, slide) for other, some in pairs.items())
        return [m for m in found if m is not None]

    def _near_to(self, unit: str, slide: Slide) -> dict[str, list[tuple[int, int]]]:
        key = (unit, slide.key)
        if key not in self._near:
            self._near[key] = self._boxes_met(self.rows[unit], slide)
        return self._near[key]

    def _boxes_met(self, moving: Ints, slide: Slide) -> dict[str, list[tuple[int, int]]]:
        """By unit, the bodies whose boxes lie ahead of some bodies that move."""
        axes, against = along(slide.way)
        view = self.view(axes)
        s = slide.shift @ axes
        out: dict[str, list[tuple[int, int]]] = {}
        for i in moving.tolist():
            lo, hi = view.lo[i] + s, view.hi[i] + s
            near = self._taken_part.copy()
            for k in (0, 1):
                near &= (view.hi[:, k] - lo[k] > FILM_MM) & (hi[k] - view.lo[:, k] > FILM_MM)
            if against:
                near &= (view.lo[:, 2] <= hi[2] + LEVEL_MM) & (lo[2] - view.hi[:, 2] <= slide.far)
            else:
                near &= (view.hi[:, 2] >= lo[2] - LEVEL_MM) & (view.lo[:, 2] - hi[2] <= slide.far)
            for j in np.flatnonzero(near).tolist():
                if (i, j) not in self.let_by:
                    out.setdefault(self.unit_of[j], []).append((i, j))
        return out

    def _pair(self, unit: str, other: str, slide: Slide) -> Met | None:
        key = (unit, other, slide.key)
        if key not in self._pairs:
            self._pairs[key] = self._first(unit, other, self._near_to(unit, slide)[other], slide)
        return self._pairs[key]

    def _first(self, unit: str, other: str, pairs: Sequence[tuple[int, int]], slide: Slide) -> Met | None:
        best: Met | None = None
        for i, j in pairs:
            ran = self._ran(i, j, slide)
            if ran is None or (ran.thin and (i, j) in self.mated):
                continue
            if best is not None and (best.ran.thin, best.ran.travel) <= (ran.thin, ran.travel):
                continue
            if not self.clashing(i, j):
                best = Met(unit, other, (i, j), ran)
        return best

    def _ran(self, i: int, j: int, slide: Slide) -> Ran | None:
        known = (i, j, slide.key)
        if known not in self._bodies:
            self.asked += 1
            axes, against = along(slide.way)
            view = self.view(axes)
            wide = float(self.bounds[i] + self.bounds[j]) + CONTACT_MM
            self._bodies[known] = run_into(
                view.profile(i), view.profile(j), view.axes, against, slide.shift, slide.far, wide
            )
        return self._bodies[known]


def _let_by(scene: Scene) -> Iterator[tuple[int, int]]:
    """Bodies that a card slot of the case lets by: its wall is open toward the side that cards come from, so that a
    bracket's bent end gets in, which no case here is drawn with. Common practice, no source (P). All else of the card
    is held against the wall.
    """
    index = {s.name: k for k, s in enumerate(scene.solids)}
    pieces = {p.name: p for p in scene.layout.pieces}
    for m in scene.layout.mates:
        frame = pieces[m.to_piece].frame(m.to_frame)
        if not pieces[m.to_piece].part.encloses or frame.kind != "slot":
            continue
        for own in pieces[m.piece].frame(m.frame).bodies:
            for wall in frame.bodies:
                i, j = index.get(f"{m.piece}/{own}"), index.get(f"{m.to_piece}/{wall}")
                if i is not None and j is not None:
                    yield i, j
                    yield j, i
    yield from _from_behind(scene, index)


def _from_behind(scene: Scene, index: Mapping[str, int]) -> Iterator[tuple[int, int]]:
    """What stands wholly under a shroud or in a drive cage goes in from behind the tray, which is open there, and a
    cage lets its drives out; no case here is drawn so. Common practice, no source (P).
    """
    for housing, opens in (("shroud", ("tray",)), ("drive-cage", ("tray", "drive-cage"))):
        for case in (p for p in scene.layout.pieces if p.part.encloses):
            own = index.get(f"{case.name}/{housing}")
            if own is None:
                continue
            lo, hi = scene.solids[own].lo, scene.solids[own].hi
            lo = np.array([lo[0], lo[1], min(lo[2], 0.0)])
            for piece in scene.layout.pieces:
                rows = [k for k, s in enumerate(scene.solids) if s.piece is piece and s.body.keep_out is None]
                if piece is case or not rows:
                    continue
                if all((scene.solids[k].lo >= lo - 1).all() and (scene.solids[k].hi <= hi + 1).all() for k in rows):
                    walls = [index[n] for w in opens if (n := f"{case.name}/{w}") in index]
                    yield from ((a, b) for k in rows for w in walls for a, b in ((k, w), (w, k)))
