"""What is to be made: each distinct part once, with its count, its name in files and the plastic it needs.

Owns gathering it from the layout (printed pieces) and from the build's `make` entries. Drawing and judging come after.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from pydantic import ValidationError

from elbowroom.model.build.entries import Entry
from elbowroom.model.build.make_spec import PRINTED, MakeWords, PrinterSpec
from elbowroom.model.build.problems import InputError
from elbowroom.model.geometry.names import UniqueNames, catalogue_name
from elbowroom.model.layout.layout import Layout
from elbowroom.model.making import advice
from elbowroom.parts import FAMILIES, family_class
from elbowroom.parts.catalogue import sizes
from elbowroom.parts.made.adapter import Adapter
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.pose import Pose, apply

Key = tuple[str, ...]  # what tells orders apart: family and shape, and the name where equal parts have several


@dataclass(frozen=True, slots=True, eq=False)
class Order:
    """One part to make `count` times. part: as designed. drawn: with its holes as the printer needs them. pose: the
    drawn part to the bed. label: its name in files. wanted: the pieces of the build it is for, none for one asked for
    by itself. bodies: those that are printed. about: what it is for, where that needs saying. entry: how a build file
    has it as a layer, for a part the build does not have yet. stands: how it stands in its build, a line each.
    """

    label: str
    part: Part
    drawn: Part
    pose: Pose
    count: int
    wanted: tuple[str, ...]
    need: advice.Need
    bodies: frozenset[str]
    about: str = ""
    entry: str = ""
    stands: tuple[str, ...] = ()

    @property
    def height(self) -> float:
        """How high it is as it lies on the bed, by its declared box, mm."""
        z = apply(self.pose, self.part.box().corners())[:, 2]
        return float(z.max() - z.min())


def gathered(layout: Layout, entries: Sequence[Entry], printer: PrinterSpec) -> list[Order]:
    """Every part to make, those of the build first; raises InputError where a part's holes cannot be made wider."""
    parts: dict[Key, Part] = {}
    counts: Counter[Key] = Counter()
    wanted: dict[Key, list[str]] = {}
    needs: dict[Key, advice.Need] = {}
    names: dict[Key, str] = {}

    def add(part: Part, count: int, need: advice.Need, name: str | None, piece: str | None) -> None:
        key: Key = (part.family, part.shape_key())
        if name is not None and names.get(key, name) != name:
            key = (*key, name)  # equal parts under names of their own: each name has its file
        parts.setdefault(key, part)
        counts[key] += count
        wanted.setdefault(key, []).extend([] if piece is None else [piece])
        needs[key] = advice.merged(needs[key], need) if key in needs else need
        if name is not None:
            names.setdefault(key, name)

    for piece in layout.pieces:
        if is_printed(piece.part):
            # A plate is made for one joint: it keeps the name it was offered under, and has in the build.
            name = piece.name if isinstance(piece.part, Adapter) else None
            add(piece.part, 1, advice.needed(piece, layout), name, piece.name)
    for entry in entries:
        words = entry.words
        assert isinstance(words, MakeWords)
        key: Key = (entry.part.family, entry.part.shape_key())
        need = needs.get(key) or advice.alone(entry.part)  # what the build knows of the same part holds for its spares
        add(entry.part, words.count, need, words.name, None)
    labels = _labels(parts, names)
    return [
        ordered(labels[key], part, counts[key], tuple(wanted[key]), needs[key], printer) for key, part in parts.items()
    ]


def is_printed(part: Part) -> bool:
    """Whether a part of a build is one to print: it can be laid on a bed, and a body of it is of printed material."""
    return any(b.material == PRINTED and b.keep_out is None for b in part.bodies()) and part.print_pose() is not None


def ordered(
    label: str,
    part: Part,
    count: int,
    wanted: tuple[str, ...],
    need: advice.Need,
    printer: PrinterSpec,
    about: str = "",
    entry: str = "",
) -> Order:
    """An order for a part, its holes widened for the printer; raises InputError where that cannot be."""
    offset = float(printer.hole_allowance)
    try:
        drawn = part.compensated(offset) if offset else part
        pose = drawn.print_pose()
    except (ValidationError, ValueError) as e:
        why = e.errors()[0]["msg"] if isinstance(e, ValidationError) else str(e)
        raise InputError(f"{label}: its holes cannot be made {offset:g} mm wider for the printer: {why}") from None
    if pose is None:
        raise InputError(f"{label}: a {part.family} with these fields is not one to print")
    return Order(label, part, drawn, pose, count, wanted, need, advice.printed_bodies(drawn), about, entry)


def _labels(parts: dict[Key, Part], names: dict[Key, str]) -> dict[Key, str]:
    """A file name for each part: the one it was given, with its size where several have it; else family and size."""
    unique, used = UniqueNames(), Counter(names.values())
    unique.take("coupon")  # the fit coupon's own name
    out = {}
    for key, part in parts.items():
        size = "x".join(f"{round(edge, 1):g}".replace(".", "_") for edge in part.box().size)
        name = names.get(key)
        if name is not None:
            out[key] = unique.take(f"{name}-{size}" if used[name] > 1 else name)
        else:
            out[key] = unique.take(catalogue_name(part) or _printed_size(part) or f"{part.family}-{size}")
    return out


def _printed_size(part: Part) -> str | None:
    """The catalogue size this part is, but for being printed; None where there is none."""
    cls = family_class(part.family) if part.family in FAMILIES else None
    if cls is None or "material" not in cls.model_fields:
        return None
    for size in sizes(part.family).values():
        try:
            row = cls.model_validate({**size.fields, "material": PRINTED})
        except ValidationError:  # a size that cannot be printed, or needs fields of the build's own
            continue
        if row.dimensions() == part.dimensions():
            return size.name
    return None
