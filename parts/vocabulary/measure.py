"""Dimensions as a builder writes them: a number, `236 ± 1`, or text with a unit.

Owns the unit-bearing number types (`Mm`, `Deg`, `Ml`, `Watt`, `M3h`) and the one place where text with units is read.
Everything behind this module counts in millimetres, degrees, millilitres, watts and cubic metres an hour.
A dimension is a `float` that also remembers its `±`, so arithmetic on it stays plain arithmetic.
"""

from __future__ import annotations

import math
import re
from typing import Any, ClassVar, Self

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import PydanticCustomError, core_schema

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_TEXT = re.compile(rf"^\s*({_NUMBER})\s*([^\d\s±+.-]*)\s*(?:(?:±|\+/-|\+-)\s*({_NUMBER})\s*([^\d\s±+.-]*)\s*)?$")


MOST = 1e6  # in the type's unit: a kilometre, a cubic metre. Far beyond it, single steps of a float are no longer fine


class Measure(float):
    """A finite number in the type's `UNIT`, with `plus_minus` (same unit; None where none was given)."""

    UNIT: ClassVar[str] = ""
    UNITS: ClassVar[dict[str, float]] = {}

    plus_minus: float | None

    def __new__(cls, value: float, plus_minus: float | None = None) -> Self:
        self = super().__new__(cls, value)
        self.plus_minus = plus_minus
        return self

    def __getnewargs__(self) -> tuple[float, float | None]:  # type: ignore[override]
        return float(self), self.plus_minus

    def __repr__(self) -> str:
        return f"{float(self):g}" if self.plus_minus is None else f"{float(self):g} ± {self.plus_minus:g}"

    __str__ = __repr__

    @classmethod
    def read(cls, value: object) -> Self:
        """A measure from a number or text such as `236 ± 1`, `4.5 in`; raises PydanticCustomError otherwise."""
        if isinstance(value, cls):
            return value
        if isinstance(value, bool) or not isinstance(value, (int, float, str)):
            raise PydanticCustomError(
                "measure", "expected a number in {unit}, or text such as '12.5 ± 0.2 {unit}'", {"unit": cls.UNIT}
            )
        if isinstance(value, str):
            return cls._read_text(value)
        number = cls._bounded(float(value) if abs(value) < 1e300 else math.inf)
        return cls(number, getattr(value, "plus_minus", None))

    @classmethod
    def _read_text(cls, text: str) -> Self:
        match = _TEXT.match(text) if len(text) <= 80 else None
        if match is None:
            raise PydanticCustomError(
                "measure", "expected a number in {unit}, or text such as '12.5 ± 0.2 {unit}'", {"unit": cls.UNIT}
            )
        number, unit, spread, spread_unit = match.groups()
        scale = cls._scale(unit or spread_unit or cls.UNIT)
        value = float(number) * scale
        plus_minus = None
        if spread is not None:
            plus_minus = float(spread) * cls._scale(spread_unit or unit or cls.UNIT)
            if plus_minus < 0:
                raise PydanticCustomError("measure", "the ± of a dimension cannot be negative", {})
        return cls(cls._bounded(value), None if plus_minus is None else cls._bounded(plus_minus))

    @classmethod
    def _bounded(cls, number: float) -> float:
        if not abs(number) <= MOST:  # NaN as well
            raise PydanticCustomError(
                "measure",
                "beyond any dimension of a build: at most {most} {unit}",
                {"most": f"{MOST:g}", "unit": cls.UNIT},
            )
        return number

    @classmethod
    def _scale(cls, unit: str) -> float:
        try:
            return cls.UNITS[unit]
        except KeyError:
            known = ", ".join(u for u in cls.UNITS if u.isalpha())  # an inch mark in quotes reads as no unit
            raise PydanticCustomError(
                "measure", "no unit '{got}' for this field; known: {known}", {"got": unit, "known": known}
            ) from None

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(
            cls.read,
            serialization=core_schema.plain_serializer_function_ser_schema(
                lambda m: float(m) if getattr(m, "plus_minus", None) is None else repr(m)
            ),
        )

    @classmethod
    def __get_pydantic_json_schema__(
        cls, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {"type": ["number", "string"], "unit": cls.UNIT, "examples": [10, f"10 ± 0.2 {cls.UNIT}"]}


class Mm(Measure):
    """A length in millimetres (text may also say cm, m or in)."""

    UNIT = "mm"
    UNITS: ClassVar[dict[str, float]] = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, '"': 25.4}


class Deg(Measure):
    """An angle in degrees."""

    UNIT = "deg"
    UNITS: ClassVar[dict[str, float]] = {"deg": 1.0, "°": 1.0}


class Ml(Measure):
    """A volume in millilitres."""

    UNIT = "ml"
    UNITS: ClassVar[dict[str, float]] = {"ml": 1.0, "cl": 10.0, "l": 1000.0, "L": 1000.0}


class Watt(Measure):
    """Heat or power in watts."""

    UNIT = "W"
    UNITS: ClassVar[dict[str, float]] = {"W": 1.0, "kW": 1000.0}


class M3h(Measure):
    """Air flow in cubic metres an hour (text may say CFM: 1 cubic foot a minute = 1.699011 m3/h)."""

    UNIT = "m3/h"
    UNITS: ClassVar[dict[str, float]] = {"m3/h": 1.0, "CFM": 0.3048**3 * 60.0}
