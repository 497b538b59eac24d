"""The one way from a build file to its findings, for every command and test.

Owns the order load -> place -> solidify -> check and the value that holds each stage's result. Each stage is a plain
function of another module.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from elbowroom.model import source
from elbowroom.model.findings import Finding
from elbowroom.model.layout import Layout
from elbowroom.model.place import place
from elbowroom.model.resolve import Build, load
from elbowroom.model.scene import Scene

Progress = Callable[[int, int, str], None]  # done, total, what


@dataclass(frozen=True, slots=True, eq=False)
class Checked:
    """A build with everything that was worked out from it."""

    build: Build
    layout: Layout
    scene: Scene
    findings: list[Finding]


def layout_of(file: Path, overrides: Sequence[str] = ()) -> tuple[Build, Layout]:
    """The build in a file and its layout; raises BuildError with every fault of the input."""
    build = load(source.read(file, overrides))
    return build, place(build)


def check(file: Path, overrides: Sequence[str] = (), progress: Progress | None = None) -> Checked:
    """Everything about the build in a file; raises BuildError where the input cannot be used."""
    build, layout = layout_of(file, overrides)
    # The engine is loaded only once the input is known to be sound: faults come out at once.
    from elbowroom.model import checks
    from elbowroom.model.solidify import solidify
    from elbowroom.model.store import Store

    store = Store.default()
    scene = solidify(layout, store, progress)
    return Checked(build, layout, scene, checks.run(scene, store, progress))
