"""Graphics cards: board with its card edge, bracket, cooler (full-cover water block or heatsink and fans), power plugs.

Coordinates are those of the slot the card stands in: origin at the connector's key datum, level with the motherboard's
top surface; x along the card to its far end, z away from the motherboard (the card's height), y toward the back of the
card, so that the cooler is on the -y side. The card's middle plane is y = 0. In a motherboard's slot y is toward the
CPU. `thickness` is measured, never a slot count: slots only widen the
bracket. Drawing is `card.gpu_shapes`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Literal

from pydantic import model_validator

from elbowroom.parts.vocabulary import board_standard as std
from elbowroom.parts.vocabulary.base import Body, Box, Frame, Hole, HolePattern, Part, dim
from elbowroom.parts.vocabulary.measure import Ml, Mm
from elbowroom.parts.vocabulary.ports import Port, port_frame
from elbowroom.parts.vocabulary.pose import Pose, pose
from elbowroom.parts.vocabulary.threads import ThreadName, thread

if TYPE_CHECKING:
    from cadquery import Shape

_PRACTICE = "common practice, no source"
_CEM = "PCI Express Card Electromechanical Specification, figs. 6-3 and 9-3 to 9-6, transcribed by public code"

# Of the same figures (C), from the key datum: rear edge of the board, ends and key of the card edge, bracket.
BOARD_REAR = -57.15
EDGE_X = ((-12.15, -0.95), (0.95, 72.15))
TAB_DEPTH = 11.43  # bent tab of the bracket, from the bracket's outer face
TAB_HOLE, TAB_HOLE_BEHIND = 4.42, 5.08  # its screw slots, behind the bracket's outer face
TAB_HOLE_Y = std.TAB_CPU_SIDE - std.TAB_WIDTH + 16.505  # of the first slot; the others a slot pitch further to -y
BRACKET_LENGTH = {"full": 120.02, "low": 79.20}  # from the tab's seat to the tongue's tip
BRACKET_HEIGHTS = {"full": std.FULL_HEIGHT, "low": std.LOW_PROFILE}
EDGE_HEIGHT = 8.25  # mm of card edge below the board's lower edge, which so clears the 11.25 connector (M)

COOLER_BOTTOM = 16.0  # mm above the motherboard: coolers keep above the 15.24 zone of its parts beside a slot (P)
COOLER_START = 26.0  # mm from the bracket: a block or heatsink begins behind the display connectors (P)
BACK_GAP = 1.5  # mm between board and backplate: soldered leads (P)
CHIP_HEIGHT, CHIP_SIZE = 2.2, 40.0  # package and die above the board, and its edge (P)
OUTPUT_HEIGHT, OUTPUT_WIDTH, OUTPUT_DEPTH, OUTPUT_PITCH = 6.0, 16.0, 15.0, 21.0  # display connectors (P)
SOCKET_DEPTH = 14.0  # mm a power socket reaches into the card (P)
SHROUD_START = 11.0  # mm above the board: a shroud's rim clears display connectors and power sockets (P)
FAN_DEPTH, FAN_STACK = 11.0, 14.0  # mm: fans, and from the heatsink's fins to the cooler's face (P)
TERMINAL_LIFT = 1.0  # mm between the board's top edge and the underside of a block's terminal (P)
LEAST_BLOCK, LEAST_HEATSINK = 8.0, 16.0  # mm from the chip to the cooler's face that its shapes need (P)


@dataclass(frozen=True, slots=True)
class Socket:
    """A power socket's mouth (mm): width along the edge, height above the board, free room in front of it."""

    width: float
    height: float
    room: float


# Housings (M); rooms: 8-pin plug 20 and bend 30, 12V-2x6 35 straight before any bend (P).
SOCKETS = {"8-pin": Socket(18.0, 10.0, 50.0), "12v-2x6": Socket(19.0, 9.0, 35.0)}


