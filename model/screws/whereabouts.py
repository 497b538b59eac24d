"""Which of a joint's screws are meant, as one says it to someone who looks at them: those toward the rear.

Owns those words. Screws have numbers in the JSON alone: nobody can see from which end they were counted.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from itertools import combinations

import numpy as np

from elbowroom.model.layout.directions import open_side_of, sides
from elbowroom.model.layout.layout import Layout
from elbowroom.model.told.findings import Point
from elbowroom.model.told.places import distances
from elbowroom.parts.vocabulary.arrays import Floats, Mask

ASIDE = 1.0  # mm by which a screw stands farther that way than the others, for all to see; no source (P)
SHOWN = 3  # places that are told one by one


def which(points: Sequence[Point], some: Collection[int], layout: Layout) -> str:
    """Some of the points, in words; empty where those are all or none of them, or where no words are known."""
    mine = np.zeros(len(points), dtype=bool)
    mine[list(some)] = True
    if mine.all() or not mine.any():
        return ""
    at = np.array(points, dtype=float)
    ways = list(_ways(at, open_side_of(layout)))
    one = int(mine.sum()) == 1
    for said in (*_toward(ways, mine), *_columns(ways, mine), *_corner(ways, mine)):
        return said.replace("those", "the one", 1) if one else said
    if layout.interior is None:
        return ""
    told = [f"({distances(points[k], layout.interior)})" for k in sorted(some)]
    more = len(told) - SHOWN
    return f"at {', '.join(told[:SHOWN])}{f' and {more} more' if more > 0 else ''}"


def _ways(at: Floats, open_side: str) -> Iterator[tuple[str, str, Floats]]:
    """The walls on either side along each axis that points spread along, the longest way first, and how far each of
    the points is toward the second.
    """
    spread = np.ptp(at, axis=0)
    for k in np.argsort(-spread, kind="stable"):
        if spread[k] > ASIDE:
            yield (*sides(open_side)[k], at[:, k])


def _toward(ways: Sequence[tuple[str, str, Floats]], mine: Mask) -> Iterator[str]:
    """All of them nearer to one wall than any other; or at both ends; or between the others."""
    for low, high, at in ways:
        own, others = at[mine], at[~mine]
        if own.min() > others.max() + ASIDE:
            yield f"those toward the {high}"
        elif own.max() < others.min() - ASIDE:
            yield f"those toward the {low}"
    for low, high, at in ways:
        own, others = at[mine], at[~mine]
        if own.min() < others.min() and own.max() > others.max():
            if not ((own > others.min() - ASIDE) & (own < others.max() + ASIDE)).any():
                yield f"those at both ends, toward the {low} and toward the {high}"
        elif (others < own.min() - ASIDE).sum() * 2 == len(others) == (others > own.max() + ASIDE).sum() * 2:
            yield f"those in the middle between {low} and {high}"


def _columns(ways: Sequence[tuple[str, str, Floats]], mine: Mask) -> Iterator[str]:
    """Whole rows of the field, counted from the wall that they are nearer to."""
    for low, high, at in ways:
        order = np.argsort(at, kind="stable")
        row = np.empty(len(at), dtype=int)
        row[order] = np.concatenate([[0], np.cumsum(np.diff(at[order]) > ASIDE)])
        count = int(row.max()) + 1
        hit = sorted(set(row[mine].tolist()))
        if set(hit) & set(row[~mine].tolist()):
            continue
        near = low if sum(hit) * 2 <= (count - 1) * len(hit) else high
        numbers = [r + 1 if near == low else count - r for r in hit]
        said = [str(n) for n in sorted(numbers)]
        listed = said[0] if len(said) == 1 else f"{', '.join(said[:-1])} and {said[-1]}"
        yield f"those in row{'s' * (len(said) > 1)} {listed} of {count}, counted from the {near}"


def _corner(ways: Sequence[tuple[str, str, Floats]], mine: Mask) -> Iterator[str]:
    """All that lie farthest toward two walls at once."""
    toward = [(name, sign * at) for low, high, at in ways for name, sign in ((low, -1.0), (high, 1.0))]
    for (a, x), (b, y) in combinations(toward, 2):
        if (((x > x[mine].min() - ASIDE) & (y > y[mine].min() - ASIDE)) == mine).all():
            yield f"those toward the {a} and the {b}"
