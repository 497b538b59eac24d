"""The vocabulary every part family is written in: the nouns of `nouns`, and the `Part` contract.

Owns what a part *is*: a frozen, fully typed declaration whose size, frames, ports and holes are arithmetic on its
fields, and whose one geometric act is `solids()`. Leaves where a part stands to `elbowroom.model`, and how solids are
drawn to `vocabulary.draw`.
"""

from __future__ import annotations

import hashlib
import json
from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping, Sequence
from functools import wraps
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, ClassVar, Self

from pydantic import BaseModel, ConfigDict, PrivateAttr

from elbowroom.parts.vocabulary.flat_cut import FlatCut, cut
from elbowroom.parts.vocabulary.measure import Measure
from elbowroom.parts.vocabulary.nouns import (
    ASSUMED,
    MARKS,
    NAME_PATTERN,
    SHORT_MARKS,
    Body,
    Box,
    Fault,
    Frame,
    FrameKind,
    Hole,
    HolePattern,
    Mark,
    Material,
    SetIn,
    Stud,
    WallWindow,
    dim,
)
from elbowroom.parts.vocabulary.pose import Pose

if TYPE_CHECKING:
    from cadquery import Shape

# One place to import from for whoever writes a family.
__all__ = [
    "ASSUMED",
    "Body",
    "Box",
    "Fault",
    "Frame",
    "FrameKind",
    "Hole",
    "HolePattern",
    "MARKS",
    "Mark",
    "Material",
    "NAME_PATTERN",
    "Part",
    "SHORT_MARKS",
    "SetIn",
    "Stud",
    "WallWindow",
    "dim",
]


