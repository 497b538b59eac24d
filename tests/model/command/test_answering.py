"""What a command leaves behind whatever happens to it: its exit status, one line, no process, no half-written file."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

COMMAND = [sys.executable, "-m", "elbowroom"]
BUILD = """title: boxes
parts:
  a: {box: custom, length: 10, width: 10, height: 10, at: {x: 0, y: 0, z: 0}}
  b: {box: custom, length: 10, width: 10, height: 10, at: {x: 15, y: 0, z: 0}}
"""


@pytest.fixture(scope="module")
def env() -> dict[str, str]:
    return dict(os.environ)


@pytest.fixture
def build(tmp_path: Path) -> Path:
    file = tmp_path / "build.yaml"
    file.write_text(BUILD, encoding="utf-8")
    return file


def in_shell(words: str, env: dict[str, str], folder: Path) -> subprocess.CompletedProcess[str]:
    command = " ".join(COMMAND)
    return subprocess.run(
        ["bash", "-c", words.replace("elbowroom", command)], env=env, cwd=folder, capture_output=True, text=True
    )


@pytest.mark.slow
@pytest.mark.parametrize(
    "words",
    [
        "elbowroom check build.yaml >&-",
        "elbowroom check build.yaml --json - 2>&-",
        "elbowroom export build.yaml --to out --only bom >&- 2>&- <&-",
        "elbowroom export build.yaml --to out --only bom | true; exit ${PIPESTATUS[0]}",
        "elbowroom schema | head -1; exit ${PIPESTATUS[0]}",
        "elbowroom --help | true; exit ${PIPESTATUS[0]}",
    ],
)
def test_a_stream_that_is_closed_or_cut_off_changes_no_answer(
    words: str, env: dict[str, str], build: Path, tmp_path: Path
) -> None:
    done = in_shell(words, env, tmp_path)
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    assert "export" not in words or (tmp_path / "out/bom.csv").is_file()


@pytest.mark.parametrize("target", ["''", ".", "/", "nowhere/x.json"])
def test_a_report_that_has_no_file_to_go_to_is_bad_input(
    target: str, env: dict[str, str], build: Path, tmp_path: Path
) -> None:
    done = in_shell(f"elbowroom check build.yaml --json {target}", env, tmp_path)
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1


@pytest.mark.slow
@pytest.mark.parametrize(
    ("fault", "said"),
    [
        ("raise RecursionError('too deep')", "RecursionError: too deep"),
        ("raise KeyError('x')", "KeyError"),
        ("os.kill(os.getpid(), 11)", "SIGSEGV"),
        ("os.kill(os.getpid(), 9)", "SIGKILL"),
        ("raise MemoryError", "more memory"),
    ],
)
def test_a_fault_of_our_own_is_one_line_and_has_a_status_of_its_own(
    fault: str, said: str, env: dict[str, str], build: Path
) -> None:
    script = (
        "import os\nfrom elbowroom.model import pipeline; from elbowroom.model.command import cli\n"
        f"def broken(*_):\n    {fault}\npipeline.check = broken\ncli.main()\n"
    )
    for debug in ("", "1") if "Key" in fault else ("",):
        done = subprocess.run(
            [sys.executable, "-c", script, "check", str(build)], env={**env, "ELBOWROOM_DEBUG": debug},
            capture_output=True, text=True,
        )  # fmt: skip
        assert done.returncode == 70
        assert said in done.stderr
        assert "a fault of elbowroom itself, not of the build" in done.stderr
        if not debug:
            assert "Traceback" not in done.stderr


def test_ctrl_c_ends_a_run_that_is_deep_in_the_kernel_and_its_workers(
    env: dict[str, str], build: Path, tmp_path: Path
) -> None:
    """A call that holds the interpreter for half a minute, as the kernel's can, and a worker that does the same."""
    # usleep of the C library, called so that no other thread of Python runs meanwhile
    busy = "import ctypes; ctypes.PyDLL(None).usleep(30_000_000)"
    script = (
        "import subprocess, sys\nfrom elbowroom.model import pipeline; from elbowroom.model.command import cli\n"
        f"def busy(*_):\n    w = subprocess.Popen([sys.executable, '-c', {busy!r}], stderr=-3)\n"
        "    print(w.pid, flush=True)\n"
        f"    {busy}\npipeline.check = busy\ncli.main()\n"
    )
    run = subprocess.Popen(
        [sys.executable, "-c", script, "export", str(build), "--to", str(tmp_path / "out")],
        env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip
    assert run.stdout is not None
    worker = int(run.stdout.readline())
    time.sleep(0.3)
    start = time.monotonic()
    os.killpg(run.pid, signal.SIGINT)
    _, said = run.communicate(timeout=25)
    assert time.monotonic() - start < 10
    assert run.returncode == 130
    assert said == "stopped; nothing was half-written\n"
    assert not (tmp_path / "out").exists()
    with pytest.raises(ProcessLookupError):
        os.kill(worker, 0)


def test_what_was_started_in_a_session_of_its_own_is_not_ended_with_the_run(env: dict[str, str], build: Path) -> None:
    """A browser, say, that the run opened for a person."""
    script = (
        "import subprocess, sys\nfrom elbowroom.model import pipeline; from elbowroom.model.command import cli\n"
        "def begun(*_):\n"
        "    for own in (True, False):\n"
        "        w = subprocess.Popen(['sleep', '60'], start_new_session=own, stdout=-3, stderr=-3)\n"
        "        print(w.pid, flush=True)\n"
        "    raise SystemExit(0)\n"
        "pipeline.check = begun\ncli.main()\n"
    )
    done = subprocess.run([sys.executable, "-c", script, "check", str(build)], env=env, capture_output=True, text=True)
    browser, worker = map(int, done.stdout.split())
    try:
        with pytest.raises(ProcessLookupError):
            os.kill(worker, 0)
        os.kill(browser, 0)
    finally:
        os.kill(browser, signal.SIGKILL)


def test_a_run_that_waits_for_a_person_does_not_say_how_long_it_takes(env: dict[str, str], build: Path) -> None:
    def said(waits: str) -> str:
        script = (
            "import time\nfrom elbowroom.model import pipeline\nfrom elbowroom.model.command import answering, cli\n"
            "from elbowroom.model.command import supervise\nsupervise.LONG_S = 0.5\n"
            f"def slow(*_):\n    {waits}\n    time.sleep(2)\n    raise SystemExit(0)\n"
            "pipeline.check = slow\ncli.main()\n"
        )
        command = [sys.executable, "-c", script, "check", str(build)]
        return subprocess.run(command, env=env, capture_output=True, text=True).stderr

    assert "still at work" in said("pass")
    assert said("answering.waiting()") == ""


def test_ctrl_c_while_the_program_is_still_loading_is_one_line(env: dict[str, str], build: Path) -> None:
    script = (
        "import builtins, os, signal\nfrom elbowroom.__main__ import main\ntrue = builtins.__import__\n"
        "def loading(name, *rest):\n"
        "    if name == 'typer':\n        os.kill(os.getpid(), signal.SIGINT)\n"
        "    return true(name, *rest)\n"
        "builtins.__import__ = loading\nmain()\n"
    )
    done = subprocess.run([sys.executable, "-c", script, "check", str(build)], env=env, capture_output=True, text=True)
    assert done.returncode == 130
    assert done.stderr == "stopped; nothing was half-written\n"


def test_a_fault_that_ctrl_c_brings_about_in_a_library_is_told_as_a_stop(env: dict[str, str], build: Path) -> None:
    """Loading a compiled module that is interrupted ends with an ImportError of the module's own."""
    script = (
        "import os, signal, sys\nfrom elbowroom.model import pipeline; from elbowroom.model.command import cli\n"
        "def interrupted(*_):\n    try:\n        os.kill(os.getpid(), signal.SIGINT)\n"
        "        import time; time.sleep(5)\n"
        "    except KeyboardInterrupt:\n        raise ImportError('initialization failed')\n"
        "pipeline.check = interrupted\ncli.main()\n"
    )
    done = subprocess.run([sys.executable, "-c", script, "check", str(build)], env=env, capture_output=True, text=True)
    assert done.returncode == 130
    assert done.stderr == "stopped; nothing was half-written\n"


@pytest.mark.slow
def test_a_signal_that_the_caller_ignores_stays_ignored(env: dict[str, str], build: Path) -> None:
    """As under nohup, and for a command in the background of a script."""
    script = (
        "import os, signal\nfor n in (signal.SIGHUP, signal.SIGINT):\n    signal.signal(n, signal.SIG_IGN)\n"
        "from elbowroom.model import pipeline; from elbowroom.model.command import cli\ntrue = pipeline.check\n"
        "def check(*rest):\n    for n in (signal.SIGHUP, signal.SIGINT):\n        os.kill(os.getppid(), n)\n"
        "        os.kill(os.getpid(), n)\n    return true(*rest)\npipeline.check = check\ncli.main()\n"
    )
    done = subprocess.run([sys.executable, "-c", script, "check", str(build)], env=env, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


@pytest.mark.slow
def test_a_long_run_says_so(env: dict[str, str], build: Path) -> None:
    script = (
        "import time\nfrom elbowroom.model import pipeline; from elbowroom.model.command import cli, supervise\n"
        "supervise.LONG_S = supervise.AGAIN_S = 0.5\ntrue = pipeline.check\n"
        "def slow(file, store, overrides, progress, early):\n    progress(1, 9, 'drawing a box')\n    time.sleep(2)\n"
        "    return true(file, store, overrides, progress, early)\n"
        "pipeline.check = slow\ncli.main()\n"
    )
    done = subprocess.run([sys.executable, "-c", script, "check", str(build)], env=env, capture_output=True, text=True)
    assert done.returncode == 0
    assert "still at work" in done.stderr
    assert "(drawing a box)" in done.stderr


@pytest.mark.slow
@pytest.mark.parametrize(("fault", "blamed"), [("DrawError('x')", True), ("OSError(28, 'No space left')", False)])
def test_only_faults_of_the_shape_are_laid_to_its_dimensions(
    fault: str, blamed: bool, env: dict[str, str], build: Path, tmp_path: Path
) -> None:
    script = (
        "from elbowroom.parts.vocabulary.draw import DrawError\n"
        "from elbowroom.model.command import cli; from elbowroom.model.geometry import solidify\n"
        f"def draw(part):\n    raise {fault}\nsolidify.draw = draw\ncli.main()\n"
    )
    own = {**env, "ELBOWROOM_CACHE": str(tmp_path / "empty")}
    done = subprocess.run([sys.executable, "-c", script, "check", str(build)], env=own, capture_output=True, text=True)
    assert ("cannot be drawn with these dimensions" in done.stderr) == blamed
    assert done.returncode == 2  # the machine's fault is told as what could not be done, a mistake of ours is 70


def test_no_module_beside_a_build_is_run(env: dict[str, str], build: Path) -> None:
    """Builds come from other people, and `python -m` looks for modules in the current folder first."""
    for name in ("__future__", "json", "yaml", "numpy", "typer", "manifold3d"):
        planted = build.with_name(f"{name}.py")
        planted.write_text(f"open({str(build.with_name(name + '.run'))!r}, 'w')\nraise SystemExit('planted')\n")
    done = subprocess.run([*COMMAND, "check", "build.yaml"], env=env, cwd=build.parent, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert not list(build.parent.glob("*.run"))


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="elsewhere a folder in use cannot be deleted")
def test_a_current_folder_that_is_gone_is_no_fault_of_ours(env: dict[str, str], build: Path, tmp_path: Path) -> None:
    gone = tmp_path / "gone"
    gone.mkdir()
    done = in_shell(f"cd {gone}; rmdir {gone}; elbowroom check {build}", env, tmp_path)
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
