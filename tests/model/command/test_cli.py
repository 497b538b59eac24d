"""The commands as a user runs them: what they print, write and return, on good builds and on bad ones."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from elbowroom.model import demos
from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import read
from elbowroom.model.schema import build_schema

COMMAND = [sys.executable, "-c", "from elbowroom.model.command.cli import main; main()"]
BOX = "{box: custom, length: 10, width: 10, height: 10, at: {x: %s, y: 0, z: 0}}"


@pytest.fixture
def run(tmp_path: Path):  # type: ignore[no-untyped-def]
    def run(*words: object, **env: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [*COMMAND, *map(str, words)], capture_output=True, text=True, timeout=300, cwd=tmp_path,
            env={**os.environ, **env},
        )  # fmt: skip

    return run


def build(folder: Path, *xs: float, extra: str = "") -> Path:
    file = folder / "build.yaml"
    parts = "".join(f"  b{i}: {BOX % x}\n" for i, x in enumerate(xs))
    file.write_text(f"title: boxes\nparts:\n{parts}{extra}", encoding="utf-8")
    return file


@pytest.mark.parametrize(
    ("xs", "status", "verdict", "measured"),
    # Two 10 mm cubes: 5 apart, 0.5 apart (1 wanted), touching, 2 deep, one inside the other's place.
    [
        ((0, 15), 0, "clear", 5.0),
        ((0, 10.5), 1, "tight", 0.5),
        ((0, 10), 1, "touch", 0.0),
        ((0, 8), 1, "clash", 2.0),
        ((0, 0), 1, "clash", 10.0),
    ],
)
def test_exit_status_and_verdict_of_two_cubes(run, tmp_path, xs, status, verdict, measured) -> None:  # type: ignore[no-untyped-def]
    done = run("check", build(tmp_path, *xs), "--json", "-")
    assert done.returncode == status, done.stderr
    report = json.loads(done.stdout)
    assert report["format"] == 1
    assert report["build"] == "boxes"
    assert report["verdict"] == ("fits" if status == 0 else "fails")
    [finding] = report["findings"]
    assert finding["verdict"] == verdict
    assert finding["parts"] == ["b0", "b1"]
    assert finding["unit"] == "mm"
    assert finding["measured"] == pytest.approx(measured, abs=1e-6)  # flat against flat is exact to a nanometre
    assert {"id", "question", "required", "low", "high", "where", "basis", "text", "remedies"} <= set(finding)


@pytest.mark.slow
def test_a_part_whose_mesh_cannot_be_trusted_leaves_the_build_unknown(run, tmp_path) -> None:  # type: ignore[no-untyped-def]
    (tmp_path / "open.stl").write_text(
        "solid open\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 9 0 0\nvertex 0 9 0\nendloop\nendfacet\n"
        "endsolid open\n"
    )
    file = build(tmp_path, 40, extra="  mine: {file: open.stl, unit: mm, at: {x: 0, y: 0, z: 0}}\n")
    done = run("check", file)
    assert done.returncode == 3, done.stdout + done.stderr
    assert "unknown whether it fits" in done.stdout


@pytest.mark.slow
def test_set_changes_one_value(run, tmp_path) -> None:  # type: ignore[no-untyped-def]
    file = build(tmp_path, 0, 15)
    assert run("check", file, "--set", "parts.b1.at.x=8").returncode == 1
    done = run("check", file, "--set", "parts.b1.at.xx=8")
    assert done.returncode == 2
    assert 'unknown key "xx"' in done.stderr


BAD = [
    "title: t\nparts: {a: {box: custom}}\n",
    "title: t\nparts: {}\n",
    "title: t\nparts: {a: {file: face.step, at: {x: 0, y: 0, z: 0}}}\n",
    "title: t\nparts: [1, 2\n",
    "title: t\nparts: {a: {file: ../../etc/passwd, unit: mm, at: {x: 0, y: 0, z: 0}}}\n",
    "title: t\nparts: {a: {file: none.step, at: {x: 0, y: 0, z: 0}}}\n",
    "title: t\nparts: {a: {file: junk.step, at: {x: 0, y: 0, z: 0}}}\n",
    "title: t\nparts: {a: {file: junk.stl, unit: mm, at: {x: 0, y: 0, z: 0}}}\n",
    "title: t\nparts: {a: {file: junk.stl, at: {x: 0, y: 0, z: 0}}}\n",
    "title: t\ncase: {like: case-atx-tower, sheet: -1}\n",
    "title: t\ncase: {like: case-atx-tower, interior: {width: .nan}}\n",
    "title: t\nparts: {a: {box: custom, on: 'b.*'}, b: {box: custom, on: a.top}}\n",
    "title: t\nparts: {a: {sheet: custom, holes: [" + "{at: [0, 0], diameter: 3}, " * 5000 + "]}}\n",
    "title: t\ncase: {like: case-atx-tower}\nstacks: {roof: {flow: in, layers: [{radiator: radiator-420x30}]}}\n",
]


@pytest.mark.parametrize("text", [*BAD[:4], *(pytest.param(t, marks=pytest.mark.slow) for t in BAD[4:])])
def test_bad_input_exits_2_with_places_and_writes_nothing(run, tmp_path, text) -> None:  # type: ignore[no-untyped-def]
    (tmp_path / "junk.step").write_bytes(b"ISO-10303-21;\nHEADER;\n" + os.urandom(1000))
    (tmp_path / "junk.stl").write_bytes(os.urandom(500))
    (tmp_path / "face.step").write_text(
        "ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION((''),'2;1');\nFILE_NAME('','',(''),(''),'','','');\n"
        "FILE_SCHEMA(('AUTOMOTIVE_DESIGN'));\nENDSEC;\nDATA;\nENDSEC;\nEND-ISO-10303-21;\n"
    )
    file = tmp_path / "bad.yaml"
    file.write_text(text, encoding="utf-8")
    before = sorted(tmp_path.iterdir())
    done = run("export", file, "--to", "out")
    assert done.returncode == 2, done.stdout
    assert "Traceback" not in done.stderr
    assert "bad.yaml:" in done.stderr
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.slow
def test_a_failed_export_leaves_the_earlier_files_whole(run, tmp_path) -> None:  # type: ignore[no-untyped-def]
    file = build(tmp_path, 0, 15)
    assert run("export", file, "--to", "out", "--only", "json").returncode == 0
    before = {p: p.read_bytes() for p in (tmp_path / "out").rglob("*") if p.is_file()}
    file.write_text("title: [", encoding="utf-8")
    assert run("export", file, "--to", "out").returncode == 2
    assert {p: p.read_bytes() for p in (tmp_path / "out").rglob("*") if p.is_file()} == before
    (tmp_path / "taken").write_text("a file where a folder is asked for")
    build(tmp_path, 0, 15)
    done = run("export", file, "--to", "taken")
    assert done.returncode == 2
    assert "taken" in done.stderr
    assert run("export", file, "--to", "out", "--only", "stepp").returncode == 2


@pytest.mark.slow
def test_a_new_build_fits_and_is_never_overwritten(run, tmp_path) -> None:  # type: ignore[no-untyped-def]
    assert run("new", "mine.yaml").returncode == 0
    done = run("check", "mine.yaml")
    assert done.returncode == 0, done.stdout
    (tmp_path / "mine.yaml").write_text("# my work\n")
    assert run("new", "mine.yaml").returncode == 2
    assert (tmp_path / "mine.yaml").read_text() == "# my work\n"


@pytest.mark.slow
def test_a_warm_check_loads_no_geometry_kernel(tmp_path) -> None:  # type: ignore[no-untyped-def]
    """Fresh processes with a filled cache are meant to answer in well under a second."""
    file = build(tmp_path, 0, 15, extra="  c: {cylinder: custom, diameter: 10, height: 9, at: {x: 30, y: 0, z: 0}}\n")
    script = (
        "import sys\nfrom pathlib import Path\nfrom elbowroom.model import pipeline\n"
        "from elbowroom.model.store import Store\npipeline.check(Path(sys.argv[1]), Store.default())\n"
        "print([m for m in ('cadquery', 'OCP', 'trimesh', 'scipy', 'numba', 'rich') if m in sys.modules])"
    )
    for _ in range(2):
        done = subprocess.run([sys.executable, "-c", script, str(file)], capture_output=True, text=True)
    assert done.stdout.strip() == "[]", done.stderr


@pytest.mark.slow
def test_catalogue_and_schema_cover_every_family(run) -> None:  # type: ignore[no-untyped-def]
    from elbowroom.parts import FAMILIES
    from elbowroom.parts.tube.tube_stock import tube_stocks

    listed = run("catalogue").stdout
    assert all(family in listed for family in FAMILIES)
    one = run("catalogue", "fan")
    assert "hole_pitch" in one.stdout
    assert "fan-120x25" in one.stdout
    assert run("catalogue", "fann").returncode == 2
    tubes = run("catalogue", "tube").stdout
    assert all(name in tubes for name in tube_stocks())
    stated = next(line for line in run("catalogue", "cable").stdout.splitlines() if line.startswith("points"))
    assert stated.rstrip().endswith("stated by the build")  # and rests on nothing that was published
    said = run("schema").stdout
    assert json.loads(said)["$defs"]["part"]["anyOf"]
    assert len(said.encode()) < 300_000  # an editor reads it at every start


@pytest.mark.parametrize("file", [p for pair in demos.pairs() for p in pair], ids=lambda p: p.stem)
def test_the_schema_accepts_every_demo_and_refuses_a_misspelt_key(file: Path) -> None:
    import jsonschema

    validator = jsonschema.Draft202012Validator(build_schema())
    values = read(file).values
    assert not list(validator.iter_errors(values))
    values["parts"]["board"]["motherbord"] = 1
    assert list(validator.iter_errors(values))


@pytest.mark.slow
@pytest.mark.demos
@pytest.mark.parametrize(("planned", "mended"), demos.pairs(), ids=demos.names())
def test_each_demo_fails_as_planned_in_three_ways_and_fits_as_mended(run, planned, mended) -> None:  # type: ignore[no-untyped-def]
    before, after = (run("check", f, "--json", "-") for f in (planned, mended))
    assert (before.returncode, after.returncode) == (1, 0), after.stdout
    failing = [f for f in json.loads(before.stdout)["findings"] if f["verdict"] in {"clash", "touch", "tight", "fail"}]
    assert len({(f["question"], f["verdict"]) for f in failing}) >= 3
    pieces = json.loads(after.stdout)["pieces"]
    assert 24 <= sum(p["assembly"] != "screws" for p in pieces) <= 60
    assert sum(p["family"] == "screw" for p in pieces) >= 20
    load(read(planned))


def test_a_missing_system_library_is_told_with_what_to_install() -> None:
    """The dynamic linker's own words (glibc), as they reach us through the kernel's import."""
    from elbowroom.model.command.answering import _guarded

    def run() -> None:
        raise ImportError("libGL.so.1: cannot open shared object file: No such file or directory")

    import contextlib
    import io

    said = io.StringIO()
    with contextlib.redirect_stderr(said):
        assert _guarded(run) == 2
    assert "apt-get install -y --no-install-recommends libgl1" in said.getvalue()


@pytest.mark.slow
def test_the_reach_of_every_port_is_written_when_asked_for(run, tmp_path) -> None:  # type: ignore[no-untyped-def]
    """One closed solid a port, in metres: in front of a free port it goes at least a fitting's height outward."""
    import trimesh

    file = tmp_path / "build.yaml"
    file.write_text(
        "title: t\nparts:\n  tank: {box: custom, length: 60, width: 60, height: 60, at: {x: 0, y: 0, z: 0},\n"
        "    ports: [{name: out, face: front}]}\n",
        encoding="utf-8",
    )
    done = run("export", file, "--to", "out", "--only", "reach")
    assert done.returncode == 0, done.stderr
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["reach.glb", "reach.step"]
    assert "reach of tank.out" in (tmp_path / "out" / "reach.step").read_text()
    scene = trimesh.load(tmp_path / "out" / "reach.glb")
    assert len(scene.geometry) == 1
    placed = scene.to_mesh().bounds  # the port looks along x from x = 30 mm
    assert placed[0][0] >= 0.030 - 1e-6
    assert placed[1][0] >= 0.030 + 0.017


