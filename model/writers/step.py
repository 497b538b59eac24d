"""STEP (ISO 10303-21, AP214): exact solids in millimetres, as an assembly tree with names and colours.

Owns the tree: build / sub-assembly / piece / body. Pieces of one shape share one product, so its geometry stands in
the file once. Keep-outs are left out unless asked for, and then hang under a sub-assembly "keep-outs" of their own.
The exact solids come from the scene's own files or are drawn again (`step_plan`). What cannot be translated is left
out with a note, whole pieces at a time.
"""

from __future__ import annotations

from collections.abc import Mapping

from elbowroom.model.geometry.drawing import is_foreign
from elbowroom.model.geometry.scene import Shape, Solid
from elbowroom.model.layout.layout import Piece
from elbowroom.model.writers.job import Files, Job
from elbowroom.model.writers.materials import KEEP_OUT, LOOKS
from elbowroom.model.writers.step_plan import ROOT, Plan, sent
from elbowroom.parts.imported import child
from elbowroom.parts.imported.unreadable import PartFileError
from elbowroom.parts.vocabulary.pose import IDENTITY

FILE = "assembly.step"
KEEP_OUTS = "keep-outs"


def write(job: Job) -> Files:
    """The whole build as one STEP file; pieces whose exact solids are not known are left out with a note."""
    without: dict[str, str] = {}
    while True:
        plan, notes = _planned(job, without)
        try:
            text = plan.text(job.store) if plan.steps else None
            break
        except child.Lost as end:
            # Which user's shape it was; where each can be had alone, all of them.
            without |= plan.culprits(job.store) or {key: str(end) for key in plan.foreign}
    job.notes.extend(notes)
    if text is None:
        job.notes.append(f"{FILE}: not written, the build holds no exact solid")
    else:
        yield FILE, text


def _planned(job: Job, without: Mapping[str, str]) -> tuple[Plan, list[str]]:
    """What the file is to hold, and the notes on what it does not. without: why a shape, by its key, is left out."""
    plan, notes = Plan(job.title), []
    refused: dict[str, str | None] = dict(without)
    products: dict[tuple[str, bool], int] = {}
    assemblies: dict[tuple[str, bool], int] = {}

    def hang(piece: Piece, shape: Shape, solids: list[Solid], keep_out: bool) -> None:
        key = (shape.key, keep_out)
        if key not in products:
            label = job.labels[shape.key] + (f" {KEEP_OUTS}" if keep_out else "")
            products[key] = plan.product(label)
            for solid in solids:
                look = KEEP_OUT if keep_out else LOOKS[solid.body.material]
                body = plan.body(f"{label} {solid.body.name}", piece.part, shape, solid.body.name, look)
                plan.place(products[key], body, IDENTITY, solid.body.name)
        name = KEEP_OUTS if keep_out else piece.assembly
        if (name, keep_out) not in assemblies:
            assemblies[name, keep_out] = plan.product(name)
            plan.place(ROOT, assemblies[name, keep_out], IDENTITY, name)
        plan.place(assemblies[name, keep_out], products[key], piece.pose, piece.name)

    for keep_out in (False, True) if job.keep_outs else (False,):
        for piece, shape, solids in job.shown if job.detailed and not keep_out else job.pieces:
            wanted = [s for s in solids if (s.body.keep_out is not None) == keep_out]
            if not wanted:
                continue
            if shape.key not in refused:
                refused[shape.key] = _refused(piece, shape, job)
            why = refused[shape.key]
            if why is None:
                hang(piece, shape, wanted, keep_out)
            else:
                notes.append(f"{FILE}: {piece.name} is left out, no exact solid of it is known: {why}")
    return plan, notes


def _refused(piece: Piece, shape: Shape, job: Job) -> str | None:
    """Why a user's shape gives no exact solid: a mesh too fine to be made one, a file that has gone since."""
    if not is_foreign(piece.part):
        return None
    try:
        sent(piece.part, shape, job.store)
    except PartFileError as e:
        return str(e)
    return None
