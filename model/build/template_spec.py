"""The words of a build file for its templates: paper, kerf, and which sides are drawn.

Owns their structure. What is drawn where nothing is named belongs to `writers.templates`.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from elbowroom.parts.vocabulary.measure import Mm

MAX_TEMPLATES = 60  # sides drawn for one build


class TemplatesSpec(BaseModel):
    """How templates are written."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    paper: Literal["A4", "Letter"] = Field("A4", description="paper of the PDF's pages")
    kerf: Mm = Field(
        Mm(0), ge=0, le=5,
        description="width a beam or cutter takes: lines in DXF and SVG are moved by half of it, so that parts come "
        "out as drawn; 0: as drawn",
    )  # fmt: skip
    of: list[Annotated[str, Field(max_length=200)]] = Field(
        default_factory=list, max_length=MAX_TEMPLATES,
        description="sides to draw beside those to be cut or drilled: piece, piece.face, case.roof, case.roof inside",
    )  # fmt: skip
