"""Distribution plates and risers: drawn as declared, ports and holes real, channels hold what they say."""

from __future__ import annotations

import csv
import importlib.util
import math
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from elbowroom.parts.made.riser import Riser
from elbowroom.parts.screw import captive
from elbowroom.parts.screw.screw_tables import NUTS
from elbowroom.parts.vocabulary import draw
from elbowroom.parts.vocabulary.ports import Bore, bore_of, overlap
from elbowroom.parts.vocabulary.threads import THREADS
from elbowroom.parts.water import channels
from elbowroom.parts.water.plate import DistributionPlate
from tests.parts.probe import (
    KERNEL_MM,
    SKIN,
    Inside,
    catalogue_parts,
    check_drawing,
    check_frames,
    check_pattern,
    check_port,
    first_quick,
)

PLATES = catalogue_parts("plate") | {
    "bare": DistributionPlate(length=97.3, width=61.2, thickness=8.1, inset=None, corner=0),
    "three layers": DistributionPlate(
        length=213.7, width=88.8, thickness=31.4, cover=7.9, backing=6.3, inset=7.7, corner=12,
        bay={"at": [20, 5], "face": "front", "diameter": 41, "depth": 18, "bolt_circle": 52, "bolts": 3, "thread": "M3",
             "thread_depth": 11},
        ports=[
            {"name": "a", "face": "back", "at": [-60, 0], "thread": "G3/8", "depth": 12.5, "land": 24},
            {"name": "b", "face": "left", "at": [12, 15.7], "depth": 14},
            {"name": "c", "face": "front", "at": [80, -20], "depth": 9},
        ],
        channels=[{"path": ["a", [-60, 12], "b"], "width": 9, "depth": 15},
                  {"path": ["c", [60, -10], "pump-bay"], "width": 8, "depth": 12}],
    ),
}  # fmt: skip
RISERS = catalogue_parts("riser") | {
    "inverse taper": Riser(height=33.3, across=21.7, base=14.2, hole="blind", thread="M5", thread_depth=9.9),
    "stud with another thread": Riser(height=14, across=9, hole="male-female", thread="M3", foot_thread="M5", stud=7.3),
    "hex through": Riser(height=41.5, shape="hex", across=10.3, thread="6-32"),
    "pipe thread": Riser(height=25, across=20, hole="tapped", thread="G1/4", material="brass"),
    "inserts of two threads": Riser(
        height=24,
        across=16,
        base=12,
        hole="insert",
        insert_ends="both",
        thread="M4",
        foot_thread="M2.5",
        material="plastic",
    ),
    "hex insert": Riser(height=15, shape="hex", across=13, hole="insert", thread="M5", material="printed"),
    "nut in metal": Riser(height=9.5, across=12.5, base=15, hole="nut", thread="M5", nut_end="top"),
}


@pytest.fixture(scope="module", params=first_quick(PLATES))
def plate(request):
    part = PLATES[request.param]
    return part, check_drawing(part)


@pytest.mark.slow
def test_plate_frames_and_ports(plate):
    part, solids = plate
    check_frames(part)
    inside = Inside(solids)
    in_channels = {p for c in part.channels for p in c.path if isinstance(p, str)}
    for port in part.ports:
        frame = part.frame(port.name)
        # Near the surface every port has its wall; further in a channel may leave it.
        check_port(frame, inside, walled=3.0 if port.name in in_channels else None)
        outward = {"front": (0, 0, 1), "back": (0, 0, -1), "left": (-1, 0, 0), "right": (1, 0, 0), "top": (0, 1, 0),
                   "bottom": (0, -1, 0)}[port.face]  # fmt: skip
        np.testing.assert_allclose(frame.pose[:3, 2], outward, atol=1e-12)
        assert frame.flow == port.flow


