"""A part by measured distances: how far it is moved so that it stands as far from named walls as a build says.

Owns the arithmetic of `at` and the faults of it. Which part it is, and how it is turned, is `place`'s.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from elbowroom.model.build.problems import Path, choices, shown
from elbowroom.model.build.spec import WALLS, At
from elbowroom.parts.case.case_openings import BEHIND
from elbowroom.parts.vocabulary.arrays import Vector
from elbowroom.parts.vocabulary.base import Box, Part
from elbowroom.parts.vocabulary.pose import Pose, apply


@dataclass(frozen=True, slots=True)
class Walls:
    """What is measured from. interior: the case's free inner box; tray_back: y of the tray's far side. None: there is
    none.
    """

    interior: Box | None = None
    tray_back: float | None = None


def faults(part: Part, at: At, axes: Sequence[int], walls: Walls) -> list[tuple[Path, str]]:
    """What is wrong with the words, each with its key in `at`."""
    found: list[tuple[Path, str]] = []
    names = [f.name for f in part.frames()]
    if at.of is not None and at.of not in names:
        found.append((("of",), f"the {part.family} has no frame {shown(at.of)}{choices(at.of, names, 30)}"))
    found += at.faults(axes)
    for keys in map(at.axis, axes):
        if len(keys) == 1 and keys[0] not in "xyz" and walls.interior is None:
            found.append(((keys[0],), f'there is no case to measure "{keys[0]}" from; use x, y, z'))
    return found


def moves(part: Part, at: At, pose: Pose, axes: Sequence[int], walls: Walls) -> list[float]:
    """How far, mm along x, y and z, to move a part standing at `pose` so that it has its distances along `axes`; words
    without faults.
    """
    lo, hi = _extent(part, pose, at.of)
    move = [0.0, 0.0, 0.0]
    for i in axes:
        key = at.axis(i)[0]
        value = float(getattr(at, key))
        if key in "xyz":
            move[i] = value - float(pose[i, 3])
        elif key == BEHIND and walls.tray_back is not None:
            move[i] = walls.tray_back + value - float(lo[i])
        elif walls.interior is not None:
            room, far = walls.interior, WALLS[key][1]
            move[i] = room.hi[i] - value - float(hi[i]) if far else room.lo[i] + value - float(lo[i])
    return move


def _extent(part: Part, pose: Pose, of: str | None) -> tuple[Vector, Vector]:
    """Corners of the part's declared box as it stands, or the origin of the frame it is measured to."""
    points = apply(pose, part.frame(of).pose[:3, 3])[None] if of is not None else apply(pose, part.box().corners())
    return points.min(axis=0), points.max(axis=0)
