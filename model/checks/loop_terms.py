"""What the checks of the loop share: the graph with its blocks, and how a finding about ports is made and worded.

Owns no verdict. The loop's own are in `loop` (ports, marks, tubes) and `loop_round` (the way round).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from elbowroom.model.layout.identity import Port
from elbowroom.model.layout.layout import Layout
from elbowroom.model.loop.hydraulics import Network, blocks, driven, network, ports_at
from elbowroom.model.loop.plumbing import Plumbing
from elbowroom.model.told.findings import Basis, Finding, Point, Verdict


class Loop:
    """The loop of a build: its graph, the graph's blocks, and for each whether a pump drives it (None: cannot say)."""

    def __init__(self, layout: Layout, plumbing: Plumbing) -> None:
        self.layout, self.plumbing = layout, plumbing
        self.net: Network = network(layout, plumbing)
        self.blocks: list[tuple[list[int], bool | None]] = [(b, driven(self.net, b)) for b in blocks(self.net)]

    def ports(self, pipes: Iterable[int]) -> list[Port]:
        """Both ports of each pipe, in order."""
        return [p for i in pipes for p in ports_at(self.net.pipes[i])]

    def names(self, pipes: Iterable[int]) -> str:
        return ", ".join(self.net.pipes[i].name for i in pipes)

    def spare(self, port: Port) -> list[Port]:
        """Other female ports of the same waterway that nothing ends at."""
        users, way = self.net.users(), self.net.ways[self.net.way_of[port]]
        return [p for p in way.ports if p != port and p not in users and self.net.frames[p].depth is not None]

    def vague(self, way: int) -> bool:
        """Whether runs meet in a part that does not state which of its ports are joined."""
        return not self.net.ways[way].known and len(self.net.at[way]) > 2

    def unclear(self, pipes: Iterable[int]) -> bool:
        return any(self.vague(w) for i in pipes for w in self.net.ends(i))

    def pushed(self, pipes: Iterable[int]) -> list[Port]:
        """Ports used by these pipes that a pump is marked to push out of."""
        net = self.net
        return [p for p in self.ports(pipes) if net.ways[net.way_of[p]].pumped and net.frames[p].flow == "out"]

    def first(self, pipes: Sequence[int]) -> Port:
        """Where a way round is told from: a pump's outlet, else where a run sets out from a pump, or at all."""
        starts = [ports_at(self.net.pipes[i])[0] for i in pipes]
        pumped = [p for p in starts if self.net.ways[self.net.way_of[p]].pumped]
        return (self.pushed(pipes) or pumped or starts)[0]

    def finding(
        self,
        verdict: Verdict,
        parts: Sequence[str],
        text: str,
        place: str,
        ports: Sequence[Port] = (),
        remedies: Sequence[str] = (),
        measured: float | None = None,
        unit: str = "mm",
        required: float | None = None,
        extra: tuple[tuple[str, Any], ...] = (),
    ) -> Finding:
        """A finding that rests on names, threads and marks alone; `where` is the named ports' lands."""
        where = tuple(point_of(self.layout, p) for p in dict.fromkeys(ports))
        return Finding(
            "loop", verdict, tuple(parts), text, measured=measured, unit=unit, required=required, where=where,
            basis=Basis("arithmetic"), remedies=tuple(dict.fromkeys(remedies)), extra=extra, place=place,
        )  # fmt: skip


def point_of(layout: Layout, port: Port) -> Point:
    """The middle of a port's seal face, in case coordinates."""
    at = layout.piece(port.piece).frame_pose(port.frame)
    return (float(at[0, 3]), float(at[1, 3]), float(at[2, 3]))


def pieces(ports: Iterable[Port]) -> list[str]:
    return list(dict.fromkeys(p.piece for p in ports))


def listed(names: Sequence[object], last: str = "and") -> str:
    """`a`, `a and b`, `a, b and c`."""
    words = list(map(str, names))
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}"


def are(ports: Sequence[object]) -> str:
    return "is" if len(ports) == 1 else "are"


def them(ports: Sequence[object]) -> str:
    return "it" if len(ports) == 1 else "them"
