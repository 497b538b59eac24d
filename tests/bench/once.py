"""One check in this process, for the benchmark to time from outside: prints counts, and seconds by stage, as JSON."""

from __future__ import annotations

import json
import resource
import sys
import time
from pathlib import Path


def main(what: str, folder: str) -> None:
    start = time.perf_counter()
    from elbowroom.model import checks
    from elbowroom.model.geometry.solidify import WORKERS, solidify
    from elbowroom.model.store import Store
    from elbowroom.model.told.findings import overall
    from tests.bench.scenes import load_layout, made_up

    imported = time.perf_counter()
    layout = made_up(int(what)) if what.isdigit() else load_layout(Path(what))
    placed = time.perf_counter()
    store = Store(Path(folder))
    scene = solidify(layout, store)
    solid = time.perf_counter()
    # The workers are gone before the checks begin; the largest is counted as often as there may be workers.
    drawing = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    drawing += WORKERS * resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    findings = checks.run(scene, store)
    done = time.perf_counter()
    counts: dict[str, int] = {}
    for f in findings:
        counts[f.verdict] = counts.get(f.verdict, 0) + 1
    kilobytes = max(drawing, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
    heavy = [m for m in ("cadquery", "OCP", "coal", "manifold3d", "trimesh", "scipy") if m in sys.modules]
    print(
        json.dumps(
            {"verdict": overall(findings), "counts": counts, "solids": len(scene.solids), "loaded": heavy,
             "import_s": imported - start, "place_s": placed - imported, "solidify_s": solid - placed,
             "check_s": done - solid, "peak_mb": kilobytes / 1024,
             "overlapping": [[*f.bodies, dict(f.extra)["volume_mm3"]] for f in findings if f.verdict == "clash"]}
        )
    )  # fmt: skip


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2])
