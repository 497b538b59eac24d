"""Reach: the space a builder has in front of each port, as translucent solids on a layer of their own.

Owns a GLB that lies over `assembly.glb` in the same coordinates, one node a port. How the space is worked out is the
work of `elbowroom.model.reach`.
"""

from __future__ import annotations

import hashlib

from elbowroom.model.layout import Layout
from elbowroom.model.scene import Scene, Shape, Solid
from elbowroom.model.writers import glb
from elbowroom.model.writers.job import Files, Job
from elbowroom.parts.base import Body
from elbowroom.parts.pose import IDENTITY

FILE = "reach.glb"


def write(job: Job) -> Files:
    """`reach.glb`; nothing, with a note, where no port has any room."""
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
        job.notes.append("no port has any room in front of it, or there is none: no reach.glb was written")
        return
    old = job.scene.layout
    layout = Layout(f"{old.title}, reach of its ports", old.pieces, (), old.gaps, old.interior)
    for _, content in glb.write(Job(Scene(layout, tuple(solids)), (), folder=job.folder)):
        yield FILE, content
