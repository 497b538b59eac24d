"""Rigid poses: where a thing is and how it is turned, as 4x4 numpy matrices.

Owns building, composing and inverting poses, and the one rule for bringing two frames together. Right-handed,
millimetres, degrees. A pose maps the coordinates of what it places into those of what it is placed in. Poses are
read-only arrays; nothing here knows of parts or of a geometry kernel.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from elbowroom.parts.vocabulary.arrays import Floats
from elbowroom.parts.vocabulary.tolerances import NO_LENGTH, ROUNDING

Pose = Floats  # 4x4, rigid: rotation of determinant +1, last row 0 0 0 1
Vec = Sequence[float] | Floats


def _frozen(m: Floats) -> Pose:
    m.setflags(write=False)
    return m


IDENTITY: Pose = _frozen(np.eye(4))
_UNITS = _frozen(np.eye(3))


def pose(origin: Vec = (0, 0, 0), z: Vec = (0, 0, 1), x: Vec | None = None) -> Pose:
    """Pose with the given origin, its z axis along `z` and its x axis along `x`, made square to z.

    Where `x` is left out it is the case axis least aligned with z, made square to z: repeatable for a given z.
    Raises ValueError where z is zero or x is parallel to it.
    """
    zv = np.asarray(z, dtype=float)
    length = math.sqrt(zv @ zv)
    if length < NO_LENGTH:
        raise ValueError("a frame needs a z axis that is not zero")
    zv = zv / length
    xv = _UNITS[int(np.argmin(np.abs(zv)))] if x is None else np.asarray(x, dtype=float)
    xv = xv - zv * float(xv @ zv)
    length = math.sqrt(xv @ xv)
    if length < ROUNDING:
        raise ValueError("the x axis of a frame cannot be parallel to its z axis")
    xv = xv / length
    m = IDENTITY.copy()
    (zx, zy, zz), (xx, xy, xz) = zv.tolist(), xv.tolist()
    # Written out, since a build asks for thousands of frames and numpy's general cross product costs 30 us each.
    m[:3, 0], m[:3, 1], m[:3, 2] = xv, (zy * xz - zz * xy, zz * xx - zx * xz, zx * xy - zy * xx), zv
    m[:3, 3] = origin
    return _frozen(m)


def shift(x: float = 0.0, y: float = 0.0, z: float = 0.0) -> Pose:
    """A move by (x, y, z) mm without turning."""
    m = np.eye(4)
    m[:3, 3] = (x, y, z)
    return _frozen(m)


def rotation(axis: Vec, degrees: float) -> Pose:
    """A turn about `axis` through the origin, right-hand rule (Rodrigues' formula); quarter turns are exact."""
    a = np.asarray(axis, dtype=float)
    length = float(np.linalg.norm(a))
    if length < NO_LENGTH:
        raise ValueError("a turn needs an axis that is not zero")
    x, y, z = a / length
    quarter = degrees / 90.0
    if quarter == round(quarter):
        c, s = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[round(quarter) % 4]
    else:
        c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    k = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    m = np.eye(4)
    m[:3, :3] = np.eye(3) + s * k + (1.0 - c) * (k @ k)
    return _frozen(m)


def compose(*poses: Pose) -> Pose:
    """The pose that applies the last given first: compose(a, b) places b's thing in a's coordinates."""
    m = np.eye(4)
    for p in poses:
        m = m @ p
    return _frozen(m)


def inverse(p: Pose) -> Pose:
    """The pose that undoes `p`."""
    m = IDENTITY.copy()
    m[:3, :3] = p[:3, :3].T
    m[:3, 3] = -p[:3, :3].T @ p[:3, 3]
    return _frozen(m)


def apply(p: Pose, points: Vec | Sequence[Vec] | Floats) -> Floats:
    """Points (..., 3) carried by `p`."""
    return np.asarray(points, dtype=float) @ p[:3, :3].T + p[:3, 3]


def turn(p: Pose, vector: Vec) -> Floats:
    """A direction (3,) turned by `p`, not moved."""
    turned: Floats = p[:3, :3] @ np.asarray(vector, dtype=float)
    return turned


def bring_together(
    own: Pose, target: Pose, *, clock: float = 0.0, flip: bool = False, offset: Vec = (0.0, 0.0), lift: float = 0.0
) -> Pose:
    """Pose of a part whose frame `own` (in part coordinates) meets the frame `target`.

    The z axes oppose (with `flip` they agree: the part is turned over), the x axes coincide after the part is clocked
    by `clock` degrees about the target's z. `offset` (mm) slides along the target's x and y, `lift` (mm) along its z.
    """
    over = IDENTITY if flip else rotation((1, 0, 0), 180.0)
    return compose(target, shift(offset[0], offset[1], lift), rotation((0, 0, 1), clock), over, inverse(own))
