"""Free swivels: never worse than a fixed angle in their range, and set to stand free before anything is judged.

The reference is the same build with the angle written down, its tube planned among fittings that do not turn, and the
engine's own pair checks, which know nothing of how a turn was chosen.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from elbowroom.model import pipeline
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.laying.laying import Laid, lay
from elbowroom.model.laying.swivels import Swivels
from elbowroom.model.layout.directions import toward
from elbowroom.model.layout.layout import Layout
from elbowroom.model.loop.plumbing import Plumbing, plumb
from elbowroom.model.store import Store
from elbowroom.model.told.findings import FAILING
from elbowroom.model.tubes import planner
from elbowroom.model.tubes.rules import BEND_WORTH
from elbowroom.model.tubes.task import Task

# Lengths are searched on grids and then improved, on both sides of the comparison: one may end this much shorter.
SEARCH_SHARE = 0.02

SCENE = """
title: two parts and what stands about
parts:
  a: {{box: custom, length: 60, width: 60, height: 60, at: {{x: 0, y: 0, z: 0}},
      ports: [{{name: out, face: {face}, flow: out}}]}}
  b: {{box: custom, length: 60, width: 60, height: 60, at: {{x: {x}, y: {y}, z: {z}}},
      ports: [{{name: in, face: {other}, flow: in}}]}}
{more}
loop:
  - {{run: a.out -> b.in, start: [{fitting}, hard-tube-14]}}
tube: {tube}
gaps: {{default: 0}}
"""
FACES = ("front", "back", "left", "right", "top")


def written(folder: Path, text: str) -> Path:
    file = folder / "build.yaml"
    file.write_text(text, encoding="utf-8")
    return file


def read(file: Path) -> tuple[Layout, Plumbing | None]:
    placed = pipeline.read(file, Store.default()).placed
    return placed.layout, plumb(placed.build, placed.layout)


def laid(folder: Path, text: str) -> Laid:
    layout, plumbing = read(written(folder, text))
    assert plumbing is not None
    return lay(layout, plumbing, Store.default())


def free_degrees(folder: Path, text: str) -> list[int]:
    layout, plumbing = read(written(folder, text))
    assert plumbing is not None
    store = Store.default()
    swivels = Swivels(solidify(layout, store), store)
    return swivels.free(plumbing.lines[0].start).degrees[:, 0].tolist()


def cost(found: Laid) -> float:
    (route,) = found.routes.values()
    if route.way is None:
        return math.inf
    (tube,) = found.tubes.values()
    return float(tube.part.run.length) + BEND_WORTH * len(route.way.radii)  # type: ignore[attr-defined]


@pytest.fixture(scope="module", autouse=True)
def _cache(tmp_path_factory: pytest.TempPathFactory) -> object:
    with pytest.MonkeyPatch.context() as m:
        m.setenv("ELBOWROOM_CACHE", str(tmp_path_factory.mktemp("cache")))
        yield None


@pytest.mark.slow
@settings(
    max_examples=3, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck),
    phases=[Phase.generate],
)  # fmt: skip
@given(
    face=st.sampled_from(FACES), other=st.sampled_from(FACES),
    b=st.tuples(st.integers(-60, 60), st.integers(150, 240), st.integers(-60, 80)),
    wall=st.tuples(st.integers(-80, 40), st.integers(85, 120), st.integers(-60, 40)), pick=st.integers(0, 10_000),
)  # fmt: skip
def test_a_free_swivel_is_never_worse_than_an_angle_in_its_range(
    tmp_path_factory: pytest.TempPathFactory, face: str, other: str, b: tuple[int, int, int],
    wall: tuple[int, int, int], pick: int,
) -> None:  # fmt: skip
    folder = tmp_path_factory.mktemp("build")
    at = dict(zip("xyz", wall, strict=True))
    more = (
        f"  wall: {{box: custom, length: 90, width: 5, height: 90, at: {{x: {at['x']}, y: {at['y']}, z: {at['z']}}}}}"
    )
    words = {"face": face, "other": other, "x": b[0], "y": b[1], "z": b[2], "more": more, "tube": "petg-14"}
    free = cost(laid(folder, SCENE.format(**words, fitting="rotary-90")))
    degrees = free_degrees(folder, SCENE.format(**words, fitting="rotary-90"))
    rng = np.random.default_rng(pick)
    for angle in rng.choice(degrees, size=min(2, len(degrees)), replace=False).tolist():
        fixed = cost(laid(folder, SCENE.format(**words, fitting=f"{{fitting: rotary-90, angle: {angle}}}")))
        assert free <= fixed * (1 + SEARCH_SHARE), (angle, free, fixed)


def test_a_turn_between_the_tens_is_found_where_only_it_fits(tmp_path: Path) -> None:
    """Two walls leave the elbow's arm a window of a few degrees about a turn that is no multiple of ten."""
    text = SCENE.format(face="top", other="top", x=0, y=160, z=0, more="", tube="petg-14", fitting="rotary-90")
    plain = free_degrees(tmp_path, text)
    assert len(plain) == 360
    layout, plumbing = read(tmp_path / "build.yaml")
    assert plumbing is not None
    store = Store.default()
    swivels = Swivels(solidify(layout, store), store)
    found = swivels.free(plumbing.lines[0].start).take(np.arange(93, 97))
    assert [t[0] for t in np.array(found.degrees).tolist()] == [93, 94, 95, 96]
    picked = swivels._some(found)
    assert {93, 96} <= {int(found.degrees[k, 0]) for k in picked}


