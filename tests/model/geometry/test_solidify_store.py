"""Drawing once, keeping safely: a cache that can make an answer faster and never different."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from elbowroom.model import checks, digest
from elbowroom.model.geometry import solidify as module
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.geometry.solidify import CannotDraw, shape_key, solidify
from elbowroom.model.layout.layout import Layout
from elbowroom.model.store import Store, sealed, unsealed
from elbowroom.parts.fan.fan import Fan
from elbowroom.parts.made.primitives import PlainBox, PlainCylinder
from elbowroom.parts.made.sheet import PlainSheet
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.pose import IDENTITY, compose, rotation, shift
from tests.model.shapes_for_tests import Ball, Block, GivenMesh, Hook, Rod, Shell, Undrawable, layout_of


def build() -> Layout:
    """Overlap, contact, gap, and a pair only the exact kernel can decide."""
    return layout_of(
        (Block(), IDENTITY), (Rod(), shift(14.9, 5, 0)), (Rod(), shift(24.9, 5, 0)), (Hook(), shift(30.4, 0, 0)),
        (Ball(), shift(10, 5, 14.5)),
    )  # fmt: skip


def answers(store: Store, layout: Layout | None = None) -> list[dict[str, Any]]:
    return [f.to_json() for f in checks.run(solidify(layout or build(), store), store)]


@pytest.fixture(scope="module")
def truth(tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, Any]]:
    found = answers(Store(tmp_path_factory.mktemp("truth")))
    assert {"clash", "tight", "touch", "clear"} <= {f["verdict"] for f in found}
    return found


def test_each_shape_is_drawn_once_and_shared(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    drawn: list[str] = []
    monkeypatch.setattr(module, "draw", lambda part: drawn.append(part.family) or _draw(part))
    layout = layout_of((Block(), IDENTITY), (Block(), shift(20)), (Block(x=11), shift(40)), (Block(), ODD_POSE))
    scene = solidify(layout, Store(tmp_path))
    assert drawn == ["block", "block"]
    assert scene.solids[0].shape is scene.solids[1].shape is scene.solids[3].shape
    drawn.clear()
    solidify(layout, Store(tmp_path))
    assert drawn == []


ODD_POSE = compose(shift(60, 3, 4), rotation((1, 2, 3), 37))
_draw = module.draw


def test_solids_stand_where_their_pieces_do() -> None:
    store = Store(Path(os.devnull))
    scene = solidify(layout_of((Shell(), ODD_POSE), (Fan(), IDENTITY)), store)
    assert [s.name for s in scene.solids] == ["p1/body", "p2/frame", "p2/blades"]
    shell = scene.solids[0]
    corners = np.array([[x, y, z] for x in (-20, 20) for y in (-20, 20) for z in (-20, 20)]) @ ODD_POSE[:3, :3].T
    np.testing.assert_allclose(shell.lo, corners.min(axis=0) + ODD_POSE[:3, 3], atol=1e-9)
    np.testing.assert_allclose(shell.hi, corners.max(axis=0) + ODD_POSE[:3, 3], atol=1e-9)


def test_the_key_covers_class_and_dimensions() -> None:
    pieces = layout_of((Block(), IDENTITY), (Block(), shift(1)), (Block(z=11), IDENTITY), (Rod(), IDENTITY)).pieces
    keys = [shape_key(p) for p in pieces]
    assert keys[0] == keys[1]
    assert len(set(keys)) == 3

    class Lookalike(Block):
        pass

    assert shape_key(layout_of((Lookalike(), IDENTITY)).pieces[0]) != keys[0]


@pytest.mark.slow
def test_workers_draw_what_this_process_would(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "POOL_FROM_LOADED", module.POOL_FROM)
    parts: list[Part] = [Fan(), Fan(depth=30), PlainBox(), PlainCylinder(bore=20), PlainSheet()]  # type: ignore[arg-type]
    layout = layout_of(*[(p, shift(200.0 * k)) for k, p in enumerate(parts)])
    seen: list[tuple[int, int, str]] = []
    scene = solidify(layout, Store(tmp_path), lambda *step: seen.append(step))
    assert [done for done, _, _ in seen] == [1, 2, 3, 4, 5]
    assert {total for _, total, _ in seen} == {5}
    for piece, part in zip(layout.pieces, parts, strict=True):
        own = module.unpack(_draw(part).meshes)
        drawn = next(s.shape for s in scene.solids if s.piece is piece)
        assert drawn.brep is not None
        for name, mesh in own.items():
            assert np.array_equal(mesh.vertices, drawn.meshes[name].vertices)
            assert np.array_equal(mesh.triangles, drawn.meshes[name].triangles)
            assert mesh.bound == drawn.meshes[name].bound


def test_without_workers_it_is_drawn_here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: Any, **__: Any) -> None:
        raise OSError("no more processes")

    monkeypatch.setattr(module, "POOL_FROM_LOADED", module.POOL_FROM)
    monkeypatch.setattr(subprocess, "Popen", refuse)
    layout = layout_of((Block(), IDENTITY), (Rod(), shift(20)), (Ball(), shift(40)), (Shell(), shift(80)))
    assert len(solidify(layout, Store(tmp_path)).solids) == 4


def test_a_shape_that_cannot_be_drawn_names_its_piece(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "POOL_FROM_LOADED", module.POOL_FROM)
    for others in ((), ((Rod(), shift(20)), (Ball(), shift(40)), (Shell(), shift(80)))):
        with pytest.raises(CannotDraw, match=r"p2: the undrawable .* thinner than nothing"):
            solidify(layout_of((Block(), IDENTITY), (Undrawable(), shift(30)), *others), Store(tmp_path))


def test_a_users_mesh_keeps_its_fault_and_has_no_exact_form(tmp_path: Path) -> None:
    for _ in range(2):
        scene = solidify(layout_of((GivenMesh(), IDENTITY), (GivenMesh(open_top=True), shift(30))), Store(tmp_path))
        sound, faulty = (s.mesh for s in scene.solids)
        assert (sound.bound, sound.fault, sound.volume_mm3) == (0.0, None, pytest.approx(1000.0))
        assert faulty.fault is not None
        assert scene.solids[0].shape.brep is None


@pytest.mark.slow
def test_the_warm_path_loads_no_kernel(tmp_path: Path) -> None:
    """In a fresh process: nothing of CadQuery, OCP, trimesh or the mesh kernels."""
    program = (
        "import sys; from pathlib import Path; from tests.model.geometry.test_solidify_store import *;"
        "print(len(answers(Store(Path(sys.argv[1])))));"
        "heavy = {'cadquery', 'OCP', 'trimesh', 'coal', 'manifold3d', 'numba', 'scipy'};"
        "print(sorted({m.split('.')[0] for m in sys.modules} & heavy))"
    )
    run = [sys.executable, "-c", program, str(tmp_path)]
    root = Path(__file__).parents[3]
    env = {**os.environ, "PYTHONPATH": str(root)}
    first = subprocess.run(run, capture_output=True, text=True, cwd=root, env=env, check=True).stdout.splitlines()
    second = subprocess.run(run, capture_output=True, text=True, cwd=root, env=env, check=True).stdout.splitlines()
    assert first[0] == second[0]
    assert "OCP" in first[1]
    assert second[1] == "[]"


# The cache under attack -----------------------------------------------------------------------------------------------


def damage(folder: Path, how: str) -> None:
    for path in [p for p in folder.rglob("*") if p.is_file()]:
        data = path.read_bytes()
        if how == "truncated":
            path.write_bytes(data[: len(data) // 2])
        elif how == "emptied":
            path.write_bytes(b"")
        elif how == "flipped":
            middle = len(data) // 2
            path.write_bytes(data[:middle] + bytes([data[middle] ^ 0xFF] if data else b"") + data[middle + 1 :])
        elif how == "replaced":
            path.write_bytes(b"not what was here" * 40)
        elif how == "deleted":
            path.unlink()


@pytest.mark.slow
@pytest.mark.parametrize("how", ["truncated", "emptied", "flipped", "replaced", "deleted"])
def test_a_damaged_cache_changes_no_answer(tmp_path: Path, truth: list[dict[str, Any]], how: str) -> None:
    assert answers(Store(tmp_path)) == truth
    damage(tmp_path, how)
    assert answers(Store(tmp_path)) == truth
    assert answers(Store(tmp_path)) == truth  # and it has healed


def test_false_records_of_the_right_form_are_found_out(tmp_path: Path, truth: list[dict[str, Any]]) -> None:
    """Whole rows of the database overwritten: the seal does not fit."""
    store = Store(tmp_path)
    assert answers(store) == truth
    with sqlite3.connect(tmp_path / "pairs.sqlite") as db:
        rows = db.execute("SELECT id, value FROM record").fetchall()
        assert len(rows) >= 5
        db.executemany("UPDATE record SET value = ? WHERE id = ?", [(v[:-3] + b"9.9", i) for i, v in rows])
    assert answers(Store(tmp_path)) == truth


@pytest.mark.parametrize("kind", ["a file", "under a file", "a device"])
def test_a_folder_that_cannot_be_written_changes_no_answer(
    tmp_path: Path, truth: list[dict[str, Any]], kind: str
) -> None:
    (tmp_path / "file").write_text("in the way")
    folder = {"a file": tmp_path / "file", "under a file": tmp_path / "file" / "x", "a device": Path("/dev/null/x")}[
        kind
    ]
    store = Store(folder)
    assert store.folder != folder
    assert answers(store) == truth
    assert (tmp_path / "file").read_text() == "in the way"


def test_a_cache_that_stops_being_writable_changes_no_answer(
    tmp_path: Path, truth: list[dict[str, Any]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk: every write after the first fails."""
    store = Store(tmp_path)

    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    assert answers(store) == truth
    assert not list(tmp_path.glob("??/*"))  # no half-written file is left behind either


