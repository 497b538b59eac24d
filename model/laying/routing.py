"""Routing: a way for every tube of the loop, found or as drawn, so that none meets another.

Owns the rules each tube keeps, the choices at its ends and keeping the outcome by content, since finding it costs
seconds. Which turns of a swivel there are is asked of `swivels`; how ways are found and judged, alone and together, is
the work of `tubes`.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np

from elbowroom.model import digest
from elbowroom.model.geometry.envelopes import Margins, Obstacle, obstacles_of
from elbowroom.model.geometry.freespace import Space
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.laying.swivels import Swivels
from elbowroom.model.layout.directions import open_side_of, toward
from elbowroom.model.layout.layout import Layout
from elbowroom.model.loop.fitted import fitting, mouth, pointing
from elbowroom.model.loop.plumbing import Chain, Line
from elbowroom.model.store import Store
from elbowroom.model.told.progress import Progress
from elbowroom.model.told.wordings import mm
from elbowroom.model.tubes.bars import bars_of, rod_mesh, self_gap, swept
from elbowroom.model.tubes.drawn import drawn_run
from elbowroom.model.tubes.planner import plan
from elbowroom.model.tubes.rules import Candidate, End, Found, Result, Rules
from elbowroom.model.tubes.several import Wanted, plan_all
from elbowroom.model.tubes.verify import verify
from elbowroom.parts.tube.tube import FARTHEST
from elbowroom.parts.vocabulary.base import Box
from elbowroom.parts.vocabulary.bends import BendError, Run, bend_run

Point = tuple[float, float, float]

AGAIN = 0.5  # of the work of a run's search, for the one with turns that stand nearer than wanted
TUBE = "tube of "  # before a run's name: its tube as an obstacle to others


@dataclass(frozen=True, slots=True)
class Way:
    """How a tube lies: first mouth, corners, last mouth; the radius at each corner; turns of the swivels, degrees."""

    corners: tuple[Point, ...]
    radii: tuple[float, ...]
    start: tuple[float, ...]
    end: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Route:
    """What came of one run: its way, or why there is none. faults: rules that a way drawn by hand breaks.

    impossible: `text` is a proof with its numbers; else the search came to its end, and `tried` holds what it went
    through (`rules.Tried`). at: where the trouble is. offer: what another style would find.
    """

    way: Way | None
    text: str = ""
    faults: int = 0
    impossible: bool = False
    blockers: tuple[str, ...] = ()
    at: Point | None = None
    tried: Mapping[str, Any] = field(default_factory=dict)
    offer: str = ""

    @classmethod
    def read(cls, values: dict[str, Any]) -> Route:
        """The inverse of `asdict` after JSON."""
        way = values["way"]
        return cls(
            None if way is None else Way(tuple(_point(p) for p in way["corners"]), tuple(way["radii"]),
                                         tuple(way["start"]), tuple(way["end"])),
            values["text"], values["faults"], values["impossible"], tuple(values["blockers"]),
            None if values["at"] is None else _point(values["at"]), values["tried"], values["offer"],
        )  # fmt: skip


def routes(
    layout: Layout, scene: Scene, lines: Sequence[Line], store: Store, progress: Progress | None = None
) -> dict[str, Route]:
    """A route for every run, by its name, among the solids of the scene (fittings that do not turn included)."""
    key = f"routes-{_key(layout, scene, lines)}"
    kept = store.read(key)
    if kept is not None:
        return {name: Route.read(values) for name, values in json.loads(kept).items()}
    found = _Router(layout, scene, store, progress).all(lines)
    store.write(key, json.dumps({name: asdict(route) for name, route in found.items()}).encode())
    return found


def drawn(line: Line) -> bool:
    """Whether the build draws the run itself."""
    return line.through is not None or line.bends is not None


class _Router:
    def __init__(self, layout: Layout, scene: Scene, store: Store, progress: Progress | None) -> None:
        self.layout, self.scene, self.store, self.progress = layout, scene, store, progress
        self.obstacles = obstacles_of(scene, family="tube")
        self.space = Space(self.obstacles)
        self.within = _outer(scene)
        self.swivels = Swivels(scene, store)

    def all(self, lines: Sequence[Line]) -> dict[str, Route]:
        """Every run: those drawn by hand as they are drawn, then the others round them."""
        out: dict[str, Route] = {}
        space = self.space
        for line in (li for li in lines if drawn(li)):
            rules = self._rules(line)
            route, run, picked = _judged(line, rules, space, self._ends(line, rules), self.within)
            out[line.name] = route
            if run is not None:
                space = space.extended([swept(f"tube of {line.name}", run, rules.od), *_bodies(line, picked)])
        asked = [li for li in lines if not drawn(li)]
        for line in asked:  # no search is worth its time there
            spots = [c.point for e in self._ends(line, self._rules(line)) for c in e.candidates]
            if said := _too_far(spots):
                out[line.name] = Route(None, said)
        asked = [li for li in asked if li.name not in out]
        out |= self._planned([self._wanted(line) for line in asked], space)
        again = [li for li in asked if out[li.name].way is None and not out[li.name].impossible and self._tight(li)]
        if again:  # turns that are free but stand nearer to something than wanted: better than no tube
            wanted = [self._wanted(li, tight=li in again) for li in asked]
            second = self._planned(wanted, space)
            if _missing(second) < _missing({li.name: out[li.name] for li in asked}):
                out |= second
        for line in asked:
            if line.tubing.square and out[line.name].way is None:
                out[line.name] = replace(out[line.name], offer=self._not_square(line, lines, out, space))
        return out

    def _planned(self, wanted: Sequence[Wanted], space: Space) -> dict[str, Route]:
        def told(done: int, of: int) -> None:
            if self.progress is not None:
                self.progress(done, of, "laying tubes")

        found = plan_all(wanted, space, within=self.within, store=self.store, progress=told)
        told(len(wanted), len(wanted))
        return {name.removeprefix(TUBE): _route(result) for name, result in found.items()}

    def _tight(self, line: Line) -> bool:
        """Whether an end has turns that are free but do not keep every wanted gap."""
        return any(c.free and self.swivels.offered(c, tight=True) for c in (line.start, line.end))

    def _wanted(self, line: Line, *, tight: bool = False) -> Wanted:
        rules = self._rules(line)
        ends = self._ends(line, rules, tight=tight)
        if not (line.start.free or line.end.free):
            return Wanted(TUBE + line.name, *ends, rules, effort=AGAIN if tight else 1.0)

        def finer(found: Found) -> tuple[End, End] | None:
            near = [
                replace(end, candidates=self._near(chain, choice)) if chain.free else end
                for end, chain, choice in zip(ends, (line.start, line.end), (found.start, found.end), strict=True)
            ]
            return (near[0], near[1]) if max(len(e.candidates) for e in near) > 1 else None

        return Wanted(TUBE + line.name, *ends, rules, None if rules.square else finer, AGAIN if tight else 1.0)

    def _not_square(self, line: Line, lines: Sequence[Line], found: Mapping[str, Route], space: Space) -> str:
        """What the shortest run would be where no square one was found; empty where that is not found either."""
        rules = replace(self._rules(line), square=False)
        for other in lines:
            way = found[other.name].way
            if way is not None and not drawn(other):
                run = bend_run(way.corners, way.radii or 1.0)
                space = space.extended([swept(TUBE + other.name, run, self._rules(other).od)])
        got = plan(*self._ends(line, rules), rules, space, within=self.within)
        if not isinstance(got, Found):
            return ""
        bends = len(got.run.bends)
        return f"style: shortest finds {mm(got.run.length)} of tube with {bends} bend{'' if bends == 1 else 's'}"

    def _rules(self, line: Line) -> Rules:
        """The tube's own rules; its clearance is the larger of its own and of every wanted gap that concerns it."""
        stock, gaps = line.tubing.stock, self.layout.gaps
        usual = max(line.tubing.clearance, gaps.default, gaps.families.get(("tube", "tube"), 0.0))
        special = {}
        for solid in self.scene.solids:
            family = solid.piece.part.family
            pair = (min("tube", family), max("tube", family))
            wanted = max(line.tubing.clearance, gaps.default, gaps.families.get(pair, 0.0))
            wanted = max(wanted, gaps.pieces.get(solid.piece.name, 0.0))
            if solid.body.keep_out is not None:
                special[solid.name] = 0.0
            elif wanted != usual:
                special[solid.name] = wanted
        insertion = min(float(c.links[-1].fitting.insertion) for c in (line.start, line.end))
        return Rules(
            od=stock.od,
            radius=line.tubing.radius,
            end_leg=stock.straight_leg(insertion),
            between=stock.between_bends,
            clearance=Margins(usual, special),
            soft=stock.kind == "soft",
            square=line.tubing.square and not drawn(line),
        )

    def _ends(self, line: Line, rules: Rules, *, tight: bool = False) -> tuple[End, End]:
        return self._end(line.start, rules, tight), self._end(line.end, rules, tight)

    def _end(self, chain: Chain, rules: Rules, tight: bool) -> End:
        """The choices at one end: a single one, or one for each turn of the chain's free swivels that stands free."""
        if chain.free:  # no part of the chain stands yet: what its bars meet is known for every turn
            turns = self.swivels.offered(chain) or self.swivels.offered(chain, tight=True)
            if tight:
                turns = [*turns, *(t for t in self.swivels.offered(chain, tight=True) if t not in turns)]
            choices = tuple(self._choice(chain, t) for t in turns or [(0.0,) * len(chain.free)])
            # A chain that stands free at no turn is offered as it is, and meets what is in its way.
            return End(choices, (), 0.0, len(self.obstacles) if turns else 0)
        last = str(fitting(chain, len(chain.links) - 1))
        own = tuple(o.name for o in self.obstacles if o.name.startswith(f"{last}/"))
        # Bars are judged with round ends: one that begins beyond the exemption still reaches half a tube back.
        return End((self._choice(chain, ()),), own, rules.end_leg + rules.od / 2 + rules.clearance.default)

    def _near(self, chain: Chain, choice: Candidate) -> tuple[Candidate, ...]:
        return tuple(self._choice(chain, t) for t in self.swivels.near(chain, choice.turns))

    def _choice(self, chain: Chain, turns: Sequence[float]) -> Candidate:
        frame, rods = mouth(self.layout, chain, turns)
        label = f"{chain.links[-1].size} at {chain.port}"
        if turns:
            side, each = open_side_of(self.layout), pointing(self.layout, chain, turns)
            label += "".join(
                f", {size} turned {toward(way.tolist(), side)}" for size, _, way in each if way is not None
            )
        return Candidate(
            _point(frame[:3, 3]), _point(frame[:3, 2]), label, tuple(rods) if chain.free else (), tuple(turns)
        )


