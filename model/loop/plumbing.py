"""From the words about coolant to chains of fittings on placed ports.

Owns what the loop asks for in a placed layout: which port each run joins, the tube it is made of, the chain of fittings
on each port with its free swivels, and every fault of those words with its line. Where tubes run is planned in
`tubes`; whether a chain has room is judged in `reach`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from pydantic import ValidationError

from elbowroom.model.build.entries import Build
from elbowroom.model.build.faults import Faults
from elbowroom.model.build.loop_spec import MAX_CHAIN, CoolantSpec, FittingsSpec, RunSpec, TubeSpec
from elbowroom.model.build.points import point_of
from elbowroom.model.build.problems import Path, choices, shown
from elbowroom.model.layout.identity import Port
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.parts.case.case import Case
from elbowroom.parts.catalogue import sizes
from elbowroom.parts.fitting.fitting import Fitting
from elbowroom.parts.fitting.fitting_choice import fittings_for, holds
from elbowroom.parts.tube.tube import INNER_EDGE
from elbowroom.parts.tube.tube_stock import TubeStock, tube_stocks
from elbowroom.parts.vocabulary.base import Frame
from elbowroom.parts.vocabulary.pose import Pose, bring_together, compose


@dataclass(frozen=True, slots=True, eq=False)
class Link:
    """One fitting of a chain. free: its swivel may be turned to suit; else it stands at the fitting's own `angle`."""

    size: str  # catalogue name
    fitting: Fitting
    free: bool
    given: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """Fittings on one port, from the port outward. chosen: by the build (False: the lowest that holds the tube)."""

    port: Port
    links: tuple[Link, ...]
    chosen: bool
    path: Path

    @property
    def free(self) -> tuple[int, ...]:
        """Places in the chain whose swivel may be turned."""
        return tuple(i for i, link in enumerate(self.links) if link.free)


@dataclass(frozen=True, slots=True, eq=False)
class Tubing:
    """The tube of a run: stock, centre-line radius it is bent to, clearance wanted, and the user's springback."""

    stock: TubeStock
    radius: float  # mm
    clearance: float  # mm, surface of the tube to everything
    springback: float  # degrees a bend of 90 springs back
    square: bool = False  # legs along the case's axes


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """One run as asked for. through, bends: drawn by hand (corners; or straight, rotation, angle of each bend)."""

    name: str
    start: Chain
    end: Chain
    tubing: Tubing
    path: Path
    through: tuple[tuple[float, float, float], ...] | None = None
    bends: tuple[tuple[float, float, float], ...] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Plumbing:
    """All that is asked for: runs in order, other chains (plugs, valves), and the ports to fill and drain by."""

    lines: tuple[Line, ...]
    others: tuple[Chain, ...]
    fill: Port | None
    drain: Port | None
    stands_on: str
    chains: Mapping[Port, Chain] = field(default_factory=dict)  # by port, those of runs and the others


def ports_of(layout: Layout) -> list[tuple[Piece, Frame]]:
    """Every female port of every placed piece, in the layout's order."""
    return [(p, f) for p in layout.pieces for f in p.part.frames() if f.kind == "port" and f.depth is not None]


def link_poses(layout: Layout, chain: Chain, angles: Mapping[int, float] | None = None) -> list[tuple[Link, Pose]]:
    """Each fitting of a chain, turned as asked, with its pose in case coordinates.

    angles: degrees of each free swivel by its place in the chain; those left out stand at the fitting's own angle.
    """
    at = layout.piece(chain.port.piece).frame_pose(chain.port.frame)
    out = []
    for i, link in enumerate(chain.links):
        turned = link if angles is None or i not in angles else _turned(link, angles[i])
        pose = bring_together(turned.fitting.frame("base").pose, at)
        out.append((turned, pose))
        following = turned.fitting.next_frames()
        if following:
            at = compose(pose, following[-1].pose)
    return out


def _turned(link: Link, angle: float) -> Link:
    fitting = link.fitting.model_copy(update={"angle": type(link.fitting.angle)(angle)})
    return Link(link.size, fitting, link.free, link.given)


def plumb(build: Build, layout: Layout) -> Plumbing | None:
    """What the build asks of its loop; None where it says nothing of it. Raises BuildError with every fault."""
    reader = _Plumber(build, layout)
    found = reader.read()
    reader.faults.stop()
    return found


