"""Questions the tests ask of drawn parts, answered by the exact kernel: extents, void and solid, overlap, distance."""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Iterable
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from cadquery import Shape
from OCP.Bnd import Bnd_Box
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepClass3d import BRepClass3d_SolidClassifier
from OCP.gp import gp_Pnt
from OCP.TopAbs import TopAbs_State

from elbowroom.parts.catalogue import sizes
from elbowroom.parts.families import family_class
from elbowroom.parts.vocabulary.base import Frame, Hole, HolePattern, Part
from elbowroom.parts.vocabulary.pose import apply
from elbowroom.parts.vocabulary.threads import THREADS

# The kernel keeps vertices to 1e-7 mm; a declared extent may differ from the drawn one by no more than a few of those.
KERNEL_MM = 1e-6
KEPT = 150  # drawn parts: all fittings and a few boards and cases
QUICK = 4  # of many parts of one family
SKIN = 0.05  # mm to either side of a wall at which a point is asked for: far above KERNEL_MM, far below any wall


def catalogue_parts(family: str) -> dict[str, Part]:
    """Every catalogue row of a family as a part."""
    return {name: family_class(family)(**row.fields) for name, row in sizes(family).items()}


def first_quick(names: Iterable[str]) -> list[Any]:
    """Parameters of which quick runs take the first few."""
    return [pytest.param(name, marks=() if i < QUICK else pytest.mark.slow) for i, name in enumerate(names)]


_DRAWN: OrderedDict[tuple[type[Part], str], dict[str, Shape]] = OrderedDict()


def solids_of(part: Part) -> dict[str, Shape]:
    """The part's solids, drawn once for many questions: for such as leave no trace in a solid, as meshing does."""
    key = (type(part), part.shape_key())
    if key not in _DRAWN:
        _DRAWN[key] = part.solids()
        if len(_DRAWN) > KEPT:
            _DRAWN.popitem(last=False)
    return dict(_DRAWN[key])


def extents(shape: Shape) -> tuple[list[float], list[float]]:
    """Exact box of an untriangulated shape."""
    box = Bnd_Box()
    box.SetGap(0.0)
    BRepBndLib.AddOptimal_s(shape.wrapped, box, False, False)
    v = box.Get()
    return list(v[:3]), list(v[3:])


def check_drawing(part: Part) -> dict[str, Shape]:
    """The part's solids, after holding them against the declaration: names, validity, box, no shared volume."""
    solids = solids_of(part)
    real = [b.name for b in part.bodies() if b.keep_out is None]
    assert set(solids) == {b.name for b in part.bodies()}
    for name, shape in solids.items():
        assert shape.ShapeType() == "Solid", name
        assert shape.isValid(), name
        assert shape.Volume() > 0, name
    lo = np.min([extents(solids[n])[0] for n in real], axis=0)
    hi = np.max([extents(solids[n])[1] for n in real], axis=0)
    np.testing.assert_allclose(lo, part.box().lo, atol=KERNEL_MM)
    np.testing.assert_allclose(hi, part.box().hi, atol=KERNEL_MM)
    for a, b in combinations(real, 2):
        (al, ah), (bl, bh) = extents(solids[a]), extents(solids[b])
        if all(min(ah[i], bh[i]) - max(al[i], bl[i]) > KERNEL_MM for i in range(3)):
            shared = solids[a].intersect(solids[b]).Volume()
            assert abs(shared) < KERNEL_MM, f"{a} and {b} share {shared} mm3"
    return solids


class Inside:
    """Point-in-solid for all bodies of a part."""

    def __init__(self, solids: dict[str, Shape]) -> None:
        self.solids = {
            name: (*extents(shape), BRepClass3d_SolidClassifier(shape.wrapped)) for name, shape in solids.items()
        }

    def body(self, point: Iterable[float]) -> str | None:
        """Name of the body the point is strictly inside of; None in the void."""
        p = [float(c) for c in point]
        for name, (lo, hi, classifier) in self.solids.items():
            if all(a < c < b for a, c, b in zip(lo, p, hi, strict=True)):
                classifier.Perform(gp_Pnt(*p), KERNEL_MM)
                if classifier.State() == TopAbs_State.TopAbs_IN:
                    return name
        return None


def _ring(frame_pose: np.ndarray, x: float, y: float, radius: float, z: float) -> list[np.ndarray]:
    return [
        apply(frame_pose, (x + radius * math.cos(a), y + radius * math.sin(a), z))
        for a in np.linspace(0, 2 * math.pi, 4, endpoint=False)
    ]


