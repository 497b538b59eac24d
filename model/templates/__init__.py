"""Drill and cut templates: drawings of one flat side at true size, and the files they are written to.

Owns the register of formats and the names of the files. What a drawing is, how it comes from a part, and what each
format holds are its modules' work. Kerf goes into DXF and SVG, which machines follow; the PDF is for a drill in the
hand and keeps the finished sizes.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator
from importlib import import_module
from typing import cast

from elbowroom.model.build.problems import InputError, choices, shown
from elbowroom.model.geometry.names import UniqueNames
from elbowroom.model.templates.drawing import Drawing, TemplateError

FOLDER = "templates"
FORMATS: tuple[str, ...] = ("dxf", "svg", "pdf")


def write(
    drawings: Iterable[Drawing], formats: Collection[str] = FORMATS, paper: str = "A4", kerf: float = 0.0
) -> Iterator[tuple[str, bytes]]:
    """`templates/<name>.<format>` and its bytes, drawing by drawing.

    Raises InputError for an unknown format or paper, a kerf that is none, or a drawing that cannot be written so.
    """
    for f in formats:
        if f not in FORMATS:
            raise InputError(f"no template format {shown(f)}{choices(f, FORMATS)}")
    from elbowroom.model.templates.kerf import compensated
    from elbowroom.model.templates.pdf import write as pdf
    from elbowroom.model.templates.tiling import tiled

    names = UniqueNames()
    for drawing in drawings:
        name = f"{FOLDER}/{names.take(drawing.name, 'template')}"
        tiled(drawing.box, paper)  # an unknown paper is told even where no PDF is asked for
        try:
            followed = compensated(drawing, kerf)
        except TemplateError as e:
            raise InputError(f"template {shown(drawing.title)}: {e}") from None
        for f in FORMATS:
            if f not in formats:
                continue
            if f == "pdf":
                yield f"{name}.pdf", pdf(drawing, paper)
            else:
                one = cast("Callable[[Drawing], bytes]", import_module(f"elbowroom.model.templates.{f}").write)
                yield f"{name}.{f}", one(followed)
