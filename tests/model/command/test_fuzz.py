"""Builds damaged at random, by words, lines and bytes: every one is answered, in bounds, and never a traceback.

Seeded and bounded here; `python tests/model/command/test_fuzz.py SEED COUNT` goes on for as long as one likes.
"""

from __future__ import annotations

import os
import random
import re
import select
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TypeAlias

import pytest

from elbowroom.model import demos
from elbowroom.model.build import source
from elbowroom.model.build.problems import BuildError
from elbowroom.model.build.resolve import load
from elbowroom.model.layout.place import place
from elbowroom.model.loop.plumbing import plumb

Answers: TypeAlias = "subprocess.Popen[str]"

SECONDS, BYTES = 60, 2_000_000_000  # what no answer may take
STATUSES = {0, 1, 2, 3}

SMALL = """title: small
parts:
  a: {box: custom, length: 40, width: 30, height: 25, at: {x: 0, y: 0, z: 0}, ports: [{name: p, face: front}]}
  b: {box: custom, length: 20, width: 20, height: 20, on: a.top, clock: 30, lift: 2}
  c: {cylinder: custom, diameter: 12, height: 30, turn: {axis: [1, 1, 0], by: 37}, at: {x: 80, y: 0 ± 0.5, z: 0}}
  d: {riser: riser-12x18, height: 20, on: a.bottom}
  e: {sheet: custom, length: 60, width: 40, holes: [{face: top, at: [5, 5], diameter: 3.4}], at: {x: 0, y: 90, z: 0}}
mates: [[b.left, c.top]]
gaps: {default: 0.5, between: [{families: [box, cylinder], gap: 2}], parts: {a: 1}}
screws: {head: pan, no_screws: [d.foot]}
make: [{riser: riser-12x18, height: [18, 22], count: 2, name: spare}]
printer: {bed: [200, 200, 200], nozzle: 0.4, layer: 0.2}
"""
CASED = """title: cased
case: {like: case-mini-itx, sheet: 1}
parts:
  pump: {box: custom, length: 60, width: 60, height: 60, at: {rear: 40, tray: 20, floor: 5},
    ports: [{name: out, face: front}, {name: in, face: top}]}
  wire: {cable: cable-24-pin, points: [{rear: 30, tray: 40, floor: 90}, {rear: 90, tray: 40, floor: 90}]}
fittings: {unused: plug}
"""
HOSTILE = (
    "", "~", "[]", "{}", "[[]]", "-1", "0", "-0.0", "1e-300", "1e-9", "1e5", "1e300", "1" * 300, "0x7fffffff",
    ".nan", ".inf", "true", "no", '""', '" "', '"\\e[31m"', '"\\u202e"', '"\\u200b"', "漢字", "é" * 60, "x" * 400,
    "'", '"', "*", "&a", "!!x 1", "a.top", "b.*", "*.*", "case.floor-wall", "custom", "box", "236 ± 1", "5 in",
    "1 ± -1", "[0, 0, 0]", "[1, 2]", "{x: 1}", "[a, b]", "360", "89.999999999", "../x.step", "/dev/null", ".", "%s",
    "{0}", "\t", "- 1", "? x", "#",
)  # fmt: skip
WORD = re.compile(r"[^\s,:{}\[\]]+")


def damaged(text: str, rng: random.Random) -> bytes:
    """The text with one to three faults: words, lines or bytes deleted, doubled, exchanged or made hostile."""
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        words = list(WORD.finditer(text))
        lines = text.split("\n")
        if not words:
            break
        a, b = (words[i] for i in sorted(rng.choices(range(len(words)), k=2)))
        i, j = rng.randrange(len(lines)), rng.randrange(len(lines))
        kind = rng.randrange(8)
        if kind <= 2:
            text = text[: a.start()] + rng.choice(HOSTILE) + text[a.end() :]
        elif kind == 3:
            text = text[: a.start()] + text[a.end() :]
        elif kind == 4 and a.end() <= b.start():
            text = text[: a.start()] + b[0] + text[a.end() : b.start()] + a[0] + text[b.end() :]
        elif kind == 5:
            lines.insert(j, lines[i])
            text = "\n".join(lines)
        elif kind == 6:
            del lines[i]
            text = "\n".join(lines)
        else:
            lines[i], lines[j] = lines[j], lines[i]
            text = "\n".join(lines)
    data = bytearray(text.encode())
    if rng.random() < 0.15 and data:
        for _ in range(rng.randrange(1, 4)):
            data[rng.randrange(len(data))] = rng.randrange(256)
    return bytes(data)


