"""Scenes for the writers' tests, drawn and tessellated here without a cache, and a way to write one in a fresh process:
`python scenes.py FOLDER [keep-outs]`.

The names are as unfriendly as a build file can make them.
"""

from __future__ import annotations

import sys
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from elbowroom.model.geometry.scene import Mesh, Scene, Shape, Solid
from elbowroom.model.geometry.tessellate import tessellate
from elbowroom.model.layout.layout import Gaps, Layout, Piece
from elbowroom.model.store import Store
from elbowroom.model.told.findings import Basis, Finding
from elbowroom.parts.fan.fan import Fan
from elbowroom.parts.made.primitives import PlainBox, PlainCylinder
from elbowroom.parts.vocabulary import draw
from elbowroom.parts.vocabulary.base import Body, Box, Part, dim
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import Pose, apply, compose, rotation, shift

if TYPE_CHECKING:
    import cadquery as cq

TITLE = "Tidewater's «größe» 潮 \\X2\\ 🌊"
HOSTILE = "=cmd|' /C calc'!A0, \"../../etc\"; flügel"


class Bracket(Part):
    """An L of two bodies that share a face and its edges, hung below z = 0, with a keep-out beside it."""

    family: ClassVar[str] = "bracket"

    leg: Mm = dim(Mm(30), "Length of both legs", source="test", mark="P", gt=10)
    wall: Mm = dim(Mm(4), "Thickness", source="test", mark="M", gt=1)

    def box(self) -> Box:
        return Box((0, 0, -20), (float(self.leg), 15, float(self.leg) - 20))

    def bodies(self) -> tuple[Body, ...]:
        return Body("foot", "steel"), Body("stem", "printed"), Body("reach", "air", keep_out="room for a driver")

    def solids(self) -> dict[str, cq.Shape]:
        a, t = float(self.leg), float(self.wall)
        return {
            "foot": draw.box((0, 0, -20), (a, 15, t - 20)),
            "stem": draw.box((0, 0, t - 20), (t, 15, a - 20)),
            "reach": draw.cylinder(10, 40, (a / 2 + 6, 7.5, t - 20)),
        }


def piece(name: str, part: Part, where: Pose, assembly: str, given: tuple[str, ...] = ()) -> Piece:
    fields = {n: f.json_schema_extra for n, f in type(part).model_fields.items() if n not in given}
    sources = MappingProxyType({n: (e["source"], e["mark"]) for n, e in fields.items()})
    return Piece(name, part, where, assembly, frozenset(given), sources)


def scene_of(pieces: list[Piece], title: str = TITLE) -> Scene:
    shapes: dict[str, Shape] = {}
    solids = []
    for p in pieces:
        key = p.part.shape_key()
        if key not in shapes:
            shapes[key] = Shape(key, {name: tessellate(s.wrapped) for name, s in p.part.solids().items()})
        for body in p.part.bodies():
            mesh = shapes[key].meshes[body.name]
            placed = apply(p.pose, mesh.vertices)
            solids.append(Solid(p, body, shapes[key], mesh, p.pose, placed.min(axis=0), placed.max(axis=0)))
    return Scene(Layout(title, tuple(pieces), (), Gaps()), tuple(solids))


def small() -> Scene:
    """Nine pieces of six shapes: shared and single shapes, turned poses, several bodies, a keep-out, hostile names."""
    turned = compose(shift(40, 210, 33), rotation((1, 2, 3), 37.0))
    return scene_of(
        [
            piece("fan 1", Fan(), shift(0, 0, 0), "floor stack"),
            piece("fan 2", Fan(), shift(121.5, 0, 0), "floor stack"),
            piece(
                "padded fan", Fan(exhaust_pad=Mm(1)), compose(shift(0, 0, 90), rotation((1, 0, 0), 180)), "roof stack"
            ),
            piece(HOSTILE, Fan(), compose(shift(0, 150, 200), rotation((0, 1, 0), 90)), "roof stack"),
            piece("bracket", Bracket(), turned, "parts", ("leg",)),
            piece("bracket two", Bracket(), compose(shift(300), turned), "parts", ("leg", "wall")),
            piece("pump", PlainCylinder(bore=Mm(8)), compose(shift(-120.25, 7, 11), rotation((0, 1, 0), 30)), "parts"),
            piece("con", PlainBox(), shift(-300, 0, 0), "keep-outs"),
            piece("CON", PlainBox(length=Mm(99.96)), shift(-300, 100, 0), "keep-outs"),
        ]
    )


def findings() -> list[Finding]:
    return [
        Finding("clearance", "clear", ("fan 1", "fan 2"), "1.5 mm between them", ("fan 1/frame", "fan 2/frame"), 1.5,
                required=1.0, low=1.5, high=1.5, where=((60, 0, 5), (61.5, 0, 5)), basis=Basis("exact")),
        Finding("interference", "clash", (HOSTILE, "pump"), "they overlap ✗", (f"{HOSTILE}/frame", "pump/body"), 2.25,
                basis=Basis("mesh", 0.05), extra=(("volume_mm3", float("nan")), ("depths", [1.0, float("inf")]))),
    ]  # fmt: skip


def mesh_of(vertices: list[list[float]], triangles: list[list[int]]) -> Mesh:
    return Mesh(np.array(vertices, dtype=float), np.array(triangles, dtype=np.int32), 0.0, 0.0)


if __name__ == "__main__":
    from elbowroom.model.writers import write

    result = write(small(), findings(), Path(sys.argv[1]), keep_outs="keep-outs" in sys.argv[2:], store=Store.default())
    for note in result.notes:
        print(note)
