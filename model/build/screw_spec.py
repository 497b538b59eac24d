"""The words of a build file for screws: the usual head, and which screw goes into which holes.

Owns their structure and the reading of a screw's short name (`M3x30`) and of a number of washers (`0..3`). Which joints
there are, and what a screw does in one, is worked out by `screws`.
"""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from elbowroom.parts.screw.screw import ScrewThread
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.threads import ThreadName

Head = Literal["pan", "cap", "button"]

_NAME = re.compile(r"\s*([A-Za-z0-9./-]+?)\s*[x×]\s*([0-9.]+(?:\s*(?:mm|in|\"))?)\s*")
_SHAPE = "written as thread x length, such as M3x30 or 6-32x0.5in"
_RANGE = re.compile(r"\s*([0-9]{1,3})\s*\.\.\s*([0-9]{1,3}|n)\s*")
MAX_WASHERS = 100  # under one head: more than the longest screw takes
MAX_STOCK = 200  # kinds of screw in a drawer


class _Spec(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


def _named(value: Any) -> Any:
    """`M3x30` alone, or as `screw` beside other words, taken apart."""
    if isinstance(value, str):
        value = {"screw": value}
    if isinstance(value, dict) and isinstance(value.get("screw"), str):
        found = _NAME.fullmatch(value["screw"])
        if found is None:
            raise ValueError(f"{value['screw'][:40]!r} is no screw: {_SHAPE}")
        rest = {k: v for k, v in value.items() if k != "screw"}
        return {**rest, "thread": found[1], "length": found[2]}
    return value


class ScrewWords(_Spec):
    """One kind of screw for the holes of one joint: `M3x30`, or with its head and the washers under it.

    Without `screw` the length is found for that head and, where `washers` are given, for just as many.
    """

    screw: str | None = Field(None, description=f"the screw, {_SHAPE}")
    thread: ThreadName | None = None
    length: Mm | None = Field(None, ge=2, le=120, description="under the head, mm")
    head: Head | None = Field(None, description="head, where it differs from the usual")
    washers: int | None = Field(None, ge=0, le=MAX_WASHERS, description="plain washers under the head")

    @model_validator(mode="after")
    def _whole(self) -> ScrewWords:
        if (self.thread is None) != (self.length is None):
            raise ValueError(f"a screw needs its thread and length, {_SHAPE}")
        return self


Words = Annotated[ScrewWords, BeforeValidator(_named, json_schema_input_type=str | ScrewWords)]


class StockScrew(_Spec):
    """One kind of screw that there is: its thread and its length below the head."""

    thread: ScrewThread
    length: Mm = Field(ge=2, le=120, description="under the head, mm")


def _stock_screw(value: Any) -> Any:
    """`M3x30` taken apart."""
    if isinstance(value, str):
        found = _NAME.fullmatch(value)
        if found is None:
            raise ValueError(f"{value[:40]!r} is no screw: {_SHAPE}")
        return {"thread": found[1], "length": found[2]}
    return value


class Washers(_Spec):
    """How many washers there may be under a head. high: None for as many as it takes."""

    low: int = Field(0, ge=0, le=MAX_WASHERS, description="at least")
    high: int | None = Field(None, ge=0, le=MAX_WASHERS, description="at most")

    @model_validator(mode="after")
    def _ordered(self) -> Washers:
        if self.high is not None and self.high < self.low:
            raise ValueError(f"{self.low}..{self.high} washers: the first number is the lesser one")
        return self


def _washers(value: Any) -> Any:
    """`2` (so many and no more) or `0..2` taken apart; `1..n` has no most."""
    if isinstance(value, int) and not isinstance(value, bool):
        return {"low": value, "high": value}
    if isinstance(value, str):
        found = _RANGE.fullmatch(value)
        if found is None:
            raise ValueError(f"{value[:40]!r} is no number of washers: written as 2, 0..2 or 1..n")
        return {"low": int(found[1]), "high": None if found[2] == "n" else int(found[2])}
    return value


class ScrewsSpec(_Spec):
    """The build's screws. A joint without words of its own gets the stock screw that is safest."""

    head: Head = Field("pan", description="usual head")
    stock: list[Annotated[StockScrew, BeforeValidator(_stock_screw, json_schema_input_type=str | StockScrew)]] = Field(
        default_factory=list, max_length=MAX_STOCK,
        description="screws to choose from, such as [M3x25, M3x30]; left out: every length that is sold",
    )  # fmt: skip
    washers: Annotated[Washers, BeforeValidator(_washers, json_schema_input_type=int | str | Washers)] = Field(
        Washers(), description="washers to choose from under a head: 0..2, or a number; left out: as many as it takes"
    )
    use: dict[str, Words] = Field(
        default_factory=dict, max_length=400,
        description="joint (piece.pattern that the screw goes into; * stands for any run of characters): its screw",
    )  # fmt: skip
    no_screws: list[str] = Field(
        default_factory=list, max_length=400, description="joints that get no screw: held another way"
    )
