"""What a build is once it is read: entries, stacks of entries, and all that a build file asks for, typed.

Owns the shape of what `resolve.load` gives and everything after it starts from. How text becomes that is `resolve`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from pydantic import BaseModel

from elbowroom.model.build.air_spec import AirSpec
from elbowroom.model.build.building_spec import BuildingSpec
from elbowroom.model.build.cut_spec import CutSpec
from elbowroom.model.build.loop_spec import CoolantSpec, FittingsSpec, RunSpec, TubeSpec
from elbowroom.model.build.make_spec import PrinterSpec
from elbowroom.model.build.problems import (
    Path,
)
from elbowroom.model.build.screw_spec import ScrewsSpec
from elbowroom.model.build.source import Document
from elbowroom.model.build.spec import GapsSpec, Stack
from elbowroom.model.build.template_spec import TemplatesSpec
from elbowroom.parts.vocabulary.base import Mark, Part


@dataclass(frozen=True, slots=True, eq=False)
class Entry:
    """One part as the build states it. `words` are its placement (parts) or how it lies (layers)."""

    name: str
    path: Path
    part: Part
    words: BaseModel
    given: frozenset[str]
    sources: Mapping[str, tuple[str, Mark]]


@dataclass(frozen=True, slots=True, eq=False)
class StackEntries:
    """One stack: its spec and its layers as entries, from the panel inward and outward."""

    name: str
    path: Path
    spec: Stack
    layers: tuple[Entry, ...]
    outside: tuple[Entry, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Build:
    """A build file, typed: every part valid by itself, nothing placed yet."""

    document: Document
    title: str
    case: Entry | None
    stacks: tuple[StackEntries, ...]
    parts: tuple[Entry, ...]
    mates: tuple[tuple[str, str], ...]
    gaps: GapsSpec
    loop: tuple[RunSpec, ...] = ()
    tube: TubeSpec | None = None
    fittings: FittingsSpec = field(default_factory=FittingsSpec)
    coolant: CoolantSpec = field(default_factory=CoolantSpec)
    screws: ScrewsSpec = field(default_factory=ScrewsSpec)
    templates: TemplatesSpec = field(default_factory=TemplatesSpec)
    building: BuildingSpec = field(default_factory=BuildingSpec)
    make: tuple[Entry, ...] = ()
    printer: PrinterSpec = field(default_factory=PrinterSpec)
    cut: tuple[CutSpec, ...] = ()
    air: AirSpec = field(default_factory=AirSpec)

    def with_entries(self, change: Callable[[Entry], Entry | None]) -> Build:
        """The build with what `change` gives for each layer and part in its place; left out where that is None."""

        def now(entries: tuple[Entry, ...]) -> tuple[Entry, ...]:
            return tuple(new for e in entries if (new := change(e)) is not None)

        stacks = tuple(replace(s, layers=now(s.layers), outside=now(s.outside)) for s in self.stacks)
        return replace(self, stacks=stacks, parts=now(self.parts))
