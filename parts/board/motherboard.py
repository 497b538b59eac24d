"""A motherboard: board with mounting holes, sockets, slots, rear connectors and heatsinks, and the plugs' bend room.

Owns the fields of a board, where each component stands, and its frames. Form (outline) and hole pattern are separate
fields, because "E-ATX" names neither a width nor a pattern. Leaves the standards' datums to `board_standard` and
drawing to `motherboard_shapes`.

Coordinates, right-handed: origin at the rear hole row, the hole-A column and the board's underside; x toward the front
edge, y toward the CPU-side (top) edge, z out of the component side. Component positions are given as a person measures
them, from the board's rear edge (the one with the connectors) and from its top edge.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar, Literal

from pydantic import model_validator

from elbowroom.parts.case.case_openings import EXACT, Rect, Spec
from elbowroom.parts.vocabulary import board_standard as std
from elbowroom.parts.vocabulary.base import Body, Box, Fault, Frame, Hole, HolePattern, Part, dim
from elbowroom.parts.vocabulary.board_standard import PRACTICE
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import pose

if TYPE_CHECKING:
    from cadquery import Shape

Connector = Literal["none", "x1", "x4", "x8", "x16"]

PIN_PITCH, PIN_MARGIN = 4.2, 1.2  # mm: power connectors of 4.2 mm pitch and their end walls; from memory (M)
POWER_DEPTH, POWER_HEIGHT = 10.0, 13.0  # mm: footprint depth and height of those sockets; from memory (M)
EDGE_INSET = 1.0  # mm from the board's edge to a power socket; common practice (P)
CPU_POWER_STEP = 20.5  # mm between CPU power sockets; common practice (P)
DIMM_SLACK = 0.4  # mm: a DIMM socket's groove is longer than the module by this; from memory (M)
DIMM_GROOVE = 1.6  # mm: width of that groove; modules are 1.27 or 1.4 thick; from memory (M)
DIMM_TOWER = 4.3  # mm: length of each latch tower beside the groove; from memory (M)
HOLE_WEB = 0.5  # mm of board or free board left round a mounting hole; common practice (P)


class Block(Spec):
    """A component standing on the board: a rectangle and a height."""

    from_rear: Mm = dim(..., "Board's rear edge to its nearer side", source="stated", mark="P")
    from_top: Mm = dim(..., "Board's top edge to its nearer side", source="stated", mark="P")
    width: Mm = dim(..., "Size along y (parallel to the rear edge)", source="stated", mark="P", ge=3)
    depth: Mm = dim(..., "Size along x (rear to front)", source="stated", mark="P", ge=3)
    height: Mm = dim(..., "Height above the board", source="stated", mark="P", ge=1, le=120)


def _block(from_rear: float, from_top: float, width: float, depth: float, height: float) -> Block:
    return Block(from_rear=Mm(from_rear), from_top=Mm(from_top), width=Mm(width), depth=Mm(depth), height=Mm(height))


# What a form changes of the fields' defaults beside its outline; positions are common practice (P).
_LAYOUT: dict[str, dict[str, Any]] = {
    "microatx": {"slots": ("x16", "x1", "x1", "x16"), "chipset": _block(150, 183.4, 50, 50, 10)},
    "mini-itx": {
        "slots": ("x16",), "cpu_from_rear": 80, "cpu_from_top": 77, "dimm_count": 2, "dimm_from_rear": 135,
        "cpu_power_count": 1, "vrm_rear": None, "vrm_top": _block(50, 16, 13, 70, 30),
        "chipset": _block(70, 130, 24, 34, 10),
    },
}  # fmt: skip


class Motherboard(Part):
    """A motherboard. Fields a build leaves out take the form's usual values."""

    family: ClassVar[str] = "motherboard"
    heavy: ClassVar[bool] = True
    shorted_by_metal: ClassVar[bool] = True
    seat: ClassVar[str | None] = "back"

    form: std.Form = dim("atx", "Form factor: sets the usual outline, holes and layout", source=std.MICROATX, mark="V")
    holes: str | tuple[tuple[Mm, Mm], ...] | None = dim(
        None, "Hole pattern name, or a list of [x, y] from hole A, forward and toward the CPU; none: the form's own",
        source=std.TRANSCRIBED, mark="C",
    )  # fmt: skip
    width: Mm = dim(Mm(305), "Size along y, the length of the rear edge", source=std.MICROATX, mark="V", ge=60, le=450)
    depth: Mm = dim(Mm(244), "Size along x, rear to front", source=std.MICROATX, mark="V", ge=60, le=450)
    slot_edge: Mm = dim(
        Mm(-16.51), "y of the edge far from the CPU, from the hole-A column", source=std.TRANSCRIBED, mark="C",
        ge=-60, le=200,
    )  # fmt: skip
    thickness: Mm = dim(Mm(std.PCB), "Thickness of the board", source=std.MICROATX, mark="V", ge=0.8, le=4)
    hole: Mm = dim(Mm(std.HOLE_DIAMETER), "Mounting hole diameter", source=std.TRANSCRIBED, mark="C", ge=2, le=6)

    cpu_from_rear: Mm = dim(Mm(95), "Rear edge to the CPU's centre", source=PRACTICE, mark="P", ge=20)
    cpu_from_top: Mm = dim(Mm(80), "Top edge to the CPU's centre", source=PRACTICE, mark="P", ge=20)
    cpu_socket: Mm = dim(Mm(60), "Edge length of the square socket", source=PRACTICE, mark="P", ge=20, le=110)
    spreader: Mm = dim(Mm(38), "Edge length of the square heat spreader", source=PRACTICE, mark="P", ge=10, le=90)
    spreader_height: Mm = dim(Mm(7.5), "Heat spreader's top above the board", source=PRACTICE, mark="P", ge=3, le=15)
    cooler_zone: Mm | None = dim(
        None, "Height kept free for the CPU block over its mounting area; none: nothing kept", source=PRACTICE,
        mark="P", ge=5, le=200,
    )  # fmt: skip
    cooler_side: Mm = dim(
        Mm(95), "Edge of the square that is kept free for the CPU block", source=PRACTICE, mark="P", ge=40, le=140
    )

    dimm_count: int = dim(4, "Memory sockets", source=PRACTICE, mark="P", ge=0, le=16)
    dimm_from_rear: Mm = dim(Mm(150), "Rear edge to the first socket's middle", source=PRACTICE, mark="P", ge=5)
    dimm_from_top: Mm = dim(Mm(14.5), "Top edge to the sockets' upper ends", source=PRACTICE, mark="P", ge=0)
    dimm_pitch: Mm = dim(Mm(9.4), "Pitch of the memory sockets", source="from memory", mark="M", ge=7, le=25)
    dimm_length: Mm = dim(Mm(133.35), "Length of the modules they take", source="JEDEC MO-309", mark="M", ge=60, le=170)
    dimm_width: Mm = dim(Mm(6.5), "Width of a socket", source="from memory", mark="M", ge=3, le=12)
    dimm_height: Mm = dim(Mm(9), "Height of a socket's bar", source="from memory", mark="M", ge=5, le=20)
    dimm_latch: Mm = dim(Mm(19), "Height of a memory socket's latches", source="from memory", mark="M", ge=5, le=30)
    dimm_seat: Mm = dim(
        Mm(3.25), "Module's lower edge above the board: a bare 31.25 module tops out at 34.5", source=PRACTICE,
        mark="M", ge=1, le=8,
    )  # fmt: skip

    slots: tuple[Connector, ...] = dim(
        ("x16", "x1", "x16", "x1", "x16", "x1", "x16"), "Connector of each slot position from the CPU side down",
        source=PRACTICE, mark="P", max_length=12,
    )  # fmt: skip
    slot_groove: Mm = dim(
        Mm(1.8), "Width of a slot's groove: a 1.57 card edge and its play", source=PRACTICE, mark="P", ge=1.5, le=3
    )

    io_depth: Mm = dim(Mm(29), "Depth of the rear connectors", source=PRACTICE, mark="P", ge=10, le=60)
    io_height: Mm = dim(Mm(36), "Height of the rear connectors above the board", source=PRACTICE, mark="P", ge=5, le=38)
    vrm_rear: Block | None = dim(
        _block(29, 32, 98, 17, 30), "Voltage regulator heatsink behind the CPU", source=PRACTICE, mark="P"
    )
    vrm_top: Block | None = dim(
        _block(50, 14, 16, 85, 30), "Voltage regulator heatsink above the CPU", source=PRACTICE, mark="P"
    )
    chipset: Block | None = dim(_block(150, 213.5, 60, 55, 10), "Chipset heatsink", source=PRACTICE, mark="P")

    power_from_top: Mm = dim(Mm(30), "Top edge to the 24-pin socket's upper end", source=PRACTICE, mark="P", ge=0)
    power_plug: Mm = dim(Mm(24), "Top of the 24-pin plug above the board", source=PRACTICE, mark="P", ge=14, le=60)
    power_bend: Mm = dim(Mm(30), "Room the 24-pin cable needs to bend", source=PRACTICE, mark="P", ge=0, le=100)
    power_bundle: Mm = dim(
        Mm(12), "Thickness of the 24-pin cable before the front edge", source=PRACTICE, mark="P", ge=0, le=60
    )
    cpu_power_count: int = dim(2, "8-pin CPU power sockets along the top edge", source=PRACTICE, mark="P", ge=0, le=4)
    cpu_power_from_rear: Mm = dim(Mm(39), "Rear edge to the first CPU power socket", source=PRACTICE, mark="P", ge=0)
    cpu_power_plug: Mm = dim(Mm(20), "Top of the 8-pin plug above the board", source=PRACTICE, mark="P", ge=14, le=60)
    cpu_power_bend: Mm = dim(
        Mm(28), "Room the CPU power cables need beyond the top edge", source=PRACTICE, mark="P", ge=0, le=100
    )

    @model_validator(mode="before")
    @classmethod
    def _usual_for_form(cls, data: Any) -> Any:
        """Outline and layout a build leaves out, as the stated form has them."""
        form = data.get("form") if isinstance(data, dict) else None
        if not isinstance(form, str) or form not in std.FORMS:
            return data
        f = std.FORMS[form]
        usual = {"width": f.width, "depth": f.depth, "slot_edge": f.slot_edge, **_LAYOUT.get(form, {})}
        return {**usual, **data}

    @model_validator(mode="after")
    def _consistent(self) -> Motherboard:
        if self.form == "custom" and self.holes is None:
            raise ValueError("a board of form custom needs holes: a pattern name or a list of [x, y] in mm")
        self.hole_centres()  # a pattern's name that is none is refused here
        problems = []
        if self.dimm_seat + 1 > self.dimm_height or self.dimm_height > self.dimm_latch:
            problems.append("a memory socket needs dimm_seat + 1 <= dimm_height <= dimm_latch")
        if self.spreader > self.cpu_socket:
            problems.append(f"spreader {self.spreader} is wider than the socket ({self.cpu_socket})")
        if problems:
            raise ValueError("; ".join(problems))
        return self

    def faults(self) -> tuple[Fault, ...]:
        """Components must stand on the board, beside each other and clear of the mounting holes."""
        out: list[Fault] = []
        spots = self.footprints()
        lo, hi = (std.REAR_EDGE, float(self.slot_edge)), (self.front_edge, self.top_edge)
        r = self.hole / 2 + HOLE_WEB
        holes = {f"hole {n}": Rect(x - r, y - r, x + r, y + r) for n, x, y in self.hole_centres()}
        for name, s in {**spots, **holes}.items():
            rear = -s.u1 if name == "io-block" else lo[0] - s.u0  # the rear connectors stand out over the rear edge
            by = max(lo[1] - s.v0, s.v1 - hi[1], s.u1 - hi[0], rear)
            if by > EXACT:
                out.append(Fault(f"{name} leaves the board by {by:.2f} mm", over=by, at=self._over(s), place=name))
        names = list(spots)
        for i, a in enumerate(names):
            for b, other in [*((n, spots[n]) for n in names[i + 1 :]), *holes.items()]:
                by = spots[a].overlap(other)
                if by > EXACT:
                    text = f"{a} and {b} overlap by {by:.2f} mm"
                    out.append(Fault(text, over=by, at=self._over(other), place=f"{a}~{b}"))
        return tuple(out)

    def _over(self, r: Rect) -> tuple[float, float, float]:
        return *_middle(r), float(self.thickness)

    # -- where things stand --------------------------------------------------------------------------------------

    @property
    def top_edge(self) -> float:
        """y of the CPU-side edge, mm."""
        return self.slot_edge + self.width

    @property
    def front_edge(self) -> float:
        """x of the front edge, mm."""
        return std.REAR_EDGE + self.depth

    def hole_centres(self) -> tuple[tuple[str, float, float], ...]:
        """Name and centre of each mounting hole."""
        return std.pattern(std.FORMS[self.form].holes if self.holes is None else self.holes)

    def _rect(self, b: Block) -> Rect:
        x0, y1 = std.REAR_EDGE + b.from_rear, self.top_edge - b.from_top
        return Rect(x0, y1 - b.width, x0 + b.depth, y1)

    @property
    def dimm_socket(self) -> float:
        """Length of a memory socket with its latch towers, mm."""
        return self.dimm_length + DIMM_SLACK + 2 * DIMM_TOWER

    def footprints(self) -> dict[str, Rect]:
        """Where each component stands, by body name, in x and y."""
        top, front = self.top_edge, self.front_edge
        cx, cy, c = std.REAR_EDGE + self.cpu_from_rear, top - self.cpu_from_top, self.cpu_socket / 2
        io = std.IO_Y + (std.IO_WIDTH - std.IO_ZONE_WIDTH) / 2
        out = {
            "cpu-socket": Rect(cx - c, cy - c, cx + c, cy + c),
            "io-block": Rect(std.IO_FACE_X, io, std.IO_FACE_X + self.io_depth, io + std.IO_ZONE_WIDTH),
        }
        for i in range(self.dimm_count):
            x, y1 = std.REAR_EDGE + self.dimm_from_rear + i * self.dimm_pitch, top - self.dimm_from_top
            out[f"dimm-{i + 1}"] = Rect(x - self.dimm_width / 2, y1 - self.dimm_socket, x + self.dimm_width / 2, y1)
        for n, kind in self.connectors().items():
            x, w = std.SLOT_X - std.CONNECTOR_BEHIND_KEY, std.CONNECTOR_WIDTH / 2
            y = std.slot_y(n)
            out[f"slot-{n}"] = Rect(x, y - w, x + std.CONNECTOR_LENGTH[kind], y + w)
        for name, b in (("vrm-rear", self.vrm_rear), ("vrm-top", self.vrm_top), ("chipset", self.chipset)):
            if b is not None:
                out[name] = self._rect(b)
        x1, y1 = front - EDGE_INSET, top - self.power_from_top
        out["power-socket"] = Rect(x1 - POWER_DEPTH, y1 - power_length(12), x1, y1)
        for i in range(self.cpu_power_count):
            x = std.REAR_EDGE + self.cpu_power_from_rear + i * CPU_POWER_STEP
            y1 = top - EDGE_INSET
            out[f"cpu-power-{i + 1}"] = Rect(x, y1 - POWER_DEPTH, x + power_length(4), y1)
        return out

    def connectors(self) -> dict[int, Connector]:
        """Kind of connector of each slot position that has one."""
        return {n: kind for n, kind in enumerate(self.slots, 1) if kind != "none"}

    def heights(self) -> dict[str, float]:
        """Height of each component above the board, mm."""
        fixed = {"cpu-socket": float(self.spreader_height), "io-block": float(self.io_height)}
        for name, b in (("vrm-rear", self.vrm_rear), ("vrm-top", self.vrm_top), ("chipset", self.chipset)):
            if b is not None:
                fixed[name] = float(b.height)
        of_kind = {"dimm": float(self.dimm_latch), "slot": std.CONNECTOR_HEIGHT, "power": POWER_HEIGHT,
                   "cpu": POWER_HEIGHT}  # fmt: skip
        return {n: fixed[n] if n in fixed else of_kind[n.split("-")[0]] for n in self.footprints()}

    def box(self) -> Box:
        rear = min(std.REAR_EDGE, std.IO_FACE_X)
        top = self.thickness + max(self.heights().values())
        spots = self.footprints().values()
        return Box(
            (min(rear, *(s.u0 for s in spots)), min(float(self.slot_edge), *(s.v0 for s in spots)), 0.0),
            (max(self.front_edge, *(s.u1 for s in spots)), max(self.top_edge, *(s.v1 for s in spots)), top),
        )

    def bodies(self) -> tuple[Body, ...]:
        out = [Body("pcb", "pcb")]
        for name in self.footprints():
            metal = name in ("vrm-rear", "vrm-top", "chipset")
            out.append(Body(name, "aluminium" if metal else "nickel" if name == "io-block" else "plastic"))
        bend = "plug and bend of the {} cable"
        out.append(Body("power-plug", "air", bend.format("24-pin power"), ("cable",)))
        n = self.cpu_power_count
        out += [Body(f"cpu-power-plug-{i + 1}", "air", bend.format("CPU power"), ("cable",)) for i in range(n)]
        if self.cooler_zone is not None:
            out.append(Body("cpu-zone", "air", "CPU block and its mounting", ("cpu-block", "memory", "cable")))
        return tuple(out)

    def frames(self) -> tuple[Frame, ...]:
        spots, t = self.footprints(), float(self.thickness)
        cx, cy = _middle(spots["cpu-socket"])
        s = float(self.spreader)
        out = [
            Frame("back", "face", pose((0, 0, 0), (0, 0, -1), (1, 0, 0)), ("pcb",)),
            # x toward the top edge: a block's ports lie above each other, and a module along its socket.
            Frame(
                "cpu", "face", pose((cx, cy, t + self.spreader_height), (0, 0, 1), (0, 1, 0)), ("cpu-socket",), (s, s)
            ),
        ]
        io = spots["io-block"]
        at = pose((io.u0, (io.v0 + io.v1) / 2, t + self.io_height / 2), (-1, 0, 0), (0, 1, 0))
        out.append(Frame("io", "face", at, ("io-block",), (io.v1 - io.v0, float(self.io_height))))
        for i in range(1, self.dimm_count + 1):
            x, y = _middle(spots[f"dimm-{i}"])
            at = pose((x, y, t + self.dimm_seat), (0, 0, 1), (0, 1, 0))
            size = (self.dimm_length + DIMM_SLACK, DIMM_GROOVE)
            out.append(Frame(f"dimm-{i}", "socket", at, (f"dimm-{i}",), size))
        for n in self.connectors():
            at = pose((std.SLOT_X, std.slot_y(n), t), (0, 0, 1), (1, 0, 0))
            out.append(Frame(f"slot-{n}", "slot", at, (f"slot-{n}",)))
        return tuple(out)

    def patterns(self) -> tuple[HolePattern, ...]:
        """The mounting holes, seen from the back."""
        holes = tuple(Hole(x, -y, float(self.hole)) for _, x, y in self.hole_centres())
        return (HolePattern("back", self.frame("back").pose, holes, "pcb"),)

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.board import motherboard_shapes

        return motherboard_shapes.draw_board(self)


def power_length(pins: int) -> float:
    """Length of a power socket with that many pins in a row, mm."""
    return pins * PIN_PITCH + PIN_MARGIN


def _middle(r: Rect) -> tuple[float, float]:
    return (r.u0 + r.u1) / 2, (r.v0 + r.v1) / 2
