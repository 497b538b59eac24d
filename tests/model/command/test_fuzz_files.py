"""STEP and STL files of random damage, checked by the real command: an answer or a refusal, in bounded time and memory.

Seeded: the same files every time. What comes out of a damaged file may be anything; how it comes out may not.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import pytest

from tests.parts.test_imported import ascii_stl, binary, cube
from tests.parts.test_step_bodies import block, shell, written

CASES = {"step": 4, "stl": 5, "ascii": 5}  # a run costs 4 s of computing time for STEP, 1 s for STL (measured)
LONGEST, MOST_MB = 60.0, 2048  # s of computing time, MB: what no file may pass
MAIN = "import sys; sys.path.remove(''); from elbowroom.model.command.cli import main; main()"


def damaged(data: bytes, rng: np.random.Generator) -> bytes:
    """The file with one kind of damage: flipped bytes, a cut, a repeat, a number or a reference exchanged."""
    kind = int(rng.integers(5))
    at = int(rng.integers(len(data)))
    if kind == 0:
        out = bytearray(data)
        for k in rng.integers(len(data), size=int(rng.integers(1, 20))):
            out[k] = int(rng.integers(256))
        return bytes(out)
    if kind == 1:
        return data[:at]
    if kind == 2:
        return data[:at] + data[at : at + 400] * int(rng.integers(2, 50)) + data[at:]
    numbers = list(re.finditer(rb"\d+\.\d*(?:E[+-]\d+)?" if kind == 3 else rb"#\d+", data)) or [re.match(b"", data)]
    m = numbers[int(rng.integers(len(numbers)))]
    new = [b"1.E300", b"-1.E9", b"1.E-300", b"0.", b"NAN"] if kind == 3 else [b"#1", b"#0", b"#99999", b"#12", b"$"]
    return data[: m.start()] + new[int(rng.integers(5))] + data[m.end() :]


def measured(command, folder, env):
    """What a command prints to both its ends, its exit status, and what it and all its own children used: of it alone,
    since the most memory of all children of this process would be some other test's.
    """
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        child = subprocess.Popen(command, cwd=folder, env=env, stdout=out, stderr=err)
        _, status, used = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
        for end in (out, err):
            end.seek(0)
        return out.read().decode(), err.read().decode(), child.returncode, used


@pytest.mark.slow
@pytest.mark.parametrize("sort", CASES)
def test_no_damaged_file_ends_in_anything_but_an_answer(tmp_path, sort):
    if sort == "step":
        data = Path(written(tmp_path / "whole.step", block(20), shell(block(10), 0, 50))).read_bytes()
    else:
        data = {"stl": binary, "ascii": ascii_stl}[sort](np.concatenate([cube(20), cube(5, (40, 0, 0))]))
    ending = "step" if sort == "step" else "stl"
    unit = "" if sort == "step" else ", unit: mm"
    build = tmp_path / "build.yaml"
    build.write_text(
        f"title: t\nparts:\n  a: {{file: a.{ending}{unit}, at: {{x: 0, y: 0, z: 0}}}}\n"
        "  b: {box: custom, at: {x: 0, y: 0, z: 100}}\n"
    )
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    env = {**os.environ, "ELBOWROOM_CACHE": str(tmp_path / "cache"), "TMPDIR": str(scratch)}
    for seed in range(CASES[sort]):
        (tmp_path / f"a.{ending}").write_bytes(damaged(data, np.random.default_rng([seed, len(sort)])))
        out, err, code, used = measured([sys.executable, "-c", MAIN, "check", "build.yaml"], tmp_path, env)
        told = f"seed {seed}: {code} {out} {err}"
        assert code in (0, 1, 2, 3), told
        assert "Traceback" not in err, told
        assert code != 2 or re.search(r"^build\.yaml:\d+:\d+ ", err), told
        assert used.ru_utime < LONGEST, told
        assert used.ru_maxrss < MOST_MB * 1024, told
        assert list(scratch.iterdir()) == [], told
