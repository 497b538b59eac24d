"""Does a body of a user's file lie wholly inside another body of the same file?

Owns that one caution a piece. Bodies of one piece are never judged against each other, as what a maker draws in one
file may meet as it likes; but a body within another's material is seen nowhere, and is as a rule a part drawn twice or
a void drawn as a body. A body in a hollow of another shares no room with it, and is none.
"""

from __future__ import annotations

from itertools import permutations
from pathlib import Path

import numpy as np

from elbowroom.model.geometry.judged import Overlap
from elbowroom.model.geometry.meshes import mesh_volume
from elbowroom.model.geometry.pairs import Checker
from elbowroom.model.geometry.scene import Scene, Solid
from elbowroom.model.told.findings import Basis, Finding, Point
from elbowroom.model.told.wordings import assumed_by

WHOLLY = 1 - 1e-3  # share of a body's volume from which it is said to lie wholly inside: meshes agree to that
MOST_JUDGED = 200  # pairs of bodies of one piece that are judged, some milliseconds each: by choice
_NAMED = 3  # pairs named in the sentence; all are in the JSON


def check(scene: Scene, checker: Checker) -> list[Finding]:
    """A caution for each piece of a user's file of which a body lies wholly inside another."""
    bodies: dict[str, list[int]] = {}
    for k, solid in enumerate(scene.solids):
        if solid.piece.part.path_field is not None and solid.body.keep_out is None and solid.mesh.fault is None:
            bodies.setdefault(solid.piece.name, []).append(k)
    return [f for own in bodies.values() if len(own) > 1 and (f := _of_piece(scene, checker, own)) is not None]


def _of_piece(scene: Scene, checker: Checker, own: list[int]) -> Finding | None:
    lo, hi = np.array([scene.solids[k].lo for k in own]), np.array([scene.solids[k].hi for k in own])
    bound = np.array([scene.solids[k].mesh.bound for k in own])
    could = [
        (own[i], own[j])
        for i, j in permutations(range(len(own)), 2)
        if (lo[i] >= lo[j] - bound[i] - bound[j]).all() and (hi[i] <= hi[j] + bound[i] + bound[j]).all()
    ]
    found = [(inner, outer) for inner, outer in could[:MOST_JUDGED] if _inside(checker, inner, outer)]
    first: dict[int, int] = {}
    for inner, outer in found:  # of several around it one is enough; of two that are alike the first is the inner one
        if inner not in first and first.get(outer) != inner:
            first[inner] = outer
    more = len(could) - MOST_JUDGED
    return _finding(scene, list(first.items()), max(0, more)) if first else None


def _inside(checker: Checker, inner: int, outer: int) -> bool:
    solid = checker.scene.solids[inner]
    judged = checker.judge(inner, outer)
    return isinstance(judged, Overlap) and judged.volume_mm3 >= WHOLLY * volume(checker, solid)


def volume(checker: Checker, solid: Solid) -> float:
    """The volume of a body's mesh, mm3; worked out once for all that look the same."""
    key = (solid.shape.key, solid.body.name)
    found: float | None = checker.store.recall("mesh volume", key)
    if found is None:
        found = mesh_volume(solid.mesh.vertices, solid.mesh.triangles)
        checker.store.remember("mesh volume", key, found)
    return found


def _finding(scene: Scene, found: list[tuple[int, int]], left: int) -> Finding:
    piece = scene.solids[found[0][0]].piece
    file = Path(str(getattr(piece.part, str(piece.part.path_field)))).name
    names = [(scene.solids[i].body.name, scene.solids[o].body.name) for i, o in found]
    told = ", ".join(f"{i} lies wholly inside {o}" for i, o in names[:_NAMED])
    if len(names) > _NAMED:
        told += f", and {len(names) - _NAMED} more like this"
    text = (
        f"{piece.name}: in {file} {told}: drawn twice, or a hollow drawn as a body? It is taken for solid all through"
    )
    if left:
        text += f"; {left} more pairs of its bodies were not looked at"
    middle = [(scene.solids[i].lo + scene.solids[i].hi) / 2 for i, _ in found]
    where: tuple[Point, ...] = tuple((float(m[0]), float(m[1]), float(m[2])) for m in middle)
    bodies = (f"{piece.name}/{names[0][0]}", f"{piece.name}/{names[0][1]}")
    return Finding(
        "part", "caution", (piece.name,), text, bodies, where=where, basis=Basis("mesh", 0.0, assumed_by(piece)),
        remedies=("leave it out of the file, or cut the hollow out of the body around it",),
        extra=(("file", file), ("inside", [list(n) for n in names])), place="inside",
    )  # fmt: skip
