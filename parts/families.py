"""The register of part families: one line a family, loaded when first asked for; and a builder's words for them.

Owns those two lists and nothing else. A new family is one module with its `Part` sub-class, one line here, one
file in `catalogue/` and one test case.
"""

from __future__ import annotations

from functools import cache
from importlib import import_module

from elbowroom.parts.vocabulary.base import Part

FAMILIES: dict[str, str] = {
    "case": "case.case:Case",
    "motherboard": "board.motherboard:Motherboard",
    "memory": "board.memory:Memory",
    "cpu-block": "board.cpu_block:CpuBlock",
    "psu": "board.psu:Psu",
    "radiator": "water.radiator:Radiator",
    "fan": "fan.fan:Fan",
    "plate": "water.plate:DistributionPlate",
    "riser": "made.riser:Riser",
    "spacer": "made.spacer:Spacer",
    "shim": "made.spacer:Shim",
    "adapter": "made.adapter:Adapter",
    "plate-bracket": "made.bracket:PlateBracket",
    "pump-bracket": "water.pump_bracket:PumpBracket",
    "card-support": "card.card_support:CardSupport",
    "washer-plate": "screw.washer_plate:WasherPlate",
    "drill-guide": "made.drill_guide:DrillGuide",
    "coupon": "made.coupon:Coupon",
    "gpu": "card.gpu:Gpu",
    "gpu-mount": "card.gpu_mount:GpuMount",
    "pump": "water.pump:Pump",
    "dust-filter": "fan.layers:DustFilter",
    "gasket": "fan.layers:Gasket",
    "washer": "fan.layers:Washer",
    "screw": "screw.screw:Screw",
    "nut": "screw.screw:Nut",
    "fitting": "fitting.fitting:Fitting",
    "tube": "tube.tube:TubeRun",
    "cable": "tube.cable:CableBundle",
    "box": "made.primitives:PlainBox",
    "cylinder": "made.primitives:PlainCylinder",
    "sheet": "made.sheet:PlainSheet",
    "file": "imported.imported:ImportedPart",
}

# Which families a builder means by an everyday word of the trade, the likeliest first: common practice, no source (P).
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


@cache
def family_class(name: str) -> type[Part]:
    """The part class of a family; KeyError where there is none of that name."""
    module, cls = FAMILIES[name].split(":")
    found: type[Part] = getattr(import_module(f"elbowroom.parts.{module}"), cls)
    return found


def families_of(word: str) -> tuple[str, ...]:
    """The families an everyday word means, the likeliest first; none for a word that is not one."""
    plain = " ".join(word.lower().replace("-", " ").replace("_", " ").split())
    return WORDS.get(plain) or WORDS.get(plain.removesuffix("s"), ())
