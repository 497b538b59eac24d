"""All that the page is told: what was found, every piece, and every body with its mesh and where it stands.

Owns the form that `viewer/data.js` reads. Findings and pieces are those of the JSON report, under the same ids, with
what a reader needs in words beside them; no number is worked out here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from elbowroom.model.geometry.scene import Mesh, Scene, Solid
from elbowroom.model.layout.directions import open_side_of
from elbowroom.model.layout.layout import Piece
from elbowroom.model.page.overlaps import overlaps
from elbowroom.model.page.packing import STEPS_PER_MM, Pack
from elbowroom.model.told import alike, cautions
from elbowroom.model.told.findings import Finding, report, rounded
from elbowroom.model.told.headlines import headline, sentence
from elbowroom.model.told.places import distances
from elbowroom.model.told.verdict_words import WHOLE, WORDS

PLACES = 6  # decimals of a pose: a nanometre, and a turn that moves nothing within a metre by more than a micrometre


@dataclass(frozen=True, eq=False)
class Build:
    """What a page is made of. shown: each piece with the bodies that people look at; pieces: their form in the JSON;
    looks: for each material its colour (sRGB, 0 to 1) and opacity; reach: the room in front of ports, by port.
    """

    scene: Scene
    findings: Sequence[Finding]
    shown: Sequence[tuple[Piece, Sequence[Solid]]]
    pieces: Sequence[dict[str, Any]]
    looks: Mapping[str, tuple[Sequence[float], float]]
    reach: Mapping[str, Mesh] = field(default_factory=dict)


def contents(build: Build) -> tuple[dict[str, Any], Pack]:
    """The page's data as JSON values, and the meshes that its numbers mean."""
    layout, pack = build.scene.layout, Pack()
    found = report(layout.title, build.findings)
    by_id = {f.id: f for f in build.findings}
    for told in found["findings"]:
        f = by_id[told["id"]]
        told["headline"] = headline(f)
        if f.where and layout.interior is not None:
            told["from_walls"] = distances(f.where[0], layout.interior)
    parts = {p.name: p.part for p in layout.pieces}
    for piece in build.pieces:
        part = parts[piece["name"]]
        piece |= {"encloses": part.encloses, "small": part.small, "meaning": _meaning(type(part).model_fields)}
    box = layout.interior
    return found | {
        "words": WORDS,
        "said": WHOLE[found["verdict"]],
        "sentence": _first_words(build.findings),
        "care": cautions.of(build.findings),
        "pieces": list(build.pieces),
        "interior": None if box is None else [list(box.lo), list(box.hi)],
        "open_side": open_side_of(layout),
        "looks": {name: [*colour, opacity] for name, (colour, opacity) in build.looks.items()},
        "bodies": _bodies(build, pack),
        "overlaps": {i: pack.add(v, t) for i, v, t in overlaps(build.scene, build.findings)},
        "reach": {port: pack.add(m.vertices, m.triangles) for port, m in build.reach.items()},
        "steps": STEPS_PER_MM,
        "meshes": pack.table,
    }, pack


def _first_words(findings: Sequence[Finding]) -> str:
    """How many things are wrong, and the worst of them, so that it is known before anything is looked for."""
    told, wrong = sentence(list(findings)), alike.numbered(findings)
    return f"{told}. First: {headline(wrong[0])}" if wrong and wrong[0].verdict != "caution" else told


def _meaning(fields: Mapping[str, Any]) -> dict[str, str]:
    return {name: info.description for name, info in fields.items() if info.description}


def _bodies(build: Build, pack: Pack) -> list[dict[str, Any]]:
    judged = {s.name for s in build.scene.solids}
    meshes: dict[int, int] = {}
    out = []

    def add(solid: Solid, piece: str, kind: str, more: dict[str, Any]) -> None:
        mesh = solid.mesh
        if len(mesh.triangles) == 0:
            return
        if id(mesh) not in meshes:
            meshes[id(mesh)] = pack.add(mesh.vertices, mesh.triangles)
        pose = [rounded(float(c), PLACES) for c in solid.pose[:3].reshape(-1)]
        out.append({"id": solid.name, "piece": piece, "kind": kind, "mesh": meshes[id(mesh)], "pose": pose,
                    "bound": rounded(mesh.bound), "closed": mesh.fault is None} | more)  # fmt: skip

    for piece, solids in build.shown:
        for s in solids:
            add(s, piece.name, "body" if s.name in judged else "look", {"material": s.body.material})
    for s in build.scene.solids:
        if s.body.keep_out is not None:
            add(s, s.piece.name, "keep-out", {"why": s.body.keep_out})
    return out
