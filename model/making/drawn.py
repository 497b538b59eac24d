"""Drawing what is made: skins for printing, finer than the checks' meshes, and STEP of the part as designed.

Owns which solids are drawn: through the same cache as every part of a build. A printed hole is only as round as its
facets, so skins are meshed again from the exact solids at a fifth of the checks' chord.
"""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module

from elbowroom.model.build.problems import InputError
from elbowroom.model.geometry.refining import Exactly
from elbowroom.model.geometry.scene import Mesh, Scene, Shape
from elbowroom.model.geometry.solidify import shape_key, solidify
from elbowroom.model.layout.layout import Gaps, Layout, Piece
from elbowroom.model.making.mesh import Skin, skin
from elbowroom.model.making.orders import Order
from elbowroom.model.store import Store
from elbowroom.model.told.progress import Progress
from elbowroom.model.writers.job import Job
from elbowroom.model.writers.materials import LOOKS
from elbowroom.model.writers.step_plan import ROOT, Plan
from elbowroom.parts.imported import child
from elbowroom.parts.imported.unreadable import PartFileError
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.pose import IDENTITY

Shapes = dict[tuple[str, str], Shape]  # by family and shape key of the part

FINER = 5.0  # times finer than the checks' meshes: a chord of 0.01 mm, a twentieth of a usual hole compensation


def job_of(title: str, orders: Sequence[Order], store: Store, progress: Progress | None, *, designed: bool) -> Job:
    """Everything that must be drawn, drawn: each order's part as printed and, where `designed`, as designed."""
    pieces = [_piece(o.label, o.drawn) for o in orders]
    if designed:
        pieces += [_piece(f"{o.label} as designed", o.part) for o in orders]
    if any(not store.path(f"{shape_key(p)}.npz").is_file() for p in pieces):
        # The kernel is needed in this process anyway, for the skins: loaded now, it draws what is missing here, and no
        # worker has to load it again.
        import_module("cadquery")
    layout = Layout(title, tuple(pieces), (), Gaps())
    return Job(Scene(layout, solidify(layout, store, progress).solids), [], folder=store.folder)


def _piece(name: str, part: Part) -> Piece:
    return Piece(name, part, IDENTITY, "to make")


def _identity(part: Part) -> tuple[str, str]:
    return part.family, part.shape_key()


def shapes_of(job: Job) -> Shapes:
    """The drawn shapes by the identity of their part: worked out once, since every identity reads a whole part."""
    return {_identity(piece.part): shape for piece, shape, _ in job.pieces}


def skins(orders: Sequence[Order], job: Job, shapes: Shapes) -> list[Skin]:
    """Each order's skin on the bed."""
    exactly = Exactly(job.store)
    out = []
    for order in orders:
        shape = shapes[_identity(order.drawn)]
        solids = {s.body.name: s for s in job.scene.solids if s.shape is shape}
        meshes: list[Mesh] = []
        for name in sorted(order.bodies):
            try:
                finer = exactly.finer(solids[name], FINER)
            except child.Lost as end:
                raise InputError(f"{order.label} cannot be made: its file could not be worked on: {end}") from None
            meshes.append(shape.meshes[name] if finer is None else finer)  # a user's mesh is its own truth
        out.append(skin(meshes, order.pose))
    return out


def exact_step(order: Order, job: Job, shapes: Shapes) -> bytes:
    """The STEP file of the part as designed: one product with its printed bodies, in part coordinates, mm."""
    shape = shapes[_identity(order.part)]
    plan = Plan(order.label)
    looks = {b.name: LOOKS[b.material] for b in order.part.bodies()}
    missing = sorted(order.bodies - set(shape.meshes))
    if missing:
        raise InputError(f"{order.label}: no exact solid of {', '.join(missing)} is known")
    for name in sorted(order.bodies):
        body = plan.body(f"{order.label} {name}", order.part, shape, name, looks[name])
        plan.place(ROOT, body, IDENTITY, name)
    try:
        return plan.text(job.store)
    except (child.Lost, PartFileError) as why:
        raise InputError(f"{order.label}: no STEP file can be made of it: {why}") from None
