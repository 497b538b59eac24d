"""How each material looks: colour, roughness, metalness and opacity.

Owns one table, used by every writer that colours anything. Values are chosen so that neighbouring materials can be
told apart by lightness as well as by hue; they are looks, not measurements (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import get_args

from elbowroom.parts.vocabulary.base import Material


@dataclass(frozen=True, slots=True)
class Look:
    """colour: sRGB, 0 to 1; roughness and metalness as glTF 2.0 means them; opacity 1 for an opaque material."""

    colour: tuple[float, float, float]
    roughness: float
    metalness: float
    opacity: float = 1.0

    @property
    def linear(self) -> tuple[float, float, float]:
        """The colour in linear light (IEC 61966-2-1), as glTF wants it."""
        r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in self.colour)
        return (r, g, b)


def _look(hex_colour: str, roughness: float, metalness: float, opacity: float = 1.0) -> Look:
    r, g, b = (int(hex_colour[i : i + 2], 16) / 255.0 for i in (0, 2, 4))
    return Look((r, g, b), roughness, metalness, opacity)


LOOKS: MappingProxyType[Material, Look] = MappingProxyType(
    {
        "steel": _look("8d9196", 0.45, 0.9),
        "aluminium": _look("c3c7cb", 0.40, 0.9),
        "copper": _look("b87352", 0.35, 0.95),
        "brass": _look("c2a35a", 0.35, 0.95),
        "nickel": _look("d0cbc0", 0.20, 0.95),
        "acrylic": _look("a9d3e0", 0.08, 0.0, 0.40),
        "glass": _look("b9cfc9", 0.05, 0.0, 0.18),
        "pcb": _look("1f4d3a", 0.70, 0.0),
        "plastic": _look("3a3d42", 0.65, 0.0),
        "rubber": _look("24262a", 0.95, 0.0),
        "fins": _look("6a6f76", 0.60, 0.7),
        "cable": _look("4a4038", 0.85, 0.0),
        "gasket": _look("57504a", 0.95, 0.0),
        "mesh": _look("555b62", 0.70, 0.5, 0.60),
        "printed": _look("8f897d", 0.75, 0.0),
        "air": _look("9fc5e8", 1.0, 0.0, 0.15),
    }
)
KEEP_OUT = _look("8478a0", 1.0, 0.0, 0.22)  # a volume that must stay free, whatever it is a keep-out of

assert set(LOOKS) == set(get_args(Material)), "every material has a look"
