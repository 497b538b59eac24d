"""What rounding may make of a number: the epsilons that parts and the model share.

Owns numbers only, each with its reason. What belongs to the geometry engine is `model.tolerances`', what belongs to one
module alone stands there. Lengths in millimetres, the rest of 1.
"""

from __future__ import annotations

TINY = 1e-300
"""Least divisor: keeps a vector without length from dividing by zero, and changes no other quotient."""

NO_LENGTH = 1e-12
"""A vector, sine or determinant up to this has no direction: a few operations on numbers near 1 round to as much; a
thousandth of ROUNDING."""

ROUNDING = 1e-9
"""What sums and products over a build may be off by: numbers up to 1e3 mm in double precision, chained some thousand
times. Added where a whole number of steps is counted and where a limit itself is allowed."""

ALIKE = 1e-6
"""Numbers nearer than this are one: what people write has fewer digits, and what was drawn and read back, or written to
a file and read, comes back within it (the kernel keeps vertices to 1e-7)."""

PARALLEL_COS = 1 - 1e-6
"""Cosine from which two directions of drawn faces count as parallel: 0.08 degrees, 0.15 mm over 100; what a part has on
purpose is turned by more, and frames that were read and turned come within 1e-9."""
