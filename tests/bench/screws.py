"""Bench of holes and screws: `python -m tests.bench.screws [build.yaml]`, from the repository root.

Prints how long all joints, holes, screws and drivers of a build take with its shapes drawn and cached (first, and
again), how long its parts to make take to be written, and how much faster the exact best slide is than a grid of 0.1 mm
over the same reach, in the same run. Targets: SECONDS warm for holes and screws, MAKE_SECONDS for the parts to make.
"""

from __future__ import annotations

import argparse
import random
import tempfile
import time
from pathlib import Path

import numpy as np

from elbowroom.model import making, pipeline
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.screws import drivers, holes
from elbowroom.model.screws import lengths as screws
from elbowroom.model.screws.fasten import fasten
from elbowroom.model.screws.remedies import remedies
from elbowroom.model.screws.slot import Slot
from elbowroom.model.screws.slots import best_slide
from elbowroom.model.screws.trial import Trials
from elbowroom.model.store import Store

SECONDS, MAKE_SECONDS = 0.5, 10.0
DEMO = Path(__file__).parents[2] / "model" / "demos" / "flume-mended.yaml"
GRID_MM, REACH_MM = 0.1, 12.0


def judged(file: Path) -> tuple[float, int, int]:
    """Seconds for everything about holes and screws of a build, shapes drawn; screws and findings."""
    store = Store.default()
    placed = pipeline.read(file, store).placed
    scene = solidify(placed.layout, store)
    start = time.perf_counter()
    done = fasten(placed, scene)
    mended = remedies(Trials(done, store))
    whole = solidify(done.layout, store)
    found = [
        *holes.check(done, mended),
        *screws.check(done.chosen, mended.screws),
        *drivers.check(whole, done.chosen, store),
    ]
    return time.perf_counter() - start, sum(len(c.rows) for c in done.chosen), len(found)


def slides(cases: int = 5) -> tuple[float, float]:
    """Seconds a case for the exact slide and for a grid, over rows of three fans against slots of another gap."""
    chance = random.Random(7)
    exact = grid = 0.0
    for _ in range(cases):
        gap, slot, off = chance.choice((15.0, 20.0)), chance.uniform(0, 8), chance.uniform(-4, 4)
        points = [(k * (105 + gap) + a, b) for k in range(3) for a in (-52.5, 52.5) for b in (-52.5, 52.5)]
        slots = [
            Slot(k * 120 + a + off, b, 4.5, slot, 0) for k in range(3) for a in (-52.5, 52.5) for b in (-52.5, 52.5)
        ]
        start = time.perf_counter()
        found = best_slide(points, 3.0, slots, reach=(REACH_MM, REACH_MM))
        exact += time.perf_counter() - start
        start = time.perf_counter()
        most = _by_grid(np.array(points), slots)
        grid += time.perf_counter() - start
        if len(found.passing) < most:
            raise SystemExit(f"the grid lets {most} screws pass, the exact slide {len(found.passing)}")
    return exact / cases, grid / cases


def _by_grid(points: np.ndarray, slots: list[Slot]) -> int:
    """Most screws that pass at any place of a grid; every slot is tried for every screw."""
    steps, most = np.arange(-REACH_MM, REACH_MM + GRID_MM / 2, GRID_MM), 0
    for dx in steps:
        for dy in steps:
            passing = 0
            for x, y in points + np.array([dx, dy]):
                passing += any(
                    np.hypot(max(abs(x - s.x) - s.length / 2, 0.0), y - s.y) <= (s.width - 3.0) / 2 for s in slots
                )
            most = max(most, passing)
    return most


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("file", nargs="?", type=Path, default=DEMO)
    file = parser.parse_args().file
    first, count, found = judged(file)
    again, _, _ = judged(file)
    print(f"{file.stem}: {count} screws, {found} findings: first {first:.2f} s, again {again:.3f} s (target {SECONDS})")
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        made = making.make(file, Path(folder), store=Store.default())
        print(f"parts to make: {len(made.parts)} in {time.perf_counter() - start:.2f} s (target {MAKE_SECONDS:g})")
    exact, grid = slides()
    print(f"best slide: {exact * 1e3:.1f} ms, grid of {GRID_MM} mm {grid:.1f} s: {grid / exact:.0f} x")


if __name__ == "__main__":
    main()
