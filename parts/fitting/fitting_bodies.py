"""Drawing of fittings: each kind's bodies as solids, from the numbers of `fitting_shape`.

Owns the drawing only. What is drawn is simplified where it meets nothing: no thread turns, no knurl, no barbs (a soft
tube is drawn unstretched, so the stem it is pushed on is drawn inside its bore), no O-rings inside a collar or swivel.
The male thread is drawn as a plain stub under the minor diameter, free in a port that is bored at it. The seal ring is
drawn compressed: it fills its groove, flush with the foot that lies on the port's land.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from elbowroom.parts.fitting import fitting_shape as shape
from elbowroom.parts.fitting.fitting_kinds import RING_KINDS, SWIVELS, TILT
from elbowroom.parts.fitting.fitting_shape import CLEAR, LIP, RING_WALL, RISE, WALL
from elbowroom.parts.vocabulary import draw
from elbowroom.parts.vocabulary.pose import rotation
from elbowroom.parts.vocabulary.tolerances import ROUNDING

if TYPE_CHECKING:
    from cadquery import Shape, Solid, Wire

    from elbowroom.parts.fitting.fitting import Fitting

Point2 = tuple[float, float]


def draw_fitting(f: Fitting) -> dict[str, Shape]:
    """Every body that `Fitting.bodies` names."""
    out: dict[str, Shape] = {"seal": _ring(f.seal_id / 2, f.seal_od / 2, 0.0, float(f.seal_depth))}
    if f.kind == "pass-through":
        return {"body": _bulkhead(f), **out, "nut": _nut(f)}
    out = {"thread": _stub(f, -float(f.thread_length)), **out, "body": _body(f)}
    if f.kind in RING_KINDS:
        out["collar"] = _tube_ring(f)
    if f.kind in SWIVELS:
        z, r, b = float(f.collar_height), f.collar_od / 2, f.bore / 2
        out["collar"] = draw.turned([*_underside(f, r, b), (r, z), (b, z)])
    if f.kind == "male-male":
        out["far-thread"] = _stub(f, float(f.height))
        out["far-seal"] = _ring(f.seal_id / 2, f.seal_od / 2, f.height - f.seal_depth, float(f.height))
    if f.kind == "ball-valve":
        out["handle"], out["handle-sweep"] = _handle(f)
    if f.kind in SWIVELS and f.swing_keep_out:
        out["swing"] = draw.turned(_distinct(shape.swing_profile(f)))
    return out


def _body(f: Fitting) -> Solid:
    if f.kind in TILT:
        return _elbow(f)
    if f.kind == "offset":
        return _link(f)
    h, r, b, port = float(f.height), _foot_radius(f), f.bore / 2, f.thread_data.bore / 2
    foot = shape.foot_height(f)
    if f.kind == "plug":
        top = [(r, h), (0.0, h)]
        b = 0.0
    elif f.kind == "barb":
        stem = shape.stem_radius(f)
        top = [(r, foot), (stem, foot), (stem, h), (b, h)]
    elif f.kind == "compression":
        stop, stem = h - f.insertion, shape.stem_radius(f)
        core = f.tube_od / 2 + (CLEAR if stop < foot else 0.0)  # the tube stands in the foot, or on a core above it
        end = h - min(2.0, f.insertion / 4)  # the stem ends short of the mouth, as a collar must reach over it
        top = [(r, foot), (core, foot), (core, stop), (stem, stop), (stem, end), (b, end)]
    elif f.kind == "collar":
        stop, tube, sleeve = h - f.insertion, f.tube_od / 2 + CLEAR, _sleeve(f)
        top = [(r, foot), (sleeve, foot), (sleeve, h - LIP), (tube, h - LIP), (tube, stop), (b, stop)]
    elif f.kind == "male-male":
        i, o, s = f.seal_id / 2, f.seal_od / 2, h - f.seal_depth
        top = [(r, h), (o, h), (o, s), (i, s), (i, h), (b, h)]
    else:
        top = [(r, h), (port, h), (port, h - f.next_depth), (b, h - f.next_depth)]
    body = draw.turned(_distinct([*_underside(f, r, b), *top]))
    if shape.is_hex(f):
        # The turned core stays inside the flats, so that no flat is tangent to it.
        body = draw.fuse(body, draw.slab(_hexagon(float(f.hex_af)), [draw.circle(0, 0, 2 * r)], foot))
    return _with_boss(f, body) if f.kind == "ball-valve" else body


def _underside(f: Fitting, r: float, b: float) -> list[Point2]:
    """The foot's face on the land with the seal's groove in it, from the bore outward."""
    i, o, d = f.seal_id / 2, f.seal_od / 2, float(f.seal_depth)
    return [(b, 0.0), (i, 0.0), (i, d), (o, d), (o, 0.0), (r, 0.0)]


def _foot_radius(f: Fitting) -> float:
    """Radius of the turned foot; of a hexagon, half-way from the seal's groove to the flats."""
    if shape.is_hex(f):
        return (f.seal_od / 2 + f.hex_af / 2) / 2
    return f.body_od / 2