def test_plate_holes_are_bored_where_the_mount_frames_stand(plate):
    part, solids = plate
    inside = Inside(solids)
    mounts = [f for f in part.frames() if f.name.startswith("mount-")]
    patterns = {p.name: p for p in part.patterns()}
    assert len(mounts) == (len(part.holes) or (0 if part.inset is None else 4))
    for pattern in patterns.values():
        # The pattern's body is the layer at its face, and has the hole's wall as far as it reaches.
        low, high = part._layers()[pattern.body]
        deep = [h.depth for h in pattern.holes if h.depth is not None]
        check_pattern(pattern, inside, through=float(part.thickness), solid_to=min([high - low, *deep]))
    for i, frame in enumerate(mounts):
        assert frame.kind == "face"
        assert frame.size == (float(part.head),) * 2
        hole = patterns["back"].holes[i]
        at = patterns["back"].pose @ (hole.x, hole.y, 0, 1)
        np.testing.assert_allclose(frame.pose[:3, 3], at[:3], atol=1e-12)
        np.testing.assert_allclose(part.frame(f"front-{frame.name}").pose[:2, 3], at[:2], atol=1e-12)


def test_channels_join_the_ports_they_name(plate):
    """Along each channel every point is void, from port to port, and below it the groove has its floor."""
    part, solids = plate
    inside = Inside(solids)
    bores = [bore_of(part.frame(p.name)) for p in part.ports]
    rooms = [b.room(SKIN) for b in (*bores, part._bay_bore()) if b is not None]
    for channel in part.channels:
        points = channel.points(part._places())
        low, high = part._channel_z(channel)
        floors = 0
        for a, b in pairwise(points):
            for t in np.linspace(0, 1, 9):
                x, y = (1 - t) * np.array(a) + t * np.array(b)
                assert inside.body((x, y, (low + high) / 2)) is None
                floor = (x, y, low - SKIN)
                if not any(all(r.lo[i] <= floor[i] <= r.hi[i] for i in range(3)) for r in rooms):
                    assert inside.body(floor) == "plate"
                    floors += 1
        assert floors > 0


PATHS = {
    "straight": [[-80, 0], [80, 0]],
    "corners both ways": [[-80, -30], [-20, -30], [-20, 20], [30, 20], [60, -25]],
    "crossing itself": [[-60, -20], [60, 20], [60, -20], [-60, 20]],
    "sharp": [[-60, 0], [40, 10], [-40, 30]],
    "nearly straight": [[-60, 0], [0, 0.00001], [60, 0]],
}


@pytest.mark.parametrize("name", PATHS)
@pytest.mark.parametrize("cover", [0, 5])
def test_coolant_is_the_volume_the_kernel_finds_missing(name, cover):
    fields = {"length": 220, "width": 100, "thickness": 25, "cover": cover, "inset": 6}
    with_channel = DistributionPlate(**fields, channels=[{"path": PATHS[name], "width": 10, "depth": 9}])
    solids = check_drawing(with_channel)
    missing = DistributionPlate(**fields).solids()["plate"].Volume() - solids["plate"].Volume()
    if name == "crossing itself":  # the crossing is counted twice by the arithmetic, so it holds no less
        assert missing < 1000 * with_channel.coolant_ml() < 1.1 * missing
    else:
        assert 1000 * with_channel.coolant_ml() == pytest.approx(missing, rel=1e-6)


def test_coolant_of_a_bay_and_none_without_either():
    assert DistributionPlate().coolant_ml() is None
    bay = DistributionPlate(bay={"diameter": 60, "depth": 10})
    assert bay.coolant_ml() == pytest.approx(math.pi * 900 * 10 / 1000)


