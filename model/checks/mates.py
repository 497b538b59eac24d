"""Do faces that are said to meet really meet?

Owns the verdict on every declared contact. Frames of faces, walls and openings claim contact: their planes must be
opposed and coincide, and flat faces of the bodies named by the frames must lie on each other there over some area,
which is that of what both cover in the plane. Faces that meet excuse nothing beside them: where the bodies run into
each other anywhere, the mate fails. A curved face that comes near the plane is no area of contact. Frames of slots,
sockets, ports, exits and axes claim alignment only: a card has play in its slot and a thread in its port, so origins
must coincide and axes be opposed, and no face need meet.
"""

from __future__ import annotations

import math
import struct
from typing import Any

import numpy as np

from elbowroom.model.geometry.enclosure import FLAT
from elbowroom.model.geometry.judged import Apart, Contact, Overlap, Undecided
from elbowroom.model.geometry.pairs import Checker
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.layout.layout import Mate
from elbowroom.model.told.findings import Basis, Finding, Point
from elbowroom.model.told.wordings import assumed_by, mm, mm2
from elbowroom.model.tolerances import (
    MATE_ANGLE_DEG,
    MATE_AREA_MM2,
    MATE_ORIGIN_MM,
    MATE_PLANE_MM,
    MATE_PRESS_MM,
)
from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.base import Frame
from elbowroom.parts.vocabulary.pose import Pose, compose

ALIGNED = frozenset({"slot", "socket", "port", "exit", "axis"})  # kinds that claim alignment, not faces that meet


def check(scene: Scene, checker: Checker) -> list[Finding]:
    """One finding for each declared contact."""
    index = {s.name: k for k, s in enumerate(scene.solids)}
    return [_mate(scene, checker, index, m) for m in scene.layout.mates if m.contact]


def _mate(scene: Scene, checker: Checker, index: dict[str, int], mate: Mate) -> Finding:
    claim = _Claim(mate, checker)
    one, other = claim.one, claim.other
    if claim.frame.kind in ALIGNED or claim.to_frame.kind in ALIGNED:
        return _aligned(claim)
    if claim.angle > MATE_ANGLE_DEG:
        return claim.fail(f"are {_deg(claim.angle)} from facing each other", claim.angle, "deg", MATE_ANGLE_DEG)
    offset = claim.offset
    if abs(offset) > MATE_PLANE_MM:
        how = "apart" if offset > 0 else "into each other"
        return claim.fail(f"do not meet: their planes stand {mm(abs(offset))} {how}", offset, "mm", 0.0)
    pairs = [
        (index[f"{one.name}/{a}"], index[f"{other.name}/{b}"])
        for a in claim.frame.bodies
        for b in claim.to_frame.bodies
        if f"{one.name}/{a}" in index and f"{other.name}/{b}" in index
    ]
    if not pairs:
        return claim.fail("do not meet: one of them has no body there", None, "mm", 0.0)
    faults = sorted({f for p in pairs for k in p if (f := scene.solids[k].mesh.fault) is not None})
    if faults:
        text = f"{claim.names}: unknown whether they meet; a mesh is not sound: {faults[0]}"
        return claim.finding("unknown", text, None, "mm", 0.0)
    area = sum(_covered(checker, pair, claim.pose, claim.to_pose) for pair in pairs)
    judged = [checker.judge(*pair) for pair in pairs]
    deepest = max((j for j in judged if isinstance(j, Overlap)), key=lambda j: j.depth, default=None)
    if deepest is not None:
        how = f"run {mm(deepest.depth)} into each other beside the faces that are to meet"
        return claim.fail(how, deepest.depth, "mm", 0.0, area)
    if area < MATE_AREA_MM2:
        gaps = [j.gap if isinstance(j, Apart) else 0.0 for j in judged if isinstance(j, Apart | Contact)]
        gap = min(gaps) if gaps else None
        stands = "" if gap is None else f"; the bodies stand {mm(gap)} apart"
        return claim.fail(f"do not meet: no area of them is in contact{stands}", gap, "mm", 0.0, area)
    unsure = next((j for j in judged if isinstance(j, Undecided)), None)
    if unsure is not None:
        text = f"{claim.names}: it cannot be said whether they meet without running into each other; {unsure.reason}"
        return claim.finding("unknown", text, None, "mm", 0.0, area)
    curved = any(scene.solids[k].mesh.bound > 0 for p in pairs for k in p)
    bound = max(scene.solids[k].mesh.bound for p in pairs for k in p)
    return claim.finding(
        "pass", f"{claim.names} meet over {mm2(area)}", offset, "mm", 0.0, area, "mesh" if curved else "exact", bound
    )