class Part(BaseModel, ABC):
    """A part: frozen fields, and everything else as arithmetic on them.

    Sub-classes set `family` and give `box`, `bodies`, `frames` and `solids`. Coordinates are the part's own, mm.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True, allow_inf_nan=False)

    _cuts: tuple[FlatCut, ...] = PrivateAttr(())

    family: ClassVar[str] = ""
    seat: ClassVar[str | None] = None  # the frame a part is placed by when the build names none
    own_place: ClassVar[bool] = False  # its points are case coordinates, so that it needs no placement
    path_field: ClassVar[str | None] = None  # the field that holds the path of a user's file
    picture: ClassVar[str | None] = None  # its fields in a drawing of letters, for the catalogue
    # Fields that hold members by name, and which of a member's own fields makes one that states it stand by itself; one
    # without it changes what it states of the catalogue's member of that name.
    members: ClassVar[Mapping[str, str]] = MappingProxyType({})
    small: ClassVar[bool] = False  # stands in dozens (screws): of what is clear of it only the nearest is told
    encloses: ClassVar[bool] = False  # all else stands in it, and it goes nowhere itself: a case
    comes_off: ClassVar[frozenset[str]] = frozenset()  # its bodies that are taken off to work behind them
    least_web: ClassVar[float] = 0.0  # mm: holes with less between them are cut as one
    goes_into_ports: ClassVar[bool] = False  # it is screwed into a port, and may touch what lies flush around that
    led: ClassVar[bool] = False  # it is led from one place to another through what room there is: a tube, a cable
    loose_layer: ClassVar[bool] = False  # screws pass it to what lies behind: it holds nothing
    filters_dust: ClassVar[bool] = False  # air through it leaves its dust there
    gets_warm: ClassVar[bool] = False  # what touches it must bear the coolant's heat
    heavy: ClassVar[bool] = (
        False  # its weight or pull rests on what holds it, unlike a fan's or a cable's; practice (P)
    )
    needs_coolant: ClassVar[bool] = False  # with ports, it gets hot where no coolant passes
    shorted_by_metal: ClassVar[bool] = False  # a standoff without a hole over it stands against its tracks
    holes_as_meant: ClassVar[bool] = False  # made for the screws it has holes for, and no others
    states_channels: ClassVar[bool] = False  # how its ports are joined inside can be said by its fields

    @classmethod
    def __pydantic_init_subclass__(cls, **words: Any) -> None:
        """Frames and patterns are asked for over and over by all that stands beside a part."""
        super().__pydantic_init_subclass__(**words)
        for name in ("frames", "patterns"):
            if name in cls.__dict__:
                setattr(cls, name, _once(cls.__dict__[name]))

    @abstractmethod
    def box(self) -> Box:
        """Declared extents of the part's real solids; a contract test holds it against the drawn ones."""

    @abstractmethod
    def bodies(self) -> tuple[Body, ...]:
        """The part's solids and keep-outs, by name, each one closed volume."""

    def frames(self) -> tuple[Frame, ...]:
        """Everything of the part that can meet something."""
        return ()

    def patterns(self) -> tuple[HolePattern, ...]:
        """The part's hole patterns."""
        return ()

    def studs(self) -> tuple[Stud, ...]:
        """The part's threaded studs: what holds it where others have a hole for a screw."""
        return ()

    def set_in(self) -> tuple[SetIn, ...]:
        """What is bought and set into the part, one by one."""
        return ()

    def faults(self) -> tuple[Fault, ...]:
        """What is wrong with the part by itself: cuts that meet, screws without sheet. Such a part is drawn all the
        same, as far as it can be."""
        return ()

    def adapted(self, base: Mapping[str, Any], given: Mapping[str, Any]) -> Self:
        """The part, made from a catalogue row's fields `base` and what a build gives beside them, as far as the row's
        own fields still go with the build's; where they cannot be told apart, as it is."""
        return self

    def wall_windows(self) -> dict[str, WallWindow]:
        """By frame, the window a wall needs that the part is put on by it."""
        return {}

    def air_flow(self) -> tuple[float, float, float] | None:
        """Unit vector the part drives air along, in part coordinates; None for a part that moves no air."""
        return None

    def coolant_ml(self) -> float | None:
        """Coolant the part holds, ml; None for a part that holds none."""
        return None

    @property
    def moves_air(self) -> bool:
        return self.air_flow() is not None

    @property
    def holds_coolant(self) -> bool:
        """Whether it says how much coolant it holds."""
        return self.coolant_ml() is not None

    @property
    def wet(self) -> bool:
        """Whether coolant gets into it: it holds some, or has a port."""
        return self.holds_coolant or any(f.kind == "port" for f in self.frames())

    def waterways(self) -> tuple[tuple[str, ...], ...]:
        """Names of ports that are joined inside the part, group by group; a port joined to no other is a group alone.

        Here: all of its ports in one group. Whether that is known, or only taken so, says `waterways_known`.
        """
        ports = tuple(f.name for f in self.frames() if f.kind == "port")
        return (ports,) if ports else ()

    def waterways_known(self) -> bool:
        """Whether the part's fields say how its ports are joined; a part that states no coolant leaves it open."""
        return self.holds_coolant

    def pumped_ports(self) -> tuple[str, ...]:
        """Ports of the waterway that a pump of the part's own drives; none for a part without a pump."""
        return ()

    def unused_fields(self) -> frozenset[str]:
        """Fields that mean nothing to the variant these fields choose: whatever they hold, the part is the same."""
        return frozenset()

    @property
    def called(self) -> str | None:
        """What one asks for when buying it ("M3 x 30 pan head"); None: by its size alone."""
        return None

    def print_pose(self) -> Pose | None:
        """How the part lies to be printed: from part to bed coordinates, resting on z = 0; None: not printed."""
        return None

    def compensated(self, wider: float) -> Self:
        """The part with its holes `wider` mm wider, for a printer that prints them narrow by as much."""
        return self

    @abstractmethod
    def solids(self) -> dict[str, Shape]:
        """Draw every body named by `bodies()` as one valid B-rep solid. The only call that needs the kernel."""

    @property
    def cuts(self) -> tuple[FlatCut, ...]:
        """What a build has cut from the part's flat sheets."""
        return self._cuts

    def with_cuts(self, more: Sequence[FlatCut]) -> Self:
        """The part with more cut from its flat sheets."""
        made = self.model_copy()
        made._cuts = (*self._cuts, *more)
        return made

    def drawn(self) -> dict[str, Shape]:
        """The bodies as `solids` draws them, with the cuts taken out; raises DrawError where one falls apart."""
        return cut(self.solids(), self._cuts) if self._cuts else self.solids()

    def frame(self, name: str) -> Frame:
        """The frame of that name; KeyError where the part has none."""
        for f in self.frames():
            if f.name == name:
                return f
        raise KeyError(name)

    def dimensions(self) -> dict[str, Any]:
        """The fields as plain JSON values without their ±: what the drawn shape depends on."""
        return {name: _plain(getattr(self, name)) for name in type(self).model_fields}

    def shape_key(self) -> str:
        """Content address of the drawn shape: family, dimensions and cuts (hex, 32 characters)."""
        return str(_known(self, "shape_key", Part._shape_key))

    def _shape_key(self) -> str:
        own = [self.family, self.dimensions(), *(c.key() for c in self._cuts)]
        text = json.dumps(own, sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()[:32]


_KNOWN: dict[tuple[int, str], tuple[Part, Any]] = {}
_MOST_KNOWN = 2000  # answers remembered, some 20 kB each


def _once(method: Callable[[Any], Any]) -> Callable[[Any], Any]:
    """A method of a part worked out once for each part: a part is frozen, and so is what its arithmetic gives."""
    name = f"{method.__module__}.{method.__qualname__}"

    @wraps(method)
    def known(self: Part) -> Any:
        return _known(self, name, method)

    return known


def _known(part: Part, name: str, method: Callable[[Any], Any]) -> Any:
    found = _KNOWN.get((id(part), name))
    if found is None or found[0] is not part:  # the part is kept with it: its id cannot pass to another
        if len(_KNOWN) >= _MOST_KNOWN:
            _KNOWN.clear()
        found = _KNOWN[id(part), name] = (part, method(part))
    return found[1]


def stated(value: Any) -> Any:
    """A field as plain JSON values, its ± included: all that arithmetic on it can depend on."""
    if isinstance(value, Measure):
        return [float(value), value.plus_minus]
    if isinstance(value, BaseModel):
        return {k: stated(getattr(value, k)) for k in type(value).model_fields}
    if isinstance(value, Mapping):
        return {str(k): stated(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [stated(v) for v in value]
    return value


def _plain(value: Any) -> Any:
    if isinstance(value, Measure):
        return float(value)
    if isinstance(value, BaseModel):
        return {k: _plain(getattr(value, k)) for k in type(value).model_fields}
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    return value
