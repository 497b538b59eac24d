"""The words of a build file for putting it together: which sides of the case are open meanwhile.

Owns their structure. What is open where nothing is said, and what follows from it, belongs to `insertion`.
"""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

MAX_OPEN = 20  # bodies of a case; ten times what comes off one


class BuildingSpec(BaseModel):
    """How the build is put together."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    open: list[str] | None = Field(
        None, max_length=MAX_OPEN,
        description="bodies of the case that are off while it is built, e.g. [glass, back-side, roof]; left out: its "
        "side panels",
    )  # fmt: skip
    bending: bool = Field(
        False, description="whether soft tubes and cables bar the way of what goes in; left out: they are led last"
    )
