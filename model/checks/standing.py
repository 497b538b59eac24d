"""Does what is made to stand on something, or to stand between two things, really do so?

Owns the faces that a part is useless without: the foot of a card's stand or support, both ends of a riser, a spacer or
a plate's bracket. One that no mate brings to anything and that nothing touches hangs in the air, however clear it is of
everything else. Whether faces that are mated really meet is `mates`' question, and contact that no mate declares is
`interference`'s.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from elbowroom.model.geometry.meshes import Surface
from elbowroom.model.geometry.scene import Scene, Solid
from elbowroom.model.told.findings import Basis, Finding, Verdict
from elbowroom.model.told.wordings import tenths
from elbowroom.model.tolerances import MATE_PLANE_MM
from elbowroom.parts.card.gpu_mount import GpuMount
from elbowroom.parts.vocabulary.base import Frame
from elbowroom.parts.vocabulary.pose import Pose, apply, compose, inverse, turn
from elbowroom.parts.vocabulary.tolerances import NO_LENGTH

NEEDED: Mapping[str, tuple[tuple[str, ...], Verdict]] = {
    "gpu-mount": (("foot",), "fail"),
    "card-support": (("foot",), "fail"),
    "riser": (("foot", "top"), "caution"),
    "spacer": (("foot", "top"), "caution"),
    "plate-bracket": (("foot", "face"), "caution"),
}
"""Families with the faces they need something at. What carries weight and hangs fails; a riser may be a spare."""
_INSIDE = 0.8  # share of a footprint's half edges at which its corners are looked from


def check(scene: Scene) -> list[Finding]:
    """A finding for each face that has to rest on something and does not."""
    mated = {(m.piece, m.frame) for m in scene.layout.mates} | {(m.to_piece, m.to_frame) for m in scene.layout.mates}
    out = []
    for piece in scene.layout.pieces:
        frames, verdict = NEEDED.get(piece.part.family, ((), "pass"))
        own = {f.name: f for f in piece.part.frames()}
        for name in frames:
            if name not in own or (piece.name, name) in mated:
                continue
            pose = compose(piece.pose, own[name].pose)
            others = [s for s in scene.solids if s.piece.name != piece.name and s.body.keep_out is None]
            away, nearest = _nearest(own[name], pose, others)
            if away <= MATE_PLANE_MM:
                continue
            text = f"{piece.name} rests on nothing at its {name}"
            remedies: tuple[str, ...] = ()
            if nearest is not None:
                text += f": {nearest.name} is {tenths(away)} away"
                if isinstance(piece.part, GpuMount) and piece.part.rise + away <= 300:
                    remedies = (f"rise: {piece.part.rise + away:.2f}".rstrip("0").rstrip("."),)
            at = pose[:3, 3]
            out.append(
                Finding(
                    "mate", verdict, (piece.name,), text, measured=away if nearest is not None else None, unit="mm",
                    required=0.0, where=((float(at[0]), float(at[1]), float(at[2])),), basis=Basis("exact"),
                    remedies=remedies, place=name,
                )
            )  # fmt: skip
    return out


def _nearest(frame: Frame, pose: Pose, solids: list[Solid]) -> tuple[float, Solid | None]:
    """How far it is from the face, straight out of it, to the nearest body, mm, and that body."""
    best: tuple[float, Solid | None] = (float("inf"), None)
    points, way = list(_from(frame, pose)), pose[:3, 2]
    for solid in solids:
        if not _before(solid, np.array(points), way):
            continue
        back = inverse(solid.pose)
        surface = Surface(solid.mesh.vertices[solid.mesh.triangles])
        for point in points:
            away = surface.along_ray(apply(back, point - MATE_PLANE_MM * way), turn(back, way), 0.0) - MATE_PLANE_MM
            if away < best[0]:
                best = (max(float(away), 0.0), solid)
    return best


def _from(frame: Frame, pose: Pose) -> Iterator[np.ndarray]:
    """The middle of a face, and four points toward its corners."""
    yield pose[:3, 3]
    if frame.size is not None:
        for x in (-1, 1):
            for y in (-1, 1):
                yield apply(pose, np.array([x * _INSIDE * frame.size[0] / 2, y * _INSIDE * frame.size[1] / 2, 0.0]))


def _before(solid: Solid, points: np.ndarray, way: np.ndarray) -> bool:
    """Whether a ray along `way` from one of the points can meet the solid's box."""
    lo, hi = solid.lo - 1.0, solid.hi + 1.0
    for p in points:
        near, far = -1.0, float("inf")
        for k in range(3):
            if abs(way[k]) < NO_LENGTH:
                if not lo[k] <= p[k] <= hi[k]:
                    far = -2.0
            else:
                a, b = sorted(((lo[k] - p[k]) / way[k], (hi[k] - p[k]) / way[k]))
                near, far = max(near, a), min(far, b)
        if near <= far:
            return True
    return False
