"""Bench of free space and tube planning: `python -m tests.bench.tubes [cases]`.

Prints fitting poses a second, success over random cluttered cases with a run known to exist, and the time for all runs
of a scene as large as a build. CPU seconds of this process, one core.
"""

from __future__ import annotations

import statistics
import sys
import time

import numpy as np

from elbowroom.model.geometry.envelopes import Margins, Obstacle, Rod
from elbowroom.model.geometry.freespace import FREE, Space
from elbowroom.model.tubes.planner import cost_of, field_for, plan
from elbowroom.model.tubes.rules import Found
from elbowroom.model.tubes.several import Wanted, plan_all
from elbowroom.model.tubes.verify import verify
from tests.bench.clutter import CASE, loop, make, random_turn, torus

POSES = 20_000
FITTING = (Rod((0, 0, 0), (0, 0, 6), 9.5), Rod((0, 0, 6), (0, 0, 19), 10.75))  # body and collar of a hard-tube fitting


def poses() -> None:
    """A fitting of two bars in random poses among 120 bodies of at least 60 000 triangles."""
    rng = np.random.default_rng(0)
    coils = [torus(f"coil {k}", 30, 8, 64, 24) for k in range(20)]
    coils = [Obstacle(o.name, o.vertices + rng.uniform(CASE.lo, CASE.hi), o.triangles, o.bound) for o in coils]
    bodies = [*loop(0, bodies=100).obstacles, *coils]
    space = Space(bodies)
    many = np.tile(np.eye(4), (POSES, 1, 1))
    many[:, :3, :3] = [random_turn(rng, False) for _ in range(POSES)]
    many[:, :3, 3] = rng.uniform(CASE.lo, CASE.hi, (POSES, 3))
    print(f"bodies {len(bodies)}, triangles {sum(len(o.triangles) for o in bodies)}")
    for text, margins in (
        ("no margin", Margins()),
        ("1 mm", Margins(1.0)),
        ("1 mm, 5 mm to 20 bodies", Margins(1.0, {o.name: 5.0 for o in bodies[:20]})),
    ):
        space.stack(FITTING, many[:10], margins)  # the trees are built once
        start = time.process_time()
        free = space.stack(FITTING, many, margins) == FREE
        took = time.process_time() - start
        print(f"  {text:24} {POSES / took:8.0f} poses/s, {free.mean():.0%} free")


def cases(count: int) -> None:
    """Random cases, every fourth a hose: found, verified, and what they cost against the hidden run."""
    took, ratios, bends, lost, mapped = [], [], [], [], []
    for number in range(count):
        case = make(number, soft=number % 4 == 3)
        space = Space(case.obstacles)
        assert not verify(case.reference, space, case.rules, case.start, case.end, within=CASE), "the hidden run holds"
        start = time.process_time()
        field = field_for(space, case.rules, np.zeros((0, 3)), CASE)
        drawn = time.process_time()
        result = plan(case.start, case.end, case.rules, space, within=CASE, field=field)
        mapped.append(drawn - start)
        took.append(time.process_time() - drawn)
        if not isinstance(result, Found):
            lost.append((number, result.text))
            continue
        assert not verify(result.run, space, case.rules, case.start, case.end, within=CASE)
        ratios.append(result.cost / cost_of(case.reference, case.rules))
        bends.append(len(result.run.bends))
    print(f"cases {count}: found and verified {len(ratios)} ({len(ratios) / count:.1%})")
    middle, mean = statistics.median(took), statistics.mean(took)
    print(f"  seconds: median {middle:.2f}, mean {mean:.2f}, most {max(took):.2f}; map {statistics.mean(mapped):.2f}")
    print(f"  cost against the hidden run: median {statistics.median(ratios):.2f}, most {max(ratios):.2f}")
    print(f"  runs by bends: {dict(enumerate(np.bincount(bends).tolist()))}")
    for number, text in lost:
        print(f"  not found, case {number}: {text}")


def loops(count: int) -> None:
    """All runs of a scene of 120 bodies, ten runs each, maps included."""
    for number in range(count):
        scene = loop(number)
        wanted = [Wanted(f"run {k + 1}", a, b, scene.rules) for k, (a, b) in enumerate(scene.ends)]
        start = time.process_time()
        results = plan_all(wanted, Space(scene.obstacles), within=CASE)
        took = time.process_time() - start
        print(f"scene {number}: {sum(r.found for r in results.values())} of {len(wanted)} runs in {took:.1f} s")


if __name__ == "__main__":
    poses()
    loops(6)
    cases(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