ANSWER = (
    "import json, sys; from pathlib import Path; sys.path.insert(0, sys.argv[2]);"
    "from tests.model.geometry.test_solidify_store import Store, answers;"
    "print(json.dumps(answers(Store(Path(sys.argv[1])))))"
)


@pytest.mark.slow
def test_several_may_fill_one_cache_at_once(tmp_path: Path, truth: list[dict[str, Any]]) -> None:
    """Several commands, started together; the geometry kernel itself is not made for threads of one process."""
    command = [sys.executable, "-c", ANSWER, str(tmp_path), str(Path(__file__).parents[3])]
    running = [subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) for _ in range(3)]
    for one in running:
        said, faults = one.communicate()
        assert one.returncode == 0, faults
        assert json.loads(said) == json.loads(json.dumps(truth))
    assert answers(Store(tmp_path)) == truth


def test_threads_may_share_a_folder(tmp_path: Path) -> None:
    wrong: list[object] = []

    def work(seed: int) -> None:
        try:
            store = Store(tmp_path)
            for k in range(40):
                name, content = f"{k:02d}-entry", bytes([k]) * 500
                store.write(name, content)
                store.keep_records({name.encode(): content})
                if store.read(name) != content or store.records([name.encode()]).get(name.encode(), content) != content:
                    wrong.append((seed, k))
        except Exception as fault:
            wrong.append(fault)

    threads = [threading.Thread(target=work, args=(n,)) for n in range(4)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert wrong == []


def test_the_oldest_files_make_room(tmp_path: Path) -> None:
    store = Store(tmp_path)
    for k in range(10):
        store.write(f"{k:02d}-entry", bytes(1000))
        os.utime(store.path(f"{k:02d}-entry"), (k, k))
    store.trim(limit=4500)
    kept = [k for k in range(10) if store.read(f"{k:02d}-entry") is not None]
    assert kept == [6, 7, 8, 9]


def test_sealed_bytes_come_back_whole_or_not_at_all() -> None:
    data = sealed(b"key", b"payload")
    assert unsealed(b"key", data) == b"payload"
    assert unsealed(b"another", data) is None
    for k in range(len(data)):
        assert unsealed(b"key", data[:k]) is None
        assert unsealed(b"key", data[:k] + bytes([data[k] ^ 1]) + data[k + 1 :]) is None


def test_the_folder_follows_the_environment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ELBOWROOM_CACHE", str(tmp_path / "own"))
    assert Store.default().folder == tmp_path / "own"
    monkeypatch.delenv("ELBOWROOM_CACHE")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "xdg"))
    assert Store.default().folder == tmp_path / "xdg" / "elbowroom"
    monkeypatch.delenv("XDG_CACHE_HOME")
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    assert Store.default().folder == tmp_path / "home" / ".cache" / "elbowroom"


