"""Laying the loop: fittings screwed into their ports, and a tube along every run, as pieces of the layout.

Owns the order of it: chains that do not turn stand first, then tubes find their ways among them and turn their swivels
to suit, then the swivels that no tube decides are set. The result is an ordinary layout that every check and writer
takes as it is, and the route of each run.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.laying.routing import Route, Way, routes
from elbowroom.model.laying.swivels import Settled, Swivels, settle
from elbowroom.model.layout.identity import Port, Run
from elbowroom.model.layout.layout import Layout, Mate, Piece
from elbowroom.model.loop.fitted import fitting, fittings
from elbowroom.model.loop.plumbing import Chain, Line, Plumbing
from elbowroom.model.store import Store
from elbowroom.model.told.progress import Progress
from elbowroom.parts.tube.tube import TubeRun
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import IDENTITY


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """The layout with fittings and tubes; by each run's name its route and, where it has a way, its tube; and what the
    swivels are set to that no run decides.
    """

    layout: Layout
    routes: dict[str, Route]
    tubes: dict[str, Piece]
    settled: Settled


def lay(layout: Layout, plumbing: Plumbing, store: Store, progress: Progress | None = None) -> Laid:
    """Screw in the fittings and lay the tubes."""
    chains = list(plumbing.chains.values())
    fixed, mates = fittings(layout, [c for c in chains if not c.free], {})
    standing = replace(layout, pieces=(*layout.pieces, *fixed), mates=(*layout.mates, *mates))
    lines = [line for line in plumbing.lines if line.start.links and line.end.links]
    found = routes(standing, solidify(standing, store, progress), lines, store, progress)
    turns: dict[Port, tuple[float, ...]] = {}
    tubes: dict[str, Piece] = {}
    joints: list[Mate] = []
    for number, line in enumerate(plumbing.lines, 1):
        way = found[line.name].way if line.name in found else None
        if way is None:
            continue
        turns[line.start.port], turns[line.end.port] = way.start, way.end
        tube = _tube(line, way, number)
        tubes[line.name] = tube
        joints += [_joint(tube, "start", line.start), _joint(tube, "end", line.end)]
    routed = [c for c in chains if c.free and c.port in turns]
    turned, more = fittings(layout, routed, turns)
    left = [c for c in chains if c.free and c.port not in turns]
    settled = Settled({}, ())
    if left:
        # Where no run decides, a swivel is set before anything is judged: among all that stands for certain.
        certain = replace(standing, pieces=(*standing.pieces, *turned, *tubes.values()), mates=(*standing.mates, *more))
        settled = settle(Swivels(solidify(certain, store, progress), store), left)
        last, joined = fittings(layout, [c for c in left if c.port in settled.turns], settled.turns)
        turned, more = [*turned, *last], [*more, *joined]
    whole = replace(
        standing,
        pieces=(*standing.pieces, *turned, *tubes.values()),
        mates=(*standing.mates, *more, *joints),
    )
    return Laid(whole, found, tubes, settled)


def _tube(line: Line, way: Way, number: int) -> Piece:
    stock = line.tubing.stock
    insertion = [Mm(c.links[-1].fitting.insertion) for c in (line.start, line.end)]
    part = TubeRun(
        kind=stock.kind,
        points=tuple((Mm(x), Mm(y), Mm(z)) for x, y, z in way.corners),
        radius=tuple(Mm(r) for r in way.radii) or Mm(line.tubing.radius),
        od=Mm(stock.od),
        id=Mm(stock.id),
        insertion_start=insertion[0],
        insertion_end=insertion[1],
    )
    rests = (stock.source, stock.mark)
    who, sources = Run(line.name, number), {"od": rests, "id": rests, "radius": rests}
    return Piece(str(who), part, IDENTITY, "tubes", frozenset(), sources, identity=who)


def _joint(tube: Piece, frame: str, chain: Chain) -> Mate:
    """A tube in its fitting: they touch where they must, and no gap is wanted."""
    return Mate(tube.name, frame, str(fitting(chain, len(chain.links) - 1)), "tube", contact=False)
