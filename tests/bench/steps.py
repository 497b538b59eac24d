"""How long the order of building takes, and a single slide against a naive one, in the same run.

`python -m tests.bench.steps [FILE]`: the whole order of a build (by default the largest demo) from an empty memory,
each step played again; then the same after one part has moved; then every slide that was asked, against a naive
baseline that moves the body on by 1 mm at a time and asks the mesh kernel each time whether the two share room.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

from elbowroom.model import demos, pipeline
from elbowroom.model.geometry.narrow import common
from elbowroom.model.insertion import assembled, kernels, off_the_case
from elbowroom.model.insertion.blocking import Blocking
from elbowroom.model.insertion.building import Building
from elbowroom.model.insertion.items import Items
from elbowroom.model.insertion.plan import plan
from elbowroom.model.insertion.sliding import along, run_into
from elbowroom.model.store import Store
from elbowroom.parts.vocabulary.pose import compose, inverse, shift

NAIVE_MM = 1.0
MOST = 40  # slides that are put to the naive baseline, evenly over those asked
NUDGE_MM = 0.1


def main() -> None:
    file = Path(sys.argv[1]) if len(sys.argv) > 1 else demos.pairs()[0][1]
    store = Store.default()
    stands = pipeline.standing(file, store)
    build = stands.cut.fastened.placed.build
    chosen = stands.cut.fastened.chosen
    assert kernels.CORNERS  # compiled before the clock starts, as it is from the second run on a machine
    start = time.perf_counter()
    building = Building(stands.scene, Items(stands.scene, chosen, off_the_case(stands.scene, build.building)), store)
    found = plan(building)
    print(f"order of {len(found.steps)} steps: {time.perf_counter() - start:.2f} s, {building.blocking.asked} slides")
    start = time.perf_counter()
    assembled(stands.scene, chosen, build.building, store)
    print(f"with every step played again: {time.perf_counter() - start:.2f} s")
    start = time.perf_counter()
    assembled(stands.scene, chosen, build.building, Store(store.folder))
    print(f"the same once more, as after an edit elsewhere: {time.perf_counter() - start:.2f} s")
    _slides(building.blocking)


def _slides(blocking: Blocking) -> None:
    asked = list(blocking._bodies.items())
    some = asked[:: max(1, len(asked) // MOST)]
    fast = slow = 0.0
    agree = 0
    for (i, j, key), _ in some:
        numbers = np.frombuffer(key)
        way, moved, far = numbers[:3], numbers[3:6], min(float(numbers[6]), 600.0)
        start = time.perf_counter()
        axes, against = along(way)
        view = blocking.view(axes)
        wide = float(blocking.bounds[i] + blocking.bounds[j])
        ran = run_into(view.profile(i), view.profile(j), axes, against, moved, far, wide)
        fast += time.perf_counter() - start
        start = time.perf_counter()
        a, b = (blocking.checker.kernel(blocking.scene.solids[k]) for k in (i, j))
        hit = None
        for t in np.arange(0.0, far, NAIVE_MM):
            x, y, z = (float(c) for c in moved + way * t)
            at = compose(shift(x, y, z), blocking.scene.solids[i].pose)
            rel = compose(inverse(at), blocking.scene.solids[j].pose)
            shared = common(a, b, np.ascontiguousarray(rel[:3, :3]), np.ascontiguousarray(rel[:3, 3]))
            if float(shared.volume()) > 1.0:
                hit = t
                break
        slow += time.perf_counter() - start
        agree += (hit is None) == (ran is None)
    print(f"{len(some)} slides: {1e3 * fast / len(some):.2f} ms each; stepped by {NAIVE_MM:g} mm "
          f"{1e3 * slow / len(some):.0f} ms: {slow / fast:.0f} times as long; {agree} agree")  # fmt: skip


if __name__ == "__main__":
    main()
