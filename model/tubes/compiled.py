"""Compiling the planner's inner loops: where the machine code is kept, and what becomes of a fault there.

Owns the decorator for kernels. Their code is kept in the cache folder, so that only the first run on a machine has to
compile; what cannot be read or written there is compiled anew for the process, and so is everything where somebody else
could have put code there. It is the user's cache whatever cache a caller works with, since the code belongs to the
process. Sums keep the order they are written in
(no fast arithmetic), so an answer is the same on every machine. Importing this module loads the compiler: whoever may
not need it imports kernels inside the function that does.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from stat import S_IWGRP, S_IWOTH
from typing import Any, TypeVar

import numba

from elbowroom.model.store import Store

F = TypeVar("F", bound=Callable[..., Any])
FOLDER = "kernels"  # in the cache folder


def private(folder: Path) -> bool:
    """Whether a folder is there, made if need be, and no other user can put anything in it: what lies in it is run."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        found = folder.stat()
    except OSError:
        return False
    return not hasattr(os, "getuid") or (found.st_uid == os.getuid() and not found.st_mode & (S_IWGRP | S_IWOTH))


_KEPT = Store.default().folder / FOLDER
_KEEPS = private(_KEPT)
# Names the sources by path, time and size, and the processor, so that nothing stale is ever run.
numba.config.CACHE_DIR = str(_KEPT)


def kernel(signature: str) -> Callable[[F], F]:
    """Compile a function for these types at once, or take its code from the cache folder; the lock is let go in it."""

    def made(f: F) -> F:
        try:
            done: F = numba.njit(signature, cache=_KEEPS, nogil=True)(f)
        except Exception:  # whatever is wrong with a kept file, the code itself is at hand
            done = numba.njit(signature, nogil=True)(f)
        return done

    return made


def helper(f: F) -> F:
    """A function that kernels call: compiled into them."""
    done: F = numba.njit(nogil=True)(f)
    return done
