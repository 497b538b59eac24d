"""Who is told how far long work has come.

Owns the one shape of it, which every long question takes and the command line draws.
"""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[int, int, str], None]  # done, total, what
