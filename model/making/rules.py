"""The numbers that printed parts are judged by, each with its source and mark, and every epsilon of the judging.

Owns the rules of printing and the heat that plastics stand. Nothing is computed here.
"""

from __future__ import annotations

from dataclasses import dataclass

from elbowroom.model.build.make_spec import Plastic
from elbowroom.parts.vocabulary.base import Mark

# Rules ----------------------------------------------------------------------------------------------------------------

WALL = 1.2  # mm, least wall; published print design guides, V
LINES = 2  # nozzle widths below which a wall cannot be laid down at all; common practice, no source (P)
SKIN_LAYERS = 3  # layers below which a flat skin is see-through and weak; common practice, no source (P)
OVERHANG_DEG = 45.0  # from the vertical, what needs no support; published print design guides, V
LEAST_HOLE = 2.0  # mm; published print design guides, V
BRIDGE_NOTE, BRIDGE_FAIL = 10.0, 25.0  # mm; sources disagree (5, 25, 60: V), the choice between them is P
LEAST_FOOT = 20.0  # mm2 that hold on the bed; below it a part comes loose, common practice, no source (P)
SLENDER = 6.0  # height over the least width of the foot, above which a part sways as it grows; P

# Heat -----------------------------------------------------------------------------------------------------------------

AIR_C = 60.0  # degC that air inside a case may reach; V/P
RADIATOR_C = 70.0  # degC of what touches a radiator; V/P


@dataclass(frozen=True, slots=True)
class Heat:
    """degC over which a plastic softens (its glass transition in published data sheets), and what it is good for."""

    softens: tuple[float, float]
    use: str
    mark: Mark


PLASTICS: dict[Plastic, Heat] = {
    "pla": Heat((55.0, 60.0), "mock-ups only", "V"),
    "petg": Heat((75.0, 85.0), "parts in the air of the case, not clamped and not loaded", "V"),
    "asa": Heat((95.0, 100.0), "parts that are clamped, loaded or touch a radiator", "V"),
}
ORDER: tuple[Plastic, ...] = ("pla", "petg", "asa")

# Epsilons -------------------------------------------------------------------------------------------------------------

Z_MM = 1e-3
"""Heights nearer than this are one height: a hundredth of the thinnest layer, and above 32-bit rounding of any bed."""

FACET_DEG = 0.5
"""A facet of a 45 degree cone may lean this much more than the cone, by rounding and by how the kernel splits it."""

LAYER_REL = 1e-3
"""Of a layer: heights that differ from a whole number of layers by less are whole."""

OPPOSITE = 0.7071
"""Cosine: two skins whose faces turn from each other by less than 45 degrees are the two sides of a wall; else a ray
runs out through the flank of an edge, and says nothing of a wall's thickness."""

RAY_MM = 1e-6
"""A ray starts on its own triangle, and meets it within rounding."""

PROBES = 2000
"""Points a part's walls are probed at, at most; and with PROBE_PAIRS for meshes of many triangles."""

PROBE_PAIRS = 20_000_000
"""Pairs of ray and triangle computed at most for one part: about half a second."""

PROBE_STEP = 2.0
"""mm between probes on a flat triangle: walls are straight or follow fine facets, so that coarser would do."""

SPAN_POINTS = 300
"""Points at which an overhanging region's spans are taken."""

SPAN_DIRECTIONS = 24
"""Directions tried for a bridge, 7.5 degrees apart: the shortest span is overstated by 0.2 % at most."""