def check_port(frame: Frame, inside: Inside, *, walled: float | None = None) -> None:
    """The port is bored inward as deep as it says, at its thread's minor diameter, into one of the bodies it names.

    walled: depth to which the bore must have material all around; left out: all of it, and behind its bottom too.
    """
    assert frame.kind == "port"
    assert frame.thread is not None
    assert frame.depth is not None
    assert frame.land is not None
    radius = THREADS[frame.thread].minor / 2
    for z in np.linspace(2.0, -frame.depth + 0.2, 7):
        assert inside.body(apply(frame.pose, (0, 0, z))) is None, (frame.name, z)
        for point in _ring(frame.pose, 0, 0, radius - SKIN, z):
            assert inside.body(point) is None, (frame.name, z)
    to = frame.depth - 0.2 if walled is None else walled
    for z in (-SKIN, -to / 2, -to):
        for point in _ring(frame.pose, 0, 0, radius + SKIN, z):
            assert inside.body(point) in frame.bodies, (frame.name, z)
    if walled is None:
        assert inside.body(apply(frame.pose, (0, 0, -frame.depth - SKIN))) in frame.bodies, frame.name


def check_pattern(pattern: HolePattern, inside: Inside, through: float, solid_to: float | None = None) -> None:
    """Every hole is void over its depth (`through` where it has none), with the body around it down to `solid_to`."""
    for hole in pattern.holes:
        depth = through if hole.depth is None else hole.depth
        wall = depth if solid_to is None else solid_to
        for z in np.linspace(1.0, -depth + SKIN, 5):
            for point in [apply(pattern.pose, (hole.x, hole.y, z)), *_rim(pattern, hole, -SKIN, z)]:
                assert inside.body(point) is None, (pattern.name, hole, z)
        for z in (-SKIN, -wall / 2, -wall + SKIN):
            for point in _rim(pattern, hole, SKIN, z):
                assert inside.body(point) == pattern.body, (pattern.name, hole, z)


def _rim(pattern: HolePattern, hole: Hole, out: float, z: float) -> list[np.ndarray]:
    """Points `out` mm outside a hole's edge at its sides and ends."""
    c, s = math.cos(math.radians(hole.angle)), math.sin(math.radians(hole.angle))
    r, h = hole.diameter / 2 + out, hole.slot / 2
    local = [(h + r, 0.0), (-h - r, 0.0), (h, r), (-h, -r)]
    return [apply(pattern.pose, (hole.x + c * u - s * v, hole.y + s * u + c * v, z)) for u, v in local]


def check_frames(part: Part) -> None:
    """Frame names are unique, every frame is rigid, names real bodies, and its origin lies in the part's box."""
    names = [f.name for f in part.frames()]
    assert len(names) == len(set(names))
    bodies = {b.name for b in part.bodies()}
    lo, hi = np.array(part.box().lo), np.array(part.box().hi)
    for f in part.frames():
        assert set(f.bodies) <= bodies, f.name
        assert f.bodies, f.name
        np.testing.assert_allclose(f.pose[:3, :3] @ f.pose[:3, :3].T, np.eye(3), atol=1e-12)
        assert np.linalg.det(f.pose[:3, :3]) > 0
        assert np.all(f.pose[:3, 3] >= lo - KERNEL_MM), f.name
        assert np.all(f.pose[:3, 3] <= hi + KERNEL_MM), f.name
    assert part.seat in names
    for p in part.patterns():
        assert p.body in bodies


def check_stack_faces(part: Part, count: int, centres: tuple[float, ...]) -> None:
    """Faces a (z up) and b (z down) share the x axis and the centre of the hole field, and each fan has its own."""
    box = part.box()
    for name, z, height in (("a", 1.0, box.hi[2]), ("b", -1.0, box.lo[2])):
        for i, x in enumerate((0.0, *centres)):
            f = part.frame(name if i == 0 else f"{name}-{i}")
            assert f.kind == "face"
            np.testing.assert_allclose(f.pose[:3, 3], (x, 0, height), atol=1e-12)
            np.testing.assert_array_equal(f.pose[:3, 2], (0, 0, z))
            np.testing.assert_array_equal(f.pose[:3, 0], (1, 0, 0))
    assert sum(f.name.startswith("a-") for f in part.frames()) == count
