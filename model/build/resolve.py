"""From the words of a build file to typed parts: catalogue names, overridden fields, and everything wrong with them.

Owns `load`, which turns a document into a `Build`: the structure checked, each entry split into its family, its size,
its placement words and its fields, and every fault reported at once with its line. Where a part stands is not decided
here.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path as FilePath
from types import MappingProxyType
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from elbowroom.model.build.entries import Build, Entry, StackEntries
from elbowroom.model.build.faults import Faults
from elbowroom.model.build.make_spec import MAX_DIFFERENT, MAX_ENTRIES, MakeWords, variants
from elbowroom.model.build.merging import CUSTOM, laid_over, spelled_out
from elbowroom.model.build.points import point_of
from elbowroom.model.build.problems import (
    BuildError,
    InputError,
    Path,
    choices,
    everyday,
    missing_library,
    shown,
)
from elbowroom.model.build.source import Document
from elbowroom.model.build.spec import MAX_COUNT, MAX_PIECES, BuildSpec, Layering, Placement, Stack
from elbowroom.model.build.wording import problems_of
from elbowroom.parts import FAMILIES, family_class
from elbowroom.parts.catalogue import sizes
from elbowroom.parts.vocabulary.base import Box, Mark

KINDS = (".step", ".stp", ".stl")
LONGEST_NAME = 255  # bytes of a file's name on common systems; mark M
MOST_LOOKED_AT = 2000  # files of a folder that are looked at for one like a name that is not there
_M = TypeVar("_M", bound=BaseModel)


def load(document: Document) -> Build:
    """The typed build in a document; raises BuildError with every problem in it."""
    reader = _Loader(document)
    build = reader.build()
    reader.faults.stop()
    assert build is not None, "a build that cannot be read has a fault"
    return build


@dataclass
class _Loader:
    document: Document
    faults: Faults = field(init=False)
    interior: Box | None = None  # of the case, once it is read: distances are measured from it
    tray_back: float | None = None  # y of the tray's far side, likewise

    def __post_init__(self) -> None:
        self.faults = Faults(self.document)

    def build(self) -> Build | None:
        values = self.document.values
        if isinstance(values, dict) and not any(values.get(k) for k in ("case", "stacks", "parts", "make")):
            self.faults.add((), "the build has no parts: nothing under case, stacks, parts or make")
        self._bounded(values)
        spec = self._model(BuildSpec, values, ())
        if spec is None:  # still look inside, so that all problems come out in one run
            self._salvage(values)
            return None
        case = None if spec.case is None else self._case(spec.case)
        stacks = tuple(self._stack(name, stack) for name, stack in spec.stacks.items())
        parts = [self._entry(value, ("parts", name), Placement, name) for name, value in spec.parts.items()]
        return Build(
            self.document,
            spec.title,
            case,
            stacks,
            tuple(p for p in parts if p is not None),
            tuple(spec.mates),
            spec.gaps,
            tuple(spec.loop),
            spec.tube,
            spec.fittings,
            spec.coolant,
            spec.screws,
            spec.templates,
            make=tuple(self._all_made(spec.make)),
            printer=spec.printer,
            cut=tuple(spec.cut),
            air=spec.air,
            building=spec.building,
        )

    def _bounded(self, values: Any) -> None:
        """Stop at more parts than are judged, before any of them is read."""
        parts, stacks = (values.get(k) if isinstance(values, dict) else None for k in ("parts", "stacks"))
        sides = (
            [s.get(side) for s in stacks.values() if isinstance(s, dict) for side in ("layers", "outside")]
            if (isinstance(stacks, dict))
            else []
        )
        count = sum(len(v) for v in (parts, *sides) if isinstance(v, dict | list))
        if count > MAX_PIECES:
            where: Path = ("parts",) if isinstance(parts, dict) and parts else ("stacks",)
            raise BuildError([self.document.problem(where, f"{count} parts; more than {MAX_PIECES} are not judged")])

    def _salvage(self, values: dict[str, Any]) -> None:
        if isinstance(case := values.get("case"), dict):
            self._case(case)
        if isinstance(parts := values.get("parts"), dict):
            for name, value in islice(parts.items(), MAX_PIECES):
                self._entry(value, ("parts", name), Placement, name)
        for i, value in enumerate((makes if isinstance(makes := values.get("make"), list) else [])[:MAX_ENTRIES]):
            self._made(variants(spelled_out(value))[:1], ("make", i))
        if isinstance(stacks := values.get("stacks"), dict):
            for name, value in islice(stacks.items(), MAX_COUNT):
                for side in ("layers", "outside"):
                    layers = value.get(side) if isinstance(value, dict) else None
                    for i, layer in enumerate((layers if isinstance(layers, list) else [])[:MAX_COUNT]):
                        self._entry(layer, ("stacks", name, side, i), Layering, name)

    def _case(self, values: dict[str, Any]) -> Entry | None:
        fields = dict(values)
        size = fields.pop("like", CUSTOM)
        entry = self._part("case", "case", size, ("case", "like"), fields, ("case",), Placement())
        self.interior = None if entry is None else getattr(entry.part, "interior_box", None)
        self.tray_back = None if entry is None else getattr(entry.part, "tray_back", None)
        return entry

    def _stack(self, name: str, spec: Stack) -> StackEntries:
        path: Path = ("stacks", name)

        def entries(side: str, layers: Sequence[Any]) -> tuple[Entry, ...]:
            found = [self._entry(v, (*path, side, i), Layering, f"{name} {i + 1}") for i, v in enumerate(layers)]
            return tuple(e for e in found if e is not None)

        return StackEntries(name, path, spec, entries("layers", spec.layers), entries("outside", spec.outside))

    def _all_made(self, values: Sequence[Any]) -> list[Entry]:
        """The parts that all entries under `make` stand for."""
        spread = [variants(spelled_out(value)) for value in values]
        if (count := sum(map(len, spread))) > MAX_DIFFERENT:
            self.faults.add(("make",), f"stands for {count} parts; at most {MAX_DIFFERENT} are made in one run")
            return []
        return [e for i, entries in enumerate(spread) for e in self._made(entries, ("make", i))]

    def _made(self, values: Sequence[Any], path: Path) -> list[Entry]:
        """The parts one entry under `make` stands for, each to be printed."""
        entries = [self._entry(v, path, MakeWords, f"make {path[-1]}") for v in values]
        found = [e for e in entries if e is not None]
        for entry in found:
            if entry.part.print_pose() is None:
                self.faults.add(path, f"a {entry.part.family} with these fields is not a part one prints")
        return found

    def _entry(self, value: Any, path: Path, words: type[BaseModel], name: str) -> Entry | None:
        """One `{family: size, words and fields}` entry, or a bare size or family name."""
        value = spelled_out(value)
        if isinstance(value, str):
            known = [n for f in FAMILIES for n in sizes(f)]
            nearest = everyday(value, FAMILIES) or choices(value, [*known, *FAMILIES], 0)
            self.faults.add(path, f"no family or catalogue size {shown(value)}{nearest}")
            return None
        if not isinstance(value, dict):
            self.faults.add(path, f"expected a part such as {{fan: fan-120x25}}; found {shown(value)}")
            return None
        families = [k for k in value if k in FAMILIES and k != "case"]
        if len(families) != 1:
            self.faults.add(path, _family_fault(value, families))
            return None
        family = families[0]
        own = {k: v for k, v in value.items() if k in words.model_fields}
        fields = {k: v for k, v in value.items() if k != family and k not in own}
        typed = self._model(words, own, path)
        entry = self._part(name, family, value[family], (*path, family), fields, path, typed, words)
        if entry is None and isinstance(typed, Placement) and typed.at is not None and typed.on is None:
            # It will not come to be placed; what is wrong with its distances is told all the same.
            self.faults.take(self.document.problem((*path, "at", *key), said) for key, said in typed.at.faults())
        return entry

    def _part(
        self,
        name: str,
        family: str,
        size: Any,
        size_path: Path,
        fields: dict[str, Any],
        path: Path,
        words: BaseModel | None,
        words_type: type[BaseModel] | None = None,
    ) -> Entry | None:
        cls = family_class(family)
        known_size, own = True, {(f,) for f in fields}
        base: Mapping[str, Any] = {}
        catalogue: Mapping[str, tuple[str, Mark]] = {}
        if cls.own_place and isinstance(fields.get("points"), list):
            points = []
            for i, value in enumerate(fields["points"]):
                points.append(point_of(value, (*path, "points", i), self.faults, self.interior, self.tray_back))
            if None in points:
                return None
            fields = {**fields, "points": points}
        if cls.path_field is not None:
            file = self._file(size, size_path)
            if file is None:
                return None
            fields = {**fields, cls.path_field: str(file)}
        elif size not in (CUSTOM, None):
            rows = sizes(family)
            if not isinstance(size, str) or size not in rows:
                known = choices(size, [*rows, CUSTOM])
                self.faults.add(size_path, f"no {family} size {shown(size)} in the catalogue{known}")
                size, known_size = None, False
            else:
                base, catalogue = rows[size].fields, rows[size].sources
        fields = {k: self._present(v, base.get(k), (*path, k)) if k in cls.members else v for k, v in fields.items()}
        merged = laid_over(base, fields, cls.members)
        try:
            part = cls.model_validate(merged).adapted(base, fields)
        except ValidationError as e:
            extra = () if words_type is None else tuple(words_type.model_fields)
            found = problems_of(e, self.document, path, merged, cls, extra)
            # Beside a size that is not known, what is missing or does not go together only follows from it.
            self.faults.take(p for p in found if known_size or p.path[len(path) : len(path) + 1] in own)
            return None
        if cls.path_field is not None:
            try:
                part.box()  # the first look at what the file really holds
                part.frames()
            except ValueError as e:
                if told := missing_library(str(e)):
                    raise InputError(told) from e
                self.faults.add(size_path, str(e))
                return None
        if words is None:
            return None
        defaults = {
            f: (str(info.json_schema_extra["source"]), info.json_schema_extra["mark"])
            for f, info in cls.model_fields.items()
            if isinstance(info.json_schema_extra, dict) and "mark" in info.json_schema_extra
        }
        sources: dict[str, Any] = {f: s for f, s in {**defaults, **catalogue}.items() if f not in fields}
        return Entry(name, path, part, words, frozenset(fields), MappingProxyType(sources))

    def _present(self, members: Any, base: Any, path: Path) -> Any:
        """Members by name without those that null leaves out of nothing, which are faults."""
        known = base if isinstance(base, Mapping) else {}
        if not isinstance(members, Mapping):
            return members
        wrong = [n for n, v in members.items() if v is None and n not in known]
        for name in wrong:
            self.faults.add((*path, name), f"nothing of that name to leave out{choices(name, known)}")
        return {n: v for n, v in members.items() if n not in wrong}

    def _file(self, value: Any, path: Path) -> FilePath | None:
        """A file inside the build's own folder; anything else is refused, links out of it included."""
        if not isinstance(value, str) or not value.strip() or "\0" in value or value == CUSTOM:
            self.faults.add(path, f"expected the name of a STEP or STL file beside the build; found {shown(value)}")
            return None
        root = self.document.folder.resolve()
        target = FilePath(os.path.realpath(root / value))
        if not target.is_relative_to(root):
            self.faults.add(path, f"{shown(value)} lies outside the build's folder; put the file beside the build")
            return None
        if not os.path.isfile(target):
            if os.path.isdir(target):
                what = "is a folder"
            elif os.path.exists(target):
                what = "is neither a file nor a folder: a pipe, a socket or a device"
            elif len(os.fsencode(target.name)) > LONGEST_NAME:
                what = f"is longer than a file's name can be: at most {LONGEST_NAME} bytes"
            else:
                what = f"is not in the build's folder{choices(value, _part_files(target.parent))}"
            self.faults.add(path, f"{shown(value)} {what}")
            return None
        return target

    def _model(self, cls: type[_M], values: Any, path: Path) -> _M | None:
        try:
            return cls.model_validate(values)
        except ValidationError as e:
            self.faults.invalid(e, path, values, cls)
            return None


def _part_files(folder: FilePath) -> list[str]:
    """Names of the first STEP and STL files of a folder; none where it cannot be looked into."""
    try:
        with os.scandir(folder) as entries:
            found = [e.name for e in islice(entries, MOST_LOOKED_AT) if e.name.lower().endswith(KINDS) and e.is_file()]
    except OSError:
        return []
    return sorted(found)[:200]


def _family_fault(value: dict[str, Any], families: list[str]) -> str:
    if families:
        return f"names {len(families)} families ({', '.join(families)}); one entry is one part"
    known = [f for f in FAMILIES if f != "case"]
    if words := [k for k in value if everyday(k, known)]:
        return f"no part family {shown(words[0])}{everyday(words[0], known)}; write one as {{family: size}}"
    wrong = next((k for k in value if choices(k, known).startswith("; nearest")), next(iter(value), ""))
    return f"no part family among its keys; write one as {{family: size}}{choices(wrong, known, 30)}"
