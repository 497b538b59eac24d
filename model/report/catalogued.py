"""The catalogue as one page: every family drawn with its names, its sizes, and its fields with what they rest on.

Owns which families are on it and in which order each is told. The rows are `told.catalogued`'s, the pictures
`pictures.family`'s; how it looks is `page`'s.
"""

from __future__ import annotations

from collections.abc import Sequence

from elbowroom.model.pictures import family as drawn
from elbowroom.model.report.content import Content, Part, Table
from elbowroom.model.report.page import write
from elbowroom.model.store import Store
from elbowroom.model.told.catalogued import FIELDS, NAMES, fields_told, names_told, sizes_told
from elbowroom.model.told.progress import Progress
from elbowroom.parts import family_class
from elbowroom.parts.catalogue import sample
from elbowroom.parts.vocabulary.base import MARKS


def page(families: Sequence[str], store: Store, progress: Progress | None = None) -> bytes:
    """The page of some families, as the bytes of an HTML file."""
    parts = []
    for i, family in enumerate(families):
        if progress is not None:
            progress(i, len(families), f"drawing {family}")
        parts.append(_part(family, store))
    marks = Part("What figures rest on", tuple(f"{mark}: {text}" for mark, text in MARKS.items()))
    says = "all lengths in millimetres; names as a build file writes them after the piece's own: card.in, radiator.a"
    return write(Content("Catalogue", "fits", "", says, (*parts, marks)))


def _part(family: str, store: Store) -> Part:
    picture, typical = drawn.picture(family, store), sample(family, None)
    names = names_told(typical[1]) if typical is not None else []
    sizes = tuple((s.name, s.about, s.fields, s.rests) for s in sizes_told(family))
    tables = [("sizes", Table(("size", "what it is", "fields", "rests on"), sizes))] if sizes else []
    if typical is not None and names:
        tables.append((f"names, of {typical[0]}", Table(NAMES, tuple(names))))
    tables.append(("fields", Table(FIELDS, tuple(fields_told(family)))))
    lines = (" ".join((family_class(family).__doc__ or "").replace("`", "").split()),)
    return Part(family, lines, tables=tuple(tables), pictures=(picture,) if picture is not None else ())
