"""Adapter plates: drawn as declared, holes of both faces where both patterns have them, thin walls refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pydantic import ValidationError
from shapely import LineString, Point, Polygon, box

from elbowroom.parts.fan.fan import HOLE_PITCH
from elbowroom.parts.fan.fan_field import FanField
from elbowroom.parts.made.adapter import FLOOR, Adapter, AdapterHole, AirOpening
from elbowroom.parts.screw.captive import INSERTS
from elbowroom.parts.vocabulary.pose import apply, turn
from elbowroom.parts.vocabulary.threads import THREADS
from tests.parts.probe import SKIN, Inside, catalogue_parts, check_drawing, check_frames, extents

ODD = Adapter(
    length=90.5, width=61, thickness=9.3, corner=11,
    holes_a=[{"at": [-35, 12], "diameter": 4.3, "slot": 6, "angle": 40, "recess": 8.4, "recess_depth": 4.1},
             {"at": [30, -18], "thread": "M4", "depth": 7}, {"at": [36, 14], "thread": "M3", "insert": True},
             {"at": [0, 24], "diameter": 5}],
    holes_b=[{"at": [-30, -20], "thread": "6-32"}, {"at": [20, 22], "thread": "M2.5", "insert": True},
             {"at": [0, 24], "diameter": 5}, {"at": [0, -24], "diameter": 4.5, "slot": 8, "angle": 5}],
    openings=[{"at": [-10, 0], "size": [30, 28], "cut": 9}, {"at": [20, 0], "diameter": 20}],
)  # fmt: skip
PARTS = catalogue_parts("adapter") | {
    "odd": ODD,
    "plastic": Adapter(material="plastic", thickness=12, openings=[]),
    "square-cornered": Adapter(corner=0, thickness=5.7, openings=[{"size": [80, 80], "cut": 40}]),
}


@pytest.fixture(scope="module", params=PARTS)
def plate(request):
    part = PARTS[request.param]
    return part, check_drawing(part)


def test_every_hole_is_where_both_faces_say(plate):
    """Void along each bore from its own face, wall around it, and a recess in the face across."""
    part, solids = plate
    check_frames(part)
    space, t = Inside(solids), float(part.thickness)
    for side, holes in (("a", part.holes_a), ("b", part.holes_b)):
        face, other = part.frame(side), part.frame("b" if side == "a" else "a")
        listed = [(p, h) for p in part.patterns() if p.name.split("-")[0] == side for h in p.holes]
        assert len(listed) == len(holes)
        for own in holes:
            at = (float(own.at[0]), float(own.at[1]), float(face.pose[2, 3]))
            near = [(p, h) for p, h in listed if np.allclose(apply(p.pose, (h.x, h.y, 0)), at, atol=1e-12)]
            assert len(near) == 1, own
            pattern, hole = near[0]
            assert hole.thread == own.thread
            assert pattern.body.startswith(f"insert-{side}" if own.insert else "plate")
            # The slot's direction, carried from the pattern into the plate.
            way = turn(pattern.pose, (math.cos(math.radians(hole.angle)), math.sin(math.radians(hole.angle)), 0))
            stated = math.radians(float(own.angle))
            assert abs(way[0] * math.sin(stated) - way[1] * math.cos(stated)) < 1e-12
            depth = t if hole.depth is None else hole.depth
            assert hole.depth is None or depth + FLOOR <= t + 1e-9
            for end in (-1, 1) if own.slot else (0,):
                x, y = (at[k] + end * own.slot / 2 * f(stated) for k, f in enumerate((math.cos, math.sin)))
                inward = -face.pose[2, 2]
                for d in np.linspace(-0.5, depth - SKIN, 6):
                    assert space.body((x, y, at[2] + inward * d)) is None, own
                if hole.depth is not None:
                    assert space.body((x, y, at[2] + inward * (depth + SKIN))) == "plate"
                rim = [space.body((x + (hole.diameter / 2 + SKIN) * math.cos(a), y + (hole.diameter / 2 + SKIN)
                                   * math.sin(a), at[2] + inward * SKIN)) for a in np.linspace(0, 6, 16)]  # fmt: skip
                assert sum(b is not None for b in rim) >= (6 if own.slot else 16)
                if own.recess is not None:
                    back, deep = float(other.pose[2, 3]), float(own.recess_depth)
                    r = own.recess / 2 - SKIN
                    assert space.body((x, y + r, back - inward * (deep - SKIN))) is None
                    assert space.body((x, y + r, back - inward * (deep + SKIN))) == "plate"


def test_an_insert_reaches_its_length_into_its_pocket(plate):
    part, solids = plate
    for side, holes in (("a", part.holes_a), ("b", part.holes_b)):
        for i, h in enumerate(holes, 1):
            if not h.insert:
                assert f"insert-{side}-{i}" not in solids
                continue
            lo, hi = extents(solids[f"insert-{side}-{i}"])
            own = INSERTS[h.thread]
            assert hi[2] - lo[2] == pytest.approx(own.length, abs=1e-6)
            assert (hi[2] if side == "a" else lo[2]) == pytest.approx(
                float(part.thickness) if side == "a" else 0, abs=1e-6
            )
            assert hi[0] - lo[0] == pytest.approx(own.pilot, abs=1e-5)


def outlines(part: Adapter) -> dict[str, Polygon]:
    """What is cut, by another library."""
    found = {}
    for side, holes in (("a", part.holes_a), ("b", part.holes_b)):
        for i, h in enumerate(holes, 1):
            if side == "b" and h in part.holes_a and h.thread is None and h.recess is None:
                continue
            w = h.widest()
            a = math.radians(w.angle)
            u, v = w.slot / 2 * math.cos(a), w.slot / 2 * math.sin(a)
            core = LineString([(w.x - u, w.y - v), (w.x + u, w.y + v)]) if w.slot else Point(w.x, w.y)
            found[f"{side}{i}"] = core.buffer(w.diameter / 2, quad_segs=64)
    for i, o in enumerate(part.openings):
        at = (float(o.at[0]), float(o.at[1]))
        found[f"o{i}"] = Polygon(o.corners()) if o.size else Point(at).buffer(o.diameter / 2, quad_segs=64)
    return found


def test_walls_by_another_library(plate):
    part, _ = plate
    cut, r = list(outlines(part).values()), float(part.corner)
    x, y = part.length / 2, part.width / 2
    outline = box(-x + r, -y + r, x - r, y - r).buffer(r, quad_segs=64) if r else box(-x, -y, x, y)
    for i, one in enumerate(cut):
        assert outline.contains(one)
        assert outline.exterior.distance(one) >= 1.2 - 1e-3
        assert all(one.distance(two) >= 1.2 - 1e-9 for two in cut[i + 1 :])


@pytest.mark.parametrize("seed", range(12))
def test_what_is_refused_is_what_another_library_finds_too_thin(seed):
    """Random plates: accepted where all walls are thick enough, refused where shapely finds one that is not."""
    rng = np.random.default_rng(seed)
    verdicts = set()
    for _ in range(25):
        holes = [
            {"at": at, "diameter": float(rng.uniform(3, 9)), "slot": slot, "angle": float(rng.uniform(0, 180))}
            for at, slot in zip(rng.uniform(-45, 45, (3, 2)).tolist(), rng.choice([0.0, 7.0], 3).tolist(), strict=True)
        ]
        size = [*map(float, rng.uniform(15, 50, 2))]
        shape = rng.choice(["circle", "rectangle"])
        opening = {"at": [*map(float, rng.uniform(-12, 12, 2))]} | (
            {"diameter": size[0]} if shape == "circle" else {"size": size, "cut": min(size) / rng.integers(2, 6)}
        )
        fields = {"length": 100, "width": 100, "corner": 20, "holes_a": holes[:2], "holes_b": holes[2:],
                  "openings": [opening]}  # fmt: skip
        # The plate itself may be refused; its parts are judged apart from it.
        loose = Adapter.model_construct(**{**Adapter().__dict__, "holes_a": tuple(map(AdapterHole.model_validate,
            holes[:2])), "holes_b": (AdapterHole.model_validate(holes[2]),),
            "openings": (AirOpening.model_validate(opening),)})  # fmt: skip
        cut = list(outlines(loose).values())
        outline = box(-30, -30, 30, 30).buffer(20, quad_segs=256)
        least = min(one.distance(two) for i, one in enumerate(cut) for two in cut[i + 1 :])
        inside = all(outline.contains(one) for one in cut)
        least = min(least, *(outline.exterior.distance(one) for one in cut)) if inside else 0.0
        if abs(least - 1.2) < 0.01:
            continue
        try:
            Adapter(**fields)
            fits = True
        except ValidationError:
            fits = False
        assert fits == (least > 1.2), fields
        verdicts.add(fits)
    assert False in verdicts


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"length": 130}, r"hole 1 of holes_b is 0.85 mm too near the outline: 1.6 mm of wall must stay"),
        ({"openings": [{"diameter": 143}], "length": 160, "width": 160},
         r"hole 1 of holes_a and opening 1 leave 0.75 mm of wall: 0.85 mm short of 1.6"),
        ({"openings": [{"size": [110, 110]}]}, r"hole 1 of holes_a and opening 1 run into each other by 4.50 mm"),
        ({"openings": [{"diameter": 40}, {"size": [30, 30], "at": [10, 0]}]}, r"opening 1 and opening 2 run into each"),
        ({"holes_b": [{"at": [52.5, 55], "diameter": 4.5}]},
         r"hole 4 of holes_a and hole 1 of holes_b run into each other by 1.75 mm"),
        ({"holes_b": [{"at": [60, 60], "diameter": 3.4, "recess": 6.4, "recess_depth": 7.2}]},
         r"hole 1 of holes_b: 7.2 mm of recess and a floor of 1 are 0.2 more than the plate has"),
        ({"thickness": 5}, r"hole 1 of holes_a: 5.7 mm of insert are 0.7 more than the plate has"),
        ({"material": "aluminium"}, r"hole 1 of holes_a: an insert melts into plastic, not into aluminium"),
        ({"holes_b": [{"at": [60, 60], "diameter": 1.5}]}, r"hole 1 of holes_b is 1.5 wide: 0.50 mm less than prints"),
        ({"corner": 71}, r"corner 71 is more than half of the outline"),
        ({"holes_a": [{"at": [0, 0]}]}, r"a hole has a diameter or a thread, and not both"),
        ({"holes_a": [{"at": [0, 0], "thread": "M3", "slot": 3}]}, r"a threaded hole cannot be a slot"),
        ({"holes_a": [{"at": [0, 0], "diameter": 3, "depth": 3}]}, r"a plain hole goes through and has no depth"),
        ({"holes_a": [{"at": [0, 0], "thread": "6-32", "insert": True}]}, r"no heat-set insert of thread 6-32"),
        ({"holes_a": [{"at": [0, 0], "diameter": 3, "recess": 6}]}, r"a recess needs recess and recess_depth"),
        ({"holes_a": [{"at": [0, 0], "diameter": 6, "recess": 6, "recess_depth": 1}]}, r"not wider than its hole"),
        ({"openings": [{"size": [20, 10], "cut": 6}]}, r"cut 6 takes 2 mm more off the shorter edge"),
        ({"holes_a": []}, r"at least 1 item"),
    ],
)  # fmt: skip
def test_a_plate_that_cannot_be_made_is_refused_with_the_millimetres(fields, message):
    with pytest.raises(ValidationError, match=message):
        Adapter(**fields)


def test_it_lies_flat_with_most_pockets_up():
    """On the bed at z = 0, and turned over only where recesses open in face b."""
    for part in PARTS.values():
        lying = part.print_pose()
        if part.material != "printed":
            assert lying is None
            continue
        z = apply(lying, np.array(part.box().corners()))[:, 2]
        assert (z.min(), z.max()) == pytest.approx((0, part.thickness))
        assert np.linalg.det(lying[:3, :3]) == pytest.approx(1)
    sunk = Adapter(holes_a=[{"at": [60, 60], "diameter": 3.4, "recess": 6.4, "recess_depth": 3}],
                   holes_b=[{"at": [-60, 60], "thread": "M3"}])  # fmt: skip
    assert apply(sunk.print_pose(), (0, 0, 0))[2] == 8  # the recess of a hole in a opens in b, which looks up


def test_holes_drawn_wider_for_a_printer():
    part = Adapter(holes_a=[{"at": [50, 50], "diameter": 3.4, "recess": 6.4, "recess_depth": 3}], openings=[])
    wide = part.compensated(0.2)
    assert wide.patterns()[0].holes[0].diameter == pytest.approx(3.6)
    assert wide.box() == part.box()
    lost = part.solids()["plate"].Volume() - wide.solids()["plate"].Volume()
    ring = lambda d, h: math.pi * ((d + 0.2) ** 2 - d**2) / 4 * h  # noqa: E731
    pocket = INSERTS["M3"].pocket
    assert lost == pytest.approx(ring(3.4, 5) + ring(6.4, 3) + 4 * ring(INSERTS["M3"].pilot, pocket), rel=1e-9)
    metal = Adapter(material="aluminium", holes_a=[{"at": [50, 60], "diameter": 4.5}],
                    holes_b=[{"at": [60, 60], "thread": "M4"}])  # fmt: skip
    assert metal.compensated(0.2) is metal


def test_the_catalogue_joins_the_patterns_it_says():
    """Plates for mixed gaps use holes of the two rows of fans, two corners of each fan, on both faces."""
    for a, b in ((20, 15), (15, 20)):
        part = PARTS[f"adapter-360-gap-{a}-on-{b}"]
        for holes, gap in ((part.holes_a, a), (part.holes_b, b)):
            at = {(float(h.at[0]), float(h.at[1])) for h in holes}
            field = FanField.of(3, 120, None, gap)
            assert at <= set(field.points)
            for c in field.centres:
                assert len({p for p in at if abs(p[0] - c) < 60 and (p[0] - c, p[1]) in square(120)}) == 2
        assert {h.bore for h in part.holes_a} == {THREADS["M3"].clearance["medium"]}
    for a, b in ((120, 140), (140, 120), (92, 120)):
        part = PARTS[f"adapter-{a}-on-{b}"]
        for holes, size in ((part.holes_a, a), (part.holes_b, b)):
            assert {(float(h.at[0]), float(h.at[1])) for h in holes} == square(size)


def square(size: int) -> set[tuple[float, float]]:
    h = HOLE_PITCH[size] / 2
    return {(x, y) for x in (-h, h) for y in (-h, h)}