def _bodies(line: Line, picked: Sequence[Candidate]) -> list[Obstacle]:
    """The fittings of a run's ends that were turned for it."""
    return [
        rod_mesh(f"{TUBE}{line.name} {side} fitting", r)
        for side, choice in zip(("start", "end"), picked, strict=True)
        for r in choice.body
    ]


def _route(result: Result) -> Route:
    if isinstance(result, Found):
        if said := _too_far(result.run.points):
            return Route(None, said)
        return Route(_way(result.run, result.start, result.end))
    blockers = dict.fromkeys([n for n, _ in result.blockers] + [o for r in result.reasons for o in r.obstacles])
    at = result.reasons[0].at if result.reasons else result.at
    return Route(None, result.text, 0, result.impossible, tuple(blockers), at, asdict(result.tried))


def _too_far(points: Sequence[Point]) -> str:
    """What is wrong with a run whose points lie out of any room, in words; empty where none does."""
    far = max(abs(c) for p in points for c in p)
    if far <= FARTHEST:
        return ""
    return f"it lies up to {far / 1000:.1f} m from the case's corner, {FARTHEST / 1000:g} m are the most"


def _judged(
    line: Line, rules: Rules, space: Space, ends: tuple[End, End], within: Box | None
) -> tuple[Route, Run | None, tuple[Candidate, ...]]:
    """A run drawn by hand, judged by the checker that planned runs must pass."""
    try:
        run, picks = drawn_run([e.candidates for e in ends], line.through, line.bends, line.tubing.radius)
    except BendError as e:
        return Route(None, f"as drawn it cannot be bent: {e}", 1), None, ()
    if said := _too_far(run.points):
        return Route(None, f"as drawn {said}", 1), None, ()
    broken = verify(run, space, rules, *ends, within=within)
    gap = self_gap(bars_of(run, rules.od), rules.radius)[0]
    if gap < rules.od:  # a tube through itself is no solid that could be drawn
        return Route(None, f"as drawn the tube meets itself: centre lines {gap:.2f} mm apart", 1), None, ()
    names = dict.fromkeys(v.obstacle for v in broken if v.obstacle is not None)
    at = next((v.at for v in broken if v.at is not None), None)
    start, end = (e.candidates[k] for e, k in zip(ends, picks, strict=True))
    text = "; ".join(v.text for v in broken[:3])
    return Route(_way(run, start, end), text, len(broken), False, tuple(names), at), run, (start, end)