def _sleeve(f: Fitting) -> float:
    """Radius of the sleeve that a hard-tube collar is screwed on: inside the collar's wall, and resting on the foot."""
    return min(f.collar_od / 2 - RING_WALL - CLEAR, f.body_od / 2 - CLEAR - WALL / 2)


def _tube_ring(f: Fitting) -> Solid:
    """The ring screwed down on the tube, resting on the foot."""
    z, h, r, tube = shape.foot_height(f), float(f.height), f.collar_od / 2, f.tube_od / 2 + CLEAR
    if f.kind == "compression":
        return _ring(tube, r, z, h)
    inner = _sleeve(f) + CLEAR
    return draw.turned([(inner, z), (r, z), (r, h), (tube, h), (tube, h - LIP + CLEAR), (inner, h - LIP + CLEAR)])


def _stub(f: Fitting, z: float) -> Solid:
    if f.kind == "plug":
        return draw.cylinder(2 * shape.stub_radius(f), float(f.thread_length), (0, 0, z))
    return _ring(f.bore / 2, shape.stub_radius(f), z, z + f.thread_length)


def _ring(inner: float, outer: float, z0: float, z1: float) -> Solid:
    return draw.turned([(inner, z0), (outer, z0), (outer, z1), (inner, z1)])


def _hexagon(af: float, z: float = 0.0) -> Wire:
    """Corners on the x axis, flats square to y."""
    r = af / 2 / math.cos(math.pi / 6)
    return draw.polygon([(r * math.cos(a), r * math.sin(a)) for a in (i * math.pi / 3 for i in range(6))], z)


def _turned_by(f: Fitting, solid: Shape) -> Shape:
    """The solid, drawn at angle 0, turned by the fitting's angle."""
    return draw.baked(solid, rotation((0, 0, 1), float(f.angle))) if f.angle % 360 else solid


def _elbow(f: Fitting) -> Solid:
    """A drum on the collar with an arm toward the next port, bored along both axes."""
    tilt = math.radians(TILT[f.kind])
    way = (math.sin(tilt), 0.0, math.cos(tilt))
    z, at, length = float(f.collar_height), (0.0, 0.0, float(f.axis_height)), float(f.next_distance)
    face = tuple(a + length * w for a, w in zip(at, way, strict=True))
    back = tuple(-w for w in way)
    body = draw.fuse(
        draw.cylinder(float(f.body_od), shape.drum_top(f) - z, (0, 0, z)),
        draw.cylinder(float(f.next_od), length, at, way),
    )
    if at[2] - f.next_od / 2 * math.sin(tilt) < z:
        # The arm's root may dip into the collar's height; the collar is there, so the arm is cut away.
        w = length + f.next_od
        body = draw.cut(body, draw.box((-w, -w, z - w), (w, w, z)))
    body = draw.cut(
        body,
        draw.cylinder(float(f.bore), f.axis_height - z, (0, 0, z)),
        draw.fuse(
            draw.cylinder(float(f.bore), length, at, way),
            draw.cylinder(f.thread_data.bore, float(f.next_depth), face, back),
        ),
    )
    return draw.one(_turned_by(f, body))


