"""What is told of a file that cannot be used as a part.

Owns the error and the words for places and counts in it.
"""

from __future__ import annotations

import numpy as np

from elbowroom.parts.vocabulary.arrays import Vertices


class PartFileError(ValueError):
    """A user's file cannot be used; the message says what is wrong with it."""


def near(points: Vertices) -> str:
    x, y, z = (float(v) + 0.0 for v in np.round(points.mean(axis=0), 2))
    return f"near ({x:g}, {y:g}, {z:g})"


def count(n: int, noun: str) -> str:
    return f"{n} {noun}" + ("" if n == 1 else "s")
