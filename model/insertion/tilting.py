"""A way out that begins with a turn: tilted about an edge, then away in one leg or two.

Owns which turns are tried: about every edge of the group's box that lies along the case, both ways, by a few angles.
The legs after a turn are judged exactly, like all others; the turn itself is looked at every STEP_DEG first and, once
the whole way is found, played through by `replay` without a gap. What is not found here may exist all the same.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from elbowroom.model.insertion.blocking import Blocking
from elbowroom.model.insertion.replay import Replay
from elbowroom.model.insertion.ways import Moving, Way, straight, two_legs
from elbowroom.parts.vocabulary.pose import Pose, compose, rotation, shift

ANGLES_DEG = (6.0, 12.0, 20.0, 30.0, 45.0, 60.0, 90.0)
STEP_DEG = 6.0  # degrees between two looks at a turn before it is played; a tenth of a long part's length. By choice
MOST_TURNS = 60  # turns from which ways are looked for, for one group; each takes some tenths of a second


def tilted(blocking: Blocking, replay: Replay, moving: Moving) -> Way | None:
    """A way out of a turn and one or two legs, played; None where none was found."""
    if moving.first is not None:  # what is plugged in leaves its plug straight
        return None
    tried = 0
    for poses in _turns(blocking, replay, moving):
        if tried >= MOST_TURNS:
            return None
        tried += 1
        there = blocking.turned(moving.units, poses[-1])
        way, _ = straight(there, moving)
        way = way or two_legs(there, moving)
        if way is None:
            continue
        whole = replace(way, poses=poses)
        if replay.play(moving.units, moving.standing, whole).free:
            return whole
    return None


def _turns(blocking: Blocking, replay: Replay, moving: Moving) -> Iterator[tuple[Pose, ...]]:
    """Turns that stand free at every step, the slightest first, as the motions on the way."""
    rows = [k for n in moving.units for k in blocking.rows[n].tolist()]
    points = np.vstack([blocking.vertices[k] for k in rows])
    ends = np.array([points.min(axis=0), points.max(axis=0)])
    # From each edge and way round: the motions so far, None once one was not free.
    open_: dict[tuple[int, int, int, int], tuple[Pose, ...] | None] = {
        (k, a, b, sign): () for k in range(3) for a in (0, 1) for b in (0, 1) for sign in (1, -1)
    }
    reached = 0.0
    for angle in ANGLES_DEG:
        steps = [t for t in np.arange(reached + STEP_DEG, angle, STEP_DEG).tolist() if angle - t > 1] + [angle]
        for edge, so_far in open_.items():
            if so_far is None:
                continue
            k, a, b, sign = edge
            across = [n for n in range(3) if n != k]
            pivot = np.zeros(3)
            pivot[across] = ends[a, across[0]], ends[b, across[1]]
            axis = tuple(float(n == k) for n in range(3))
            poses = list(so_far)
            for t in steps:
                x, y, z = (float(c) for c in pivot)
                turn = compose(shift(x, y, z), rotation((axis[0], axis[1], axis[2]), sign * t), shift(-x, -y, -z))
                if replay.meets(moving.units, moving.standing, turn):
                    open_[edge] = None
                    break
                poses.append(turn)
            else:
                open_[edge] = tuple(poses)
                yield tuple(poses)
        reached = angle
