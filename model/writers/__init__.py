"""The files a build is written to: one writer a format, one line to register it.

Owns the register, the choice of formats and the all-or-nothing writing of one export. What a format holds is its own
module's work; putting files in place is `atomic`'s.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from importlib import import_module
from pathlib import Path
from typing import NamedTuple, cast

from elbowroom.model.build.problems import picked
from elbowroom.model.build.template_spec import TemplatesSpec
from elbowroom.model.geometry.scene import Mesh, Scene
from elbowroom.model.store import Store
from elbowroom.model.told.findings import Finding
from elbowroom.model.told.progress import Progress
from elbowroom.model.writers.atomic import OutputError, Staging
from elbowroom.model.writers.job import Files, Job

# Format name -> module of its writer, which has `write(job) -> Files`. Loaded when first asked for.
FORMATS: dict[str, str] = {
    "step": "step",
    "stl": "stl",
    "glb": "glb",
    "json": "json_report",
    "bom": "bom",
    "templates": "templates",
    "pictures": "pictures",
    "reach": "reach",
    "html": "html",
    "steps": "steps",
}
ON_DEMAND = frozenset({"reach", "steps"})  # written only when named


class Written(NamedTuple):
    """What an export left on the disk, which of it stood there before, and what its reader must be told."""

    paths: list[Path]
    notes: list[str]
    replaced: frozenset[Path] = frozenset()


def write(
    scene: Scene,
    findings: Sequence[Finding],
    folder: Path,
    only: Collection[str] | None = None,
    progress: Progress | None = None,
    *,
    keep_outs: bool = False,
    store: Store,
    reach: Callable[[], Mapping[str, Mesh]] | None = None,
    pictures: Callable[[], Files] | None = None,
    steps: Callable[[], Files] | None = None,
    templates: TemplatesSpec | None = None,
    detailed: bool = False,
) -> Written:
    """Write the formats named in `only` (the usual ones where None) into `folder`, all files or none.

    keep_outs: write keep-out volumes into the STEP file too, under a sub-assembly of their own. store: the cache that
    the scene was drawn through; what is written does not depend on what it holds in memory. reach: works out the
    reachable space of each port, where that is asked for; pictures: draws them, without it there are none; steps:
    works out the order of building, likewise. templates: the build's words for them. detailed: STEP shows fans with
    blades, radiators with fins and the like, as GLB always
    does. Raises OutputError where the files cannot be written (the earlier ones are then unchanged) and InputError for
    an unknown format.
    """
    formats = chosen(None) if only is None else picked(only, FORMATS)
    job = Job(
        scene,
        findings,
        store.folder,
        keep_outs,
        reach=reach,
        pictures=pictures,
        steps=steps,
        templates=templates or TemplatesSpec(),
        detailed=detailed,
    )
    with Staging(folder):  # a folder that cannot be written into is told before the work, not after it
        pass
    files: list[tuple[str, bytes]] = []
    for i, name in enumerate(formats):
        if progress:
            progress(i, len(formats), f"writing {name}")
        files += _writer(name)(job)
    with Staging(folder) as staging:  # only now: nothing is on the disk while the kernel is at work
        for path, content in files:
            staging.add(path, content)
        paths = staging.commit()
    if progress:
        progress(len(formats), len(formats), "written")
    return Written(paths, job.notes, staging.replaced)


def chosen(only: str | None) -> tuple[str, ...]:
    """The formats a comma-separated list names, in the register's order; all where None. Raises InputError."""
    if only is None:
        return tuple(name for name in FORMATS if name not in ON_DEMAND)
    return picked(only.split(","), FORMATS)


def _writer(name: str) -> Callable[[Job], Files]:
    module = import_module(f"elbowroom.model.writers.{FORMATS[name]}")
    return cast("Callable[[Job], Files]", module.write)


__all__ = ["FORMATS", "OutputError", "Written", "chosen", "write"]
