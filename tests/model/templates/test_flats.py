"""Flat sheets of parts that are not plain sheets, and cuts in them, measured by the exact kernel."""

from __future__ import annotations

from pathlib import Path

import pytest

from elbowroom.model.build import source
from elbowroom.model.build.problems import BuildError
from elbowroom.model.build.resolve import load
from elbowroom.model.cutting.asked import apply
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.place import place
from elbowroom.model.store import Store
from elbowroom.model.templates.flats import flat_sheets
from elbowroom.model.templates.views import drawings
from elbowroom.parts.card.gpu_mount import GpuMount
from elbowroom.parts.made.bracket import PlateBracket
from elbowroom.parts.screw.washer_plate import WasherPlate
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.pose import apply as placed

BUILD = """
title: t
parts:
  angle: {plate-bracket: custom, stiffening: plain, width: 60, foot: 50, upright: 60, at: {x: 0, y: 0, z: 0}}
  strip: {washer-plate: custom, length: 60, width: 20, thickness: 2, at: {x: 200, y: 0, z: 0}}
  tank: {box: custom, length: 30, width: 24, height: 40, at: {x: 80, y: 3, z: -20},
         ports: [{name: out, face: top, depth: 8}]}
  cube: {box: custom, length: 30, width: 30, height: 40, at: {x: 120, y: 3, z: -20}}
  rod: {cylinder: custom, diameter: 8, height: 60, at: {x: 20, y: 46, z: -10}}
  pin: {cylinder: custom, diameter: 6, height: 40, at: {x: 200, y: 12, z: -10}}
  far: {cylinder: custom, diameter: 6, height: 40, at: {x: 500, y: 12, z: -10}}
"""


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    return Store(tmp_path_factory.mktemp("cache"))


def cut(store, words, build=BUILD):
    document = source.parse(build + words, "build.yaml", Path("."))
    loaded = load(document)
    layout = place(loaded)
    return layout, apply(layout, solidify(layout, store), loaded.cut, document, store)


def faults(store, words):
    with pytest.raises(BuildError) as e:
        cut(store, words)
    return [str(p) for p in e.value.problems]


def gap(one, other) -> float:
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape

    from elbowroom.parts.vocabulary import draw

    a, b = (draw.moved(next(iter(p.part.drawn().values())), p.pose).wrapped for p in (one, other))
    return float(BRepExtrema_DistShapeShape(a, b).Value())


@pytest.mark.parametrize(
    ("part", "sizes"),
    [
        # By hand: flanges of 40 by 36 and 40 by 45 outside, 4 thick: what lies beyond the other flange is flat.
        (PlateBracket(stiffening="plain"), {"foot": (40, 32, 4), "face": (40, 41, 4)}),
        (PlateBracket(stiffening="plain", thickness=Mm(5)), {"foot": (40, 31, 5), "face": (40, 40, 5)}),
        (WasherPlate(), {"plate": (30, 14, 2)}),
    ],
    ids=["4 mm", "5 mm", "washer plate"],
)
def test_flat_sheets_of_a_part_by_their_names_and_sizes(part, sizes):
    found = {f.name: f for f in flat_sheets(part, part.solids())}
    assert set(found) == set(sizes)
    for name, (a, b, thick) in sizes.items():
        x0, y0, x1, y1 = found[name].outline.bounds
        assert sorted((x1 - x0, y1 - y0)) == pytest.approx(sorted((a, b)), abs=1e-4)
        assert found[name].thickness == pytest.approx(thick)


@pytest.mark.parametrize("style", ["stand", "rear"])
def test_the_flat_sheets_of_a_mount_lie_in_its_steel_apart_from_each_other(style):
    """Each is solid through: its volume lies in the bracket, and no two share any."""
    from elbowroom.parts.vocabulary import draw
    from elbowroom.parts.vocabulary.contour import runs

    part = GpuMount(style=style)
    solids = part.solids()
    found = flat_sheets(part, solids)
    assert len(found) >= 3
    assert "foot" in {f.name for f in found}
    slabs = []
    for f in found:
        assert f.body == "bracket"
        assert f.thickness == pytest.approx(float(part.sheet))
        x, y = f.outline.representative_point().coords[0]
        probe = draw.baked(draw.slab(draw.rectangle(x - 0.2, y - 0.2, x + 0.2, y + 0.2), (), f.thickness), f.pose)
        assert probe.intersect(solids["bracket"]).Volume() == pytest.approx(0.16 * f.thickness, rel=1e-6)
        slabs.append(probe)
    assert runs is not None
    total = sum(f.outline.area * f.thickness for f in found)
    assert total <= solids["bracket"].Volume() * 1.001


