"""What every writer is handed: the scene, its findings, the wishes of the caller, and a place for notes.

Owns the `Job` value and the groupings of its solids that several writers share. Files and folders are not known here:
a writer answers with names and bytes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

from elbowroom.model.build.template_spec import TemplatesSpec
from elbowroom.model.geometry.names import shape_labels
from elbowroom.model.geometry.scene import Mesh, Scene, Shape, Solid
from elbowroom.model.geometry.solidify import CannotDraw, solidify
from elbowroom.model.layout.layout import Piece
from elbowroom.model.store import Store
from elbowroom.model.told.findings import Finding
from elbowroom.parts.looks import shown

Standing = tuple[Piece, Shape, list[Solid]]  # a piece, what it draws, and its bodies where they stand
Files = Iterator[tuple[str, bytes]]  # path inside the export folder ("stl/fan.stl") and content


@dataclass(frozen=True, eq=False)
class Job:
    """One export. `keep_outs`: also write keep-out volumes where a format leaves them out by default. `folder`: of the
    cache that the scene was drawn through. `notes` collects what a reader of the files must be
    told: what was left out, and why. `reach` works out the reachable space of each port, `pictures` draws the files of
    that name, `steps` tells in which order the build goes together. `templates`: the build's words for them.
    `detailed`: STEP shows parts as people know them, too, rather than as they are judged. `drawn`: a cache of that
    folder that nothing is checked through, for who makes one export after another.
    """

    scene: Scene
    findings: Sequence[Finding]
    folder: Path
    keep_outs: bool = False
    notes: list[str] = field(default_factory=list)
    reach: Callable[[], Mapping[str, Mesh]] | None = None
    pictures: Callable[[], Files] | None = None
    steps: Callable[[], Files] | None = None
    templates: TemplatesSpec = field(default_factory=TemplatesSpec)
    detailed: bool = False
    drawn: Store | None = None

    @property
    def title(self) -> str:
        return self.scene.layout.title

    @cached_property
    def store(self) -> Store:
        """The cache with nothing in memory: a check's boolean operations may alter the solids they were handed, and
        what is written must not depend on what was checked before.
        """
        return Store(self.folder) if self.drawn is None else self.drawn

    @cached_property
    def plain_labels(self) -> dict[str, str]:
        """The labels of the shapes that are judged; looks take the kernel seconds, and few formats want them."""
        return shape_labels(self.scene.solids)

    @cached_property
    def labels(self) -> dict[str, str]:
        """A label for each distinct shape, by shape key; a look is called what its plain shape is called."""
        plain = self.plain_labels
        looks = {
            look[1].key: plain[shape.key] for piece, shape, _ in self.pieces if (look := self._looks.get(piece.name))
        }
        return plain | looks

    @cached_property
    def shown(self) -> list[Standing]:
        """The pieces as people look at them: as `pieces`, but fans with blades, radiators with fins, plugs on cables.

        Keep-outs are the plain shape's own and are not among them.
        """
        plain = ((p, shape, [s for s in solids if s.body.keep_out is None]) for p, shape, solids in self.pieces)
        return [self._looks.get(piece.name, (piece, shape, solids)) for piece, shape, solids in plain if solids]

    @cached_property
    def _looks(self) -> dict[str, Standing]:
        """The looks of the pieces that have one, by the piece's name."""
        wanted = {p.name: replace(p, part=look) for p, _, _ in self.pieces if (look := shown(p.part)) is not None}
        while True:
            layout = replace(self.scene.layout, pieces=tuple(wanted.values()), mates=(), joined=())
            try:
                drawn = solidify(layout, self.store)
                break
            except CannotDraw as e:  # odd dimensions: the plain shape is what is shown, as it is what is judged
                part = wanted[e.piece].part
                wanted = {name: p for name, p in wanted.items() if p.part != part}
        out: dict[str, Standing] = {}
        for solid in drawn.solids:
            if solid.body.keep_out is None:
                out.setdefault(solid.piece.name, (solid.piece, solid.shape, []))[2].append(solid)
        return out

    @cached_property
    def pieces(self) -> list[Standing]:
        """Every piece that drew anything, with its shape and its bodies (keep-outs among them), in scene order."""
        found: dict[str, Standing] = {}
        for solid in self.scene.solids:
            found.setdefault(solid.piece.name, (solid.piece, solid.shape, []))[2].append(solid)
        return list(found.values())

    @cached_property
    def shapes(self) -> list[tuple[str, Shape, list[Piece], list[Solid]]]:
        """Every distinct shape: label, shape, the pieces that have it, and the bodies of the first of them."""
        found: dict[str, tuple[str, Shape, list[Piece], list[Solid]]] = {}
        for piece, shape, solids in self.pieces:
            found.setdefault(shape.key, (self.plain_labels[shape.key], shape, [], solids))[2].append(piece)
        return list(found.values())
