"""The shipped demo builds: invented machines, each as first planned and as mended, and the starter of `elbowroom
new`.

Owns where those files are. They are ordinary build files; nothing treats them specially.
"""

from __future__ import annotations

from pathlib import Path

_FOLDER = Path(__file__).parent


def pairs() -> list[tuple[Path, Path]]:
    """Each demo's two files, as planned and as mended, in alphabetical order of their names."""
    return [(_FOLDER / f"{name}-planned.yaml", _FOLDER / f"{name}-mended.yaml") for name in names()]


def names() -> list[str]:
    return sorted(p.name.removesuffix("-mended.yaml") for p in _FOLDER.glob("*-mended.yaml"))


def slug(file: Path) -> str:
    """The folder name a demo is exported under."""
    return file.name.removesuffix(".yaml")


def starter() -> bytes:
    """The commented starter build."""
    return (_FOLDER / "starter.yaml").read_bytes()