def test_json_goes_into_a_pipe_and_not_over_it(run, tmp_path) -> None:  # type: ignore[no-untyped-def]
    import threading

    file, pipe = build(tmp_path, 0, 15), tmp_path / "pipe"
    os.mkfifo(pipe)
    read: list[bytes] = []
    reader = threading.Thread(target=lambda: read.append(pipe.read_bytes()))
    reader.start()
    done = run("check", file, "--json", pipe)
    reader.join(timeout=60)
    assert done.returncode == 0, done.stderr
    assert json.loads(read[0])["verdict"] == "fits"
    assert pipe.is_fifo()


def test_a_mistyped_folder_is_not_made(run, tmp_path) -> None:  # type: ignore[no-untyped-def]
    done = run("new", tmp_path / "nowhere" / "mine.yaml")
    assert done.returncode == 2
    assert not (tmp_path / "nowhere").exists()


def test_a_reader_that_goes_away_does_not_change_the_answer(tmp_path) -> None:  # type: ignore[no-untyped-def]
    """As `check ... | head -1` under pipefail: the closed pipe must not read as "something fails"."""
    file = build(tmp_path, 0, 15)
    end, start = os.pipe()
    os.close(end)
    with os.fdopen(start, "wb") as out:
        done = subprocess.run([*COMMAND, "check", str(file), "--all"], stdout=out, stderr=subprocess.PIPE)
    assert done.returncode == 0, done.stderr.decode()
    assert b"Traceback" not in done.stderr


