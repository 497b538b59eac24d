"""Compiling the planner's inner loops: where the machine code is kept, and what becomes of a fault there.

Owns the decorator for kernels. Their code is kept in the cache folder, so that only the first run on a machine has to
compile; what cannot be read or written there is compiled anew for the process. Sums keep the order they are written in
(no fast arithmetic), so an answer is the same on every machine. Importing this module loads the compiler: whoever may
not need it imports kernels inside the function that does.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import numba

from elbowroom.model.store import Store

F = TypeVar("F", bound=Callable[..., Any])
FOLDER = "kernels"  # in the cache folder

# Names the sources by path, time and size, and the processor, so that nothing stale is ever run.
numba.config.CACHE_DIR = str(Store.default().folder / FOLDER)


def kernel(signature: str) -> Callable[[F], F]:
    """Compile a function for these types at once, or take its code from the cache folder; the lock is let go in it."""

    def made(f: F) -> F:
        try:
            done: F = numba.njit(signature, cache=True, nogil=True)(f)
        except Exception:  # whatever is wrong with a kept file, the code itself is at hand
            done = numba.njit(signature, nogil=True)(f)
        return done

    return made


def helper(f: F) -> F:
    """A function that kernels call: compiled into them."""
    done: F = numba.njit(nogil=True)(f)
    return done