def test_pump_bay_frame_stands_on_its_face(plate):
    part, solids = plate
    if part.bay is None:
        assert all(f.name != "pump-bay" for f in part.frames())
        return
    frame, inside = part.frame("pump-bay"), Inside(solids)
    depth, r = float(part.bay.depth), part.bay.diameter / 2
    z = part.thickness if part.bay.face == "front" else 0
    np.testing.assert_allclose(frame.pose[:3, 3], (*part.bay.at, z), atol=1e-12)
    for u, v in ((0.0, 0.0), (r - 1, 0.0), (0.0, r - 1)):
        assert inside.body((frame.pose @ (u, v, -depth + SKIN, 1))[:3]) is None
    assert inside.body((frame.pose @ (0, r - 1, -depth - SKIN, 1))[:3]) is not None


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"ports": [{"name": "p", "at": [118, 0]}]}, r"port 'p' .* leaves the length by 3.92 mm"),
        ({"ports": [{"name": "p", "at": [0, 0], "depth": 22}]}, r"port 'p' .* leaves the thickness by 2.20 mm"),
        ({"ports": [{"name": "p", "face": "top", "at": [0, 4]}]}, r"port 'p' .* leaves the thickness by 1.92 mm"),
        ({"ports": [{"name": "p", "face": "left", "at": [52, 10]}], "inset": None},
         r"leaves the flat of the left edge by 0.92 mm"),
        ({"ports": [{"name": "p", "at": [113, 53]}], "corner": 20, "inset": None}, r"port 'p' leaves the outline"),
        ({"ports": [{"name": "p", "at": [0, 0]}, {"name": "q", "at": [11, 0]}]}, r"'p' and 'q' by 0.45 mm"),
        ({"ports": [{"name": "p", "at": [105, 45]}]}, r"'p' and 'mount-3' by"),
        ({"ports": [{"name": "p", "at": [0, 50], "depth": 12}, {"name": "q", "face": "top", "at": [0, 10]}]},
         r"'p' and 'q' by"),
        ({"ports": [{"name": "p", "at": [0, 0]}, {"name": "p", "at": [50, 0]}]}, r"used more than once: p"),
        ({"cover": 12, "backing": 7}, r"leave no slab"),
        ({"bay": {"depth": 20}}, r"pump-bay 20 deep goes through a plate of 20"),
        ({"bay": {"at": [90, 0], "diameter": 62}}, r"pump-bay leaves the outline of the plate by 1.20 mm"),
        ({"bay": {"diameter": 62, "bolt_circle": 60}}, r"pump-bay runs into 'pump-bay screw 1' by"),
        ({"channels": [{"path": ["in", [0, 0]]}]}, r"runs to 'in', which is no port of the part; known: none"),
        ({"channels": [{"path": [[0, 0], [0, 0.01]]}]}, r"two points 0.010 mm apart"),
        ({"channels": [{"path": [[0, 0], [118, 0]]}]}, r"channel 1 leaves the outline of the plate by 3.20 mm"),
        ({"channels": [{"path": [[-110, 43], [0, 43]]}]}, r"channel 1 runs into 'mount-4': 0.45 mm too near"),
        ({"channels": [{"path": [[0, 0], [50, 0]], "depth": 20}]}, r"does not fit in a slab of 20"),
        ({"cover": 6, "ports": [{"name": "p", "at": [0, 0], "depth": 5}], "channels": [{"path": ["p", [50, 0]]}]},
         r"channel 1 does not meet 'p': 1.00 mm apart in depth"),
        ({"corner": 61}, r"corner 61 is more than half"),
    ],
)  # fmt: skip
def test_plate_that_cannot_be_made_is_refused_with_the_millimetres(fields, message):
    with pytest.raises(ValidationError, match=message):
        DistributionPlate(**fields)


AXES = [(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1)]
BORES = st.builds(
    lambda at, axis, length, diameter: Bore("b", at, axis, length, diameter),
    st.tuples(*[st.floats(-12, 12).map(lambda v: round(v, 2))] * 3),
    st.sampled_from(AXES),
    st.floats(3, 15).map(lambda v: round(v, 2)),
    st.floats(2, 12).map(lambda v: round(v, 2)),
)


