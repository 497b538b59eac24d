"""Routing: a way for every tube of the loop, found or as drawn, so that none meets another.

Owns the rules each tube keeps, the choices at its ends (the turns of free swivels), the order in which runs are laid,
and keeping the outcome by content, since finding it costs seconds. How one way is found or judged is the work of
`tubes`.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from functools import cache
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np

from elbowroom.model.envelopes import Margins, Obstacle, obstacles_of
from elbowroom.model.fitted import fitting_name, fittings, mouth
from elbowroom.model.freespace import Space
from elbowroom.model.layout import Layout
from elbowroom.model.plumbing import Chain, Line
from elbowroom.model.scene import Scene
from elbowroom.model.solidify import code_version, solidify
from elbowroom.model.store import Store
from elbowroom.model.tubes.bars import swept
from elbowroom.model.tubes.drawn import drawn_run
from elbowroom.model.tubes.planner import plan
from elbowroom.model.tubes.rules import Candidate, End, Found, Rules
from elbowroom.model.tubes.verify import verify
from elbowroom.parts.base import Box
from elbowroom.parts.bends import BendError, Run

Progress = Callable[[int, int, str], None]
Point = tuple[float, float, float]

# Turns tried of each free swivel, by how many a chain has: every 15 degrees of one, every 45 of two.
SWIVEL_STEPS = {1: 24, 2: 8}
MORE_SWIVELS = 4
ROUNDS = 3  # times the runs that found no way are put before the others and all are laid anew


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

    impossible: `text` is a proof with its numbers; else the search came to its end. at: where the trouble is.
    """

    way: Way | None
    text: str = ""
    faults: int = 0
    impossible: bool = False
    blockers: tuple[str, ...] = ()
    at: Point | None = None

    @classmethod
    def read(cls, values: dict[str, Any]) -> Route:
        """The inverse of `asdict` after JSON."""
        way = values["way"]
        return cls(
            None if way is None else Way(tuple(_point(p) for p in way["corners"]), tuple(way["radii"]),
                                         tuple(way["start"]), tuple(way["end"])),
            values["text"], values["faults"], values["impossible"], tuple(values["blockers"]),
            None if values["at"] is None else _point(values["at"]),
        )  # fmt: skip


def routes(
    layout: Layout, scene: Scene, lines: Sequence[Line], store: Store, progress: Progress | None = None
) -> dict[str, Route]:
    """A route for every run, by its name, among the solids of the scene (fittings that do not turn included)."""
    key = f"routes-{_key(layout, scene, lines)}"
    kept = store.read(key)
    if kept is not None:
        return {name: Route.read(values) for name, values in json.loads(kept).items()}
    found = _Router(layout, scene, store, progress).best(list(lines))
    store.write(key, json.dumps({name: asdict(route) for name, route in found.items()}).encode())
    return found


def drawn(line: Line) -> bool:
    """Whether the build draws the run itself."""
    return line.through is not None or line.bends is not None


