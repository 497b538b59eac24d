"""What can be taken out while certain other things stand, of a real build: the question that `order` puts.

Owns what leaves together, which screws are undone for it, whether tools get to them, and by which way the pieces go.
What was found to be in the way is remembered, so that nothing is asked again before one of those has gone.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from elbowroom.model.geometry.scene import Scene
from elbowroom.model.insertion.access import Access, Reached
from elbowroom.model.insertion.blocking import Blocking, Met, Slide
from elbowroom.model.insertion.items import Fastening, Items
from elbowroom.model.insertion.order import Taken
from elbowroom.model.insertion.replay import Replay
from elbowroom.model.insertion.tilting import tilted
from elbowroom.model.insertion.ways import Moving, Way, directions, straight, two_legs
from elbowroom.model.store import Store
from elbowroom.parts.screw.screw import Nut
from elbowroom.parts.vocabulary.arrays import Vector

HAND_MM = 10.0  # mm that a fitting or screw is drawn out beyond its own length before it counts as in the hand; (P)


@dataclass(frozen=True, slots=True, eq=False)
class Undone:
    """A joint whose screws are undone, with what tool, and how far each screw is drawn out."""

    fastening: Fastening
    by: str
    far: float


@dataclass(frozen=True, slots=True, eq=False)
class Move:
    """How a group leaves: its pieces, the joints undone before, those that stay in it, and its way."""

    pieces: tuple[str, ...]
    undone: tuple[Undone, ...]
    inner: tuple[Fastening, ...]
    way: Way
    turned: str | None = None  # what a fitting is turned by


@dataclass(frozen=True, slots=True, eq=False)
class Why:
    """Why a group did not leave: what it meets in each direction, or the joint that no tool reaches, or the collar."""

    pieces: tuple[str, ...]
    met: tuple[Met, ...] = ()
    joint: Fastening | None = None
    reached: Reached | None = None
    screw: tuple[Met, ...] = ()

    @property
    def blockers(self) -> frozenset[str]:
        return frozenset() if self.reached is None else self.reached.blockers


@dataclass
class _Watched:
    """A refusal that stands as long as one thing of each of these sets does."""

    sets: list[frozenset[str]] = field(default_factory=list)
    why: Why | None = None


class Building:
    """A build as a puzzle: `take` is what `order.apart` asks. Joints are items with their names beside the parts'."""

    def __init__(self, scene: Scene, items: Items, store: Store, blocking: Blocking | None = None) -> None:
        self.scene, self.items, self.store = scene, items, store
        self.blocking = blocking or Blocking(items, store)
        self.access = Access(items)
        self.joints = {f.name: f for f in items.fastenings}
        self.legs = False  # whether ways of more than one leg are tried
        self.tilt = False  # whether ways that begin with a turn are tried
        self.bench = False  # without the case
        self.replay = Replay(self.blocking, store)
        self._refused: dict[tuple[str, bool, bool, bool], _Watched] = {}
        self._ways: dict[str, list[Vector]] = {}
        self._screw_met: dict[str, list[Met]] = {}

    @property
    def everything(self) -> frozenset[str]:
        return frozenset(self.items.parts) | frozenset(self.joints)

    # Groups -----------------------------------------------------------------------------------------------------------

    def groups(self, piece: str, there: frozenset[str]) -> list[frozenset[str]]:
        """What may leave together with a piece: what was put together on the bench, then what hangs in it alone."""
        alone = self._closed(piece, there, joints=False)
        if self.bench:
            return [alone]
        bench = self._closed(piece, there, joints=True)
        return [bench] if bench == alone else [bench, alone]

    def _closed(self, piece: str, there: frozenset[str], *, joints: bool) -> frozenset[str]:
        out, open_ = {piece}, [piece]
        while open_:
            n = open_.pop()
            more: set[str] = {g for g in self.items.guests.get(n, ()) if g in there}
            if joints:
                for f in self.items.held_by.get(n, ()):
                    if f.name in there and not f.cased:
                        more |= f.holds & there
            open_ += more - out
            out |= more
        return frozenset(out)

    # Taking -----------------------------------------------------------------------------------------------------------

    def take(self, item: str, there: frozenset[str]) -> Taken[Move] | None:
        """The piece taken out of what is there, with what goes along; None where it cannot, or where it is a joint."""
        if item in self.joints or item not in there:
            return None
        known = self._refused.get((item, self.legs, self.tilt, self.bench))
        if known is not None and all(s & there for s in known.sets):
            return None
        refused = _Watched()
        for group in self.groups(item, there):
            found = self._taken(item, group, there, refused)
            if found is not None:
                return found
        self._refused[item, self.legs, self.tilt, self.bench] = refused
        return None

    def why(self, item: str) -> Why | None:
        """Why a piece was refused last."""
        tries = ((True, False), (False, False))
        known = next((k for t in tries if (k := self._refused.get((item, *t, False))) is not None), None)
        return None if known is None else known.why

    def _taken(self, item: str, group: frozenset[str], there: frozenset[str], refused: _Watched) -> Taken[Move] | None:
        pieces = tuple(n for n in self.items.parts if n in group)
        around = [f for n in pieces for f in self.items.held_by.get(n, ()) if f.name in there]
        around = list({f.name: f for f in around}.values())
        inner = tuple(f for f in around if not f.cased and f.holds & there <= group)
        outer = [f for f in around if f not in inner]
        if self.bench:
            outer = [f for f in outer if not f.cased]
        undone = []
        for f in outer:
            done = self._undo(f, pieces, there, refused)
            if done is None:
                self._refuse(refused, frozenset({f.name}), None)
                return None
            undone.append(done)
        turned = None
        plug = self.items.plugs.get(item)
        hangs = plug is not None and plug.host in there and plug.host not in group
        if hangs and plug is not None and plug.screwed:
            reached = self.access.turned(plug, there - group)
            if reached.by is None:
                self._refuse(refused, reached.blockers & there, Why(pieces, reached=reached))
                return None
            turned = reached.by
        moving = self._moving(item, pieces, inner, [u.fastening.name for u in undone], there)
        way, met = straight(self.blocking, moving)
        if way is None and self.legs and moving.far is None:
            way = two_legs(self.blocking, moving)
        if way is None and self.tilt and moving.far is None:
            way = tilted(self.blocking, self.replay, moving)
        if way is None:
            for m in met:
                # Another group leaves once what is met has gone, or what of this one meets it.
                self._refuse(refused, frozenset({m.other}) & there, None)
                self._refuse(refused, (frozenset({m.mover}) - {item}) & there, None)
            refused.why = refused.why or Why(pieces, tuple(met))
            if self.legs:  # which of the others would open a second leg is not known: asked again when any has gone
                refused.sets = [frozenset({n}) for n in there if n not in group]
            return None
        goes = frozenset((*pieces, *(f.name for f in inner), *(u.fastening.name for u in undone)))
        return Taken(item, goes, Move(pieces, tuple(undone), inner, way, turned))

    @staticmethod
    def _refuse(refused: _Watched, blockers: frozenset[str], why: Why | None) -> None:
        """Note blockers of which one must go; none of them ever does where all belong to the case."""
        if blockers:
            refused.sets.append(blockers)
        refused.why = refused.why or why

    def _undo(self, f: Fastening, pieces: tuple[str, ...], there: frozenset[str], refused: _Watched) -> Undone | None:
        """A joint's screws drawn out, with all there that stands; None where one is not reached."""
        reached = self.access.driven(f, there)
        if reached.by is None:
            self._refuse(refused, reached.blockers & there, Why(pieces, joint=f, reached=reached))
            return None
        met = [m for m in self._screws_meet(f) if m.other in there or m.other in self.items.cases]
        if met:
            self._refuse(refused, frozenset({met[0].other}) & there, Why(pieces, joint=f, screw=tuple(met)))
            return None
        return Undone(f, reached.by, self._drawn(f))

    def _drawn(self, f: Fastening) -> float:
        """mm that a joint's screws are drawn out: the longest of them."""
        rows = self.items.rows([n for names in f.screws.values() for n in names])
        out = np.array(f.joint.axes[0].out)
        long = max(float(np.ptp(self.blocking.vertices[k] @ out)) for k in rows.tolist())
        return long + HAND_MM

    def _screws_meet(self, f: Fastening) -> list[Met]:
        """All that a joint's screws meet on their way out, screws of other joints too."""
        if f.name not in self._screw_met:
            found: list[Met] = []
            others = self.everything | self.items.cases - {f.name}
            for row, names in f.screws.items():
                axis = f.joint.axes[row]
                # A nut comes off the other end, and lies in the hand once its screw is out.
                screws = [n for n in names if not isinstance(self.items.pieces[n].part, Nut)]
                slide = Slide.of(np.array(axis.out), far=self._drawn(f))
                # It is turned through the holes of its own axis, which the checks of holes judge.
                passed = {f.name, axis.piece.name, *(p.piece.name for p in axis.passed)}
                found += self.blocking.bodies_met(self.items.rows(screws), others - passed, slide)
            self._screw_met[f.name] = found
        return self._screw_met[f.name]

    def _moving(
        self, item: str, pieces: tuple[str, ...], inner: tuple[Fastening, ...], undone: list[str],
        there: frozenset[str],
    ) -> Moving:  # fmt: skip
        units = frozenset((*pieces, *(f.name for f in inner)))
        loose = frozenset(e for n in pieces for e in self.items.ends.get(n, ()))
        cases: frozenset[str] = frozenset() if self.bench else self.items.cases
        plug = self.items.plugs.get(item)
        first, far = None, None
        if plug is not None and plug.host in there and plug.host not in units:
            first = plug.out
            if plug.screwed:
                rows = self.items.rows(pieces)
                far = max(float(np.ptp(self.blocking.vertices[k] @ plug.out)) for k in rows.tolist()) + HAND_MM
        return Moving(units, (there | cases) - units - loose - frozenset(undone), self.lines(item), first, far)

    def lines(self, item: str) -> list[Vector]:
        """The directions a piece is tried in: out of the face it is on, toward the open side, along itself and what it
        is mated with."""
        if item not in self._ways:
            extra: list[Vector] = []
            piece = self.items.pieces[item]
            for m in self.scene.layout.mates:
                if m.piece == item and m.to_piece in self.items.pieces:
                    z = self.items.pieces[m.to_piece].frame_pose(m.to_frame)[:3, 2]
                    extra += [z]
                elif m.to_piece == item:
                    extra += [-piece.frame_pose(m.to_frame)[:3, 2]]
            own = piece.pose[:3, :3]
            self._ways[item] = directions([*extra, np.array([0.0, -1.0, 0.0]), *own.T, *(-own).T])
        return self._ways[item]
