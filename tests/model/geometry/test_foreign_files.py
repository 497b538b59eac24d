"""Files made of what someone else drew: templates, cuts, prints and STEP have their kernel work done in a child.

Truth is the same work on the same file in this process, by the functions the child calls. What ends the child is a
message or a note, and never an end of this process.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from elbowroom.model.build.problems import InputError
from elbowroom.model.cutting.flat_cutting import CannotCut, Known
from elbowroom.model.geometry import exact
from elbowroom.model.geometry.refining import Exactly
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.layout import Gaps, Layout, Piece
from elbowroom.model.store import Store
from elbowroom.model.templates import apart, views
from elbowroom.model.templates.flats import flat_sheets
from elbowroom.model.writers import step_plan
from elbowroom.model.writers.job import Job
from elbowroom.model.writers.step import write
from elbowroom.parts.imported import child
from elbowroom.parts.imported.imported import ImportedPart
from elbowroom.parts.made.primitives import PlainBox
from elbowroom.parts.vocabulary.flat_cut import FlatCut
from elbowroom.parts.vocabulary.pose import IDENTITY, shift
from tests.parts.test_imported import binary, cube
from tests.parts.test_step_bodies import block, written


def angle() -> Any:
    """An angle of 2 mm sheet, 60 x 40 and 60 x 30, a hole of 6 and a slot in its foot."""
    import cadquery as cq

    foot = cq.Workplane().box(60, 40, 2, centered=False).faces(">Z").workplane(origin=(0, 0, 2))
    foot = foot.moveTo(20, 25).hole(6).faces(">Z").workplane(origin=(0, 0, 2)).moveTo(42, 25).slot2D(12, 4).cutThruAll()
    return foot.union(cq.Workplane().box(60, 2, 30, centered=False)).val()


@pytest.fixture(scope="module")
def part(tmp_path_factory: pytest.TempPathFactory) -> ImportedPart:
    return ImportedPart(path=written(tmp_path_factory.mktemp("file") / "angle.step", angle()), material="steel")


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return Store(tmp_path_factory.mktemp("cache"))


def scene_of(store: Store, *parts: Any) -> Scene:
    pieces = [Piece(f"p{i}", p, shift(200.0 * i), "parts") for i, p in enumerate(parts)]
    return solidify(Layout("t", tuple(pieces), (), Gaps()), store)


@pytest.fixture
def kept_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """No solids are read and no part is drawn in this process."""

    def never(*_: object) -> None:
        raise AssertionError("a user's shape was worked on in this process")

    monkeypatch.setattr(exact, "solids_in", never)
    monkeypatch.setattr(ImportedPart, "solids", never)


@pytest.fixture
def dying(monkeypatch: pytest.MonkeyPatch, store: Store) -> None:
    """Every child crashes when it is asked."""
    start = child.start
    monkeypatch.setattr(child, "start", lambda *_: start("os", "abort"))
    store.memory.clear()


@pytest.mark.slow
def test_a_template_is_the_same_as_one_made_in_this_process(
    part: ImportedPart, store: Store, kept_out: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    scene = scene_of(store, part)
    (there,) = views.drawings(scene, store, ["p0.bottom"])
    monkeypatch.undo()
    view = views.view_of(scene.layout, scene.layout.pieces[0], "bottom")
    assert there == views.draw(part, part.solids()[view.body], view, "p0")
    assert [row.diameter for row in there.holes] == pytest.approx([6, 4])


@pytest.mark.slow
def test_a_shape_without_a_flat_face_is_told_as_that(store: Store, kept_out: None, tmp_path: Path) -> None:
    import cadquery as cq

    ball = ImportedPart(path=written(tmp_path / "ball.step", cq.Solid.makeSphere(10, angleDegrees1=-90)))
    with pytest.raises(InputError, match="no flat face"):
        views.drawings(scene_of(store, ball), store, ["p0.top"])


@pytest.mark.slow
def test_flat_sheets_are_the_same_and_their_cuts_are_judged_alike(
    part: ImportedPart, store: Store, kept_out: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    scene = scene_of(store, part)
    there = Known(scene, store).flats(scene.layout.pieces[0])
    monkeypatch.undo()
    here = flat_sheets(part, part.solids())
    assert sorted(f.name for f in there) == sorted(f.name for f in here)
    for a, b in zip(there, here, strict=True):
        assert a.thickness == b.thickness == 2
        assert np.array_equal(a.pose, b.pose)
        assert a.outline.symmetric_difference(b.outline).area == 0
    shape = scene.solids[0].shape
    foot = next(f for f in there if f.outline.interiors)
    x0, y0, x1, y1 = foot.outline.bounds
    middle = (x0 + x1) / 2
    for width, stays in ((4.0, True), (200.0, False)):
        edge = [(middle - width, y0 - 1), (middle + width, y0 - 1), (middle + width, y0 + 6), (middle - width, y0 + 6)]
        hole = FlatCut(foot.name, foot.body, foot.pose, 2.0, tuple((x, y, 0.0) for x, y in edge))
        across = FlatCut(
            foot.name, foot.body, foot.pose, 2.0,
            tuple((x, y, 0.0) for x, y in [(middle, y0 - 1), (middle + 2, y0 - 1), (middle + 2, y1 + 40),
                                            (middle, y1 + 40)]),
        )  # fmt: skip
        wanted = [hole] if stays else [across, _turned(there, foot)]
        assert apart.stays_whole(shape, part, store, wanted) is stays


@pytest.mark.slow
def test_a_cut_in_a_users_sheet_is_in_what_is_drawn_of_it(part: ImportedPart, store: Store, kept_out: None) -> None:
    """A square of 10 mm through 2 mm of sheet takes 200 mm3, by arithmetic."""
    scene = scene_of(store, part)
    foot = next(f for f in Known(scene, store).flats(scene.layout.pieces[0]) if f.outline.interiors)
    x, y = foot.outline.bounds[0] + 2, foot.outline.bounds[1] + 5
    square = tuple((a, b, 0.0) for a, b in [(x, y), (x + 10, y), (x + 10, y + 10), (x, y + 10)])
    cut = part.with_cuts([FlatCut(foot.name, foot.body, foot.pose, 2.0, square)])
    assert cut.shape_key() != part.shape_key()
    left = scene_of(store, cut).solids[0].mesh.volume_mm3
    assert scene.solids[0].mesh.volume_mm3 - left == pytest.approx(200)


def _turned(there: list[Any], foot: Any) -> FlatCut:
    """A cut through the other flange that goes on where the one through the foot ends."""
    other = next(f for f in there if f is not foot)
    x0, y0, x1, y1 = other.outline.bounds
    along = 0 if x1 - x0 > y1 - y0 else 1
    middle = (x0 + x1) / 2 if along == 0 else (y0 + y1) / 2
    low, high = (y0 - 9, y1 + 9) if along == 0 else (x0 - 9, x1 + 9)
    corners = [(middle - 3, low), (middle + 3, low), (middle + 3, high), (middle - 3, high)]
    turned = [(a, b, 0.0) if along == 0 else (b, a, 0.0) for a, b in corners]
    return FlatCut(other.name, other.body, other.pose, 2.0, tuple(turned))


def test_finer_meshes_for_printing_come_from_the_child(part: ImportedPart, store: Store, kept_out: None) -> None:
    scene = scene_of(store, part)
    mesh = Exactly(store).finer(scene.solids[0], 5.0)
    assert mesh is not None
    assert mesh.bound < scene.solids[0].mesh.bound


@pytest.mark.slow
def test_step_holds_what_others_drew_and_our_own(
    part: ImportedPart, store: Store, kept_out: None, tmp_path: Path
) -> None:
    (tmp_path / "cube.stl").write_bytes(binary(cube(20)))
    scene = scene_of(store, part, PlainBox(), ImportedPart(path=str(tmp_path / "cube.stl"), unit="mm"))
    again = [dict(write(Job(scene, [], folder=store.folder))) for _ in range(2)]
    assert again[0] == again[1]
    (text,) = (t.decode("ascii") for t in again[0].values())
    assert text.count("= MANIFOLD_SOLID_BREP(") == 3


def test_a_child_that_dies_is_told_and_the_rest_is_written(part: ImportedPart, store: Store, dying: None) -> None:
    scene = scene_of(store, part, PlainBox())  # drawn before
    with pytest.raises(InputError, match=r"p0.*crashed"):
        views.drawings(scene, store, ["p0.bottom"])
    store.memory.clear()
    with pytest.raises(CannotCut, match="crashed"):
        Known(scene, store).flats(scene.layout.pieces[0])
    job = Job(scene, [], folder=store.folder)
    (text,) = (t.decode("ascii") for t in dict(write(job)).values())
    assert text.count("= MANIFOLD_SOLID_BREP(") == 1
    [note] = job.notes
    assert "p0 is left out" in note
    assert "crashed" in note


def test_a_child_that_is_out_of_time_is_told(part: ImportedPart, store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(step_plan, "WHOLE", child.Limits(cpu=60, clock=0.05, memory=step_plan.WHOLE.memory))
    job = Job(scene_of(store, part, PlainBox()), [], folder=store.folder)
    (text,) = (t.decode("ascii") for t in dict(write(job)).values())
    assert text.count("= MANIFOLD_SOLID_BREP(") == 1
    assert "more than 0.05 s" in job.notes[0]


@pytest.mark.slow
def test_one_shape_of_several_that_is_lost_leaves_the_others(
    part: ImportedPart, store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bad = ImportedPart(path=written(tmp_path / "bad.step", block(20)))
    scene = scene_of(store, part, bad, PlainBox())
    key, ask = scene.solids[1].shape.key, step_plan._apart

    def planted(limits: Any, title: str, steps: Any, shapes: Any) -> bytes:
        if any(g.key == key for g in shapes):
            raise child.Lost("the geometry kernel crashed on it (signal 11)")
        return ask(limits, title, steps, shapes)

    monkeypatch.setattr(step_plan, "_apart", planted)
    job = Job(scene, [], folder=store.folder)
    (text,) = (t.decode("ascii") for t in dict(write(job)).values())
    assert text.count("= MANIFOLD_SOLID_BREP(") == 2
    assert len(job.notes) == 1
    assert "p1 is left out" in job.notes[0]


def test_a_shape_that_could_not_be_drawn_is_not_tried_again(part: ImportedPart, tmp_path: Path, dying: None) -> None:
    lost = Store(tmp_path / "lost")
    scene = scene_of(lost, part)  # its drawing ends in the child, too
    assert "crashed" in str(scene.solids[0].mesh.fault)
    with pytest.raises(InputError, match="could not be meshed"):
        views.drawings(scene, lost, ["p0.bottom"])
    job = Job(scene, [], folder=lost.folder)
    assert dict(write(job)) == {}
    assert "could not be meshed" in job.notes[0]


def test_the_solids_of_a_users_file_are_refused_in_this_process(part: ImportedPart, store: Store) -> None:
    scene = scene_of(store, part)
    with pytest.raises(TypeError):
        exact.bodies(scene.solids[0].shape, part, store)
    assert np.array_equal(scene.solids[0].pose, IDENTITY)
