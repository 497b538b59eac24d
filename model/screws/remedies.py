"""What would mend a joint: slides, adapter plates, other screws - each tried in the build before it is told.

Owns which remedies are looked for and their words. A remedy that does not do what it says is not told; one that breaks
something else says so, and one that breaks nothing comes first. The verdicts stay with the checks, trying with `trial`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from elbowroom.model.screw_spec import ScrewWords
from elbowroom.model.screws import around
from elbowroom.model.screws.boring import bored
from elbowroom.model.screws.choosing import Chosen, called, under
from elbowroom.model.screws.drilling import drill_size
from elbowroom.model.screws.holding import Bearing, Holding, holding
from elbowroom.model.screws.joints import PASSES, REACH, Fit, Joint, slots_of
from elbowroom.model.screws.offers import Offer, offers
from elbowroom.model.screws.picking import choose
from elbowroom.model.screws.slots import best_slide, joined
from elbowroom.model.screws.stack import judge
from elbowroom.model.screws.trial import Outcome, Trials, but
from elbowroom.model.solidify import solidify
from elbowroom.model.spec import WALLS
from elbowroom.parts.case_openings import LEAST_WEB
from elbowroom.parts.measure import Mm
from elbowroom.parts.screw_tables import designation, head, length_tolerance, stock, washer

EVEN_MM = 0.05  # a slide is told to this: less than anyone can set it to
MOST_TOLD = 3  # remedies of one kind for one joint: the best first
MOST_DRILLED = 40  # holes in one piece that are tried: more takes longer to draw than its builder takes to see it (P)
CUT_STEP = 0.1  # mm a screw is cut to

Where = tuple[str, str, str]  # joint, piece it passes, pattern


@dataclass(frozen=True, slots=True, eq=False)
class Remedies:
    """Remedies in words, by the holes that screws miss and by the screws that are not safe. offers: adapter plates.
    slides: where a slide that brings more screws in was found to break nothing. drills: by joint and by the piece that
    has no hole for its screws, the drilling of it where that mends the joint.
    """

    holes: Mapping[Where, tuple[str, ...]] = field(default_factory=dict)
    screws: Mapping[Chosen, tuple[str, ...]] = field(default_factory=dict)
    offers: Sequence[Offer] = ()
    slides: frozenset[Where] = frozenset()
    drills: Mapping[tuple[str, str], str] = field(default_factory=dict)


def remedies(trials: Trials) -> Remedies:
    """What would mend each joint of a fastened build, tried."""
    found = offers(trials.fastened.joints, trials)
    plates = {o.joint: o.words for o in found}
    holes: dict[Where, tuple[str, ...]] = {}
    clean = set()
    for joint in trials.fastened.joints:
        for fit in joint.fits:
            if max(fit.off) > PASSES:
                where = (joint.name, fit.piece.name, fit.pattern.name)
                slid = _slides(joint, fit, trials)
                if any(not o.breaks for _, o in slid):
                    clean.add(where)
                told = [said + but(o.breaks) for said, o in sorted(slid, key=lambda s: len(s[1].breaks))]
                plate = plates.get(joint.name)
                if plate is not None and len(fit.slide.passing) < len(fit.rows):
                    told.append(plate)
                holes[where] = tuple(told)
    screws = {c: _screws(c, trials) for c in trials.fastened.chosen if wanting(c)}
    drills = {
        (joint.name, name): said
        for joint in trials.fastened.joints
        for name in dict.fromkeys(joint.blocked.values())
        if (said := _drilled(joint, name, trials)) is not None
    }
    return Remedies(holes, screws, found, frozenset(clean), drills)


def wanting(c: Chosen) -> bool:
    """Whether a joint's screws are not as they should be: not safe, or their heads bear on too little."""
    if c.why or (c.judged is None and c.choice is None):
        return False
    poorly = c.bears is not None and not Bearing(*c.bears).enough
    return c.judged is None or c.judged.verdict != "safe" or poorly


# Holes ----------------------------------------------------------------------------------------------------------------


