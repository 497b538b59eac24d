"""The words of a build file for air: how much heat it is to carry, and how warm it may get.

Owns their structure as a pydantic model. What they come to is `checks.air_amounts`'s.
"""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

from elbowroom.parts.vocabulary.measure import Watt

MOST_HEAT = 10_000  # W: several times what a household circuit gives
USUAL_RISE = 10.0  # K that air leaves warmer than the room; common practice, no source (P)


class AirSpec(BaseModel):
    """The air through the case."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    heat: Watt | None = Field(None, gt=0, le=MOST_HEAT, description="all heat that is given off in the build, W")
    rise: float = Field(USUAL_RISE, ge=1, le=40, description="degrees that air may leave warmer than the room")
