"""What a finding is about, as data: for those who go on from a finding to another question.

Owns one type for each kind of thing that findings are asked about again - a port, two ports, a joint, a card in its
slot - and its form as JSON values. What is only told, and read by no code, stays in a finding's `extra`.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

COVERED = ("covered", "taken")  # states of what lies around a port in which nothing can be screwed into it


@dataclass(frozen=True, slots=True)
class Fingers:
    """The collar of one fitting of a chain: spans of degrees from which fingers get at it, and whether a hand does."""

    link: int
    sides: tuple[tuple[int, int], ...]
    hand: bool

    def json(self) -> dict[str, Any]:
        return {"link": self.link, "sides": [list(s) for s in self.sides], "hand": self.hand}


@dataclass(frozen=True, slots=True)
class AtPort:
    """A port. state: of what lies around it, "" where that was not asked. fittings: those of the catalogue that can be
    screwed in, None where the build chose some. posture, fingers: of the chosen ones, degrees by place in the chain.
    """

    port: str
    state: str = ""
    fittings: tuple[str, ...] | None = None
    posture: tuple[tuple[int, int], ...] | None = None
    fingers: tuple[Fingers, ...] | None = None

    @property
    def ports(self) -> tuple[str, ...]:
        return (self.port,)

    @property
    def covered(self) -> bool:
        return self.state in COVERED

    @property
    def takes_none(self) -> bool:
        """Whether nothing is chosen for it and no fitting of the catalogue goes on."""
        return self.fittings == ()

    @property
    def in_reach(self) -> bool:
        """Whether a hand gets to every collar of what is screwed into it."""
        return all(f.hand for f in self.fingers or ())

    def json(self) -> dict[str, Any]:
        out: dict[str, Any] = {"port": self.port}
        if self.state:
            out["state"] = self.state
        if self.fittings is not None:
            out["fittings"] = list(self.fittings)
        if self.posture is not None:
            out["posture"] = {str(i): d for i, d in self.posture}
        if self.fingers is not None:
            out["fingers"] = [f.json() for f in self.fingers]
        return out


@dataclass(frozen=True, slots=True)
class BetweenPorts:
    """Two ports whose fittings stand too near to each other."""

    ports: tuple[str, str]
    fittings: tuple[str, str]

    def json(self) -> dict[str, Any]:
        return {"ports": list(self.ports), "fittings": list(self.fittings)}


@dataclass(frozen=True, slots=True)
class AtJoint:
    """The screws into one pattern of a piece. count: how many of them are meant, None where all are."""

    piece: str
    pattern: str
    count: int | None = None

    @property
    def joint(self) -> str:
        return f"{self.piece}.{self.pattern}"

    def json(self) -> dict[str, Any]:
        return {"joint": self.joint} if self.count is None else {"joint": self.joint, "count": self.count}


@dataclass(frozen=True, slots=True)
class InSlot:
    """A card on a slot that is none for it. own_bodies: those of the card that run into what is there."""

    own_bodies: tuple[str, ...]

    def json(self) -> dict[str, Any]:
        return {"own_bodies": list(self.own_bodies)}


About = AtPort | BetweenPorts | AtJoint | InSlot
_KINDS: dict[str, type[About]] = {"port": AtPort, "ports": BetweenPorts, "joint": AtJoint, "slot": InSlot}


def packed(about: About | None) -> list[Any] | None:
    """As plain values, to be kept."""
    if about is None:
        return None
    return [next(k for k, kind in _KINDS.items() if kind is type(about)), asdict(about)]


def unpacked(values: Any) -> About | None:
    """Raises ValueError, TypeError or KeyError where the values are not those of `packed`."""
    if values is None:
        return None
    kind, fields = values
    fields = {name: _frozen(value) for name, value in dict(fields).items()}
    if fields.get("fingers") is not None:
        fields["fingers"] = tuple(Fingers(**{k: _frozen(v) for k, v in f.items()}) for f in fields["fingers"])
    return _KINDS[kind](**fields)


def _frozen(value: Any) -> Any:
    return tuple(map(_frozen, value)) if isinstance(value, (list, tuple)) else value