class _Router:
    def __init__(self, layout: Layout, scene: Scene, store: Store, progress: Progress | None) -> None:
        self.layout, self.scene, self.store, self.progress = layout, scene, store, progress
        self.obstacles = obstacles_of(scene, family="tube")
        self.names = {o.name for o in self.obstacles}
        self.space = Space(self.obstacles)
        self.within = _outer(scene)

    def best(self, lines: list[Line]) -> dict[str, Route]:
        """Lay all runs, short ones first; where some find no way, let them go first and lay all anew."""
        order = sorted(range(len(lines)), key=lambda i: (not drawn(lines[i]), self._apart(lines[i]), i))
        best: dict[str, Route] = {}
        tried: set[tuple[int, ...]] = set()
        for _ in range(ROUNDS):
            tried.add(tuple(order))
            found = self._in_order([lines[i] for i in order])
            if not best or _missing(found) < _missing(best):
                best = found
            stuck = [i for i in order if self._by_others(found[lines[i].name])]
            order = [*stuck, *(i for i in order if i not in stuck)]
            if not stuck or tuple(order) in tried:
                break
        return best

    def _by_others(self, route: Route) -> bool:
        """Whether a run might find a way if it went before the others: it found none, and no part alone forbids it."""
        if route.way is not None:
            return False
        return not route.impossible or any(name not in self.names for name in route.blockers)

    def _in_order(self, lines: list[Line]) -> dict[str, Route]:
        out: dict[str, Route] = {}
        laid: list[Obstacle] = []
        for n, line in enumerate(lines):
            if self.progress is not None:
                self.progress(n, len(lines), "laying tubes")
            space = self.space.extended(laid)
            rules = self._rules(line)
            ends = [self._end(c, rules) for c in (line.start, line.end)]
            route, run = (_judged if drawn(line) else _planned)(line, rules, space, ends, self.within)
            out[line.name] = route
            if run is not None and route.way is not None:
                laid.append(swept(f"tube of {line.name}", run, rules.od))
                for chain, turns in ((line.start, route.way.start), (line.end, route.way.end)):
                    if chain.free:
                        laid += self._turned(chain, turns)
        if self.progress is not None:
            self.progress(len(lines), len(lines), "laying tubes")
        return out

    def _turned(self, chain: Chain, turns: Sequence[float]) -> tuple[Obstacle, ...]:
        """The fittings of a chain whose swivels now have their turn, as obstacles to the tubes still to come."""
        pieces, _ = fittings(self.layout, [chain], {chain.port: turns})
        return obstacles_of(solidify(replace(self.layout, pieces=tuple(pieces), mates=()), self.store), family="tube")

    def _rules(self, line: Line) -> Rules:
        """The tube's own rules; its clearance is the larger of its own and of every wanted gap that concerns it."""
        stock, gaps = line.tubing.stock, self.layout.gaps
        usual = max(line.tubing.clearance, gaps.default)
        special = {}
        for solid in self.scene.solids:
            family = solid.piece.part.family
            pair = (min("tube", family), max("tube", family))
            wanted = max(gaps.families.get(pair, 0.0), gaps.pieces.get(solid.piece.name, 0.0))
            if solid.body.keep_out is not None:
                special[solid.name] = 0.0
            elif wanted > usual:
                special[solid.name] = wanted
        insertion = min(float(c.links[-1].fitting.insertion) for c in (line.start, line.end))
        return Rules(
            od=stock.od,
            radius=line.tubing.radius,
            end_leg=stock.straight_leg(insertion),
            between=stock.between_bends,
            clearance=Margins(usual, special),
            soft=stock.kind == "soft",
        )

    def _end(self, chain: Chain, rules: Rules) -> _Choices:
        """The choices at one end: a single one, or one for each turn of the chain's free swivels."""
        steps = SWIVEL_STEPS.get(len(chain.free), MORE_SWIVELS)
        grid = [tuple(t) for t in product([360.0 * k / steps for k in range(steps)], repeat=len(chain.free))]
        candidates = []
        for turns in grid:
            frame, rods = mouth(self.layout, chain, turns)
            label = f"{chain.links[-1].size} at {chain.port}"
            if turns:
                label += ", turned " + ", ".join(f"{t:g} deg" for t in turns)
            candidates.append(
                Candidate(_point(frame[:3, 3]), _point(frame[:3, 2]), label, tuple(rods) if chain.free else ())
            )
        if chain.free:  # the bars of a swivel lie on the port's land
            port = self.layout.piece(chain.port.piece).frame(chain.port.frame)
            return _Choices(End(tuple(candidates), tuple(f"{chain.port.piece}/{b}" for b in port.bodies), 0.0), grid)
        last = fitting_name(chain, len(chain.links) - 1)
        own = tuple(o.name for o in self.obstacles if o.name.startswith(f"{last}/"))
        # Bars are judged with round ends: one that begins beyond the exemption still reaches half a tube back.
        return _Choices(End(tuple(candidates), own, rules.end_leg + rules.od / 2 + rules.clearance.default), grid)

    def _apart(self, line: Line) -> float:
        a, b = (self.layout.piece(c.port.piece).frame_pose(c.port.frame)[:3, 3] for c in (line.start, line.end))
        return float(np.linalg.norm(a - b))


