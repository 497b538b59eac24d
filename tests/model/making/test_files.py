"""The files as their readers see them: admesh, a slicer, lib3mf in strict mode, gmsh; and files that are not ours."""

from __future__ import annotations

import math
import os
import re
import shutil
import subprocess
import sys
import zipfile
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from elbowroom.model.build.make_spec import PrinterSpec
from elbowroom.model.making import Made, advice, make, write
from elbowroom.model.making.adapters import layer_text
from elbowroom.model.making.orders import ordered
from elbowroom.model.store import Store
from elbowroom.model.writers.atomic import OutputError
from elbowroom.parts.made.riser import Riser

COMMAND = [sys.executable, "-c", "from elbowroom.model.command.cli import main; main()"]
BUILD = """\
title: Bench set «größe»
make:
  - {riser: riser-12x18, height: [18, 22], count: 4}
  - {riser: custom, height: 25, across: 12, base: 16, name: tapered}
  - {spacer: custom, height: 10, outer: 12}
printer: {bed: [90, 60, 100], layer: 0.2}
"""
M4_MEDIUM = 4.5  # mm, ISO 273 medium fit, V
REL_32 = 1e-5  # of a length: what rounding to 32 bits changes
CHORD_MM = 0.016  # 1.5 times the chord asked for: what a facet may stand off its circle


@pytest.fixture(scope="module")
def cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("cache")


@pytest.fixture(scope="module")
def run(cache: Path):  # type: ignore[no-untyped-def]
    def run(*words: object, cwd: Path, **env: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [*COMMAND, *map(str, words)], capture_output=True, text=True, timeout=120, cwd=cwd,
            env={**os.environ, "ELBOWROOM_CACHE": str(cache), **env},
        )  # fmt: skip

    return run


@pytest.fixture(scope="module")
def out(run, tmp_path_factory: pytest.TempPathFactory) -> Path:  # type: ignore[no-untyped-def]
    """The set as the command writes it, nothing drawn before."""
    folder = tmp_path_factory.mktemp("made")
    (folder / "b.yaml").write_text(BUILD, encoding="utf-8")
    done = run("make", "b.yaml", "--to", "out", cwd=folder, PYTHONHASHSEED="1")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "wrote out/making.txt" in done.stdout
    return folder / "out"


LABELS = ["riser-12x18", "riser-12x12x22", "tapered", "spacer-12x12x10", "coupon"]


