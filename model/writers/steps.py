"""The order of building, as text to read at the bench and as JSON with every way that was found.

Owns nothing but the hand-over: working it out and its wording are `insertion`'s.
"""

from __future__ import annotations

from elbowroom.model.writers.job import Files, Job


def write(job: Job) -> Files:
    """`steps.txt` and `steps.json`."""
    if job.steps is not None:
        yield from job.steps()
