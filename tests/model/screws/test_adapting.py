"""Adapter plates as planned: sound by their own rules, all screws pass on both sides, walls by another library."""

from __future__ import annotations

import math
import random
from collections import Counter

import pytest
from shapely import LineString, Point, Polygon

from elbowroom.model.screws.adapting import RANK, UNDER_HEAD, WEB, Planned, adapter_for
from elbowroom.model.screws.holding import holding
from elbowroom.model.screws.slots import Slot, best_slide
from elbowroom.parts.fan.fan_field import FanField
from elbowroom.parts.made.adapter_holes import AirOpening
from elbowroom.parts.screw.captive import INSERTS
from elbowroom.parts.screw.screw_tables import ENGAGEMENT, head
from elbowroom.parts.vocabulary.threads import thread


def row(count: int, gap: float | None, size: float = 120) -> list[tuple[float, float]]:
    return list(FanField.of(count, size, None, gap).points)


def cut(points, width=4.5, length=0.0, angle=0.0) -> list[Slot]:
    return [Slot(x, y, width, length, angle) for x, y in points]


def check(plan: Planned, points, slots, openings, material, screw, panel, room) -> None:
    """What a plan promises, by other means than the planner's."""
    part = plan.part
    assert part is not None
    cx, cy = plan.centre
    a = [(h.at[0] + cx, h.at[1] + cy) for h in part.holes_a]
    b = [(h.at[0] + cx, h.at[1] + cy) for h in part.holes_b]
    # Both sides pass all their screws as placed.
    bored = [Slot(x, y, float(h.diameter)) for (x, y), h in zip(a, part.holes_a, strict=True)]
    held = [points[i] for i in plan.points]
    for at, d, into in ((b, thread(panel).major, slots), (held, thread(screw).major, bored)):
        slide = best_slide(at, d, into, reach=(2, 2))
        assert slide.lost == ()
        assert not slide.moved
    for (x, y), i in zip(a, plan.points, strict=True):
        assert math.dist((x, y), points[i]) < 2e-6
    for (x, y), s in zip(b, plan.slots, strict=True):
        core = LineString(slots[s].ends) if slots[s].length else Point(slots[s].x, slots[s].y)
        assert core.distance(Point(x, y)) < 2e-6
    # Walls, by shapely's distances.
    own = head("pan", screw)
    bore = INSERTS[panel].pilot if material == "printed" and panel in INSERTS else thread(panel).bore
    assert {float(h.recess) for h in part.holes_a} == {own.diameter + 0.8}
    discs = [(Point(p), (own.diameter + 0.8) / 2) for p in a] + [(Point(p), bore / 2) for p in b]
    for i, (p, r) in enumerate(discs):
        assert all(p.distance(q) - r - s >= WEB - 1e-5 for q, s in discs[i + 1 :])
        for o in openings:
            at = (float(o.at[0]), float(o.at[1]))
            gap = Polygon(o.corners()).distance(p) if o.size else p.distance(Point(at)) - o.diameter / 2
            assert gap - r >= WEB - 1e-5
        x, y = part.length / 2, part.width / 2
        assert min(x - abs(p.x - cx), y - abs(p.y - cy)) - r >= WEB - 1e-5
    if room is not None:
        assert room[0][0] - 1e-9 <= cx - part.length / 2
        assert room[1][0] + 1e-9 >= cx + part.length / 2
        assert room[0][1] - 1e-9 <= cy - part.width / 2
        assert room[1][1] + 1e-9 >= cy + part.width / 2
    # It holds on both sides, and the thread has its engagement.
    panel_points = [(s.x, s.y) for s in slots]
    for k, p in zip(plan.slots, b, strict=True):
        panel_points[k] = p
    for found, every, used in ((plan.part_side, points, plan.points), (plan.panel_side, panel_points, plan.slots)):
        assert found.verdict == holding(every, used).verdict
        assert RANK.index(found.verdict) >= 1
    assert part.thickness >= own.height + UNDER_HEAD
    if any(h.insert for h in part.holes_b):
        assert part.thickness >= INSERTS[panel].length
    else:
        assert part.thickness >= ENGAGEMENT[material][0] * thread(panel).major - 1e-9


def random_case(seed: int):
    rng = random.Random(seed)
    fans, size = rng.randint(1, 4), rng.choice([120, 140])
    tight = 15 if size == 120 else 15.5
    gaps = [tight, 20]
    rng.shuffle(gaps)
    points = [(x + rng.uniform(-4, 4), y) for x, y in row(fans, gaps[0], size)]
    slots = cut(row(fans, gaps[1], rng.choice([120, 140]) if fans == 1 else size), rng.choice([3.6, 4.5, 5.0]),
                rng.choice([0, 0, 3, 8, 14]), rng.choice([0, 0, 90, 45]))  # fmt: skip
    if rng.random() < 0.3:
        slots = [Slot(s.x + rng.uniform(-3, 3), s.y + rng.uniform(-3, 3), s.width, s.length, rng.uniform(0, 180))
                 for s in slots]  # fmt: skip
    field = FanField.of(fans, size, None, 20)
    border = 8 if size == 120 else 9
    openings = [[], [AirOpening(at=(c, 0), diameter=size - 8) for c in field.centres],
                [AirOpening(at=(c, 0), size=(size - 2 * border, size - 3.5 * border), cut=12) for c in field.centres],
                ][rng.randrange(3)]  # fmt: skip
    half = (field.length / 2 + 8, size / 2 + rng.choice([2, 8]))
    room = rng.choice([None, ((-half[0], -half[1]), half)])
    material, screw = rng.choice(["printed", "aluminium", "acrylic"]), rng.choice(["M3", "6-32", "M4"])
    return points, slots, openings, material, screw, rng.choice(["M3", "6-32"]), room


