"""One answer about one part to be printed: the question, the verdict, the number it rests on, and where.

Owns the record alone; the questions are asked by `printable`, `spans` and `walls`, and told by `told`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Question = Literal["mesh", "foot", "bed", "layers", "overhang", "bridge", "wall", "skin", "hole", "material"]

Grade = Literal["pass", "caution", "fail"]


@dataclass(frozen=True, slots=True)
class Verdict:
    """`measured` in `unit`; `where`: a point on the bed, mm, in the coordinates of the part's STL."""

    question: Question
    verdict: Grade
    text: str
    measured: float | None = None
    unit: str = "mm"
    where: tuple[float, float, float] | None = None
