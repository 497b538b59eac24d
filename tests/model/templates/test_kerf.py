"""Kerf against the trade's own example and against shapely's offsets; outlines against closed formulas."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from elbowroom.model.templates.drawing import Circle, Datum, Drawing, Line, Outline, TemplateError
from elbowroom.model.templates.kerf import as_cut, compensated, offset
from elbowroom.parts.vocabulary import contour

EXACT = 1e-9  # mm: rounding of a few additions


def drawing(*entities):
    return Drawing("d", "d", "outside", entities, Datum(0, 0, "a corner"))


def size(outline):
    x0, y0, x1, y1 = outline.box
    return (x1 - x0, y1 - y0)


def test_the_trades_own_example_is_exact():
    """2.0 x 4.0 drawn, cut with a kerf of 0.2: the opening becomes 2.2 x 4.2, the part 1.8 x 3.8.

    Source: published guidance of a laser-cutting service on half the kerf each side (V).
    """
    drawn = contour.rectangle(0, 0, 2.0, 4.0)
    opening, part = as_cut(drawing(Outline("cut", drawn, True), Outline("cut", _moved(drawn, 9), False)), 0.2).entities
    assert size(opening) == pytest.approx((2.2, 4.2), abs=EXACT)
    assert size(part) == pytest.approx((1.8, 3.8), abs=EXACT)


def _moved(outline, x):
    return tuple((a + x, b, c) for a, b, c in outline)


def test_compensation_is_what_cutting_undoes():
    made = drawing(
        Outline("cut", contour.rectangle(0, 0, 60, 40), False),
        Outline("cut", contour.slot(20, 20, 5, 12, 25), True),
        Circle("drill", 40, 20, 4.5),
        Line("fold", (30, 0), (30, 40)),
    )
    lines = compensated(made, 0.3)
    edge, slot, hole, fold = lines.entities
    assert size(edge) == pytest.approx((60.3, 40.3), abs=EXACT)
    assert slot.key == Outline("cut", contour.slot(20, 20, 4.7, 12, 25)).key
    assert hole.diameter == pytest.approx(4.2, abs=EXACT)
    assert fold is made.entities[3]
    assert "Kerf 0.3 mm" in lines.notes[-1]
    for before, after in zip(made.entities, as_cut(lines, 0.3).entities, strict=True):
        assert after.key == before.key
    assert compensated(made, 0.0) is made


@settings(max_examples=60, deadline=None)
@given(st.floats(1, 30), st.floats(0, 30), st.floats(-90, 90), st.floats(-0.45, 0.45))
def test_slots_and_circles_stay_what_they_are(width, length, angle, grow):
    moved = offset(contour.slot(3, -4, width, length + 1, angle), grow)
    assert contour.key(moved) == pytest.approx(
        np.array(contour.key(contour.slot(3, -4, width + 2 * grow, length + 1, angle))), abs=2e-6
    )


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(8, 20), st.floats(-0.5, 0.5)), min_size=4, max_size=9), st.floats(-0.4, 0.4))
def test_any_outline_moves_as_shapely_moves_its_chords(corners, grow):
    """Offset side by side against GEOS' buffer of the outline flattened to 1 um, by the area between them."""
    n = len(corners)
    shape = tuple(
        (r * math.cos(2 * math.pi * k / n), r * math.sin(2 * math.pi * k / n), b) for k, (r, b) in enumerate(corners)
    )
    polygon = shapely.Polygon(contour.flattened(shape, 1e-3))
    if not polygon.is_valid:
        return
    try:
        moved = offset(shape, grow)
    except TemplateError:
        assert polygon.buffer(grow, join_style="mitre").geom_type != "Polygon"
        return
    expected = polygon.buffer(grow, join_style="mitre", mitre_limit=4.0)
    between = shapely.Polygon(contour.flattened(moved, 1e-3)).symmetric_difference(expected).area
    assert between <= 0.02 * contour.length(shape)  # mm2: a strip of 20 um, three times the chord of the free offset


def test_an_opening_narrower_than_the_kerf_is_refused():
    with pytest.raises(TemplateError, match=r"circle of 0\.3 mm is narrower than the kerf of 0\.4"):
        compensated(drawing(Circle("drill", 0, 0, 0.3)), 0.4)
    with pytest.raises(TemplateError, match=r"outline of 0\.3 x 9 mm closes"):
        compensated(drawing(Outline("cut", contour.rectangle(0, 0, 0.3, 9))), 0.4)
    for bad in (-0.1, 5.1, math.nan):
        with pytest.raises(TemplateError, match="expected a width from 0 to 5 mm"):
            compensated(drawing(Circle("drill", 0, 0, 3)), bad)


def test_area_length_and_bounds_of_a_slot_are_the_textbooks():
    s = contour.slot(0, 0, 6, 10, 90)
    assert contour.area(s) == pytest.approx(60 + 9 * math.pi, abs=EXACT)
    assert contour.length(s) == pytest.approx(20 + 6 * math.pi, abs=EXACT)
    assert contour.bounds(s) == pytest.approx((-3, -8, 3, 8), abs=EXACT)
    assert contour.area(contour.turned_round(s)) == pytest.approx(-(60 + 9 * math.pi), abs=EXACT)
    assert contour.key(contour.turned_round(s)) == contour.key(s)


def test_a_drawing_holds_nothing_twice_however_it_is_written_down():
    one = contour.rectangle(0, 0, 5, 6)
    for again in (one[2:] + one[:2], contour.turned_round(one)):
        with pytest.raises(TemplateError, match="holds a shape twice"):
            drawing(Outline("cut", one), Outline("mark", again))
    with pytest.raises(TemplateError, match="empty"):
        drawing()