class _Claim:
    """One declared contact, with both frames in case coordinates."""

    def __init__(self, mate: Mate, checker: Checker) -> None:
        one, other = checker.piece(mate.piece), checker.piece(mate.to_piece)
        self.one, self.other, self.mate = one, other, mate
        self.frame: Frame = checker.frame(one, mate.frame)
        self.to_frame: Frame = checker.frame(other, mate.to_frame)
        self.pose: Pose = compose(one.pose, self.frame.pose)
        self.to_pose: Pose = compose(other.pose, self.to_frame.pose)
        # From sine and cosine: near opposed the cosine alone would lose half the digits.
        z, to_z = self.pose[:3, 2], -self.to_pose[:3, 2]
        self.angle = math.degrees(math.atan2(float(np.linalg.norm(np.cross(z, to_z))), float(z @ to_z)))
        self.offset = float((self.pose[:3, 3] - self.to_pose[:3, 3]) @ self.to_pose[:3, 2])
        self.names = f"{one.name}/{mate.frame} and {other.name}/{mate.to_frame}"

    def fail(self, why: str, measured: float | None, unit: str, required: float, area: float | None = None) -> Finding:
        return self.finding("fail", f"{self.names} {why}", measured, unit, required, area)

    def finding(
        self,
        verdict: Any,
        text: str,
        measured: float | None,
        unit: str,
        required: float,
        area: float | None = None,
        method: Any = "arithmetic",
        bound: float = 0.0,
    ) -> Finding:
        where: tuple[Point, ...] = tuple(
            (float(p[0, 3]), float(p[1, 3]), float(p[2, 3])) for p in (self.pose, self.to_pose)
        )
        ends = (
            (self.one.name, self.mate.frame),
            (self.other.name, self.mate.to_frame),
        )  # in the order of the id's names
        return Finding(
            "mate", verdict, (self.one.name, self.other.name), text, measured=measured, unit=unit, required=required,
            low=measured, high=measured, where=where,
            basis=Basis(method, bound, assumed_by(self.one) + assumed_by(self.other)),
            extra=() if area is None else (("contact_mm2", area),),
            place="-".join(frame for _, frame in sorted(ends)),
        )  # fmt: skip


def _deg(value: float) -> str:
    return f"{value:.2f} degrees"


def _aligned(claim: _Claim) -> Finding:
    apart = float(np.linalg.norm(claim.pose[:3, 3] - claim.to_pose[:3, 3]))
    if claim.angle > MATE_ANGLE_DEG:
        return claim.fail(f"are {_deg(claim.angle)} from facing each other", claim.angle, "deg", MATE_ANGLE_DEG)
    if apart > MATE_ORIGIN_MM:
        return claim.fail(f"are not in line: their middles are {mm(apart)} apart", apart, "mm", 0.0)
    return claim.finding("pass", f"{claim.names} are in line", apart, "mm", 0.0)


def _covered(checker: Checker, pair: tuple[int, int], pose: Pose, to_pose: Pose) -> float:
    """Area, mm2, over which flat faces of solid pair[0] lie on such of solid pair[1] at the plane of `to_pose`."""
    first = checker.scene.solids[pair[0]]
    # In the first body's coordinates, rounded as pairs are: the record then holds wherever the two stand.
    back = first.pose[:3, :3].T
    normal = back @ to_pose[:3, 2]
    height = float(normal @ (back @ (to_pose[:3, 3] - first.pose[:3, 3])))
    offset = float((pose[:3, 3] - to_pose[:3, 3]) @ to_pose[:3, 2])
    plane = np.round([*normal, height, offset], 9) + 0.0
    key, canonical, _, rel = checker.key(*pair, f"area {plane.tobytes().hex()} {pair[0] > pair[1]}")
    data = checker.recall(key)
    if data is not None and len(data) == 8:
        return float(struct.unpack("<d", data)[0])
    turn, move = rel[:, :3], rel[:, 3]
    if canonical != pair[0]:
        turn, move = turn.T, -turn.T @ move
    a, b = checker.kernel(first), checker.kernel(checker.scene.solids[pair[1]])
    within = max(MATE_PRESS_MM, 10 * (a.grain + b.grain))
    faces = (
        _in_plane(a.enclosure.corners, a.enclosure.kind, -normal, -height - offset, within),
        _in_plane(b.enclosure.corners @ turn.T + move, b.enclosure.kind, normal, height, within),
    )
    area = _shared_area(*faces, normal)
    checker.keep(key, struct.pack("<d", area))
    return area


def _in_plane(corners: Floats, kind: Floats, normal: Floats, height: float, within: float) -> Floats:
    """The triangles (m, 3, 3) of flat faces that look along the normal, all in the plane at that height."""
    looks = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]) @ normal > 0
    flush = (np.abs(corners @ normal - height) <= within).all(axis=1)
    out: Floats = corners[looks & flush & (kind == FLAT)]
    return out


def _shared_area(one: Floats, other: Floats, normal: Floats) -> float:
    """Area, mm2, of what two sets of triangles both cover, seen along the normal."""
    from manifold3d import CrossSection, FillRule

    if not len(one) or not len(other):
        return 0.0
    x = np.cross(normal, np.eye(3)[int(np.argmin(np.abs(normal)))])
    x /= np.linalg.norm(x)
    basis = np.stack([x, np.cross(normal, x)], axis=1)
    # Those of the first look against the normal: turned round, all go one way.
    flat = [CrossSection(list(np.ascontiguousarray(t @ basis)), FillRule.NonZero) for t in (one[:, ::-1], other)]
    return float((flat[0] ^ flat[1]).area())
