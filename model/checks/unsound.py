"""What is said of bodies whose mesh no verdict may rest on, once for each of them.

Owns two things. Whether such a body's box is certain: a mesh without a free edge encloses what it encloses, however its
triangles face or cross, so that nothing of the body lies outside the box; where an edge is free something is missing,
and how far that reached is not known. And gathering: what is undecided for the same body follows from one finding
about it.
"""

from __future__ import annotations

from collections.abc import Sequence

from elbowroom.model.geometry.meshes import without_rim
from elbowroom.model.geometry.scene import Scene, Solid
from elbowroom.model.store import Store
from elbowroom.model.told.findings import Basis, Finding, led
from elbowroom.model.told.wordings import assumed_by

_NAMED = 4  # pieces named in one line, the first by name


def boxed(solid: Solid, store: Store) -> bool:
    """Whether a body lies wholly in its box: always, where its mesh is sound."""
    if solid.mesh.fault is None:
        return True
    key = (solid.shape.key, solid.body.name)
    found: bool | None = store.recall("mesh without rim", key)
    if found is None:
        found = without_rim(solid.mesh.vertices, solid.mesh.triangles)
        store.remember("mesh without rim", key, found)
    return found


def gathered(scene: Scene, findings: Sequence[Finding]) -> list[Finding]:
    """The findings, two or more that are undecided for the mesh of one body following from one about it.

    A pair of two such bodies follows from the first by name.
    """
    faulty = {s.name: s for s in scene.solids if s.mesh.fault is not None}
    follow: dict[str, list[Finding]] = {}
    for f in findings:
        bad = sorted(n for n in f.bodies if n in faulty) if f.verdict == "unknown" else []
        if bad:
            follow.setdefault(bad[0], []).append(f)
    several = {name: effects for name, effects in follow.items() if len(effects) > 1}
    led_off = {id(f) for effects in several.values() for f in effects}
    out = [f for f in findings if id(f) not in led_off]
    for name, effects in sorted(several.items()):
        out += led(_about(faulty[name], effects), effects)
    return out


def _about(solid: Solid, effects: Sequence[Finding]) -> Finding:
    others = sorted({n for f in effects for n in f.parts} - {solid.piece.name})
    more = len(others) - _NAMED
    told = ", ".join(others[:_NAMED]) + (f" and {more} more" if more > 0 else "")
    text = f"unknown what {solid.name} meets: its mesh is not sound: {solid.mesh.fault}; that leaves it open for {told}"
    where = tuple(float(c) for c in (solid.lo + solid.hi) / 2)
    return Finding(
        "interference", "unknown", (solid.piece.name,), text, (solid.name,), where=((where[0], where[1], where[2]),),
        basis=Basis("none", 0.0, assumed_by(solid.piece)), remedies=("mend the mesh, or give the part as STEP",),
    )  # fmt: skip
