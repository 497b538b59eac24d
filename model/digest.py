"""What answers were made with: one digest over all code, data and libraries, which every kept answer is kept under.

Owns the digest and what goes into it. It is one on purpose: a list of what each answer depends on is wrong as soon as
somebody moves a function, and then an old answer passes for a new one.
"""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Iterable
from functools import cache
from importlib import metadata
from pathlib import Path

# What geometry is worked out with. What only reads words or writes files does not bear on an answer.
LIBRARIES = ("cadquery", "cadquery-ocp", "coal", "manifold3d", "numba", "numpy", "shapely")
KINDS = ("*.py", "*.yaml")


@cache
def version() -> str:
    """The digest of this installation, 32 hexadecimal digits."""
    import elbowroom.model
    import elbowroom.parts

    digest = hashlib.blake2b(digest_size=16)
    for package in (elbowroom.model, elbowroom.parts):
        digest.update(of_files(Path(next(iter(package.__path__)))).encode())
    for name in LIBRARIES:
        with contextlib.suppress(metadata.PackageNotFoundError):
            digest.update(f"{name} {metadata.version(name)}\0".encode())
    return digest.hexdigest()


def files(folder: Path) -> Iterable[Path]:
    """The code and data of a package and of all packages in it, in one order everywhere."""
    return sorted((f for kind in KINDS for f in folder.rglob(kind)), key=lambda f: f.relative_to(folder).parts)


def of_files(folder: Path) -> str:
    """Digest of names and contents of all code and data under a folder."""
    digest = hashlib.blake2b(digest_size=16)
    for file in files(folder):
        data = file.read_bytes()
        digest.update(f"{file.relative_to(folder).as_posix()}\0{len(data)}\0".encode() + data)
    return digest.hexdigest()
