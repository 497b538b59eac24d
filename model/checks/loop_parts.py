"""Does the loop have what a loop needs: a radiator, a reservoir that stands upright, a pump in every pump bay?

Owns those findings; each is a `caution`, since a part of the user's own shape may be what is missed. A pump bay is
asked about in every build, with runs or without: an empty one is a pump that is not in the model, nor among what to
buy. Leaves the way round, and whether a pump drives it, to `loop`.
"""

from __future__ import annotations

import math

import numpy as np

from elbowroom.model.checks.loop_terms import Loop, listed
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.loop.plumbing import Plumbing
from elbowroom.model.told.findings import Basis, Finding
from elbowroom.parts.vocabulary.pose import apply, inverse
from elbowroom.parts.water.plate import BAY, DistributionPlate
from elbowroom.parts.water.plate_fields import PumpBay
from elbowroom.parts.water.pump import Pump
from elbowroom.parts.water.radiator import Radiator

LEANS = 0.5  # cosine of 60 degrees off upright, beyond which a tank over a pump is said to lie; common practice (P)
BESIDE_MM = 1.0  # before a bay's mouth, and within it: a pump that closes the bay is at one of the two


def check(layout: Layout, plumbing: Plumbing | None) -> list[Finding]:
    """Findings on what the loop lacks, and on empty pump bays.

    layout: as `plumbing` was read from, so without the fittings and tubes of the runs themselves.
    """
    found = [
        _empty(p, p.part.bay)
        for p in layout.pieces
        if isinstance(p.part, DistributionPlate) and p.part.bay is not None and not _filled(layout, p, p.part.bay)
    ]
    if plumbing is not None and plumbing.lines:
        loop = Loop(layout, plumbing)
        reached = [layout.piece(n) for n in loop.net.reached()]
        own = [p.name for p in reached if p.part.family in ("file", "box", "cylinder")]
        perhaps = f"; {listed(own, 'or')} may be one" if own else ""
        if not any(isinstance(p.part, Radiator) for p in reached):
            text = f"no radiator is in the loop{perhaps}: nothing gives off the heat"
            remedies = ["lead the loop through a radiator"]
            found.append(loop.finding("caution", [p.name for p in reached], text, "no-radiator", (), remedies))
        found += [_tipped(p) for p in reached if isinstance(p.part, Pump) and float(p.pose[2, 2]) < LEANS]
        if not own and not any(isinstance(p.part, (Pump, DistributionPlate)) for p in reached):
            text = "no reservoir is in the loop: it is filled and topped up through a port, and air has no place to go"
            remedies = ["lead the loop through a pump with its reservoir, or a distribution plate, at its top"]
            found.append(loop.finding("caution", [p.name for p in reached], text, "no-reservoir", (), remedies))
    return found


def _empty(plate: Piece, bay: PumpBay) -> Finding:
    screws = (
        "" if bay.bolt_circle is None else f", {bay.bolts} {bay.thread} on a circle of {float(bay.bolt_circle):g} mm"
    )
    text = (
        f"the pump bay of {plate.name} is empty: no part stands in it, so its pump is neither judged nor in the bill "
        "of materials"
    )
    wanted = f"a pump for a bay of {float(bay.diameter):g} mm{screws}"
    remedies = (f"buy {wanted}, and put it among the parts with on: {plate.name}.{BAY}",)
    x, y, z = plate.frame_pose(BAY)[:3, 3].tolist()
    return Finding(
        "loop", "caution", (plate.name,), text, unit="pumps", measured=0, required=1, where=((x, y, z),),
        basis=Basis("arithmetic"), remedies=remedies, place="empty-bay",
    )  # fmt: skip


def _tipped(pump: Piece) -> Finding:
    """A pump with its tank on its side or head: the air gathers at the pump instead of over the coolant."""
    lean = math.degrees(math.acos(max(-1.0, min(1.0, float(pump.pose[2, 2])))))
    way = "on its head" if lean > 135 else "on its side"
    text = (
        f"{pump.name} stands {way}, {lean:.0f} deg off upright: air in its tank reaches the pump, which then runs dry"
    )
    x, y, z = pump.pose[:3, 3].tolist()
    return Finding(
        "loop", "caution", (pump.name,), text, measured=lean, unit="deg", required=math.degrees(math.acos(LEANS)),
        where=((x, y, z),), basis=Basis("arithmetic"), remedies=(f"stand {pump.name} with its tank above the pump",),
        place="tipped",
    )  # fmt: skip


def _filled(layout: Layout, plate: Piece, bay: PumpBay) -> bool:
    """Whether a part is brought to the bay, or stands in its mouth or right before it."""
    for m in layout.mates:
        if (plate.name, BAY) in ((m.piece, m.frame), (m.to_piece, m.to_frame)):
            return True
    at = plate.frame_pose(BAY)
    places = apply(at, [(0.0, 0.0, BESIDE_MM), (0.0, 0.0, -min(BESIDE_MM, float(bay.depth) / 2))])
    return any(_holds(p, places) for p in layout.pieces if p is not plate and _may_be_pump(p))


def _may_be_pump(piece: Piece) -> bool:
    return not piece.part.small and piece.part.family not in (
        "case",
        "sheet",
        "cable",
        "riser",
        "spacer",
        "fitting",
        "tube",
    )


def _holds(piece: Piece, points: np.ndarray) -> bool:
    box = piece.part.box()
    own = apply(inverse(piece.pose), points)
    return bool(((own >= np.array(box.lo)) & (own <= np.array(box.hi))).all(axis=1).any())
