"""Upright mounts: a bracket that holds a graphics card on its edge, fans or block to the glass, on the end of a ribbon.

Coordinates are those of the slot the card goes into, so they are the card's own: origin at the ribbon connector's key
datum, level with the ribbon board's top surface; x along the card to its far end, z out of the slot, y toward the
card's back. Standing in a tower z is up and y toward the tray, the cooler toward the glass. A `stand` rests on the
floor or the shroud below the card, and the card's bracket is screwed to the case's own upright slots; a `rear` mount
replaces the rear slot field (`on: case.slots`) or stands beside it (`on: case.beside-slots`) and carries the card's
bracket itself: the wall is cut open behind it, for the displays' plugs and for the shelf the card's tab is screwed to.
The ribbon's way to the motherboard, beyond its first bend, is left to the build; a card lying in the motherboard's
slot needs no mount.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Literal

from pydantic import model_validator

from elbowroom.parts.card.gpu import TAB_HOLE_BEHIND, TAB_HOLE_Y
from elbowroom.parts.vocabulary import board_standard as std
from elbowroom.parts.vocabulary.base import Body, Box, Fault, Frame, Hole, HolePattern, Part, WallWindow, dim
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import pose
from elbowroom.parts.vocabulary.threads import thread

if TYPE_CHECKING:
    from cadquery import Shape, Solid

_PRACTICE = "common practice, no source"
RISER_THICKNESS = 1.6  # mm, circuit board (P)
RISER_X, RISER_HALF = (-20.0, 85.0), 12.0  # mm: ends of the ribbon board, and half its width: connector and header (P)
GROOVE_X = ((-12.6, -0.75), (0.75, 72.6))  # mm: ends (C) and the rib that keys the card (M)
GROOVE_FLOOR, GROOVE_WIDTH = 3.0, 1.77  # mm: the card's edge stands 3.4 up; 1.57 and 0.1 of play each side (P)
RIBBON_THICKNESS = 2.0  # mm: sleeved ribbon (P)
FOOT_SCREW = 4.5  # mm, through for an M4 (P)
EDGE = 5.0  # mm from a rear mount's sides and lower edge to its own screws (P)
TOP_EDGE = 20.7  # mm from its upper edge to the upper ones, which so go between two slots of the field it stands in (P)
STIFFENER, STIFFENER_Y = 18.0, 6.0  # mm: depth and place of the rib under a rear mount's arm (P)
TAB_ROOM = 8.0  # mm over a rear mount's shelf for the card's tab and the heads of its screws (P)
WINDOW_CORNER = 2.0  # mm: corner radius of the window in the wall, within the play round what goes through (P)
LEG_FOOT = 15.0  # mm: length of the foot of a rear mount's leg (P)
TONGUE_PLAY = 1.0  # mm around the card bracket's tongues where they pass the arm (P)


PICTURE = """\
a rear mount seen from the open side            from inside the case, the card taken out

      tab (shelf)                                margin                   margin
    <----->                                     <------>                 <------>
    =======#                                    +------+-----------------+------+
           #                                    |      |  []   []   []   |      |
    ^      #  card: bracket on the plate,       |   o  |  []   []   []   |  o   |
 window_   #  cooler toward you                 |      |  []   []   []   |      |
  height   #                                    |      |  []   []   []   |      |
    v      #                                    |      +-----------------+      |
           #=====================  ribbon       |      <- window_width ->       |
    below  #                    |               |           (slots: 3)          |
           #               leg  |               |   o                       o   |
          wall                 _|               +-------------------------------+

