"""Shapes of a graphics card: board, bracket, display connectors, cooler, power sockets.

Owns how `card.gpu` is drawn; all levels and positions come from there.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from elbowroom.parts.card import gpu as g
from elbowroom.parts.vocabulary import board_standard as std
from elbowroom.parts.vocabulary import draw
from elbowroom.parts.vocabulary.ports import bore_of
from elbowroom.parts.vocabulary.pose import pose

if TYPE_CHECKING:
    from cadquery import Shape, Solid, Wire

    from elbowroom.parts.card.gpu import Gpu
    from elbowroom.parts.vocabulary.base import Box

_PLAY = 2.0  # mm kept clear around power sockets and at the far end of plates (P)
_WALL = 1.5  # mm: shell of a power socket, rim of a shroud (P)
_WINDOW_PLAY = 0.3  # mm around a display connector in the bracket (P)
_TAPER = 4.12  # mm: the bracket narrows to its tongue at 45 degrees over this height (C)
_TONGUE, _TONGUE_IN = 10.19, 4.11  # mm: width of the tongue, and from the bracket's edge to it (C)
_TAPER_FROM = 112.75 - 4.12  # mm below the tab's seat where a full-height bracket begins to narrow (C)
_TOP_CPU, _TOP_FAR = (2.92, 4.56), (3.08, 2.54)  # mm: corners of the bracket's offset top, CPU side and other (C)
_INSET = 2.5  # mm from a heatsink to the rim of its shroud, whose corners are rounded (P)
_FIN, _FIN_PITCH = 1.2, 4.0  # mm: drawn fins are fewer and thicker than real ones (P)


def draw_card(card: Gpu) -> dict[str, Shape]:
    """Every body of the card, keep-outs included."""
    outputs = _outputs(card)
    x = -std.KEY_TO_BRACKET + 0.42 * card.length  # the chip sits a little nearer the bracket than the middle (P)
    z = (card.top + g.COOLER_BOTTOM) / 2
    a = g.CHIP_SIZE / 2
    a = min(a, (card.top - g.COOLER_BOTTOM) / 2 - 8)
    out: dict[str, Shape] = {
        "pcb": _board(card),
        "bracket": _bracket(card, [(b.lo[2], b.hi[2]) for b in outputs]),
        "chip": draw.box((x - a, card.chip_top, z - a), (x + a, -card.half, z + a)),
    }
    out.update({f"output-{i}": draw.box(b.lo, b.hi) for i, b in enumerate(outputs, 1)})
    if card.backplate:
        wire = draw.rectangle(g.BOARD_REAR + _PLAY, g.COOLER_BOTTOM - _PLAY, card.far - 1.0, card.top - 1.0, 3.0)
        out["backplate"] = _across(wire, (), card.back - card.backplate, card.back)
    out.update(_block(card) if card.cooler == "block" else _open_cooler(card))
    for i, b in enumerate(card.socket_boxes(), 1):
        out[f"power-{i}"] = _socket(card, b)
    out.update({f"power-room-{i}": draw.box(b.lo, b.hi) for i, b in enumerate(card.room_boxes(), 1)})
    return out


def _across(outline: Wire, inner: tuple[Wire, ...], y0: float, y1: float) -> Solid:
    """An outline given in (x, z), filled from y0 to y1."""
    slab = draw.slab(outline, inner, y1 - y0)
    return draw.one(draw.baked(slab, pose((0, y1, 0), (0, -1, 0), (1, 0, 0))))


def _board(card: Gpu) -> Solid:
    low, (rear, front) = std.CARD_BOTTOM, g.EDGE_X
    edge = low + g.EDGE_HEIGHT
    key = edge + 0.5  # the notch passes the rib that keys the card, which is as high as the connector
    outline = [
        (g.BOARD_REAR, edge), (rear[0], edge), (rear[0], low), (rear[1], low), (rear[1], key), (front[0], key),
        (front[0], low), (front[1], low), (front[1], edge), (card.far, edge), (card.far, card.top),
        (g.BOARD_REAR, card.top),
    ]  # fmt: skip
    return _across(draw.polygon(outline), (), -card.half, card.half)


def _outputs(card: Gpu) -> list[Box]:
    from elbowroom.parts.vocabulary.base import Box

    middle, x0 = g.BRACKET_HEIGHTS[card.profile].window_middle, -std.KEY_TO_BRACKET + 0.1
    out = []
    for i in range(card.outputs):
        z = middle + (i - (card.outputs - 1) / 2) * g.OUTPUT_PITCH
        h = g.OUTPUT_WIDTH / 2
        out.append(Box((x0, -card.half - g.OUTPUT_HEIGHT, z - h), (x0 + g.OUTPUT_DEPTH, -card.half, z + h)))
    return out


def _bracket(card: Gpu, windows: list[tuple[float, float]]) -> Solid:
    """Face plate with tongues, windows and vents, and the bent tab with its screw slots; outline in (y, z)."""
    (y0, y1), (t0, t1), seat = card.bracket_y, card.tab_y, card.seat_z
    taper = seat - _TAPER_FROM + (g.BRACKET_LENGTH["full"] - g.BRACKET_LENGTH[card.profile])
    tip, top = seat - g.BRACKET_LENGTH[card.profile], seat + std.BRACKET_THICKNESS
    points: list[tuple[float, float]] = []
    for k in range(card.slots):  # from the CPU side on
        edge = y1 - k * std.SLOT_PITCH
        a = edge - _TONGUE_IN
        b = a - _TONGUE
        if k:
            points.append((edge, taper))
        points += [(a, taper - _TAPER), (a, tip), (b, tip), (b, taper - _TAPER), (b - _TAPER, taper)]
    points[-1] = (y0, taper)
    drop, aside = _TOP_FAR
    points += [
        (y0, seat - drop - aside), (t0, seat - drop), (t0, top), (t1, top), (t1, seat - _TOP_CPU[0]),
        (t1 - _TOP_CPU[1] + _TOP_CPU[0], seat - _TOP_CPU[1]), (y1, seat - _TOP_CPU[1]), (y1, taper),
    ]  # fmt: skip
    p, low, high = _WINDOW_PLAY, -card.half - g.OUTPUT_HEIGHT, -card.half
    inner = [draw.rectangle(low - p, a - p, high + p, b + p, 0.5) for a, b in windows]
    window = g.BRACKET_HEIGHTS[card.profile]
    for k in range(1, card.slots):
        middle = std.BRACKET_MIDDLE - k * std.SLOT_PITCH
        inner += [
            draw.slot(middle + s * 4.5, window.window_middle, 3.0, window.window_height - 20, 90) for s in (-1, 0, 1)
        ]
    plate = draw.slab(draw.polygon(points), inner, std.BRACKET_THICKNESS)
    plate = draw.one(draw.baked(plate, pose((-std.KEY_TO_BRACKET, 0, 0), (1, 0, 0), (0, 1, 0))))
    x = -std.KEY_TO_BRACKET
    holes = [
        draw.slot(x - g.TAB_HOLE_BEHIND, g.TAB_HOLE_Y - k * std.SLOT_PITCH + 1.0, g.TAB_HOLE, 2.0, 90, seat)
        for k in range(1, card.slots)
    ]
    # The slot of the first bracket opens to the tab's edge: the tab is drawn around it.
    hx, r, y = x - g.TAB_HOLE_BEHIND, g.TAB_HOLE / 2, g.TAB_HOLE_Y
    back, fore = x - g.TAB_DEPTH, x + std.BRACKET_THICKNESS
    outline = [(back, t1), (hx - r, t1), (hx - r, y - r), (hx + r, y - r), (hx + r, t1), (fore, t1), (fore, t0),
               (back, t0)]  # fmt: skip
    tab = draw.slab(draw.polygon(outline, seat), holes, std.BRACKET_THICKNESS)
    return draw.fuse(plate, tab)


def _block(card: Gpu) -> dict[str, Shape]:
    """Cold plate on the chip, clear cover on it, and the terminal that stands above the card's edge."""
    x0, x1 = -std.KEY_TO_BRACKET + g.COOLER_START, card.far - 1.0
    z0, z1 = g.COOLER_BOTTOM, card.top - 3.0
    middle = card.chip_top - max(4.0, 0.4 * (card.chip_top - card.face))
    t = card.terminal_box()
    outline = [(x0, z0), (x1, z0), (x1, z1)]
    outline += [(t.hi[0], z1), (t.hi[0], t.lo[2]), (t.lo[0], t.lo[2]), (t.lo[0], z1)]
    outline += [(x0, z1)]
    deduped = [p for i, p in enumerate(outline) if p != outline[i - 1]]
    plate = _across(draw.polygon(deduped), (), middle, card.chip_top)
    cover = _across(draw.rectangle(x0 + 3, z0 + 3, x1 - 3, z1 - 3, 8.0), (), card.face, middle)
    rooms = [_around(card, b) for b in card.socket_boxes()]
    bores = [bore_of(f).solid() for f in card.frames() if f.kind == "port"]
    return {
        "block": draw.cut(plate, *rooms),
        "cover": draw.cut(cover, *rooms),
        "terminal": draw.cut(draw.box(t.lo, t.hi), *bores),
    }


