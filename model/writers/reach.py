"""Reach: the space a builder has in front of each port, as translucent solids on a layer of their own.

Owns a GLB and a STEP that lie over the assembly's in the same coordinates, one node a port. How the space is worked
out is the work of `reach`.
"""

from __future__ import annotations

import hashlib

from elbowroom.model.geometry.scene import Scene, Shape, Solid
from elbowroom.model.layout.layout import Layout
from elbowroom.model.writers import glb
from elbowroom.model.writers.job import Files, Job
from elbowroom.model.writers.materials import KEEP_OUT
from elbowroom.model.writers.step_tree import Tree
from elbowroom.parts.vocabulary.base import Body
from elbowroom.parts.vocabulary.pose import IDENTITY

GLB, STEP = "reach.glb", "reach.step"
COARSER_MM = 0.3  # the STEP solids may stray so far from the GLB's: a third of the faces, for a volume to look at
MOST_FACETS = 20_000  # flat faces a STEP solid is made of here: beyond it readers take minutes


def write(job: Job) -> Files:
    """`reach.glb` and `reach.step`; nothing, with a note, where no port has any room."""
    spaces = {} if job.reach is None else job.reach()
    solids = []
    for port, mesh in spaces.items():
        piece = job.scene.layout.piece(port.rpartition(".")[0])
        body = Body(f"reach of {port}", "air", keep_out="what a fitting and its tube can reach from the port")
        key = hashlib.sha256(mesh.vertices.tobytes() + mesh.triangles.tobytes()).hexdigest()[:32]
        shape = Shape(key, {body.name: mesh})
        lo, hi = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
        solids.append(Solid(piece, body, shape, mesh, IDENTITY, lo, hi))
    if not solids:
        job.notes.append("no port has any room in front of it, or there is none: no reach was written")
        return
    old = job.scene.layout
    layout = Layout(f"{old.title}, reach of its ports", old.pieces, (), old.gaps, old.interior)
    for _, content in glb.write(Job(Scene(layout, tuple(solids)), (), folder=job.folder)):
        yield GLB, content
    yield STEP, _step(job, layout.title, solids)


def _step(job: Job, title: str, solids: list[Solid]) -> bytes:
    """The same solids, a little coarser, with flat faces; those that are too fine or come in pieces are told of."""
    from elbowroom.model.geometry.narrow import arrays_of, manifold_of
    from elbowroom.parts.imported.step_file import faceted
    from elbowroom.parts.vocabulary.draw import DrawError

    tree = Tree(title)
    for solid in solids:
        try:
            coarser = manifold_of(solid.mesh.vertices, solid.mesh.triangles).simplify(COARSER_MM)
            if coarser.num_tri() > MOST_FACETS:
                raise DrawError(f"it has {coarser.num_tri()} faces")
            drawn = faceted(*arrays_of(coarser)).wrapped
        except DrawError as e:
            job.notes.append(f"{STEP}: the {solid.body.name} is left out: {e}")
            continue
        tree.place(tree.root, tree.body(solid.body.name, drawn, KEEP_OUT), IDENTITY, solid.body.name)
    return tree.text()