def test_a_flange_comes_back_cut_and_clear_and_the_other_as_it_was(store):
    before, made = cut(store, "cut:\n  - {in: angle.foot, for: rod, gap: 2, tool: 3}\n")
    old, new = before.piece("angle"), made.layout.piece("angle")
    assert gap(old, before.piece("rod")) == 0.0
    assert 2.0 - 1e-5 <= gap(new, made.layout.piece("rod")) <= 2.4
    assert new.part.shape_key() != old.part.shape_key()
    assert {c.sheet for c in new.part.cuts} == {"foot"}
    (note,) = (n.text for n in made.notes)
    assert note.startswith("angle: 1 notch in foot (60 x 46 mm, 4 thick) to clear rod by 2 mm takes ")
    # All that is gone was in the foot: the two volumes differ by what the note says was taken, times its thickness.
    (a,), (b,) = (list(p.part.drawn().values()) for p in (old, new))
    area = float(note.split(" takes ")[1].split(" mm2")[0])
    assert (a.Volume() - b.Volume()) / 4.0 == pytest.approx(area, abs=0.6)


def test_a_template_of_the_cut_sheet_shows_it_at_true_size(store):
    """The notch's deepest point, read from the drawing, is where the rod needs it: its near side less the gap."""
    _, made = cut(store, "cut:\n  - {in: angle, for: rod, gap: 2, tool: 0}\n")
    scene = solidify(made.layout, store)
    (drawing,) = drawings(scene, store)
    assert drawing.thickness == pytest.approx(4.0)
    assert "sheet foot" in drawing.title
    rod = made.layout.piece("rod")
    axis = placed(rod.pose, (0, 0, 0))
    piece = made.layout.piece("angle")
    from elbowroom.parts.vocabulary.contour import flattened
    from elbowroom.parts.vocabulary.pose import apply as at
    from elbowroom.parts.vocabulary.pose import compose, inverse

    view = compose(piece.pose, piece.part.cuts[0].pose)
    x, y, _ = at(inverse(view), axis)
    import numpy as np

    outline = next(e for e in drawing.entities if getattr(e, "contour", None) is not None)
    points = np.asarray(flattened(outline.contour, 0.005))
    near = np.hypot(points[:, 0] - x, points[:, 1] - y).min()
    assert 6.0 - 0.02 <= near <= 6.4


def test_a_strip_cut_clear_stays_one_piece_and_what_is_clear_is_left_alone(store):
    _, made = cut(store, "cut:\n  - {in: strip, for: pin, gap: 1}\n  - {in: angle, for: far}\n")
    assert 1.0 - 1e-5 <= gap(made.layout.piece("strip"), made.layout.piece("pin")) <= 1.4
    assert made.notes[1].text == "angle: nothing is cut, since it clears far by 2 mm already"
    assert not made.severed


@pytest.mark.slow
def test_cuts_in_order_keep_what_was_cut_before(store):
    words = "cut:\n  - {in: angle.foot, for: rod, gap: 1}\n  - {in: angle, for: rod, gap: 3}\n"
    _, made = cut(store, words)
    assert gap(made.layout.piece("angle"), made.layout.piece("rod")) >= 3.0 - 1e-5


def test_every_fault_is_told_with_its_place(store):
    said = faults(
        store,
        "cut:\n  - {in: angle.fot, for: rod}\n  - {in: tank, for: rod}\n  - {in: cube, for: rod}\n"
        "  - {in: angle.foot, for: rod, gap: 25}\n",
    )
    assert (
        'cut.0.in: angle has no flat sheet "fot"; nearest: "foot"; it has face (60 x 56 mm, 4 thick), foot (' in said[0]
    )
    assert 'cut.1.in: "tank" is a box with ports: what holds coolant is not cut' in said[1]
    assert 'cut.2.in: "cube" is a box without a flat sheet that can be cut' in said[2]
    (alone,) = faults(store, "cut:\n  - {in: angle.foot, for: rod, gap: 25}\n")
    assert "cut.0: cutting angle to clear rod by 25 mm: hole " in alone
    assert "too close to the cut" in alone
