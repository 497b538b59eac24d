"""Slides that mend a joint whose screws miss their holes: looked for, put into the build, and kept where they help.

Owns which slides are tried and what "helps" means: more screws pass the holes they missed, in every copy of the layer
that misses them, and no hole anywhere is passed by fewer. Leaves the words and the edit to `sliding`, trying to
`trial`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.screws import around
from elbowroom.model.screws.fasten import Fastened
from elbowroom.model.screws.holding import Holding, holding
from elbowroom.model.screws.joints import PASSES, REACH, Fit, Joint, slots_of
from elbowroom.model.screws.sliding import EVEN_MM, copies, row_axes, slid
from elbowroom.model.screws.slots import best_slide, joined
from elbowroom.model.screws.trial import Outcome, Trials
from elbowroom.parts.screw.screw_tables import head, washer
from elbowroom.parts.vocabulary.arrays import Vector
from elbowroom.parts.vocabulary.pose import Pose

SET_TO = 2  # decimals of a millimetre a slide is told and tried to

Passing = Mapping[tuple[str, str, str], int]  # how many screws pass, by joint, piece and pattern


def slides(
    joint: Joint, fit: Fit, trials: Trials, known: dict[str, Outcome | None] | None = None
) -> list[tuple[str, Outcome]]:
    """Slides by which more screws pass, in words, with what came of each when the build was placed with it: the one by
    which most do, and where that breaks something the one by which most do whose heads keep clear of what stands
    around. known: what came of slides by their words, kept from one joint to the next.
    """
    known = {} if known is None else known
    n, kept = len(fit.rows), [k for k, off in enumerate(fit.off) if off <= PASSES]
    at = around.pattern_pose(fit)
    before = passing(trials.fastened)
    ways = [(m, sign) for m, sign in _movable(joint, fit, trials) if m]
    out: list[tuple[str, Outcome]] = []
    tried: set[tuple[float, float]] = set()
    for dx, dy, count in _candidates(joint, fit, ways[0][0] if ways else set(), trials):
        if (dx, dy) in tried or count <= max(len(kept), n // 2 if n > 1 else 0):
            continue
        tried.add((dx, dy))
        for moving, sign in ways:
            axes = row_axes(trials.build, trials.layout, moving, at)
            move = _settable(sign * (at[:3, 0] * dx + at[:3, 1] * dy), axes)
            edit = slid(trials.build, trials.layout, moving, move, axes)
            if edit is None:
                continue
            if edit.words not in known:
                known[edit.words] = trials.placed(edit.placed)
            outcome = known[edit.words]
            after = None if outcome is None else outcome.joint(joint.name)
            if outcome is None or after is None or not _helps(joint, fit, before, passing(outcome.fastened), trials):
                continue
            if _tipping(outcome.fastened, joint.name) > _tipping(trials.fastened, joint.name):
                continue  # shanks would pass, and heads hold nothing: it would mend one fault by another
            now = next(f for f in after.fits if (f.piece.name, f.pattern.name) == (fit.piece.name, fit.pattern.name))
            through = [k for k, off in enumerate(now.off) if off <= PASSES]
            out.append((f"{edit.words}: {held_by(after, now, through).reason}", outcome))
            break
        if out and not out[-1][1].breaks:
            break
    return out


def _tipping(fastened: Fastened, joint: str) -> int:
    """How many screws of a joint have a head or washer without metal on opposite sides."""
    return sum(
        len(c.rows) for c in fastened.chosen if c.joint.name == joint and c.bears is not None and not c.bears.borne
    )


def passing(fastened: Fastened) -> Passing:
    """How many screws pass each pattern of each joint."""
    return {
        (j.name, f.piece.name, f.pattern.name): sum(off <= PASSES for off in f.off)
        for j in fastened.joints
        for f in j.fits
    }


def held_by(joint: Joint, fit: Fit, kept: Sequence[int]) -> Holding:
    """Whether the screws `kept` (rows of the fit) hold what the whole pattern would."""
    points = [(joint.axes[i].receiver.x, joint.axes[i].receiver.y) for i in fit.rows]
    return holding(points, list(kept))


def _helps(joint: Joint, fit: Fit, before: Passing, after: Passing, trials: Trials) -> bool:
    """Whether the holes that were missed are passed by more screws, in every copy of the layer that misses them, and
    none by fewer.
    """
    if any(after.get(key, 0) < count for key, count in before.items()):
        return False
    receivers, passed = (
        copies(trials.build, trials.layout, name) for name in (joint.axes[0].piece.name, fit.piece.name)
    )
    alike = [
        (j.name, f.piece.name, f.pattern.name)
        for j in trials.fastened.joints
        for f in j.fits
        if j.axes[0].piece.name in receivers and f.piece.name in passed and max(f.off) > PASSES
    ]
    return all(after.get(key, 0) > before[key] for key in alike)


def _movable(joint: Joint, fit: Fit, trials: Trials) -> Iterator[tuple[set[str], float]]:
    """What can be slid over the holes that are missed, and 1, or -1 where it is what has those holes: whatever hangs
    together with it; where that is the case, only what the screws go through.
    """
    receiver = joint.axes[0].piece.name
    theirs = copies(trials.build, trials.layout, fit.piece.name)
    chain = {p.piece.name for i in fit.rows for p in joint.axes[i].passed} | {receiver}
    case = {p.name for p in trials.layout.pieces if p.part.encloses}
    mine = trials.with_it(receiver, theirs) | (chain - theirs)
    if not mine & case:
        yield mine, 1.0
    elif receiver not in case:
        yield chain - theirs - case, 1.0
    if theirs & case:
        return
    with_them: set[str] = set()
    for name in theirs:
        with_them |= trials.with_it(name, chain - theirs)
    yield (theirs if with_them & case else with_them), -1.0


def _settable(move: Vector, axes: Pose) -> Vector:
    """A move as someone can set it: to a hundredth along and across, and nothing where that is too little to tell."""
    found = np.zeros(3)
    for k in range(3):
        d = float(axes[:3, k] @ move)
        if abs(d) > EVEN_MM:
            found = found + round(d, SET_TO) * axes[:3, k]
    return found


def _candidates(joint: Joint, fit: Fit, moving: set[str], trials: Trials) -> Iterator[tuple[float, float, int]]:
    """Slides to try, and how many screws are to pass by each."""
    yield fit.slide.dx, fit.slide.dy, len(fit.slide.passing)
    scene = solidify(trials.layout, trials.store)
    points = np.array([next(p.at for p in joint.axes[i].passed if p.piece is fit.piece) for i in fit.rows], dtype=float)
    slots = joined(slots_of(fit.pattern), fit.piece.part.least_web)
    own = next((c for c in trials.fastened.chosen if c.joint is joint), None)
    style = "pan" if own is None else own.head
    wide = max(washer(joint.thread).outer, head(style, joint.thread).diameter)
    high = (
        head(style, joint.thread).height
        + max(1, own.washers if own is not None else 1) * washer(joint.thread).thickness
    )
    shut = around.closed(slots, around.under_heads(scene, joint, fit, moving, high), wide)
    if any(shut):
        try:
            slide = best_slide(points, joint.diameter, around.open_slots(slots, shut), reach=(REACH, REACH))
        except ValueError:  # more ways than can be compared
            return
        yield slide.dx, slide.dy, len(slide.passing)
