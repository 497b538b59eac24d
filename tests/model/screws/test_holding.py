"""What remains of a pattern, against shapely's hulls; bearing of heads, against quadrature and shapely's discs."""

from __future__ import annotations

import math
import random
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad
from shapely import LineString, MultiPoint, Point
from shapely.geometry.polygon import orient

from elbowroom.model.screws.bearing import Bearing, bearing, washer_for
from elbowroom.model.screws.holding import holding
from elbowroom.model.screws.slots import Slot
from elbowroom.parts.fan.fan_field import FanField
from elbowroom.parts.fan.layers import ISO_7089
from elbowroom.parts.screw.screw_tables import head

FAN = [(-52.5, -52.5), (-52.5, 52.5), (52.5, -52.5), (52.5, 52.5)]
TRIPLE = list(FanField.of(3, 120, None, 15).points)


@pytest.mark.parametrize(
    ("points", "used", "verdict", "reason"),
    [
        (TRIPLE, range(12), "holds", "all screws pass"),
        (TRIPLE, [0, 1, 10, 11], "holds", "4 of 12 screws pass, all round its middle"),
        (TRIPLE, range(1, 12), "holds", "11 of 12"),
        # Two fans of three: the hull ends half a fan before the far end, the centre is well inside, 2/3 is spanned.
        (TRIPLE, range(8), "holds", "8 of 12"),
        (TRIPLE, range(4), "does not hold", "4 of 12 screws pass, all to one side, its middle 67.5 mm outside of them"),
        (
            TRIPLE,
            [4, 5, 6, 7],
            "holds poorly",
            "4 of 12 screws pass, close together, in 105 mm of the 345 mm that all would take up",
        ),
        (TRIPLE, [0, 2, 4, 6, 8, 10], "does not hold", "6 of 12 screws pass, all in one line"),
        (TRIPLE, [0, 11], "does not hold", "2 of 12"),
        (TRIPLE, [], "does not hold", "no screw passes"),
        (FAN, [0, 1, 2], "holds poorly", "to one side, its middle just at their edge"),
        (FAN, [0, 3], "does not hold", "2 of 4 screws pass, all in one line"),
        ([(0, 0)], [0], "holds", "its screw passes"),
        ([(0, 0), (30, 0)], [0, 1], "holds", "all screws pass"),  # held at two points by design
        ([(0, 0), (30, 0)], [1], "does not hold", "1 of 2"),
        ([(0, 0), (30, 0.2), (60, 0)], [0, 2], "holds", "2 of 3 screws pass, on both sides"),
        ([(0, 0), (30, 0), (60, 0)], [0, 1], "holds poorly", "just at their edge"),
        (
            [(0, 0), (30, 0), (60, 0), (90, 0)],
            [0, 1],
            "does not hold",
            "all to one side, its middle 15.0 mm outside of them",
        ),
    ],
)
def test_verdicts_by_the_rule(points, used, verdict, reason):
    """Common practice, no source."""
    found = holding(points, list(used))
    assert found.verdict == verdict
    assert reason in found.reason


def test_screws_close_together_are_told_by_the_length_they_take_up():
    """In a line: four holes 40 apart, the middle two 40 of 120 mm. In a square: a thin band along its diagonal."""
    line = holding([(40.0 * k, 0.0) for k in range(4)], [1, 2])
    assert (line.verdict, line.why) == ("holds poorly", "close together, in 40 mm of the 120 mm that all would take up")
    band = [(0, 10), (10, 0), (90, 100), (100, 90)]
    square = [(0, 0), (100, 0), (0, 100), (100, 100), *band]
    found = holding(square, [4, 5, 6, 7])  # 14.1 wide across the diagonal, where the square is 141.4
    assert (found.verdict, found.why) == (
        "holds poorly",
        "close together, in 14 mm of the 141 mm that all would take up",
    )


@pytest.mark.parametrize(
    ("points", "used", "said"),
    [
        (TRIPLE, [0, 1, 10, 11], "the other 4 hold it: all round its middle"),
        (TRIPLE, [0, 2, 4, 6, 8, 10], "the other 6 do not hold it: all in one line"),
        (FAN, [0], "the other one does not hold it"),
        (FAN, [], "no other is left"),
    ],
)
def test_what_is_left_is_told_without_counting_again(points, used, said):
    assert holding(points, used).rest == said


@pytest.mark.parametrize(("used", "verdict"), [([0, 3], "holds"), ([0, 1], "does not hold"), ([0, 1, 3], "holds"),
                                               ([2], "does not hold")])  # fmt: skip
