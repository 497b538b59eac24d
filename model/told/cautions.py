"""What can hurt someone, said at the step where it can: cutting and drilling, printing, bending, filling.

Owns the words. Each file that tells a person to do something carries the cautions of that step, and the deference to
those who know better is worded once. Common practice, no source, but for what a standard or a maker must be asked.
"""

from __future__ import annotations

from collections.abc import Iterable
from textwrap import wrap
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from elbowroom.model.told.findings import Finding

DEFER = (
    "Follow local codes; have work reserved for licensed trades done by them. Makers' instructions come before "
    "this file."
)

UNPLUG = (
    "Before any work on the machine: switch off, unplug, wait a minute, touch bare metal of the case. Leave the "
    "power supply closed: mains voltage and charge stay inside."
)

AT_THE_SHEET: tuple[str, ...] = (
    "Drilling and cutting: unplug; nothing wired near the drill or saw; clamp the work, wear eye protection, no gloves "
    "at a drill press, deburr. Never cut tempered glass or a power supply. The templates say the rest.",
)

CUTTING: tuple[str, ...] = (
    "Check the drawing against the part before you cut.",
    "Cut edges, burrs and chips are sharp: wear eye protection, deburr every edge, clamp the work, clear away "
    "every chip. No gloves and nothing loose at a drill press.",
    "Never drill, saw or file near a wired board: chips short-circuit. Take the part out of the machine first. "
    "Never drill a power supply.",
    "Acrylic cracks: drill it slowly, backed and clamped, with a bit for plastic; wear a dust mask, "
    "its dust harms the lungs. Tempered glass cannot be cut or drilled: it bursts.",
    "Laser: know what the sheet is and never cut PVC, it gives off poisonous, corrosive gas. Lid closed, eyes "
    "protected against that laser's light, fumes out of the room, a fire extinguisher at hand: sheet catches fire. "
    "Never leave it unattended.",
)

PRINTING: tuple[str, ...] = (
    "Printed parts creep under a constant load and soften when they get warm. Do not let one alone carry what "
    "is costly or holds coolant; tighten screws in it by hand with a short driver, crosswise, only until snug, "
    "and look at them again after a week of use.",
    "Deburr every edge and hole before a part goes in: strings of plastic come loose and get into fans.",
    "Wear eye protection when you cut, drill or ream; no gloves at a drill press. Never drill or file over a "
    "wired board.",
    "Hot plastic, nozzles, heat-set inserts and soldering irons burn; ASA gives off styrene: print it in a "
    "housing with a way out for the air, and set inserts with a window open.",
    "Acrylic ports crack by force: nothing that is printed may press on one.",
    "Clean prints and acrylic with water and mild soap. Solvents, alcohol too, craze acrylic; where one is "
    "used, keep it from flames and skin, in moving air.",
    "This is arithmetic on shapes, no engineering approval.",
)

HARD_TUBE: tuple[str, ...] = (
    "Hard tube: cut it square, deburr and chamfer both ends inside and out, wipe the chips off; an edge cuts the seal. "
    "Wear eye protection.",
)

BENDING: tuple[str, ...] = (
    "Bending: hot air and the tube burn: heatproof gloves, moving air, a heatproof surface. Let a bend cool before you "
    "let go.",
)

LEAK_TEST: tuple[str, ...] = (
    "Leak test before coolant, everything unpowered: with air from a hand pump with a gauge, never a compressor or "
    "a cartridge, at no more than the lowest pressure that any maker in the loop allows, for as long as the makers "
    "say. Wear eye protection, acrylic can burst; let the air out before you loosen anything.",
    "Then fill, with the pump alone powered, in a way that the power supply's maker allows, everything else unplugged, "
    "and dry paper under every joint for the makers' time. Power the rest only when the paper stays dry.",
)

BLEEDING: tuple[str, ...] = (
    "To move trapped air: close the fill port first; power the pump alone. Two people tilt the case slowly; stop, "
    "switch off, set it upright, open, top up, close, go on. At a drop anywhere: switch off, unplug with dry hands, "
    "set it upright, dry it.",
)

FILLED: tuple[str, ...] = (
    "A filled tower is heavy: drain it or lift with two. Take tempered glass off first and lay it flat on "
    "something soft.",
    "Aluminium and copper in one loop corrode each other: keep to one family of metals (copper, brass and "
    "nickel go together).",
    "Coolant harms children and pets that drink it: keep it locked away, wipe up what is spilt.",
)


def of(findings: Iterable[Finding]) -> list[str]:
    """What findings say to take care of, each once; whatever hurts, those who know better are named at the end."""
    care = dict.fromkeys(c for f in findings for c in f.take_care)
    return [*(c for c in care if c != DEFER), DEFER] if care else []


def listed(cautions: Iterable[str], width: int) -> list[str]:
    """The cautions as a list under a heading, on lines of at most `width` characters."""
    lines = ["Take care"]
    for caution in cautions:
        first, *rest = wrap(caution, width - 2)
        lines += [f"- {first}", *(f"  {more}" for more in rest)]
    return lines
