"""The coolant's way as a graph: waterways of placed parts, joined by runs of tube and by ports screwed together.

Owns building that graph and the questions of graph theory put to it: what is joined, where a pipe leads nowhere, which
pipes lie on a way round, and where the flow divides. Leaves what is right or wrong about an answer to `checks.loop`.

Flow in the steady state follows from the blocks of a graph: two pipes are in one block where some way round, passing no
waterway twice, runs through both. A pipe that is a block by itself carries nothing; a block without a pump in it hangs
on the rest by single waterways, between which there is no pressure, and carries nothing either.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from elbowroom.model.layout.identity import Port
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.loop.plumbing import Line, Plumbing, ports_of
from elbowroom.parts.fitting.fitting import Fitting
from elbowroom.parts.vocabulary.base import Frame

Joint = tuple[Port, Port]  # two threads brought together by a mate


@dataclass(frozen=True, slots=True)
class Way:
    """A waterway: ports that share coolant inside one piece, or in several whose ports are screwed together.

    known: how the ports are joined is stated by the parts, or is beyond doubt. pumped: a pump of the parts' own drives
    it. may_pump: one of the parts is a shape of the user's, which may be a pump.
    """

    ports: tuple[Port, ...]
    known: bool
    pumped: bool
    may_pump: bool

    @property
    def pieces(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(p.piece for p in self.ports))

    def __str__(self) -> str:
        return " and ".join(self.pieces)


@dataclass(frozen=True, slots=True, eq=False)
class Network:
    """Ways by number, and the runs between them as pipes by number, each in the coolant's direction as drawn.

    frames: every threaded port, male ones too. joints: ports screwed together. at: the pipes at each way that has any,
    a pipe with both ends there twice.
    """

    ways: tuple[Way, ...]
    pipes: tuple[Line, ...]
    frames: dict[Port, Frame]
    joints: tuple[Joint, ...]
    way_of: dict[Port, int]
    at: dict[int, list[int]] = field(default_factory=dict)

    def ends(self, pipe: int) -> tuple[int, int]:
        """The ways a pipe leads from and to."""
        a, b = ports_at(self.pipes[pipe])
        return self.way_of[a], self.way_of[b]

    def users(self) -> dict[Port, list[str]]:
        """What ends at each port, in words; a port that nothing ends at is not named."""
        out: dict[Port, list[str]] = {}
        for line in self.pipes:
            for port in ports_at(line):
                out.setdefault(port, []).append(f"the run {line.name}")
        for a, b in self.joints:
            out.setdefault(a, []).append(str(b))
            out.setdefault(b, []).append(str(a))
        return out

    def reached(self) -> list[str]:
        """Pieces with a waterway that some run ends at, in the runs' order."""
        ways = dict.fromkeys(w for i in range(len(self.pipes)) for w in self.ends(i))
        return list(dict.fromkeys(piece for w in ways for piece in self.ways[w].pieces))


def ports_at(line: Line) -> tuple[Port, Port]:
    """The ports a run leads from and to."""
    return line.start.port, line.end.port


def network(layout: Layout, plumbing: Plumbing) -> Network:
    """The graph of a layout with the runs that were asked for.

    layout: as the runs were read from, so without the fittings and tubes of the runs themselves.
    """
    frames = {Port(p.name, f.name): f for p in layout.pieces for f in p.part.frames() if f.kind == "port"}
    joints = tuple(
        (a, b)
        for m in layout.mates
        if (a := Port(m.piece, m.frame)) in frames and (b := Port(m.to_piece, m.to_frame)) in frames
    )
    groups = [(piece, group) for piece in layout.pieces for group in _groups(piece)]
    way_of = {port: i for i, (_, group) in enumerate(groups) for port in group}
    for a, b in joints:
        one, other = way_of[a], way_of[b]
        way_of = {port: one if i == other else i for port, i in way_of.items()}
    ways: list[Way] = []
    number: dict[int, int] = {}
    for i in dict.fromkeys(way_of.values()):
        number[i] = len(ways)
        members = [(piece, group) for piece, group in groups if way_of[group[0]] == i]
        ways.append(
            Way(
                tuple(port for _, group in members for port in group),
                all(piece.part.waterways_known() or len(group) <= 2 for piece, group in members),
                any({p.frame for p in group} & set(piece.part.pumped_ports()) for piece, group in members),
                any(_shape(piece) and len(group) >= 2 for piece, group in members),
            )
        )
    net = Network(tuple(ways), plumbing.lines, frames, joints, {port: number[i] for port, i in way_of.items()})
    for i in range(len(net.pipes)):
        for way in net.ends(i):
            net.at.setdefault(way, []).append(i)
    return net


