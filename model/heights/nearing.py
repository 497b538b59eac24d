"""Which pairs of bodies come near each other at some height: by boxes, all at once, then one by one by true extents.

Owns this filter over what moves, which leaves out only what is fine at every height. What is asked of the pairs that
are left is the work of `limits`. Millimetres.
"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from elbowroom.model.checks.interference import SMALL_GAP_MM
from elbowroom.model.geometry.enclosure import slab_gap
from elbowroom.model.geometry.pairs import box_gap
from elbowroom.model.geometry.scene import Solid
from elbowroom.model.heights.moved import Moved
from elbowroom.model.tolerances import CONTACT_MM
from elbowroom.parts.vocabulary.arrays import Floats, Mask


def by_boxes(moved: Moved, only: Collection[str] | None) -> list[tuple[int, int]]:
    """The pairs of solids of two pieces that move against each other, without those whose boxes alone keep the widest
    gap that is wanted anywhere at every height. Of very many pairs few are left, so all are asked at once.
    """
    solids, gaps = moved.scene.solids, moved.layout.gaps
    pieces = {name: n for n, name in enumerate(moved.velocity)}
    own = np.array([pieces[s.piece.name] for s in solids])
    speed = np.array([moved.velocity[s.piece.name] for s in solids]).reshape(-1, 3)
    grows = np.array([moved.growth(s.piece.name) > 0 for s in solids])
    asked = np.array([only is None or s.piece.name in only for s in solids])
    i, j = np.triu_indices(len(solids), 1)
    moves = (speed[i] != speed[j]).any(axis=1) | grows[i] | grows[j]
    pick = (own[i] != own[j]) & moves & (asked[i] | asked[j])
    i, j = i[pick], j[pick]
    if not len(i):
        return []
    used = np.unique(np.concatenate([i, j]))
    n = len(solids)
    first, last = (np.zeros((n, 2, 3)) for _ in range(2))
    bound = np.zeros((n, 1))
    for k in used.tolist():
        a, b = moved.ends(k)
        first[k], last[k], bound[k] = (a.lo, a.hi), (b.lo, b.hi), max(a.mesh.bound, b.mesh.bound)
    widest = max(gaps.default, SMALL_GAP_MM, 3 * CONTACT_MM, *gaps.families.values(), *gaps.pieces.values())
    near = np.ones(len(i), dtype=bool)
    for beside in (i, j):
        back = speed[beside] * (moved.hi - moved.lo)
        (lo_a, hi_a), (lo_b, hi_b) = (
            (
                np.minimum(first[k, 0], last[k, 0] - back) - bound[k],
                np.maximum(first[k, 1], last[k, 1] - back) + bound[k],
            )
            for k in (i, j)
        )
        near &= box_gap(lo_a, hi_a, lo_b, hi_b) < widest
    return list(zip(i[near].tolist(), j[near].tolist(), strict=True))


def never_near(moved: Moved, i: int, j: int, wanted: float | None) -> bool:
    """Whether extents alone show that the pair is fine at every height."""
    need = -CONTACT_MM if wanted is None else max(wanted - CONTACT_MM, 2 * CONTACT_MM)
    for beside in {moved.scene.solids[i].piece.name, moved.scene.solids[j].piece.name}:
        (lo_a, hi_a), (lo_b, hi_b) = moved.swept(i, beside), moved.swept(j, beside)
        gap = box_gap(lo_a, hi_a, lo_b, hi_b) if need > 0 else np.maximum(lo_b - hi_a, lo_a - hi_b).max()
        if float(gap) >= need:
            return True
    return _never_past(moved, i, j, need)


def _never_past(moved: Moved, i: int, j: int, need: float) -> bool:
    """Whether along one direction the two bodies' true extents keep `need` mm at both ends of the range.

    Then they do between: each point moves in proportion to the height, so the farthest of them is convex in it.
    """
    kept: Mask | None = None
    for one, other in zip(moved.ends(i), moved.ends(j), strict=True):
        a, b = moved.checker.kernel(one), moved.checker.kernel(other)
        turn, move = relative(one, other)
        ways = np.concatenate([np.eye(3), turn.T])
        gaps = [slab_gap(a.enclosure, b.enclosure, turn, move, w) for w in np.concatenate([ways, -ways])]
        kept = np.array(gaps) >= need if kept is None else kept & (np.array(gaps) >= need)
        if not kept.any():
            return False
    return True


def relative(one: Solid, other: Solid) -> tuple[Floats, Floats]:
    """Turn and move of the second solid in the coordinates of the first."""
    back = one.pose[:3, :3].T
    return (
        np.ascontiguousarray(back @ other.pose[:3, :3]),
        np.ascontiguousarray(back @ (other.pose[:3, 3] - one.pose[:3, 3])),
    )
