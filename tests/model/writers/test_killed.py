"""Runs that are killed while they put files in place: never a mixture of old and new, and nothing left behind."""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from elbowroom.model.writers.atomic import OutputError, Staging, put_in_order, write_file
from elbowroom.model.writers.journal import held, scratch_of

NAMES = ("report.json", "assembly.step", "new/deep/file.txt", "stl/fan.stl", "bom.csv")
STOOD = NAMES[:2]

CHANGES = ("replace", "link", "unlink", "mkdir", "rmdir", "fsync", "open", "rename")  # calls that change the disk


def killed(work: Callable[[], object], step: int, moment: str) -> bool:
    """Do `work` in a process that is killed just before or after its `step`-th change of the disk; whether it was."""
    child = os.fork()
    if child == 0:
        left = step

        def counted(true: Callable[..., object]) -> Callable[..., object]:
            def call(*args: object, **more: object) -> object:
                nonlocal left
                left -= 1
                if left == 0 and moment == "before":
                    os.kill(os.getpid(), signal.SIGKILL)
                try:
                    return true(*args, **more)
                finally:
                    if left == 0:
                        os.kill(os.getpid(), signal.SIGKILL)

            return call

        for name in CHANGES:
            setattr(os, name, counted(getattr(os, name)))
        work()
        os._exit(0)
    ended = os.waitpid(child, 0)[1]
    assert os.WIFSIGNALED(ended) or os.WEXITSTATUS(ended) == 0
    return os.WIFSIGNALED(ended)


def export(folder: Path) -> None:
    with Staging(folder) as staging:
        for name in NAMES:
            staging.add(name, b"new " + name.encode())
        staging.commit()


@pytest.fixture
def out(tmp_path: Path) -> Path:
    """A folder with part of an earlier export, and files of the user's."""
    folder = tmp_path / "out"
    (folder / "stl").mkdir(parents=True)
    for name in (*STOOD, "notes.txt", "stl/mine.stl", ".hidden"):
        (folder / name).write_text(f"old {name}")
    return folder


def files(folder: Path) -> dict[str, str]:
    return {p.relative_to(folder).as_posix(): p.read_text("latin-1") for p in folder.rglob("*") if p.is_file()}


@pytest.mark.slow
@pytest.mark.parametrize("moment", ["before", "after"])
def test_a_kill_at_any_step_is_finished_or_undone_by_the_next_run(out: Path, tmp_path: Path, moment: str) -> None:
    """Every call that changes the disk, one after the other: what each leaves, the next run puts in order."""
    before = files(out)
    for step in range(1, 200):
        folder = tmp_path / f"out-{step}"
        shutil.copytree(out, folder)
        if not killed(lambda folder=folder: export(folder), step, moment):  # type: ignore[misc]
            assert step > 20
            break
        write_file(folder / "other.txt", b"x")
        (folder / "other.txt").unlink()
        assert files(folder) in (before, before | {n: f"new {n}" for n in NAMES}), f"step {step}"
        assert not scratch_of(folder).exists()
    else:
        pytest.fail("the export never came to its end")


def half_way(out: Path, folder: Path, step: int) -> bool:
    """An export into a copy of `out` killed after a step; whether it had put some files in place, and not all."""
    shutil.copytree(out, folder)
    assert killed(lambda: export(folder), step, "after")
    return (folder / NAMES[0]).read_text().startswith("new") and (scratch_of(folder) / "1.new").exists()


@pytest.mark.slow
def test_the_tidying_up_may_be_killed_as_well(out: Path, tmp_path: Path) -> None:
    """Left half-way through the renames, by a kill or by a fault; then the putting in order is killed at each step."""
    before = files(out)
    after = before | {n: f"new {n}" for n in NAMES}
    half = next(n for n in range(1, 200) if half_way(out, tmp_path / f"try-{n}", n))
    for undone in (False, True):
        for step in range(1, 100):
            folder = tmp_path / f"{undone}-{step}"
            assert half_way(out, folder, half)
            if undone:
                (scratch_of(folder) / "plan").rename(scratch_of(folder) / "undo")
            ended = not killed(lambda folder=folder: put_in_order(folder, []), step, "after")  # type: ignore[misc]
            put_in_order(folder, [])
            assert files(folder) == (before if undone else after), f"step {step}"
            if ended:
                assert step > 3
                break