def _shape(piece: Piece) -> bool:
    """Whether a piece's inside is its builder's own affair: a plate without channels is still no pump."""
    return not piece.part.waterways_known() and not piece.part.states_channels


def _groups(piece: Piece) -> list[tuple[Port, ...]]:
    """The waterways of a piece; a port that none of them names is one by itself."""
    groups = [g for g in piece.part.waterways() if g]
    named = {n for g in groups for n in g}
    lone = [(f.name,) for f in piece.part.frames() if f.kind == "port" and f.name not in named]
    return [tuple(Port(piece.name, n) for n in g) for g in (*groups, *lone)]


def open_ports(layout: Layout, net: Network, plumbing: Plumbing) -> dict[str, list[Port]]:
    """Female ports that nothing ends at and nothing closes, by piece."""
    users = net.users()
    out: dict[str, list[Port]] = {}
    for piece, frame in ports_of(layout):
        port = Port(piece.name, frame.name)
        if port not in users and not closed(plumbing, port):
            out.setdefault(piece.name, []).append(port)
    return out


def closed(plumbing: Plumbing, port: Port) -> bool:
    """Whether the chain on a port that no run uses ends in a plug or holds a valve."""
    chain = plumbing.chains.get(port)
    links = () if chain is None else chain.links
    return bool(links) and (links[-1].fitting.kind == "plug" or any(_valve(k.fitting) for k in links))


def valve_only(plumbing: Plumbing, port: Port) -> bool:
    """Whether nothing but a valve's handle keeps a port closed."""
    chain = plumbing.chains.get(port)
    links = () if chain is None else chain.links
    return any(_valve(k.fitting) for k in links) and links[-1].fitting.kind != "plug"


def _valve(fitting: Fitting) -> bool:
    return fitting.kind == "ball-valve"


def parts_apart(net: Network, pipes: Iterable[int]) -> list[list[int]]:
    """These pipes, in groups that share no waterway, each in order."""
    left, out = list(pipes), []
    while left:
        group, ways = [left.pop(0)], set[int]()
        ways.update(net.ends(group[0]))
        grown = True
        while grown:
            more = [p for p in left if set(net.ends(p)) & ways]
            grown = bool(more)
            group += more
            left = [p for p in left if p not in more]
            ways.update(w for p in more for w in net.ends(p))
        out.append(sorted(group))
    return out


def blocks(net: Network) -> list[list[int]]:
    """The pipes by block (see the module), in order; a pipe whose ends share a way is a block by itself.

    Tarjan's depth-first search with a stack of pipes, without recursion: a loop may be as long as the build is large.
    """
    out = [[i] for i in range(len(net.pipes)) if len(set(net.ends(i))) == 1]
    order: dict[int, int] = {}
    low: dict[int, int] = {}
    stack: list[int] = []
    done: set[int] = set()
    for first in net.at:
        if first in order:
            continue
        order[first] = low[first] = len(order)
        path = [(first, -1, iter(net.at[first]))]
        while path:
            way, came, rest = path[-1]
            pipe = next((p for p in rest if p != came and p not in done and len(set(net.ends(p))) == 2), None)
            if pipe is None:
                path.pop()
                if path:
                    above = path[-1][0]
                    low[above] = min(low[above], low[way])
                    if low[way] >= order[above]:
                        cut = stack.index(came)
                        out.append(sorted(stack[cut:]))
                        del stack[cut:]
                continue
            done.add(pipe)
            stack.append(pipe)
            other = sum(net.ends(pipe)) - way
            if other in order:
                low[way] = min(low[way], order[other])
            else:
                order[other] = low[other] = len(order)
                path.append((other, pipe, iter(net.at[other])))
    return sorted(out)


