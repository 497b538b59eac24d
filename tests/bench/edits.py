"""The ruler for the working loop: `python -m tests.bench.edits [build.yaml]`, from the repository root.

In one run on one machine: a check from nothing, the unchanged file again, and some edits, each alone, in a fresh
process and in a session that has looked before. Seconds are wall clock; ratios are to the unchanged file. Every edit
starts from the same cache, so that none finds what another left.
"""

from __future__ import annotations

import argparse
import json
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


def fresh(file: Path, folder: Path, path: str = "", value: object = None) -> float:
    """Seconds of a check in a process of its own."""
    script = (
        "import json, sys; from elbowroom import check\ncheck(sys.argv[1], json.loads(sys.argv[2]), cache=sys.argv[3])"
    )
    start = time.perf_counter()
    words = json.dumps({path: value} if path else {})
    subprocess.run([sys.executable, "-c", script, str(file), words, str(folder)], check=True)
    return time.perf_counter() - start


def in_session(file: Path, folder: Path, path: str, value: object) -> float:
    """Seconds of a look after one edit, in this process, which has looked at the unchanged file."""
    from elbowroom import Session

    session = Session(file, folder)
    session.check()
    start = time.perf_counter()
    session.check({path: value})
    return time.perf_counter() - start


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("file", nargs="?", type=Path, default=DEMO)
    file = parser.parse_args().file
    with tempfile.TemporaryDirectory() as folder:
        kept = Path(folder) / "kept"
        cold = fresh(file, kept)
        unchanged = statistics.median(fresh(file, kept) for _ in range(3))
        print(f"{'from nothing':<60}{cold:>9.2f} s")
        print(f"{'the unchanged file again':<60}{unchanged:>9.2f} s")
        for kind, edits in (("place", PLACES), ("dimension", DIMENSIONS)):
            for path, value in edits.items():
                for how, run, target in (("fresh", fresh, TARGETS[kind]), ("session", in_session, TARGETS["session"])):
                    copy = Path(folder) / "copy"
                    shutil.copytree(kept, copy)
                    took = run(file, copy, path, value)
                    shutil.rmtree(copy)
                    print(f"{kind + ': ' + path:<50}{how:>10}{took:>9.2f} s{took / unchanged:>8.1f} x (<= {target:g})")


if __name__ == "__main__":
    main()
