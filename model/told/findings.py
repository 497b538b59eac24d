"""Findings: the one record every check answers with, and every output is drawn from.

Owns the verdicts, their order, what they mean for the exit status, and a finding's JSON form. A finding answers one
question about one place. Numbers are rounded only here, on their way out, so that all outputs agree to the digit.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from elbowroom.model.told.particulars import About

FORMAT = 1  # version of the JSON that `check --json` writes

Verdict = Literal["clash", "touch", "tight", "clear", "fail", "caution", "pass", "unknown"]
Question = Literal[
    "interference", "clearance", "keep-out", "mate", "containment", "hole-alignment", "screw", "tool-access", "cut",
    "port-reach", "loop", "tube", "coolant", "height", "air", "part", "slot",
]  # fmt: skip

FAILING: frozenset[str] = frozenset({"clash", "touch", "tight", "fail"})
UNDECIDED: frozenset[str] = frozenset({"unknown"})
WELL: frozenset[str] = frozenset({"clear", "pass"})
_EITHER_WAY: frozenset[str] = frozenset({"interference", "clearance", "mate"})  # questions about two as equals
_ORDER = {v: i for i, v in enumerate(("clash", "fail", "unknown", "touch", "tight", "caution", "clear", "pass"))}

Point = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Basis:
    """What a number rests on.

    method: "exact" (flat faces or the exact kernel), "mesh" (bounded by `bound`), "boxes" (a lower bound from boxes),
    "arithmetic" (declared numbers only), "none" (nothing could be measured). bound: mm the number may be off by.
    assumed: per piece, the fields that rest on memory or common practice.
    """

    method: Literal["exact", "mesh", "boxes", "arithmetic", "none"]
    bound: float = 0.0
    assumed: tuple[tuple[str, tuple[str, ...]], ...] = ()


@dataclass(frozen=True, slots=True)
class Finding:
    """One answer. `parts` names the pieces, `bodies` the two bodies as piece/body; measured, required, low and high are
    in `unit`. `high` is None where only a lower bound is known. `where`: witness points in case coordinates, mm.
    `about` is what code goes on from; `extra` holds what only one question tells (volume_mm3, contact_mm2, ...),
    already plain JSON values.

    cause: id of the finding that this one follows from; effects: ids of those that follow from it. take_care: what to
    look out for in doing what it says. spot: where it is, in words; joint_face: which way the face of its joint looks.
    short: what matters of it in one sentence, where that is not what its text begins with.
    """

    question: Question
    verdict: Verdict
    parts: tuple[str, ...]
    text: str
    bodies: tuple[str, ...] = ()
    measured: float | None = None
    unit: str = "mm"
    required: float | None = None
    low: float | None = None
    high: float | None = None
    where: tuple[Point, ...] = ()
    basis: Basis = field(default_factory=lambda: Basis("none"))
    remedies: tuple[str, ...] = ()
    extra: tuple[tuple[str, Any], ...] = ()
    place: str = ""  # tells findings of one question about the same bodies apart
    about: About | None = None
    cause: str | None = None
    effects: tuple[str, ...] = ()
    take_care: tuple[str, ...] = ()
    spot: str = ""
    joint_face: str | None = None
    short: str = ""

    @property
    def id(self) -> str:
        """Stable id: the question and the names it is about, of pairs in their order by name and not by the file's."""
        own = self.bodies or self.parts
        names = "~".join(sorted(own) if self.question in _EITHER_WAY else own)
        return f"{self.question}:{names}" + (f":{self.place}" if self.place else "")

    @property
    def rank(self) -> tuple[int, float, str]:
        """Sorting key: worst verdict first, then the smallest number, then the id."""
        number = math.inf if self.measured is None else self.measured
        return (_ORDER[self.verdict], -number if self.verdict == "clash" else number, self.id)

    def step_from(self, was: Finding) -> float | None:
        """How much better this is than an earlier answer to the same question, in `unit`; negative: worse. None where
        one of the two has no number, or no limit that its number is to come nearer to.
        """
        if None in (self.measured, was.measured, self.required, was.required) or self.unit != was.unit:
            return None
        if self.verdict not in FAILING or was.verdict not in FAILING:
            return None
        off, before = (abs(float(f.measured or 0.0) - float(f.required or 0.0)) for f in (self, was))
        return rounded(before - off)

    @property
    def order(self) -> int:
        """How bad the verdict is, 0 the worst."""
        return _ORDER[self.verdict]

    def to_json(self) -> dict[str, Any]:
        told = {
            "cause": self.cause, "effects": list(self.effects), "take_care": list(self.take_care), "place": self.spot,
            "joint_face": self.joint_face,
        }  # fmt: skip
        return {
            "id": self.id,
            "question": self.question,
            "verdict": self.verdict,
            "parts": list(self.parts),
            "bodies": list(self.bodies),
            "measured": rounded(self.measured),
            "unit": self.unit,
            "required": rounded(self.required),
            "low": rounded(self.low),
            "high": rounded(self.high),
            "where": [[rounded(c) for c in p] for p in self.where],
            "basis": {
                "method": self.basis.method,
                "bound": rounded(self.basis.bound),
                "assumed": {name: list(fields) for name, fields in self.basis.assumed},
            },
            "text": self.text,
            "remedies": list(self.remedies),
            **{k: rounded(v) if isinstance(v, float) else v for k, v in self.extra},
            **({} if self.about is None else self.about.json()),
            **{k: v for k, v in told.items() if v},
        }


def led(cause: Finding, effects: Iterable[Finding]) -> list[Finding]:
    """A finding and those that follow from it: it names them under `effects`, and they name it under `cause`."""
    following = list(effects)
    first = replace(cause, effects=tuple(f.id for f in following))
    return [first, *(replace(f, cause=cause.id) for f in following)]


def rounded(value: float | None, places: int = 6) -> float | None:
    """A number as it is written out: to a nanometre, with no negative zero; infinities become None."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), places) + 0.0


def overall(findings: Iterable[Finding]) -> Literal["fits", "fails", "unknown"]:
    """The build's verdict: fails over unknown over fits."""
    verdicts = {f.verdict for f in findings}
    if verdicts & FAILING:
        return "fails"
    return "unknown" if verdicts & UNDECIDED else "fits"


EXIT_STATUS = {"fits": 0, "fails": 1, "unknown": 3}


def report(title: str, findings: Sequence[Finding]) -> dict[str, Any]:
    """The whole answer as JSON values, findings worst first."""
    ordered = sorted(findings, key=lambda f: f.rank)
    counts: dict[str, int] = {}
    for f in ordered:
        counts[f.verdict] = counts.get(f.verdict, 0) + 1
    return {
        "format": FORMAT,
        "build": title,
        "verdict": overall(ordered),
        "counts": counts,
        "findings": [f.to_json() for f in ordered],
    }
