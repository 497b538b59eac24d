"""Names of the arrays that geometry is told in.

Owns the element types' names, once for all rooms; what the rows and columns of an array are stands where it is taken or
given.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]  # coordinates, lengths in mm, shares
Vector = Floats  # (3,)
Vertices = Floats  # (n, 3)
Triangles = NDArray[np.int32]  # (m, 3): of each triangle, the places of its corners among the vertices
Ints = NDArray[np.int64]  # counts, and places in other arrays
Index = NDArray[np.intp]  # places as numpy's own searches give them
Mask = NDArray[np.bool_]
