"""The fit coupon that goes with what is made: the hole that matters most, and the height that matters most.

Owns the choice. The hole is the designed diameter that most of the copies' holes have; the height is that of the part
made most often, since a set of risers must come out alike. The coupon itself is a part family like any other.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from pydantic import ValidationError

from elbowroom.model.make_spec import PrinterSpec
from elbowroom.model.making import advice
from elbowroom.model.making.orders import Order, ordered
from elbowroom.parts.coupon import Coupon
from elbowroom.parts.measure import Mm
from elbowroom.parts.printing import LEAST_PIN

LABEL = "coupon"


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
        fields = {"hole": Mm(diameter), "height": Mm(round(high.height, 3))}
        if diameter < LEAST_PIN:
            fields["peg_height"] = Mm(0)
        try:
            part = Coupon.model_validate(fields)
        except ValidationError:  # a hole too small or too wide for a coupon, or a part too high: the next best
            continue
        own = part.offsets().index(0.0) + 1
        why = (
            f"to try the {diameter:g} mm hole of {source.label} and the {high.height:g} mm height of {high.label}: "
            f"hole {own} from the cut corner is drawn as theirs, each after it {float(part.pace):g} mm wider"
        )
        need = advice.Need(source.need.plastic, (f"a coupon is printed of what it stands for, {source.label}",))
        return ordered(LABEL, part, 1, (), need, printer, why)
    return None


def _widths(order: Order) -> set[float]:
    return {round(h.diameter, 3) for p in order.part.patterns() if p.body in order.bodies for h in p.holes}
