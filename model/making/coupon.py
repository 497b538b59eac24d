"""The fit coupon that goes with what is made: the hole that matters most, and the height that matters most.

Owns the choice. The hole is the designed diameter that most of the copies' holes have; the height is that of the part
made most often, since a set of risers must come out alike. The coupon itself is a part family like any other.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from pydantic import ValidationError

from elbowroom.model.build.make_spec import PrinterSpec
from elbowroom.model.making import advice
from elbowroom.model.making.orders import Order, ordered
from elbowroom.parts.made.coupon import Coupon
from elbowroom.parts.vocabulary.measure import Mm
from elbowroom.parts.vocabulary.printing import LEAST_PIN

LABEL = "coupon"
STEPS = ((-0.2, 0.4), (-0.1, 0.2), (0.0, 0.1))  # mm, first and last offset of a coupon's holes, the usual ones first; P


def coupon_for(orders: Sequence[Order], printer: PrinterSpec) -> Order | None:
    """The coupon for these parts; None where none has a hole one can try, or one is being made already."""
    if any(isinstance(o.part, Coupon) for o in orders):
        return None
    found: Counter[float] = Counter()
    for order in orders:
        for pattern in order.part.patterns():
            if pattern.body in order.bodies:
                for hole in pattern.holes:
                    found[round(hole.diameter, 3)] += order.count
    for diameter, _ in sorted(found.items(), key=lambda f: (-f[1], f[0])):
        source = next(o for o in orders if diameter in _widths(o))
        high = min(orders, key=lambda o: (-o.count, o.height))
        part = _coupon(diameter, high.height, printer)
        if part is None:
            continue
        own = part.offsets().index(0.0) + 1
        why = (
            f"to try the {diameter:g} mm hole of {source.label} and the {high.height:g} mm height of {high.label}: "
            f"hole {own} from the cut corner is drawn as theirs, each after it {float(part.pace):g} mm wider"
        )
        need = advice.Need(source.need.plastic, (f"a coupon is printed of what it stands for, {source.label}",), True)
        return ordered(LABEL, part, 1, (), need, printer, why)
    return None


def _coupon(hole: float, height: float, printer: PrinterSpec) -> Coupon | None:
    """The coupon with the most holes that fits the bed; None where the hole or the height is none for a coupon."""
    fields = {"hole": Mm(hole), "height": Mm(round(height, 3)), "peg_height": Mm(8 if hole >= LEAST_PIN else 0)}
    for tightest, loosest in STEPS:
        try:
            part = Coupon.model_validate({**fields, "tightest": Mm(tightest), "loosest": Mm(loosest)})
        except ValidationError:
            continue
        x, y, z = part.box().size
        if max(x, y) <= max(printer.bed[:2]) and min(x, y) <= min(printer.bed[:2]) and z <= printer.bed[2]:
            return part
    return None


def _widths(order: Order) -> set[float]:
    return {round(h.diameter, 3) for p in order.part.patterns() if p.body in order.bodies for h in p.holes}
