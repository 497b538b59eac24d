"""All that the page is told: what was found, every piece, and every body with its mesh and where it stands.

Owns the form that `viewer/data.js` reads. Findings and pieces are those of the JSON report, under the same ids, with
what a reader needs in words beside them; no number is worked out here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from elbowroom.model.geometry.scene import Mesh, Scene, Solid
from elbowroom.model.layout.directions import open_side_of
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.page.coarse import coarse
from elbowroom.model.page.overlaps import overlaps
from elbowroom.model.page.packing import STEPS_PER_MM, Pack
from elbowroom.model.told import alike, cautions
from elbowroom.model.told.findings import Finding, overall, report, rounded
from elbowroom.model.told.headlines import headline, label, sentence
from elbowroom.model.told.places import distances, place
from elbowroom.model.told.verdict_words import QUESTIONS, SIGN, WHOLE, WHOLE_SIGN, WORDS
from elbowroom.parts.vocabulary.base import ASSUMED, SHORT_MARKS
from elbowroom.parts.vocabulary.pose import apply

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


def contents(build: Build, pack: Pack | None = None) -> tuple[dict[str, Any], Pack]:
    """The page's data as JSON values, and the meshes that its numbers mean. pack: an empty one to put them into."""
    layout, pack = build.scene.layout, Pack() if pack is None else pack
    found = report(layout.title, build.findings)
    by_id = {f.id: f for f in build.findings}
    for told in found["findings"]:
        f = by_id[told["id"]]
        told |= {"headline": headline(f), "label": label(f)}
        if f.where and layout.interior is not None:
            told["from_walls"] = distances(f.where[0], layout.interior)
    by_name = {p.name: p for p in layout.pieces}
    box = layout.interior
    bodies, coarser = _bodies(build, pack)
    return found | {
        "words": WORDS,
        "signs": SIGN,
        "questions": QUESTIONS,
        "marks": SHORT_MARKS,
        "assumed_marks": sorted(ASSUMED),
        "whole_signs": WHOLE_SIGN,
        **said_first(build.findings),
        "care": cautions.of(build.findings),
        "groups": [[f.id for f in group] for group in alike.gathered(build.findings, by_name)],
        "numbers": {f.id: n for n, f in enumerate(alike.numbered(build.findings), 1)},
        "pieces": [piece | _of_piece(by_name[piece["name"]], layout) for piece in build.pieces],
        "interior": None if box is None else [list(box.lo), list(box.hi)],
        "open_side": open_side_of(layout),
        "openings": _openings(layout),
        "looks": {name: [*colour, opacity] for name, (colour, opacity) in build.looks.items()},
        "bodies": bodies,
        "coarse": coarser,
        "overlaps": {
            i: {"mesh": pack.add(v, t), "piece": by_id[i].parts[0]} for i, v, t in overlaps(build.scene, build.findings)
        },
        "reach": _reach(build, pack),
        "steps": STEPS_PER_MM,
        "meshes": pack.table,
    }, pack


def said_first(findings: Sequence[Finding]) -> dict[str, str]:
    """The verdict, and what is said of it before anything else."""
    verdict = overall(findings)
    return {
        "verdict": verdict, "said": WHOLE[verdict], "sentence": sentence(list(findings)), "first": _first(findings),
    }  # fmt: skip


def _first(findings: Sequence[Finding]) -> str:
    """The worst of what is wrong and where it is, so that it is known before anything is looked for; empty where
    nothing is.
    """
    wrong = alike.numbered(findings)
    if not wrong or wrong[0].verdict == "caution":
        return ""
    spot = f", {wrong[0].spot}" if wrong[0].spot else ""
    return f"First: {headline(wrong[0])}{spot}"


def _of_piece(piece: Piece, layout: Layout) -> dict[str, Any]:
    """What the JSON does not say of a piece: how it is to be shown, what its fields mean, and where it is in words."""
    part, box = piece.part, piece.part.box()
    told: dict[str, Any] = {
        "encloses": part.encloses,
        "small": part.small,
        "meaning": _meaning(type(part).model_fields),
    }
    if layout.interior is not None and not part.encloses:
        x, y, z = (float(c) for c in apply(piece.pose, [(lo + hi) / 2 for lo, hi in zip(box.lo, box.hi, strict=True)]))
        told["spot"] = place((x, y, z), layout.interior, open_side_of(layout))
        told["from_walls"] = distances((x, y, z), layout.interior)
    return told


def _openings(layout: Layout) -> dict[str, dict[str, list[float]]]:
    """Of each opening of a case, by piece.frame: where its middle is, and the way into the case."""
    if layout.interior is None:
        return {}
    middle = [(lo + hi) / 2 for lo, hi in zip(layout.interior.lo, layout.interior.hi, strict=True)]
    out = {}
    for p in layout.pieces:
        for frame in p.part.frames():
            if frame.kind == "opening":
                stands = p.pose @ frame.pose
                at, way = stands[:3, 3], stands[:3, 2]
                inward = way if way @ (middle - at) > 0 else -way
                out[f"{p.name}.{frame.name}"] = {"at": _plain(at), "inward": _plain(inward)}
    return out


def _plain(numbers: Iterable[Any]) -> list[float]:
    return [rounded(float(n), PLACES) or 0.0 for n in numbers]


def _reach(build: Build, pack: Pack) -> dict[str, dict[str, Any]]:
    """The room in front of each port, with the piece that has the port."""
    owners = {f"{p.name}.{f.name}": p.name for p in build.scene.layout.pieces for f in p.part.frames()}
    return {
        port: {"mesh": pack.add(mesh.vertices, mesh.triangles), "piece": owners.get(port)}
        for port, mesh in build.reach.items()
    }


def _meaning(fields: Mapping[str, Any]) -> dict[str, str]:
    return {name: info.description for name, info in fields.items() if info.description}


def _bodies(build: Build, pack: Pack) -> tuple[list[dict[str, Any]], dict[str, int]]:
    """Every body with the number of its mesh, and for meshes the number of what is drawn of them from afar."""
    judged = {s.name for s in build.scene.solids}
    meshes: dict[int, int] = {}
    coarser: dict[str, int] = {}
    out = []

    def add(solid: Solid, piece: str, kind: str, more: dict[str, Any]) -> None:
        mesh = solid.mesh
        if len(mesh.triangles) == 0:
            return
        if id(mesh) not in meshes:
            number = meshes[id(mesh)] = pack.add(mesh.vertices, mesh.triangles)
            if (afar := coarse(mesh)) is not None:
                coarser[str(number)] = pack.add(*afar)
        pose = [rounded(float(c), PLACES) for c in solid.pose[:3].reshape(-1)]
        out.append({"id": solid.name, "piece": piece, "kind": kind, "mesh": meshes[id(mesh)], "pose": pose,
                    "bound": rounded(mesh.bound), "closed": mesh.fault is None} | more)  # fmt: skip

    for piece, solids in build.shown:
        for s in solids:
            add(s, piece.name, "body" if s.name in judged else "look", {"material": s.body.material})
    for s in build.scene.solids:
        if s.body.keep_out is not None:
            add(s, s.piece.name, "keep-out", {"why": s.body.keep_out})
    return out, coarser