class _Plumber:
    def __init__(self, build: Build, layout: Layout) -> None:
        self.build, self.layout, self.faults = build, layout, Faults(build.document)
        self.ports = {Port(p.name, f.name): f for p, f in ports_of(layout)}
        self.fittings: FittingsSpec = build.fittings
        self.at: dict[Port, Chain] = {}

    def read(self) -> Plumbing | None:
        build = self.build
        if not build.loop and not build.fittings.model_fields_set and not build.coolant.model_fields_set:
            return None
        for text, chain in self.fittings.at.items():
            path: Path = ("fittings", "at", text)
            port = self._port(text, path)
            if port is not None:
                self.at[port] = self._chain(port, chain, path)
        lines = [line for i, run in enumerate(build.loop) if (line := self._line(run, ("loop", i))) is not None]
        used = {line.start.port for line in lines} | {line.end.port for line in lines}
        others = [c for port, c in self.at.items() if port not in used]
        if self.fittings.unused is not None:
            path = ("fittings", "unused")
            left = [port for port in self.ports if port not in used and port not in self.at]
            others += [self._chain(port, self.fittings.unused, path) for port in left]
        coolant: CoolantSpec = build.coolant
        fill = None if coolant.fill is None else self._port(coolant.fill, ("coolant", "fill"))
        drain = None if coolant.drain is None else self._port(coolant.drain, ("coolant", "drain"))
        chains = {c.port: c for c in (*(c for li in lines for c in (li.start, li.end)), *others)}
        return Plumbing(tuple(lines), tuple(others), fill, drain, coolant.stands_on, chains)

    def _line(self, run: RunSpec, path: Path) -> Line | None:
        first, _, last = (s.strip() for s in run.run.partition("->"))
        start, end = self._port(first, path), self._port(last, path)
        tubing = self._tubing(run.tube or self.build.tube, (*path, "tube") if run.tube else ("tube",), path)
        if tubing is not None and run.style is not None:
            tubing = replace(tubing, square=run.style == "square")
        chains = [
            None if port is None else self._end(port, own, (*path, side), tubing, path)
            for port, own, side in ((start, run.start, "start"), (end, run.end, "end"))
        ]
        if start is not None and start == end:
            self.faults.add(path, f'a run cannot end at the port it starts from, "{start}"')
        through = None
        if run.through is not None:
            through = tuple(self._point(p, (*path, "through", i)) for i, p in enumerate(run.through))
            if run.bends is not None:
                self.faults.add((*path, "bends"), 'the run is drawn twice: by "through" and by "bends"')
        bends = None if run.bends is None else tuple((float(s), float(r), float(a)) for s, r, a in run.bends)
        first_chain, last_chain = chains
        if first_chain is None or last_chain is None or tubing is None:
            return None
        return Line(f"{start} -> {end}", first_chain, last_chain, tubing, path, through, bends)

    def _end(self, port: Port, own: Any, own_path: Path, tubing: Tubing | None, path: Path) -> Chain:
        """The chain at one end of a run: its own, else the port's, the usual, or the lowest that holds the tube."""
        if own is not None:
            if port in self.at:
                self.faults.add(own_path, f'the fittings of "{port}" are given twice: here and under fittings.at')
            return self._chain(port, own, own_path, tubing)
        if port in self.at:
            if tubing is not None:
                self._holds(self.at[port], tubing)
            return self.at[port]
        if self.fittings.usual is not None:
            return self._chain(port, self.fittings.usual, ("fittings", "usual"), tubing)
        if tubing is None:
            return Chain(port, (), False, path)
        thread, stock = self.ports[port].thread or "", tubing.stock
        known = fittings_for(thread, stock.od, stock.id, stock.kind)
        if not known:
            self.faults.add(path, f'no fitting of the catalogue holds {stock.about} on "{port}" ({thread}); name one')
            return Chain(port, (), False, path)
        return Chain(port, (Link(known[0].name, known[0].fitting, False),), False, path)

    def _chain(self, port: Port, value: Any, path: Path, tubing: Tubing | None = None) -> Chain:
        items = value if isinstance(value, list) else [value]
        if len(items) > MAX_CHAIN:
            self.faults.add(path, f"{len(items)} fittings one on another; at most {MAX_CHAIN}")
            items = items[:MAX_CHAIN]
        found = [self._link(v, (*path, i) if isinstance(value, list) else path) for i, v in enumerate(items)]
        links = [link for link in found if link is not None]
        chain = Chain(port, tuple(links), True, path)
        if len(links) == len(items):
            self._threads(chain)
            if tubing is not None:
                self._holds(chain, tubing)
        return chain

    def _link(self, value: Any, path: Path) -> Link | None:
        """`name`, or `{fitting: name, angle: 30, ...}` with fields of its own."""
        fields: dict[str, Any] = {}
        if isinstance(value, dict):
            fields = {k: v for k, v in value.items() if k != "fitting"}
            value = value.get("fitting")
        rows = sizes("fitting")
        if not isinstance(value, str) or value not in rows:
            self.faults.add(path, f"no fitting {shown(value)} in the catalogue{choices(value, rows, 40)}")
            return None
        merged = {**rows[value].fields, **fields}
        try:
            fitting = Fitting.model_validate(merged)
        except ValidationError as e:
            self.faults.invalid(e, path, merged, Fitting, ("fitting",))
            return None
        return Link(value, fitting, fitting.is_rotary and "angle" not in fields, frozenset(fields))

    def _threads(self, chain: Chain) -> None:
        """Each thread goes into the one before it: the same designation, male into female."""
        thread, female, where = self.ports[chain.port].thread, True, str(chain.port)
        for link in chain.links:
            if not link.fitting.accepts(thread or ""):
                what = f"({thread})" if thread else "which has no thread for another fitting"
                self.faults.add(
                    chain.path,
                    f"{link.size} ({link.fitting.thread}) does not go into {where}, {what}".replace(", (", " ("),
                )
                return
            if not female:
                self.faults.add(chain.path, f"{link.size} has a male thread and so has {where}: they cannot be joined")
                return
            following = link.fitting.next_frames()
            if not following and link is not chain.links[-1]:
                self.faults.add(chain.path, f"nothing can follow {link.size}")
                return
            if following:
                thread, female = following[-1].thread, following[-1].depth is not None
            where = link.size

    def _holds(self, chain: Chain, tubing: Tubing) -> None:
        stock = tubing.stock
        if chain.links and not holds(chain.links[-1].fitting, stock.od, stock.id, stock.kind):
            last = chain.links[-1]
            size = last.fitting.tube_size()
            holder = "holds no tube" if size is None else f"is for tube of {size[0]:g} mm outside"
            if size is not None and size[1] is not None:
                holder += f" and {size[1]:g} inside"
            self.faults.add(chain.path, f"{last.size} {holder}; the run to {chain.port} is {stock.about}")

    def _tubing(self, spec: TubeSpec | None, path: Path, run: Path) -> Tubing | None:
        if spec is None:
            self.faults.add(run, 'the run has no tube: say "tube: petg-14" for the loop')
            return None
        stocks = tube_stocks()
        own = (spec.kind, spec.od, spec.id)
        if spec.stock is not None:
            if any(v is not None for v in own):
                self.faults.add(path, "the tube is given twice: by its stock and by its own diameters")
                return None
            if spec.stock not in stocks:
                self.faults.add(path, f"no tube stock {shown(spec.stock)}{choices(spec.stock, stocks, 30)}")
                return None
            stock = stocks[spec.stock]
        elif spec.kind is None or spec.od is None or spec.id is None or spec.bend is None:
            self.faults.add(path, "a tube is a stock of the catalogue, or kind, od, id and bend together")
            return None
        else:
            od, inner, bend = float(spec.od), float(spec.id), float(spec.bend)
            about = f"{spec.kind} tube {od:g}/{inner:g}"
            try:
                stock = TubeStock("own", about, spec.kind, od, inner, bend, bend, "stated by the build", "V")
            except ValueError as e:
                self.faults.add(path, str(e))
                return None
        radius = stock.usual_radius if spec.bend is None else float(spec.bend)
        least = stock.od / 2 + INNER_EDGE
        if radius < least:
            said = f"a centre-line radius of {radius:g} is not more than half the tube ({stock.od / 2:g})"
            said += f": {least:g} at least"
            self.faults.add((*path, "bend"), said)
            return None
        return Tubing(stock, radius, float(spec.clearance), float(spec.springback), spec.style == "square")

    def _port(self, text: str, path: Path) -> Port | None:
        piece, _, frame = text.strip().rpartition(".")
        port = Port(piece, frame)
        if port in self.ports:
            return port
        names = {p.name for p in self.layout.pieces}
        if piece not in names:
            known = dict.fromkeys(p.piece for p in self.ports)
            self.faults.add(
                path, f"no part {shown(piece or text)} with ports; write piece.port{choices(piece, known, 30)}"
            )
        else:
            known = dict.fromkeys(p.frame for p in self.ports if p.piece == piece)
            self.faults.add(path, f"{piece} has no port {shown(frame)}{choices(frame, known, 30)}")
        return None

    def _point(self, value: Any, path: Path) -> tuple[float, float, float]:
        tray_back = next((p.part.tray_back for p in self.layout.pieces if isinstance(p.part, Case)), None)
        point = point_of(value, path, self.faults, self.layout.interior, tray_back)
        return point or (0.0, 0.0, 0.0)
