"""What stands where heads and plates are to lie: feet, standoffs, other panels' edges, seen in the plane of the holes.

Owns the footprints of bodies in a slab over a pattern's plane, and what they leave of its slots for screws whose heads
lie there. Lengths in mm. Which screws and plates are wanted is left to others.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

import numpy as np

from elbowroom.model.geometry.scene import Scene
from elbowroom.model.screws.joints import Fit, Joint
from elbowroom.model.screws.slot import Slot
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.pose import apply, compose, inverse, shift

PLAY = 0.2  # mm between a head and what stands beside it, as `interference.SMALL_GAP_MM` wants around screws; (P)
OFF_FACE = 0.05  # mm off the face the heads lie on: bodies flush with it are not in their way
AROUND = 30.0  # mm around the holes that are looked at: more than any head or plate's rim is wide; (P)

Span = tuple[float, float]
Spans = tuple[tuple[Span, ...], ...]


def pattern_pose(fit: Fit) -> Floats:
    """The pattern's plane in case coordinates."""
    return compose(fit.piece.pose, fit.pattern.pose)


def under_heads(scene: Scene, joint: Joint, fit: Fit, moving: Collection[str], high: float) -> Any:
    """Footprint (shapely, in the pattern's plane) of all that stands in the `high` mm over the face that the heads of a
    joint's screws lie on, but for the pieces that are `moving` with the screws.
    """
    at = pattern_pose(fit)
    axis = joint.axes[fit.rows[0]]
    top = axis.point(sum(p.thickness or 0.0 for p in axis.passed))
    face = float(apply(inverse(at), top)[2])
    way = 1.0 if float(np.array(axis.out) @ at[:3, 2]) > 0 else -1.0
    ends = sorted((face + way * OFF_FACE, face + way * high))
    # The sheets that are passed lie under the heads; their folds and what else the piece has may stand beside them.
    sheets = {f"{p.piece.name}/{p.pattern.body}" for p in axis.passed if p.pattern is not None}
    return footprint(scene, at, (ends[0], ends[1]), fit, moving, sheets)


def footprint(scene: Scene, at: Floats, slab: Span, fit: Fit, moving: Collection[str], sheets: Collection[str]) -> Any:
    """What of a slab, from height to height over the plane `at`, bodies fill, seen along its normal (shapely)."""
    import shapely

    from elbowroom.model.templates.notch import Obstacle, Sheet, reached

    holes = np.array([(h.x, h.y) for h in fit.pattern.holes])
    reach = np.array([h.slot for h in fit.pattern.holes]).max() / 2 + AROUND
    outline = shapely.box(*(holes.min(axis=0) - reach), *(holes.max(axis=0) + reach))
    sheet = Sheet(compose(at, shift(0.0, 0.0, slab[0])), slab[1] - slab[0], outline)
    obstacles = [
        Obstacle(s.name, apply(s.pose, s.mesh.vertices), s.mesh.triangles, s.mesh.bound)
        for s in scene.solids
        if s.body.keep_out is None and s.mesh.fault is None and not s.piece.part.small
        and s.piece.name not in moving and s.name not in sheets
    ]  # fmt: skip
    return reached(sheet, obstacles, 0.0, 0.0)


def closed(slots: Sequence[Slot], region: Any, wide: float) -> Spans:
    """For each slot the stretches of its centre line, mm from its first end, where a head or washer `wide` mm across
    would meet the region.
    """
    import shapely

    if region.is_empty:
        return ((),) * len(slots)
    grown = region.buffer(wide / 2 + PLAY)
    out: list[tuple[Span, ...]] = []
    for slot in slots:
        a, b = slot.ends
        if slot.length == 0.0:
            out.append(((0.0, 0.0),) if grown.contains(shapely.Point(a)) else ())
            continue
        line = shapely.LineString([a, b])
        met = line.intersection(grown)
        parts = [g for g in getattr(met, "geoms", [met]) if not g.is_empty]
        ends = [[line.project(shapely.Point(c)) for c in g.coords] for g in parts]
        out.append(tuple(sorted((min(e), max(e)) for e in ends)))
    return tuple(out)


def open_slots(slots: Sequence[Slot], shut: Spans) -> list[Slot]:
    """The slots without those stretches, each rest a slot of its own."""
    out = []
    for slot, cuts in zip(slots, shut, strict=True):
        if not cuts:
            out.append(slot)
            continue
        starts = [0.0, *(b for _, b in cuts)]
        ends = [*(a for a, _ in cuts), slot.length]
        (ax, ay), (bx, by) = slot.ends
        for low, high in zip(starts, ends, strict=True):
            if slot.length > 0.0 and low < high:
                k = (low + high) / 2 / slot.length
                out.append(Slot(ax + k * (bx - ax), ay + k * (by - ay), slot.width, high - low, slot.angle))
    return out
