"""Points of a path as a build file gives them: coordinates, or distances measured from named walls.

Owns reading one point and its faults. What the points are of belongs to whoever asks.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from pydantic import TypeAdapter, ValidationError

from elbowroom.model.build.faults import Faults
from elbowroom.model.build.problems import Path
from elbowroom.model.build.spec import AXES, WALLS, At
from elbowroom.parts.case.case_openings import BEHIND
from elbowroom.parts.vocabulary.base import Box
from elbowroom.parts.vocabulary.measure import Mm

MAX_FAR = (
    2000.0  # mm that a point of a path may lie outside the case: nothing of a build is laid farther; no source (P)
)


def point_of(
    value: Any, path: Path, faults: Faults, interior: Box | None, tray_back: float | None = None
) -> tuple[float, float, float] | None:
    """A point of a path as case coordinates: [x, y, z], or measured distances; None where it is none, which is then
    among the faults.

    tray_back: y of the tray's far side, where there is one. Without faults it is None only where the case it is
    measured in has faults of its own.
    """
    try:
        if not isinstance(value, dict):
            x, y, z = TypeAdapter(tuple[Mm, Mm, Mm]).validate_python(value)
            return _within_reach((float(x), float(y), float(z)), path, faults, interior)
        at = At.model_validate(value)
    except ValidationError as e:
        faults.invalid(e, path, value, At)
        return None
    out: list[float] = []
    for i in range(3):
        keys = at.axis(i)
        if len(keys) != 1:
            said = "not given" if not keys else f"given twice: by {' and '.join(keys)}"
            faults.add(path, f"the {AXES[i]} is {said}")
            return None
        distance = float(getattr(at, keys[0]))
        if keys[0] in ("x", "y", "z"):
            out.append(distance)
        elif keys[0] == BEHIND and tray_back is not None:
            out.append(tray_back + distance)
        elif interior is None:
            if not isinstance(faults.document.values.get("case"), dict):
                faults.add((*path, keys[0]), f'there is no case to measure "{keys[0]}" from; use x, y, z')
            return None
        else:
            out.append(interior.hi[i] - distance if WALLS[keys[0]][1] else interior.lo[i] + distance)
    return _within_reach((out[0], out[1], out[2]), path, faults, interior)


def _within_reach(
    point: tuple[float, float, float], path: Path, faults: Faults, interior: Box | None
) -> tuple[float, float, float] | None:
    """The point, or the fault that it lies farther off than any path leads."""
    lo, hi = (np.zeros(3), np.zeros(3)) if interior is None else (np.array(interior.lo), np.array(interior.hi))
    far = float(np.maximum(np.maximum(lo - point, np.array(point) - hi), 0.0).max())
    if far <= MAX_FAR:
        return point
    of = "the origin" if interior is None else "the case"
    faults.add(path, f"the point lies {far / 1000:.4g} m outside {of}; {MAX_FAR / 1000:g} m are the most")
    return None
