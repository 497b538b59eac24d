"""Tube as it is bought: diameters, how tightly it bends, and the straights that bending and fitting it need.

Owns reading `catalogue/tube_stock.yaml` and the rules that follow from a tube's diameter. Leaves runs of tube to the
`tube` family. Lengths in millimetres.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Literal, cast, get_args

import yaml

from elbowroom.parts.vocabulary.base import Mark

TubeKind = Literal["soft", "petg", "acrylic", "copper"]
TUBE_KINDS: tuple[TubeKind, ...] = get_args(TubeKind)

# Straight tube beside a bend; common practice, no source (P).
BEYOND_MOUTH = 5.0  # mm of straight tube outside a fitting's mouth before the first bend
LEAST_LEG = 15.0  # mm of straight tube at an end at least, the inserted length included
BETWEEN_BENDS = 1.5  # outer diameters of straight tube between two bends of a hard tube

_FILE = Path(__file__).parents[1] / "catalogue" / "tube_stock.yaml"


@dataclass(frozen=True, slots=True)
class TubeStock:
    """One tube. Radii are of the centre line; `source` and `mark` are what all of its numbers rest on."""

    name: str
    about: str
    kind: TubeKind
    od: float
    id: float
    least_radius: float
    usual_radius: float
    source: str
    mark: Mark

    def __post_init__(self) -> None:
        if not 0 < self.id < self.od:
            raise ValueError(f"{self.name}: id {self.id:g} must lie between 0 and od {self.od:g}")
        if self.least_radius < self.od / 2:
            raise ValueError(
                f"{self.name}: least_radius {self.least_radius:g} is {self.od / 2 - self.least_radius:g} mm under half "
                "the diameter"
            )
        if self.usual_radius < self.least_radius:
            raise ValueError(f"{self.name}: usual_radius {self.usual_radius:g} is under its least_radius")
        if self.kind not in TUBE_KINDS:
            raise ValueError(f"{self.name}: no tube kind '{self.kind}'; known: {', '.join(TUBE_KINDS)}")

    @property
    def between_bends(self) -> float:
        """Straight needed between two bends, mm; 0 for a soft tube, which takes its own curve."""
        return 0.0 if self.kind == "soft" else BETWEEN_BENDS * self.od

    def straight_leg(self, insertion: float) -> float:
        """Straight needed outside a fitting's mouth before the first bend, mm, with `insertion` mm inside it."""
        return max(BEYOND_MOUTH, LEAST_LEG - insertion)


@cache
def tube_stocks() -> Mapping[str, TubeStock]:
    """The tube stocks that are shipped, by name, in the file's order."""
    data = yaml.safe_load(_FILE.read_text(encoding="utf-8"))
    out = {}
    for name, row in data["stocks"].items():
        sizes = {k: float(row[k]) for k in ("od", "id", "least_radius", "usual_radius")}
        out[name] = TubeStock(
            name, row["about"], row["kind"], **sizes, source=row["source"], mark=cast("Mark", row["mark"])
        )
    return MappingProxyType(out)
