"""Trying a remedy before it is told: the build with the remedy in it, fastened and judged again where it changed.

Owns applying a remedy to a placed layout - other screws, parts moved, a plate put between - and what it breaks that was
sound before: pairs that meet or stand too near, room that must stay free, parts that leave the case, other joints'
screws, heads no driver gets to. Only pieces that changed are judged anew, and those near them. Fittings and tubes find
their own places later and take no part. Which remedies there are is `remedies`' and `offers`' work.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from elbowroom.model.build.entries import Build
from elbowroom.model.build.problems import BuildError
from elbowroom.model.build.screw_spec import ScrewWords
from elbowroom.model.checks import air
from elbowroom.model.checks.containment import check as containment
from elbowroom.model.checks.interference import check as interference
from elbowroom.model.checks.keep_out import check as keep_out
from elbowroom.model.geometry.pairs import Checker, box_gap
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.geometry.solidify import CannotDraw, solidify
from elbowroom.model.layout.identity import Screwed
from elbowroom.model.layout.layout import Layout, Mate, Piece
from elbowroom.model.layout.place import Placed
from elbowroom.model.screws import drivers
from elbowroom.model.screws.choosing import Chosen
from elbowroom.model.screws.fasten import Fastened, fasten
from elbowroom.model.screws.joints import Joint
from elbowroom.model.store import Store
from elbowroom.model.told.findings import FAILING, Finding
from elbowroom.model.told.particulars import AtJoint
from elbowroom.model.told.wordings import body_words, mm
from elbowroom.model.tolerances import HORIZON_MM
from elbowroom.parts.screw.screw import Screw
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.pose import apply, compose, inverse, shift
from elbowroom.parts.vocabulary.tolerances import ROUNDING

WORDS = {"short": "too short", "close": "close to the end of the hole", "bottoms": "bottoms out", "pierces": "too long"}
WORSE_MM = 0.05  # a gap that shrinks, or a clash that deepens, by less is the same as before: none can set it so (P)
SHARE = 0.05  # of a fan's disc: a layer that leaves so much less open is worse; its rays are good to a few hundredths
TOLD = 2  # of what a remedy breaks is said in words; the others are counted

Key = tuple[str, ...]


class Outcome(NamedTuple):
    """What came of a remedy: the build fastened with it, and in words what it breaks that was sound before. airless:
    whether air does not get through any more where it did."""

    fastened: Fastened
    breaks: tuple[str, ...]
    airless: bool = False

    def joint(self, name: str) -> Joint | None:
        return next((j for j in self.fastened.joints if j.name == name), None)


def but(breaks: Sequence[str]) -> str:
    """What a remedy breaks, as the end of a sentence; nothing where it breaks nothing."""
    if not breaks:
        return ""
    more = len(breaks) - TOLD
    return f"; but then {' and '.join(breaks[:TOLD])}{f' (and {more} more like this)' if more > 0 else ''}"


@dataclass(frozen=True, slots=True, eq=False)
class Trials:
    """A fastened build, to try remedies on."""

    fastened: Fastened
    store: Store

    @property
    def build(self) -> Build:
        return self.fastened.placed.build

    @property
    def layout(self) -> Layout:
        """The placed parts, without screws."""
        return self.fastened.placed.layout

    def screws(self, joint: str, words: ScrewWords) -> Outcome | None:
        """Other screws in one joint. None where the build cannot be fastened so."""
        own = self.build.screws
        spec = own.model_copy(update={"use": {joint: words, **{k: v for k, v in own.use.items() if k != joint}}})
        return self._outcome(Placed(replace(self.build, screws=spec), self.layout), {joint})

    def placed(self, placed: Placed) -> Outcome | None:
        """The build with other words for where its pieces stand."""
        return self._outcome(placed, set())

    def replaced(self, name: str, part: Part) -> Outcome | None:
        """Another part in a piece's place: the same with holes drilled in it, say."""
        pieces = tuple(replace(p, part=part) if p.name == name else p for p in self.layout.pieces)
        return self._outcome(Placed(self.build, replace(self.layout, pieces=pieces)), set())

    def between(
        self, plate: Piece, names: Collection[str], panel: str, without: Collection[str] = ()
    ) -> Outcome | None:
        """A plate with faces `a` and `b` put on a panel, and the pieces that lay on the panel moved off it onto the
        plate's face `a`; `without`: pieces that are left out for it.
        """
        thick = plate.part.box().size[2]
        away = plate.pose[:3, 2] * thick
        layout, mates = _moved(self.layout, names, away), []
        for m in layout.mates:
            sides = {m.piece: m.frame, m.to_piece: m.to_frame}
            if panel not in sides or not (inner := [n for n in sides if n in names]):
                mates.append(m)
                continue
            mates.append(Mate(inner[0], sides[inner[0]], plate.name, "a", m.contact, m.placed))
            mates.append(Mate(plate.name, "b", panel, sides[panel], m.contact, m.placed))
        stay = [m for m in dict.fromkeys(mates) if not {m.piece, m.to_piece} & set(without)]
        pieces = tuple(p for p in layout.pieces if p.name not in without)
        layout = replace(layout, pieces=(*pieces, plate), mates=tuple(stay))
        return self._outcome(Placed(self.build, layout), set())

    def with_it(self, name: str, without: Collection[str]) -> set[str]:
        """Pieces that hang together with one by their mates, when those `without` are taken away."""
        near: dict[str, set[str]] = {}
        for m in self.layout.mates:
            if m.contact or m.placed:
                near.setdefault(m.piece, set()).add(m.to_piece)
                near.setdefault(m.to_piece, set()).add(m.piece)
        found, rest = {name}, [name]
        while rest:
            more = near.get(rest.pop(), set()) - found - set(without)
            found |= more
            rest += more
        return found

    def _outcome(self, placed: Placed, joints: set[str]) -> Outcome | None:
        try:
            fastened = fasten(placed, solidify(placed.layout, self.store))
            scene = solidify(fastened.layout, self.store)
        except (BuildError, CannotDraw):
            return None
        before = {p.name: p for p in self.fastened.layout.pieces}
        changed = {p.name for p in fastened.layout.pieces if _other(p, before.get(p.name))}
        affected = joints | {j.name for j in (*fastened.joints, *self.fastened.joints) if _names(j) & changed}
        new = changed | _screws_of(fastened.layout, affected)
        old = {n for n in changed if n in before} | _screws_of(self.fastened.layout, affected)
        known = self._problems(solidify(self.fastened.layout, self.store), old)
        found = self._problems(scene, new)
        broken = [f for key, f in found.items() if _worse(f, known.get(key))]
        said = [_said(f, scene) for f in sorted(broken, key=lambda f: f.rank)]
        said += _joints_broken(self.fastened, fastened, affected)
        said += self._shut(scene, fastened, affected)
        stopped = self._stopped(scene)
        return Outcome(fastened, tuple(dict.fromkeys([*said, *stopped])), bool(stopped))

    def _problems(self, scene: Scene, names: set[str]) -> dict[Key, Finding]:
        """What is wrong with the pieces of these names, by what it is about."""
        mine = [s for s in scene.solids if s.piece.name in names]
        if not mine:
            return {}
        lo, hi = (np.array([getattr(s, side) for s in mine]) for side in ("lo", "hi"))
        solids = tuple(
            s for s in scene.solids
            if s.piece.name in names or bool((box_gap(s.lo, s.hi, lo, hi) <= HORIZON_MM).any())
        )  # fmt: skip
        kept = {s.piece.name for s in solids}
        solids = tuple(s for s in scene.solids if s.piece.name in kept)
        layout = scene.layout
        near = replace(
            layout,
            pieces=tuple(p for p in layout.pieces if p.name in kept),
            mates=tuple(m for m in layout.mates if m.piece in kept and m.to_piece in kept),
        )
        part = Scene(near, solids)
        checker = Checker(part, self.store)
        try:
            found = [*interference(part, checker), *keep_out(part, checker), *containment(part, checker)]
        finally:
            checker.flush()
        screws = {p.name: _place_of(p) for p in layout.pieces if isinstance(p.identity, Screwed)}
        return {_key(f, screws): f for f in found if f.verdict in FAILING and set(f.parts) & names}

    def _stopped(self, scene: Scene) -> list[str]:
        """Fans whose air a layer stops that did not stop it before, or not as much."""
        now = air.stopped(scene)
        was = {f.id: f for f in air.stopped(solidify(self.fastened.layout, self.store))} if now else {}
        return [f.text for f in now if _less_air(f, was.get(f.id))]

    def _shut(self, scene: Scene, fastened: Fastened, affected: set[str]) -> list[str]:
        """Screws that no driver gets to any more."""
        was = drivers.check(solidify(self.fastened.layout, self.store), _of(self.fastened, affected), self.store)
        known = {f.id for f in was if f.verdict == "fail"}
        return [
            f"no driver gets to {f.about.count} of the screws of {f.about.joint}"
            for f in drivers.check(scene, _of(fastened, affected), self.store)
            if f.verdict == "fail" and f.id not in known and isinstance(f.about, AtJoint)
        ]