# Answers file after file, named on its input, each in a process of its own, and says how each ended: its wait status
# and its largest memory in kB. It has drawn nothing itself: the kernel's own threads would be missing in a fork.
ANSWERS = """
import os, resource, sys
from elbowroom.model.command.answering import answer
from elbowroom.model.command.cli import app
for line in sys.stdin:
    file, said, seconds = line.split()
    child = os.fork()
    if child == 0:
        for n in (1, 2):
            os.dup2(os.open(said if n == 2 else os.devnull, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), n)
        resource.setrlimit(resource.RLIMIT_CPU, (int(seconds), int(seconds)))
        sys.argv = ["elbowroom", "check", file]
        status = answer(app)
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(status)
    _, ended, used = os.wait4(child, 0)
    print(ended, used.ru_maxrss, flush=True)
"""


@pytest.fixture(scope="module")
def answers() -> Iterator[Answers]:
    with started() as process:
        yield process


def started() -> Answers:
    return subprocess.Popen([sys.executable, "-c", ANSWERS], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)


def answered(data: bytes, folder: Path, answers: Answers) -> list[str]:
    """What is wrong with how `check` answers the file: nothing, or what no file may bring about."""
    file, said = folder / "build.yaml", folder / "said"
    file.write_bytes(data)
    start = time.monotonic()
    assert answers.stdin is not None
    assert answers.stdout is not None
    print(file, said, SECONDS, file=answers.stdin, flush=True)
    assert select.select([answers.stdout], [], [], 10 * SECONDS)[0], "no answer"  # computing time has its own bound
    ended, memory = map(int, answers.stdout.readline().split())
    took, text = time.monotonic() - start, said.read_text("utf-8", "replace")
    wrong = []
    if not os.WIFEXITED(ended) or os.WEXITSTATUS(ended) not in STATUSES:
        wrong.append(f"ended with {ended}")
    elif os.WEXITSTATUS(ended) == 2 and not re.search(re.escape(str(file)) + r":\d+:\d+", text):
        wrong.append("no place is told")
    if "Traceback" in text:
        wrong.append("a traceback")
    if took > SECONDS and "still at work" not in text:  # a machine may be busy: then it must have been said
        wrong.append(f"{took:.0f} s")
    if memory * 1024 > BYTES:
        wrong.append(f"{memory // 1024} MB")
    return [*wrong, text[-600:]] if wrong else []


@pytest.mark.parametrize("text", [SMALL, CASED], ids=["small", "cased"])
def test_the_build_that_is_damaged_is_itself_sound(text: str, tmp_path: Path) -> None:
    """Else every answer would be the same refusal."""
    file = tmp_path / "build.yaml"
    file.write_text(text, encoding="utf-8")
    load(source.read(file))


@pytest.mark.slow
@pytest.mark.parametrize("text", [SMALL, CASED], ids=["small", "cased"])
def test_a_damaged_build_is_answered_within_bounds(text: str, tmp_path: Path, answers: Answers) -> None:
    rng = random.Random(11)
    for _ in range(8):  # 1.5 s of computing time each (measured)
        data = damaged(text, rng)
        assert not answered(data, tmp_path, answers), data.decode("utf-8", "replace")


@pytest.mark.slow
@pytest.mark.parametrize("file", [demos.pairs()[0][1]], ids=lambda p: p.stem)
def test_a_damaged_machine_is_read_or_refused_with_a_place(file: Path, tmp_path: Path) -> None:
    rng, text, build = random.Random(12), file.read_text(encoding="utf-8"), tmp_path / "build.yaml"
    for _ in range(150):
        build.write_bytes(damaged(text, rng))
        faults: list[object] = []
        try:
            read = load(source.read(build))
            plumb(read, place(read))
        except BuildError as e:
            faults = [p for p in e.problems if p.mark.line < 1]
        assert not faults, build.read_text(encoding="utf-8", errors="replace")


if __name__ == "__main__":
    seed, count = int(sys.argv[1]), int(sys.argv[2])
    rng = random.Random(seed)
    with started() as process, tempfile.TemporaryDirectory() as folder:
        for n in range(count):
            data = damaged(rng.choice((SMALL, CASED)), rng)
            if wrong := answered(data, Path(folder), process):
                print(n, wrong, data.decode("utf-8", "replace"), sep="\n", flush=True)
