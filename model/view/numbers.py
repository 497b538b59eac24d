"""The numbers of one piece that can be changed, as the page shows them: where each is written, unit, range, basis.

Owns which they are: the measures of the part, of its place and of how it lies, what numbers stand in its entry beside
them, and the words that are one of a few - a catalogue size, the side a plug is on. Which way a piece goes with one of
them is `ways`' question.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin

import annotated_types
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from elbowroom.model.build.entries import Build, Entry
from elbowroom.model.build.merging import CUSTOM
from elbowroom.model.build.problems import Path
from elbowroom.model.build.source import Document
from elbowroom.model.build.spec import WALLS, At, Layering, Placement
from elbowroom.model.build.writing import MISSING, number, value_at, written
from elbowroom.model.layout.identity import Entered, Screwed
from elbowroom.model.layout.layout import Piece
from elbowroom.model.layout.stacks import layer_names
from elbowroom.parts.case.case_openings import BEHIND
from elbowroom.parts.catalogue import sizes
from elbowroom.parts.vocabulary.base import ASSUMED, SHORT_MARKS
from elbowroom.parts.vocabulary.measure import Measure

LAID = "elbowroom laid it, by the loop of the build, its fittings and its tube"
DEEPEST = 3  # mappings in mappings of a part's fields that are looked into; by choice
_LIES = ("slide", "aside", "lift", "clock")  # words for how a piece lies, beside `at`, `offset` and `turn`
_WORDS = frozenset({*Placement.model_fields, *Layering.model_fields})

Way = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Number:
    """One number. path: where it is written; whole: what is to be written at the path above it, with this number in it,
    where nothing stands there yet. text: as it stands in the file, or would. least, most: what may stand there, and
    least_too, most_too whether that itself may. way: where the piece goes, mm in case coordinates for each mm more;
    None where it does not simply go along. choices: the words that may stand there, where it is no number but one of a
    few; value is None then, and of other words. group: place, size or other.
    """

    path: Path
    label: str
    text: str
    value: float | None
    unit: str
    group: str
    meaning: str = ""
    rests: str = ""
    assumed: bool = False
    least: float | None = None
    most: float | None = None
    least_too: bool = True
    most_too: bool = True
    whole: Any = None
    way: Way | None = None
    choices: tuple[str, ...] = ()

    def json(self) -> dict[str, Any]:
        """As the page reads it; its path and `whole` are what the page sends back."""
        return asdict(self) | {"path": list(self.path)}

    def to(self, value: Any) -> tuple[Path, Any]:
        """The path to write to and what, for this number to become `value`: it alone, or all that stands around it."""
        return (self.path, value) if self.whole is None else around(self.path, self.whole, value)


def around(path: Path, whole: Any, value: Any) -> tuple[Path, Any]:
    """The path above a number, and what is written there for the number to be `value`."""
    step = path[-1]
    if isinstance(whole, dict):
        return path[:-1], {**whole, str(step): value}
    return path[:-1], [value if i == step else v for i, v in enumerate(whole)]


def entry_of(build: Build, piece: Piece) -> Entry | None:
    """The entry of the build file that a piece stands under; None for what elbowroom put in."""
    if build.case is not None and piece.part.encloses:
        return build.case
    who = piece.identity
    if not isinstance(who, Entered):
        return None
    if who.stack is None:
        return next((e for e in build.parts if e.name == who.entry), None)
    stack = next((s for s in build.stacks if s.name == who.stack), None)
    if stack is None:
        return None
    entries = (*stack.layers, *stack.outside)
    return next((e for name, e in zip(layer_names(stack), entries, strict=True) if name == who.entry), None)


def whence(piece: Piece) -> str:
    """What a piece comes from that has no entry of its own, in words; empty where it has one."""
    match piece.identity:
        case Screwed():
            return "elbowroom put it in, by the joints of the build and its screws"
        case Entered():
            return ""
        case _:
            return LAID


def numbers_of(build: Build, document: Document, piece: Piece) -> list[Number]:
    """Every number of a piece that can be changed, its place first. document: the build as its text says it, heights
    left open and all.
    """
    entry = entry_of(build, piece)
    if entry is None:
        return _of_screw(document, piece)
    told = _Told(document, entry, piece)
    sizes = told.sizes(type(entry.part), entry.part, entry.path, "")
    found = [*told.place(), *told.words(), *told.catalogue(), *sizes]
    known = {n.path for n in found}
    return found + [n for n in told.others() if n.path not in known]


@dataclass(frozen=True, slots=True)
class _Told:
    """Tells the numbers of one entry of a document."""

    document: Document
    entry: Entry
    piece: Piece

    def place(self) -> Iterator[Number]:
        words, path = self.entry.words, self.entry.path
        on = isinstance(words, Layering) or (isinstance(words, Placement) and words.on is not None)
        if isinstance(words, Placement) and words.at is not None:
            for key in (k for axis in range(3) for k in words.at.axis(axis)):
                label = (
                    f"from the {'open side' if key == 'open' else key}"
                    if key in WALLS
                    else "behind the tray"
                    if key == BEHIND
                    else key
                )
                yield self._number((*path, "at", key), label, getattr(words.at, key), "place", At.model_fields[key])
        elif isinstance(words, Placement) and on:
            whole = [float(v) for v in words.offset] if self._absent((*path, "offset")) else None
            for i, axis in enumerate("xy"):
                n = self._number((*path, "offset", i), f"offset along {axis}", words.offset[i], "place")
                yield replace(n, whole=whole, meaning=f"slide along the {axis} of the frame it is on")
        for name in _LIES if on else ():
            value = getattr(words, name, None)
            if isinstance(value, Measure):
                yield self._number((*path, name), name, value, "place", type(words).model_fields[name])
        if isinstance(words, Placement):
            several = isinstance(value_at(self.document, (*path, "turn")), list)
            for i, turn in enumerate(words.turn):
                for key in ("x", "y", "z", "by"):
                    value = getattr(turn, key)
                    if value is not None:
                        steps = (i, key) if several else (key,)
                        n = self._number((*path, "turn", *steps), f"turn about {key}", value, "place")
                        yield replace(
                            n, meaning="turned by the right-hand rule", label=n.label.replace("by", "its axis")
                        )

    def sizes(
        self, cls: type[BaseModel], holder: BaseModel, path: Path, within: str, deep: int = 0
    ) -> Iterator[Number]:
        """The measures of a part's fields, and of what they hold."""
        unused = self.entry.part.unused_fields() if deep == 0 else ()
        for name, info in cls.model_fields.items():
            value, key = getattr(holder, name), info.alias or name
            if name in unused:
                continue
            here = (*path, key)
            label = f"{within}{key.replace('_', ' ')}"
            if isinstance(value, Measure):
                yield replace(self._number(here, label, value, "size", info), whole=self._whole(holder, path, deep))
            elif deep == 0 and (few := _few(info.annotation)) and value is not None:
                yield self._word(here, label, value, few, "size", info)
            elif deep < DEEPEST and isinstance(value, BaseModel):
                yield from self.sizes(type(value), value, here, f"{label}, ", deep + 1)
            elif deep < DEEPEST and isinstance(value, dict):
                for inner, held in value.items():
                    if isinstance(held, BaseModel):
                        yield from self.sizes(type(held), held, (*here, inner), f"{inner}, ", deep + 1)

    def words(self) -> Iterator[Number]:
        """What is said of how the piece lies in one word of a few."""
        placement = self.entry.words
        if self.piece.part.encloses or not (isinstance(placement, Layering) or getattr(placement, "on", None)):
            return
        for name, info in type(self.entry.words).model_fields.items():
            value = getattr(self.entry.words, name)
            stated = not self._absent((*self.entry.path, name))
            if (few := _few(info.annotation)) and (stated or value is not None):
                yield self._word((*self.entry.path, name), name.replace("_", " "), value, few, "place", info)

    def catalogue(self) -> Iterator[Number]:
        """The catalogue size that the part starts from."""
        part, path = self.entry.part, self.entry.path
        if part.path_field is not None:
            return
        here = (*path, "like") if part.encloses else (*path, part.family)
        stands = value_at(self.document, here)
        bare = value_at(self.document, path)
        now = stands if isinstance(stands, str) else bare if isinstance(bare, str) else CUSTOM
        rows = sizes(part.family)
        if rows and not (part.encloses and stands is MISSING):
            few = (*rows, CUSTOM)
            yield Number(here, "catalogue size", now, None, "", "size", choices=few, rests="the build file")

    def others(self) -> Iterator[Number]:
        """What numbers stand in the entry beside those of fields: corners of a cable's way, say."""
        path = self.entry.path
        values = value_at(self.document, path)
        for key, value in values.items() if isinstance(values, dict) else ():
            if key not in _WORDS:
                for inner, leaf in _leaves((*path, key), value):
                    label = " ".join(str(s + 1) if isinstance(s, int) else s for s in inner[len(path) :])
                    yield Number(inner, label, number(leaf), float(leaf), "", "other", rests="the build file")

    def _number(self, path: Path, label: str, value: Measure, group: str, info: FieldInfo | None = None) -> Number:
        stands = value_at(self.document, path)
        rests, assumed = self._rests(path, info, stands is not MISSING, group)
        least, most = _bounds(info)
        plain = float(value)
        text = stands if isinstance(stands, str) else number(stands) if isinstance(stands, int | float) else None
        return Number(
            path, label, text or _worded(value), plain, value.UNIT, group,
            meaning=(info.description or "") if info is not None else "", rests=rests, assumed=assumed,
            least=least[0], least_too=least[1], most=most[0], most_too=most[1],
        )  # fmt: skip

    def _word(self, path: Path, label: str, value: Any, few: tuple[str, ...], group: str, info: FieldInfo) -> Number:
        rests, assumed = self._rests(path, info, not self._absent(path), group)
        meaning = info.description or ""
        return Number(path, label, written(value), None, "", group, meaning, rests, assumed, choices=few)

    def _rests(self, path: Path, info: FieldInfo | None, stands: bool, group: str) -> tuple[str, bool]:
        """What a number rests on, in words, and whether that is assumed."""
        if stands:
            return "the build file", False
        if group == "place":
            return "nothing: it is not in the file", False
        source, mark = self.piece.sources.get(str(path[len(self.entry.path)]), ("", ""))
        own = info.json_schema_extra if info is not None else None
        if not source and isinstance(own, dict):
            source, mark = str(own.get("source", "")), str(own.get("mark", ""))
        return (f"{source} ({SHORT_MARKS[mark]})" if mark in SHORT_MARKS else source), mark in ASSUMED

    def _whole(self, holder: BaseModel, path: Path, deep: int) -> dict[str, Any] | None:
        """What is stated around a number that the file does not: distances from walls are replaced together."""
        if deep == 0 or not self._absent(path):
            return None
        told = {i.alias or n: getattr(holder, n) for n, i in type(holder).model_fields.items()}
        told = {k: v for k, v in told.items() if isinstance(v, int | float) and not isinstance(v, bool)}
        return {k: float(v) for k, v in told.items()} if told and set(told) <= {*WALLS, BEHIND} else None

    def _absent(self, path: Path) -> bool:
        return value_at(self.document, path) is MISSING


