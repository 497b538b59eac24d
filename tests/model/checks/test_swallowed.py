"""A body that lies wholly inside another of the same file is told once; one in a hollow, beside or half in it is not.

Truth is arithmetic on the boxes that are written into the file.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from elbowroom.model.checks.swallowed import check
from elbowroom.model.geometry.pairs import Checker
from elbowroom.model.store import Store
from elbowroom.parts.imported.imported import ImportedPart
from elbowroom.parts.vocabulary.pose import IDENTITY, rotation
from tests.model.shapes_for_tests import scene_of

_CORNERS = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=float)
_FACES = [
    (0, 1, 3), (0, 3, 2), (4, 6, 7), (4, 7, 5), (0, 4, 5), (0, 5, 1), (2, 3, 7), (2, 7, 6), (0, 2, 6), (0, 6, 4),
    (1, 5, 7), (1, 7, 3),
]  # fmt: skip
Cube = tuple[float, float, float, float]  # corner and side


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return Store(tmp_path_factory.mktemp("cache"))


def stl(path: Path, *cubes: Cube, hollow: tuple[Cube, ...] = ()) -> str:
    """An STL of cubes, those of `hollow` facing inward."""
    lines = ["solid s"]
    for x, y, z, size in (*cubes, *hollow):
        for face in _FACES:
            turned = face[::-1] if (x, y, z, size) in hollow else face
            lines += ["facet normal 0 0 0", "outer loop"]
            lines += ["vertex {:.4f} {:.4f} {:.4f}".format(*(_CORNERS[k] * size + (x, y, z))) for k in turned]
            lines += ["endloop", "endfacet"]
    path.write_text("\n".join([*lines, "endsolid s"]))
    return str(path)


def told(store: Store, file: str, turn: object = IDENTITY) -> list[str]:
    scene = scene_of(store, (ImportedPart(path=file, unit="mm"), turn))  # type: ignore[arg-type]
    return [f.text for f in check(scene, Checker(scene, store))]


@pytest.mark.slow
@settings(max_examples=12, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(at=st.tuples(*[st.integers(-16, 36)] * 3), size=st.integers(2, 10), turned=st.booleans())
def test_a_cube_in_a_cube_is_told_where_it_lies_wholly_inside(
    store: Store, tmp_path: Path, at: tuple[int, int, int], size: int, turned: bool
) -> None:
    # A quarter of a millimetre off the grid: no faces that meet.
    x, y, z = (c + 0.25 for c in at)
    file = stl(tmp_path / "two.stl", (0, 0, 0, 30), (x, y, z, size))
    inside = all(c > 0 and c + size < 30 for c in (x, y, z))
    found = told(store, file, rotation((1, 2, 3), 37) if turned else IDENTITY)
    assert len(found) == inside
    assert all("solid-2 lies wholly inside solid-1" in t and "two.stl" in t for t in found)


def test_a_cube_in_a_hollow_is_not_inside_anything(store: Store, tmp_path: Path) -> None:
    hollow = ((5.0, 5.0, 5.0, 20.0),)
    assert told(store, stl(tmp_path / "box.stl", (0, 0, 0, 30), (10, 10, 10, 5), hollow=hollow)) == []
    assert len(told(store, stl(tmp_path / "solid.stl", (0, 0, 0, 30), (10, 10, 10, 5)))) == 1


@pytest.mark.slow
def test_of_a_step_file_it_is_told_once_with_the_names(store: Store, tmp_path: Path) -> None:
    import cadquery as cq

    tree = cq.Assembly(name="top")
    tree.add(cq.Solid.makeBox(30, 30, 30), name="outer")
    tree.add(cq.Solid.makeCylinder(4, 10, cq.Vector(15, 15, 10)), name="slug")
    tree.add(cq.Solid.makeBox(5, 5, 5, cq.Vector(3, 3, 3)), name="nut")
    tree.add(cq.Solid.makeBox(5, 5, 5, cq.Vector(40, 3, 3)), name="beside")
    tree.export(str(tmp_path / "four.step"))
    scene = scene_of(store, (ImportedPart(path=str(tmp_path / "four.step")), IDENTITY))
    [found] = check(scene, Checker(scene, store))
    assert found.verdict == "caution"
    assert sorted(dict(found.extra)["inside"]) == [["nut", "outer"], ["slug", "outer"]]
