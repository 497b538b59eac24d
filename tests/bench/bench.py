"""Benchmarks of the engine: `python -m tests.bench.bench [all|compare|growth] [build.yaml]`, from the repository root.

`compare` runs, on one layout and one machine, the naive script, a cold check (fresh process, empty cache), a warm check
(fresh process) and a live re-check after one pose has changed, and prints the ratios against their targets. `growth`
repeats cold, warm and live on made-up layouts of 10, 40, 160 and 640 pieces and fits an exponent. Seconds are wall
clock, of whole processes where a process is fresh; the median where something is repeated.
"""

from __future__ import annotations

import argparse
import json
import math
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

TARGETS = {"cold": 4.0, "warm": 60.0, "live": 500.0}  # times faster than the naive script
NAMES = {"cold": "cold, fresh process, empty cache", "warm": "warm, fresh process", "live": "live, one pose changed"}
PEAK_GB = 1.5
REPEATS = 5
COUNTS = (10, 40, 160, 640)


def run(module: str, *arguments: str) -> tuple[float, dict[str, Any]]:
    """Seconds of a fresh process, and what it printed."""
    start = time.perf_counter()
    command = [sys.executable, "-m", f"tests.bench.{module}", *arguments]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"{' '.join(command)} failed")  # it has said why itself
    return time.perf_counter() - start, json.loads(done.stdout)


def cold_and_warm(what: str, folder: str) -> dict[str, Any]:
    cold, first = run("once", what, folder)
    warm = []
    again: dict[str, Any] = {}
    for _ in range(REPEATS):
        seconds, again = run("once", what, folder)
        warm.append(seconds)
    if again["counts"] != first["counts"]:
        raise SystemExit(f"cold and warm disagree: {first['counts']} against {again['counts']}")
    peak = max(first["peak_mb"], again["peak_mb"])
    return {"cold": cold, "warm": statistics.median(warm), "peak_mb": peak, "result": first, "warm_result": again}


def live(what: str, folder: str) -> float:
    """Seconds to make the scene and judge everything again after one piece has moved, in a process that has both."""
    from dataclasses import replace

    from elbowroom.model import checks
    from elbowroom.model.geometry.solidify import solidify
    from elbowroom.model.store import Store
    from elbowroom.parts.vocabulary.pose import compose, shift
    from tests.bench.scenes import load_layout, made_up

    layout = made_up(int(what)) if what.isdigit() else load_layout(Path(what))
    store = Store(Path(folder))
    checks.run(solidify(layout, store), store)
    took = []
    moves = 4 * REPEATS
    # The first round makes the mesh kernels of the pieces that the second moves, as the first pull at a part does.
    for k in range(2 * moves):
        n = (7 * (k % moves) + 3) % len(layout.pieces)
        moved = replace(layout.pieces[n], pose=compose(shift(0.037 * (k + 1), -0.21, 0.11), layout.pieces[n].pose))
        changed = replace(layout, pieces=(*layout.pieces[:n], moved, *layout.pieces[n + 1 :]))
        start = time.perf_counter()
        checks.run(solidify(changed, store), store)
        if k >= moves:
            took.append(time.perf_counter() - start)
    return statistics.median(took)


def row(*cells: object) -> None:
    print("  ".join(f"{c:>12}" if i else f"{c:<34}" for i, c in enumerate(cells)))


def compare(what: str) -> bool:
    """Print the table of one layout; whether every target is met."""
    with tempfile.TemporaryDirectory() as folder:
        engine = cold_and_warm(what, folder)
        moved = live(what, folder)
    naive, found = run("naive", what)
    sure = {frozenset(n.split("/")[0] for n in o[:2]) for o in engine["result"]["overlapping"]}
    theirs = {frozenset(o[:2]) for o in found["overlapping"]}
    print(f"layout {what}: {engine['result']['solids']} solids, {found['pairs']} pairs of parts")
    row("", "seconds", "x naive", "target")
    row("naive, every pair exact", f"{naive:.2f}", "1.0", "")
    met = True
    for name, seconds in (("cold", engine["cold"]), ("warm", engine["warm"]), ("live", moved)):
        ratio = naive / seconds
        met = met and ratio >= TARGETS[name]
        row(
            NAMES[name], f"{seconds:.4f}", f"{ratio:.1f}", f">= {TARGETS[name]:g}",
        )  # fmt: skip
    peak = engine["peak_mb"] / 1024
    row("peak memory, GB (with workers)", f"{peak:.2f}", "", f"< {PEAK_GB:g}")
    print(f"loaded on the warm path: {engine['warm_result']['loaded'] or 'no kernel'}")
    print(f"overlapping pairs: engine {len(sure)}, naive {len(theirs)}, in one only {len(sure ^ theirs)}")
    return met and peak < PEAK_GB and not sure ^ theirs


def growth() -> bool:
    """Print how the times grow with the count of pieces."""
    row("pieces", "cold s", "warm s", "live s", "peak GB", "solids")
    times: dict[str, list[float]] = {"cold": [], "warm": [], "live": []}
    for count in COUNTS:
        with tempfile.TemporaryDirectory() as folder:
            engine = cold_and_warm(str(count), folder)
            moved = live(str(count), folder)
        for name, seconds in (("cold", engine["cold"]), ("warm", engine["warm"]), ("live", moved)):
            times[name].append(seconds)
        row(
            count, f"{engine['cold']:.2f}", f"{engine['warm']:.3f}", f"{moved:.4f}", f"{engine['peak_mb'] / 1024:.2f}",
            engine["result"]["solids"],
        )  # fmt: skip
    for name, seconds in times.items():
        slope = float(np.polyfit([math.log(c) for c in COUNTS], [math.log(s) for s in seconds], 1)[0])
        last = math.log(seconds[-1] / seconds[-2]) / math.log(COUNTS[-1] / COUNTS[-2])
        print(f"{name}: time ~ pieces^{slope:.2f} over the whole range, ^{last:.2f} from {COUNTS[-2]} to {COUNTS[-1]}")
    return True


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", nargs="?", default="all", choices=("all", "compare", "growth"))
    parser.add_argument("layout", nargs="?", default="40", help="a build file, or the count of a made-up layout")
    given = parser.parse_args()
    met = True
    if given.what in ("all", "compare"):
        met = compare(given.layout)
    if given.what in ("all", "growth"):
        met = growth() and met
    raise SystemExit(0 if met else 1)


if __name__ == "__main__":
    main()
