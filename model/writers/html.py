"""HTML: one file to look at, for anyone with a browser.

Owns what of an export goes into the page; the page itself is `page`'s.
"""

from __future__ import annotations

from typing import Any

from elbowroom.model.page.contents import Build, contents
from elbowroom.model.page.document import document
from elbowroom.model.page.packing import Pack
from elbowroom.model.writers.job import Files, Job
from elbowroom.model.writers.json_report import piece_json, plain
from elbowroom.model.writers.materials import LOOKS

FILE = "page.html"


def write(job: Job) -> Files:
    """The page of the build, with the room in front of its ports where the caller can work it out."""
    yield FILE, document(*told(job)).encode("utf-8", "replace")


def told(job: Job, pack: Pack | None = None) -> tuple[dict[str, Any], Pack]:
    """The page's data as JSON can hold them, and the meshes that their numbers mean. pack: an empty one for them."""
    build = Build(
        job.scene,
        job.findings,
        [(piece, solids) for piece, _, solids in job.shown],
        [piece_json(p) for p in job.scene.layout.pieces],
        {name: (look.colour, look.opacity) for name, look in LOOKS.items()},
        {} if job.reach is None else job.reach(),
    )
    data, packed = contents(build, pack)
    return plain(data), packed
