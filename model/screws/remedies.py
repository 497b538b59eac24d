"""What would mend a joint: slides, adapter plates, other screws - each tried in the build before it is told.

Owns which remedies are looked for and their words. A remedy that does not do what it says is not told; one that breaks
something else says so, and one that breaks nothing comes first. The verdicts stay with the checks, trying with `trial`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from elbowroom.model.build.screw_spec import ScrewWords
from elbowroom.model.screws.bearing import LEVEL_MM
from elbowroom.model.screws.boring import bored
from elbowroom.model.screws.choosing import Chosen, called, under
from elbowroom.model.screws.drilling import drill_size
from elbowroom.model.screws.joints import PASSES, Joint
from elbowroom.model.screws.offers import Offer, offers
from elbowroom.model.screws.picking import choose
from elbowroom.model.screws.slides import slides
from elbowroom.model.screws.sliding import left_out
from elbowroom.model.screws.stack import Window, judge, window
from elbowroom.model.screws.trial import Outcome, Trials, but
from elbowroom.model.tolerances import CONTACT_MM
from elbowroom.parts.screw.screw_tables import designation, length_tolerance, stock
from elbowroom.parts.vocabulary.measure import Mm

MOST_TOLD = 3  # remedies of one kind for one joint: the best first
MOST_DRILLED = 40  # holes in one piece that are tried: more takes longer to draw than its builder takes to see it (P)
CUT_STEP = 0.1  # mm a screw is cut to
LEAST_ROOM = 0.5  # mm between too short and too long that a screw is cut and filed to by hand; no source (P)
LEAST_CUT = 2.0  # mm: a shorter screw cannot be held to be cut; no source (P)

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
    known: dict[str, Outcome | None] = {}
    for joint in trials.fastened.joints:
        for fit in joint.fits:
            if max(fit.off) > PASSES:
                where = (joint.name, fit.piece.name, fit.pattern.name)
                slid = slides(joint, fit, trials, known)
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
    poorly = c.bears is not None and not c.bears.enough
    return c.judged is None or c.judged.verdict != "safe" or poorly


# Holes ----------------------------------------------------------------------------------------------------------------


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


# Screws ---------------------------------------------------------------------------------------------------------------


def _screws(c: Chosen, trials: Trials) -> tuple[str, ...]:
    """Other screws for the holes of one joint, each tried: of those that there are, else to be bought, else cut."""
    good: list[str] = []
    told: list[str] = []
    for words, length, washers in _lengths(c):
        outcome = trials.screws(c.joint.name, _as_words(c, length, washers))
        still = None if outcome is None else _mended(c, outcome)
        if outcome is None or still is None:
            continue
        (told if outcome.breaks else good).append(words + still + but(outcome.breaks))
        if len(good) == MOST_TOLD:
            break
    found = (*good, *told)[:MOST_TOLD]
    return found or (*_without_layer(c, trials), *_measure(c))[:MOST_TOLD]


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
    """A screw cut to a length that is safe, where none that is sold is and a saw can keep to what is."""
    if c.choice is None or c.choice.best is not None or c.instead is not None:
        return
    middle = _to_cut(c.thread, c.choice.window)
    if middle is not None:
        longer = next(n for n in stock(c.thread).all() if n > middle)
        words = f"cut {designation(c.thread, longer)} down to {middle:.1f} mm and deburr it"
        yield words + under(c.choice.washers), middle, c.choice.washers


def _to_cut(thread: str, window: Window) -> float | None:
    """The middle of a window of safe lengths, to what a screw is cut to; None where it is narrower than that takes, or
    no longer screw is sold.
    """
    low, high = window.lo, window.hi if window.hi is not None else window.lo + LEAST_ROOM
    middle = round(round((low + high) / 2 / CUT_STEP) * CUT_STEP, 4)
    if high - low < LEAST_ROOM - CONTACT_MM or middle < LEAST_CUT or middle >= max(stock(thread).all()):
        return None
    return middle


def _mended(c: Chosen, outcome: Outcome) -> str | None:
    """What is still wrong with the screws in the same holes ("" for nothing), in words; None where they are not safe,
    stand on nothing, or are no better than what is there.
    """
    mine = [x for x in outcome.fastened.chosen if x.joint.name == c.joint.name and set(x.rows) & set(c.rows)]
    if set(c.rows) - {r for x in mine for r in x.rows}:
        return None
    if any(x.judged is None or x.judged.verdict != "safe" for x in mine):
        return None
    poor = [x.bears for x in mine if x.bears is not None and not x.bears.enough]
    if not poor:
        return ""
    worst, was = min(poor), c.bears
    if not all(b.borne for b in poor):
        return None
    unsafe = c.judged is None or c.judged.verdict != "safe"
    if was is not None and (worst.share < was.share - LEVEL_MM or (not unsafe and worst.share <= was.share + LEVEL_MM)):
        return None
    if was is None and not unsafe:
        return None
    what = "washer" if any(x.washers for x in mine) else "head"
    return f"; its {what} then has {worst.share:.0%} of its ring on metal, which is still too little"


def _as_words(c: Chosen, length: float, washers: int) -> ScrewWords:
    return ScrewWords.model_construct(thread=c.thread, length=Mm(length), head=c.head, washers=washers, screw=None)


def _without_layer(c: Chosen, trials: Trials) -> Iterator[str]:
    """A layer that holds nothing left out, where a screw that is sold is safe then."""
    for piece in dict.fromkeys(p.piece for p in c.joint.axes[c.rows[0]].passed):
        if not piece.part.loose_layer:
            continue
        edit = left_out(trials.build, trials.layout, piece.name)
        outcome = None if edit is None else trials.placed(edit.placed)
        if edit is None or outcome is None or outcome.breaks or _mended(c, outcome) != "":
            continue
        mine = next(x for x in outcome.fastened.chosen if x.joint.name == c.joint.name and set(x.rows) & set(c.rows))
        if mine.length is not None:
            yield f"{edit.words}: then {called(mine.thread, mine.length, mine.washers)} is safe"


def _measure(c: Chosen) -> Iterator[str]:
    """Where only tolerances stand against it: what to measure, if at the sizes written a screw that is sold, or one
    that is cut, is safe.
    """
    if c.choice is None or c.choice.best is not None or c.receiver is None:
        return
    exact = [replace(x, minus=0.0, plus=0.0) for x in c.layers]
    into = replace(c.receiver, depth_minus=0.0, depth_plus=0.0)
    what = "the hole's depth and the layers" if c.layers else "the hole's depth"
    measure = f"measure {what} and write them with their ±: exactly as written,"
    found = choose(exact, into, stock(c.thread), most=0).best
    if found is not None:
        whole = judge(found.length, length_tolerance(c.thread, found.length), exact, into)
        yield f"{measure} {found.name} is safe with {whole.spare:.2f} mm to spare"
    elif (middle := _to_cut(c.thread, window(exact, into))) is not None:
        yield f"{measure} a screw cut to {middle:.1f} mm is safe"
