"""Which families a builder means by an everyday word of the trade.

Owns that list alone. Common practice, no source (P).
"""

from __future__ import annotations

WORDS: dict[str, tuple[str, ...]] = {
    "card": ("gpu", "gpu-mount", "card-support"),
    "graphics card": ("gpu",),
    "vga": ("gpu",),
    "reservoir": ("pump", "plate"),
    "res": ("pump", "plate"),
    "block": ("cpu-block", "gpu"),
    "water block": ("cpu-block", "gpu"),
    "rad": ("radiator",),
    "power supply": ("psu",),
    "mobo": ("motherboard",),
    "board": ("motherboard",),
    "ram": ("memory",),
    "distro": ("plate",),
    "standoff": ("riser", "spacer"),
    "chassis": ("case",),
    "hose": ("tube",),
}


def families_of(word: str) -> tuple[str, ...]:
    """The families an everyday word means, the likeliest first; none for a word that is not one."""
    plain = " ".join(word.lower().replace("-", " ").replace("_", " ").split())
    return WORDS.get(plain) or WORDS.get(plain.removesuffix("s"), ())
