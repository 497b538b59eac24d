"""Fittings: everything that is screwed into a threaded port, from a plug to a ball valve, as one family by `kind`.

Owns a fitting's fields, the frames where the next thing starts, and what it can be joined with. Leaves the kinds' own
values to `fitting_kinds`, the rules between fields to `fitting_rules`, extents and envelopes to `fitting_shape`, and
the drawing to `fitting_bodies`.

Origin on the seal face (the plane of the port's land) on the thread axis; the thread goes into the port toward -z, the
fitting stands toward +z. A pass-through has its origin where its flange meets the panel; its shank goes toward -z. A
frame of kind "port" with a `depth` is a female thread; one without is the male end of this fitting. The frame `tube` is
a mouth: the tube's end stands `insertion` mm inside it, on the fitting's stop.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar

from pydantic import model_validator

from elbowroom.parts.fitting import fitting_rules as rules
from elbowroom.parts.fitting import fitting_shape as shape
from elbowroom.parts.fitting.fitting_kinds import RING_KINDS, SWIVELS, TUBE_KINDS, Kind, completed, uses
from elbowroom.parts.fitting.fitting_shape import Segment
from elbowroom.parts.vocabulary.base import Body, Box, Frame, Part, dim
from elbowroom.parts.vocabulary.bends import volume_ml
from elbowroom.parts.vocabulary.measure import Deg, Mm
from elbowroom.parts.vocabulary.pose import pose
from elbowroom.parts.vocabulary.threads import Thread, ThreadName
from elbowroom.parts.vocabulary.threads import thread as thread_named

if TYPE_CHECKING:
    from cadquery import Shape

_PRACTICE = "common practice, no source"


def _mm(default: float, doc: str, ge: float, le: float) -> Any:
    return dim(Mm(default), doc, source=_PRACTICE, mark="P", ge=ge, le=le)


class Fitting(Part):
    """A fitting. Which fields it has depends on `kind`; a field that the kind lacks is refused."""

    family: ClassVar[str] = "fitting"
    goes_into_ports: ClassVar[bool] = True
    seat: ClassVar[str | None] = "base"

    kind: Kind = dim("compression", "Kind of fitting", source=_PRACTICE, mark="P")
    thread: ThreadName = dim("G1/4", "Thread", source="the usual thread of the trade, no source", mark="P")
    thread_length: Mm = _mm(5, "Length of the male thread below the seal face", 3, 15)
    bore: Mm = _mm(8, "Diameter of the coolant's way through", 3, 14)
    land: Mm = _mm(17, "Least flat diameter that the seal needs around the port", 10, 40)
    seal_id: Mm = _mm(13.4, "Inner diameter of the seal ring's groove", 8, 40)
    seal_od: Mm = _mm(16.4, "Outer diameter of the seal ring's groove", 9, 45)
    seal_depth: Mm = _mm(1.2, "Depth of the groove, filled by the seal ring when tight", 0.5, 4)
    finger_room: Mm = _mm(12, "Room that fingers need beside what they turn, on one side", 0, 40)
    body_od: Mm = _mm(17.5, "Diameter of the body; of the turning body of a rotary fitting", 10, 60)
    hex_af: Mm = _mm(0, "Hexagon across flats in place of the round body; 0 for round", 0, 60)
    height: Mm = _mm(22, "Height above the port (pass-through: of the flange above the panel)", 1, 120)
    collar_od: Mm = _mm(18.5, "Diameter of the collar that fingers turn", 10, 60)
    collar_height: Mm = _mm(5, "Length of the collar along the thread axis", 1, 60)
    tube_od: Mm = _mm(13, "Outer diameter of the tube it holds", 5, 30)
    tube_id: Mm = _mm(10, "Inner diameter of the tube it holds", 3, 28)
    insertion: Mm = _mm(15, "Length of tube inside the fitting", 3, 40)
    axis_height: Mm = _mm(16, "Height of the point where the next axis leaves the thread axis", 5, 60)
    next_distance: Mm = _mm(14, "From the thread axis, along the next axis, to the next seal face", 6, 60)
    next_od: Mm = _mm(17.5, "Diameter of the arm around the next port", 12, 60)
    next_depth: Mm = _mm(6.5, "Depth of the next port's thread", 3, 20)
    next_land: Mm = _mm(17.5, "Diameter of the flat seal face of the next port", 10, 60)
    sidestep: Mm = _mm(10, "Sideways step of the next port", 2, 40)
    angle: Deg = dim(
        Deg(0), "Turn of the swivel or handle about the thread axis from +x toward +y", source=_PRACTICE, mark="P",
        ge=-360, le=360,
    )  # fmt: skip
    swing_radius: Mm | None = dim(
        None, "Measured radius the swivel sweeps; left out: from the other fields", source=_PRACTICE, mark="P",
        ge=5, le=80,
    )  # fmt: skip
    swing_keep_out: bool = dim(False, "Keep free all the swivel can sweep", source=_PRACTICE, mark="P")
    handle_sweep: Mm = _mm(30, "Radius swept by the tip of the valve's handle", 10, 80)
    handle_width: Mm = _mm(8, "Width of the handle", 3, 25)
    handle_thickness: Mm = _mm(3, "Thickness of the handle", 1, 15)
    tail: Mm = _mm(15, "Length of the pass-through behind the panel's face", 5, 60)
    panel_hole: Mm = _mm(19, "Hole that the pass-through needs in the panel", 12, 50)
    nut_af: Mm = _mm(23, "Nut across flats", 14, 60)
    nut_height: Mm = _mm(4, "Height of the nut", 1.5, 20)
    panel: Mm = _mm(2, "Thickness of the panel that is clamped", 0.5, 30)
    max_panel: Mm = _mm(8, "Thickest panel that can be clamped", 0.5, 30)

    @model_validator(mode="before")
    @classmethod
    def _of_its_kind(cls, given: Any) -> Any:
        if not isinstance(given, dict):
            return given
        return completed(given, {n: f.default for n, f in cls.model_fields.items()})

    @model_validator(mode="after")
    def _consistent(self) -> Fitting:
        wrong = rules.faults(self)
        if wrong:
            raise ValueError("; ".join(wrong))
        return self

    # -- what it is -------------------------------------------------------------------------------------------------

    @property
    def thread_data(self) -> Thread:
        """Diameters of the thread."""
        return thread_named(self.thread)

    def fields_used(self) -> tuple[str, ...]:
        """Names of the fields that this kind has; the others mean nothing to it."""
        return uses(self.kind)

    def unused_fields(self) -> frozenset[str]:
        return frozenset(type(self).model_fields) - set(uses(self.kind))

    def dimensions(self) -> dict[str, Any]:
        """The kind's own fields only, so that a field it lacks cannot tell two equal shapes apart."""
        every = super().dimensions()
        return {n: every[n] for n in uses(self.kind)}

    @property
    def holds_tube(self) -> bool:
        return self.kind in TUBE_KINDS

    @property
    def is_rotary(self) -> bool:
        """Whether the next thing's direction turns with `angle`."""
        return self.kind in SWIVELS

    def tube_size(self) -> tuple[float, float | None] | None:
        """Outer and inner diameter of the tube it holds, mm; inner None where any will do; None: it holds no tube."""
        if self.kind not in TUBE_KINDS:
            return None
        return (float(self.tube_od), None if self.kind == "collar" else float(self.tube_id))

    def accepts(self, thread: str) -> bool:
        """Whether it can be screwed into a female port of that thread."""
        return self.kind != "pass-through" and thread == self.thread

    @property
    def reach_length(self) -> float:
        """Straight free length needed in front of the land to bring it in and screw it down, mm: it and its thread."""
        return self.box().hi[2] + (0.0 if self.kind == "pass-through" else float(self.thread_length))

    @property
    def swing(self) -> float:
        """Radius the swivel sweeps about the thread axis, mm; 0 for a fitting that does not swivel."""
        if self.kind not in SWIVELS:
            return 0.0
        return shape.swing_radius(self) if self.swing_radius is None else float(self.swing_radius)

    def finger_ring(self) -> tuple[float, float, float]:
        """What fingers turn to tighten it: radius, and its lower and upper height above the seal face, mm."""
        return shape.finger_ring(self)

    def coolant_ml(self) -> float | None:
        """What its own way through holds, ml: bore area by length along its axes.

        A tube counts for itself up to where it ends in the fitting, and a female thread is counted at the bore, since
        the next fitting's thread fills the rest. None for a plug.
        """
        return None if self.kind == "plug" else volume_ml(self.bore, shape.channel_length(self))

    # -- where it meets others --------------------------------------------------------------------------------------

    @property
    def foot(self) -> str:
        """The body whose underside lies on the port's land."""
        return "collar" if self.kind in SWIVELS else "body"

    def frames(self) -> tuple[Frame, ...]:
        if self.kind == "pass-through":
            return self._panel_frames()
        base = Frame(
            "base", "port", pose((0, 0, 0), (0, 0, -1), (1, 0, 0)), ("thread", "seal", self.foot),
            size=(shape.foot_diameter(self),) * 2, thread=self.thread, land=float(self.land),
        )  # fmt: skip
        following = self._next()
        return (base,) if following is None else (base, following)

    def next_frames(self) -> tuple[Frame, ...]:
        """The frames where the next thing starts: none for a plug, both ends for a pass-through."""
        return tuple(f for f in self.frames() if f.kind == "exit" or (f.kind == "port" and f.name != "base")
                     or (self.kind == "pass-through" and f.kind == "port"))  # fmt: skip

    def _next(self) -> Frame | None:
        if self.kind == "plug":
            return None
        if self.kind in TUBE_KINDS:
            touching = ("body", "collar") if self.kind in RING_KINDS else ("body",)
            return Frame(
                "tube", "exit", pose((0, 0, self.height), (0, 0, 1), (1, 0, 0)), touching,
                size=(float(self.tube_od),) * 2,
            )  # fmt: skip
        if self.kind == "male-male":
            return Frame(
                "far", "port", pose((0, 0, self.height), (0, 0, 1), (1, 0, 0)), ("far-thread", "far-seal", "body"),
                size=(shape.foot_diameter(self),) * 2, thread=self.thread, land=float(self.land),
            )  # fmt: skip
        return Frame(
            "next", "port", shape.next_pose(self), ("body",), size=(float(self.next_land),) * 2, thread=self.thread,
            depth=float(self.next_depth), land=float(self.next_land),
        )  # fmt: skip

    def _panel_frames(self) -> tuple[Frame, ...]:
        """Female ports at both ends of a pass-through, and the faces that clamp the panel."""
        shank = shape.shank_diameter(self)
        inner = min(shank, float(self.next_land))

        def port(name: str, z: float, out: float, land: float) -> Frame:
            return Frame(name, "port", pose((0, 0, z), (0, 0, out), (1, 0, 0)), ("body",), size=(land, land),
                         thread=self.thread, depth=float(self.next_depth), land=land)  # fmt: skip

        return (
            port("base", -float(self.tail), -1, inner),
            port("far", float(self.height), 1, float(self.next_land)),
            Frame("panel", "face", pose((0, 0, 0), (0, 0, -1), (1, 0, 0)), ("body", "seal"),
                  size=(float(self.body_od),) * 2),
            Frame("nut", "face", pose((0, 0, -float(self.panel)), (0, 0, 1), (1, 0, 0)), ("nut",),
                  size=(float(self.nut_af),) * 2),
        )  # fmt: skip

    # -- the room it takes ------------------------------------------------------------------------------------------

    def box(self) -> Box:
        return shape.box(self)

    def cylinders(self) -> list[Segment]:
        """Flat-ended cylinders (from, to, radius), mm, that hold all of the fitting above its seal face.

        Their union strays from the drawn fitting, bores filled, by at most `cylinder_excess`.
        """
        return shape.cylinders(self)

    @property
    def cylinder_excess(self) -> float:
        """How far outside the drawn fitting a point of `cylinders` may lie, mm; 0 for those made of round bodies."""
        return shape.cylinder_excess(self)

    def capsules(self) -> list[Segment]:
        """Round-ended cylinders (from, to, radius), mm, that hold all of the fitting above its seal face.

        The same axes and radii as `cylinders`: nothing more at the sides, but each end bulges by its radius, below the
        seal face too. So a capsule that is free proves its fitting free; one that is not proves nothing near the ends.
        """
        return shape.cylinders(self)

    def swing_profile(self) -> list[tuple[float, float]]:
        """Closed outline (radius, z), mm, of all that the swivel can sweep about the thread axis.

        Never less than what is swept, and exact in radius and in both heights. Empty for a fitting without a swivel.
        """
        return shape.swing_profile(self)

    def bodies(self) -> tuple[Body, ...]:
        seal = Body("seal", "rubber")
        if self.kind == "pass-through":
            return (Body("body", "brass"), seal, Body("nut", "brass"))
        out = [Body("thread", "brass"), seal, Body("body", "brass")]
        if self.kind in RING_KINDS or self.kind in SWIVELS:
            out.append(Body("collar", "brass"))
        if self.kind == "male-male":
            out += [Body("far-thread", "brass"), Body("far-seal", "rubber")]
        if self.kind == "ball-valve":
            out += [Body("handle", "aluminium"), Body("handle-sweep", "air", "the valve's handle turns here")]
        if self.kind in SWIVELS and self.swing_keep_out:
            # What is screwed on the swivel turns with it, and its tube leaves through the swept room.
            out.append(Body("swing", "air", "the swivel turns here", ("fitting", "tube")))
        return tuple(out)

    def solids(self) -> dict[str, Shape]:
        from elbowroom.parts.fitting import fitting_bodies

        return fitting_bodies.draw_fitting(self)