class Gpu(Part):
    """A graphics card."""

    family: ClassVar[str] = "gpu"
    heavy: ClassVar[bool] = True
    needs_coolant: ClassVar[bool] = True
    seat: ClassVar[str | None] = "edge"

    length: Mm = dim(
        Mm(267), "From the bracket's outer face to the far end", source=_PRACTICE, mark="P", ge=135, le=420
    )
    height: Mm = dim(
        Mm(111.15), "From the card edge that enters the slot to the opposite edge",
        source="PCI Express Card Electromechanical Specification, full height", mark="V", ge=60, le=180,
    )  # fmt: skip
    thickness: Mm = dim(
        Mm(40), "From the backplate, or the bare back, to the cooler's face", source=_PRACTICE, mark="P", ge=12, le=110
    )
    slots: int = dim(2, "Slots the bracket covers", source=_PRACTICE, mark="P", ge=1, le=4)
    profile: Literal["full", "low"] = dim("full", "Height of the bracket", source=_CEM, mark="C")
    board: Mm = dim(Mm(1.57), "Thickness of the circuit board", source=_CEM, mark="C", ge=1.4, le=1.75)
    backplate: Mm = dim(Mm(1.5), "Thickness of the backplate; 0 for none", source=_PRACTICE, mark="P", ge=0, le=8)
    outputs: int = dim(3, "Display connectors in the bracket", source=_PRACTICE, mark="P", ge=0, le=4)
    cooler: Literal["block", "open-fan"] = dim("block", "Kind of cooler", source=_PRACTICE, mark="P")
    fans: int = dim(3, "Fans of an open cooler", source=_PRACTICE, mark="P", ge=1, le=3)

    terminal_at: Mm = dim(
        Mm(150), "From the bracket's outer face to the middle of the terminal, the piece of the block with the ports",
        source=_PRACTICE, mark="P", ge=40, le=400,
    )  # fmt: skip
    terminal_length: Mm = dim(Mm(64), "Length of the terminal", source=_PRACTICE, mark="P", ge=30, le=160)
    terminal_height: Mm = dim(
        Mm(27), "Top of the terminal above the card's top edge", source=_PRACTICE, mark="P", ge=18, le=60
    )
    terminal_thickness: Mm = dim(
        Mm(20), "Thickness of the terminal, from the cooler's face back", source=_PRACTICE, mark="P", ge=12, le=60
    )
    port_side: Literal["face", "back", "both", "top"] = dim(
        "face", "Where the terminal's ports face: the cooler's side, the back, both, or away from the slot",
        source=_PRACTICE, mark="P",
    )  # fmt: skip
    port_pitch: Mm = dim(Mm(26), "Distance between the ports", source=_PRACTICE, mark="P", ge=14, le=100)
    port_depth: Mm = dim(Mm(8), "Depth of the ports", source=_PRACTICE, mark="P", ge=4, le=20)
    port_land: Mm = dim(Mm(20), "Diameter of the seal face", source=_PRACTICE, mark="P", ge=15, le=40)
    port_thread: ThreadName = dim("G1/4", "Thread of the ports", source=_PRACTICE, mark="P")
    coolant: Ml = dim(Ml(60), "Coolant the block holds", source=_PRACTICE, mark="P", ge=5, le=500)

    power: Literal["none", "8-pin", "12v-2x6"] = dim("8-pin", "Kind of power socket", source=_PRACTICE, mark="P")
    power_count: int = dim(2, "Power sockets side by side", source=_PRACTICE, mark="P", ge=1, le=3)
    power_side: Literal["top", "end"] = dim("top", "Edge the power sockets open to", source=_PRACTICE, mark="P")
    power_at: Mm = dim(
        Mm(225), "From the bracket's outer face to the middle of power sockets in the top edge", source=_PRACTICE,
        mark="P", ge=30, le=400,
    )  # fmt: skip
    power_room: Mm | None = dim(
        None, "Free length a power plug and its cable need; left out: 50 for 8-pin, 35 for 12v-2x6",
        source=_PRACTICE, mark="P", ge=0, le=150,
    )  # fmt: skip

    # Levels, mm in part coordinates

    @property
    def lanes(self) -> Literal["x16"]:
        """The connector its edge is as long as."""
        return "x16"

    @property
    def far(self) -> float:
        return self.length - std.KEY_TO_BRACKET

    @property
    def top(self) -> float:
        return std.CARD_BOTTOM + self.height

    @property
    def half(self) -> float:
        return self.board / 2

    @property
    def back(self) -> float:
        """y of the backplate's outer face, or of the bare back."""
        return self.half + (BACK_GAP + self.backplate if self.backplate else 0.0)

    @property
    def face(self) -> float:
        """y of the cooler's face."""
        return self.back - self.thickness

    @property
    def chip_top(self) -> float:
        """y of the chip's top, where the cooler lies on it."""
        return -self.half - CHIP_HEIGHT

    @property
    def bracket_y(self) -> tuple[float, float]:
        """The bracket plate's edges."""
        high = std.BRACKET_CPU_SIDE
        return high - std.BRACKET_WIDTH - std.SLOT_PITCH * (self.slots - 1), high

    @property
    def tab_y(self) -> tuple[float, float]:
        """The ends of the bracket's bent tab."""
        high = std.TAB_CPU_SIDE
        return high - std.TAB_WIDTH - std.SLOT_PITCH * (self.slots - 1), high

    @property
    def seat_z(self) -> float:
        """Underside of the bracket's tab."""
        return BRACKET_HEIGHTS[self.profile].shelf

    def terminal_box(self) -> Box:
        """The terminal of a water block."""
        x, half = self.terminal_at - std.KEY_TO_BRACKET, self.terminal_length / 2
        return Box((x - half, self.face, self.top + TERMINAL_LIFT),
                   (x + half, self.face + self.terminal_thickness, self.top + self.terminal_height))  # fmt: skip

    def socket_boxes(self) -> tuple[Box, ...]:
        """The power sockets, the mouth of each flush with its edge."""
        if self.power == "none":
            return ()
        s, y1 = SOCKETS[self.power], -self.half
        row = self.power_count * s.width
        if self.power_side == "top":
            x = self.power_at - std.KEY_TO_BRACKET - row / 2
            starts = [x + i * s.width for i in range(self.power_count)]
            return tuple(Box((a, y1 - s.height, self.top - SOCKET_DEPTH), (a + s.width, y1, self.top)) for a in starts)
        starts = [self.top - 4.0 - (i + 1) * s.width for i in range(self.power_count)]
        return tuple(Box((self.far - SOCKET_DEPTH, y1 - s.height, a), (self.far, y1, a + s.width)) for a in starts)

    def room_boxes(self) -> tuple[Box, ...]:
        """What must stay free in front of each power socket."""
        if self.power == "none":
            return ()
        room = SOCKETS[self.power].room if self.power_room is None else float(self.power_room)
        if room == 0:
            return ()
        if self.power_side == "top":
            return tuple(
                Box((b.lo[0], b.lo[1], b.hi[2]), (b.hi[0], b.hi[1], b.hi[2] + room)) for b in self.socket_boxes()
            )
        return tuple(Box((b.hi[0], b.lo[1], b.lo[2]), (b.hi[0] + room, b.hi[1], b.hi[2])) for b in self.socket_boxes())

    @model_validator(mode="after")
    def _consistent(self) -> Gpu:
        faults = []
        window = BRACKET_HEIGHTS[self.profile].window_height
        if self.outputs * OUTPUT_PITCH > window + OUTPUT_PITCH - OUTPUT_WIDTH:
            faults.append(f"{self.outputs} display connectors do not fit the {window:g} mm window of the bracket")
        if self.top < self.seat_z:
            faults.append(f"height {self.height} ends {self.seat_z - self.top:.1f} mm below the bracket's tab")
        least = LEAST_BLOCK if self.cooler == "block" else SHROUD_START + LEAST_HEATSINK
        if self.chip_top - self.face < least:
            faults.append(
                f"thickness is {least - self.chip_top + self.face:.1f} mm too small for a cooler {self.cooler}"
            )
        for b in self.socket_boxes():
            out = max(b.hi[0] - self.far, BOARD_REAR - b.lo[0], COOLER_BOTTOM - b.lo[2])
            if out > 0:
                faults.append(f"power sockets stand {out:.1f} mm out of the card")
                break
        if self.cooler == "block":
            faults += self._terminal_faults()
        if faults:
            raise ValueError("; ".join(faults))
        return self

    def _terminal_faults(self) -> list[str]:
        t, r, faults = self.terminal_box(), thread(self.port_thread).bore / 2, []
        out = max(t.hi[0] - self.far, COOLER_START - std.KEY_TO_BRACKET - t.lo[0])
        if out > 0:
            faults.append(f"the terminal stands {out:.1f} mm beyond the block")
        bores = 2 if self.port_side == "both" else 1
        depth = t.size[2] if self.port_side == "top" else t.size[1]
        if bores * self.port_depth + 1.0 > depth:
            faults.append(f"ports {self.port_depth} deep leave no wall in a terminal of {depth:g}")
        if self.port_pitch < self.port_land:
            faults.append(f"lands of {self.port_land} overlap at a port_pitch of {self.port_pitch}")
        if self.port_pitch / 2 + r + 1.0 > self.terminal_length / 2:
            faults.append(f"ports {self.port_pitch} apart leave no wall in a terminal {self.terminal_length} long")
        across = t.size[1] if self.port_side == "top" else t.size[2]
        if 2 * r + 2.0 > across:
            faults.append(f"a terminal of {across:g} is too small for {self.port_thread} ports")
        for b in self.room_boxes() if self.power_side == "top" else ():
            over = min(t.hi[0], b.hi[0]) - max(t.lo[0], b.lo[0])
            if over > 0 and min(t.hi[1], b.hi[1]) > max(t.lo[1], b.lo[1]):
                faults.append(f"the terminal stands {over:.1f} mm in the room of a power plug")
        return faults

    def box(self) -> Box:
        """Board, bracket with its bent tab, cooler and terminal; not the room of the plugs."""
        tongue = self.seat_z - BRACKET_LENGTH[self.profile]
        lo = [-std.KEY_TO_BRACKET - TAB_DEPTH, min(self.face, self.bracket_y[0]), min(tongue, std.CARD_BOTTOM)]
        hi = [self.far, max(self.back, self.tab_y[1]), max(self.top, self.seat_z + std.BRACKET_THICKNESS)]
        boxes = [*self.socket_boxes(), *([self.terminal_box()] if self.cooler == "block" else [])]
        low = (min(lo[i], *(b.lo[i] for b in boxes), lo[i]) for i in range(3))
        high = (max(hi[i], *(b.hi[i] for b in boxes), hi[i]) for i in range(3))
        (a, b, c), (d, e, f) = low, high
        return Box((a, b, c), (d, e, f))

    def bodies(self) -> tuple[Body, ...]:
        out = [Body("pcb", "pcb"), Body("bracket", "steel"), Body("chip", "pcb")]
        out += [Body(f"output-{i}", "steel") for i in range(1, self.outputs + 1)]
        if self.backplate:
            out.append(Body("backplate", "aluminium"))
        if self.cooler == "block":
            out += [Body("block", "nickel"), Body("cover", "acrylic"), Body("terminal", "acrylic")]
        else:
            out += [Body("heatsink", "fins"), Body("shroud", "plastic")]
            out += [Body(f"fan-{i}", "plastic") for i in range(1, self.fans + 1)]
        out += [Body(f"power-{i}", "plastic") for i in range(1, len(self.socket_boxes()) + 1)]
        why = "power plug and the bend of its cable"
        out += [Body(f"power-room-{i}", "air", why, ("cable",)) for i in range(1, len(self.room_boxes()) + 1)]
        return tuple(out)

    def frames(self) -> tuple[Frame, ...]:
        window = BRACKET_HEIGHTS[self.profile]
        mid_x = (self.far - std.KEY_TO_BRACKET + COOLER_START) / 2
        mid_z = (self.top + COOLER_BOTTOM) / 2
        size = (self.far + std.KEY_TO_BRACKET - COOLER_START, self.top - COOLER_BOTTOM)
        fronts = ("cover", "terminal") if self.cooler == "block" else ("shroud",)
        behind = ("backplate",) if self.backplate else ("pcb",)
        out = [
            Frame("edge", "slot", pose((0, 0, 0), (0, 0, -1), (1, 0, 0)), ("pcb",)),
            # As the case's own slot frames: in the middle of the connector window, x away from the motherboard.
            Frame("bracket", "face",
                  pose((-std.KEY_TO_BRACKET, std.BRACKET_MIDDLE, window.window_middle), (-1, 0, 0), (0, 0, 1)),
                  ("bracket", *(f"output-{i}" for i in range(1, self.outputs + 1))),
                  size=(window.window_height, std.BRACKET_WIDTH)),
            Frame("face", "face", pose((mid_x, self.face, mid_z), (0, -1, 0), (1, 0, 0)), fronts, size=size),
            Frame("back", "face", pose((mid_x, self.back, mid_z), (0, 1, 0), (1, 0, 0)), behind, size=size),
        ]  # fmt: skip
        for i, b in enumerate(self.socket_boxes(), 1):
            out.append(Frame(f"power-{i}", "socket", self._mouth(b), (f"power-{i}",)))
        return (*out, *self._ports())

    def _mouth(self, b: Box) -> Pose:
        x, y, z = ((p + q) / 2 for p, q in zip(b.lo, b.hi, strict=True))
        return pose((x, y, b.hi[2]), (0, 0, 1)) if self.power_side == "top" else pose((b.hi[0], y, z), (1, 0, 0))

    def _ports(self) -> list[Frame]:
        """Ports of a water block: `in` nearer the bracket; those of a second side are `in back`, `out back`."""
        if self.cooler != "block":
            return []
        t, out = self.terminal_box(), []
        x, y, z = ((p + q) / 2 for p, q in zip(t.lo, t.hi, strict=True))
        sides = {"face": ("",), "back": ("",), "both": ("", " back"), "top": ("",)}[self.port_side]
        for suffix in sides:
            for flow, s in (("in", -1), ("out", 1)):
                px = x + s * self.port_pitch / 2
                if self.port_side == "top":
                    at, z_axis = (px, y, t.hi[2]), (0, 0, 1)
                elif self.port_side == "back" or suffix:
                    at, z_axis = (px, t.hi[1], z), (0, 1, 0)
                else:
                    at, z_axis = (px, t.lo[1], z), (0, -1, 0)
                port = Port(name=flow + suffix, thread=self.port_thread, depth=self.port_depth, land=self.port_land,
                            flow=flow)  # fmt: skip
                out.append(port_frame(port, at, z_axis, (1, 0, 0), ("terminal",)))
        return out

    def patterns(self) -> tuple[HolePattern, ...]:
        """The screw slots of the bracket's tab, which lies on the case's shelf."""
        holes = tuple(
            Hole(-std.KEY_TO_BRACKET - TAB_HOLE_BEHIND, -(TAB_HOLE_Y - k * std.SLOT_PITCH), TAB_HOLE)
            for k in range(self.slots)
        )
        return (HolePattern("bracket", pose((0, 0, self.seat_z), (0, 0, -1), (1, 0, 0)), holes, "bracket"),)

    def coolant_ml(self) -> float | None:
        return float(self.coolant) if self.cooler == "block" else None

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.card import gpu_shapes

        return gpu_shapes.draw_card(self)
