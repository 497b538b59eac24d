"""Templates: drill and cut drawings at true size, as DXF, SVG and PDF, of whatever the build has to be cut or drilled.

Owns which sides are drawn: panels with holes to drill, sheets of the build, flat parts one makes of sheet, and the
sides the build names. Drawing and writing are the work of `templates`.
"""

from __future__ import annotations

from elbowroom.model.build.problems import InputError
from elbowroom.model.layout.layout import Piece
from elbowroom.model.writers.job import Files, Job
from elbowroom.parts.case.case import Case
from elbowroom.parts.made.adapter import Adapter
from elbowroom.parts.made.sheet import PlainSheet


def write(job: Job) -> Files:
    """`templates/<side>.dxf`, `.svg` and `.pdf`; nothing where there is nothing to cut or drill."""
    from elbowroom.model.templates import write as written
    from elbowroom.model.templates.views import drawings

    found = []
    for side in dict.fromkeys(_sides(job)):
        try:
            found += drawings(job.scene, job.store, [side])
        except InputError as e:
            job.notes.append(f"templates: {e}")
    for side in job.templates.of:  # a side the build names and has not got is a fault of the build
        found += drawings(job.scene, job.store, [side])
    unique = {d.name: d for d in found}
    yield from written(unique.values(), paper=job.templates.paper, kerf=float(job.templates.kerf))


def _sides(job: Job) -> list[str]:
    out: list[str] = []
    shapes: set[str] = set()
    for piece in job.scene.layout.pieces:
        if isinstance(piece.part, Case):
            out += [f"{piece.name}.{h.face}" for h in piece.part.holes if h.to_drill]
            out += [f"{piece.name}.{piece.part.panel(c.face)}" for c in piece.part.cutouts if c.to_cut]
        elif _is_sheet(piece) and piece.part.shape_key() not in shapes:
            shapes.add(piece.part.shape_key())
            out.append(piece.name if isinstance(piece.part, PlainSheet) else f"{piece.name}.a")
        if piece.part.cuts and piece.part.shape_key() not in shapes:
            shapes.add(piece.part.shape_key())
            out += [f"{piece.name}.{sheet}" for sheet in dict.fromkeys(c.sheet for c in piece.part.cuts)]
    return out


def _is_sheet(piece: Piece) -> bool:
    part = piece.part
    return isinstance(part, PlainSheet) or (isinstance(part, Adapter) and part.material in ("acrylic", "aluminium"))
