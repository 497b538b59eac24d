"""What a STEP file's text says it holds, counted apart from the kernel, to be held against what the kernel read.

Owns the names of the entities that enclose a volume (ISO 10303-42, -43 and the tessellated ones of AP242). The kernel
leaves out, without a word, what it cannot read; a part that is not there is clear of everything.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

STRINGS = re.compile(rb"'[^']*(?:'|\Z)|/\*.*?(?:\*/|\Z)", re.DOTALL)  # strings and comments, closed or not

_SOLIDS = re.compile(rb"=\s*(MANIFOLD_SOLID_BREP|BREP_WITH_VOIDS|FACETED_BREP)\s*\(")
# A complex instance holds its entities side by side: #12=(BREP_WITH_VOIDS(...)MANIFOLD_SOLID_BREP(...)...);
_COMPLEX = re.compile(rb"=\s*\(\s*[^;]*?\b(?:MANIFOLD_SOLID_BREP|FACETED_BREP)\s*\(")
_SHELLS = re.compile(rb"=\s*(?:OPEN_SHELL|CLOSED_SHELL)\s*\(")
_OTHER = re.compile(
    rb"=\s*(CSG_SOLID|EXTRUDED_AREA_SOLID|REVOLVED_AREA_SOLID|SWEPT_DISK_SOLID|SURFACE_CURVE_SWEPT_AREA_SOLID|"
    rb"SOLID_REPLICA|HALF_SPACE_SOLID|BOXED_HALF_SPACE|TRIMMED_VOLUME|BLOCK|SPHERE|TORUS|RIGHT_ANGULAR_WEDGE|"
    rb"RIGHT_CIRCULAR_CONE|RIGHT_CIRCULAR_CYLINDER)\s*\("
)
# Triangles alone, where no exact solid is named beside them (the last value, $).
_TESSELLATED = re.compile(rb"=\s*(TESSELLATED_SOLID|TESSELLATED_SHELL)\s*\([^;]*,\s*\$\s*\)\s*;")


@dataclass(slots=True)
class Census:
    """How many of each there are. `products`, `shells`: distinct ones, each counted once however often it is used."""

    solids: int = 0
    products: int = 0
    shells: int = 0  # those of solids among them
    closed: int = 0  # closed shells that are no solids in the file
    open: int = 0
    faces: int = 0
    curves: int = 0
    other: tuple[str, ...] = ()  # kinds of solids that only some readers know

    def words(self) -> str:
        """What there is, as said to a person: "3 solids, 1 closed shell and 1 open shell"."""
        counted = ((self.solids, "solid"), (self.closed, "closed shell"), (self.open, "open shell"))
        said = [_count(n, what) for n, what in counted if n]
        return " and ".join([", ".join(said[:-1]), said[-1]] if len(said) > 1 else said)

    def unread(self, read: Census) -> str | None:
        """What of this census of the text is missing from what was read; None where nothing is."""
        if self.other:
            kinds = ", ".join(sorted({k.lower().replace("_", " ") for k in self.other}))
            n = len(self.other)
            return f"the file holds {n} bod{'y' if n == 1 else 'ies'} of a kind that is not read ({kinds})"
        solids = self.products - read.products - read.closed - read.open
        if solids > 0:
            return f"the file holds {_count(self.products, 'solid')}; {solids} of them cannot be read"
        if self.shells > read.shells:
            return f"the file holds {_count(self.shells, 'shell')}; {self.shells - read.shells} of them cannot be read"
        return None


def _count(n: int, what: str) -> str:
    return f"{n} {what}" + ("" if n == 1 else "s")


def census(path: str) -> Census:
    """The solids that a file's text names."""
    text = STRINGS.sub(b"", Path(path).read_bytes())
    kinds = [m[1].decode() for pattern in (_OTHER, _TESSELLATED) for m in pattern.finditer(text)]
    solids = len(_SOLIDS.findall(text)) + len(_COMPLEX.findall(text))
    return Census(products=solids, shells=len(_SHELLS.findall(text)), other=tuple(kinds))