def test_a_single_fan_is_held_by_a_diagonal(used, verdict):
    """Common practice, no source: two screws on a diagonal hold a fan, two on one side do not."""
    assert holding(FAN, used, diagonal=True).verdict == verdict


def test_the_rule_by_another_librarys_hulls():
    rng = random.Random(7)
    seen = set()
    for _ in range(400):
        points = [(rng.uniform(-100, 100), rng.uniform(-50, 50)) for _ in range(rng.randint(4, 12))]
        used = sorted(rng.sample(range(len(points)), rng.randint(3, len(points) - 1)))
        whole, hull = MultiPoint(points).convex_hull, MultiPoint([points[i] for i in used]).convex_hull
        middle = Point(np.mean(points, axis=0))
        share, ratios = hull.area / whole.area, []
        corners = np.array(orient(hull).exterior.coords)
        for p, q in pairwise(corners):  # square to each edge of the hull, out of it
            out = np.array([q[1] - p[1], p[0] - q[0]]) / np.linalg.norm(q - p)
            own, farthest = ((np.asarray(c) - np.array(middle.coords[0])) @ out for c in (p, points))
            ratios.append(own / farthest.max())
        found = holding(points, used)
        assert found.share == pytest.approx(share)
        if min(ratios) < -0.1:
            assert found.verdict == "does not hold"
        elif min(ratios) < 0.1 or share < 0.5:
            assert found.verdict == "holds poorly"
        else:
            assert found.verdict == "holds"
        seen.add(found.verdict)
    assert len(seen) == 3


def test_a_long_part_held_at_one_end_and_just_past_its_middle_is_held_poorly():
    """The fans of a radiator for two stand 105 apart in holes, 15 between: rows 112.5 and 7.5 from the middle."""
    points = [(x, y) for x in (-112.5, -7.5, 7.5, 112.5) for y in (-52.5, 52.5)]
    assert holding(points, [0, 1, 4, 5]).verdict == "holds poorly"  # 7.5 is under a tenth of 112.5
    assert holding(points, [0, 1, 6, 7]).verdict == "holds"


def test_more_screws_never_hold_worse():
    rng = random.Random(11)
    rank = ("does not hold", "holds poorly", "holds")
    for _ in range(300):
        used = rng.sample(range(12), rng.randint(1, 11))
        more = next(i for i in range(12) if i not in used)
        assert rank.index(holding(TRIPLE, used).verdict) <= rank.index(holding(TRIPLE, [*used, more]).verdict)


def test_an_index_that_is_no_point_is_refused():
    with pytest.raises(ValueError, match=r"screws \[0, 4\] are not all of a pattern of 4"):
        holding(FAN, [4, 0])


def metal(diameter: float, shank: float, slot: Slot, at: tuple[float, float]) -> float:
    """Share of a head's ring outside a slot, by quadrature over chords square to the closed form's."""
    a = math.radians(slot.angle)
    dx, dy = at[0] - slot.x, at[1] - slot.y
    u, v = dx * math.cos(a) + dy * math.sin(a), -dx * math.sin(a) + dy * math.cos(a)
    half, r = slot.length / 2, slot.width / 2

    def shared(big: float) -> float:
        def chord(x: float) -> float:
            own = r * r - max(0.0, abs(x) - half) ** 2
            disc = big * big - (x - u) ** 2
            if own <= 0 or disc <= 0:
                return 0.0
            return max(0.0, min(math.sqrt(own), v + math.sqrt(disc)) - max(-math.sqrt(own), v - math.sqrt(disc)))

        low, high = max(u - big, -half - r), min(u + big, half + r)
        steps = np.linspace(low, high, 41) if high > low else [0.0, 0.0]
        return sum(quad(chord, p, q, epsabs=1e-9, limit=200)[0] for p, q in pairwise(steps))

    ring = math.pi * (diameter**2 - shank**2) / 4
    return 1 - (shared(diameter / 2) - shared(shank / 2)) / ring


def random_bearing(rng: random.Random):
    slot = Slot(rng.uniform(-5, 5), rng.uniform(-5, 5), rng.uniform(3, 9), rng.choice([0.0, rng.uniform(0, 12)]),
                rng.uniform(0, 360))  # fmt: skip
    a, d = math.radians(slot.angle), rng.uniform(2.5, slot.width)
    t, s, way = rng.uniform(-0.5, 0.5) * slot.length, rng.uniform(0, (slot.width - d) / 2), rng.uniform(0, 7)
    at = (slot.x + t * math.cos(a) + s * math.cos(way), slot.y + t * math.sin(a) + s * math.sin(way))
    return d + rng.uniform(0.5, 6), d, slot, at


