"""Cutting the flat sheets of any part, each by itself, so that other things clear it.

Owns which flat sheets a placed piece has that may be cut, the cuts in them, and what stands against one: a screw hole
too near, a body that would fall apart. What a build says about it belongs to `cut_spec`, the outline of a cut to
`templates.notch`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, NamedTuple

from elbowroom.model.geometry.scene import Scene, Shape
from elbowroom.model.layout.layout import Piece
from elbowroom.parts.made.primitives import WALL
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.contour import flattened
from elbowroom.parts.vocabulary.flat_cut import FlatCut
from elbowroom.parts.vocabulary.pose import apply, compose, inverse
from elbowroom.parts.vocabulary.tolerances import PARALLEL_COS

if TYPE_CHECKING:
    from elbowroom.model.store import Store
    from elbowroom.model.templates.flats import FlatSheet
    from elbowroom.model.templates.notch import Notch, Obstacle

ALONE = 0.02  # share of a body that may be more than one flat sheet of it before the sheet is held by the rest; (P)
TRIMMED_MM = 2.0  # that a sheet may be shorter for a cut along its edge before an end counts as cut off; no source (P)
CHORD_MM = 0.01  # of arcs where outlines are compared


class CannotCut(Exception):
    """A cut that cannot be made, with the reason as a sentence for a builder."""


class Made(NamedTuple):
    """What was cut in one flat sheet. severed: whether an end or a side of it comes off whole."""

    flat: FlatSheet
    notch: Notch
    severed: bool


class Known:
    """The flat sheets of the pieces of a scene, each piece's found once."""

    def __init__(self, scene: Scene, store: Store) -> None:
        self.scene, self.store = scene, store
        self._found: dict[str, list[FlatSheet]] = {}

    def shape(self, piece: Piece) -> tuple[Shape, Part, Store] | None:
        """What a piece draws as it stands in the scene, the part that draws it, and where its solids are kept."""
        shape = next((s.shape for s in self.scene.solids if s.piece.name == piece.name), None)
        return None if shape is None else (shape, self.scene.layout.piece(piece.name).part, self.store)

    def flats(self, piece: Piece) -> list[FlatSheet]:
        """A piece's flat sheets that can be cut; none of what holds coolant. CannotCut where a user's shape is lost."""
        from elbowroom.model.templates.apart import sheets_of
        from elbowroom.model.templates.drawing import TemplateError

        if piece.part.wet:
            return []
        if piece.name not in self._found:
            drawn = self.shape(piece)
            try:
                self._found[piece.name] = [] if drawn is None else sheets_of(*drawn)
            except TemplateError as e:
                raise CannotCut(str(e)) from None
        return self._found[piece.name]


def with_cuts(
    piece: Piece, flats: Sequence[FlatSheet], gap: float, tool: float, obstacles: Sequence[Obstacle], known: Known
) -> tuple[Piece, list[Made]]:
    """The piece with those of its flat sheets cut that do not clear the obstacles by `gap` mm, and what was cut in
    each. Raises CannotCut.
    """
    from elbowroom.model.templates.apart import stays_whole
    from elbowroom.model.templates.drawing import TemplateError
    from elbowroom.model.templates.notch import Sheet, notch

    drawn = known.shape(piece)
    if drawn is None:
        return piece, []
    made: list[Made] = []
    cuts: list[FlatCut] = []
    for flat in flats:
        outline = _less(flat, piece.part.cuts)
        whole = drawn[0].meshes[flat.body].volume_mm3
        alone = abs(whole - flat.outline.area * flat.thickness) <= ALONE * whole
        try:
            sheet = Sheet(compose(piece.pose, flat.pose), flat.thickness, outline)
            found = notch(sheet, obstacles, gap, tool, alone=alone)
        except TemplateError as e:
            raise CannotCut(f"{flat.name}: {e}") from None
        if found.cuts:
            if near := _too_near(piece, flat, found):
                raise CannotCut(near)
            cuts += [FlatCut(flat.name, flat.body, flat.pose, flat.thickness, c.contour) for c in found.cuts]
            shorter = max(b - a for a, b in zip(_size(found.left), _size(outline), strict=True))
            made.append(Made(flat, found, alone and shorter > TRIMMED_MM))
    if not cuts:
        return piece, []
    part = piece.part.with_cuts(cuts)
    try:
        whole_still = stays_whole(*drawn, part.cuts)
    except TemplateError as e:
        raise CannotCut(str(e)) from None
    if not whole_still:
        raise CannotCut("it would not stay in one piece")
    return replace(piece, part=part), made


def _size(outline: Any) -> tuple[float, float]:
    x0, y0, x1, y1 = outline.bounds
    return (x1 - x0, y1 - y0)


def _less(flat: FlatSheet, cuts: Sequence[FlatCut]) -> Any:
    """A flat sheet's outline without what was cut from it before."""
    import shapely

    gone = [shapely.Polygon(flattened(c.contour, CHORD_MM)) for c in cuts if c.sheet == flat.name]
    left = flat.outline.difference(shapely.union_all(gone)) if gone else flat.outline
    return max(getattr(left, "geoms", [left]), key=lambda g: float(g.area))


def _too_near(piece: Piece, flat: FlatSheet, found: Any) -> str:
    """Which of a part's screw holes a cut leaves too little about; empty for none."""
    import shapely

    shapes = [shapely.Polygon(flattened(c.contour, CHORD_MM)) for c in found.cuts]
    back = inverse(flat.pose)
    for pattern in piece.part.patterns():
        level = abs(float(pattern.pose[:3, 2] @ flat.pose[:3, 2])) > PARALLEL_COS
        for i, h in enumerate(pattern.holes, 1):
            a = math.radians(h.angle)
            ends = [(h.x + k * h.slot / 2 * math.cos(a), h.y + k * h.slot / 2 * math.sin(a), 0.0) for k in (-1, 1)]
            x, y, z = apply(back, apply(pattern.pose, ends)).T
            if not level or pattern.body != flat.body or min(abs(z[0]), abs(z[0] - flat.thickness)) > WALL:
                continue
            line = shapely.MultiPoint(list(zip(x, y, strict=True))).convex_hull
            short = h.diameter / 2 + WALL - min(float(s.distance(line)) for s in shapes)
            if short > 0:
                return f"hole {i} of {pattern.name} comes {short:.2f} mm too close to the cut"
    return ""
