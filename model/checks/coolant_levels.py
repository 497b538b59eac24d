"""Heights of the coolant check: high points that hold air, and the port to fill by.

Owns those verdicts, as `coolant` lists them. Leaves heights themselves to `levels`, draining to `coolant_drain`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from elbowroom.model.checks.coolant_drain import drain
from elbowroom.model.checks.loop_terms import pieces, point_of
from elbowroom.model.layout.identity import Port
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.loop.coolant_volume import Share
from elbowroom.model.loop.hydraulics import Network
from elbowroom.model.loop.levels import LEVEL_MM, Peak, Stand, free_ports, held_in, peaks, seal_middle, standing_on
from elbowroom.model.loop.plumbing import Plumbing
from elbowroom.model.told.cautions import BLEEDING
from elbowroom.model.told.findings import Basis, Finding, Point, Verdict, led
from elbowroom.model.told.wordings import assumed_by, whole_mm
from elbowroom.parts.water.pump import Pump

FACING_DOWN = -0.5  # upward part of a port's axis below which nothing can be poured in (30 degrees under level): P

_PLACES = 6  # places named in one line


def check(
    layout: Layout,
    plumbing: Plumbing,
    net: Network,
    held: Sequence[Share],
    tubes: Mapping[str, Piece],
    unreachable: frozenset[Port],
) -> list[Finding]:
    """Findings on air, filling and draining; arguments as of `coolant.check`, and what each share of the loop holds."""
    levels = Levels(layout, plumbing, net, held, tubes, unreachable)
    return [*levels.air(), levels.fill(), drain(levels)]


class Levels:
    def __init__(
        self,
        layout: Layout,
        plumbing: Plumbing,
        net: Network,
        held: Sequence[Share],
        tubes: Mapping[str, Piece],
        unreachable: frozenset[Port],
    ) -> None:
        self.layout, self.plumbing, self.net, self.held, self.tubes = layout, plumbing, net, held, tubes
        self.users = net.users()
        self.shut = unreachable
        self.free = [p for p in free_ports(layout, net) if p not in unreachable]
        self.upright, self.lying = standing_on(layout, "floor"), standing_on(layout, plumbing.stands_on)

    def air(self) -> list[Finding]:
        high = peaks(self.layout, self.net, self.tubes, self.upright)
        level, told = self._level()
        if level is None:
            top = high[0]
            text = (
                f"the loop has neither reservoir nor a port to fill by, so where air stays cannot be told; its highest "
                f"place is {self._place(top)}, {self._up(top.height)}"
            )
            return [self.about("caution", self._names(top), text, "air", (top.where,), ["state coolant.fill"])]
        over = [p for p in high if p.height > level + LEVEL_MM and not self._lets_out(p, level)]
        if len(over) == 1:
            return [self._trapped(over[0], level, told)]
        if over:
            return led(self._bled(over, level, told), [self._trapped(p, level, told) for p in over])
        lower = [p for p in high if not self._lets_out(p, level)]
        text = f"no place of the loop stands above {told}, {self._up(level)}"
        if lower:
            text += "; lower high points, from which flow or tilting carries the air: "
            text += ", ".join(f"{self._place(p)} ({whole_mm(max(0.0, level - p.height))} under it)" for p in lower)
        places = tuple(p.where for p in lower)
        return [self.about("pass", self.net.reached(), text, "air", places, (), 0.0, "mm")]

    def _reservoirs(self) -> list[Piece]:
        return [p for n in self.net.reached() if isinstance((p := self.layout.piece(n)).part, Pump)]

    def _level(self) -> tuple[float | None, str]:
        """The height the loop fills to by itself, and what sets it."""
        fill = self.plumbing.fill
        if fill is not None:
            return self.high(fill, self.upright), f"the fill port {fill}"
        tops = [(self.upright.span(p, held_in(p))[1], p.name) for p in self._reservoirs()]
        if tops:
            top, name = max(tops)
            return top, f"the top of the reservoir of {name}"
        best = self.best(self._pourable(), self.upright, 1)
        return (None, "") if best is None else (self.high(best, self.upright), f"{best} (the best port to fill by)")

    def _lets_out(self, peak: Peak, level: float) -> bool:
        """Whether air is meant to gather at a high point: in a reservoir, or right under the fill port."""
        if peak.way is None:
            return False
        way = self.net.ways[peak.way]
        filled = self.plumbing.fill in way.ports and peak.height <= level + LEVEL_MM
        return filled or any(p.name in way.pieces for p in self._reservoirs())

    def _trapped(self, peak: Peak, level: float, told: str) -> Finding:
        over = peak.height - level
        text = (
            f"air collects in {self._place(peak)}: at {self._up(peak.height)} it stands {whole_mm(over)} above {told}, "
            "and the loop does not fill to there by itself"
        )
        remedies = [BLEEDING[0]]
        if peak.way is not None:
            own = [p for p in self.free if self.net.way_of[p] == peak.way]
            best = self.best(own, self.upright, 1)
            if best is not None and self.high(best, self.upright) > level:
                under = peak.height - self.high(best, self.upright)
                remedies.insert(0, f"let the air out by {best}, {whole_mm(under)} below the top")
        remedies.append(
            f"raise {told} by {whole_mm(over)}" if self.plumbing.fill is None else f"fill {whole_mm(over)} higher"
        )
        place = f"air {peak.line.name}" if peak.way is None and peak.line else f"air {self._first(peak)}"
        return self.about("caution", self._names(peak), text, place, (peak.where,), remedies, over, "mm", 0.0)

    def _bled(self, over: Sequence[Peak], level: float, told: str) -> Finding:
        """One line for all of them: every loop is bled, and it is done for all at once."""
        most = max(p.height for p in over) - level
        text = (
            f"air stays at {len(over)} places higher than {told} until the loop is bled: "
            + ", ".join(self._place(p) for p in over[:_PLACES])
            + (f" and {len(over) - _PLACES} more" if len(over) > _PLACES else "")
        )
        names = tuple(dict.fromkeys(n for p in over for n in self._names(p)))
        where = tuple(p.where for p in over)
        return self.about("caution", names, text, "air", where, [BLEEDING[0]], most, "mm", 0.0)

    def _first(self, peak: Peak) -> str:
        """A port's name that tells a part's waterways apart."""
        return "" if peak.way is None else self.net.ways[peak.way].ports[0].frame

    def _place(self, peak: Peak) -> str:
        if peak.line is not None:
            return f"the tube {peak.line.name}"
        return "" if peak.way is None else str(self.net.ways[peak.way])

    def _names(self, peak: Peak) -> list[str]:
        if peak.line is not None:
            return pieces((peak.line.start.port, peak.line.end.port))
        return [] if peak.way is None else list(self.net.ways[peak.way].pieces)

    # -- filling and draining ---------------------------------------------------------------------------------------

    def _pourable(self) -> list[Port]:
        return [p for p in self.free if self._faces(p, self.upright) >= FACING_DOWN]

    def high(self, port: Port, at: Stand) -> float:
        return at.height(seal_middle(self.layout, port))

    def _faces(self, port: Port, at: Stand) -> float:
        """How much a port's axis looks up: 1 straight up, -1 straight down."""
        return float(at.up @ self.layout.piece(port.piece).frame_pose(port.frame)[:3, 2])

    def best(self, ports: Sequence[Port], at: Stand, sign: int) -> Port | None:
        """The highest (sign 1) or lowest (-1) port; of those level with it, the one that looks that way most, and of
        those one that is not marked for the flow."""
        if not ports:
            return None
        reach = {p: sign * self.high(p, at) for p in ports}
        level = [p for p in ports if reach[p] >= max(reach.values()) - LEVEL_MM]
        return max(
            level, key=lambda p: (round(sign * self._faces(p, at), 3), self.net.frames[p].flow is None, reach[p])
        )

    def fill(self) -> Finding:
        chosen, best = self.plumbing.fill, self.best(self._pourable(), self.upright, 1)
        if chosen is None:
            if best is None:
                text = "no port of the loop is free to fill it by"
                remedies = ["choose a reservoir or a plate with a port more, at its top"]
                return self.about("caution", self.net.reached(), text, "fill", (), remedies)
            h = self.high(best, self.upright)
            text = f"the best port to fill by is {best}: the highest free one, {self._up(h)}; the build chooses none"
            return self.about("pass", [best.piece], text, "fill", (self.at(best),), (), h, "mm")
        h = self.high(chosen, self.upright)
        where: list[Point] = [self.at(chosen)]
        verdict: Verdict = "pass"
        said, remedies, required = [f"the loop is filled by {chosen}, {self._up(h)}"], [], None
        fault = self.occupied(chosen)
        if fault:
            verdict = "fail"
            said.append(fault)
        elif self._faces(chosen, self.upright) < FACING_DOWN:
            verdict = "caution"
            said.append("it looks down, so that nothing can be poured in while the case stands")
        if best is not None:
            required = self.high(best, self.upright)
            if required > h + LEVEL_MM:
                verdict = "caution" if verdict == "pass" else verdict
                said.append(f"{best} is {whole_mm(required - h)} higher")
                where.append(self.at(best))
            elif verdict == "pass":
                said.append("the highest that is free")
            if verdict != "pass" and best != chosen:
                remedies.append(f"fill by {best}")
        text = "; ".join(said)
        return self.about(verdict, [chosen.piece], text, "fill", tuple(where), remedies, h, "mm", required)

    def occupied(self, port: Port) -> str:
        """Why a chosen port cannot be opened; empty where it can."""
        if self.net.way_of[port] not in self.net.at:
            return f"no run of the loop reaches {port}"
        if port in self.shut:
            return f"no hand gets at {port} once all is in place"
        return f"{self.users[port][0]} occupies it" if port in self.users and port not in self.free else ""

    # -- wording ----------------------------------------------------------------------------------------------------

    def at(self, port: Port) -> Point:
        return point_of(self.layout, port)

    def _up(self, height: float) -> str:
        return f"{whole_mm(height)} up" if self.layout.interior is None else f"{whole_mm(height)} above the floor"

    def over(self, height: float) -> str:
        return (
            f"{whole_mm(height)} up" if self.layout.interior is None else f"{whole_mm(height)} above that side's inside"
        )

    def about(
        self,
        verdict: Verdict,
        parts: Sequence[str],
        text: str,
        place: str,
        where: tuple[Point, ...],
        remedies: Sequence[str] = (),
        measured: float | None = None,
        unit: str = "mm",
        required: float | None = None,
        low: float | None = None,
        high: float | None = None,
        extra: tuple[tuple[str, Any], ...] = (),
    ) -> Finding:
        assumed = tuple(a for name in parts for a in assumed_by(self.layout.piece(name)))
        return Finding(
            "coolant", verdict, tuple(parts), text, measured=measured, unit=unit, required=required,
            low=measured if low is None else low, high=measured if high is None else high, where=where,
            basis=Basis("boxes" if place != "fill" else "arithmetic", 0.0, assumed), remedies=tuple(remedies),
            extra=extra, place=place,
        )  # fmt: skip