@pytest.mark.parametrize("block", range(8))
def test_every_plate_for_mixed_gaps_is_sound_and_passes_all_its_screws(block):
    """Random rows of the other gap, slid, with round holes and slots every way; most of them can be joined."""
    count: Counter[bool] = Counter()
    for seed in range(25 * block, 25 * block + 25):
        points, slots, openings, material, screw, panel, room = random_case(seed)
        plan = adapter_for(points, slots, screw=screw, panel_screw=panel, openings=openings, material=material,
                           room=room)  # fmt: skip
        count[plan.part is not None] += 1
        if plan.part is not None:
            check(plan, points, slots, openings, material, screw, panel, room)
        else:
            assert plan.reason
    assert count[True] >= 12, count


@pytest.mark.parametrize("count", [2, 3, 4])
@pytest.mark.parametrize("gaps", [(15, 20), (20, 15)])
@pytest.mark.parametrize("length", [0, 5])
def test_rows_of_the_other_gap_are_joined(count, gaps, length):
    """The case of the trade (common practice, no source): 120 mm fans, gap 15 against 20, centred."""
    points, slots = row(count, gaps[0]), cut(row(count, gaps[1]), length=length)
    if count > 2:
        assert best_slide(points, 3.0, slots, reach=(20, 5)).lost
    openings = [AirOpening(at=(x, 0), size=(100, 92), cut=12) for x in FanField.of(count, 120, None, 20).centres]
    plan = adapter_for(points, slots, openings=openings)
    check(plan, points, slots, openings, "printed", "M3", "M3", None)
    assert plan.part_side.verdict == plan.panel_side.verdict == "holds"
    assert all(h.insert for h in plan.part.holes_b)
    assert len(plan.points) + len(plan.slots) >= 4 * count


def test_the_plate_is_drawn():
    """The planned plate is a part like any other, in the plane of the points: hole by hole in the solid."""
    points, slots = row(2, 20), cut(row(2, 15), length=3)
    part = adapter_for(points, slots, openings=[AirOpening(size=(215, 92), cut=10)], material="aluminium").part
    solid = part.solids()["plate"]
    air = 215 * 92 - 2 * 10**2
    a, b = len(part.holes_a), len(part.holes_b)
    t, r, own = part.thickness, float(part.corner), part.holes_a[0]
    sunk = math.pi / 4 * (own.recess**2 * own.recess_depth + own.diameter**2 * (t - own.recess_depth))
    tapped = math.pi / 4 * thread("M3").bore ** 2 * t
    whole = (part.length * part.width - (4 - math.pi) * r * r - air) * t
    assert solid.Volume() == pytest.approx(whole - a * sunk - b * tapped, rel=1e-9)


def test_a_single_fan_may_hang_by_diagonals():
    points, slots = row(1, None), cut(row(1, None))
    plan = adapter_for(points, [Slot(s.x + 3, s.y, 4.5) for s in slots])
    assert plan.part is None
    assert "that does not hold" in plan.reason
    plan = adapter_for(points, [Slot(s.x + 3, s.y, 4.5) for s in slots], diagonal=True)
    assert (len(plan.points), len(plan.slots)) == (2, 2)
    assert plan.part_side.verdict == plan.panel_side.verdict == "holds"


def test_reasons_where_there_is_none():
    points = row(3, 20)
    assert adapter_for(points, cut(row(3, 15), 2.8)).reason == (
        "no slot of the panel lets a screw of M3 pass: 2.8 mm at most"
    )
    small = ((-20.0, -20.0), (20.0, 20.0))
    assert adapter_for(points, cut(row(3, 15)), room=small).reason == (
        "no hole of the part lies where the plate has room for it"
    )
    assert adapter_for(points, cut([(900.0, 0.0)]), room=((-200, -70), (200, 70))).reason == (
        "no slot of the panel lies where the plate has room for it"
    )
    assert adapter_for(points, []).reason.endswith("lets a screw of M3 pass: there is none")
    window = [AirOpening(size=(370, 103))]
    assert adapter_for(points, cut(row(3, 15)), openings=window).reason == (
        "no hole of the part lies where the plate has room for it"
    )
    huge = adapter_for([(x * 9, y) for x, y in points], cut([(x * 9, y) for x, y in row(3, 15)]))
    assert huge.part is None
    assert huge.reason.startswith("the plate cannot be made: length Input should be less than or equal to 1200")
    with pytest.raises(KeyError, match=r"no thread 'M33'; did you mean M3\?"):
        adapter_for(points, cut(row(3, 15)), screw="M33")


def test_a_slot_gives_way_to_the_parts_screw_beside_it():
    """A panel screw moves along its slot by what the two holes and their wall need, worked out by hand."""
    points = [(0.0, 0.0), (100.0, 0.0), (0.0, 80.0), (100.0, 80.0)]
    slots = cut(points, 4.5, 20.0)
    plan = adapter_for(points, slots)
    apart = (5.6 + 0.8) / 2 + 4.0 / 2 + 2.0  # recess of a pan head, pilot of an insert, wall
    assert plan.points == plan.slots == (0, 1, 2, 3)
    for h, (x, y) in zip(plan.part.holes_b, points, strict=True):
        assert abs(h.at[0] + plan.centre[0] - x) == pytest.approx(apart, abs=1e-5)
        assert h.at[1] + plan.centre[1] == pytest.approx(y)
