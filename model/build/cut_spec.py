"""The words under `cut`: a flat sheet notched so that other pieces clear it.

Owns the fields (`in`, `for`, `gap`, `tool`) and how the name under `in` is taken apart. Carrying a cut out is
`cutting.asked`'s work.
"""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field, field_validator

from elbowroom.parts.vocabulary.measure import Mm

MAX_CUTS = 50  # in one build
MAX_NAMES = 50  # pieces that one cut clears


class CutSpec(BaseModel):
    """One sheet cut so that other pieces clear it."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    in_: str = Field(
        alias="in", min_length=1, max_length=200, description="what is cut: a part, or part.sheet for one sheet of it"
    )  # fmt: skip
    for_: list[str] = Field(
        alias="for", min_length=1, max_length=MAX_NAMES,
        description="what must clear it: pieces, or piece.port for the fittings on that port",
    )  # fmt: skip
    gap: Mm = Field(Mm(2), ge=0, le=100, description="gap wanted around it")
    tool: Mm = Field(Mm(3), ge=0, le=100, description="diameter of the tool: no inner corner is sharper")

    @field_validator("for_", mode="before", json_schema_input_type=str | list[str])
    @classmethod
    def _one_or_more(cls, value: Any) -> Any:
        return [value] if isinstance(value, str) else value


def split(text: str) -> tuple[str, str]:
    """A word under `in`, taken apart: the entry's name, and the flat sheet of it ("" for all)."""
    name, _, sheet = text.partition(".")
    return name, sheet
