"""The fit coupon: of the hole and the height that matter, on the bed there is, and once."""

from __future__ import annotations

import pytest

from elbowroom.model.build.make_spec import PrinterSpec
from elbowroom.model.making.advice import alone
from elbowroom.model.making.coupon import coupon_for
from elbowroom.model.making.orders import Order, ordered
from elbowroom.parts.made.coupon import Coupon
from elbowroom.parts.made.riser import Riser
from elbowroom.parts.made.spacer import Spacer
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.measure import Mm

# Clearance holes of the medium fit, mm: ISO 273 (trade values section 7, V).
M3, M4 = 3.4, 4.5


def order(part: Part, count: int, printer: PrinterSpec, label: str = "it") -> Order:
    return ordered(label, part, count, (), alone(part), printer)


def riser(height: float, thread: str = "M4") -> Riser:
    return Riser.model_validate({"height": height, "thread": thread, "material": "printed"})


def test_the_hole_most_copies_have_and_the_height_of_the_commonest_part() -> None:
    printer = PrinterSpec()
    found = coupon_for([order(riser(18), 4, printer), order(riser(22, "M3"), 3, printer)], printer)
    assert found is not None
    assert isinstance(found.part, Coupon)
    assert (float(found.part.hole), float(found.part.height)) == (M4, 18.0)
    assert found.count == 1
    many = coupon_for([order(riser(18), 4, printer), order(riser(22, "M3"), 9, printer)], printer)
    assert many is not None
    assert isinstance(many.part, Coupon)
    assert (float(many.part.hole), float(many.part.height)) == (M3, 22.0)


def test_its_holes_are_widened_like_those_of_the_parts() -> None:
    printer = PrinterSpec(hole_allowance=Mm(0.3))
    found = coupon_for([order(riser(18), 4, printer)], printer)
    assert found is not None
    assert isinstance(found.part, Coupon)
    zero = found.part.offsets().index(0.0)
    drawn = found.drawn.patterns()[0].holes[zero].diameter
    assert drawn == pytest.approx(M4 + 0.3)
    assert f"hole {zero + 1} from the cut corner is drawn as theirs" in found.about
    own = order(riser(18), 1, printer).drawn.patterns()[0].holes[0].diameter
    assert drawn == pytest.approx(own)


def test_a_small_bed_gets_a_shorter_coupon_and_a_tiny_one_none() -> None:
    spacer = Spacer.model_validate({"outer": 34, "inner": 30, "height": 10})
    sizes = []
    for edge in (400, 220, 120, 40):
        printer = PrinterSpec(bed=(Mm(edge), Mm(edge), Mm(100)))
        found = coupon_for([order(spacer, 2, printer)], printer)
        sizes.append(None if found is None else len(found.part.patterns()[0].holes))
        if found is not None:
            assert max(found.part.box().size[:2]) <= edge
    assert sizes == [7, 4, None, None]


def test_there_is_none_where_one_is_asked_for_or_there_is_no_hole() -> None:
    printer = PrinterSpec()
    assert coupon_for([order(riser(18), 4, printer), order(Coupon(), 1, printer)], printer) is None
    assert coupon_for([], printer) is None
