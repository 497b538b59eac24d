"""What every writer is handed: the scene, its findings, the wishes of the caller, and a place for notes.

Owns the `Job` value and the groupings of its solids that several writers share. Files and folders are not known here:
a writer answers with names and bytes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from elbowroom.model.findings import Finding
from elbowroom.model.layout import Piece
from elbowroom.model.scene import Mesh, Scene, Shape, Solid
from elbowroom.model.store import Store
from elbowroom.model.template_spec import TemplatesSpec
from elbowroom.model.writers.names import shape_labels

Progress = Callable[[int, int, str], None]  # done, total, what
Files = Iterator[tuple[str, bytes]]  # path inside the export folder ("stl/fan.stl") and content


@dataclass(frozen=True, eq=False)
class Job:
    """One export. `keep_outs`: also write keep-out volumes where a format leaves them out by default. `folder`: of the
    cache that the scene was drawn through, None for the user's own. `notes` collects what a reader of the files must be
    told: what was left out, and why. `reach` works out the reachable space of each port. `templates`: the build's
    words for them.
    """

    scene: Scene
    findings: Sequence[Finding]
    keep_outs: bool = False
    folder: Path | None = None
    notes: list[str] = field(default_factory=list)
    reach: Callable[[], Mapping[str, Mesh]] | None = None
    templates: TemplatesSpec = field(default_factory=TemplatesSpec)

    @property
    def title(self) -> str:
        return self.scene.layout.title

    @cached_property
    def store(self) -> Store:
        """The cache with nothing in memory: a check's boolean operations may alter the solids they were handed, and
        what is written must not depend on what was checked before.
        """
        return Store.default() if self.folder is None else Store(self.folder)

    @cached_property
    def labels(self) -> dict[str, str]:
        """A label for each distinct shape, by shape key."""
        return shape_labels(self.scene.solids)

    @cached_property
    def pieces(self) -> list[tuple[Piece, Shape, list[Solid]]]:
        """Every piece that drew anything, with its shape and its bodies (keep-outs among them), in scene order."""
        found: dict[str, tuple[Piece, Shape, list[Solid]]] = {}
        for solid in self.scene.solids:
            found.setdefault(solid.piece.name, (solid.piece, solid.shape, []))[2].append(solid)
        return list(found.values())

    @cached_property
    def shapes(self) -> list[tuple[str, Shape, list[Piece], list[Solid]]]:
        """Every distinct shape: label, shape, the pieces that have it, and the bodies of the first of them."""
        found: dict[str, tuple[str, Shape, list[Piece], list[Solid]]] = {}
        for piece, shape, solids in self.pieces:
            found.setdefault(shape.key, (self.labels[shape.key], shape, [], solids))[2].append(piece)
        return list(found.values())
