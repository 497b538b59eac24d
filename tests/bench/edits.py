"""The ruler for the working loop: `python -m tests.bench.edits [build.yaml]`, from the repository root.

In one run on one machine: a check from nothing, the unchanged file again, and some edits, each alone, in a fresh
process and in a session that has looked before. Seconds are wall clock, with `--cpu` those of the processor, which is
what counts where others work on the same machine; ratios are to the unchanged file. Every edit starts from the same
cache, so that none finds what another left. `--only WORD` takes the edits whose path has the word in it; `--fresh`
leaves the sessions out.
"""

from __future__ import annotations

import argparse
import json
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

DEMO = Path(__file__).parents[2] / "model" / "demos" / "flume-mended.yaml"
PLACES: dict[str, object] = {
    "parts.drive.at.rear": 331,
    "gaps.default": 1.2,
    "parts.fan lead.points.0.front": 9,
    "loop.0.start": ["rotary-90", "extension-20", "compression-10-16"],
}
DIMENSIONS: dict[str, object] = {"parts.card": {"gpu": "gpu-block-2slot", "length": 260, "on": "board.slot-1"},
                                 "stacks.floor.layers.2.radiator": "radiator-280x30"}  # fmt: skip
TARGETS = {"place": 2.0, "dimension": 4.0, "session": 0.2}  # times the check of the unchanged file


class Clock:
    """Seconds since it was made: of the wall, or of the processor, this process or those it has waited for."""

    def __init__(self, cpu: bool, children: bool) -> None:
        self._cpu, self._who = cpu, resource.RUSAGE_CHILDREN if children else resource.RUSAGE_SELF
        self._start = self._now()

    def _now(self) -> float:
        if not self._cpu:
            return time.perf_counter()
        used = resource.getrusage(self._who)
        return used.ru_utime + used.ru_stime

    def seconds(self) -> float:
        return self._now() - self._start


def fresh(file: Path, folder: Path, path: str = "", value: object = None, *, cpu: bool = False) -> float:
    """Seconds of a check in a process of its own."""
    script = (
        "import json, sys; from elbowroom import check\ncheck(sys.argv[1], json.loads(sys.argv[2]), cache=sys.argv[3])"
    )
    words = json.dumps({path: value} if path else {})
    clock = Clock(cpu, children=True)
    subprocess.run([sys.executable, "-c", script, str(file), words, str(folder)], check=True)
    return clock.seconds()


def in_session(file: Path, folder: Path, path: str, value: object, *, cpu: bool = False) -> float:
    """Seconds of a look after one edit, in this process, which has looked at the unchanged file."""
    from elbowroom import Session

    session = Session(file, folder)
    session.check()
    clock = Clock(cpu, children=False)
    session.check({path: value})
    return clock.seconds()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("file", nargs="?", type=Path, default=DEMO)
    parser.add_argument("--cpu", action="store_true", help="processor seconds instead of wall clock")
    parser.add_argument("--only", default="", help="edits whose path has this in it")
    parser.add_argument("--fresh", action="store_true", help="no sessions")
    asked = parser.parse_args()
    file, cpu = asked.file, asked.cpu
    ways = [("fresh", fresh)] if asked.fresh else [("fresh", fresh), ("session", in_session)]
    with tempfile.TemporaryDirectory() as folder:
        kept = Path(folder) / "kept"
        cold = fresh(file, kept, cpu=cpu)
        unchanged = statistics.median(fresh(file, kept, cpu=cpu) for _ in range(3))
        print(f"{'from nothing':<60}{cold:>9.2f} s", flush=True)
        print(f"{'the unchanged file again':<60}{unchanged:>9.2f} s", flush=True)
        for kind, edits in (("place", PLACES), ("dimension", DIMENSIONS)):
            for path, value in ((p, v) for p, v in edits.items() if asked.only in p):
                for how, run in ways:
                    target = TARGETS[kind if how == "fresh" else how]
                    copy = Path(folder) / "copy"
                    shutil.copytree(kept, copy)
                    took = run(file, copy, path, value, cpu=cpu)
                    shutil.rmtree(copy)
                    words = f"{kind + ': ' + path:<50}{how:>10}{took:>9.2f} s{took / unchanged:>8.1f} x (<= {target:g})"
                    print(words, flush=True)


if __name__ == "__main__":
    main()
