"""The register of part families: one line a family, loaded when first asked for.

Owns the list of families and nothing else. A new family is one module with its `Part` sub-class, one line here, one
file in `catalogue/` and one test case.
"""

from __future__ import annotations

from functools import cache
from importlib import import_module

from elbowroom.parts.base import Part

FAMILIES: dict[str, str] = {
    "case": "case:Case",
    "motherboard": "motherboard:Motherboard",
    "memory": "memory:Memory",
    "cpu-block": "cpu_block:CpuBlock",
    "psu": "psu:Psu",
    "radiator": "radiator:Radiator",
    "fan": "fan:Fan",
    "plate": "plate:DistributionPlate",
    "riser": "riser:Riser",
    "spacer": "spacer:Spacer",
    "shim": "spacer:Shim",
    "adapter": "adapter:Adapter",
    "plate-bracket": "bracket:PlateBracket",
    "pump-bracket": "pump_bracket:PumpBracket",
    "card-support": "card_support:CardSupport",
    "washer-plate": "washer_plate:WasherPlate",
    "drill-guide": "drill_guide:DrillGuide",
    "coupon": "coupon:Coupon",
    "gpu": "gpu:Gpu",
    "gpu-mount": "gpu_mount:GpuMount",
    "pump": "pump:Pump",
    "dust-filter": "layers:DustFilter",
    "gasket": "layers:Gasket",
    "washer": "layers:Washer",
    "screw": "screw:Screw",
    "nut": "screw:Nut",
    "fitting": "fitting:Fitting",
    "tube": "tube:TubeRun",
    "cable": "cable:CableBundle",
    "box": "primitives:PlainBox",
    "cylinder": "primitives:PlainCylinder",
    "sheet": "sheet:PlainSheet",
    "file": "imported:ImportedPart",
}


@cache
def family_class(name: str) -> type[Part]:
    """The part class of a family; KeyError where there is none of that name."""
    module, cls = FAMILIES[name].split(":")
    found: type[Part] = getattr(import_module(f"elbowroom.parts.{module}"), cls)
    return found
