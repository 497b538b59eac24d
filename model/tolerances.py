"""Every epsilon of the geometry engine, by name, with the reason for its value.

Owns numbers only. Tests and checks quote these names, so that a bound is never written twice. What rounding alone makes
of a number is `parts.vocabulary.tolerances`'. Lengths in millimetres.
"""

from __future__ import annotations

# Drawing and tessellation -------------------------------------------------------------------------------------------

CHORD_MM = 0.05
"""Distance asked for between a curved face and its triangles: a tenth of a general tolerance (ISO 2768-m, 0.1-0.5)."""

ANGLE_RAD = 0.3
"""Angle asked for between neighbouring facets: keeps screws and fittings round, and the arcs under a facet short."""

CHORD_SAFETY = 1.5
"""Factor on a deviation measured at sample points: the kernel exceeded the asked chord up to 1.46 times (measured)."""

FINER = (8.0, 32.0, 128.0)
"""Steps by which the chord is divided where a verdict hangs on it: 6, 1.6, then 0.4 um, below any workshop's reach."""

SHALLOW = 0.4
"""Share of an overlap's depth that may hang on the chords before it is measured on finer meshes:
any depth of which less is sure would be told as much too deep where facets of both bodies add to it."""

SHARPER = FINER[:2]
"""The same where only a gap is to be known better: it is told to 0.01 mm."""

WELD_MM = 1e-6
"""Vertices nearer than this are one: ten times the kernel's own vertex tolerance of 1e-7, far below any real edge."""

# Touch against overlap ----------------------------------------------------------------------------------------------

CONTACT_MM = 1e-6
"""Faces nearer or deeper than this are in contact: poses chained over 1 m round to about 1e-12, cached poses to 1e-9,
and the smallest fault that must be called is 1e-3, so the line stands three decades from both."""

CURVE_FAULT_MM = 1.2e-3
"""Least overlap that is surely called where free-form faces or edges of curved ones meet: the finest meshes' bounds,
0.05 / 128 mm times CHORD_SAFETY for each body. Below it, and only where the exact kernel finds nothing shared either,
they touch. Between planes, cylinders, cones, spheres and tori it is CONTACT_MM, since their reach is known by formula;
where a user's mesh takes part, the grain of its single-precision numbers on top; else the pair is unknown."""

FLOAT32_STEP = 2.0**-23
"""Relative step of the single-precision numbers an STL file holds: what its vertices may be off by."""

EXACT_MM = 1e-5
"""What a distance of the exact kernel may be off by: its confusion tolerance is 1e-7, its extrema stop near 1e-6."""

VOLUME_REL = 1e-6
"""Relative difference at which two volumes of one mesh still agree: sums over some 1e4 triangles round to 1e-12."""

FLAT_ANGLE_RAD = 1e-7
"""Normals nearer than this to opposed belong to facing planes: over a 1 m face it is a tenth of a micron."""

# Poses --------------------------------------------------------------------------------------------------------------

POSE_TURN_DIGITS = 12
"""Decimals kept of a turn in a cached pair: 1e-12 over a 1 m part moves nothing by more than 1e-9."""

POSE_MOVE_DIGITS = 9
"""Decimals of a millimetre kept of a move in a cached pair: a thousandth of CONTACT_MM."""

# Broad phase --------------------------------------------------------------------------------------------------------

HORIZON_MM = 50.0
"""Pieces whose boxes are farther apart are not measured: a hand passes, and no wanted gap of the trade is wider."""

NEAR_MM = 5.0
"""Gaps up to this are worth facing flat faces being looked for, so that flat against flat reads exactly; wider ones are
known to a chord anyway, and no wanted gap of the trade but finger room lies above."""

# Mates --------------------------------------------------------------------------------------------------------------

MATE_ANGLE_DEG = 0.01
"""Faces nearer than this to opposed are parallel: over a 400 mm radiator it lifts one edge by 0.07."""

MATE_PLANE_MM = 0.01
"""Planes nearer than this coincide: no builder sets or measures finer with calipers (0.02)."""

MATE_ORIGIN_MM = 0.05
"""Origins of aligned frames (slot, port) nearer than this coincide: half the finest general tolerance (ISO 2768-f)."""

MATE_PRESS_MM = 1e-3
"""How far the corners of a face may lie from the plane of a mate and count as its area: a thousand times CONTACT_MM, so
that rounding does not matter, and a tenth of MATE_PLANE_MM, so that faces beside the contact do not count."""

MATE_AREA_MM2 = 0.01
"""Areas below this are edges and corners, not faces: a square of 0.1 mm."""

# Depth --------------------------------------------------------------------------------------------------------------

CONVEX_REL = 1e-6
"""A body fills its convex hull to this part: then it counts as convex. Slivers of rounding are that small."""

DIRECTION_STEPS = 1e-6
"""Directions whose components differ by less are one direction when widths are tried."""

MAX_DIRECTIONS = 500
"""Directions tried for a least width; curved overlaps have more, and there the finest steps change it below a chord."""

MAX_CLOSE_PAIRS = 20000
"""Pairs of triangles listed at once to certify a gap; where there are more, the bodies' triangles are parted first."""

MOST_CLOSE_PAIRS = 400_000
"""Pairs of triangles looked at in all to certify one gap, some 4 s of work; beyond it the plain bound stands. Plates
with hundreds of holes that lie flush need none: one plane parts them."""

SOME_CLOSE_PAIRS = 400
"""Pairs of triangles listed where one that faces squarely is enough."""

GRAIN_MM = 0.002
"""Single precision may place a user's points so coarsely: 16 m from their origin; beyond it contact is overlap."""

SQUARE_RAD = 1e-4
"""Angle at which the line of an exact distance still stands square on both faces. Off by it between axes 100 mm apart,
a distance is 5e-7 mm too long; where the kernel's extrema stopped short, it was off by 8e-4 and more (measured)."""


SQUARE_COS = 1 - 1e-9
"""Cosine to the nearest axis of the case from which a leg of a tube counts as along it: 0.003 degrees, a hundredth of
a millimetre over 250; rounding of posed ports is far under it."""


# General tolerances of linear dimensions, ISO 2768-1 class m (V): up to and with so many mm, plus or minus mm.
ISO_2768_M: tuple[tuple[float, float], ...] = (
    (6.0, 0.1), (30.0, 0.2), (120.0, 0.3), (400.0, 0.5), (1000.0, 0.8), (2000.0, 1.2), (4000.0, 2.0),
)  # fmt: skip


def general_tolerance(length: float) -> float:
    """What a dimension without a tolerance of its own may be off by, mm: ISO 2768-1, class m."""
    return next((t for limit, t in ISO_2768_M if abs(length) <= limit), ISO_2768_M[-1][1])