@settings(max_examples=80, deadline=None, derandomize=True)
@given(BORES, BORES)
def test_two_bores_meet_exactly_where_the_kernel_finds_shared_volume(a, b):
    depth = overlap(a, b)
    if abs(depth) < 1e-3:  # mm: too near to touching for a volume to decide
        return
    shared = a.solid().intersect(b.solid())
    volume = shared.Volume() if shared.Solids() else 0.0
    assert (depth > 0) == (volume > 1e-9), (depth, volume)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.integers(-60, 60), st.integers(-60, 60)), min_size=2, max_size=6), st.integers(4, 14))
def test_channel_tools_cover_what_lies_within_half_a_width_of_the_path(points, width):
    points = [points[0], *(b for a, b in pairwise(points) if math.dist(a, b) > 1)]
    points = [p for i, p in enumerate(points) if i == 0 or p != points[i - 1]]
    if len(points) < 2:
        return
    inside = Inside({str(i): t for i, t in enumerate(channels.tools(points, width, 2.0, 5.0))})
    rng = np.random.default_rng(1)
    for x, y in rng.uniform(-70, 70, (40, 2)):
        d = channels.distance(points, (x, y)) - width / 2
        if abs(d) > 0.01:
            assert (inside.body((x, y, 4.0)) is not None) == (d < 0)


@pytest.fixture(scope="module", params=first_quick(RISERS))
def riser(request):
    part = RISERS[request.param]
    return part, check_drawing(part)


def test_riser_ends_and_holes(riser):
    part, solids = riser
    check_frames(part)
    foot, top = part.frame("foot"), part.frame("top")
    np.testing.assert_array_equal(foot.pose[:3, 3], (0, 0, 0))
    np.testing.assert_array_equal(foot.pose[:3, 2], (0, 0, -1))
    np.testing.assert_array_equal(top.pose[:3, 3], (0, 0, part.height))
    np.testing.assert_array_equal(top.pose[:3, 2], (0, 0, 1))
    inside = Inside(solids)
    for pattern in part.patterns():
        (hole,) = pattern.holes
        screw = THREADS[hole.thread or part.thread]
        assert hole.diameter == (screw.minor if hole.thread else screw.clearance["medium"])
        if pattern.body == "riser" and part.hole != "nut":
            check_pattern(pattern, inside, through=float(part.height))
        else:  # in an insert, in a nut, or in a riser whose other end has a nut: the pockets have a test of their own
            wall = hole.threaded or part.height - captive.nut_pocket(captive.nut_for(part.thread))[1]
            check_pattern(pattern, inside, through=wall, solid_to=wall)
    if part.hole == "male-female":
        stud = THREADS[part.foot_thread or part.thread].major
        assert part.box().lo[2] == -part.stud
        for r, body in ((stud / 2 - SKIN, "riser"), (stud / 2 + SKIN, None)):
            assert inside.body((r, 0, -part.stud / 2)) == body
    elif part.hole == "blind":
        assert inside.body((0, 0, part.height / 2)) == "riser"


def test_hexagon_is_measured_across_the_flats():
    hexagon = Riser(shape="hex", across=7, height=20, hole="tapped")
    body = hexagon.solids()["riser"]
    bore = THREADS["M4"].minor
    area = 7**2 * math.sqrt(3) / 2 - math.pi * bore**2 / 4
    assert body.Volume() == pytest.approx(20 * area)
    assert hexagon.box().size[1] == pytest.approx(7)