def test_a_second_run_waits_or_says_so(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = files(out)
    lock = held(out)
    assert lock is not None
    monkeypatch.setattr("elbowroom.model.writers.atomic.held", lambda folder: held(folder, patience=0.1))
    with pytest.raises(OutputError, match=r"another run is writing into .*out just now"), Staging(out):
        pass
    lock.release()
    assert files(out) == before
    write_file(out / "report.json", b"new")


def test_a_plan_of_another_place_moves_nothing(out: Path, tmp_path: Path) -> None:
    """A folder copied with a plan in it, or one that somebody made up: the files in it are not the plan's."""
    scratch = scratch_of(out)
    scratch.mkdir()
    (scratch / "plan").write_text('{"form": 1, "place": [1, 2], "files": [["notes.txt", true]]}')
    (scratch / "0.new").write_text("not yours")
    before = files(out)
    with pytest.raises(OutputError, match="cannot be put in order"):
        write_file(out / "report.json", b"new")
    assert files(out) == before


def test_a_link_in_place_of_the_hidden_folder_is_refused(out: Path, tmp_path: Path) -> None:
    (tmp_path / "precious").mkdir()
    (tmp_path / "precious/plan").write_text("mine")
    scratch_of(out).symlink_to(tmp_path / "precious")
    with pytest.raises(OutputError, match="in the way"):
        write_file(out / "report.json", b"new")
    assert files(tmp_path / "precious") == {"plan": "mine"}


@pytest.mark.slow
def test_a_kill_at_a_random_time_never_mixes_two_exports(tmp_path: Path) -> None:
    """A process that exports one state and another in turn, killed over and over; seeded."""
    out, rng = tmp_path / "out", random.Random(8)
    states = [{f"{i}.txt": f"{word} {i}" for i in range(12)} for word in ("one", "two")]

    def write(state: dict[str, str]) -> None:
        with Staging(out) as staging:
            for name, text in state.items():
                staging.add(name, text.encode())
            staging.commit()

    write(states[0])
    for _ in range(40):
        child = os.fork()
        if child == 0:
            while True:
                for state in reversed(states):
                    write(state)
        time.sleep(rng.uniform(0, 0.03))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        write_file(out / "mine.txt", b"mine")
        (out / "mine.txt").unlink()
        assert files(out) in states


@pytest.mark.slow
def test_the_command_killed_or_asked_to_end_leaves_its_folder_in_order(tmp_path: Path) -> None:
    """The process that was called, its whole group, and the signals a system sends; at once, with no further run."""
    build, out = tmp_path / "b.yaml", tmp_path / "out"
    build.write_text("title: one\nparts:\n  a: {box: custom, length: 9, width: 9, height: 9, at: {x: 0, y: 0, z: 0}}\n")
    env = {**os.environ, "ELBOWROOM_CACHE": str(tmp_path / "cache")}
    # As it is writing, it waits a moment: the signal comes right in the middle.
    slow = (
        "import os, time\ntrue = os.replace\n"
        f"def replace(a, b):\n    true(a, b)\n    print(b, flush=True) if str(b).startswith({str(out)!r}) else None\n"
        "    time.sleep(0.3)\nos.replace = replace\nfrom elbowroom.model.command.cli import main\nmain()\n"
    )
    command = [sys.executable, "-c", slow, "export", str(build), "--to", str(out), "--only", "json,bom"]
    for sent, group in ((signal.SIGTERM, False), (signal.SIGINT, True), (signal.SIGKILL, False)):
        shutil.rmtree(out, ignore_errors=True)
        run = subprocess.Popen(
            command, env=env, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, start_new_session=True, text=True
        )
        assert run.stdout is not None
        assert "plan" in run.stdout.readline()
        (os.killpg if group else os.kill)(run.pid, sent)
        run.stdout.read()  # until the last process that has it is gone
        run.wait(timeout=30)
        assert sorted(files(out)) == ["bom.csv", "report.json"]
