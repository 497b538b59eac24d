"""What parts look like to a person: fans with blades, radiators with fins, ribbons and cables that end in plugs.

Owns the looks alone. What is judged stays the plain shape: a fan's swept disc, which nothing may enter, would look like
a lid. A look is a part of the same fields whose bodies carry the same names, so that a file drawn from it can still be
read beside the findings, and some more that are only to be seen. It stays inside the room of the plain shape but for
small things that the findings leave out: an arrow a third of a millimetre high, the first bit of a cable. Proportions
are the draughtsman's choice (common practice, no source) and no measurement may be taken from them.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from elbowroom.parts.card.gpu_mount import RIBBON_THICKNESS, RISER_HALF, RISER_THICKNESS, GpuMount
from elbowroom.parts.fan.fan import Fan
from elbowroom.parts.tube.cable import CableBundle
from elbowroom.parts.vocabulary.base import Body, Part
from elbowroom.parts.vocabulary.pose import compose, pose, rotation, shift
from elbowroom.parts.vocabulary.tolerances import ROUNDING
from elbowroom.parts.water.radiator import TUBE, TUBE_PITCH, Radiator

if TYPE_CHECKING:
    from cadquery import Shape, Solid

BLADES = 7  # of a fan, a number without a common divisor with its struts so that no two pass at once
BLADE = 1.4  # mm, thickness
OVERLAP = 1.0  # mm that one piece reaches into the next where they are joined
STRUT = 5.0  # mm, width of the struts that hold the motor
STRUT_TURN = 20.0  # degrees from the frame's axes, clear of its corners
ARROW = 0.3  # mm the arrow for the way of the air stands out of the frame
CABLE, STUB = 4.0, 14.0  # mm: a fan's cable, and how much of it is drawn
FIN_WAVE = 14.0  # mm, length of one wave of a fin; real ones are finer than a picture can show
FIN = 0.8  # mm, thickness of a fin
PLUG = 1.35  # a plug is so many times as wide as its cable
PLUG_LENGTH = 14.0  # mm

Point2 = tuple[float, float]
Point3 = tuple[float, float, float]


def shown(part: Part) -> Part | None:
    """The part as people look at it; None where its plain shape is looks enough."""
    for plain, look in _LOOKS.items():
        if type(part) is plain:
            return look(**{name: getattr(part, name) for name in plain.model_fields})
    return None


class FanLook(Fan):
    """A fan with hub, blades, struts, an arrow for the way of the air on each side, and the first bit of its cable."""

    def bodies(self) -> tuple[Body, ...]:
        arrows = (Body(f"air-{i}", "aluminium") for i in range(1, 5))
        return (*super().bodies(), *arrows, Body("cable-stub", "cable"))

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        out = super().solids()
        out["frame"] = draw.fuse(out["frame"], *self._struts())
        z0, z1 = 0.2 * self.depth, 0.8 * self.depth
        for i in range(4):
            out[f"air-{i + 1}"] = draw.one(draw.baked(self._arrow(z0, z1), rotation((0, 0, 1), 90.0 * i)))
        leaves = self.frame("cable").pose
        out["cable-stub"] = draw.cylinder(
            min(CABLE, self.depth / 2), STUB, leaves[:3, 3].tolist(), leaves[:3, 2].tolist()
        )
        return out

    def _struts(self) -> list[Solid]:
        """Two bars across the exhaust side and the motor's plate, in the room behind the blades."""
        from elbowroom.parts.vocabulary import draw

        z, thick = self.depth - 0.9 * self.recess, 0.8 * self.recess
        reach, half = self.bore / 2 + OVERLAP, STRUT * self.size / 240
        bar = draw.box((-reach, -half, z), (reach, half, z + thick))
        turned = [draw.baked(bar, rotation((0, 0, 1), STRUT_TURN + a)) for a in (0.0, 90.0)]
        return [draw.fuse(draw.cylinder(float(self.hub), thick, (0, 0, z)), *turned)]

    def _arrow(self, z0: float, z1: float) -> Solid:
        """An arrow on the +x side of the frame, pointing the way the air goes."""
        from elbowroom.parts.vocabulary import draw

        w, neck, x = min(8.0, 0.25 * self.size), z0 + 0.55 * (z1 - z0), self.size / 2
        outline = [(-w / 5, z0), (w / 5, z0), (w / 5, neck), (w / 2, neck), (0, z1), (-w / 2, neck), (-w / 5, neck)]
        flat = draw.slab(draw.polygon(outline), (), ARROW)
        return draw.one(draw.baked(flat, pose((x, 0, 0), (1, 0, 0), (0, 1, 0))))

    def _blades(self) -> Shape:
        """Hub and pitched, cambered blades, inside the disc that they sweep."""
        from elbowroom.parts.vocabulary import draw

        z0, z1, r, hub = float(self.recess), float(self.depth - self.recess), self.bore / 2 - 1.0, self.hub / 2
        m = min(2.0, (z1 - z0) / 6)
        low, high = z0 + m, z1 - m
        half = min(0.55 * 2 * math.pi * hub / BLADES, 1.2 * (high - low)) / 2 + hub * 0.05
        camber, t = 0.12 * (high - low), min(BLADE, 0.2 * (high - low)) / 2
        y, middle = half - t, (low + high) / 2
        start = hub - OVERLAP

        def at(u: float, z: float) -> Point3:
            return (start, u, z)

        # Seen along the radius: two arcs side by side, closed by short edges at the leading and the trailing end.
        section = draw.bounded(
            [at(-y, low), at(-y + 2 * t, low), at(y + t, high), at(y - t, high)],
            {1: at(2 * t + camber, middle - camber / 2), 3: at(camber - t / 2, middle - camber / 2)},
        )
        blade = draw.prism(section, (r + 5 - start, 0, 0))
        swept = draw.slab(draw.circle(0, 0, 2 * r, low), [draw.circle(0, 0, 2 * start, low)], high - low)
        blade = draw.one(blade.intersect(swept))
        turns = [draw.baked(blade, rotation((0, 0, 1), 360.0 * i / BLADES)) for i in range(BLADES)]
        body = draw.turned([(0, z0), (hub - m, z0), (hub, z0 + m), (hub, z1), (0, z1)])
        return draw.fuse(body, *turns)


