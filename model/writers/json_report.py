"""JSON: the whole answer for another program, with where every piece stands and what its sizes rest on.

Owns the file's form (sorted keys, UTF-8, a finding or a piece a line) and the `pieces` beside the report's own keys.
What a finding says is `findings`' work.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from pydantic import BaseModel

from elbowroom.model.geometry.scene import Scene
from elbowroom.model.layout.layout import Piece
from elbowroom.model.told.findings import Finding, report, rounded
from elbowroom.model.writers.job import Files, Job
from elbowroom.parts.vocabulary.measure import Measure

FILE = "report.json"
PLACES = 9  # decimals of a pose or a field: a turn so rounded moves nothing within a metre by a nanometre


def write(job: Job) -> Files:
    """`report.json`, as `render` gives it."""
    yield FILE, render(job.scene, job.findings)


def render(scene: Scene, findings: Sequence[Finding]) -> bytes:
    """Format, build, verdict, counts, findings (worst first), and pieces in the order of the layout."""
    layout = scene.layout
    whole = report(layout.title, findings) | {"pieces": [piece_json(p) for p in layout.pieces]}
    lines = [f"{_text(key)}: {_listed(whole[key])}" for key in sorted(whole)]
    return ("{\n" + ",\n".join(lines) + "\n}\n").encode("utf-8", "replace")


def _listed(value: Any) -> str:
    """JSON text; a list with each item on a line of its own, so that two reports can be compared by line."""
    if not isinstance(value, list) or not value:
        return _text(value)
    return "[\n" + ",\n".join(_text(v) for v in value) + "\n]"


def _text(value: Any) -> str:
    return json.dumps(plain(value), sort_keys=True, ensure_ascii=False, allow_nan=False)


def piece_json(piece: Piece) -> dict[str, Any]:
    """One piece: name, family, assembly, `pose` (rows of the 4x4 matrix from part to case coordinates, mm), and each
    field with its value, unit, ± and what it rests on ("build", or an evidence mark with its source).
    """
    return {
        "name": piece.name,
        "family": piece.part.family,
        "assembly": piece.assembly,
        "outside": piece.outside,
        "pose": [[rounded(float(c), PLACES) for c in row] for row in piece.pose],
        "fields": {name: _field(piece, name) for name in type(piece.part).model_fields},
    }


def _field(piece: Piece, name: str) -> dict[str, Any]:
    value = getattr(piece.part, name)
    found: dict[str, Any] = {"value": plain(value)}
    if isinstance(value, Measure):
        found["unit"] = value.UNIT
        if value.plus_minus is not None:
            found["plus_minus"] = rounded(value.plus_minus)
    if name in piece.given:
        found["basis"] = "build"
    elif name in piece.sources:
        found["source"], found["basis"] = piece.sources[name]
    return found


def plain(value: Any) -> Any:
    """The value as JSON can hold it: measures as numbers, models as objects, what is not a finite number as null."""
    if isinstance(value, bool) or value is None or isinstance(value, (str, int)):
        return value
    if isinstance(value, float):
        return rounded(value, PLACES)
    if isinstance(value, BaseModel):
        return {name: plain(getattr(value, name)) for name in type(value).model_fields}
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    if isinstance(value, (set, frozenset)):
        return sorted((plain(v) for v in value), key=str)
    return str(value)
