"""Parts on the bed: what fits and how it is turned, where a part is split, and beds that hold everything once."""

from __future__ import annotations

import math
from collections import Counter
from typing import Any, ClassVar

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from elbowroom.model.build.make_spec import PrinterSpec
from elbowroom.model.geometry.scene import Mesh
from elbowroom.model.making import bed
from elbowroom.model.making.mesh import Skin, skin
from elbowroom.model.making.printable import judge
from elbowroom.parts.vocabulary.base import Body, Box, Hole, HolePattern, Part
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import IDENTITY, apply, pose

SMALL_MM = 2e-3  # rounding of the corners to 32 bits, and the slack of heights


class Bar(Part):
    """A bar with a hole somewhere along it."""

    family: ClassVar[str] = "bar"
    length: float = 10.0
    width: float = 10.0
    height: float = 10.0
    hole: float | None = None

    def box(self) -> Box:
        return Box((0, 0, 0), (self.length, self.width, self.height))

    def bodies(self) -> tuple[Body, ...]:
        return (Body("bar", "printed"),)

    def patterns(self) -> tuple[HolePattern, ...]:
        if self.hole is None:
            return ()
        hole = Hole(self.hole, self.width / 2, 5.0)
        return (HolePattern("top", pose((0, 0, self.height), (0, 0, 1), (1, 0, 0)), (hole,), "bar"),)

    def solids(self) -> dict[str, Any]:
        from elbowroom.parts.vocabulary import draw

        return {"bar": draw.box((0, 0, 0), (self.length, self.width, self.height))}


def bar(length: float, width: float, height: float = 10.0, hole: float | None = None) -> tuple[Bar, Skin]:
    import trimesh

    mesh = trimesh.creation.box(bounds=[[0, 0, 0], [length, width, height]])
    return Bar(length=length, width=width, height=height, hole=hole), skin(
        [Mesh(np.array(mesh.vertices), np.array(mesh.faces, dtype=np.int32), 0.0, mesh.volume)], IDENTITY
    )


def printer(x: float, y: float, z: float = 250.0, spacing: float = 5.0) -> PrinterSpec:
    return PrinterSpec(bed=(Mm(x), Mm(y), Mm(z)), spacing=Mm(spacing))


@pytest.mark.parametrize(
    ("length", "width", "room", "angle"),
    [
        (200, 100, (220, 220), 0.0),
        (220, 220, (220, 220), 0.0),
        (210, 100, (200, 250), 90.0),
        (260, 20, (220, 220), 45.0),  # (260 + 20) / sqrt 2 = 198
        (290, 20, (220, 220), 45.0),  # 219.2
        (292, 20, (220, 220), None),  # 220.6
        (221, 221, (220, 220), None),
    ],
)
def test_a_part_is_turned_to_fit(length: float, width: float, room: tuple[float, float], angle: float | None) -> None:
    part, s = bar(length, width)
    assert bed.turn_to_fit(s, printer(*room)) == angle
    [found] = [v for v in judge(part, IDENTITY, s, printer(*room), frozenset({"bar"})) if v.question == "bed"]
    assert found.verdict == {None: "fail", 45.0: "caution"}.get(angle, "pass")
    assert ("split" in found.text) == (angle is None)


def test_a_part_too_high_is_split_across_its_height() -> None:
    part, s = bar(20, 20, 500)
    assert bed.splits(s, part, IDENTITY, printer(220, 220, 250)) == [("z", (250.0,))]


@given(
    length=st.floats(230, 900), hole=st.floats(0.02, 0.98), room=st.floats(120, 300), turned=st.booleans()
)  # fmt: skip
@settings(max_examples=60, deadline=None)
def test_split_pieces_fit_and_no_plane_runs_through_a_hole(
    length: float, hole: float, room: float, turned: bool
) -> None:
    at = hole * length
    part, s = bar(length, 20, 10, at)
    profile = printer(100, room) if turned else printer(room, 100)
    planes = bed.splits(s, part, IDENTITY, profile)
    if bed.turn_to_fit(s, profile) is not None:
        return
    [(axis, cuts)] = planes
    assert axis == "x"
    ends = [0.0, *cuts, length]
    assert len(cuts) == math.ceil(length / room - 1e-5) - 1  # no more pieces than there must be
    assert max(np.diff(ends)) <= room + 0.1  # planes are told to a tenth
    clear = min(abs(c - at) for c in cuts)
    slack = room * (len(cuts) + 1) - length  # how far the planes can move
    if slack > 2 * (2.5 + 1.2) * (len(cuts) + 1):
        assert clear >= 2.5 + 1.2 - 0.06


def placed(items: list[bed.Item], skins: list[Skin]) -> list[shapely.Geometry]:
    return [shapely.MultiPoint(apply(i.pose, skins[i.index].vertices)[:, :2]).convex_hull for i in items]


@given(
    sizes=st.lists(st.tuples(st.floats(3, 260), st.floats(3, 180), st.integers(1, 6)), min_size=1, max_size=8),
    spacing=st.floats(1, 12),
)
@settings(max_examples=60, deadline=None)
def test_beds_hold_every_part_once_apart_and_on_the_bed(sizes: list[tuple[float, float, int]], spacing: float) -> None:
    profile = printer(220, 200, spacing=spacing)
    skins = [bar(x, y)[1] for x, y, _ in sizes]
    made = bed.arranged([(s, n) for s, (_, _, n) in zip(skins, sizes, strict=True)], profile)
    held = Counter(item.index for laid in made for item in laid)
    fit = {i for i, s in enumerate(skins) if bed.turn_to_fit(s, profile) is not None}
    assert held == {i: n for i, (_, _, n) in enumerate(sizes) if i in fit}
    room = shapely.box(-SMALL_MM, -SMALL_MM, 220 + SMALL_MM, 200 + SMALL_MM)
    for laid in made:
        shapes = placed(laid, skins)
        assert all(room.contains(s) for s in shapes)
        tree = shapely.STRtree(shapes)
        for i, s in enumerate(shapes):
            near = [j for j in tree.query(s.buffer(spacing)) if j != i]
            assert all(s.distance(shapes[j]) >= spacing - SMALL_MM for j in near)
        for item in laid:
            assert apply(item.pose, skins[item.index].vertices)[:, 2].min() == 0.0


def test_small_parts_share_one_bed_and_many_take_more() -> None:
    _, s = bar(20, 20)
    assert [len(p) for p in bed.arranged([(s, 64)], printer(220, 220))] == [64]  # 8 x 8 with 5 between
    assert [len(p) for p in bed.arranged([(s, 200)], printer(220, 220))] == [64, 64, 64, 8]
