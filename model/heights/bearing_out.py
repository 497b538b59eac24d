"""The whole check's word on a height taken: bodies, screws, drivers, and the ports that the raised parts stand near.

Owns choosing a height from the stretches in which drivers and fittings get in (`access`), asking all checks about it,
which of their findings another height might mend, and what moves of other pieces the checks bear out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from elbowroom.model import checks
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.heights.access import EDGE_MM, Access
from elbowroom.model.heights.choosing import chosen
from elbowroom.model.heights.limits import Limit
from elbowroom.model.heights.looking import Look
from elbowroom.model.heights.missing import Need, able
from elbowroom.model.heights.ranges import Stretch
from elbowroom.model.heights.stages import Stages
from elbowroom.model.heights.telling import Choice
from elbowroom.model.layout.layout import Layout
from elbowroom.model.screws import drivers
from elbowroom.model.store import Store
from elbowroom.model.told.findings import FAILING, UNDECIDED, Finding
from elbowroom.model.told.particulars import AtJoint, AtPort, BetweenPorts
from elbowroom.model.told.progress import Progress
from elbowroom.model.tolerances import EXACT_MM

LAYERS = 5  # tried from the height chosen up before others of the range are
SPREAD = 6  # parts of every stretch at whose joints heights are tried after those
MOST_TRIED = 12  # heights asked of the whole check, up to two seconds each
MOST_ADVICE = 2  # moves that are told
MOST_ASKED = 4  # moves of which it is asked whether the checks bear them out, some two seconds each
Enough = Callable[[Sequence[Stretch]], bool]
_INWARD_MM = 2 * EXACT_MM  # from an end of the range, where it is asked about


def borne_out(
    got: Look, how: str, layer: float, enough: Enough, store: Store, progress: Progress | None = None
) -> Choice:
    """The choice of a height that the checks agree to, from the stretches in which drivers and fittings get in; with
    their doubt where they agree to none of those tried, without a stretch where these get in nowhere.

    how, layer: of the height wanted. enough: whether a height can be taken from some stretches.
    """
    court = _Court(got, store, progress)
    access = Access(got.stages, court.told, store)
    reached = access.over(got.fits, enough)
    court.reached(access.ports, reached.aside)
    ended = min((e for e in (got.ended, reached.ended) if e is not None), default=None)
    rest = Choice(got.fits[0][0], (), None, layer, (*got.aside, *reached.aside), ended=ended, narrowed=reached.limits)
    if not reached.fits:
        return replace(rest, height=_layered_in(got.fits[0], layer))
    height, within = chosen(reached.fits, how, layer)
    choice = replace(rest, height=height, fits=reached.fits, within=within)
    asked: list[float] = []
    doubt: tuple[str, ...] = ()
    for h in _tried(choice, how):
        against = court.against(h)
        asked.append(h)
        if not against:
            own = next(s for s in reached.fits if s[0] - _INWARD_MM <= h <= s[1] + _INWARD_MM)
            return replace(choice, height=h, within=own, asked=tuple(sorted(asked)))
        doubt = doubt or tuple(f.text for f in against)
    return replace(choice, doubt=doubt, asked=tuple(sorted(asked)))


def _tried(choice: Choice, how: str) -> list[float]:
    """Heights in the order they are tried: the one chosen, whole layers beside it, then some over all that is left."""
    signs = (1,) if how == "least" else (1, -1)
    steps = [choice.height, *(choice.height + s * k * choice.layer for k in range(1, LAYERS) for s in signs)]
    over = [a + (b - a) * k / SPREAD for a, b in choice.fits for k in range(1, SPREAD)]
    over.sort(key=lambda h: (h < choice.height, h) if how == "least" else (False, abs(h - choice.height)))
    inside = [
        round(h, 6 if n < len(steps) else 3)
        for n, h in enumerate((*steps, *over))
        if any(a - _INWARD_MM <= h <= b + _INWARD_MM for a, b in choice.fits)
    ]
    return list(dict.fromkeys(inside))[:MOST_TRIED]


def _layered_in(stretch: Stretch, layer: float) -> float:
    """The least whole layer of a stretch, its lower end where none lies in it."""
    height = round(math.ceil(stretch[0] / layer - EXACT_MM) * layer, 6)
    return height if height <= stretch[1] else stretch[0]


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


class _Court:
    def __init__(self, got: Look, store: Store, progress: Progress | None) -> None:
        self.stages: Stages = got.stages
        self.known = {frozenset(x.parts) for x in got.aside}
        self.mates = {frozenset(x.parts) for x in got.limits if x.question == "mate"}  # that a height changes
        self.store, self.progress = store, progress
        self.ports: frozenset[str] = frozenset()  # pieces whose ports are asked beside those of the moving parts
        self.aside: frozenset[str] = frozenset()  # ports that no height mends

    def reached(self, ports: frozenset[str], aside: Sequence[Limit]) -> None:
        """Note which ports are asked, and which of them no height mends."""
        self.ports, self.aside = ports, frozenset(x.names[0] for x in aside)

    def told(self, h: float, ports: frozenset[str]) -> dict[str, str]:
        """What there is against drivers and fittings at a height, in words, by the joint or port."""
        return {_asked(f): f.text for f in self._access(h, ports)}

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
        """What there is against drivers and chosen fittings at a height that another might mend."""
        return [
            f for f in self._access(h, self.ports) if not (isinstance(f.about, AtPort) and f.about.port in self.aside)
        ]

    def _access(self, h: float, ports: frozenset[str]) -> list[Finding]:
        scene = solidify(self.stages.screwed(h), self.store, self.progress)
        names = self.stages.movers
        joints = {c.joint.name for c in self.stages.fastened(h).chosen}
        found = [
            f for f in drivers.check(scene, self.stages.chosen(h), self.store)
            if (isinstance(f.about, AtJoint) and f.about.joint in joints) or names & set(f.parts)
        ]  # fmt: skip
        if self.stages.plumbing is not None:
            from elbowroom.model import reach

            found += reach.check_chosen(scene, self.stages.plumbing, self.store, names | ports)
        return [f for f in found if f.verdict in FAILING | UNDECIDED]

    def _beside(self, h: float) -> Layout:
        step = EDGE_MM if h + EDGE_MM <= self.stages.moved.hi else -EDGE_MM
        return self.stages.whole(h + step)

    def _mendable(self, f: Finding, whole: Layout, beside: Layout) -> bool:
        """Whether a finding is of pieces that stand otherwise to each other, or in the case, at another height."""
        about = [p for p in whole.pieces if p.name in f.parts]
        if any(self.stages.apart(a, b) for a in about for b in about):
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


def _asked(f: Finding) -> str:
    """The port, the ports or the joint that was asked about."""
    if isinstance(f.about, AtJoint):
        return f.about.joint
    return " and ".join(f.about.ports) if isinstance(f.about, (AtPort, BetweenPorts)) else f.id
