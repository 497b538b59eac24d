"""Child processes: nothing of the current folder runs in them, they keep their bounds, they die with their parent."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from elbowroom.parts.imported import child

# Modules that Python, the libraries or this package import at some time: standard, third-party and our own.
PLANTED = (
    "json", "struct", "numpy", "cadquery", "OCP", "pickle", "ctypes", "resource", "queue", "threading", "manifold3d",
    "coal", "pydantic", "elbowroom", "yaml", "tempfile", "sitecustomize", "usercustomize",
)  # fmt: skip
STEP = """
import cadquery as cq
cq.exporters.export(cq.Workplane().box(30, 20, 10), {path!r})
"""
BUILD = """title: planted
parts:
  a: {{file: {name}, at: {{x: 0, y: 0, z: 0}}{more}}}
  b: {{box: custom, at: {{x: 0, y: 0, z: 100}}}}
  c: {{box: custom, length: 50, at: {{x: 0, y: 0, z: 200}}}}
"""
MAIN = "from elbowroom.model.command.cli import main\nmain()\n"


@pytest.fixture
def plant(tmp_path):
    """A folder with a build's shape file, and modules that leave a mark where any of them is run."""
    folder, mark = tmp_path / "build", tmp_path / "ran"
    folder.mkdir()
    subprocess.run([sys.executable, "-c", STEP.format(path=str(folder / "a.step"))], check=True)
    corners = b"".join(
        f"facet normal 0 0 0\nouter loop\n{v}endloop\nendfacet\n".encode()
        for v in (
            "".join(f"vertex {p}\n" for p in t)
            for t in (
                ("0 0 0", "0 9 0", "9 0 0"), ("0 0 0", "9 0 0", "0 0 9"),
                ("0 0 0", "0 0 9", "0 9 0"), ("9 0 0", "0 9 0", "0 0 9"),
            )
        )
    )  # fmt: skip
    (folder / "a.stl").write_bytes(b"solid a\n" + corners + b"endsolid a\n")
    for name in PLANTED:
        (folder / f"{name}.py").write_text(f"open({str(mark)!r}, 'a').write(__name__ + ' ')\nraise SystemExit(9)\n")
    (folder / "ezdxf.ini").write_text("[core]\nlog_unprocessed_tags = true\n")
    script = tmp_path / "tool" / "elbowroom"  # as installed: a script in a folder of its own
    script.parent.mkdir()
    script.write_text(MAIN)
    return folder, mark, script


@pytest.mark.slow
@pytest.mark.parametrize(("name", "more"), [("a.step", ""), ("a.stl", ", unit: mm")])
def test_modules_beside_a_build_are_not_run(plant, tmp_path, name, more):
    folder, mark, script = plant
    (folder / "build.yaml").write_text(BUILD.format(name=name, more=more))
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    env = {**os.environ, "ELBOWROOM_CACHE": str(tmp_path / "cache"), "TMPDIR": str(scratch), "PYTHONPATH": ""}
    done = subprocess.run(
        [sys.executable, str(script), "check", "build.yaml"], cwd=folder, env=env, capture_output=True, text=True
    )
    assert not mark.exists(), mark.read_text()
    assert done.returncode == 0, done.stdout + done.stderr
    assert list(scratch.iterdir()) == []


def test_the_current_folder_is_on_no_child_s_module_path(tmp_path, monkeypatch):
    (tmp_path / "planted_here.py").write_text("raise SystemExit(7)\n")
    monkeypatch.chdir(tmp_path)
    for entry in ("", ".", str(tmp_path), str(tmp_path / ".." / tmp_path.name)):
        monkeypatch.setattr(sys, "path", [entry, *[p for p in sys.path if p]])
        assert all(os.path.realpath(p) != os.path.realpath(tmp_path) for p in child.module_path())
    other = tmp_path / "mine"  # a folder someone named in PYTHONPATH stays
    other.mkdir()
    monkeypatch.setattr(sys, "path", [*sys.path, str(other)])
    assert str(other) in child.module_path()


@pytest.mark.slow
def test_compiled_python_is_kept_where_the_parent_keeps_it(tmp_path, monkeypatch):
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    monkeypatch.setattr(sys, "pycache_prefix", str(tmp_path))
    started = child.start("os", "getpid")
    started.wait(timeout=60)
    child.end(started)
    assert [p for p in tmp_path.rglob("child.*.pyc") if p.parent.name == Path(child.__file__).parent.name]


def test_a_crash_is_told_in_words():
    started = child.start("os", "abort")
    with pytest.raises(child.Lost, match=f"crashed on it .signal {int(signal.SIGABRT)}"):
        child.within(started, child.FOREIGN, lambda: child.receive(child.out_of(started)))
    child.end(started)


def test_one_that_never_answers_is_ended_when_its_time_is_up():
    started = child.start("elbowroom.model.geometry.drawing", "work")
    limits = child.Limits(cpu=10, clock=0.3, memory=1)
    with pytest.raises(child.Lost, match=r"more than 0\.3 s"):
        child.within(started, limits, lambda: child.receive(child.out_of(started)))
    child.end(started)
    assert started.poll() is not None


BOUNDED = """
import sys
from elbowroom.parts.imported import child
child.confine(child.Limits(cpu=1, clock=10.0, memory=200 * child.MEGABYTE))
if sys.argv[1] == "memory":
    try:
        bytearray(400 * child.MEGABYTE)
    except MemoryError:
        sys.exit(5)
    sys.exit(0)
while True:
    pass
"""


@pytest.mark.slow
def test_memory_and_computing_time_are_bounded():
    def run(what: str) -> int:
        return subprocess.run([sys.executable, "-c", BOUNDED, what], timeout=60, check=False).returncode

    assert run("memory") == 5
    status = run("time")
    assert status == -signal.SIGXCPU
    assert "1 s of computing time" in child.ending(status, child.Limits(1, 10.0, 1))


ORPHAN = """
import os, signal
from elbowroom.parts.imported import child
started = child.start("elbowroom.model.geometry.drawing", "work")
print(started.pid, flush=True)
os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the kernel's promise to end orphans is Linux's")
def test_a_child_dies_with_its_parent():
    done = subprocess.run([sys.executable, "-c", ORPHAN], capture_output=True, text=True, check=False)
    pid = int(done.stdout)
    end = time.monotonic() + 10
    while time.monotonic() < end and _runs(pid):
        time.sleep(0.05)
    assert not _runs(pid)


def _runs(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().split(")")[-1].split()[0] != "Z"
    except OSError:
        return False
