"""Adapter plates for joints whose screws do not all find a slot: planned, and offered with what they would gain.

Owns which joints get an offer, the way from a joint's own planes to the plane a plate is planned in (the opening's,
whose z looks from the panel to the part), and that no plate is offered before it was put into the build and judged
there. Leaves the plate to `adapting`, trying it to `trial`.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from elbowroom.model.geometry.names import safe_name
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.layout import Piece
from elbowroom.model.screws import around
from elbowroom.model.screws.adapting import RANK, STEP, WEB, Planned, Rectangle, adapter_for
from elbowroom.model.screws.choosing import called
from elbowroom.model.screws.faces import OPPOSED
from elbowroom.model.screws.holding import holding
from elbowroom.model.screws.joints import PASSES, Fit, Joint, slots_of
from elbowroom.model.screws.picking import Limits, settled
from elbowroom.model.screws.receivers import layer_of, receiver_of
from elbowroom.model.screws.slot import joined
from elbowroom.model.screws.stack import Layer
from elbowroom.model.screws.trial import WORDS, Outcome, Trials, but
from elbowroom.model.tolerances import general_tolerance
from elbowroom.parts.fan.fan import Fan
from elbowroom.parts.made.adapter import Adapter
from elbowroom.parts.made.adapter_holes import AirOpening
from elbowroom.parts.screw.screw_tables import Stock, Style, head, stock, washer
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import Pose, apply, compose, inverse, shift
from elbowroom.parts.water.radiator import Radiator

NO_PANEL = frozenset({"gasket", "dust-filter", "washer", "shim", "adapter"})  # another of them costs less than a plate
THICKER_STEPS = 26  # of a printed layer that a plate is tried thicker by: 5 mm, the step between stock lengths
BESIDE = 1.0  # mm a plate stays from what stands beside it: the gap wanted between parts, `spec.DEFAULT_GAP`; P
HEAD: Style = "pan"  # of the screws a plate is planned for, as `adapter_for` takes it
AIR_LESS = 8.0  # mm in diameter that the plate's air holes are narrower than the fans' frames: walls to the screws; P


@dataclass(frozen=True, slots=True, eq=False)
class Offer:
    """An adapter plate for a joint, or (part None) the reason why there is none. centre: of the plate, mm from the
    opening's middle along and across its row.
    """

    joint: str
    part: Adapter | None
    words: str
    centre: tuple[float, float] = (0.0, 0.0)


def offers(joints: Sequence[Joint], trials: Trials | None = None) -> list[Offer]:
    """An offer for each joint of a part with threaded holes that loses screws on a panel's slots.

    With `trials` plates keep clear of what stands on either side of the panel, and each is put into the build and
    judged there before it is offered: what it breaks is said with it.
    """
    return [
        _offer(joint, fit, trials)
        for joint in joints
        if joint.ends == "thread"
        for fit in joint.fits
        if not fit.piece.part.moves_air and fit.piece.part.family not in NO_PANEL and max(fit.off) > PASSES
    ]


def _offer(joint: Joint, fit: Fit, trials: Trials | None) -> Offer:
    # All the part's screws that come to the panel: those that are near a hole of it, and those that meet bare sheet.
    rows = [i for i in range(len(joint.axes)) if i in fit.rows or joint.blocked.get(i) == fit.piece.name]
    back = inverse(around.pattern_pose(fit))
    places = [apply(back, joint.axes[i].origin) for i in rows]
    points = [(float(p[0]), float(p[1])) for p in places]
    slots = joined(slots_of(fit.pattern), fit.piece.part.least_web)
    moving: set[str] = set()
    scene, shut = None, ()  # type: tuple[Scene | None, around.Spans]
    if trials is not None:
        scene = solidify(trials.layout, trials.store)
        moving = trials.with_it(joint.axes[0].piece.name, {fit.piece.name})
        wide = max(washer(joint.thread).outer, head(HEAD, joint.thread).diameter)
        high = washer(joint.thread).thickness + head(HEAD, joint.thread).height
        shut = around.closed(slots, around.under_heads(scene, joint, fit, moving, high), wide)

    air = _air(joint, fit, moving, trials)

    def planned(room: Rectangle | None) -> Planned:
        return adapter_for(points, slots, screw=joint.thread, openings=air, shut=shut, room=room)

    plan = planned(None)
    if plan.part is not None and scene is not None:
        plan = _beside(plan, planned, scene, fit, moving)
    if plan.part is None:
        return Offer(joint.name, None, f"an adapter plate does not do it: {plan.reason}")
    sized = _for_stock(joint, fit, plan.part)
    if not sized[0][0]:
        return Offer(joint.name, None, f"an adapter plate does not do it: {sized[0][1]}")
    whole = holding([(a.receiver.x, a.receiver.y) for a in joint.axes], [rows[i] for i in plan.points])
    for side, held in (("into the part", whole), ("through the panel", plan.panel_side)):
        if held is None or held.verdict != RANK[-1]:
            said = "nothing" if held is None else held.reason
            return Offer(joint.name, None, f"an adapter plate does not do it: {side} {said}")
    best: tuple[Adapter, str, _Tried] | None = None
    for part, screw in sized:
        if part is None:
            continue
        tried = _Tried(()) if trials is None else _tried(joint, fit, part, plan, moving, trials)
        if best is None or tried.rank < best[2].rank:
            best = (part, screw, tried)
    if best is None or best[2].breaks is None:
        why = "" if best is None else best[2].why
        return Offer(joint.name, None, f"an adapter plate does not do it: put into the build, {why}")
    part, screw, tried = best
    x, y, z = part.box().size
    gained = f"{len(plan.points)} of {len(joint.axes)} screws hold, {screw}"
    words = (
        f"put an adapter plate {x:g} x {y:g} x {z:g} between: {gained}; elbowroom make writes it as "
        f"{safe_name(name_for(joint.name))}, and the stack grows by {z:g} mm{tried.gone}{but(tried.breaks or ())}"
    )
    return Offer(joint.name, part, words, plan.centre)


def name_for(joint: str) -> str:
    """What a plate for a joint is called in a build."""
    return f"adapter for {joint.replace('.', ' ')}"


class _Tried(NamedTuple):
    """What came of a plate put into the build: what it breaks, in words; None where as many screws as planned do not
    hold with it, with the reason. without: loose layers in the way of its screws, which were left out for it.
    """

    breaks: Sequence[str] | None
    why: str = ""
    without: tuple[str, ...] = ()

    @property
    def rank(self) -> tuple[bool, int, int]:
        """Less is better."""
        return self.breaks is None, len(self.without), len(self.breaks or ())

    @property
    def gone(self) -> str:
        """What must be left out, as the end of a sentence."""
        if not self.without:
            return ""
        names = " and ".join(self.without)
        return f"; {names} must be left out, or cut free round the plate's screws: its holes are not where they stand"


def _tried(joint: Joint, fit: Fit, part: Adapter, plan: Planned, moving: Collection[str], trials: Trials) -> _Tried:
    """The plate put into the build; and where loose layers alone keep its screws out, put into the build without."""
    at = compose(around.pattern_pose(fit), shift(*plan.centre, 0.0))
    plate = Piece(name_for(joint.name), part, at, "adapter")
    counts = sorted((len(plan.points), len(plan.slots)))
    first, bars = _judged(joint.name, plate, counts, trials.between(plate, moving, fit.piece.name))
    if first.breaks is not None or not bars or any(trials.layout.piece(n).part.family not in NO_PANEL for n in bars):
        return first
    again, _ = _judged(joint.name, plate, counts, trials.between(plate, moving, fit.piece.name, bars))
    return first if again.breaks is None else again._replace(without=tuple(sorted(bars)))


def _judged(joint: str, plate: Piece, counts: list[int], outcome: Outcome | None) -> tuple[_Tried, frozenset[str]]:
    """How a plate does in the build, and the pieces that keep its screws out."""
    if outcome is None:
        return _Tried(None, "the build cannot be screwed together"), frozenset()
    mine = [j for j in outcome.fastened.joints if j.name in (joint, f"{plate.name}.b")]
    bars = Counter(name for j in mine for i in j.lost for name in j.bars(i) if name != plate.name)
    if sorted(len(j.axes) - len(j.lost) for j in mine) != counts:
        by = " and ".join(f"{n} of its screws at {name}" for name, n in sorted(bars.items()))
        return _Tried(None, f"it does not hold: no way for {by}" if by else "it does not hold"), frozenset(bars)
    for c in (c for c in outcome.fastened.chosen if c.joint in mine):
        if c.judged is None:
            return _Tried(None, f"no {c.joint.thread} screw of a stock length fits its joints"), frozenset()
        if c.judged.verdict != "safe":
            screw, does = called(c.joint.thread, c.length or 0.0, c.washers), c.judged.verdict
            return _Tried(None, f"{screw} is {WORDS.get(does, does)} in {c.joint.name}"), frozenset()
        if c.bears is not None and not c.bears.enough:
            return _Tried(None, f"the heads in {c.joint.name} lie on too little"), frozenset()
    for j in mine:
        kept = [i for i in range(len(j.axes)) if i not in j.lost]
        if (held := holding([(a.receiver.x, a.receiver.y) for a in j.axes], kept)).verdict != RANK[-1]:
            return _Tried(None, f"of {j.name} {held.reason}"), frozenset()
    return _Tried(None, "air does not get through it") if outcome.airless else _Tried(outcome.breaks), frozenset()


def _beside(
    plan: Planned, planned: Callable[[Rectangle | None], Planned], scene: Scene, fit: Fit, moving: Collection[str]
) -> Planned:
    """A plan whose plate stands clear of what is on its side of the panel: the given one where it does, else the best
    with one more edge drawn in for each thing in its way; the reason where there is none.
    """
    import shapely

    if plan.part is None:
        return plan
    sheets = {f"{fit.piece.name}/{fit.pattern.body}"}
    thick = float(plan.part.thickness) + THICKER_STEPS * STEP
    region = around.footprint(scene, around.pattern_pose(fit), (around.OFF_FACE, thick), fit, moving, sheets)
    in_way = sorted(getattr(region, "geoms", [region]), key=lambda g: -float(g.area))
    best, room = plan, ((-math.inf, -math.inf), (math.inf, math.inf))
    for thing in in_way:
        if best.part is None:
            break
        x, y = best.part.length / 2, best.part.width / 2
        own = shapely.box(best.centre[0] - x, best.centre[1] - y, best.centre[0] + x, best.centre[1] + y)
        if thing.is_empty or own.distance(thing) >= BESIDE:
            continue
        x0, y0, x1, y1 = (float(v) for v in thing.buffer(BESIDE).bounds)
        (a, b), (c, d) = room
        rooms: list[Rectangle] = [((a, b), (x0, d)), ((x1, b), (c, d)), ((a, b), (c, y0)), ((a, y1), (c, d))]
        plans = [(planned(r), r) for r in rooms if r[0][0] < r[1][0] and r[0][1] < r[1][1]]
        best, room = max(plans, key=lambda p: _worth(p[0]), default=(best, room))
    return best


def _worth(plan: Planned) -> tuple[float, ...]:
    """What makes one plan better than another: that there is one, that it holds, then how many screws it has."""
    if plan.part is None or plan.part_side is None or plan.panel_side is None:
        return (-1.0,)
    ranks = [RANK.index(h.verdict) for h in (plan.part_side, plan.panel_side)]
    return (float(min(ranks)), float(sum(ranks)), float(len(plan.points) + len(plan.slots)))


def _for_stock(joint: Joint, fit: Fit, part: Adapter) -> list[tuple[Adapter | None, str]]:
    """The plate as thick as a stock screw needs it under its sunk head, and that screw: first for the lengths that are
    commonly sold, then, where it is thinner, for the others too. One entry with the reason where there is none.
    """
    axis = joint.axes[fit.rows[0]]
    before = next(k for k, p in enumerate(axis.passed) if p.piece is fit.piece)
    inner = [layer_of(p) for p in axis.passed[:before] if p.thickness is not None]
    recess = max((float(h.recess_depth) for h in part.holes_a if h.recess_depth is not None), default=0.0)
    out: list[tuple[Adapter | None, str]] = []
    reason, receiver, sold = "", receiver_of(joint, axis, joint.thread), stock(joint.thread)
    steps = THICKER_STEPS
    for lengths in (Stock(sold.first, ()), sold):
        for k in range(steps):
            thick = float(part.thickness) + k * STEP
            off = general_tolerance(thick)
            under = Layer("adapter", thick - recess, min(off, thick - recess), off)
            choice = settled((*inner, under), receiver, joint.thread, Limits(lengths, most=0))[1]
            if choice.best is not None:
                thicker = type(part).model_validate({**part.model_dump(), "thickness": round(thick, 4)})
                out.append((thicker, f"{called(joint.thread, choice.best.length, 0)} under sunk heads"))
                steps = k
                break
            reason = choice.reason or ""
    return out or [(None, reason)]


def _air(joint: Joint, fit: Fit, moving: Collection[str], trials: Trials | None) -> list[AirOpening]:
    """A round hole for the air of each fan that blows through the part: where the fans stand that its screws go
    through, or else those behind it; and wherever a radiator has a place for a fan and none stands near.
    """
    receiver, at = joint.axes[0].piece, around.pattern_pose(fit)
    passed = {p.piece.name: p.piece for a in joint.axes for p in a.passed}
    behind = {} if trials is None else {n: trials.layout.piece(n) for n in moving}
    places: list[tuple[Pose, float]] = []
    for pieces in (passed, behind):
        here = [(p.pose, float(p.part.hole_pitch)) for p in pieces.values() if isinstance(p.part, Fan)]
        places = places or here
    if isinstance(receiver.part, Radiator):
        pitch, side = receiver.part.field.hole_pitch, joint.axes[0].pattern.name
        places += [(receiver.frame_pose(f"{side}-{i}"), pitch) for i in range(1, receiver.part.fans + 1)]
    out: list[AirOpening] = []
    for pose, pitch in places:
        seen, wide = compose(inverse(at), pose), pitch + AIR_LESS
        x, y = float(seen[0, 3]), float(seen[1, 3])
        if abs(seen[2, 2]) < -OPPOSED or any(math.dist((x, y), o.at) < wide + WEB for o in out):
            continue  # blows past the plate, or stands in the line of another
        out.append(AirOpening.model_validate({"at": (Mm(x), Mm(y)), "diameter": Mm(wide)}))
    return out
