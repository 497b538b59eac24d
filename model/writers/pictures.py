"""Pictures: SVG and PNG of the build and its findings, as the caller draws them.

Owns their place among the files. Drawing them is the work of the room `pictures`, which knows more of a build than its
scene: a caller that hands it in gets them, another gets none.
"""

from __future__ import annotations

from elbowroom.model.writers.job import Files, Job


def write(job: Job) -> Files:
    """`pictures/*.svg` and `.png`."""
    if job.pictures is not None:
        yield from job.pictures()