@pytest.mark.slow
def test_a_lower_bound_from_boxes_holds_for_round_parts(run, tmp_path) -> None:  # type: ignore[no-untyped-def]
    """A box to x = 115 and a cylinder of 40 about x = 200 are 200 - 20 - 115 = 65 apart, however it is meshed."""
    file = tmp_path / "far.yaml"
    file.write_text(
        "title: far\ngaps: {default: 65.01}\nparts:\n"
        "  a: {box: custom, length: 30, width: 30, height: 30, at: {x: 100, y: 0, z: 0}}\n"
        "  b: {cylinder: custom, diameter: 40, height: 30, at: {x: 200, y: 0, z: 0}}\n",
        encoding="utf-8",
    )
    done = run("check", file, "--json", "-")
    assert done.returncode == 1
    [finding] = json.loads(done.stdout)["findings"]
    assert finding["verdict"] == "tight"
    assert finding["low"] <= 65.0 + 1e-6


@pytest.mark.slow
@pytest.mark.parametrize("inner", ["box: custom, length: 8, width: 8", "cylinder: custom, diameter: 7.7"])
def test_a_part_wholly_inside_another_is_a_clash_that_says_so(run, tmp_path, inner) -> None:  # type: ignore[no-untyped-def]
    file = build(tmp_path, 0, extra=f"  pea: {{{inner}, height: 6, at: {{x: 0, y: 0, z: 2}}}}\n")
    done = run("check", file)
    assert done.returncode == 1
    assert "pea/body lies wholly inside" in done.stdout


