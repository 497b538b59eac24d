"""Drawing of a motherboard's bodies: board, sockets with their grooves, connectors, finned heatsinks, plug rooms.

Owns their shapes; where they stand and how high they are is `motherboard`'s. The key rib of a card slot is not drawn:
it stands inside the card's own notch.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from cadquery import Shape, Solid

from elbowroom.parts.board.motherboard import (
    DIMM_GROOVE,
    DIMM_SLACK,
    DIMM_TOWER,
    PIN_MARGIN,
    PIN_PITCH,
    POWER_DEPTH,
    POWER_HEIGHT,
)
from elbowroom.parts.case.case_openings import Rect
from elbowroom.parts.vocabulary import board_standard as std
from elbowroom.parts.vocabulary import draw
from elbowroom.parts.vocabulary.pose import pose, shift

if TYPE_CHECKING:
    from elbowroom.parts.board.motherboard import Motherboard

# Recesses of the rear connectors: middle from the block's slot-side end, lower edge above the board, width, height;
# height 0 is a round jack of that width. mm; sizes of common connectors, positions common practice (P).
_USB, _LAN, _VIDEO, _JACK = (13.4, 5.8), (14.5, 11.5), (16.2, 6.0), (6.2, 0.0)
_RECESSES: tuple[tuple[float, float, tuple[float, float]], ...] = (
    *((12.0, z, _JACK) for z in (5.0, 16.0, 27.0)), *((25.0, z, _JACK) for z in (5.0, 16.0, 27.0)),
    *((42.0, z, _USB) for z in (3.0, 10.5, 18.0, 25.5)),
    (62.0, 3.0, _USB), (62.0, 10.5, _USB), (62.0, 19.0, _LAN),
    (82.0, 3.0, _USB), (82.0, 10.5, _USB), (82.0, 19.0, _LAN),
    (104.0, 4.0, _VIDEO), (104.0, 14.0, _VIDEO), *((124.0, z, _USB) for z in (3.0, 10.5, 18.0, 25.5)),
    *((141.0, z, _USB) for z in (3.0, 10.5)),
)  # fmt: skip
_RECESS_DEPTH = 8.0  # mm (P)
_RECESS_WALL = 1.0  # mm of block left above a recess (P)
_SOCKET_BASE = 4.5  # mm: the CPU socket's frame below the heat spreader (P)
_PIN_HOLE = 3.4  # mm: square chambers of a power socket (M)
_PIN_FLOOR = 2.5  # mm: floor below them (P)
_FIN_PITCH = 6.0  # mm: fins of a heatsink, half of it fin (P)
_GROOVE_END = 1.9  # mm: end walls of a slot connector's groove (C)


def draw_board(board: Motherboard) -> dict[str, Shape]:
    """Every body of the board, by name, in the order of `Motherboard.bodies`."""
    spots, heights, t = board.footprints(), board.heights(), float(board.thickness)
    out: dict[str, Shape] = {"pcb": _pcb(board)}
    dimm = _dimm_socket(board) if board.dimm_count else None
    slots = {kind: _slot(kind, float(board.slot_groove)) for kind in set(board.connectors().values())}
    kinds = board.connectors()
    cpu_power = _power_socket(4) if board.cpu_power_count else None
    for name, r in spots.items():
        kind = name.rstrip("-0123456789")
        if kind == "dimm" and dimm is not None:
            out[name] = draw.baked(dimm, shift((r.u0 + r.u1) / 2, (r.v0 + r.v1) / 2, t))
        elif kind == "slot":
            out[name] = draw.baked(slots[kinds[int(name[5:])]], shift(std.SLOT_X, std.slot_y(int(name[5:])), t))
        elif name == "cpu-socket":
            out[name] = _cpu_socket(board, r)
        elif name == "io-block":
            out[name] = _io_block(board, r)
        elif name == "power-socket":
            out[name] = draw.baked(_power_socket(12), pose((r.u1, r.v0, t), (0, 0, 1), (0, 1, 0)))
        elif kind == "cpu-power" and cpu_power is not None:
            out[name] = draw.baked(cpu_power, shift(r.u0, r.v0, t))
        else:
            out[name] = _heatsink(r, t, heights[name])
    out["power-plug"] = _power_room(board, spots["power-socket"])
    for i in range(1, board.cpu_power_count + 1):
        out[f"cpu-power-plug-{i}"] = _cpu_power_room(board, spots[f"cpu-power-{i}"])
    if board.cooler_zone is not None:
        c, (x, y, z) = board.cooler_side / 2, board.frame("cpu").pose[:3, 3]
        out["cpu-zone"] = draw.box((x - c, y - c, z), (x + c, y + c, t + board.cooler_zone))
    return {b.name: out[b.name] for b in board.bodies()}


def _cpu_socket(board: Motherboard, r: Rect) -> Solid:
    t, s = float(board.thickness), board.spreader / 2
    base = min(_SOCKET_BASE, board.spreader_height * 0.6)
    x, y = (r.u0 + r.u1) / 2, (r.v0 + r.v1) / 2
    frame = draw.baked(draw.slab(draw.rectangle(r.u0, r.v0, r.u1, r.v1, 3.0), (), base), shift(z=t))
    return draw.fuse(frame, draw.box((x - s, y - s, t + base), (x + s, y + s, t + board.spreader_height)))


def _io_block(board: Motherboard, r: Rect) -> Solid:
    t, h = float(board.thickness), float(board.io_height)
    wires = []
    for along, z, (w, high) in _RECESSES:
        if z + (high or w) + _RECESS_WALL > h:
            continue
        u, v = r.v0 + along, t + z
        wires.append(draw.rectangle(u - w / 2, v, u + w / 2, v + high, 0.5) if high else draw.circle(u, v + w / 2, w))
    deep = min(_RECESS_DEPTH, board.io_depth / 2)
    face = draw.slab(draw.rectangle(r.v0, t, r.v1, t + h), wires, deep)
    face = draw.baked(face, pose((r.u0, 0, 0), (1, 0, 0), (0, 1, 0)))
    return draw.fuse(draw.box((r.u0 + deep, r.v0, t), (r.u1, r.v1, t + h)), face)


def _dimm_socket(board: Motherboard) -> Solid:
    """Socket about its middle, along y, z = 0 on the board: a bar between two latch towers, grooved for the module."""
    a, w = board.dimm_socket / 2, board.dimm_width / 2
    bar, tower, seat = float(board.dimm_height), float(board.dimm_latch), float(board.dimm_seat)
    g, n = (board.dimm_length + DIMM_SLACK) / 2, a - DIMM_TOWER
    outline = [(-a, 0), (a, 0), (a, tower), (n, tower), (n, bar), (-n, bar), (-n, tower), (-a, tower)]
    side = draw.baked(draw.slab(draw.polygon(outline), (), 2 * w), pose((-w, 0, 0), (1, 0, 0), (0, 1, 0)))
    return draw.cut(side, draw.box((-DIMM_GROOVE / 2, -g, seat), (DIMM_GROOVE / 2, g, bar + 1)))


def _pcb(board: Motherboard) -> Solid:
    """The board; holes that meet its edge or each other are cut out of it one by one."""
    r, t = board.hole / 2, float(board.thickness)
    lo, hi = (std.REAR_EDGE, float(board.slot_edge)), (board.front_edge, board.top_edge)
    centres = list(dict.fromkeys((x, y) for _, x, y in board.hole_centres()))
    free = [
        p
        for p in centres
        if all(a + r < c < b - r for a, c, b in zip(lo, p, hi, strict=True))
        and all(q == p or math.dist(p, q) > 2 * r for q in centres)
    ]
    sheet = draw.slab(draw.rectangle(*lo, *hi), [draw.circle(x, y, board.hole) for x, y in free], t)
    return draw.largest_left(sheet, *(draw.cylinder(2 * r, t + 2, (*p, -1.0)) for p in centres if p not in free))


def _slot(kind: str, groove: float) -> Solid:
    """Slot connector about its key datum, x along the card edge toward the front."""
    w, h = std.CONNECTOR_WIDTH / 2, std.CONNECTOR_HEIGHT
    x0 = -std.CONNECTOR_BEHIND_KEY
    x1 = x0 + std.CONNECTOR_LENGTH[kind]
    body = draw.box((x0, -w, 0), (x1, w, h))
    card = draw.box((x0 + _GROOVE_END, -groove / 2, std.CARD_BOTTOM), (x1 - _GROOVE_END, groove / 2, h + 1))
    return draw.cut(body, card)


def _power_socket(pins: int) -> Solid:
    """Two rows of square chambers; length along x, from the corner."""
    length = pins * PIN_PITCH + PIN_MARGIN
    middle, a = POWER_DEPTH / 2, _PIN_HOLE / 2
    first = (length - (pins - 1) * PIN_PITCH) / 2
    centres = [(first + i * PIN_PITCH, middle + s * PIN_PITCH / 2) for i in range(pins) for s in (-1, 1)]
    chambers = [draw.rectangle(x - a, y - a, x + a, y + a, 0.0, _PIN_FLOOR) for x, y in centres]
    upper = draw.slab(draw.rectangle(0, 0, length, POWER_DEPTH, 0.0, _PIN_FLOOR), chambers, POWER_HEIGHT - _PIN_FLOOR)
    return draw.fuse(draw.box((0, 0, 0), (length, POWER_DEPTH, _PIN_FLOOR)), upper)


def _heatsink(r: Rect, z: float, height: float) -> Solid:
    """Fins across the longer side on a solid base, as one profile drawn along the shorter side."""
    along_x = r.u1 - r.u0 >= r.v1 - r.v0
    length, across = (r.u1 - r.u0, r.v1 - r.v0) if along_x else (r.v1 - r.v0, r.u1 - r.u0)
    fins = max(1, int((length - _FIN_PITCH / 2) // _FIN_PITCH) + 1)
    base, gap = height * 0.5, 0.0 if fins == 1 else (length - fins * _FIN_PITCH / 2) / (fins - 1)
    points = [(0.0, 0.0), (length, 0.0)]
    for i in reversed(range(fins)):
        a = i * (_FIN_PITCH / 2 + gap)
        b = length if fins == 1 else a + _FIN_PITCH / 2
        points += [(b, base)] if 0 < i < fins - 1 or (i == 0 and fins > 1) else []
        points += [(b, height), (a, height)]
        points += [(a, base)] if i > 0 else []
    profile = draw.slab(draw.polygon(points), (), across)
    if along_x:
        return draw.one(draw.baked(profile, pose((r.u0, r.v1, z), (0, -1, 0), (1, 0, 0))))
    return draw.one(draw.baked(profile, pose((r.u0, r.v0, z), (1, 0, 0), (0, 1, 0))))


def _power_room(board: Motherboard, r: Rect) -> Shape:
    """Over the 24-pin socket and before the front edge: plug, bend and bundle."""
    t, front = float(board.thickness), board.front_edge
    top, far = t + board.power_plug + board.power_bend, front + board.power_bend + board.power_bundle
    points = [(r.u0, t + POWER_HEIGHT), (front, t + POWER_HEIGHT), (front, 0), (far, 0), (far, top), (r.u0, top)]
    return draw.baked(draw.slab(draw.polygon(points), (), r.v1 - r.v0), pose((0, r.v1, 0), (0, -1, 0), (1, 0, 0)))


def _cpu_power_room(board: Motherboard, r: Rect) -> Shape:
    """Over a CPU power socket and beyond the top edge: plug and bend."""
    t, edge = float(board.thickness), board.top_edge
    top, far = t + board.cpu_power_plug + board.cpu_power_bend, edge + board.cpu_power_bend
    points = [(r.v0, t + POWER_HEIGHT), (edge, t + POWER_HEIGHT), (edge, 0), (far, 0), (far, top), (r.v0, top)]
    return draw.baked(draw.slab(draw.polygon(points), (), r.u1 - r.u0), pose((r.u0, 0, 0), (1, 0, 0), (0, 1, 0)))