def _slides(joint: Joint, fit: Fit, trials: Trials) -> list[tuple[str, Outcome]]:
    """Slides by which more screws pass, in words, with what came of each when it was tried: the one by which most do,
    and where that breaks something the one by which most do whose heads keep clear of what stands around.
    """
    n, kept = len(fit.rows), [k for k, off in enumerate(fit.off) if off <= PASSES]
    at = around.pattern_pose(fit)
    receiver = joint.axes[fit.rows[0]].piece.name
    moving = trials.with_it(receiver, {fit.piece.name})
    if any(trials.layout.piece(p).part.family == "case" for p in moving):
        passed = {p.piece.name for p in joint.axes[fit.rows[0]].passed} - {fit.piece.name}
        moving = {receiver, *passed} if trials.layout.piece(receiver).part.family != "case" else passed
    out: list[tuple[str, Outcome]] = []
    tried: set[tuple[float, float]] = set()
    for dx, dy, passing in _candidates(joint, fit, moving, trials):
        if (dx, dy) in tried:
            continue
        tried.add((dx, dy))
        if passing <= max(len(kept), n // 2 if n > 1 else 0):
            continue
        move = at[:3, 0] * dx + at[:3, 1] * dy
        outcome = trials.moved(moving, move.tolist())
        after = None if outcome is None else outcome.joint(joint.name)
        if outcome is None or after is None:
            continue
        now = next(
            (f for f in after.fits if f.piece.name == fit.piece.name and f.pattern.name == fit.pattern.name), None
        )
        through = [] if now is None else [k for k, off in enumerate(now.off) if off <= PASSES]
        if now is None or len(through) <= len(kept):
            continue
        what = "all pass" if len(through) == n else f"{len(through)} of {n} pass; {held_by(after, now, through).reason}"
        words = f"slide {_moved(at, dx, dy)}: {what}" if n > 1 else f"slide {_moved(at, dx, dy)}: it passes"
        out.append((words, outcome))
        if not outcome.breaks:
            break
    return out


def _candidates(joint: Joint, fit: Fit, moving: set[str], trials: Trials) -> Iterator[tuple[float, float, int]]:
    """Slides to try, and how many screws are to pass by each."""
    yield fit.slide.dx, fit.slide.dy, len(fit.slide.passing)
    scene = solidify(trials.layout, trials.store)
    points = np.array([next(p.at for p in joint.axes[i].passed if p.piece is fit.piece) for i in fit.rows], dtype=float)
    slots = joined(slots_of(fit.pattern), LEAST_WEB if fit.piece.part.family == "case" else 0.0)
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


def _drilled(joint: Joint, name: str, trials: Trials) -> str | None:
    """Drilling a piece for the screws it stands in the way of, in words; None where that does not mend the joint."""
    rows = [i for i, blocking in joint.blocked.items() if blocking == name]
    if len(rows) > MOST_DRILLED:
        return None
    size = drill_size(joint)
    part = bored(trials.layout.piece(name), [joint.axes[i] for i in rows], size)
    outcome = None if part is None else trials.replaced(name, part)
    after = None if outcome is None else outcome.joint(joint.name)
    if outcome is None or after is None or len(after.lost) >= len(joint.lost):
        return None
    return f"drill {name} {size:g} mm for them: {len(after.axes) - len(after.lost)} of {len(after.axes)} pass" + but(
        outcome.breaks
    )


def held_by(joint: Joint, fit: Fit, kept: Sequence[int]) -> Holding:
    """Whether the screws `kept` (rows of the fit) hold what the whole pattern would."""
    points = [(joint.axes[i].receiver.x, joint.axes[i].receiver.y) for i in fit.rows]
    return holding(points, list(kept))


def _moved(at: np.ndarray, dx: float, dy: float) -> str:
    """A slide in words: along and across the holes, and toward which walls."""
    told = []
    for d, way, axis in ((dx, "along", at[:3, 0]), (dy, "across", at[:3, 1])):
        if abs(d) > EVEN_MM:
            toward = d * axis
            k = int(abs(toward).argmax())
            wall = next(w for w, (i, far) in WALLS.items() if i == k and far == (toward[k] > 0))
            told.append(f"{abs(d):.2f} mm {way} the row, toward the {wall}")
    return " and ".join(told) or "as it stands"


# Screws ---------------------------------------------------------------------------------------------------------------


def _screws(c: Chosen, trials: Trials) -> tuple[str, ...]:
    """Other screws for the holes of one joint, each tried: of those that there are, else to be bought, else cut."""
    good: list[str] = []
    told: list[str] = []
    for words, length, washers in _lengths(c):
        outcome = trials.screws(c.joint.name, _as_words(c, length, washers))
        if outcome is None or not _mended(c, outcome):
            continue
        (told if outcome.breaks else good).append(words + but(outcome.breaks))
        if len(good) == MOST_TOLD:
            break
    found = (*good, *told)[:MOST_TOLD]
    return found or _measure(c)


def _lengths(c: Chosen) -> Iterator[tuple[str, float, int]]:
    """Lengths and washers to try, in words, the best first; never what is there already, and each length once."""
    seen: set[float] = set()
    most: int | None = None
    for choice, verb in ((c.choice, ""), (c.instead, "buy ")):
        for combo in () if choice is None else choice.ranked:
            length, n = combo.judged.length, combo.washers
            if length in seen or (length, n) == (c.length, c.washers) or (most is not None and n > most):
                continue
            seen.add(length)
            # More washers than the best takes, or than there are, are no better answer.
            most = max(n, c.washers) if most is None else most
            yield verb + called(c.thread, length, n), length, n
    yield from _cut(c)


def _cut(c: Chosen) -> Iterator[tuple[str, float, int]]:
    """A screw cut to a length that is safe, where none that is sold is."""
    if c.choice is None or c.choice.best is not None or c.instead is not None or c.choice.window.empty:
        return
    low, high = c.choice.window.lo, c.choice.window.hi
    middle = round((low + (high if high is not None else low)) / 2 / CUT_STEP) * CUT_STEP
    longer = [n for n in stock(c.thread).all() if n > middle]
    if longer and middle >= 2.0:
        least = c.choice.washers
        words = f"cut {designation(c.thread, longer[0])} down to {middle:.1f} mm and deburr it"
        yield words + under(least), round(middle, 4), least


def _mended(c: Chosen, outcome: Outcome) -> bool:
    """Whether the screws in the same holes are safe now, and their heads bear no worse."""
    mine = [x for x in outcome.fastened.chosen if x.joint.name == c.joint.name and set(x.rows) & set(c.rows)]
    if not mine or any(x.judged is None or x.judged.verdict != "safe" for x in mine):
        return False
    if c.bears is None or Bearing(*c.bears).enough:
        return all(x.bears is None or Bearing(*x.bears).enough for x in mine)
    better = all(x.bears is None or x.bears[0] > c.bears[0] for x in mine)
    return better or c.judged is None or c.judged.verdict != "safe"


def _as_words(c: Chosen, length: float, washers: int) -> ScrewWords:
    return ScrewWords.model_construct(thread=c.thread, length=Mm(length), head=c.head, washers=washers, screw=None)


def _measure(c: Chosen) -> tuple[str, ...]:
    """Where only tolerances stand against it: what to measure, if at the sizes written a screw that is sold is safe."""
    if c.choice is None or c.choice.best is not None or c.receiver is None:
        return ()
    exact = [replace(x, minus=0.0, plus=0.0) for x in c.layers]
    into = replace(c.receiver, depth_minus=0.0, depth_plus=0.0)
    found = choose(exact, into, stock(c.thread), most=0).best
    if found is None:
        return ()
    whole = judge(found.length, length_tolerance(c.thread, found.length), exact, into)
    what = "the hole's depth and the layers" if c.layers else "the hole's depth"
    return (
        f"measure {what} and write them with their ±: exactly as written, {found.name} is safe with "
        f"{whole.spare:.2f} mm to spare",
    )
