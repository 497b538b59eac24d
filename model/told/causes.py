"""Which findings follow from which: one cause once, with what follows from it listed under it.

Owns gathering the failing findings of a build. One thing in the wrong place - an elbow outside the case, a cable
through a fan, screws that are too long, a part set down beyond the case - fails in as many ways as it meets other
things. All those findings are kept; the one that names the fault leads and lists the others under `effects`, and each
of those names it under `cause`. No verdict changes here.

What counts as one thing: the fittings on one port, the screws of one joint, a tube, a cable; and any part that stands
out of the case, with the fittings on it. Other parts are not gathered about: their faults are as many as they are told.
Of FEW failing findings or more about one thing that one leads which says it stands out of the case, else that it cannot
be screwed in or laid, else the worst. Tubes in fittings that stand outside follow from those.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from elbowroom.model.layout.identity import Fitted, Port, Screwed
from elbowroom.model.layout.layout import Layout
from elbowroom.model.told.findings import FAILING, Finding, led
from elbowroom.model.told.particulars import AtJoint, AtPort, BetweenPorts
from elbowroom.parts.tube.tube import TubeRun

FEW = 3  # failing findings of one thing from which on they are gathered: two are read as fast as one and a note
# Questions about where things stand: only their findings can follow from a thing in the wrong place.
_PLACES = frozenset(
    {"interference", "clearance", "keep-out", "mate", "containment", "port-reach", "tube", "tool-access"}
)
_LEADS = {"containment": 0, "hole-alignment": 1, "screw": 1, "port-reach": 1, "tube": 1}  # the others come after


@dataclass(frozen=True, slots=True)
class Thing:
    """One thing that may be in the wrong place. pieces: its own; ports: those its fittings are screwed into;
    with_it: pieces whose findings follow from it where it stands out of the case. links: places of its fittings in
    their chain, from the port outward."""

    name: str
    pieces: frozenset[str]
    ports: frozenset[str] = frozenset()
    with_it: frozenset[str] = frozenset()
    links: Mapping[str, int] = field(default_factory=dict)
    alone: bool = True  # whether it is gathered about even where it stands in the case

    def outside(self, findings: Sequence[Finding]) -> bool:
        return any(f.question == "containment" and f.parts[0] in self.pieces for f in findings)

    def of(self, findings: Sequence[Finding]) -> list[Finding]:
        """The findings that are about this thing, or follow from it."""
        far = self.outside(findings)
        if not far and not self.alone:
            return []
        found = [f for f in findings if f.question in _PLACES and self._has(f, far)]
        stopped = far or any(f.question == "port-reach" for f in found)
        runs = [f for f in findings if f.question == "tube" and stopped and set(_ends(f)) & self.ports]
        return [*found, *(f for f in runs if f not in found)]

    def _has(self, f: Finding, far: bool) -> bool:
        if f.question == "port-reach":
            return isinstance(f.about, (AtPort, BetweenPorts)) and bool(self.ports.intersection(f.about.ports))
        return f.question != "tube" and bool(set(f.parts) & (self.pieces | self.with_it if far else self.pieces))


def gathered(findings: Sequence[Finding], layout: Layout) -> list[Finding]:
    """The same findings in their order, those that follow from another marked, and those that others follow from."""
    left = [f for f in findings if f.verdict in FAILING and f.cause is None and not f.effects]
    marked: dict[str, Finding] = {}

    def gather(leader: Finding, rest: Sequence[Finding]) -> None:
        nonlocal left
        marked.update((f.id, f) for f in led(leader, rest))
        left = [f for f in left if f.id not in marked]

    for leader, rest in _joints(left, layout):
        if len(rest) + 1 >= FEW:
            gather(leader, rest)
    every = list(_things(layout))
    while True:
        found = [(t, of) for t in every if len(of := t.of(left)) >= FEW]
        if not found:
            return [marked.get(f.id, f) for f in findings]
        thing, of = max(found, key=lambda t: (t[0].outside(left), len(t[1]), t[0].name))
        leader = min(of, key=lambda f: _first(f, thing))
        gather(leader, [f for f in of if f is not leader])


def _first(f: Finding, thing: Thing) -> tuple[int, int, tuple[int, float, str]]:
    """Which finding of a thing leads: see the module. Of a chain outside the case, its first link that is."""
    own = bool(set(f.parts) & thing.pieces) or f.question in ("port-reach", "tube")
    link = thing.links.get(f.parts[0], 0) if f.question == "containment" else 0
    return (_LEADS.get(f.question, 2) if own else 3, link, f.rank)


def _ends(f: Finding) -> list[str]:
    """The two ports of a run, from the place of its finding."""
    return [end.strip() for end in f.place.split("->")]


def _things(layout: Layout) -> Iterator[Thing]:
    """The things of a layout: chains, tubes, cables, and all other parts but the case."""
    chains: dict[Port, dict[str, int]] = {}
    tubes: dict[Port, set[str]] = {}
    for p in layout.pieces:
        if isinstance(p.identity, Fitted):
            chains.setdefault(p.identity.port, {})[p.name] = p.identity.link
    runs = {p.name for p in layout.pieces if isinstance(p.part, TubeRun)}
    for port, own in chains.items():
        tubes[port] = {m.piece for m in layout.mates if m.to_piece in own and m.piece in runs}
        yield Thing(f"port {port}", frozenset(own), frozenset({str(port)}), frozenset(tubes[port]), own)
    for p in layout.pieces:
        if p.part.led:
            yield Thing(p.name, frozenset({p.name}))
        elif not p.part.encloses and not isinstance(p.identity, Fitted) and not p.part.small:
            on_it = [port for port in chains if port.piece == p.name]
            with_it = frozenset(n for port in on_it for n in chains[port].keys() | tubes[port])
            yield Thing(p.name, frozenset({p.name}), frozenset(map(str, on_it)), with_it, alone=False)


def _joints(left: Sequence[Finding], layout: Layout) -> Iterator[tuple[Finding, list[Finding]]]:
    """For each fault of a joint's holes or screws, the findings of its screws that follow from it: what they meet of
    the part whose holes are missed, or of the part that they are screwed into."""
    of_joint = {p.name: p.identity.joint for p in layout.pieces if isinstance(p.identity, Screwed)}
    taken: set[str] = set()
    for fault in left:
        at = fault.about
        if not isinstance(at, AtJoint) or fault.question not in ("hole-alignment", "screw"):
            continue
        met = fault.parts[-1] if fault.question == "hole-alignment" else at.piece
        follow = [
            f for f in left
            if f.question in ("interference", "clearance", "keep-out") and f.id not in taken and met in f.parts
            and any(of_joint.get(n) == at.joint for n in f.parts)
        ]  # fmt: skip
        taken.update(f.id for f in follow)
        yield fault, follow
