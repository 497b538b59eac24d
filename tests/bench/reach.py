"""Bench of port reach: `python -m tests.bench.reach [build.yaml | count]`, from the repository root.

Prints how many fitting poses a second one core judges (every swivel of the catalogue on every port, turned to one
degree, standing and on its way in, against the whole scene), and how long all ports of a build take with the meshes
cached: first, and again from the kept answers; the target is for `PORTS` ports, in proportion. Seconds are those of the
process, so that other work on the machine counts little.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

import numpy as np

from elbowroom.model import reach
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.identity import Port
from elbowroom.model.loop.plumbing import Chain, Line, Plumbing, Tubing
from elbowroom.model.reach.chains import free, free_postures, grid, items
from elbowroom.model.reach.choices import link
from elbowroom.model.reach.rooms import Rooms
from elbowroom.model.store import Store
from elbowroom.parts.fitting.fitting_choice import adapters_for, fittings_for
from elbowroom.parts.tube.tube_stock import tube_stocks
from tests.bench.scenes import load_layout, made_up

POSES_A_SECOND, SECONDS, PORTS = 20_000, 3.0, 25
DEMO = Path(__file__).parents[2] / "model" / "demos" / "flume-mended.yaml"


def poses_a_second(rooms: Rooms) -> float:
    """Fitting poses judged a second over all ports: every fitting that turns, to one degree."""
    count, took = 0, 0.0
    for site in rooms.sites:
        for choice in adapters_for(site.frame.thread or ""):
            if not choice.fitting.is_rotary:
                continue
            (one,) = items([link(choice)], site)
            seated = np.array(site.pose @ one.mount)[None]
            if not len(free(rooms, one.fixed, one.fixed_in, seated)):
                continue  # what does not turn is blocked: no turn would be asked
            for warm in (True, False):
                start = time.process_time()
                free_postures(rooms, site, [one], [grid(1)])
                if not warm:
                    took += time.process_time() - start
                    count += 360
    return count / took


def loop(rooms: Rooms) -> Plumbing:
    """A loop over all ports: the lowest fitting for one tube on each, every third on a swivel."""
    stock = tube_stocks()["petg-14"]
    tubing = Tubing(stock, stock.usual_radius, 2.0, 0.0)
    chains: dict[Port, Chain] = {}
    for n, site in enumerate(rooms.sites):
        thread = site.frame.thread or ""
        ends = fittings_for(thread, stock.od, stock.id, stock.kind)
        swivels = [c for c in adapters_for(thread) if c.fitting.is_rotary]
        if ends:
            links = ([link(swivels[0])] if n % 3 == 2 and swivels else []) + [link(ends[0])]
            chains[site.port] = Chain(site.port, tuple(links), True, ())
    ends_of = list(chains.values())
    lines = [Line(f"{a.port} -> {b.port}", a, b, tubing, ()) for a, b in zip(ends_of[::2], ends_of[1::2], strict=False)]
    return Plumbing(tuple(lines), (), None, None, "floor", chains)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", nargs="?", default=str(DEMO), help="a build file, or the count of a made-up layout")
    given = parser.parse_args()
    layout = made_up(int(given.what)) if given.what.isdigit() else load_layout(Path(given.what))
    shapes = Store.default()
    scene = solidify(layout, shapes)
    ports = len(Rooms(scene, shapes).sites)
    print(f"{given.what}: {ports} ports, {len(scene.solids)} bodies")
    rate = poses_a_second(Rooms(scene, shapes))
    print(f"{'fitting poses a second':<44} {rate:12.0f}   wanted >= {POSES_A_SECOND}")
    met = rate >= POSES_A_SECOND
    for what, asked in (("nothing chosen", None), ("a fitting on every port", loop(Rooms(scene, shapes)))):
        with tempfile.TemporaryDirectory() as folder:
            store = Store(Path(folder))
            took = []
            for _ in range(2):
                start = time.process_time()
                found = reach.check(scene, asked, store)
                took.append(time.process_time() - start)
        first = took[0] * PORTS / max(1, ports)
        counts = {v: sum(f.verdict == v for f in found) for v in ("pass", "caution", "fail", "unknown")}
        print(f"{what:<44} {took[0]:10.2f} s   {first:.2f} s for {PORTS} ports, wanted < {SECONDS:g}   {counts}")
        print(f"{'  again, from the kept answers':<44} {took[1]:10.3f} s")
        met = met and first < SECONDS
    raise SystemExit(0 if met else 1)


if __name__ == "__main__":
    main()