@pytest.mark.slow
def test_a_picture_of_a_finding_is_written_with_its_number(run, tmp_path) -> None:  # type: ignore[no-untyped-def]
    """Drawn is done: the exit status says nothing of the build's verdict, which the picture itself shows."""
    file = build(tmp_path, 0, 10.5)
    done = run("picture", file, "--finding", "clearance:b0/body~b1/body", "--to", "gap.svg")
    assert done.returncode == 0, done.stderr
    assert 'data-measured="0.5"' in (tmp_path / "gap.svg").read_text(encoding="utf-8")
    done = run("picture", file, "--piece", "b2", "--to", "out")
    assert done.returncode == 2
    assert 'no part "b2"' in done.stderr
    assert not (tmp_path / "out").exists()


def test_one_picture_is_asked_for_at_a_time(run, tmp_path) -> None:  # type: ignore[no-untyped-def]
    done = run("picture", build(tmp_path, 0), "--to", "out")
    assert done.returncode == 2
    assert "--finding ID, --piece NAME, --view VIEW or --exploded" in done.stderr


AIRY = """title: airy
case: {interior: {depth: 400, width: 300, height: 400}, board: null, slots: 0, psu: null, open_side: sheet, openings: {
  front: {face: front, size: 120, count: 1, slot: 4, centre: {floor: 200, tray: 150}},
  roof: {face: roof, size: 120, count: 1, slot: 4, centre: {rear: 200, tray: 150}}}}
stacks:
  front: {flow: in, layers: [{fan: fan-120x25, free_flow: 50 CFM, cable_to: floor tray}]}
"""


