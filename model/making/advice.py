"""Which plastic a part needs, and why: from what it touches in the build.

Owns the reasons. Heat and load come from the mates: a radiator, a fan that sits on one, screws that clamp, and parts
whose weight rests on it. Of a part without a build nothing is known: that is a caution,
and the stronger plastic. The softening temperatures and
their sources are in `rules`.
"""

from __future__ import annotations

from dataclasses import dataclass

from elbowroom.model.build.make_spec import PRINTED, Plastic, PrinterSpec
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.making.rules import AIR_C, ORDER, PLASTICS, RADIATOR_C
from elbowroom.model.making.verdict import Verdict
from elbowroom.parts.fan.fan import Fan
from elbowroom.parts.vocabulary.base import Part


@dataclass(frozen=True, slots=True)
class Need:
    """The plastic a part needs, and the reasons in words. sure: whether it is known what the part touches."""

    plastic: Plastic
    why: tuple[str, ...]
    sure: bool = True


def printed_bodies(part: Part) -> frozenset[str]:
    """The bodies of a part that are printed; all of its solids where none is said to be."""
    real = [b for b in part.bodies() if b.keep_out is None]
    return frozenset(b.name for b in real if b.material == PRINTED) or frozenset(b.name for b in real)


def alone(part: Part) -> Need:
    """The plastic for a part of which no build tells what it touches."""
    return Need(
        "asa",
        (
            f"it is not known what it touches, so the plastic is the one that stands a radiator ({RADIATOR_C:g} °C), "
            f"load and clamping; where it only stands in the air of a case (to {AIR_C:g} °C), PETG does",
        ),
        sure=False,
    )


def clamped(radiator: bool, name: str) -> Need:
    """The plastic for a part that screws will clamp to a piece of the build, a radiator or not."""
    heat = (f"it touches {name}, which gets to {RADIATOR_C:g} °C",) if radiator else ()
    return Need("asa", (*heat, f"screws clamp it to {name}, and a clamped plastic creeps when warm"))


def needed(piece: Piece, layout: Layout) -> Need:
    """The plastic a placed part needs, from its mates."""
    touched = _touched(piece.name, layout)
    why: list[str] = []
    for other in touched:
        if other.part.gets_warm:
            why.append(f"it touches {other.name}, which gets to {RADIATOR_C:g} °C")
        elif isinstance(other.part, Fan):
            on = next((n.name for n in _touched(other.name, layout) if n.part.gets_warm), None)
            if on is not None:
                why.append(f"it touches {other.name}, which sits on {on}: {RADIATOR_C:g} °C and its screws")
    screwed = any(p.holes and p.body in printed_bodies(piece.part) for p in piece.part.patterns())
    if screwed and touched:
        why.append(f"screws clamp it to {_listed([t.name for t in touched])}, and a clamped plastic creeps when warm")
    heavy = [t.name for t in touched if t.part.heavy]
    if heavy:
        why.append(f"it carries or holds {_listed(heavy)}")
    if why:
        return Need("asa", tuple(why))
    return Need("petg", (f"it stands in the air of the case, to {AIR_C:g} °C, and nothing clamps or loads it",))


def _touched(name: str, layout: Layout) -> list[Piece]:
    """The pieces a piece has a mate with, each once, in the layout's order."""
    names = {m.to_piece if m.piece == name else m.piece for m in layout.mates if name in (m.piece, m.to_piece)}
    return [p for p in layout.pieces if p.name in names]


def _listed(names: list[str]) -> str:
    return ", ".join(names[:4]) + (f" and {len(names) - 4} more" if len(names) > 4 else "")


def merged(first: Need, second: Need) -> Need:
    """One need for copies of a part that stand in different places: the hotter one, with the reasons for it."""
    if first.sure != second.sure:
        return first if first.sure else second
    if first.plastic == second.plastic:
        return Need(first.plastic, tuple(dict.fromkeys((*first.why, *second.why))), first.sure)
    return max(first, second, key=lambda n: ORDER.index(n.plastic))


def judged(need: Need, printer: PrinterSpec) -> Verdict:
    """The plastic to print with against the one the part needs."""
    low, high = PLASTICS[need.plastic].softens
    said = f"{need.plastic.upper()} (softens at {low:g}-{high:g} °C): {'; '.join(need.why)}"
    chosen = printer.material
    if not need.sure and chosen in (None, need.plastic):
        return Verdict("material", "caution", said)
    if chosen is None or ORDER.index(chosen) >= ORDER.index(need.plastic):
        better = f"; the printer's {chosen.upper()} stands more" if chosen not in (None, need.plastic) else ""
        return Verdict("material", "pass", said + better)
    soft = PLASTICS[chosen].softens
    warn = (
        f"the printer's {chosen.upper()} softens at {soft[0]:g}-{soft[1]:g} °C ({PLASTICS[chosen].use}); needs {said}"
    )
    return Verdict("material", "caution", warn, soft[0], "degC")