def _way(run: Run, start: Candidate, end: Candidate) -> Way:
    radii = tuple(float(b.radius) for b in run.bends)
    return Way(tuple(_point(p) for p in run.points), radii, start.turns, end.turns)


def _missing(found: dict[str, Route]) -> int:
    return sum(r.way is None for r in found.values())


def _outer(scene: Scene) -> Box | None:
    """The case's outermost box, which a tube may not leave."""
    case = [s for s in scene.solids if s.piece.part.encloses]
    if not case:
        return None
    return Box(_point(np.min([s.lo for s in case], axis=0)), _point(np.max([s.hi for s in case], axis=0)))


def _point(v: Sequence[float] | np.ndarray) -> Point:
    return (float(v[0]), float(v[1]), float(v[2]))


def _key(layout: Layout, scene: Scene, lines: Sequence[Line]) -> str:
    """Content address of the question: what stands where, and what is asked."""
    text = [digest.version()]
    text += [f"{s.shape.key} {s.name} {np.round(s.pose, 9).tobytes().hex()}" for s in scene.solids]
    gaps = layout.gaps
    text.append(repr((gaps.default, sorted(gaps.families.items()), sorted(gaps.pieces.items()))))
    for line in lines:
        ends = [(str(c.port), [(k.fitting.shape_key(), k.free) for k in c.links]) for c in (line.start, line.end)]
        tubing = line.tubing
        asked = (tubing.stock, tubing.radius, tubing.clearance, tubing.square)
        text.append(repr((line.name, ends, *asked, line.through, line.bends)))
    return hashlib.sha256("\n".join(text).encode()).hexdigest()[:32]
