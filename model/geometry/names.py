"""Names in files: safe file names, and one label for each distinct shape of a scene.

Owns turning text from an untrusted build file into file names that stay inside their folder on every system, and the
labels by which the STEP products, the STL files and the bill of materials call the same shape.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from functools import cache

from elbowroom.model.geometry.scene import Solid
from elbowroom.parts.catalogue import sizes
from elbowroom.parts.families import FAMILIES, family_class
from elbowroom.parts.vocabulary.base import Part

# Device names that no file may have on Windows, with or without an ending (Microsoft, "Naming Files, Paths, and
# Namespaces"), mark M.
RESERVED = frozenset(
    {"con", "prn", "aux", "nul", "conin$", "conout$"}
    | {f"{port}{digit}" for port in ("com", "lpt") for digit in "0123456789¹²³"}
)
MAX_NAME_BYTES = 80  # of 255 that common file systems allow: leaves room for an ending, a counter and a temporary mark


def safe_name(text: str, otherwise: str = "part") -> str:
    """`text` as a file name without an ending: letters, digits, `-` and `_`, at most 80 bytes of UTF-8, never empty,
    never a reserved name. Different texts may give the same name: `UniqueNames` keeps them apart.
    """
    plain = unicodedata.normalize("NFKC", text.encode("utf-8", "replace").decode("utf-8"))
    kept = "".join(c if c.isalnum() or c == "_" else "-" for c in plain)
    name = "-".join(word for word in kept.split("-") if word)
    name = name.encode("utf-8")[:MAX_NAME_BYTES].decode("utf-8", "ignore").rstrip("-")
    if not name:
        name = otherwise
    return f"{name}-{otherwise}" if name.casefold() in RESERVED else name


class UniqueNames:
    """Hands out safe names that differ from each other on file systems that ignore case."""

    def __init__(self) -> None:
        self._taken: set[str] = set()

    def take(self, text: str, otherwise: str = "part") -> str:
        """The safe form of `text`, with a counter where an earlier name has it already."""
        base = safe_name(text, otherwise)
        name, count = base, 1
        while _folded(name) in self._taken:
            count += 1
            name = f"{base}-{count}"
        self._taken.add(_folded(name))
        return name


def _folded(name: str) -> str:
    return unicodedata.normalize("NFKC", name.casefold())


POSTURE = frozenset({"angle", "plain", "bored"})  # fields that say how an article stands, not which it is


def catalogue_name(part: Part) -> str | None:
    """The catalogue's name for exactly this part, however it is turned; None where no row is the same article."""
    return _catalogue(part.family).get(article(part)) if part.family in FAMILIES else None


def article(part: Part) -> str:
    """What tells articles apart: the dimensions without those that are how the thing is used."""
    own = sorted((k, v) for k, v in part.dimensions().items() if k not in POSTURE)
    return repr((own, [c.key() for c in part.cuts]) if part.cuts else own)


@cache
def _catalogue(family: str) -> dict[str, str]:
    found: dict[str, str] = {}
    cls = family_class(family)
    needed = {name for name, info in cls.model_fields.items() if info.is_required()}
    for size in sizes(family).values():
        if needed - set(size.fields):
            continue  # a row that draws nothing without the build's own fields, such as the points of a cable
        found.setdefault(article(cls(**size.fields)), size.name)
    return found


def shape_labels(solids: Iterable[Solid]) -> dict[str, str]:
    """A label for each distinct shape, by shape key, in order of first appearance; each is a safe, unique file name.

    It is the catalogue's name where a catalogue row draws the same shape, else the family and the box of the part in mm
    (fan-120x120x25), with a counter where two shapes share it.
    """
    names = UniqueNames()
    labels: dict[str, str] = {}
    for solid in solids:
        if solid.shape.key not in labels:
            part = solid.piece.part
            size = "x".join(f"{round(edge, 1):g}".replace(".", "_") for edge in part.box().size)
            labels[solid.shape.key] = names.take(
                catalogue_name(part) or (part.called and f"{part.family} {part.called}") or f"{part.family}-{size}"
            )
    return labels
