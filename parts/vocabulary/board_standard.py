"""What the form-factor standards fix: mounting holes, board edges, slot, bracket, rear-aperture and supply datums.

Owns the numbers that a case and what is mounted in it must share so that one fits the other, each with its source and
mark. Leaves the parts themselves to `case`, `motherboard` and `psu`.

Board coordinates, mm, right-handed: x from the rear hole row toward the front edge, y from the hole-A column toward the
CPU side, z out of the component side from the board's underside. The standards list holes the other way round, first
toward the CPU side and then toward the front; `on_board` is the one place that turns their order into these axes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Form = Literal["mini-itx", "microatx", "atx", "ceb", "e-atx", "eeb", "custom"]

MICROATX = "microATX Motherboard Interface Specification v1.2"
TRANSCRIBED = "ATX and PCI Express datums, transcribed by public code"
PRACTICE = "common practice, no source"

# Mounting holes as published, mm: from the hole-A column toward the CPU side, from the rear hole row toward the front.
# C: two independent copies in public code that agree with the inch numbers of SSI EEB 3.0, figure 1.
HOLES: dict[str, tuple[float, float]] = {
    "A": (0.0, 0.0),
    "B": (78.74, 0.0),
    "C": (124.46, 0.0),
    "F": (281.94, 22.86),
    "G": (0.0, 154.94),
    "H": (124.46, 154.94),
    "J": (281.94, 154.94),
    "K": (0.0, 227.33),
    "L": (124.46, 227.33),
    "M": (281.94, 227.33),
    "front-A": (0.0, 312.42),  # the front row of SSI EEB 3.0, figure 1
    "front-C": (124.46, 312.42),
    "front-F": (281.94, 312.42),
}
# Which holes a form requires. ATX and microATX: microATX v1.2, p. 9-10 (V); holes R and S of microATX are left out
# because the sources disagree on them. Mini-ITX and EEB: transcribed (C).
_ATX = ("A", "C", "F", "G", "H", "J", "K", "L", "M")
PATTERNS: dict[str, tuple[str, ...]] = {
    "atx": _ATX,
    "microatx": ("B", "C", "F", "H", "J", "L", "M"),
    "mini-itx": ("C", "F", "H", "J"),
    "eeb": (*_ATX, "front-A", "front-C", "front-F"),
}
HOLE_DIAMETER = 3.96  # mm, 0.156 in (C)
REAR_EDGE = -10.16  # mm, x of the board's rear edge: 0.400 in behind the rear hole row (C)
PCB = 1.57  # mm, 0.062 in: microATX v1.2, fig. 4 notes, p. 14 (V)


@dataclass(frozen=True, slots=True)
class FormFactor:
    """A board outline: `width` along y, `depth` along x, `slot_edge` the y of its slot-side edge, mm; its hole pattern
    and how many expansion slots it has room for."""

    width: float
    depth: float
    slot_edge: float
    holes: str
    slots: int

    @property
    def top_edge(self) -> float:
        """y of the CPU-side edge, mm."""
        return self.width + self.slot_edge


# Widths and depths: microATX v1.2, Table 3, p. 9; Mini-ITX Addendum 1.1, p. 5; SSI EEB 2011 v1.0.1, 2.1 (V). "E-ATX" is
# not a controlled size: 272 is one that is sold (P). Slot-side edges: 0.650, 1.350 and 0.250 in outside holes A, B, C.
FORMS: dict[str, FormFactor] = {
    "atx": FormFactor(305.0, 244.0, -16.51, "atx", 7),
    "microatx": FormFactor(244.0, 244.0, 78.74 - 34.29, "microatx", 4),
    "mini-itx": FormFactor(170.0, 170.0, 124.46 - 6.35, "mini-itx", 1),
    "ceb": FormFactor(305.0, 266.7, -16.51, "atx", 7),
    "e-atx": FormFactor(305.0, 272.0, -16.51, "atx", 7),
    "eeb": FormFactor(305.0, 330.0, -16.51, "eeb", 7),
    "custom": FormFactor(305.0, 244.0, -16.51, "atx", 7),
}

# Expansion slots (C): slot 1 is the one nearest the CPU.
SLOT_PITCH = 20.32
SLOT_1_Y = 126.03  # key datum of slot 1: column C + 1.57
SLOT_X = 46.94  # key datum behind the rear hole row
KEY_TO_BRACKET = 59.05  # key datum to the outer face of a card's bracket, which lies on the rear panel's inside
CARD_BOTTOM = 3.4  # card edge above the board's surface
CONNECTOR_BEHIND_KEY = 14.5  # rear end of a slot connector to its key datum
CONNECTOR_WIDTH, CONNECTOR_HEIGHT = 7.5, 11.25
CONNECTOR_LENGTH: dict[str, float] = {"x1": 25.0, "x4": 39.0, "x8": 56.0, "x16": 89.0}

# Room a card may take beside its board (M: PCI Express Card Electromechanical Specification, 0.570 and 0.105 in).
COMPONENT_SIDE, SOLDER_SIDE = 14.47, 2.67

# Card bracket (C): positions from the slot's key datum; "out" is away from the board's surface.
BRACKET_WIDTH, BRACKET_THICKNESS = 18.42, 0.86
BRACKET_CPU_SIDE = 2.84 - PCB / 2  # bracket edge nearest the CPU, from the card's middle plane along y
BRACKET_MIDDLE = BRACKET_CPU_SIDE - BRACKET_WIDTH / 2
WINDOW_WIDTH = 12.06  # connector window in the rear panel
TAB_WIDTH = 21.59 - 2.54  # bent tab, which overhangs the bracket by 3.175 toward the CPU side
TAB_CPU_SIDE = BRACKET_CPU_SIDE + 3.17


@dataclass(frozen=True, slots=True)
class BracketHeight:
    """Heights of a bracket above the board's surface, mm: the seat of its bent tab, and its connector window."""

    shelf: float
    window_top: float
    window_height: float

    @property
    def window_middle(self) -> float:
        return self.window_top - self.window_height / 2


