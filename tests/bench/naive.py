"""The check as one would first write it with CadQuery: every pair of parts, common volume and least distance.

It keeps nothing between runs, asks the exact kernel about every two parts (each part's real solids as one compound,
which is kinder to it than every two bodies), and prints what it found as JSON: `pairs`, `overlapping`, and the seconds
for building and for the pairs. Run as a module, with the name of a build file or the count of a made-up layout.
"""

from __future__ import annotations

import json
import sys
import time
from itertools import combinations
from pathlib import Path


def main(what: str) -> None:
    start = time.perf_counter()
    import cadquery as cq

    from elbowroom.parts.vocabulary.draw import location
    from tests.bench.scenes import load_layout, made_up

    layout = made_up(int(what)) if what.isdigit() else load_layout(Path(what))
    built: list[tuple[str, cq.Shape]] = []
    drawn: dict[str, cq.Shape] = {}
    for piece in layout.pieces:
        key = piece.part.shape_key()
        if key not in drawn:
            solids = piece.part.solids()
            real = [solids[b.name] for b in piece.part.bodies() if b.keep_out is None]
            drawn[key] = cq.Compound.makeCompound(real)
        built.append((piece.name, drawn[key].moved(location(piece.pose))))
    ready = time.perf_counter()
    overlapping, nearest = [], {}
    for (name_a, a), (name_b, b) in combinations(built, 2):
        volume = a.intersect(b).Volume()
        nearest[f"{name_a}~{name_b}"] = a.distance(b)
        if volume > 1e-9:
            overlapping.append([name_a, name_b, volume])
    done = time.perf_counter()
    print(
        json.dumps(
            {
                "pairs": len(nearest),
                "overlapping": overlapping,
                "build_s": ready - start,
                "pairs_s": done - ready,
                "nearest": nearest,
            }
        )
    )


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "40")