def test_tapered_riser_has_the_volume_of_a_cone_less_its_hole():
    part = Riser(height=25, across=12, base=16)
    cone = math.pi * 25 / 3 * (6**2 + 6 * 8 + 8**2)
    assert part.solids()["riser"].Volume() == pytest.approx(cone - math.pi * 2.25**2 * 25)
    assert draw.cone(16, 12, 25).Volume() == pytest.approx(cone, abs=KERNEL_MM)


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"shape": "hex", "base": 20}, r"a hexagonal riser cannot be tapered"),
        ({"across": 5}, r"top 5 across is 0.5 mm short for a 4.5 hole"),
        ({"base": 4}, r"foot 4 across is 1.5 mm short"),
        ({"foot_thread": "M3"}, r"a through hole has one thread: foot_thread M3 is not M4"),
        ({"hole": "blind", "thread_depth": 9}, r"need a height of 18.5: 0.5 mm short"),
        ({"thread": "G1/4"}, r"no screw of thread G1/4 passes through a riser"),
        ({"height": "-3"}, r"greater than or equal to 1"),
        ({"hole": "insert"}, r"an insert melts into plastic, not into aluminium"),
        ({"hole": "insert", "thread": "6-32", "material": "printed"},
         r"no heat-set insert of thread 6-32 is known; known: M2.5, M3, M4, M5"),
        ({"hole": "insert", "across": 9, "material": "printed"},
         r"around the insert in the top is 1.70 mm: 0.40 mm short of the least wall, 2.1"),
        ({"hole": "insert", "height": 10, "material": "printed"},
         r"pockets for inserts 9.1 deep need a height of 10.3: 0.3 mm short"),
        ({"hole": "insert", "insert_ends": "both", "height": 19, "material": "printed"},
         r"pockets for inserts 18.2 deep need a height of 19.4: 0.4 mm short"),
        ({"hole": "insert", "foot_thread": "M3", "material": "printed"}, r"an? insert in the top has one thread"),
        ({"hole": "nut", "across": 9.3}, r"the wall around the nut is 0.49 mm: 0.01 mm short of the least wall, 0.5"),
        ({"hole": "nut", "across": 10, "material": "printed"}, r"the wall around the nut is 0.84 mm: 0.36 mm short"),
        ({"hole": "nut", "shape": "hex", "across": 9, "material": "printed"}, r"nut is 0.90 mm: 0.30 mm short"),
        ({"hole": "nut", "height": 4, "material": "printed"}, r"a nut's pocket 3.5 deep need.* 4.7: 0.7 mm short"),
        ({"hole": "nut", "thread": "G1/4"}, r"no screw of thread G1/4 passes through a riser"),
        ({"across": 6.5, "material": "printed"}, r"top 6.5 across is 0.4 mm short for a 4.5 hole with wall"),
        ({"hole": "blind", "thread": "G1/4", "across": 20, "height": 30, "material": "printed"},
         r"the bottom of a printed blind hole 11.445 wide hangs over: at most 10"),
        ({"hole": "male-female", "thread": "M2.5", "material": "printed"}, r"a printed stud needs 3 mm: M2.5 is 0.5"),
        ({"hole": "nut", "height": 6, "base": 25, "material": "printed"},
         r"printed with its nut's pocket upward the taper hangs over by more than 45 degrees: 1.00 mm less difference"),
    ],
)  # fmt: skip
def test_riser_that_cannot_be_made_is_refused(fields, message):
    with pytest.raises(ValidationError, match=message):
        Riser(**fields)


def _outside(name: str) -> list[dict[str, str]]:
    """Rows of a table of the PyPI package bd_warehouse, read as data only."""
    folder = Path(next(iter(importlib.util.find_spec("bd_warehouse").submodule_search_locations))) / "data"
    with (folder / name).open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


@pytest.mark.parametrize("thread", captive.INSERTS)
def test_inserts_are_those_of_makers_listings(thread):
    """Outside diameter, length, wall and pilot (0.1 mm looser in some listings than in others)."""
    own, found = captive.INSERTS[thread], 0
    for row in _outside("heatset_nut_parameters.csv"):
        if row["Size"].split("-")[0] != thread:
            continue
        of = {k.split(":")[1]: v for k, v in row.items() if ":" in k and v}
        if of["material_thickness"] != f"{own.wall:g}":
            continue  # listings that do not state a wall
        if float(of["s"]) == own.outer and float(of["m"]) == own.length:
            assert own.pilot - 0.1 - 1e-9 <= float(of["dc"]) <= own.pilot + 0.1 + 1e-9
            found += 1
    assert found >= 1
    assert 0.5 <= captive.INSERT_ROOM <= 1.0  # makers' instructions
    assert 3.9 <= captive.INSERTS["M3"].pilot <= 4.24