def _moved(layout: Layout, names: Collection[str], by: Sequence[float] | Floats) -> Layout:
    move = shift(*(float(v) for v in by))
    return replace(
        layout,
        pieces=tuple(replace(p, pose=compose(move, p.pose)) if p.name in names else p for p in layout.pieces),
    )


def _other(new: Piece, old: Piece | None) -> bool:
    """Whether a piece is not as it was. A case with other holes drilled in it is: they only take material away."""
    if old is None or not np.allclose(new.pose, old.pose, atol=ROUNDING):
        return True
    return not new.part.encloses and new.part is not old.part and new.part.shape_key() != old.part.shape_key()


def _names(joint: Joint) -> set[str]:
    return {n for a in joint.axes for n in (a.piece.name, *(p.piece.name for p in a.passed))}


def _screws_of(layout: Layout, joints: Collection[str]) -> set[str]:
    return {p.name for p in layout.pieces if isinstance(p.identity, Screwed) and p.identity.joint in joints}


def _of(fastened: Fastened, joints: Collection[str]) -> list[Chosen]:
    return [c for c in fastened.chosen if c.joint.name in joints]


def _place_of(screw: Piece) -> str:
    """A screw, nut or washer by its place and not by its size."""
    assert isinstance(screw.identity, Screwed)
    return str(replace(screw.identity, item=screw.part.family))