def _around(card: Gpu, b: Box) -> Solid:
    """A power socket and the play around it, through the whole cooler and out of its edge."""
    lo = (b.lo[0] - _PLAY, card.face - 1.0, b.lo[2] - _PLAY)
    return draw.box(lo, (b.hi[0] + _PLAY, b.hi[1] + 1.0, b.hi[2] + _PLAY))


def _socket(card: Gpu, b: Box) -> Solid:
    """A power socket: a shell around its contacts' pocket, open at the mouth."""
    lo, hi = [v + _WALL for v in b.lo], [v - _WALL for v in b.hi]
    mouth = 2 if card.power_side == "top" else 0
    lo[mouth], hi[mouth] = b.lo[mouth] + 4.0, b.hi[mouth] + 1.0
    return draw.cut(draw.box(b.lo, b.hi), draw.box(lo, hi))


def _open_cooler(card: Gpu) -> dict[str, Shape]:
    """Finned heatsink on the chip, shroud with a rim and fan openings, and the fans in them."""
    x0, x1 = g.BOARD_REAR, card.far
    z0, z1 = g.COOLER_BOTTOM, card.top
    w, face = _WALL, card.face
    d = min((x1 - x0) / card.fans - 8.0, z1 - z0 - 8.0, 112.0)
    step = (x1 - x0) / card.fans
    centres = [(x0 + step * (i + 0.5), (z0 + z1) / 2) for i in range(card.fans)]
    rim = _across(
        draw.rectangle(x0, z0, x1, z1, 5.0), (draw.rectangle(x0 + w, z0 + w, x1 - w, z1 - w, 4.0),),
        face + 2.0, -card.half - g.SHROUD_START,
    )  # fmt: skip
    openings = tuple(draw.circle(x, z, d + 3.0) for x, z in centres)
    shroud = draw.fuse(rim, _across(draw.rectangle(x0, z0, x1, z1, 5.0), openings, face, face + 2.0))
    fan = draw.turned(
        [
            (0, 0),
            (d / 2, 0),
            (d / 2, g.FAN_DEPTH - 2),
            (d * 0.2, g.FAN_DEPTH - 2),
            (d * 0.2, g.FAN_DEPTH),
            (0, g.FAN_DEPTH),
        ]
    )
    out: dict[str, Shape] = {"heatsink": _heatsink(card), "shroud": shroud}
    for i, (x, z) in enumerate(centres, 1):
        out[f"fan-{i}"] = draw.baked(fan, pose((x, face + 1.0 + g.FAN_DEPTH, z), (0, -1, 0), (1, 0, 0)))
    return out


def _heatsink(card: Gpu) -> Solid:
    """A base with fins across the card: one comb in (x, y), drawn along z clear of shroud and power sockets."""
    x0, x1 = -std.KEY_TO_BRACKET + g.COOLER_START, card.far - _WALL - _INSET
    z0, z1 = g.COOLER_BOTTOM + _WALL + _INSET, card.top - _WALL - _INSET
    for b in card.socket_boxes():
        if card.power_side == "top":
            z1 = min(z1, b.lo[2] - _PLAY)
        else:
            x1 = min(x1, b.lo[0] - _PLAY)
    low, base, high = card.chip_top, card.chip_top - 5.0, card.face + g.FAN_STACK
    count = max(2, int((x1 - x0 - _FIN) // _FIN_PITCH) + 1)
    pitch = (x1 - x0 - _FIN) / (count - 1)
    comb = [(x0, low), (x1, low), (x1, high)]
    for i in reversed(range(count)):
        a = x0 + i * pitch
        if i < count - 1:
            comb += [(a + _FIN, base), (a + _FIN, high)]
        comb += [(a, high)] + ([(a, base)] if i else [])
    return draw.slab(draw.polygon(comb, z0), (), z1 - z0)
