"""The words of a build file for coolant: runs, the tube they are made of, and what is screwed into the ports.

Owns their structure as pydantic models. Which fittings and tubes there are belongs to the catalogue; what the words
come to in a placed build belongs to `plumbing`.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from elbowroom.parts.vocabulary.measure import Deg, Mm

MAX_RUNS = 60  # runs in one loop
MAX_CHAIN = 6  # fittings one on another at one port
MAX_CORNERS = 20  # corners in a run drawn by hand

MAX_STRAIGHT = 3000  # mm before one bend of a run drawn by hand: more than any tube that is sold is long
RETURN = 179  # deg: a single bend cannot turn further

Style = Literal["shortest", "square"]
Straight = Annotated[Mm, Field(ge=0, le=MAX_STRAIGHT)]
Turn = Annotated[Deg, Field(ge=-360, le=360)]
Angle = Annotated[Deg, Field(gt=0, le=RETURN)]
Arrow = Annotated[str, Field(pattern=r"^.+\S\s*->\s*\S.+$", max_length=200)]


class _Spec(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


def _stock(value: Any) -> Any:
    """A tube given by its stock's name alone."""
    return {"stock": value} if isinstance(value, str) else value


class TubeSpec(_Spec):
    """The tube: a stock of the catalogue, or a kind with both diameters; and how it is bent."""

    stock: str | None = Field(None, description="tube stock of the catalogue")
    kind: Literal["soft", "petg", "acrylic", "copper"] | None = Field(None, description="kind of a tube of one's own")
    od: Mm | None = Field(None, ge=3, le=40, description="outer diameter of a tube of one's own")
    id: Mm | None = Field(None, ge=1, le=38, description="inner diameter of a tube of one's own")
    bend: Mm | None = Field(None, gt=1, le=500, description="centre-line radius it is bent to")
    clearance: Mm = Field(Mm(2), ge=0, le=50, description="gap wanted from the tube to everything")
    springback: Deg = Field(
        Deg(0), ge=0, le=45, description="degrees a bend of 90 springs back; bend that much further"
    )
    style: Style | None = Field(
        None, description="shortest, or square: legs along the case's axes, as builders bend them"
    )


Tube = Annotated[TubeSpec, BeforeValidator(_stock, json_schema_input_type=str | TubeSpec)]


class RunSpec(_Spec):
    """One run from port to port, with what differs from the loop's usual. `from -> to` alone is a run, too."""

    run: Arrow = Field(description="from -> to, each piece.port, in the coolant's direction")
    start: Any = Field(None, description="fittings at its start, from the port outward")
    end: Any = Field(None, description="fittings at its end, from the port outward")
    tube: Tube | None = Field(None, description="a tube other than the loop's")
    style: Style | None = Field(None, description="how this run is led, where not as the tube says")
    through: list[Any] | None = Field(
        None, min_length=1, max_length=MAX_CORNERS, description="a run drawn by hand: corners where its legs would meet"
    )
    bends: list[tuple[Straight, Turn, Angle]] | None = Field(
        None, max_length=MAX_CORNERS, description="a run drawn by hand: straight before each bend mm, rotation, angle"
    )


def _run(value: Any) -> Any:
    """A run given by its arrow alone."""
    return {"run": value} if isinstance(value, str) else value


class FittingsSpec(_Spec):
    """What is screwed into the ports; a chain is one fitting or several, from the port outward."""

    usual: Any = Field(None, description="at both ends of every run; left out: the lowest that holds the tube")
    at: dict[str, Any] = Field(default_factory=dict, description="at one port, piece.port")
    unused: Any = Field(None, description="in every port that nothing uses, such as plug")


class CoolantSpec(_Spec):
    """How the loop is filled and drained."""

    fill: str | None = Field(None, description="the port it is filled by, piece.port")
    drain: str | None = Field(None, description="the port it is drained by, piece.port")
    stands_on: Literal["floor", "rear", "front", "tray", "open", "roof"] = Field(
        "floor", description="the side the case stands on while it is drained"
    )


LoopRun = Annotated[RunSpec, BeforeValidator(_run, json_schema_input_type=Arrow | RunSpec)]