@pytest.mark.parametrize("thread", captive.INSERTS)
@pytest.mark.parametrize("wider", [0.0, 0.2])
def test_insert_pockets_are_bored_to_the_numbers_cited(thread, wider):
    own = captive.INSERTS[thread]
    part = Riser(height=26, across=16, hole="insert", insert_ends="both", thread=thread, material="printed")
    riser = part.compensated(wider).solids()
    pocket = math.pi / 4 * (own.pilot + wider) ** 2 * (own.length + captive.INSERT_ROOM)
    assert riser["riser"].Volume() == pytest.approx(math.pi * 64 * 26 - 2 * pocket)
    bore = THREADS[thread].minor
    for end, z in (("insert-top", 26 - own.length), ("insert-foot", 0.0)):
        assert riser[end].Volume() == pytest.approx(math.pi / 4 * (own.pilot**2 - bore**2) * own.length)
        assert riser[end].BoundingBox().zmin == pytest.approx(z, abs=1e-6)
    top = next(p for p in part.patterns() if p.name == "top")
    assert (top.body, top.holes[0].thread, top.holes[0].depth, top.holes[0].threaded) == (
        "insert-top", thread, own.length + captive.INSERT_ROOM, own.length,
    )  # fmt: skip
    assert {b.name: b.material for b in part.bodies()}["insert-foot"] == "brass"


@pytest.mark.parametrize("end", ["foot", "top"])
@pytest.mark.parametrize("shape", ["round", "hex"])
@pytest.mark.parametrize("thread", ["M2.5", "M3", "M4", "M5"])
@pytest.mark.parametrize("wider", [0.0, 0.2])
def test_nut_pockets_hold_a_nut_of_iso_4032(end, shape, thread, wider):
    """ISO 4032 by the table of bd_warehouse: the pocket is 0.2 wider across the flats and 0.3 deeper than the nut."""
    row = next(r for r in _outside("hex_nut_parameters.csv") if r["Size"].split("-")[0] == thread and r["iso4032:s"])
    across, high = float(row["iso4032:s"]), float(row["iso4032:m"])
    assert (NUTS[thread].across, NUTS[thread].height) == (across, high)
    part = Riser(height=20, across=16, shape=shape, hole="nut", nut_end=end, thread=thread, material="printed")
    solids = part.compensated(wider).solids()
    wide, deep = across + 0.2 + wider, high + 0.3
    hexagon = math.sqrt(3) / 2
    around = math.pi * 64 if shape == "round" else hexagon * 256
    bore = math.pi / 4 * (THREADS[thread].clearance["medium"] + wider) ** 2
    assert solids["riser"].Volume() == pytest.approx(20 * around - hexagon * wide**2 * deep - bore * (20 - deep))
    assert solids["nut"].Volume() == pytest.approx(
        (hexagon * across**2 - math.pi / 4 * THREADS[thread].minor ** 2) * high
    )
    entry, nut = part.patterns()
    assert (entry.name, entry.holes[0].thread) == ("top" if end == "foot" else "foot", None)
    # The nut's own pattern lies where the nut bears, and looks the way the screw comes from.
    assert (nut.name, nut.body, nut.holes[0].thread, nut.holes[0].threaded) == ("nut", "nut", thread, high)
    assert nut.pose[2, 3] == pytest.approx(deep if end == "foot" else 20 - deep)
    np.testing.assert_array_equal(nut.pose[:3, 2], entry.pose[:3, 2])
    assert part.frame(end).bodies == ("riser", "nut")  # what lies there may touch the nut, should it stand flush
    # It is printed with its pocket upward.
    lying = part.print_pose()
    assert (lying @ (0, 0, 0 if end == "foot" else 20, 1))[2] == pytest.approx(20)