def _link(f: Fitting) -> Solid:
    """A slot-shaped block on the collar, bored up from the thread, across, and down from the next port."""
    z, h, b, x = float(f.collar_height), float(f.height), float(f.bore), float(f.sidestep)
    across = z + 1.0 + b / 2
    block = draw.slab(draw.slot(x / 2, 0, float(f.next_od), x, z=z), (), h - z)
    tools = [
        draw.cylinder(b, across - z, (0, 0, z)),
        draw.cylinder(b, x, (0, 0, across), (1, 0, 0)),
        draw.cylinder(f.thread_data.bore, float(f.next_depth), (x, 0, h - f.next_depth)),
    ]
    if h - f.next_depth > across:
        tools.append(draw.cylinder(b, h - f.next_depth - across, (x, 0, across)))
    body = block
    for tool in tools:
        body = draw.cut(body, tool)
    return draw.one(_turned_by(f, body))


def _with_boss(f: Fitting, body: Solid) -> Solid:
    """The valve's body with the flat boss that carries its handle."""
    r, w, b = f.body_od / 2, float(f.handle_width), f.bore / 2
    boss = draw.cylinder(w, r + RISE - (b + WALL), (b + WALL, 0, f.height / 2), (1, 0, 0))
    return draw.one(_turned_by(f, draw.fuse(body, boss)))


def _handle(f: Fitting) -> tuple[Shape, Shape]:
    """The handle standing open, along +z, and the room it turns through to closed, a quarter turn toward +y."""
    b = shape.handle_box(f)
    half, length, pivot, mid = f.handle_width / 2, shape.handle_length(f), f.height / 2, f.handle_sweep / math.sqrt(2)

    def at(y: float, z: float) -> tuple[float, float, float]:
        return (b.lo[0], y, pivot + z)

    # The tip sweeps the large arc, the corners of the square end behind the pivot the small one.
    corners = [at(half, -half), at(length, -half), at(-half, length), at(-half, half)]
    outline = draw.bounded(corners, {1: at(mid, mid), 3: at(-half, -half)})
    sweep = draw.prism(outline, (float(f.handle_thickness), 0, 0))
    return _turned_by(f, draw.box(b.lo, b.hi)), _turned_by(f, sweep)


def _bulkhead(f: Fitting) -> Solid:
    """Flange in front of the panel, shank through it, a female port at either end."""
    h, tail, r, shank = float(f.height), float(f.tail), f.body_od / 2, shape.shank_diameter(f) / 2
    b, port, d = f.bore / 2, f.thread_data.bore / 2, float(f.next_depth)
    i, o, s = f.seal_id / 2, f.seal_od / 2, float(f.seal_depth)
    shank_side = [(b, d - tail), (port, d - tail), (port, -tail), (shank, -tail), (shank, 0.0)]
    flange = [(i, 0.0), (i, s), (o, s), (o, 0.0), (r, 0.0), (r, h), (port, h), (port, h - d), (b, h - d)]
    return draw.turned([*shank_side, *flange])


def _nut(f: Fitting) -> Solid:
    z = -f.panel - f.nut_height
    hole = draw.circle(0, 0, shape.shank_diameter(f) + 2 * CLEAR, z)
    return draw.slab(_hexagon(float(f.nut_af), z), [hole], float(f.nut_height))


def _distinct(profile: list[Point2]) -> list[Point2]:
    """The outline without a point that repeats the one before it."""
    return [p for p, q in zip(profile, [profile[-1], *profile[:-1]], strict=True) if math.dist(p, q) > ROUNDING]
