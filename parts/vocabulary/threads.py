"""Screw and pipe threads by designation: the diameters that holes, ports and screws are drawn and judged with.

Owns the thread data with its sources and marks, the lookup by name, and the field type for a thread's name. Lengths in
millimetres. Leaves heads, engagement and stock lengths to whatever judges screws, and ports to `vocabulary.ports`.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from types import MappingProxyType
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from elbowroom.parts.vocabulary.base import Mark

Fit = Literal["fine", "medium", "coarse"]


@dataclass(frozen=True, slots=True)
class Thread:
    """One thread. `major`, `pitch` and the basic internal `minor` diameter; `drill` is what the hole is drilled to.

    clearance: hole diameter by fit for a screw that passes through; empty for pipe threads, which are never passed
    through. sources: (source, mark) of each of these fields.
    """

    name: str
    major: float
    pitch: float
    minor: float
    drill: float
    clearance: MappingProxyType[str, float]
    sources: MappingProxyType[str, tuple[str, Mark]]

    @property
    def bore(self) -> float:
        """Diameter a threaded hole is drawn at: the basic minor diameter, so that what is drawn solid is solid."""
        return self.minor


# Height lost from major to basic minor diameter, in pitches: 2 x 5/8 of the 60 degree triangle, ISO 68-1 (V).
_MINOR_60 = 1.0825317547305483
Cited = tuple[str, Mark]
_ISO_228: Cited = ("ISO 228-1 (transcribed by public code)", "C")
_ISO_261: Cited = ("ISO 261 and ISO 262, coarse series", "V")
_ISO_724: Cited = ("ISO 724: major - 1.0825 pitch", "V")
_ISO_273: Cited = ("ISO 273 (transcribed by public code)", "C")
_DRILLS: Cited = ("tap drill table, transcribed by public code", "C")
_UNC: Cited = ("ASME B1.1, number 6 coarse: 0.138 in, 32 threads an inch", "V")
_B18_2_8: Cited = ("ASME B18.2.8 drills #23, #18, #13 (transcribed by public code)", "C")
_PRACTICE: Cited = ("common practice, no source", "P")


def _pipe(name: str, major: float, minor: float, tpi: int, drill: float) -> Thread:
    sources = {"major": _ISO_228, "pitch": _ISO_228, "minor": _ISO_228, "drill": _PRACTICE}
    return Thread(name, major, 25.4 / tpi, minor, drill, MappingProxyType({}), MappingProxyType(sources))


def _screw(
    name: str,
    major: float,
    pitch: float,
    drill: float,
    clearance: tuple[float, float, float],
    *,
    size: Cited = _ISO_261,
    minor: Cited = _ISO_724,
    holes: Cited = _ISO_273,
) -> Thread:
    fits = dict(zip(("fine", "medium", "coarse"), clearance, strict=True))
    sources = {"major": size, "pitch": size, "minor": minor, "drill": _DRILLS, "clearance": holes}
    minor_diameter = major - _MINOR_60 * pitch
    return Thread(name, major, pitch, minor_diameter, drill, MappingProxyType(fits), MappingProxyType(sources))


THREADS: MappingProxyType[str, Thread] = MappingProxyType(
    {
        t.name: t
        for t in (
            _pipe("G1/4", 13.157, 11.445, 19, 11.8),
            _pipe("G3/8", 16.662, 14.950, 19, 15.25),
            _screw("M2.5", 2.5, 0.45, 2.05, (2.7, 2.9, 3.1)),
            _screw("M3", 3.0, 0.5, 2.5, (3.2, 3.4, 3.6)),
            _screw("M4", 4.0, 0.7, 3.3, (4.3, 4.5, 4.8)),
            _screw("M5", 5.0, 0.8, 4.2, (5.3, 5.5, 5.8)),
            # Inches times 25.4: major 0.138, pitch 1/32, tap drill #36 (0.1065), clearance drills 0.154, 0.170, 0.185.
            _screw("6-32", 3.5052, 0.79375, 2.7051, (3.9116, 4.318, 4.699), size=_UNC, minor=_UNC, holes=_B18_2_8),
        )
    }
)


def thread(name: str) -> Thread:
    """The thread of that designation; KeyError whose message names the nearest and all known ones."""
    try:
        return THREADS[name]
    except KeyError:
        raise KeyError(_unknown(name)) from None


def _unknown(name: str) -> str:
    folded = {k.casefold(): k for k in THREADS}
    near = difflib.get_close_matches(name.casefold().replace(" ", ""), folded, n=1, cutoff=0.4)
    hint = f"did you mean {folded[near[0]]}? " if near else ""
    return f"no thread '{name}'; {hint}known: {', '.join(THREADS)}"


def _known(name: str) -> str:
    if name not in THREADS:
        raise ValueError(_unknown(name))
    return name


ThreadName = Annotated[str, AfterValidator(_known), Field(json_schema_extra={"enum": list(THREADS)})]
"""A field that holds the designation of a known thread."""
