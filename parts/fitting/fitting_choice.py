"""Which of the catalogue's fittings go on a port, and which hold a tube.

Owns choosing by thread and tube size, on data alone. Leaves whether there is room for them to `elbowroom.model`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from elbowroom.parts.catalogue import sizes
from elbowroom.parts.fitting.fitting import Fitting
from elbowroom.parts.fitting.fitting_kinds import SOFT_KINDS, SWIVELS
from elbowroom.parts.tube.tube_stock import TUBE_KINDS

# Tubes and fittings are sold by nominal diameters; a caliper reading this far off is still the same size: common
# practice, no source (P). The next size is at least 1 mm away.
SAME_SIZE = 0.25


@dataclass(frozen=True, slots=True)
class Choice:
    """A fitting by its catalogue name."""

    name: str
    fitting: Fitting


@cache
def catalogue_fittings() -> tuple[Choice, ...]:
    """Every fitting of the catalogue, in its order."""
    return tuple(Choice(name, Fitting(**row.fields)) for name, row in sizes("fitting").items())


def holds(fitting: Fitting, tube_od: float, tube_id: float, tube_kind: str) -> bool:
    """Whether a fitting is made for a tube of these diameters, mm. A barb goes by the bore alone.

    Raises ValueError for a kind of tube that is not known.
    """
    if tube_kind not in TUBE_KINDS:
        raise ValueError(f"no tube kind '{tube_kind}'; known: {', '.join(TUBE_KINDS)}")
    size = fitting.tube_size()
    if size is None or (fitting.kind in SOFT_KINDS) != (tube_kind == "soft"):
        return False
    od, inner = size
    fits_od = fitting.kind == "barb" or abs(od - tube_od) <= SAME_SIZE
    return fits_od and (inner is None or abs(inner - tube_id) <= SAME_SIZE)


def fittings_for(thread: str, tube_od: float, tube_id: float, tube_kind: str) -> tuple[Choice, ...]:
    """Fittings that go straight on a female port of that thread and hold the tube, lowest first."""
    return _chosen(lambda f: f.accepts(thread) and holds(f, tube_od, tube_id, tube_kind))


def adapters_for(thread: str) -> tuple[Choice, ...]:
    """Rotaries, offsets and extensions that go on a female port of that thread and offer another, lowest first."""
    return _chosen(lambda f: f.accepts(thread) and (f.kind in SWIVELS or f.kind == "extension"))


def plugs_for(thread: str) -> tuple[Choice, ...]:
    """Plugs for a female port of that thread, lowest first."""
    return _chosen(lambda f: f.accepts(thread) and f.kind == "plug")


def _chosen(wanted: Callable[[Fitting], bool]) -> tuple[Choice, ...]:
    return tuple(sorted((c for c in catalogue_fittings() if wanted(c.fitting)), key=lambda c: c.fitting.reach_length))