@dataclass(frozen=True, slots=True)
class _Choices:
    """An end, and the turns of the swivels that each of its candidates stands for."""

    end: End
    turns: list[tuple[float, ...]]


def _planned(
    line: Line, rules: Rules, space: Space, ends: Sequence[_Choices], within: Box | None
) -> tuple[Route, Run | None]:
    result = plan(ends[0].end, ends[1].end, rules, space, within=within)
    if isinstance(result, Found):
        picks = [e.end.candidates.index(c) for e, c in zip(ends, (result.start, result.end), strict=True)]
        return Route(_way(result.run, ends, picks)), result.run
    blockers = dict.fromkeys([n for n, _ in result.blockers] + [o for r in result.reasons for o in r.obstacles])
    at = result.reasons[0].at if result.reasons else ends[0].end.candidates[0].point
    return Route(None, result.text, 0, result.impossible, tuple(blockers), at), None


def _judged(
    line: Line, rules: Rules, space: Space, ends: Sequence[_Choices], within: Box | None
) -> tuple[Route, Run | None]:
    """A run drawn by hand, judged by the checker that planned runs must pass."""
    try:
        run, picks = drawn_run([e.end.candidates for e in ends], line.through, line.bends, line.tubing.radius)
    except BendError as e:
        return Route(None, f"as drawn it cannot be bent: {e}", 1), None
    broken = verify(run, space, rules, ends[0].end, ends[1].end, within=within)
    names = dict.fromkeys(v.obstacle for v in broken if v.obstacle is not None)
    at = next((v.at for v in broken if v.at is not None), None)
    return Route(
        _way(run, ends, picks), "; ".join(v.text for v in broken[:3]), len(broken), False, tuple(names), at
    ), run


def _way(run: Run, ends: Sequence[_Choices], picks: Sequence[int]) -> Way:
    start, end = (e.turns[k] for e, k in zip(ends, picks, strict=True))
    return Way(tuple(_point(p) for p in run.points), tuple(float(b.radius) for b in run.bends), start, end)


def _missing(found: dict[str, Route]) -> int:
    return sum(r.way is None for r in found.values())


def _outer(scene: Scene) -> Box | None:
    """The case's outermost box, which a tube may not leave."""
    case = [s for s in scene.solids if s.piece.part.family == "case"]
    if not case:
        return None
    return Box(_point(np.min([s.lo for s in case], axis=0)), _point(np.max([s.hi for s in case], axis=0)))


def _point(v: Sequence[float] | np.ndarray) -> Point:
    return (float(v[0]), float(v[1]), float(v[2]))


@cache
def _planner_version() -> str:
    """Digest of the code that finds ways, so that a kept route is what today's code would find."""
    here = Path(__file__).parent
    names = ("routing.py", "fitted.py", "freespace.py", "field.py", "inside.py", "envelopes.py", "trees.py")
    digest = hashlib.sha256()
    for path in [*(here / n for n in names), *sorted((here / "tubes").glob("*.py"))]:
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _key(layout: Layout, scene: Scene, lines: Sequence[Line]) -> str:
    """Content address of the question: what stands where, and what is asked."""
    text = [code_version(), _planner_version()]
    text += [f"{s.shape.key} {s.name} {np.round(s.pose, 9).tobytes().hex()}" for s in scene.solids]
    gaps = layout.gaps
    text.append(repr((gaps.default, sorted(gaps.families.items()), sorted(gaps.pieces.items()))))
    for line in lines:
        ends = [(str(c.port), [(k.fitting.shape_key(), k.free) for k in c.links]) for c in (line.start, line.end)]
        tubing = line.tubing
        text.append(repr((line.name, ends, tubing.stock, tubing.radius, tubing.clearance, line.through, line.bends)))
    return hashlib.sha256("\n".join(text).encode()).hexdigest()[:32]
