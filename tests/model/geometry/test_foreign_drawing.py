"""A user's file is drawn in a process of its own: what ends that process is an unknown, never an end of this one."""

from __future__ import annotations

import math

import pytest

from elbowroom.model.geometry import drawing, tessellate
from elbowroom.model.geometry import solidify as module
from elbowroom.model.layout.layout import Piece
from elbowroom.model.store import Store
from elbowroom.parts.imported import child
from elbowroom.parts.imported.imported import ImportedPart
from elbowroom.parts.made.sheet import PlainSheet
from elbowroom.parts.vocabulary.pose import IDENTITY
from tests.parts.test_step_bodies import block, written


@pytest.fixture
def foreign(tmp_path):
    return ImportedPart(path=written(tmp_path / "a.step", lid=block(20)))


def drawn(part, tmp_path):
    piece = Piece("a", part, IDENTITY, "parts")
    return module._draw_all({"key": piece}, Store(tmp_path / "cache"), None)["key"]


@pytest.mark.slow
def test_a_drawing_that_ends_its_process_leaves_a_box_with_the_reason(foreign, tmp_path, monkeypatch):
    foreign.box()  # its file is read in time
    monkeypatch.setattr(child, "FOREIGN", child.Limits(cpu=60, clock=0.2, memory=child.MEGABYTE))
    mesh = drawn(foreign, tmp_path).meshes["lid"]
    assert "it took more than 0.2 s" in mesh.fault
    assert mesh.vertices.min(axis=0) == pytest.approx([0, 0, 0], abs=1e-6)
    assert mesh.vertices.max(axis=0) == pytest.approx([20, 20, 20], abs=1e-6)
    monkeypatch.undo()
    again = drawn(foreign, tmp_path)  # nothing of the failure is kept
    assert again.meshes["lid"].fault is None
    assert again.meshes["lid"].volume_mm3 == pytest.approx(8000)


def test_ctrl_c_inside_a_library_is_not_blamed_on_the_dimensions():
    fault = ImportError("initialization failed")
    fault.__cause__ = KeyboardInterrupt()
    assert module._stopped(fault)
    assert drawing.of_machine(fault)
    assert not drawing.of_machine(ValueError("too thin"))


def test_a_mesh_that_does_not_close_is_asked_for_in_other_ways(monkeypatch):
    from dataclasses import replace

    meshed, asked = tessellate._meshed, []

    def failing(solid, finer, other=False):
        asked.append((finer, other))
        mesh = meshed(solid, finer, other)
        return mesh if len(asked) > 2 else replace(mesh, fault="not closed")

    monkeypatch.setattr(tessellate, "_meshed", failing)
    assert tessellate.tessellate(block(10).wrapped).fault is None
    assert len(set(asked)) == 3


@pytest.mark.slow
def test_a_sheet_of_many_holes_is_meshed_closed_and_true():
    """The kernel's other algorithm, which is asked where a face has hundreds of outlines."""
    spots = [(8.0 * (i % 20) - 76, 8.0 * (i // 20) - 72) for i in range(380)]
    part = PlainSheet(
        length=180, width=180, thickness=2, holes=[{"face": "top", "at": s, "diameter": 4} for s in spots]
    )
    (mesh,) = drawing.unpack(drawing.draw(part).meshes).values()
    assert mesh.fault is None
    assert mesh.volume_mm3 == pytest.approx(2 * (180**2 - 380 * math.pi * 4), rel=1e-9)