tab: the shelf that the card's bracket is screwed to by its bent end, the screw tab; it goes out through the wall.
shift: the plate's middle from its slots' middle. o: its own screws. play: round what goes through the window.
a stand: its foot is the sheet it stands on and is screwed down by, foot_length along the card, foot_depth across it;
rise: from under the foot up to the ribbon board. The plate's back that lies on the wall is a rear mount's foot, too.
on: case.slots (in place of the slot field) or case.beside-slots; on: case.rear-wall it needs clock: 90 and an at"""


class GpuMount(Part):
    """An upright (vertical) mount with its riser cable, the ribbon."""

    family: ClassVar[str] = "gpu-mount"
    seat: ClassVar[str | None] = "foot"
    picture: ClassVar[str | None] = PICTURE

    style: Literal["stand", "rear"] = dim(
        "stand", "Standing on the floor or shroud, or screwed on instead of the rear slot field", source=_PRACTICE,
        mark="P",
    )  # fmt: skip
    rise: Mm = dim(
        Mm(40),
        "From under a stand's foot to the top of the ribbon board, which is the riser cable's slot",
        source=_PRACTICE,
        mark="P",
        ge=20,
        le=300,
    )
    sheet: Mm = dim(Mm(1.5), "Thickness of the steel", source=_PRACTICE, mark="P", ge=0.8, le=4)
    foot_length: Mm = dim(
        Mm(120),
        "Length of a stand's foot, the sheet it stands on, along the card",
        source=_PRACTICE,
        mark="P",
        ge=106,
        le=400,
    )
    foot_depth: Mm = dim(
        Mm(60),
        "Depth of a stand's foot, the sheet it stands on, across the card",
        source=_PRACTICE,
        mark="P",
        ge=40,
        le=200,
    )
    slots: int = dim(3, "Slots a rear mount has", source=_PRACTICE, mark="P", ge=1, le=4)
    margin: Mm = dim(
        Mm(13), "Plate of a rear mount beside its slots, where its own screws go", source=_PRACTICE, mark="P",
        ge=11, le=120,
    )  # fmt: skip
    shift: Mm = dim(
        Mm(0), "Middle of a rear mount's plate from the middle of its slots, toward the card's back", source=_PRACTICE,
        mark="P", ge=-100, le=100,
    )  # fmt: skip
    below: Mm = dim(
        Mm(24), "Plate of a rear mount below the ribbon board's top surface", source=_PRACTICE, mark="P", ge=4, le=120
    )
    tab: Mm = dim(
        Mm(12),
        "Depth of a rear mount's shelf, outward from its plate: at least that of the card bracket's bent end "
        "(the screw tab, 11.43), which is screwed down on it",
        source=_PRACTICE, mark="P", ge=11.5, le=30,
    )  # fmt: skip
    leg: Mm = dim(
        Mm(0), "Leg under the far end of a rear mount's arm, from the ribbon board's top surface down; 0: none",
        source=_PRACTICE, mark="P", ge=0, le=300,
    )  # fmt: skip
    play: Mm = dim(
        Mm(2), "Play round what goes through the wall behind a rear mount", source=_PRACTICE, mark="P", ge=1, le=10
    )
    window_width: Mm | None = dim(
        None, "Window in the wall behind a rear mount, across its slots; none: the screw tabs and play",
        source=_PRACTICE, mark="P", ge=10, le=300,
    )  # fmt: skip
    window_height: Mm | None = dim(
        None, "The window's height, down from its upper edge; none: to the lower end of the connectors and play",
        source=_PRACTICE, mark="P", ge=10, le=300,
    )  # fmt: skip
    ribbon_width: Mm = dim(Mm(90), "Width of the ribbon", source=_PRACTICE, mark="P", ge=40, le=110)
    ribbon_straight: Mm = dim(Mm(15), "Straight run out of the ribbon board", source=_PRACTICE, mark="P", ge=0, le=60)
    ribbon_radius: Mm = dim(Mm(10), "Inner radius of the ribbon's first bend", source=_PRACTICE, mark="P", ge=3, le=60)
    ribbon_bend: Literal["up", "down"] = dim(
        "down", "Way the ribbon bends after leaving toward the card's back", source=_PRACTICE, mark="P"
    )

    @model_validator(mode="after")
    def _consistent(self) -> GpuMount:
        least = RISER_THICKNESS + 3 * self.sheet + 8.0
        if self.style == "stand" and self.rise < least:
            raise ValueError(f"rise {self.rise} is {least - self.rise:.1f} mm too low for the stand's own sheet")
        if 0 < self.leg < least:
            raise ValueError(f"leg {self.leg} is {least - self.leg:.1f} mm too short for its own sheet; 0: none")
        if abs(self.shift) > self.margin:
            over = abs(self.shift) - self.margin
            raise ValueError(
                f"shift {self.shift} moves the slots {over:.1f} mm off a plate with a margin of {self.margin}"
            )
        return self

    def faults(self) -> tuple[Fault, ...]:
        """A ribbon that bends into the foot; a window too small, or one that bares the mount's own screws."""
        if self.style == "stand":
            room = self.rise - self.sheet - RISER_THICKNESS / 2 - RIBBON_THICKNESS / 2 - self._bend
            if self.ribbon_bend == "up" or room >= 0:
                return ()
            text = f"the ribbon's bend needs {-room:.1f} mm more rise"
            return (Fault(text, over=-room, place="ribbon", remedies=("raise it", "bend the ribbon up")),)
        window, needed = self.window, self._window(None, None)
        narrow = max(window.lo[1] - needed.lo[1], needed.hi[1] - window.hi[1], window.lo[2] - needed.lo[2]) - self.play
        out = []
        if narrow > 0:
            text = f"the window in the wall is {narrow:.2f} mm too small for what goes through it"
            out.append(Fault(text, over=narrow, place="window"))
        (y0, y1), reach = self._plate_y, EDGE + FOOT_SCREW / 2 + 1.0
        bare = max(y0 + reach - window.lo[1], window.hi[1] - (y1 - reach))
        if bare > 0:
            text = f"the window in the wall leaves {bare:.2f} mm too little sheet for the mount's own screws"
            out.append(Fault(text, over=bare, place="screws", remedies=(f"margin {self.margin + bare:.1f}",)))
        return tuple(out)

    def unused_fields(self) -> frozenset[str]:
        stand = ("rise", "foot_length", "foot_depth")
        rear = ("slots", "margin", "shift", "below", "tab", "leg", "play", "window_width", "window_height")
        return frozenset(rear if self.style == "stand" else stand)

    @property
    def _bend(self) -> float:
        """Outer radius of the ribbon's bend, mm."""
        return self.ribbon_radius + RIBBON_THICKNESS

    @property
    def _middle(self) -> float:
        return sum(RISER_X) / 2

    @property
    def _plate_y(self) -> tuple[float, float]:
        low, high = self._tabs_y
        return low - self.margin + self.shift, high + self.margin + self.shift

    @property
    def _tabs_y(self) -> tuple[float, float]:
        """The ends of the tabs of all its slots."""
        high = std.TAB_CPU_SIDE
        return high - std.TAB_WIDTH - std.SLOT_PITCH * (self.slots - 1), high

    @property
    def window(self) -> Box:
        """What a rear mount wants open in the wall behind it: y and z count."""
        return self._window(self.window_width, self.window_height)

    def _window(self, width: float | None, height: float | None) -> Box:
        (low, high), f = self._tabs_y, std.FULL_HEIGHT
        top = f.shelf + TAB_ROOM
        half = (high - low) / 2 + self.play if width is None else width / 2
        bottom = f.window_top - f.window_height - self.play if height is None else top - height
        x0, x1 = self._plate_x
        return Box((x0, (low + high) / 2 - half, bottom), (x1, (low + high) / 2 + half, top))

    def wall_windows(self) -> dict[str, WallWindow]:
        """The window, in the coordinates of the foot: x is up there, y the card's own."""
        if self.style == "stand":
            return {}
        (low, high), f, (y, z), w = self._tabs_y, std.FULL_HEIGHT, self._plate_middle, self.window
        box = Box((w.lo[2] - z, w.lo[1] - y, 0.0), (w.hi[2] - z, w.hi[1] - y, 0.0))
        bottom, top = f.window_top - f.window_height, f.shelf + std.BRACKET_THICKNESS
        return {"foot": WallWindow(box, Box((bottom - z, low - y, 0.0), (top - z, high - y, 0.0)))}

    @property
    def _plate_middle(self) -> tuple[float, float]:
        (y0, y1) = self._plate_y
        return (y0 + y1) / 2, (std.FULL_HEIGHT.shelf - self.below) / 2

    @property
    def _plate_x(self) -> tuple[float, float]:
        return -std.KEY_TO_BRACKET - self.sheet, -std.KEY_TO_BRACKET

    def ribbon_box(self) -> Box:
        """Room of the ribbon's straight run and first bend, from the ribbon board's edge."""
        x, half, y = self._middle, self.ribbon_width / 2, RISER_HALF
        z, t = -RISER_THICKNESS / 2, RIBBON_THICKNESS / 2
        z0, z1 = (z - t, z - t + self._bend) if self.ribbon_bend == "up" else (z + t - self._bend, z + t)
        return Box((x - half, y, z0), (x + half, y + self.ribbon_straight + self._bend, z1))

    def box(self) -> Box:
        if self.style == "stand":
            half, y = self.foot_length / 2, max(self.foot_depth / 2, RISER_HALF)
            x0, x1 = min(self._middle - half, RISER_X[0]), max(self._middle + half, RISER_X[1])
            return Box((x0, -y, -float(self.rise)), (x1, y, std.CONNECTOR_HEIGHT))
        (y0, y1), (t0, t1), x = self._plate_y, self._tabs_y, self._plate_x[1] - self.tab
        low = -max(float(self.below), float(self.leg), RISER_THICKNESS + self.sheet + STIFFENER)
        high = (RISER_X[1], max(y1, t1, RISER_HALF), std.FULL_HEIGHT.shelf)
        return Box((x, min(y0, t0, -RISER_HALF), low), high)

    def bodies(self) -> tuple[Body, ...]:
        return (
            Body("bracket", "steel"),
            Body("ribbon-board", "pcb"),
            Body("ribbon-connector", "plastic"),
            Body("ribbon-room", "air", "bend of the card's ribbon", ("cable",)),
        )

    def frames(self) -> tuple[Frame, ...]:
        slot = Frame("slot", "slot", pose((0, 0, 0), (0, 0, 1), (1, 0, 0)), ("ribbon-connector",))
        ribbon = Frame(
            "ribbon", "exit", pose((self._middle, RISER_HALF, -RISER_THICKNESS / 2), (0, 1, 0), (1, 0, 0)),
            ("ribbon-board",), size=(float(self.ribbon_width), RIBBON_THICKNESS),
        )  # fmt: skip
        if self.style == "stand":
            size = (float(self.foot_length), float(self.foot_depth))
            foot = pose((self._middle, 0, -self.rise), (0, 0, -1), (1, 0, 0))
            return (Frame("foot", "face", foot, ("bracket",), size=size), slot, ribbon)
        (y0, y1), middle = self._plate_y, self._plate_middle
        size = (std.FULL_HEIGHT.shelf + self.below, y1 - y0)
        window = std.FULL_HEIGHT
        leg = (self._leg_foot(),) if self.leg else ()
        return (
            Frame("foot", "face", pose((self._plate_x[0], *middle), (-1, 0, 0), (0, 0, 1)), ("bracket",), size=size),
            slot,
            # Where a card's own `bracket` frame goes: in the middle of the first connector window.
            Frame("bracket", "face",
                  pose((self._plate_x[1], std.BRACKET_MIDDLE, window.window_middle), (1, 0, 0), (0, 0, 1)),
                  ("bracket",), size=(window.window_height, std.BRACKET_WIDTH)),
            ribbon,
            *leg,
        )  # fmt: skip

    def _leg_foot(self) -> Frame:
        at = pose((RISER_X[1] - LEG_FOOT / 2, 0, -self.leg), (0, 0, -1), (1, 0, 0))
        return Frame("leg-foot", "face", at, ("bracket",), size=(LEG_FOOT, 2 * RISER_HALF))

    def patterns(self) -> tuple[HolePattern, ...]:
        at = self.frame("foot").pose
        if self.style == "stand":
            x, y = self.foot_length / 2 - 10, self.foot_depth / 2 - 7
            return (HolePattern("foot", at, self._corners(x, y), "bracket"),)
        (y0, y1), top = self._plate_y, std.FULL_HEIGHT.shelf
        half, y = (top + self.below) / 2, (y1 - y0) / 2 - EDGE
        corners = tuple(Hole(x, s * y, FOOT_SCREW) for x in (EDGE - half, half - TOP_EDGE) for s in (-1, 1))
        tabs = tuple(
            Hole(self._plate_x[1] - TAB_HOLE_BEHIND, TAB_HOLE_Y - k * std.SLOT_PITCH, thread("6-32").bore,
                 thread="6-32", threaded=float(self.sheet))
            for k in range(self.slots)
        )  # fmt: skip
        shelf = pose((0, 0, top), (0, 0, 1), (1, 0, 0))
        return (HolePattern("foot", at, corners, "bracket"), HolePattern("tab", shelf, tabs, "bracket"))

    @staticmethod
    def _corners(x: float, y: float) -> tuple[Hole, ...]:
        return tuple(Hole(a * x, b * y, FOOT_SCREW) for a in (-1, 1) for b in (-1, 1))

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.vocabulary import draw

        (x0, x1), h = RISER_X, std.CONNECTOR_WIDTH / 2
        c0 = -std.CONNECTOR_BEHIND_KEY
        body = draw.box((c0, -h, 0), (c0 + std.CONNECTOR_LENGTH["x16"], h, std.CONNECTOR_HEIGHT))
        g = GROOVE_WIDTH / 2
        grooves = [draw.box((a, -g, GROOVE_FLOOR), (b, g, std.CONNECTOR_HEIGHT + 1)) for a, b in GROOVE_X]
        room = self.ribbon_box()
        return {
            "bracket": self._stand() if self.style == "stand" else self._rear(),
            "ribbon-board": draw.box((x0, -RISER_HALF, -RISER_THICKNESS), (x1, RISER_HALF, 0)),
            "ribbon-connector": draw.cut(body, *grooves),
            "ribbon-room": draw.box(room.lo, room.hi),
        }

    def _bores(self) -> list[Solid]:
        """Screw holes as tools, each a sheet deep and standing out of it."""
        from elbowroom.parts.vocabulary import draw

        t = self.sheet + 1.0
        return [
            draw.one(draw.baked(draw.cylinder(h.diameter, t + 1.0, (h.x, h.y, -t)), p.pose))
            for p in self.patterns()
            for h in p.holes
        ]

    def _stand(self) -> Solid:
        """One folded profile in (y, z) - shelf, web, foot - drawn along x, with its screw holes."""
        from elbowroom.parts.vocabulary import draw

        t, a, d, low, top = float(self.sheet), RISER_HALF, self.foot_depth / 2, -float(self.rise), -RISER_THICKNESS
        profile = [(a, top), (-a, top), (-a, low + t), (-d, low + t), (-d, low), (d, low), (d, low + t),
                   (t - a, low + t), (t - a, top - t), (a, top - t)]  # fmt: skip
        slab = draw.slab(draw.polygon(profile), (), self.foot_length)
        x = self._middle - self.foot_length / 2
        return draw.cut(draw.baked(slab, pose((x, 0, 0), (1, 0, 0), (0, 1, 0))), *self._bores())

    def _rear(self) -> Solid:
        """Plate with connector windows, shelf for the card's tab, and the arm with its rib under the ribbon board."""
        from elbowroom.parts.vocabulary import draw

        t, (x0, x1), (y0, y1), top = float(self.sheet), self._plate_x, self._plate_y, std.FULL_HEIGHT.shelf
        w, window = std.WINDOW_WIDTH / 2, std.FULL_HEIGHT
        middles = [std.BRACKET_MIDDLE - k * std.SLOT_PITCH for k in range(self.slots)]
        windows = [
            draw.rectangle(m - w, window.window_top - window.window_height, m + w, window.window_top, 1.0)
            for m in middles
        ]
        plate = draw.slab(draw.rectangle(y0, -self.below, y1, top), windows, t)
        plate = draw.one(draw.baked(plate, pose((x0, 0, 0), (1, 0, 0), (0, 1, 0))))
        # As wide as the tabs, so that the cut it comes through leaves sheet under the plate's own screws.
        lip = draw.box((x1 - self.tab, self._tabs_y[0], top - t), (x1, self._tabs_y[1], top))
        under = -RISER_THICKNESS
        arm = draw.box((x0, -RISER_HALF, under - t), (RISER_X[1], RISER_HALF, under))
        # The card's bracket hangs down through the arm's root; the rib beside it carries the arm.
        high = std.BRACKET_CPU_SIDE + TONGUE_PLAY
        notch = draw.box(
            (x1, -RISER_HALF - 1, under - t - 1), (x1 + std.BRACKET_THICKNESS + TONGUE_PLAY, high, under + 1)
        )
        rib = draw.box((x0, STIFFENER_Y - t, under - t - STIFFENER), (RISER_X[1], STIFFENER_Y, under))
        leg = []
        if self.leg:
            far, half, low = RISER_X[1], RISER_HALF, -float(self.leg)
            leg = [draw.box((far - t, -half, low), (far, half, under)),
                   draw.box((far - LEG_FOOT, -half, low), (far, half, low + t))]  # fmt: skip
        return draw.cut(draw.fuse(plate, lip, draw.cut(arm, notch), rib, *leg), *self._bores())