def contents(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def tool(name: str) -> str:
    found = shutil.which(name)
    assert found is not None, f"{name} is not installed; tests/run.sh installs it"
    return found


def corners(path: Path) -> Any:
    import trimesh

    return trimesh.load_mesh(path, process=False).triangles


@pytest.mark.slow
def test_every_part_is_written_once_in_each_format(out: Path) -> None:
    wanted = {f"print/{n}.stl" for n in LABELS} | {f"step/{n}.step" for n in LABELS}
    assert set(contents(out)) == wanted | {"making.txt", "print/bed-1.3mf", "print/coupon.3mf"}


def test_an_outside_tool_finds_nothing_to_repair_in_the_stl(out: Path) -> None:
    for path in sorted((out / "print").glob("*.stl")):
        said = subprocess.run([tool("admesh"), path], capture_output=True, text=True, check=True, timeout=60).stdout
        counts = dict(re.findall(r"^(.*?)\s*:\s+(\d+)", said, re.MULTILINE))
        for fault in ("Total disconnected facets", "Degenerate facets", "Edges fixed", "Facets removed", "Facets added",
                      "Facets reversed", "Backwards edges", "Normals fixed"):  # fmt: skip
            assert counts[fault] == "0", f"{path.name}: {fault}"
        assert counts["Number of parts"] == "1"
        assert corners(path)[:, :, 2].min() == 0.0


def test_printed_holes_are_wider_and_heights_are_as_designed(out: Path) -> None:
    for name, height in (("riser-12x18", 18.0), ("riser-12x12x22", 22.0), ("spacer-12x12x10", 10.0)):
        points = corners(out / f"print/{name}.stl").reshape(-1, 3)
        assert np.hypot(points[:, 0], points[:, 1]).min() == pytest.approx((M4_MEDIUM + 0.2) / 2, abs=1e-4)
        assert points[:, 2].max() == pytest.approx(height, rel=REL_32)


def test_step_is_the_part_as_designed(out: Path) -> None:
    import gmsh

    gmsh.initialize()
    try:
        gmsh.option.setNumber("General.Terminal", 0)
        for name, outer, height in (("riser-12x18", 12, 18), ("spacer-12x12x10", 12, 10)):
            gmsh.clear()
            [(_, tag)] = gmsh.model.occ.importShapes(str(out / f"step/{name}.step"))
            wanted = math.pi / 4 * (outer**2 - M4_MEDIUM**2) * height
            assert gmsh.model.occ.getMass(3, tag) == pytest.approx(wanted, rel=1e-6)
    finally:
        gmsh.finalize()


def beds(out: Path) -> list[Path]:
    return sorted((out / "print").glob("bed-*.3mf"))


def test_beds_are_strictly_clean_and_hold_every_copy_apart_on_the_bed(out: Path) -> None:
    import lib3mf
    import shapely

    wrapper = lib3mf.Wrapper(os.path.join(os.path.dirname(lib3mf.__file__), "lib3mf"))
    held: Counter[str] = Counter()
    for path in [*beds(out), out / "print/coupon.3mf"]:
        model = wrapper.CreateModel()
        reader = model.QueryReader("3mf")
        reader.SetStrictModeActive(True)
        reader.ReadFromFile(str(path))
        assert reader.GetWarningCount() == 0
        assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
        assert "Bench set «größe»" in model.GetMetaDataGroup().GetMetaDataByKey("", "Title").GetValue()
        items = model.GetBuildItems()
        shapes, used = [], set()
        while items.MoveNext():
            item = items.GetCurrent()
            mesh = model.GetMeshObjectByID(item.GetObjectResourceID())
            assert mesh.IsManifoldAndOriented()
            used.add(item.GetObjectResourceID())
            held[mesh.GetName()] += 1
            points = np.array([v.Coordinates[:] for v in mesh.GetVertices()])
            fields = np.array([row[:] for row in item.GetObjectTransform().Fields])
            placed = points @ fields[:3] + fields[3]
            assert placed[:, 2].min() == 0.0
            assert placed.min() >= 0.0
            assert placed[:, 0].max() <= 90.0
            assert placed[:, 1].max() <= 60.0
            shapes.append(shapely.MultiPoint(placed[:, :2]).convex_hull)
            stl = corners(path.parent / f"{mesh.GetName()}.stl")
            assert mesh.GetTriangleCount() == len(stl)
        objects = model.GetMeshObjects()
        assert objects.Count() == len(used)  # one mesh a shape, however many copies
        for i, a in enumerate(shapes):
            assert all(a.distance(b) >= 5.0 - 1e-3 for b in shapes[i + 1 :])
    assert held == {"riser-12x18": 4, "riser-12x12x22": 4, "tapered": 1, "spacer-12x12x10": 1, "coupon": 1}


def sliced(path: Path, folder: Path) -> tuple[float, int]:
    """mm of 1.75 mm filament and number of 0.2 mm layers, by the slicer."""
    target = folder / f"{path.stem}.gcode"
    words = ["--layer-height", "0.2", "--first-layer-height", "0.2", "--filament-diameter", "1.75", "--dont-arrange"]
    done = subprocess.run(
        [tool("slic3r"), *words, "--skirts", "0", "--output", target, path], capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 0, done.stderr
    assert "repair" not in (done.stdout + done.stderr).lower()
    text = target.read_text()
    [used] = re.findall(r"; filament used = ([\d.]+)mm", text)
    heights = {float(z) for z in re.findall(r"^G1 Z([\d.]+)", text, re.MULTILINE)}
    return float(used), len({h for h in heights if abs(h / 0.2 - round(h / 0.2)) < 1e-6 and h < 5 + 95})


def informed(path: Path) -> dict[str, str]:
    said = subprocess.run([tool("slic3r"), "--info", path], capture_output=True, text=True, timeout=60)
    assert said.returncode == 0, said.stderr
    assert not said.stderr
    return dict(re.findall(r"^(\w+) = \s*(\S+)", said.stdout, re.MULTILINE))


def test_a_slicer_reads_and_slices_a_riser_without_repair(out: Path, tmp_path: Path) -> None:
    path = out / "print/riser-12x18.stl"
    info = informed(path)
    assert info["manifold"] == "yes"
    assert info["number_of_parts"] == "1"
    assert not {"degenerate_facets", "edges_fixed", "facets_removed", "facets_added", "facets_reversed",
                "backwards_edges"} & set(info)  # said only where something was repaired  # fmt: skip
    hollow = math.pi / 4 * (12**2 - (M4_MEDIUM + 0.2) ** 2)
    assert float(info["volume"]) == pytest.approx(hollow * 18, rel=0.003)
    used, layers = sliced(path, tmp_path)
    assert layers == 90
    # A whole riser would take its volume as a strand of 1.75 mm; walls of three lines and sparse filling take less.
    whole = hollow * 18 / (math.pi / 4 * 1.75**2)
    assert 0.4 * whole < used < 1.05 * whole


@pytest.mark.slow
def test_a_slicer_reads_and_slices_a_bed(out: Path, tmp_path: Path) -> None:
    for path in beds(out):
        info = informed(path)
        assert info["manifold"] == "yes"
        one, _ = sliced(out / "print/riser-12x18.stl", tmp_path)
        used, layers = sliced(path, tmp_path)
        assert layers == 125  # as many as the highest part's, 25 mm
        assert used > 8 * one  # four of 18 and four of 22 mm, and two more


@pytest.mark.slow
def test_two_processes_write_the_same_bytes(run, out: Path, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    (tmp_path / "b.yaml").write_text(BUILD, encoding="utf-8")
    done = run("make", "b.yaml", "--to", "out", cwd=tmp_path, PYTHONHASHSEED="4242")
    assert done.returncode == 0, done.stderr
    first, second = contents(out), contents(tmp_path / "out")
    assert [n for n in first if first[n] != second[n]] == []
    assert set(first) == set(second)


def test_the_sheet_says_what_to_print_and_what_to_take_care_of(out: Path) -> None:
    text = (out / "making.txt").read_text(encoding="utf-8")
    for words in ("4 x riser-12x18", "1 x tapered", "as drawn, its own z up", "ASA (softens at 95-100 °C",
                  "layers of 0.2 mm, supports none", "bed 90 x 60 x 100", "1 x coupon to try the 4.5 mm hole",
                  "assumed: common practice, no source; P", "eye protection", "Never drill", "creep", "Deburr", "codes",
                  "0.2 mm wider than designed"):  # fmt: skip
        assert words in text, words


# What is not ours, and what is left ----------------------------------------------------------------------------------


@pytest.fixture
def made(cache: Path, monkeypatch: pytest.MonkeyPatch):  # type: ignore[no-untyped-def]
    monkeypatch.setenv("ELBOWROOM_CACHE", str(cache))

    def made(folder: Path, *overrides: str, only: tuple[str, ...] = ("stl", "3mf", "step")) -> Made:
        return make(None, folder, only, "riser-12x18", overrides, store=Store(cache))

    return made


@pytest.mark.parametrize("name", ["making.txt", "print/riser-12x18.stl", "print/bed-1.3mf", "step/riser-12x18.step"])
def test_a_file_that_is_not_ours_is_left_and_nothing_is_written(made, tmp_path: Path, name: str) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "out" / name
    path.parent.mkdir(parents=True)
    path.write_bytes(b"solid somebody else's\n")
    with pytest.raises(OutputError, match="elbowroom did not write it"):
        made(tmp_path / "out")
    assert contents(tmp_path / "out") == {name: b"solid somebody else's\n"}


@pytest.mark.slow
def test_our_own_files_are_written_again_and_older_ones_told(made, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    first = made(tmp_path)
    assert first.notes == []
    again = made(tmp_path, "height=20")
    assert "print/riser-12x18.stl is from an earlier run; it is left as it is" in again.notes
    assert (tmp_path / "print/riser-12x18.stl").is_file()
    (tmp_path / "print/mine.stl").write_bytes(b"solid mine")
    assert not any("mine.stl" in n for n in made(tmp_path, "height=20").notes)


@pytest.mark.slow
def test_a_plate_as_a_layer_is_ours_too_and_is_written_again(cache: Path, tmp_path: Path) -> None:
    part, printer = Riser(material="printed"), PrinterSpec()
    entry = layer_text(part, "low radiator.b", (1.5, 0.0))
    order = ordered("plate", part, 1, (), advice.alone(part), printer, entry=entry)
    for _ in range(2):
        done = write("t", [order], printer, tmp_path, ("stl",), store=Store(cache))
        assert "layers/plate.yaml" in {p.relative_to(tmp_path).as_posix() for p in done.paths}
    (tmp_path / "layers/plate.yaml").write_text("# my own notes\n")
    with pytest.raises(OutputError, match="elbowroom did not write it"):
        write("t", [order], printer, tmp_path, ("stl",), store=Store(cache))


def test_a_fault_in_writing_leaves_the_earlier_files(made, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    made(tmp_path)
    before = contents(tmp_path)
    (tmp_path / "step/riser-12x12x20.step").mkdir()
    with pytest.raises(OutputError, match="there is a folder of that name"):
        made(tmp_path, "height=20")
    assert contents(tmp_path) == before


def test_only_the_formats_named_are_written(made, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    made(tmp_path, only=("3mf",))
    assert set(contents(tmp_path)) == {"making.txt", "print/bed-1.3mf", "print/coupon.3mf"}
    with zipfile.ZipFile(tmp_path / "print/bed-1.3mf") as archive:
        assert archive.testzip() is None


@pytest.mark.slow
def test_a_part_too_large_fails_with_where_to_split_and_is_on_none(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    done = run("make", "--part", "riser", "--set", "height=120", "--set", "printer.bed=[60, 60, 100]", "--to", "out",
               cwd=tmp_path)  # fmt: skip
    assert done.returncode == 1, done.stderr
    assert "split it at z = 60 of the STL" in done.stdout
    assert "does not fit the bed and is on none" in done.stdout
    assert (tmp_path / "out/print/riser-12x12x120.stl").is_file()
    assert not (tmp_path / "out/print/bed-1.3mf").exists()


@pytest.mark.slow
@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "name a build file, or one part"),
        (["--part", "rizer"], 'no family or catalogue size "rizer"; nearest: "riser"'),
        (["--part", "riser", "--only", "obj"], 'no format "obj"; known: 3mf, step, stl'),
        (["--part", "riser", "--set", "height"], "expected path=value"),
        (["none.yaml"], "cannot read the build file"),
    ],
)
def test_bad_input_is_refused_and_nothing_is_written(run, tmp_path: Path, words: list[str], said: str) -> None:  # type: ignore[no-untyped-def]
    done = run("make", *words, "--to", "out", cwd=tmp_path)
    assert done.returncode == 2
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_build_without_anything_to_make_says_so(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    (tmp_path / "b.yaml").write_text("title: t\nparts: {a: {box: custom, at: {x: 0, y: 0, z: 0}}}\n")
    done = run("make", "b.yaml", "--to", "out", cwd=tmp_path)
    assert done.returncode == 2
    assert "nothing to make" in done.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.slow
def test_the_printed_pieces_of_a_build_are_made_with_what_they_touch(run, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    (tmp_path / "b.yaml").write_text(
        "title: t\nparts:\n  rad: {radiator: radiator-240x27, at: {x: 0, y: 0, z: 0}}\n"
        "  left: {riser: riser-20x30-printed, on: rad.b}\n"
        "  right: {riser: riser-20x30-printed, on: rad.b, offset: [40, 0]}\n"
        "  metal: {riser: riser-12x18, on: rad.b, offset: [-40, 0]}\nprinter: {material: petg}\n"
    )
    done = run("make", "b.yaml", "--to", "out", "--only", "stl", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "2 x riser-20x30-printed" in done.stdout
    assert "12x18" not in done.stdout
    text = (tmp_path / "out/making.txt").read_text(encoding="utf-8")
    assert "2 x riser-20x30-printed for left, right" in text
    assert "the printer's PETG softens at 75-85 °C" in text
    assert "it touches rad, which gets to 70 °C" in text
