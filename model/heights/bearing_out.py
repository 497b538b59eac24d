"""The whole check's word on a height taken: bodies, screws, drivers, and the ports of the raised parts.

Owns the stages asked, which of their findings another height might mend, and the narrowing of a range to where drivers
and fittings get in as well. These two change with the height in no way that could be certified: they are asked at the
height taken and at both ends of its range, and where an end fails, the edge is halved down to `EDGE_MM`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from elbowroom.model import checks
from elbowroom.model.checks import drivers
from elbowroom.model.findings import FAILING, UNDECIDED, Finding
from elbowroom.model.heights.limits import Limit
from elbowroom.model.heights.looking import Look
from elbowroom.model.heights.missing import Need, able
from elbowroom.model.heights.ranges import Stretch
from elbowroom.model.heights.stages import Stages
from elbowroom.model.heights.telling import Choice
from elbowroom.model.layout import Layout
from elbowroom.model.pairs import Progress
from elbowroom.model.solidify import solidify
from elbowroom.model.store import Store
from elbowroom.model.tolerances import EXACT_MM

LAYERS = 5  # tried from the height chosen up before others of the range are
SPREAD = 6  # heights tried over the rest of the range before it is said that the checks do not bear one out
EDGE_MM = 0.02  # to which the edge of what drivers and fittings allow is halved down: under the finest layer (P)
MOST_ADVICE = 2  # moves that are told
MOST_ASKED = 4  # moves of which it is asked whether the checks bear them out, some two seconds each
_INWARD_MM = 2 * EXACT_MM  # from an end of the range, where it is asked about


def borne_out(got: Look, choice: Choice, store: Store, progress: Progress | None = None) -> Choice:
    """The choice at a height that the checks agree to, its range narrowed to where they do; with their doubt where they
    agree to none of those tried.
    """
    assert choice.within is not None
    court = _Court(got, store, progress)
    a, b = choice.within
    steps = [round(choice.height + k * choice.layer, 6) for k in range(LAYERS)]
    rest = [round(choice.height + (b - choice.height) * k / SPREAD, 3) for k in range(1, SPREAD)]
    asked: list[float] = []
    doubt: tuple[str, ...] = ()
    for h in [h for h in (*steps, *rest) if h <= b + _INWARD_MM]:
        against = court.against(h)
        asked.append(h)
        if not against:
            low, high = court.edge(h, max(a, min(asked)) if len(asked) > 1 else a), court.edge(h, b)
            asked += [low[0], high[0]]
            height = h if len(asked) < 4 or h == choice.height else _nearest(low[0], h, choice.layer)
            narrowed = tuple(s if s != choice.within else (low[0], high[0]) for s in choice.fits)
            more = tuple(x for x in (low[1], high[1]) if x is not None)
            return replace(
                choice,
                height=height,
                fits=narrowed,
                within=(low[0], high[0]),
                narrowed=more,
                asked=tuple(sorted(asked)),
            )
        doubt = doubt or tuple(f.text for f in against)
    return replace(choice, doubt=doubt, asked=tuple(sorted(asked)))


def advised(got: Look, needs: Sequence[Need], store: Store, progress: Progress | None = None) -> tuple[Need, ...]:
    """Those needs, in the hundredths of a millimetre they are told in, that the checks bear out once the pieces stand
    as each says; at most MOST_ADVICE, of the first MOST_ASKED that can be done.
    """
    layout, way = got.stages.moved.layout, got.stages.moved.way
    some = [n for n in needs if able(n, layout, way)][:MOST_ASKED]
    out: list[Need] = []
    for need in some:
        told = (_as_told(need, end) for end in (math.ceil, math.floor))
        fine = (n for n in dict.fromkeys(told) if not _against_moving(got, n, store, progress))
        if len(out) < MOST_ADVICE and (one := next(fine, None)) is not None:
            out.append(one)
    return tuple(out)


def _as_told(need: Need, end: Callable[[float], int]) -> Need:
    """A need with its height rounded to hundredths by `end`, and every move as much longer, rounded up."""
    height = end(round(need.height * 100, 3)) / 100
    more = abs(height - need.height)
    moves = ((name, math.copysign(math.ceil(round((abs(x) + more) * 100, 3)) / 100, x)) for name, x in need.moves)
    return Need(height, tuple(moves))


def _against_moving(got: Look, need: Need, store: Store, progress: Progress | None) -> list[Finding]:
    """What the checks have against the pieces of a need, moved, and against the raised ones among them. What they had
    against a piece before, which the raised ones have no part in, is not the move's doing.
    """
    whole, moves = got.stages.whole(need.height), dict(need.moves)
    pieces = []
    for p in whole.pieces:
        pose = p.pose.copy()
        pose[:3, 3] += moves.get(p.name, 0.0) * got.stages.moved.way
        pieces.append(replace(p, pose=pose) if p.name in moves else p)
    known = {frozenset(x.parts) for x in got.aside}
    # Whoever moves a piece moves what it is fixed to as well, so that faces which no longer meet say nothing.
    mates = tuple(m for m in whole.mates if not {m.piece, m.to_piece} & set(moves))

    def against(layout: Layout) -> list[Finding]:
        found = checks.run(solidify(layout, store, progress), store, progress)
        about = [f for f in found if (set(moves) | got.movers) & set(f.parts)]
        return [f for f in about if f.verdict in FAILING | UNDECIDED and frozenset(f.parts) not in known]

    before = {(f.question, f.parts) for f in against(replace(whole, mates=mates)) if not got.movers & set(f.parts)}
    moved = against(replace(whole, pieces=tuple(pieces), mates=mates))
    return [f for f in moved if (f.question, f.parts) not in before]


def _nearest(low: float, known: float, layer: float) -> float:
    """The least whole layer at or above `low`, no higher than a height known to be fine."""
    return min(round(float(np.ceil((low - _INWARD_MM) / layer)) * layer, 6), known)


class _Court:
    def __init__(self, got: Look, store: Store, progress: Progress | None) -> None:
        self.stages: Stages = got.stages
        self.known = {frozenset(x.parts) for x in got.aside}
        self.mates = {frozenset(x.parts) for x in got.limits if x.question == "mate"}  # that a height changes
        self.store, self.progress = store, progress

    def against(self, h: float) -> list[Finding]:
        """What the checks have against a height that another might mend."""
        whole = self.stages.whole(h)
        found = checks.run(solidify(whole, self.store, self.progress), self.store, self.progress)
        bad = [f for f in found if f.verdict in FAILING | UNDECIDED and frozenset(f.parts) not in self.known]
        if bad:
            beside = self._beside(h)
            bad = [f for f in bad if self._mendable(f, whole, beside)]
        return [*bad, *self.stages.against(h), *self.access(h)]

    def access(self, h: float) -> list[Finding]:
        """What there is against drivers and chosen fittings getting at the moving parts at a height."""
        scene = solidify(self.stages.screwed(h), self.store, self.progress)
        names = self.stages.movers
        joints = {c.joint.name for c in self.stages.fastened(h).chosen}
        found = [
            f for f in drivers.check(scene, self.stages.chosen(h), self.store)
            if dict(f.extra).get("joint") in joints or names & set(f.parts)
        ]  # fmt: skip
        if self.stages.plumbing is not None:
            from elbowroom.model import reach

            found += reach.check_chosen(scene, self.stages.plumbing, self.store, names)
        return [f for f in found if f.verdict in FAILING | UNDECIDED]

    def edge(self, fine: float, end: float) -> tuple[float, Limit | None]:
        """How far toward an end of the range, from a height that is fine, drivers and fittings get in; what stops them
        beyond it, None where they do up to the end.
        """
        inward = _INWARD_MM if fine > end else -_INWARD_MM
        if abs(fine - end) <= EDGE_MM:
            return end, None
        stopped = self.access(end + inward)
        if not stopped:
            return end, None
        bad = end
        while abs(fine - bad) > EDGE_MM:
            middle = (fine + bad) / 2
            against = self.access(middle)
            fine, bad, stopped = (fine, middle, against) if against else (middle, bad, stopped)
        f, span = stopped[0], sorted((bad, end))
        stretch: Stretch = (span[0], span[1])
        names = (f.parts[0], f.parts[-1])
        return fine, Limit(f.question, f.parts, names, None, (stretch,), said=f.text)  # type: ignore[arg-type]

    def _beside(self, h: float) -> Layout:
        step = EDGE_MM if h + EDGE_MM <= self.stages.moved.hi else -EDGE_MM
        return self.stages.whole(h + step)

    def _mendable(self, f: Finding, whole: Layout, beside: Layout) -> bool:
        """Whether a finding is of pieces that stand otherwise to each other, or in the case, at another height."""
        if any(self.stages.apart(a, b) for a in f.parts for b in f.parts):
            return False
        if f.question == "mate":
            return frozenset(f.parts) in self.mates
        if any(s.mesh.fault is not None for s in self.stages.moved.scene.solids if s.name in f.bodies):
            return False
        was, now = ({p.name: p for p in layout.pieces} for layout in (whole, beside))
        if any(n not in now or now[n].part != was[n].part for n in f.parts):
            return True
        steps = [now[n].pose[:3, 3] - was[n].pose[:3, 3] for n in f.parts]
        if len(steps) == 1:
            return bool(np.abs(steps[0]).max() > _INWARD_MM)
        return bool(np.abs(steps[0] - steps[1]).max() > _INWARD_MM)
