"""How much coolant a loop holds, part by part: what each number is and what it rests on.

Owns adding up the volumes that parts, fittings and tubes state, with the range each lies in. Leaves the volume of a
part to its family, and the verdict to `checks.coolant`. Millilitres; lengths in millimetres.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.loop.hydraulics import Network
from elbowroom.model.loop.plumbing import Chain, Line, Plumbing
from elbowroom.parts.catalogue import sizes
from elbowroom.parts.fitting.fitting import Fitting
from elbowroom.parts.vocabulary.base import ASSUMED
from elbowroom.parts.vocabulary.bends import volume_ml
from elbowroom.parts.water.plate import DistributionPlate
from elbowroom.parts.water.radiator import COOLANT_SHARE, Radiator

RADIATOR_SHARES = (0.12, 0.20)  # of the volume between the tanks, least and most: common practice, no source (P)

# measured: stated by the build. drawn: follows from the drawn shape. assumed: from a catalogue or a rule of thumb.
# partly: something of it is not known, and the number is a lower bound.
Rests = Literal["measured", "drawn", "assumed", "partly"]


@dataclass(frozen=True, slots=True)
class Share:
    """What one thing of the loop holds. high: None where only a lower bound is known. fields: those assumed for it."""

    name: str
    kind: Literal["part", "fittings", "tube"]
    ml: float
    low: float
    high: float | None
    rests: Rests
    fields: tuple[str, ...] = ()


def shares(layout: Layout, plumbing: Plumbing, net: Network, tubes: Mapping[str, Piece]) -> list[Share]:
    """Every part, every port's fittings and every tube of the loop. tubes: the laid runs by `Line.name`."""
    out = [s for name in net.reached() if (s := _part(layout.piece(name))) is not None]
    reached = set(net.reached())
    chains = [c for c in plumbing.chains.values() if c.port.piece in reached]
    out += [s for c in chains if (s := _chain(c)) is not None]
    return out + [_tube(layout, line, tubes.get(line.name)) for line in plumbing.lines]


def _part(piece: Piece) -> Share | None:
    part = piece.part
    ml = part.coolant_ml()
    if ml is None:
        ports = [f for f in part.frames() if f.kind == "port"]
        return Share(piece.name, "part", 0.0, 0.0, None, "partly") if len(ports) > 1 else None
    stated = getattr(part, "coolant", None)
    if stated is not None and "coolant" in piece.given:
        spread = stated.plus_minus or 0.0
        return Share(piece.name, "part", ml, max(0.0, ml - spread), ml + spread, "measured")
    if stated is not None:
        _, mark = piece.sources.get("coolant", ("", "P"))
        assumed = mark in ASSUMED
        return Share(piece.name, "part", ml, ml, ml, "assumed" if assumed else "measured", ("coolant",) * assumed)
    if isinstance(part, Radiator):
        low, high = (ml * s / COOLANT_SHARE for s in RADIATOR_SHARES)
        return Share(piece.name, "part", ml, low, high, "assumed", ("coolant",))
    if isinstance(part, DistributionPlate) and not part.channels:
        return Share(piece.name, "part", ml, ml, None, "partly", piece.assumed)
    return Share(piece.name, "part", ml, ml, ml, "drawn", piece.assumed)


def _chain(chain: Chain) -> Share | None:
    """The fittings on one port."""
    ml = [v for k in chain.links if (v := k.fitting.coolant_ml()) is not None]
    if not ml:
        return None
    rows = sizes("fitting")
    assumed = any(
        "bore" not in k.given and rows[k.size].sources.get("bore", ("", "P"))[1] in ASSUMED and k.fitting.holds_coolant
        for k in chain.links
    )
    total = math.fsum(ml)
    return Share(str(chain.port), "fittings", total, total, total, "drawn", ("bore",) * assumed)


def _tube(layout: Layout, line: Line, piece: Piece | None) -> Share:
    """A laid tube over its cut length; of a run that is not laid yet, no less than a straight one between its ends."""
    stock = line.tubing.stock
    assumed = ("id",) * (stock.mark in ASSUMED)
    if piece is not None:
        ml = piece.part.coolant_ml() or 0.0
        return Share(line.name, "tube", ml, ml, ml, "drawn", assumed)
    a, b = (layout.piece(c.port.piece).frame_pose(c.port.frame)[:3, 3] for c in (line.start, line.end))
    straight = math.dist(a, b) - reach(line.start) - reach(line.end)
    least = max(0.0, straight) + insertion(line.start) + insertion(line.end)
    ml = volume_ml(float(stock.id), least)
    return Share(line.name, "tube", ml, ml, None, "partly", assumed)


def reach(chain: Chain) -> float:
    """How far from its port the mouth of a chain can lie, however its swivels stand, mm."""
    return math.fsum(_step(k.fitting) for k in chain.links)


def _step(fitting: Fitting) -> float:
    following = fitting.next_frames()
    return math.hypot(*(float(c) for c in following[-1].pose[:3, 3])) if following else 0.0


def insertion(chain: Chain) -> float:
    """Length of tube inside a chain's last fitting, mm."""
    return float(chain.links[-1].fitting.insertion) if chain.links and chain.links[-1].fitting.holds_tube else 0.0


def total(every: Sequence[Share]) -> tuple[float, float, float | None]:
    """What all of them hold, least and most; most is None where a share has no upper bound."""
    highs = [s.high for s in every]
    known = [h for h in highs if h is not None]
    high = math.fsum(known) if len(known) == len(highs) else None
    return math.fsum(s.ml for s in every), math.fsum(s.low for s in every), high
