"""Flat sides and sheets of any part's exact solids, worked out where that is safe.

Owns the choice: our own parts in this process, what is drawn from a file that someone else made in the child of
`geometry.confined`. What is found comes back as plain numbers. The finding itself is the work of `outline`,
`flats` and `vocabulary.flat_cut`.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np

from elbowroom.model.geometry.confined import Given, confined, given
from elbowroom.model.geometry.drawing import is_foreign
from elbowroom.model.geometry.exact import bodies
from elbowroom.model.geometry.scene import Shape
from elbowroom.model.store import Store
from elbowroom.model.templates.drawing import TemplateError
from elbowroom.model.templates.flats import FlatSheet, Found, flat_sheets, named_sheets, sheets_in
from elbowroom.model.templates.outline import Opening, Region, regions
from elbowroom.parts.imported import child
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.draw import DrawError
from elbowroom.parts.vocabulary.flat_cut import FlatCut, cut
from elbowroom.parts.vocabulary.pose import Pose

NO_SOLID = "it is a mesh without flat faces of its own; a template needs a STEP or a part"


def regions_of(shape: Shape, part: Part, body: str, store: Store, view: Pose, at_view: bool) -> tuple[Region, ...]:
    """`regions` of a drawn part's body. Raises TemplateError, also where the work on a user's shape was lost."""
    if not is_foreign(part):
        solids = bodies(shape, part, store)
        if solids is None or body not in solids:
            raise TemplateError(NO_SOLID)
        return regions(solids[body], view, at_view)
    if body not in shape.meshes or (sent := given(shape, part, store, body)) is None:
        raise TemplateError(_undrawn(shape))
    found = _asked(sent, store, "regions_told", (view, at_view))
    if isinstance(found, str):
        raise TemplateError(found)
    return tuple(
        Region(
            _contour(edge), _circle(circle),
            tuple(Opening(_contour(c), _circle(o), depth) for c, o, depth in openings), height,
        )
        for edge, circle, openings, height in found
    )  # fmt: skip


def sheets_of(shape: Shape, part: Part, store: Store) -> list[FlatSheet]:
    """`flat_sheets` of a drawn part; none of a mesh. Raises TemplateError where the work on a user's shape was lost."""
    if not is_foreign(part):
        return flat_sheets(part, bodies(shape, part, store) or {})
    if (sent := given(shape, part, store)) is None:
        if all(m.fault is None for m in shape.meshes.values()):
            return []
        raise TemplateError(_undrawn(shape))
    import shapely

    found = _asked(sent, store, "sheets_told", None)
    if isinstance(found, str):
        raise TemplateError(found)
    made: dict[str, list[Found]] = {
        body: [
            (np.array(at, dtype=np.float64), float(thick), shapely.Polygon(outer, inner))
            for at, thick, outer, inner in rows
        ]
        for body, rows in zip(shape.meshes, found, strict=True)
    }
    return named_sheets(part, made)


def stays_whole(shape: Shape, part: Part, store: Store, cuts: Sequence[FlatCut]) -> bool:
    """Whether every body of a drawn part stays one solid when it is cut. Raises TemplateError where that is lost."""
    if not is_foreign(part):
        return _whole(list((bodies(shape, part, store) or {}).values()), list(shape.meshes), cuts)
    if (sent := given(shape, part, store)) is None:
        raise TemplateError(_undrawn(shape))
    found = _asked(sent, store, "whole_told", (list(shape.meshes), list(cuts)))
    if isinstance(found, str):
        raise TemplateError(found)
    return bool(found)


def _undrawn(shape: Shape) -> str:
    return next((m.fault for m in shape.meshes.values() if m.fault is not None), NO_SOLID)


def _asked(sent: Given, store: Store, function: str, wanted: object) -> Any:
    try:
        return json.loads(confined(store).ask((sent,), __name__, function, wanted))
    except child.Lost as end:
        raise TemplateError(f"no answer about this shape: {end}") from None


def _contour(rows: Sequence[Sequence[float]]) -> tuple[tuple[float, float, float], ...]:
    return tuple((float(x), float(y), float(b)) for x, y, b in rows)


def _circle(row: Sequence[float] | None) -> tuple[float, float, float] | None:
    return None if row is None else (float(row[0]), float(row[1]), float(row[2]))


# In the child. A text is why there is no answer. ----------------------------------------------------------------------


def regions_told(shapes: list[list[Any]], wanted: tuple[Pose, bool]) -> bytes:
    """`regions` of the body that is meant."""
    view, at_view = wanted
    try:
        found = regions(shapes[0][0], view, at_view)
    except TemplateError as e:
        return json.dumps(str(e)).encode()
    return json.dumps(
        [[r.contour, r.circle, [[o.contour, o.circle, o.depth] for o in r.openings], r.height] for r in found]
    ).encode()


def sheets_told(shapes: list[list[Any]], _wanted: None) -> bytes:
    """The flat sheets in each body: pose, thickness, and the rings of the outline."""
    rows = [
        [
            [at.tolist(), thick, list(outline.exterior.coords), [list(r.coords) for r in outline.interiors]]
            for at, thick, outline in sheets_in(solid)
        ]
        for solid in shapes[0]
    ]
    return json.dumps(rows).encode()


def whole_told(shapes: list[list[Any]], wanted: tuple[list[str], list[FlatCut]]) -> bytes:
    """Whether the bodies stay whole when they are cut."""
    return json.dumps(_whole(shapes[0], *wanted)).encode()


def _whole(solids: list[Any], names: list[str], cuts: Sequence[FlatCut]) -> bool:
    from cadquery import Shape as Solid

    try:
        cut({name: Solid.cast(s) for name, s in zip(names, solids, strict=True)}, cuts)
    except DrawError:
        return False
    return True