def test_after_one_move_only_that_pieces_pairs_are_judged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from elbowroom.model.geometry import pairs

    store = Store(tmp_path)
    placed = [(Block(), shift(12.0 * (k % 4), 12.0 * (k // 4), 0)) for k in range(12)]
    answers(store, layout_of(*placed))
    asked: list[set[str]] = []
    make = pairs.Checker._make

    def spy(self: pairs.Checker, first: int, second: int, *rest: Any) -> Any:
        asked.append({self.scene.solids[k].piece.name for k in (first, second)})
        return make(self, first, second, *rest)

    monkeypatch.setattr(pairs.Checker, "_make", spy)
    answers(store, layout_of(*placed))
    assert asked == []
    placed[5] = (Block(), shift(12.4, 12.3, 0.7))
    answers(store, layout_of(*placed))
    assert asked
    assert all("p6" in names for names in asked)


def test_a_scene_without_pieces_or_with_one_has_no_pairs(tmp_path: Path) -> None:
    store = Store(tmp_path)
    empty: Scene = solidify(layout_of(), store)
    assert checks.run(empty, store) == []
    assert checks.run(solidify(layout_of((Block(), IDENTITY)), store), store) == []


def test_another_version_of_the_code_tells_the_same_of_what_it_did_not_change(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where many points are equally near, which of them are told hangs on what the bodies are and on nothing else."""
    faces = layout_of(
        (Block(x=40, y=40), IDENTITY), (Block(x=11, y=14), shift(3, 5, 12)), (Rod(), shift(20, 20, 13)),
        (Block(x=50, y=8), shift(-5, 20, -12)), (Rod(), compose(shift(5, 30, 16), rotation((0, 1, 0), 90))),
    )  # fmt: skip
    for layout in (faces, build()):
        found = []
        for version in range(5):
            monkeypatch.setattr(digest, "version", lambda version=version: f"{version}")
            found.append(answers(Store(tmp_path / f"{version} {len(layout.pieces)} {layout is faces}"), layout))
        assert all(again == found[0] for again in found[1:])
