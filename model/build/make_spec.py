"""The words of a build file for parts one makes: what is made, how many of each, and the printer they are made on.

Owns their structure as pydantic models, and what a list in place of a field's value means: a set, one part for each
value. The fields of a part belong to its family; what is written of the parts belongs to `making`.
"""

from __future__ import annotations

import types
import typing
from itertools import product
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from elbowroom.parts import FAMILIES, family_class
from elbowroom.parts.vocabulary.base import NAME_PATTERN, Part, dim
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.tolerances import ROUNDING

MAX_MADE = 200  # copies of one part, and parts one entry stands for
MAX_ENTRIES = 200  # entries under `make`
MAX_DIFFERENT = 200  # parts that all entries together stand for: each is drawn and judged by itself, about 0.2 s
PRINTED = "printed"
LAYER_OF_NOZZLE = 0.8  # of the nozzle's diameter: a higher layer is not pressed onto the one below; no source (P)

Plastic = Literal["pla", "petg", "asa"]
Name = Annotated[str, Field(min_length=1, max_length=60, pattern=NAME_PATTERN)]
Edge = Annotated[Mm, Field(ge=40, le=2000)]

_PRACTICE = "common practice, no source"


class _Spec(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, validate_default=True)


class PrinterSpec(_Spec):
    """The printer, as far as a part's shape and place on the bed depend on it."""

    bed: tuple[Edge, Edge, Edge] = dim(
        (Mm(200), Mm(200), Mm(200)), "width, depth and height it can print, mm", source=_PRACTICE, mark="P"
    )
    nozzle: Mm = dim(Mm(0.4), "diameter of the nozzle, mm", source=_PRACTICE, mark="P", ge=0.1, le=2)
    layer: Mm = dim(Mm(0.2), "height of a layer, mm", source=_PRACTICE, mark="P", ge=0.04, le=1.5)
    hole_allowance: Mm = dim(
        Mm(0.2), "how much wider holes are drawn, because they print narrower, mm",
        source="published print tolerance guides", mark="V", ge=0, le=1,
    )  # fmt: skip
    material: Plastic | None = dim(
        None, "the plastic to print with; left out: what each part needs", source=_PRACTICE, mark="P"
    )
    spacing: Mm = dim(Mm(5), "between parts on the bed, and to its edge, mm", source=_PRACTICE, mark="P", ge=1, le=50)

    @model_validator(mode="after")
    def _layers_stick(self) -> Self:
        most = LAYER_OF_NOZZLE * float(self.nozzle)
        if float(self.layer) > most + ROUNDING:
            raise ValueError(
                f"layers {self.layer:g} mm high do not stick: a nozzle of {self.nozzle:g} mm lays at most {most:g} mm "
                f"({LAYER_OF_NOZZLE:g} of its diameter)"
            )
        return self


class MakeWords(_Spec):
    """What an entry under `make` says beside the part's own fields."""

    count: int = Field(1, ge=1, le=MAX_MADE, description="how many of each")
    name: Name | None = Field(None, description="what its files are called; left out: by family and size")


def variants(value: Any) -> list[Any]:
    """The entries that one entry under `make` stands for: one for each value of every field given as a list.

    A field that holds a list by nature is left as it is. A part whose material is a choice is printed unless the entry
    says otherwise. An entry that names no family, or an empty list, comes back as it is for its fault to be told.
    """
    families = [k for k in value if k in FAMILIES] if isinstance(value, dict) else []
    if len(families) != 1:
        return [value]
    cls = family_class(families[0])
    whole = dict(value)
    if "material" in cls.model_fields and PRINTED in _choices(cls.model_fields["material"].annotation):
        whole.setdefault("material", PRINTED)
    sets = {k: v for k, v in whole.items() if isinstance(v, list) and v and not holds_list(cls, k)}
    count = 1
    for values in sets.values():
        count *= len(values)
    if count > MAX_MADE:
        return [value]
    return [{**whole, **dict(zip(sets, chosen, strict=True))} for chosen in product(*sets.values())]


def holds_list(cls: type[Part], name: str) -> bool:
    """Whether a field's value may itself be a list; a key that is no field is left for its own fault to be told."""
    info = cls.model_fields.get(name)
    return info is None or any(
        t is Any or typing.get_origin(t) in (list, tuple, set, frozenset) or t in (list, tuple)
        for t in _flat(info.annotation)
    )


def _choices(annotation: Any) -> set[Any]:
    return {c for t in _flat(annotation) if typing.get_origin(t) is Literal for c in typing.get_args(t)}


def _flat(t: Any) -> list[Any]:
    """The members of a union (or the type itself), `Annotated` opened."""
    if typing.get_origin(t) is Annotated:
        return _flat(typing.get_args(t)[0])
    if typing.get_origin(t) in (typing.Union, types.UnionType):
        return [m for a in typing.get_args(t) for m in _flat(a)]
    return [t]