def leads_on(net: Network, pipes: Iterable[int]) -> dict[int, set[int]]:
    """The ways that some pipe leads to from each way."""
    out: dict[int, set[int]] = {}
    for i in pipes:
        a, b = net.ends(i)
        out.setdefault(a, set()).add(b)
        out.setdefault(b, set())
    return out


def against_all(net: Network, pipes: Sequence[int]) -> list[int]:
    """Pipes whose arrow lies on no way round that follows every arrow."""
    to = leads_on(net, pipes)
    return [i for i in pipes if net.ends(i)[0] not in _from(net.ends(i)[1], to)]


def _from(way: int, to: dict[int, set[int]]) -> set[int]:
    seen, todo = {way}, [way]
    while todo:
        for w in to[todo.pop()] - seen:
            seen.add(w)
            todo.append(w)
    return seen


def driven(net: Network, pipes: Sequence[int]) -> bool | None:
    """Whether a pump drives coolant round a block: one of its pumped ways is left by one port and entered by another.

    None where that hangs on what a part does not state: a shape that may be a pump, or ports joined in unknown ways.
    """
    if len(pipes) == 1 and len(set(net.ends(pipes[0]))) == 2:
        return False
    ways = dict.fromkeys(w for i in pipes for w in net.ends(i))
    for way in ways:
        used = [net.frames[p] for i in pipes for p in ports_at(net.pipes[i]) if net.way_of[p] == way]
        pushed = any(f.flow != "in" and g.flow != "out" for f in used for g in used if f is not g)
        if net.ways[way].pumped and pushed:
            return True
    doubtful = any(net.ways[w].may_pump or (not net.ways[w].known and len(net.at[w]) > 2) for w in ways)
    return None if doubtful else False


def is_ring(net: Network, pipes: Sequence[int]) -> bool:
    """Whether the pipes of a block form one ring: every waterway of it has two ends of them."""
    count: dict[int, int] = {}
    for i in pipes:
        for way in net.ends(i):
            count[way] = count.get(way, 0) + 1
    return all(n == 2 for n in count.values())


def round_trip(net: Network, pipes: Sequence[int], start: Port) -> list[tuple[int, bool]]:
    """The pipes of a ring in the order they are met leaving by `start`, and whether each is met along its arrow."""
    left, at, out = list(pipes), start, []
    while left:
        pipe = next(i for i in left if at in ports_at(net.pipes[i]))
        along = net.pipes[pipe].start.port == at
        out.append((pipe, along))
        left.remove(pipe)
        arrived = ports_at(net.pipes[pipe])[1 if along else 0]
        onward = {p for i in left for p in ports_at(net.pipes[i]) if net.way_of[p] == net.way_of[arrived]}
        at = min(onward) if onward else arrived
    return out


@dataclass(frozen=True, slots=True)
class Branch:
    """From a way where the flow divides or joins to the next such way: the pipes between them, in order."""

    start: int
    end: int
    pipes: tuple[int, ...]


def branches(net: Network, pipes: Sequence[int]) -> list[Branch]:
    """The branches of pipes whose arrows all go round; [] where nothing divides."""
    out_of: dict[int, list[int]] = {}
    into: dict[int, int] = {}
    for i in pipes:
        a, b = net.ends(i)
        out_of.setdefault(a, []).append(i)
        into[b] = into.get(b, 0) + 1
    forks = [w for w in out_of if len(out_of[w]) > 1]
    found = []
    for fork in forks:
        for first in out_of[fork]:
            way, met = net.ends(first)[1], [first]
            while into[way] == 1 and len(out_of.get(way, [])) == 1 and out_of[way][0] not in met:
                met.append(out_of[way][0])
                way = net.ends(met[-1])[1]
            found.append(Branch(fork, way, tuple(met)))
    return found