FULL_HEIGHT = BracketHeight(104.86 + CARD_BOTTOM, 104.86 + CARD_BOTTOM - 10.16, 89.90)
LOW_PROFILE = BracketHeight(68.09 + CARD_BOTTOM, 68.09 + CARD_BOTTOM - 9.04, 54.53)

# Rear panel. Its inside lies at the bracket's outer face: 59.05 - 46.94 - 10.16 behind the board's rear edge.
PANEL_BEHIND_EDGE = KEY_TO_BRACKET - SLOT_X + REAR_EDGE
# I/O cut-out: 6.25 x 1.75 in, corner radius at most 0.99, its lower edge 3.81 below the board's top (V: microATX v1.2,
# fig. 4, p. 14); its slot-side edge 5.196 in from the hole-A column (C).
IO_WIDTH, IO_HEIGHT, IO_RADIUS = 158.75, 44.45, 0.99
IO_Y = 131.98
IO_BELOW_TOP = 3.81
IO_KEEP_OUT = 2.54  # free of other features all round (V)
# Connectors: faces 0.445 in behind the hole row, inside a zone of 152.15 x 37.34 (V: microATX v1.2, fig. 5, p. 15).
IO_FACE_X = -11.30
IO_ZONE_WIDTH, IO_ZONE_HEIGHT = 152.15, 37.34


# Power supplies: rear face (width, height) and screw holes as published, from the face's lower left corner seen from
# outside the rear. ATX size (V) and holes (C; two copies in public code agree they are seen from outside); SFX size and
# holes (C). That the intake is below in this view is said by neither source (M).
PSU_SOURCE = "ATX12V and SFX12V Power Supply Design Guides"
PSU_FACE: dict[str, tuple[float, float]] = {"atx": (150.0, 86.0), "sfx": (125.0, 63.5)}
PSU_HOLES: dict[str, tuple[tuple[float, float], ...]] = {
    "atx": ((6.0, 16.0), (6.0, 80.0), (144.0, 80.0), (120.0, 6.0)),
    "sfx": tuple((x, y) for x in (6.0, 119.0) for y in (6.0, 31.7, 57.5)),
}


def on_board(toward_cpu: float, toward_front: float) -> tuple[float, float]:
    """Board coordinates x, y of a point as the standards list it."""
    return toward_front, toward_cpu


def psu_holes(kind: str) -> tuple[tuple[float, float], ...]:
    """Screw holes of a power supply from its rear face's centre, mm: x to the left of someone who looks at that face
    from outside, y up with the intake below, so that x, y and the direction into the supply are right-handed."""
    w, h = PSU_FACE[kind]
    return tuple((w / 2 - right, up - h / 2) for right, up in PSU_HOLES[kind])


def slot_y(n: int) -> float:
    """y of the key datum of slot n (1 is nearest the CPU), mm."""
    return SLOT_1_Y - SLOT_PITCH * (n - 1)


def pattern(holes: str | tuple[tuple[float, float], ...]) -> tuple[tuple[str, float, float], ...]:
    """Hole names and centres, board coordinates, of a named pattern or of an explicit list of x, y; ValueError for an
    unknown name."""
    if isinstance(holes, str):
        if holes not in PATTERNS:
            raise ValueError(f"no hole pattern {holes!r}; known: {', '.join(PATTERNS)}, or a list of [x, y] in mm")
        return tuple((name, *on_board(*HOLES[name])) for name in PATTERNS[holes])
    return tuple((str(i), float(x), float(y)) for i, (x, y) in enumerate(holes, 1))