class RadiatorLook(Radiator):
    """A radiator whose core is flat tubes with a wave of fin between them, open for the air."""

    def _fins(self, half: float) -> Shape:
        from elbowroom.parts.vocabulary import draw

        low, high = float(self._depth_b), self.thickness - self.fin_depth
        (c0, c1) = self._core_x
        count = max(1, round(2 * half / TUBE_PITCH))
        wide = (2 * half - (count + 1) * TUBE) / count
        waves = max(1, round((c1 - c0) / FIN_WAVE))
        holes = []
        for i in range(count):
            y0 = -half + TUBE + i * (wide + TUBE)
            holes += [draw.polygon(points, low) for points in _passages(c0, (c1 - c0) / waves, waves, y0, y0 + wide)]
        return draw.slab(draw.rectangle(c0, -half, c1, half, 0.0, low), holes, high - low)


def _passages(x0: float, step: float, waves: int, y0: float, y1: float) -> list[list[Point2]]:
    """Outlines of the passages on both sides of a fin that waves between two tubes, y0 and y1 their faces."""
    slope = 2 * (y1 - y0) / step
    wall = FIN / 2 * math.hypot(1.0, slope) / slope
    out = []
    for k in range(waves):
        a, b = x0 + k * step, x0 + (k + 1) * step
        out.append([(a + wall, y0), (b - wall, y0), ((a + b) / 2, y1 - wall * slope)])
        if k:
            out.append([(a - step / 2 + wall, y1), (a, y0 + wall * slope), (a + step / 2 - wall, y1)])
    return out


class CableLook(CableBundle):
    """A cable with a plug at each end."""

    def bodies(self) -> tuple[Body, ...]:
        return (*super().bodies(), Body("plug-1", "plastic"), Body("plug-2", "plastic"))

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        out, a = super().solids(), PLUG * self.diameter / 2
        legs = [leg for leg in self.straights() if float(np.linalg.norm(leg[1] - leg[0])) > 1.0]
        ends = [(legs[0][0], legs[0][1]), (legs[-1][1], legs[-1][0])] if legs else []
        for i, (end, inward) in enumerate(ends, 1):
            long = min(PLUG_LENGTH, float(np.linalg.norm(inward - end)))
            out[f"plug-{i}"] = draw.one(draw.baked(draw.box((-a, -a, 0), (a, a, long)), pose(end, inward - end)))
        return out


class GpuMountLook(GpuMount):
    """A mount with its ribbon's straight run, first bend and plug, in the room that is kept for them."""

    def bodies(self) -> tuple[Body, ...]:
        return (*super().bodies(), Body("ribbon", "cable"), Body("ribbon-plug", "plastic"))

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        out, t, half = super().solids(), RIBBON_THICKNESS / 2, self.ribbon_width / 2
        y, z, up = RISER_HALF, -RISER_THICKNESS / 2, 1.0 if self.ribbon_bend == "up" else -1.0
        far, r = y + self.ribbon_straight, float(self.ribbon_radius)
        deep = z + up * (r + t)
        k = math.sqrt(0.5)
        # The section in (y, z) from the riser's edge out and round the bend: inner side, then back along the outer.
        inner, outer = z + up * t, z - up * t
        runs = [
            [(y, outer), (far, outer)],
            [(far, outer), (far + (r + 2 * t) * k, deep - up * (r + 2 * t) * k), (far + r + 2 * t, deep)],
            [(far + r + 2 * t, deep), (far + r, deep)],
            [(far + r, deep), (far + r * k, deep - up * r * k), (far, inner)],
            [(far, inner), (y, inner)],
            [(y, inner), (y, outer)],
        ]
        runs = [run for run in runs if math.dist(run[0], run[-1]) > ROUNDING]
        flat = draw.slab(draw.outline(runs), (), 2 * half)
        lay = compose(shift(x=self._middle - half), pose((0, 0, 0), (1, 0, 0), (0, 1, 0)))
        out["ribbon"] = draw.one(draw.baked(flat, lay))
        edge = sorted((deep, deep - up * min(6.0, r)))
        out["ribbon-plug"] = draw.box(
            (self._middle - half, far + r - 1.0, edge[0]), (self._middle + half, far + r + 2 * t, edge[1])
        )
        return out


_LOOKS: dict[type[Part], type[Part]] = {
    Fan: FanLook,
    Radiator: RadiatorLook,
    CableBundle: CableLook,
    GpuMount: GpuMountLook,
}