def _of_screw(document: Document, piece: Piece) -> list[Number]:
    """What is said of the screws of a joint, of one of them."""
    who = piece.identity
    if not isinstance(who, Screwed):
        return []
    path: Path = ("screws", "use", who.joint)
    stands = value_at(document, path)
    if stands is not MISSING and not isinstance(stands, str):
        return []
    text, rests = ("", "nothing: elbowroom chose it") if stands is MISSING else (str(stands), "the build file")
    said = "the screw to use, such as M3x30"
    return [Number(path, f"screws into {who.joint}", text, None, "", "size", said, rests)]


def _few(annotation: Any) -> tuple[str, ...]:
    """The words of which one may stand at a place; none where it is something else."""
    if get_origin(annotation) in (Union, UnionType):
        kinds = [a for a in get_args(annotation) if a is not type(None)]
        return _few(kinds[0]) if len(kinds) == 1 else ()
    if annotation is bool:
        return ("true", "false")
    found = get_args(annotation) if get_origin(annotation) is Literal else ()
    return found if all(isinstance(f, str) for f in found) else ()


def _worded(value: Measure) -> str:
    spread = "" if value.plus_minus is None else f" ± {number(value.plus_minus)}"
    return f"{number(round(float(value), 6))}{spread}"


def _bounds(info: FieldInfo | None) -> tuple[tuple[float | None, bool], tuple[float | None, bool]]:
    """The least and the most that a field takes, each with whether that itself may stand there."""
    least: tuple[float | None, bool] = (None, True)
    most: tuple[float | None, bool] = (None, True)
    for m in info.metadata if info is not None else ():
        if isinstance(m, annotated_types.Ge):
            least = (float(m.ge), True)  # type: ignore[arg-type]
        elif isinstance(m, annotated_types.Gt):
            least = (float(m.gt), False)  # type: ignore[arg-type]
        elif isinstance(m, annotated_types.Le):
            most = (float(m.le), True)  # type: ignore[arg-type]
        elif isinstance(m, annotated_types.Lt):
            most = (float(m.lt), False)  # type: ignore[arg-type]
    return least, most


def _leaves(path: Path, value: Any) -> Iterator[tuple[Path, float]]:
    if isinstance(value, dict | list):
        for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
            yield from _leaves((*path, key), inner)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield path, value
