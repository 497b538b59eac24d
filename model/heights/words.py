"""What a build says of open heights, and the same build with numbers in their place.

Owns the words `fit` and `{fit: least, at_least: 10, at_most: 40}`, where they may stand, and the documents that are
made by writing a number where they stood: what follows reads those as if the user had written the number. Leaves which
riser belongs to which part to `tying`.
"""

from __future__ import annotations

import typing
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from elbowroom.model.build.faults import Faults
from elbowroom.model.build.problems import Path, shown
from elbowroom.model.build.source import Document
from elbowroom.model.build.spec import Placement
from elbowroom.model.layout.implied import CARRIERS
from elbowroom.parts import FAMILIES, family_class
from elbowroom.parts.vocabulary.measure import Measure, Mm

FIT = "fit"
LIFT = "lift"
MAX_OPEN = 16  # entries of one build whose height is left open: each is a search of its own, of seconds to a minute
# Families whose height may be left open: the field, and the frames at its two ends. Such a family promises that a
# change of the field moves no point of the part by more than the change, seen from either end.
OPEN: dict[str, tuple[str, tuple[str, str]]] = {family: ("height", ends) for family, ends in CARRIERS.items()}


class Fit(BaseModel):
    """A height left to the tool: the least one that fits, or the middle of the widest range, within limits."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    fit: Literal["least", "middle"] = Field("least", description="the least height that fits, or the middle")
    at_least: Mm | None = Field(None, gt=0, description="no lower than this")
    at_most: Mm | None = Field(None, gt=0, description="no higher than this")

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.at_least is not None and self.at_most is not None and self.at_least >= self.at_most:
            raise ValueError(f"at_least {self.at_least} must be less than at_most {self.at_most}: nothing to choose")
        return self


@dataclass(frozen=True, slots=True)
class Wish:
    """One height left open: of which entry, where it stands, what is asked, and the range the family allows, mm."""

    entry: str
    path: Path
    field: str
    ends: tuple[str, str]
    fit: Fit
    least: float
    most: float


@dataclass(frozen=True, slots=True)
class Wishes:
    """All that a build leaves open: heights, and the entries whose lift follows from one."""

    heights: tuple[Wish, ...]
    lifts: tuple[str, ...]

    def trial(self) -> dict[Path, float]:
        """Numbers to read the rest of the build with: the greatest heights, and lifts as high."""
        out: dict[Path, float] = {w.path: w.most for w in self.heights}
        return out | {("parts", name, LIFT): 50.0 for name in self.lifts}  # any height off the frame shows what moves


def wishes_of(document: Document, faults: Faults) -> Wishes:
    """What the document leaves open; what is no way of saying so goes to the faults, and is left out of the wishes."""
    heights: list[Wish] = []
    lifts: list[str] = []
    parts = document.values.get("parts")
    for name, entry in (parts if isinstance(parts, dict) else {}).items():
        family = _family(entry)
        if family is None:
            continue
        field, ends = OPEN.get(family, (None, ("", "")))
        for key, value in entry.items():
            path: Path = ("parts", name, key)
            if key == field and (value == FIT or isinstance(value, dict)):
                wish = _wish(path, family, ends, value, faults)
                heights += [] if wish is None else [wish]
            elif key == LIFT and value == FIT:
                lifts.append(name)
            elif _says_fit(value) and _is_number(family, key):
                faults.add(path, _misplaced(key, value, family))
    for w in heights[MAX_OPEN:]:
        said = f"{len(heights)} heights are left open; at most {MAX_OPEN} in one build: give this one as a number"
        faults.add(w.path, said)
    return Wishes(tuple(heights), tuple(lifts))


def with_numbers(document: Document, numbers: Mapping[Path, float]) -> Document:
    """The document with each number written at its path (`parts`, entry, field); marks stay those of what stood there.

    A millionth of a millimetre is the finest step written.
    """
    parts = dict(document.values["parts"])
    for (_, name, key), value in numbers.items():
        parts[name] = {**parts[name], key: round(float(value), 6)}
    return replace(document, values={**document.values, "parts": parts})


def _wish(path: Path, family: str, ends: tuple[str, str], value: Any, faults: Faults) -> Wish | None:
    try:
        fit = Fit() if value == FIT else Fit.model_validate(value)
    except ValidationError as e:
        faults.invalid(e, path, value, Fit)
        return None
    field = str(path[-1])
    least, most = range_of(family, field)
    for key, limit in (("at_least", fit.at_least), ("at_most", fit.at_most)):
        if limit is not None and not least <= limit <= most:
            said = f"{shown(float(limit))} is no {field} of a {family}: expected {least:g} to {most:g} mm"
            faults.add((*path, key), said)
            return None
    return Wish(str(path[1]), path, field, ends, fit, float(fit.at_least or least), float(fit.at_most or most))


def range_of(family: str, field: str) -> tuple[float, float]:
    """The range a family's field allows, mm."""
    limits = family_class(family).model_fields[field].metadata
    least = next(float(m.ge) for m in limits if hasattr(m, "ge"))
    return least, next(float(m.le) for m in limits if hasattr(m, "le"))


def _family(entry: Any) -> str | None:
    found = [k for k in entry if k in FAMILIES and k != "case"] if isinstance(entry, dict) else []
    return found[0] if len(found) == 1 else None


def _says_fit(value: Any) -> bool:
    return value == FIT or (isinstance(value, dict) and FIT in value)


def _is_number(family: str, key: str) -> bool:
    for model in (family_class(family), Placement):
        info = model.model_fields.get(key)
        if info is not None:
            kinds = (info.annotation, *typing.get_args(info.annotation))
            return any(isinstance(t, type) and issubclass(t, Measure) for t in kinds)
    return False


def _misplaced(key: str, value: Any, family: str) -> str:
    if key == LIFT:
        return "expected lift: fit alone; limits and choice stand at the height of the riser that carries the part"
    allowed = " or ".join(f"the {field} of a {name}" for name, (field, _) in OPEN.items())
    said = shown(value)
    return f"{said}: expected a number; only {allowed}, and the lift of the part it carries, can be left to fit"