def test_the_share_on_metal_is_exact():
    rng = random.Random(2)
    for _ in range(60):
        case = random_bearing(rng)
        assert bearing(*case).share == pytest.approx(min(1.0, max(0.0, metal(*case))), abs=2e-6), case


def test_the_share_by_another_librarys_shapes():
    rng = random.Random(5)
    for _ in range(60):
        big, d, slot, at = random_bearing(rng)
        a = math.radians(slot.angle)
        u, v = slot.length / 2 * math.cos(a), slot.length / 2 * math.sin(a)
        core = (
            LineString([(slot.x - u, slot.y - v), (slot.x + u, slot.y + v)]) if slot.length else Point(slot.x, slot.y)
        )
        ring = Point(at).buffer(big / 2, quad_segs=256).difference(Point(at).buffer(d / 2, quad_segs=256))
        share = ring.difference(core.buffer(slot.width / 2, quad_segs=256)).area / ring.area
        assert bearing(big, d, slot, at).share == pytest.approx(share, abs=1e-4)


def test_heads_of_the_standards_on_the_slots_of_the_trade():
    """Rings by hand: (D2 - w2) / (D2 - d2). Head of ISO 7045, M3 5.6 and M4 8, on a 4.5 hole."""
    m3 = bearing(5.6, 3.0, Slot(0, 0, 4.5), (0, 0))
    assert m3 == (pytest.approx((5.6**2 - 4.5**2) / (5.6**2 - 9)), pytest.approx(0.55))
    assert m3.enough
    assert bearing(8.0, 4.0, Slot(0, 0, 4.5), (0, 0)).share == pytest.approx((64 - 20.25) / 48)
    assert washer_for(5.6, 3.0, Slot(0, 0, 4.5), (0, 0)) == ""
    assert washer_for(8.0, 4.0, Slot(0, 0, 4.5, 12), (3, 0)) == ""
    # Common practice, no source: an M3 screw in a slot 4.5 wide takes its washer. A slot crosses a disc as a strip.
    r, w = 3.5, 4.5
    strip = w * math.sqrt(r**2 - w**2 / 4) + 2 * r**2 * math.asin(w / 2 / r)
    ring = math.pi * (r**2 - 1.5**2)
    washer = bearing(7.0, 3.0, Slot(0, 0, 4.5, 12), (2, 0))
    assert washer.share == pytest.approx(1 - (strip - math.pi * 1.5**2) / ring)
    assert bearing(5.6, 3.0, Slot(0, 0, 4.5, 12), (2, 0)).share < 0.25 < washer.share
    assert washer_for(5.6, 3.0, Slot(0, 0, 4.5, 12), (2, 0)) == "M3"
    # Off to one side of a slot by all its play, the M3 head keeps nothing at the other side, its washer still does.
    assert bearing(5.6, 3.0, Slot(0, 0, 4.5, 12), (0, 0.75)).overlap == pytest.approx(-0.2)
    assert washer_for(5.6, 3.0, Slot(0, 0, 4.5, 12), (0, 0.75)) == "M3"
    # A slot 5.5 wide: too much of the M3 washer hangs free; the M4 one does, and an M3 head bears on its hole.
    assert washer_for(5.6, 3.0, Slot(0, 0, 5.5, 20), (0, 0)) == "M4"
    assert washer_for(5.6, 3.0, Slot(0, 0, 8.5, 20), (0, 0)) is None


def test_a_head_falls_through_a_slot_as_wide_as_itself():
    for length in (0.0, 8.0):
        found = bearing(5.6, 3.0, Slot(0, 0, 5.6, length, 30), (0, 0))
        assert found.overlap == pytest.approx(0, abs=1e-12)
        assert found.share == pytest.approx(0, abs=1e-12)
        assert not found.enough
    assert Bearing(0.25, 0.5).enough


def test_the_smallest_washer_that_is_enough_is_named():
    rng = random.Random(9)
    named = set()
    for _ in range(200):
        style, name, d = rng.choice([("pan", "M3", 3.0), ("cap", "M4", 4.0), ("pan", "6-32", 3.5052)])
        slot = Slot(0, 0, rng.uniform(d, 9), rng.choice([0, 6.0]), 40)
        size = washer_for(head(style, name).diameter, d, slot, (0, 0))
        named.add(size)
        if size:
            inner, outer, _ = ISO_7089[size]
            assert inner >= d
            assert bearing(outer, d, slot, (0, 0)).enough
            own = head(style, name).diameter
            assert own - inner >= 1.0
    assert {"", None, "M3"} <= named


def test_a_head_no_wider_than_its_shank_is_refused():
    with pytest.raises(ValueError, match=r"a head of 3 mm is not wider than its shank of 4"):
        bearing(3, 4, Slot(0, 0, 5), (0, 0))
