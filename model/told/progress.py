"""Who is told how far long work has come, and what is found before the rest of it.

Owns the shapes of both, which every long question takes and the command line draws.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from elbowroom.model.told.findings import Finding

Progress = Callable[[int, int, str], None]  # done, total, what
Early = Callable[[Sequence["Finding"]], None]  # what fails of the parts, their holes and screws; tubes are to come