TWO_ELBOWS = """
title: two elbows side by side
parts:
  a: {{box: custom, length: 120, width: 60, height: 60, at: {{x: 0, y: 0, z: 0}},
      ports: [{{name: one, face: top, at: [0, 0]}}, {{name: two, face: top, at: [{apart}, 0]}}]}}
{more}
fittings: {{at: {{a.one: [rotary-90, hard-tube-14], a.two: [rotary-90, hard-tube-14]}}}}
"""


@pytest.mark.parametrize("apart", [26, 34, 48])
def test_free_elbows_side_by_side_are_not_set_into_each_other(tmp_path: Path, apart: int) -> None:
    checked = pipeline.check(written(tmp_path, TWO_ELBOWS.format(apart=apart, more="")), Store.default())
    assert [p.name for p in checked.layout.pieces if p.part.family == "fitting"]
    assert not [f.text for f in checked.findings if f.verdict in FAILING]


def test_an_elbow_that_no_run_decides_is_set_where_it_stands_free(tmp_path: Path) -> None:
    """A wall right where the elbow would look if it were left at 0."""
    wall = "  wall: {box: custom, length: 5, width: 200, height: 90, at: {x: 78, y: -70, z: 62}}"
    text = TWO_ELBOWS.format(apart=40, more=wall).replace("a.two: [rotary-90, hard-tube-14]", "a.two: plug")
    checked = pipeline.check(written(tmp_path, text), Store.default())
    assert not [f.text for f in checked.findings if f.verdict in FAILING]
    (told,) = [f for f in checked.findings if f.question == "tube"]
    assert told.verdict == "pass"
    assert "no run decides" in told.text
    # Where it points, in words: degrees have no zero that one sees. By the pose of the fitting it has been set to.
    (elbow,) = [p for p in checked.layout.pieces if "rotary-90" in p.name and "a.one" in p.name]
    (way,) = [f.pose[:3, 2] for f in elbow.part.next_frames()]
    assert f"is turned {toward((elbow.pose[:3, :3] @ way).tolist())}: " in told.text
    assert "deg" not in told.text


def test_an_elbow_with_nowhere_to_stand_is_left_out_and_told(tmp_path: Path) -> None:
    cage = "  cage: {box: custom, length: 120, width: 60, height: 5, at: {x: 0, y: 0, z: 70}}"
    text = TWO_ELBOWS.format(apart=40, more=cage).replace("a.two: [rotary-90, hard-tube-14]", "a.two: plug")
    checked = pipeline.check(written(tmp_path, text), Store.default())
    assert not [p for p in checked.layout.pieces if "a.one" in p.name]
    told = [f for f in checked.findings if f.question == "tube"]
    assert [f.verdict for f in told] == ["caution"]
    assert "left out" in told[0].text
    assert [f for f in checked.findings if f.question == "port-reach" and f.verdict == "fail"]


@pytest.mark.slow
def test_a_search_that_finds_nothing_ends_and_says_what_it_tried(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A wall right before both ports, and turns of the elbow that all stand free: nothing proves that there is none."""
    tasks: list[Task] = []
    search = planner._search

    def watched(task: Task, *words: Any, **more: Any) -> Any:
        tasks.append(task)
        return search(task, *words, **more)

    monkeypatch.setattr(planner, "_search", watched)
    wall = "  wall: {box: custom, length: 90, width: 4, height: 90, at: {x: -15, y: 92, z: -15}}"
    text = SCENE.format(face="left", other="right", x=0, y=130, z=0, more=wall, tube="petg-14", fitting="rotary-90")
    (route,) = laid(tmp_path, text).routes.values()
    assert route.way is None
    assert not route.impossible
    for said in ("36 of 36 turns at the start", "ways of up to 3 bends", "grid"):
        assert said in route.text
    # One lattice, or one batch of looks, may be begun just before the end.
    assert tasks[0].work < planner.MOST_WORK * 1.2
    assert sum(t.work for t in tasks[1:]) < planner.MOST_WORK * 1.2
