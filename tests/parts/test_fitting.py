"""Fittings: what is drawn is what is declared, threads and seals meet, envelopes hold what they claim."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from elbowroom.parts.catalogue import sizes
from elbowroom.parts.fitting.fitting import Fitting
from elbowroom.parts.fitting.fitting_choice import adapters_for, catalogue_fittings, fittings_for, plugs_for
from elbowroom.parts.fitting.fitting_kinds import DEFAULTS, HEX_KINDS, SWIVELS, TUBE_KINDS
from elbowroom.parts.fitting.fitting_shape import CLEAR
from elbowroom.parts.tube.tube_stock import tube_stocks
from elbowroom.parts.vocabulary import draw
from elbowroom.parts.vocabulary.base import Body
from elbowroom.parts.vocabulary.pose import apply, bring_together, compose, pose, rotation, shift
from elbowroom.parts.vocabulary.threads import thread
from tests.parts.probe import SKIN, Inside, check_port, solids_of

CHORD = 0.05  # mm: chord error of the meshes the tests take points from
DEEP = 1e-3  # mm inside a cylinder's end, so that a point on it is plainly inside or outside the next one
NONE_MM3 = 1e-6  # mm3: volume of a boolean whose operands only touch; the kernel's own noise
BOX_MM = 2e-7  # mm: the kernel's optimal boxes keep its confusion tolerance of 1e-7 around edges

ROWS = [pytest.param(c.fitting, id=c.name) for c in catalogue_fittings()]
VARIANTS = [
    pytest.param(Fitting(kind=k, angle=a), id=f"{k}@{a}") for k in (*sorted(SWIVELS), "ball-valve") for a in (37, 180)
] + [pytest.param(Fitting(kind=k, hex_af=19), id=f"{k}-hex") for k in sorted(HEX_KINDS)]


def real(f: Fitting) -> list[Body]:
    return [b for b in f.bodies() if b.keep_out is None]


def kernel_box(shapes) -> tuple[float, ...]:
    from OCP.Bnd import Bnd_Box
    from OCP.BRepBndLib import BRepBndLib

    box = Bnd_Box()
    box.SetGap(0.0)
    for s in shapes:
        BRepBndLib.AddOptimal_s(s.wrapped, box, False, False)
    return box.Get()


def points(shape) -> np.ndarray:
    vertices, _ = shape.tessellate(CHORD, 0.2)
    return np.array([v.toTuple() for v in vertices])


def inside(p: np.ndarray, segment, eps: float = 1e-6) -> np.ndarray:
    """Which points lie in a flat-ended cylinder."""
    a, b = np.array(segment[0]), np.array(segment[1])
    length = np.linalg.norm(b - a)
    n = (b - a) / length
    along = (p - a) @ n
    away = np.linalg.norm(p - a - along[:, None] * n, axis=1)
    return (along >= -eps) & (along <= length + eps) & (away <= segment[2] + eps)


@pytest.mark.parametrize("f", ROWS + VARIANTS)
def test_every_body_is_one_valid_solid_none_overlap_and_the_box_is_the_declared_one(f):
    drawn = solids_of(f)
    assert set(drawn) == {b.name for b in f.bodies()}
    assert all(s.isValid() and s.ShapeType() == "Solid" and s.Volume() > 0 for s in drawn.values())
    for a, b in itertools.combinations([b.name for b in real(f)], 2):
        assert drawn[a].intersect(drawn[b]).Volume() < NONE_MM3, (a, b)
    box = f.box()
    assert kernel_box([drawn[b.name] for b in real(f)]) == pytest.approx((*box.lo, *box.hi), abs=BOX_MM)
    names = set(drawn)
    for frame in f.frames():
        assert set(frame.bodies) <= names


@pytest.mark.parametrize("f", [p for p in ROWS + VARIANTS if p.values[0].kind != "pass-through"])
def test_foot_and_seal_together_cover_the_land_without_a_gap(f):
    """The ring fills its groove: the faces at z = 0 add up to the whole foot less the bore."""
    drawn = solids_of(f)
    area = 0.0
    for name in ("seal", f.foot):
        for face in drawn[name].Faces():
            if face.geomType() == "PLANE" and abs(face.Center().z) < 1e-9 and abs(face.normalAt().z) > 0.999:
                area += face.Area()
    outer = f.frame("base").size[0]
    foot = outer**2 * math.sqrt(3) / 2 if f.kind in HEX_KINDS and f.hex_af else math.pi / 4 * outer**2
    bore = 0.0 if f.kind == "plug" else math.pi / 4 * f.bore**2
    assert area == pytest.approx(foot - bore, abs=1e-6)


def test_stub_stands_free_in_a_port_bored_at_the_minor_diameter_of_iso_228():
    stub = Fitting(kind="extension").solids()["thread"]
    assert thread("G1/4").minor == 11.445  # ISO 228-1
    wall = draw.turned([(11.445 / 2, -8), (12, -8), (12, 0), (11.445 / 2, 0)])
    assert stub.distance(wall) == pytest.approx(CLEAR, abs=1e-9)
    assert stub.BoundingBox().zmin == pytest.approx(-5, abs=1e-6)


@pytest.mark.slow
@pytest.mark.parametrize("kind", [k for k in DEFAULTS if k not in TUBE_KINDS and k != "plug"])
@pytest.mark.parametrize("angle", [0, 50])
def test_the_next_fitting_meets_the_next_port_face_to_face(kind, angle):
    """A plug is screwed into every female end, a port block on a male end: they touch and share no volume."""
    f = Fitting(kind=kind, **({"angle": angle} if "angle" in DEFAULTS[kind] else {}))
    mine = draw.cq.Compound.makeCompound([solids_of(f)[b.name] for b in real(f)])
    assert f.next_frames()
    for end in f.next_frames():
        if end.depth is None:
            port = draw.slab(draw.rectangle(-15, -15, 15, 15), [draw.circle(0, 0, thread(end.thread).bore)], -8)
            others, own = [port], pose()
        else:
            plug = Fitting(kind="plug", body_od=end.land)
            others, own = list(plug.solids().values()), plug.frame("base").pose
        placed = [draw.baked(o, bring_together(own, end.pose)) for o in others]
        assert sum(mine.intersect(o).Volume() for o in placed) < NONE_MM3
        assert min(mine.distance(o) for o in placed if o is not placed[0] or len(placed) == 1) < 1e-7


@pytest.mark.slow
@pytest.mark.parametrize(
    "f", [p for p in ROWS + VARIANTS if p.values[0].kind not in {*TUBE_KINDS, "plug", "male-male"}]
)
def test_female_ports_are_bored_as_deep_and_as_wide_as_they_say(f):
    inside_of = Inside({b.name: solids_of(f)[b.name] for b in real(f)})
    for end in f.next_frames():
        check_port(end, inside_of, walled=end.depth - SKIN)
        for turned in (0, 1.3, 3.9):  # the land is whole: material just under it out to its rim
            r = end.land / 2 - SKIN
            assert inside_of.body(apply(end.pose, (r * math.cos(turned), r * math.sin(turned), -SKIN))) == "body"


@pytest.mark.slow
@pytest.mark.parametrize("f", ROWS + VARIANTS)
def test_cylinders_hold_everything_above_the_seal_face(f):
    p = np.vstack([points(s) for n, s in f.solids().items() if n in {b.name for b in real(f)}])
    p = p[p[:, 2] >= -1e-9]
    if f.kind == "male-male":
        p = p[p[:, 2] <= f.height + 1e-9]  # its far thread goes into the next port
    held = np.any([inside(p, s) for s in f.cylinders()], axis=0)
    assert held.all(), p[~held][:3]
    for a, b, r in f.capsules():
        assert (a, b, r) in f.cylinders()


@pytest.mark.parametrize("f", ROWS + VARIANTS)
def test_cylinders_stray_from_the_drawn_fitting_by_no_more_than_they_say(f):
    """Rim points of the cylinders that no other cylinder holds, against the exact solids."""
    whole = draw.cq.Compound.makeCompound([s for n, s in solids_of(f).items() if n in {b.name for b in real(f)}])
    worst = 0.0
    for k, (a, b, r) in enumerate(f.cylinders()):
        at = pose(a, np.subtract(b, a))
        length = math.dist(a, b)
        turns = np.radians(np.arange(0, 360, 24))
        rim = np.array(
            [(r * math.cos(t), r * math.sin(t), z) for t in turns for z in (DEEP, length / 2, length - DEEP)]
        )
        rim = apply(at, rim)
        others = [inside(rim, s, -1e-6) for i, s in enumerate(f.cylinders()) if i != k]
        for x in rim[~np.any(others, axis=0)] if others else rim:
            worst = max(worst, whole.distance(draw.cq.Vertex.makeVertex(*x)))
    assert worst <= f.cylinder_excess + 1e-6


@pytest.mark.parametrize("kind", sorted(SWIVELS))
def test_swing_holds_the_swivel_and_touches_its_farthest_point(kind):
    f = Fitting(kind=kind, swing_keep_out=True)
    drawn = solids_of(f)
    assert drawn["body"].cut(drawn["swing"]).Volume() < NONE_MM3
    p = points(drawn["body"])
    profile = f.swing_profile()
    assert f.swing - CHORD <= np.hypot(p[:, 0], p[:, 1]).max() <= f.swing + 1e-6
    assert max(r for r, _ in profile) == pytest.approx(f.swing)
    assert (min(z for _, z in profile), max(z for _, z in profile)) == pytest.approx(
        (p[:, 2].min(), p[:, 2].max()), abs=CHORD
    )


def test_swing_radius_closed_forms():
    assert Fitting(kind="rotary-90", next_distance=14, next_od=17.5).swing == pytest.approx(math.hypot(14, 8.75))
    assert Fitting(kind="offset", sidestep=10, next_od=17.5).swing == pytest.approx(18.75)
    # At 45 deg the rim's own outermost point leads: (12 + 8.75) / sqrt 2.
    assert Fitting(kind="rotary-45", next_distance=12, next_od=17.5).swing == pytest.approx(20.75 / math.sqrt(2))
    assert Fitting(kind="rotary-90", swing_radius=20).swing == 20
    assert Fitting(kind="plug").swing == 0


@given(st.sampled_from(sorted(SWIVELS)), st.floats(-360, 360))
def test_angle_turns_the_next_port_about_the_thread_axis_and_nothing_else(kind, angle):
    still, turned = Fitting(kind=kind), Fitting(kind=kind, angle=angle)
    spun = compose(rotation((0, 0, 1), angle), still.frame("next").pose)
    assert np.allclose(turned.frame("next").pose, spun, atol=1e-9)
    assert np.array_equal(turned.frame("base").pose, still.frame("base").pose)
    assert turned.swing_profile() == still.swing_profile()


def test_next_axis_leaves_at_its_angle_from_the_place_the_fields_say():
    f = Fitting(kind="rotary-90", axis_height=16, next_distance=14)
    assert np.allclose(f.frame("next").pose[:3, 3], (14, 0, 16))
    assert np.allclose(f.frame("next").pose[:3, 2], (1, 0, 0))
    f = Fitting(kind="rotary-45", axis_height=10.5, next_distance=12)
    k = math.sqrt(0.5)
    assert np.allclose(f.frame("next").pose[:3, 2], (k, 0, k))
    assert np.allclose(f.frame("next").pose[:3, 3], (12 * k, 0, 10.5 + 12 * k))


def test_handle_stays_in_its_keep_out_from_open_to_closed():
    f = Fitting(kind="ball-valve", angle=30)
    drawn = solids_of(f)
    axis = (math.cos(math.radians(30)), math.sin(math.radians(30)), 0)
    pivot = shift(z=f.height / 2)
    for turned in (0, 31, 62, 90):
        spin = compose(pivot, rotation(axis, -turned), shift(z=-f.height / 2))
        assert draw.baked(drawn["handle"], spin).cut(drawn["handle-sweep"]).Volume() < NONE_MM3
    assert max(np.linalg.norm(points(drawn["handle"])[:, 2:] - f.height / 2, axis=1)) < f.handle_sweep
    local = apply(rotation((0, 0, 1), -30), points(drawn["handle-sweep"]))
    assert np.hypot(local[:, 1], local[:, 2] - f.height / 2).max() == pytest.approx(f.handle_sweep)


def test_a_panel_fits_between_the_flange_and_the_nut_of_a_pass_through():
    f = Fitting(kind="pass-through", panel=3, panel_hole=19)
    drawn = solids_of(f)
    panel = draw.slab(draw.rectangle(-40, -40, 40, 40), [draw.circle(0, 0, 19)], -3)
    assert sum(panel.intersect(s).Volume() for s in drawn.values()) < NONE_MM3
    assert panel.distance(drawn["body"]) < 1e-7
    assert panel.distance(drawn["nut"]) < 1e-7
    assert f.frame("nut").pose[2, 3] == -3
    assert f.frame("far").depth == f.frame("base").depth == f.next_depth


# Ranges of trade practice (P): diameter over all, height above the port.
RANGES = {
    "barb-10": ((16, 18), (20, 24)),
    "compression-10-13": ((17.5, 18.5), (20, 22)),
    "compression-10-16": ((20.5, 22.5), (22, 24)),
    "compression-13-19": ((24, 26.5), (23, 26)),
    "hard-tube-12": ((18, 19.5), (15, 19)),
    "hard-tube-14": ((20, 21.5), (15, 19)),
    "hard-tube-16": ((22, 24.5), (15, 19)),
    "plug": ((17, 18.5), (2, 6)),
    "male-male": ((17, 18.5), (3, 8)),
    "ball-valve": ((20, 22), (45, 55)),
}


@pytest.mark.parametrize("name", RANGES)
def test_catalogue_sizes_lie_in_the_ranges_of_the_trade(name):
    f = Fitting(**sizes("fitting")[name].fields)
    (d0, d1), (h0, h1) = RANGES[name]
    assert d0 <= 2 * max(r for a, b, r in f.cylinders() if a[:2] == b[:2] == (0, 0)) <= d1
    assert h0 <= f.height <= h1
    if f.kind == "collar":
        assert 8 <= f.insertion <= 11


@pytest.mark.parametrize("name", ["rotary-90", "rotary-90-compact", "rotary-45"])
def test_rotary_sizes_lie_in_the_ranges_of_the_trade(name):
    f = Fitting(**sizes("fitting")[name].fields)
    assert 17.5 <= f.body_od <= 20
    if f.kind == "rotary-90":
        assert 14 <= f.axis_height <= 18
        assert 12 <= f.next_distance <= 17
        assert 14.5 <= f.swing <= 22  # sources say 16-22; the compact one turns in less
    else:
        assert 20 <= f.box().hi[2] <= 26


def test_coolant_is_bore_area_by_length():
    assert Fitting(kind="extension", bore=8, height=20).coolant_ml() == pytest.approx(math.pi * 16 * 25 / 1000)
    # A tube counts for itself: 14 mm tube entering 10 of 17 leaves 7, and 5 of thread.
    assert Fitting(kind="collar").coolant_ml() == pytest.approx(math.pi * 4.5**2 * 12 / 1000)
    assert Fitting(kind="plug").coolant_ml() is None


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"kind": "compression", "collar_od": 15}, "collar_od 15 is 0.60 mm short"),
        ({"kind": "collar", "insertion": 16}, "height 17 is 1.20 mm short"),
        ({"kind": "barb", "tube_id": 8}, "tube_id 8 is 0.70 mm short"),
        ({"kind": "plug", "seal_od": 18}, "land 17 is 1.00 mm short"),
        ({"kind": "rotary-90", "axis_height": 12}, "axis_height 12 is 1.75 mm short"),
        ({"kind": "rotary-90", "swing_radius": 15}, "swing_radius 15 is 1.51 mm short"),
        ({"kind": "extension", "height": 7}, "height 7 is 1.70 mm short"),
        ({"kind": "extension", "bore": 11}, "thread 11.245 is 0.75 mm short"),
        ({"kind": "pass-through", "panel": 9}, "max_panel 8 is 1.00 mm short"),
        ({"kind": "ball-valve", "handle_sweep": 10, "handle_width": 12}, "handle_sweep 10 is 2.00 mm short"),
        ({"kind": "plug", "sidestep": 12}, "a plug fitting has no sidestep"),
        ({"kind": "elbow"}, "elbow|rotary-90"),
        ({"thread": "G14"}, "did you mean G1/4"),
    ],
)
def test_what_cannot_be_made_is_refused_in_millimetres(fields, says):
    with pytest.raises(ValidationError, match=says):
        Fitting(**fields)


@pytest.mark.parametrize("f", ROWS)
def test_a_full_dump_reads_back_as_the_same_fitting(f):
    again = Fitting(**f.model_dump())
    assert again == f
    assert again.shape_key() == f.shape_key()
    assert set(f.dimensions()) == set(f.fields_used())


def test_every_tube_that_a_fitting_is_sold_for_finds_one_of_its_own_kind():
    for stock in tube_stocks().values():
        found = fittings_for("G1/4", stock.od, stock.id, stock.kind)
        kinds = {c.fitting.kind for c in found}
        assert kinds <= ({"barb", "compression"} if stock.kind == "soft" else {"collar"})
        for c in found:
            od, inner = c.fitting.tube_size()
            assert c.fitting.kind == "barb" or od == stock.od
            assert inner in (None, stock.id)
    assert [c.name for c in fittings_for("G1/4", 14, 10, "petg")] == ["hard-tube-14"]
    assert [c.name for c in fittings_for("G1/4", 16, 10, "soft")] == ["barb-10", "compression-10-16"]
    assert fittings_for("G1/4", 15, 13, "copper") == ()
    assert fittings_for("G3/8", 14, 10, "petg") == ()
    with pytest.raises(ValueError, match="known: soft, petg"):
        fittings_for("G1/4", 14, 10, "steel")


def test_adapters_and_plugs_come_lowest_first_and_go_into_the_port():
    for chosen in (adapters_for("G1/4"), plugs_for("G1/4")):
        reach = [c.fitting.reach_length for c in chosen]
        assert reach == sorted(reach)
        assert chosen
        assert all(c.fitting.accepts("G1/4") for c in chosen)
    assert {c.fitting.kind for c in adapters_for("G1/4")} == SWIVELS | {"extension"}


def test_reach_and_finger_ring():
    f = Fitting(kind="compression", height=21, collar_height=16, collar_od=18, thread_length=5)
    assert f.reach_length == 26
    assert f.finger_ring() == (9, 5, 21)
    assert f.finger_room == 12
    assert Fitting(kind="rotary-90", collar_od=19, collar_height=5).finger_ring() == (9.5, 0, 5)