def _key(finding: Finding, screws: Mapping[str, str]) -> Key:
    """What a finding is about. screws: what each is called by its place alone."""

    def plain(name: str) -> str:
        piece, slash, body = (name, "", "") if name in screws else name.rpartition("/")
        return f"{screws[piece]}{slash}{body}" if piece in screws else name

    return (finding.question, *sorted(plain(n) for n in finding.bodies or finding.parts))


def _worse(new: Finding, old: Finding | None) -> bool:
    """Whether a problem was not there before, or is worse than it was."""
    if old is None:
        return True
    if new.verdict != old.verdict:
        return new.rank[0] < old.rank[0]
    a, b = new.measured or 0.0, old.measured or 0.0
    return (a > b + WORSE_MM) if new.verdict in ("clash", "fail") else (a < b - WORSE_MM)


def _less_air(new: Finding, old: Finding | None) -> bool:
    """Whether a layer stops air that it did not stop before, or stops more of it."""
    return old is None or new.rank[0] < old.rank[0] or (new.measured or 0.0) < (old.measured or 0.0) - SHARE


def _said(finding: Finding, scene: Scene) -> str:
    """A problem in a few words, with the bodies it is about."""
    if finding.question in ("keep-out", "containment") or len(finding.bodies) != 2:
        return finding.text
    small = {s.name for s in scene.solids if s.piece.part.small}
    names = sorted(finding.bodies, key=lambda n: n not in small)  # the screw first: it is what came new
    one, other = (_called(name, finding, scene) for name in names)
    if finding.verdict == "tight" and finding.measured is not None:
        return f"{one} is only {mm(finding.measured)} from {other}"
    return f"{one} {'touches' if finding.verdict == 'touch' else 'meets'} {other}"


def _called(name: str, finding: Finding, scene: Scene) -> str:
    """A body as a builder calls it: the head of a screw, the foot of a case."""
    piece, body = next((s.piece, s.body.name) for s in scene.solids if s.name == name)
    if isinstance(piece.part, Screw) and finding.where:
        high = float(apply(inverse(piece.pose), finding.where[0])[2])
        return f"the {'head' if high > -WORSE_MM else 'shank'} of {piece.name}"
    return body_words(piece, body)


def _joints_broken(before: Fastened, after: Fastened, affected: Iterable[str]) -> list[str]:
    """Joints that lose screws, or whose screws are no longer safe."""
    out = []
    for name in sorted(affected):
        was, now = (next((j for j in f.joints if j.name == name), None) for f in (before, after))
        if was is not None and (now is None or _passing(now, after) < _passing(was, before)):
            left = 0 if now is None else _passing(now, after)
            out.append(f"{left} of {len(was.axes)} screws of {name} pass")
        elif now is not None and len(_unsafe(after, name)) > len(_unsafe(before, name)):
            out.append(f"{len(_unsafe(after, name))} screws of {name} are not safe ({_unsafe(after, name)[0]})")
    return out


def _passing(joint: Joint, fastened: Fastened) -> int:
    undrilled = {i for name, i in fastened.undrilled if name == joint.name}
    return len(joint.axes) - len(joint.lost | undrilled)


def _unsafe(fastened: Fastened, joint: str) -> list[str]:
    """For each screw of a joint that is not safe, why in a word."""
    out: list[str] = []
    for c in _of(fastened, [joint]):
        if c.why or c.judged is None:
            out += ["none is known" if c.why else "no length is safe"] * len(c.rows)
        elif c.judged.verdict != "safe":
            out += [WORDS[c.judged.verdict]] * len(c.rows)
        elif c.bears is not None and not c.bears.borne:
            out += [f"its {'washer' if c.washers else 'head'} has too little metal under it"] * len(c.rows)
    return out