def test_the_air_is_told_by_openings(run, tmp_path) -> None:  # type: ignore[no-untyped-def]
    file = tmp_path / "airy.yaml"
    file.write_text(AIRY)
    done = run("air", file)
    assert done.returncode == 0, done.stderr
    rows = {line.split()[0]: line.split() for line in done.stdout.splitlines() if line.lstrip().startswith("case.")}
    assert rows["case.front"][1] == "in"
    assert rows["case.front"][-4:] == ["85", "m3/h", "(50", "CFM)"]  # 50 x 1.699
    assert rows["case.roof"][1:] == ["no", "fan", "-", "-"]
    done = run("air", build(tmp_path, 0))
    assert "nothing moves air in this build" in done.stdout


@pytest.mark.slow
def test_a_piece_is_described_with_what_is_on_each_of_its_names(run, tmp_path) -> None:  # type: ignore[no-untyped-def]
    file = build(tmp_path, 0, extra="  lid: {sheet: custom, length: 10, width: 10, thickness: 2, on: b0.top}\n")
    done = run("describe", file, "b0")
    assert done.returncode == 0, done.stderr
    rows = {line.split()[0]: line for line in done.stdout.splitlines() if line.startswith("b0.")}
    assert rows["b0.top"].rstrip().endswith("lid.bottom")
    assert "lid" not in rows["b0.left"]
    assert "10 x 10 x 10 mm" in done.stdout
    done = run("describe", file, "lod")
    assert done.returncode == 2
    assert 'no part "lod"; nearest: "lid"' in done.stderr


@pytest.mark.slow
def test_the_catalogue_prints_and_draws_the_names_of_a_size(run, tmp_path) -> None:  # type: ignore[no-untyped-def]
    done = run("catalogue", "radiator-360x30")
    assert "a-1 to a-3" in done.stdout
    assert "radiator-240x30" not in done.stdout
    done = run("catalogue", "radiator-360x30", "--picture", "names.svg")
    assert done.returncode == 0, done.stderr
    assert "a-3: face" in (tmp_path / "names.svg").read_text(encoding="utf-8")
    assert run("catalogue", "file", "--picture", "out").returncode == 2


@pytest.mark.slow
def test_a_report_is_written_as_one_file_or_as_both(run, tmp_path) -> None:  # type: ignore[no-untyped-def]
    file = build(tmp_path, 0, 8)
    done = run("report", file, "--to", "fits.html")
    assert done.returncode == 1, done.stderr  # the build's own status, as an export has it
    assert "It does not fit" in (tmp_path / "fits.html").read_text(encoding="utf-8")
    assert run("report", file, "--to", "out").returncode == 1
    assert {p.name for p in (tmp_path / "out").iterdir()} >= {"report.html", "report.pdf"}
