"""What is put on the parts once their height is known: screws, and fittings that stand as they are, at any height.

Owns the layout that a height is judged on: the bare parts as they stand there, the screws, washers and nuts that are
chosen for their layers at that height, and the fittings of the loop that do not turn, those on the raised parts moving
with them. Joints that no moving part belongs to are fastened once. Which heights have the same screws is found by
asking at a bounded number of them. Leaves where bodies are at fault to `limits`, choosing to `solving`.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from elbowroom.model.build.entries import Build
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.geometry.solidify import shape_key
from elbowroom.model.heights.choosing import whole
from elbowroom.model.heights.keeping import Alike
from elbowroom.model.heights.limits import Limit
from elbowroom.model.heights.moved import Moved
from elbowroom.model.layout.identity import Fitted
from elbowroom.model.layout.layout import Joined, Layout, Mate, Piece
from elbowroom.model.layout.place import Placed
from elbowroom.model.loop.fitted import fittings
from elbowroom.model.loop.plumbing import Plumbing
from elbowroom.model.screws import holes
from elbowroom.model.screws import lengths as screws
from elbowroom.model.screws.choosing import Chosen
from elbowroom.model.screws.fasten import Fastened, fasten
from elbowroom.model.screws.fasteners import insert_fasteners
from elbowroom.model.screws.joints import Joint
from elbowroom.model.screws.remedies import Remedies
from elbowroom.model.store import Store
from elbowroom.model.told.findings import FAILING, UNDECIDED, Finding
from elbowroom.parts.vocabulary.base import stated

PROBES = 160  # heights of one search at which the screws are chosen: some 0.1 s each
SAME_MM = 0.03  # to which the height is halved down at which another screw is chosen: under the finest layer (P)
_STEP = 25.0  # mm between heights asked about: a screw's length and washers change one way as what it goes through or
# into grows, so that what is alike at both ends of a step is alike between, save where tolerances jump
_CLASSES = (3.0, 6.0, 12.0, 30.0, 60.0, 120.0)  # mm: where general tolerances change, of a height or of half of one
_ASIDE = 1e-4  # mm to either side of such a height that is asked about: under any workshop's reach, over all rounding

Signature = tuple[object, ...]


class Stages:
    """A bare layout at any height with all that is put on it. at: a height to fasten the whole at, mm."""

    def __init__(self, build: Build, plumbing: Plumbing | None, moved: Moved, at: float, store: Store) -> None:
        self.build, self.plumbing, self.moved, self.store = build, plumbing, moved, store
        self.layer = float(build.printer.layer)
        self.chains = [c for c in plumbing.chains.values() if c.links] if plumbing is not None else []
        self.movers = moved.movers
        near = {n for m in moved.layout.mates for n in (m.piece, m.to_piece) if {m.piece, m.to_piece} & self.movers}
        self._near = self.movers | near
        self._known: dict[float, Fastened] = {}
        whole = fasten(Placed(build, self.bare(at)), self._scene(at, None), whole=False)
        self._bored = {p.name: p.part for p in whole.layout.pieces}
        self.standing = tuple(c for c in whole.chosen if not self.moves(c.joint))
        self._others = insert_fasteners(self.standing)
        self._alike = Alike(self._facts(), store)
        self._probed: set[float] = set()
        self._stretches: list[tuple[float, float, float]] = []  # asked about: start, end, and where the next begins
        self.constant: frozenset[str] = frozenset()

    # The layout ------------------------------------------------------------------------------------------------------

    def bare(self, h: float) -> Layout:
        """The parts alone at height h."""
        layout = self.moved.layout
        return replace(layout, pieces=tuple(self.moved.piece(p, h) for p in layout.pieces))

    def _scene(self, h: float, only: frozenset[str] | set[str] | None) -> Scene:
        kept = [
            self.moved.stretched(k, h)
            for k, s in enumerate(self.moved.scene.solids)
            if only is None or s.piece.name in only
        ]
        return Scene(self.bare(h), tuple(kept))

    def fastened(self, h: float) -> Fastened:
        """The joints of moving parts at height h, and their screws."""
        key = round(h, 6)
        self._probed.add(key)
        if key not in self._known:
            layout = self.bare(h)
            pieces = tuple(p for p in layout.pieces if p.name in self._near)
            mates = tuple(m for m in layout.mates if {m.piece, m.to_piece} <= self._near)
            part = replace(layout, pieces=pieces, mates=mates)
            found = fasten(Placed(self.build, part), self._scene(h, self._near), whole=False, about=self.movers)
            joints = tuple(j for j in found.joints if self.moves(j))
            chosen = tuple(c for c in found.chosen if self.moves(c.joint))
            self._known[key] = replace(found, joints=joints, chosen=chosen, left=())
        return self._known[key]

    def chosen(self, h: float) -> tuple[Chosen, ...]:
        """Every screw at height h, those of joints that do not move too."""
        return (*self.standing, *self.fastened(h).chosen)

    def moves(self, joint: Joint) -> bool:
        names = {a.piece.name for a in joint.axes} | {p.piece.name for a in joint.axes for p in a.passed}
        return bool(names & self.movers)

    def added(self, h: float) -> tuple[list[Piece], list[Mate], list[Joined]]:
        """What is put on the parts at height h."""
        pieces, joined = insert_fasteners(self.fastened(h).chosen)
        mates: list[Mate] = []
        layout = self.bare(h)
        for chain in self.chains:
            if any(p.name == chain.port.piece for p in layout.pieces):
                new, meets = fittings(layout, [chain], {})
                fixed = chain.free[0] if chain.free else len(new)  # what comes after a swivel has no place yet
                names = {p.name for p in new[:fixed]}
                pieces += new[:fixed]
                mates += [m for m in meets if m.piece in names]
        return [*self._others[0], *pieces], mates, [*self._others[1], *joined]

    def screwed(self, h: float) -> Layout:
        """The parts at height h, bored and with their screws, as ports are judged in."""
        layout = self.bare(h)
        pieces, joined = insert_fasteners(self.fastened(h).chosen)
        return replace(
            layout,
            pieces=(*self._drilled(layout), *self._others[0], *pieces),
            joined=(*layout.joined, *self._others[1], *joined),
        )

    def whole(self, h: float) -> Layout:
        """The parts at height h with all that is put on them."""
        layout = self.bare(h)
        pieces, mates, joined = self.added(h)
        return replace(
            layout,
            pieces=(*self._drilled(layout), *pieces),
            mates=(*self.moved.mates(), *mates),
            joined=(*layout.joined, *joined),
        )

    def _drilled(self, layout: Layout) -> tuple[Piece, ...]:
        return tuple(
            p if p.name in self.movers or p.name not in self._bored else replace(p, part=self._bored[p.name])
            for p in layout.pieces
        )

    def apart(self, a: Piece, b: Piece) -> bool:
        """Whether one of two pieces is a sheet that is cut for the other, whatever the height."""
        return any(
            (one.answers_to(c.in_) and any(_is_meant(other, w) for w in c.for_))
            for c in self.build.cut
            for one, other in ((a, b), (b, a))
        )

    # Which screws, by height ------------------------------------------------------------------------------------------

    def signature(self, h: float) -> Signature:
        """What is chosen at height h, and what is said against it."""
        self._probed.add(round(h, 6))  # asked for the first time or not, so that a search ends where it always does

        def ask() -> tuple[str, tuple[str, ...]]:
            chosen = self.fastened(h).chosen
            screwed = sorted((c.joint.name, c.rows, c.label, c.head, c.washers, bool(c.why)) for c in chosen)
            return json.dumps(screwed), tuple(f.id for f in self._told(h))

        screwed, told = self._alike.at(h, ask)
        return (screwed, tuple(sorted(i for i in told if i not in self.constant)))

    @property
    def probes(self) -> int:
        """Heights at which the screws were chosen so far."""
        return len(self._probed)

    def against(self, h: float) -> list[Finding]:
        """What the checks of holes and screws have against the joints of moving parts."""
        return [f for f in self._told(h) if f.id not in self.constant]

    def _told(self, h: float) -> list[Finding]:
        found = self.fastened(h)
        told = [*holes.check(found, Remedies()), *screws.check(found.chosen)]
        return [f for f in told if f.verdict in FAILING | UNDECIDED]

    def _facts(self) -> list[Any]:
        """All that the screws of moving parts depend on beside the height: what `fastened` hands on, no more."""
        moved, layout = self.moved, self.moved.layout
        near = [
            [
                p.name, shape_key(p), stated(p.part), p.pose.tolist(), p.assembly, sorted(p.given), p.outside,
                sorted((f, list(s)) for f, s in p.sources.items()), moved.velocity[p.name].tolist(),
                moved.fields.get(p.name),
            ]
            for p in layout.pieces if p.name in self._near
        ]  # fmt: skip
        mates = [dataclasses.astuple(m) for m in layout.mates if {m.piece, m.to_piece} <= self._near]
        room = None if layout.interior is None else [layout.interior.lo, layout.interior.hi]
        return [near, mates, room, stated(self.build.screws), sorted(self.movers), moved.lo, moved.hi]

    def set_aside(self, heights: Sequence[float]) -> tuple[Limit, ...]:
        """What is said in the same words at all of these heights, which no other is then blamed for; as limits over all
        heights. Words that name lengths differ with the height: what they say may hold at some heights only.
        """
        told = [{f.id: f for f in self.against(h)} for h in heights]
        alike = [f for i, f in told[0].items() if all(i in t and t[i].text == f.text for t in told)]
        self.constant = frozenset(f.id for f in alike)
        return tuple(_limit(f, self.moved.lo, self.moved.hi) for f in alike)

    def alike_from(self, a: float, b: float) -> tuple[float, float]:
        """The height up to which, from a on and at most to b, the same screws are chosen, and where the next ones
        begin: b twice where these are chosen all along. A whole layer between the two is asked about, as it is what
        would be made.
        """
        for start, end, after in self._stretches:
            if start <= a <= end and (end >= b or after > end):
                return (end, after) if end < b else (b, b)
        end, after = self._alike_to(a, b)
        self._stretches.append((a, end, after))
        return end, after

    def _alike_to(self, a: float, b: float) -> tuple[float, float]:
        own = self.signature(a)
        good = a
        for end in [*self._steps(a, b), b]:
            if self.signature(end) == own:
                good = end
                continue
            bad = end
            while bad - good > SAME_MM and self.probes < PROBES:
                middle = (good + bad) / 2
                good, bad = (middle, bad) if self.signature(middle) == own else (good, middle)
            made = whole(good, bad, self.layer)
            if made is not None and good < made < bad:
                good, bad = (made, bad) if self.signature(made) == own else (good, made)
            return good, min(bad, good + SAME_MM)
        return b, b

    @staticmethod
    def _steps(a: float, b: float) -> list[float]:
        count = int((b - a) / _STEP)
        even = [a + (b - a) * k / (count + 1) for k in range(1, count + 1)]
        return sorted(h for h in [*even, *(c + d for c in _CLASSES for d in (-_ASIDE, _ASIDE))] if a < h < b)

    def faults(self, a: float, b: float) -> list[Limit]:
        """What is said against the screws of a stretch in which they are alike, as limits over all of it."""
        return [_limit(f, a, b) for f in self.against(a)]


def _limit(f: Finding, a: float, b: float) -> Limit:
    return Limit(f.question, f.parts, (f.parts[0], f.parts[-1]), None, ((a, b),), said=f.text)  # type: ignore[arg-type]


def _is_meant(piece: Piece, word: str) -> bool:
    """Whether what a sheet is cut for means a piece: by its name, its entry's, or the port it is screwed into."""
    fitted = isinstance(piece.identity, Fitted) and str(piece.identity.port) == word
    return fitted or piece.answers_to(word)
