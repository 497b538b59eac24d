"""Angle brackets: closed forms, what they are screwed to, washers that have room, and refusals with the millimetres."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pydantic import ValidationError

from elbowroom.parts.fan.fan import Fan
from elbowroom.parts.fan.layers import ISO_7089
from elbowroom.parts.made.bracket import PlateBracket
from elbowroom.parts.vocabulary.pose import apply, bring_together, compose, inverse
from elbowroom.parts.water.pump import Pump
from elbowroom.parts.water.pump_bracket import PumpBracket
from tests.parts.probe import SKIN, Inside, catalogue_parts, check_drawing, check_frames

BRACKETS = catalogue_parts("plate-bracket") | catalogue_parts("pump-bracket") | {
    "plain": PlateBracket(stiffening="plain", width=33.3, foot=27.7, upright=51.1, thickness=3.3, foot_slot=0,
                          foot_slots=1, face_thread="6-32", face_pitch=14, face_rows=2),
    "large fillet": PlateBracket(stiffening="fillet", fillet=9, foot=36, foot_slot=3, upright=40),
    "small fillet": PlateBracket(stiffening="fillet", fillet=1, face_rows=2),
    "four slots": PumpBracket(foot_rows=2, foot=134, foot_slot=6, face_slot=12, width=130),
}  # fmt: skip


def flange_holes(part, name: str, roof: bool) -> float:
    """Area of a pattern's holes: circles, slots, and with a roof three quarters of a circle and two tangents."""
    area = 0.0
    for p in part.patterns():
        if p.name == name:
            for h in p.holes:
                r = h.diameter / 2
                area += 2 * r * h.slot + (r * r * (0.75 * math.pi + 1) if roof else math.pi * r * r)
    return area


def closed_form(part) -> float:
    w, f, u, t = (float(v) for v in (part.width, part.foot, part.upright, part.thickness))
    volume = w * t * (f + u - t)
    if part.stiffening == "gussets":
        volume += 2 * part.gusset * (f - t) * (u - t) / 2
    if part.stiffening == "fillet":
        volume += w * part.fillet**2 * (1 - math.pi / 4)
    return volume - t * (flange_holes(part, "foot", False) + flange_holes(part, "face", True))


@pytest.fixture(scope="module", params=BRACKETS)
def bracket(request):
    part = BRACKETS[request.param]
    return part, check_drawing(part)


def test_volume_is_that_of_two_flanges_what_stiffens_them_and_the_holes(bracket):
    part, solids = bracket
    assert solids["bracket"].Volume() == pytest.approx(closed_form(part))
    wide = part.compensated(0.25)
    assert wide.solids()["bracket"].Volume() == pytest.approx(closed_form(wide))


def test_holes_go_through_and_their_walls_stand(bracket):
    part, solids = bracket
    check_frames(part)
    inside, t = Inside(solids), float(part.thickness)
    for pattern in part.patterns():
        for h in pattern.holes:
            a = math.radians(h.angle)
            along, side = np.array([math.cos(a), math.sin(a)]), np.array([-math.sin(a), math.cos(a)])
            middle, r = np.array([h.x, h.y]), h.diameter / 2
            for z in (0.5, -SKIN, -t / 2, -t + SKIN, -t - 0.5):
                for end in (-h.slot / 2, 0.0, h.slot / 2):
                    for at in (middle + end * along, middle + end * along - (r - SKIN) * side):
                        assert inside.body(apply(pattern.pose, (*at, z))) is None
            # Below, and to both sides in a foot's slot or a face's hole, stands the wall.
            low = middle - h.slot / 2 * along - (r + SKIN) * (along if h.slot else np.array([0.0, 1.0]))
            for at in (low, middle + (r + SKIN) * side if h.slot else middle + np.array([r + SKIN, 0.0])):
                for z in (-SKIN, -t + SKIN):
                    assert inside.body(apply(pattern.pose, (*at, z))) == "bracket"


def test_washers_lie_flat_inside(bracket):
    """A washer of ISO 7089 at both ends of every slot touches nothing but its flange: the ring above it is void."""
    part, solids = bracket
    inside, t = Inside(solids), float(part.thickness)
    for pattern in part.patterns():
        screw = part.foot_thread if pattern.name == "foot" else part.face_thread
        r = ISO_7089["M3.5" if screw == "6-32" else screw][1] / 2
        for h in pattern.holes:
            a = math.radians(h.angle)
            for end in (-1, 1):
                x, y = h.x + end * h.slot / 2 * math.cos(a), h.y + end * h.slot / 2 * math.sin(a)
                for b in np.linspace(0, 2 * math.pi, 24, endpoint=False):
                    at = (x + (r - SKIN) * math.cos(b), y + (r - SKIN) * math.sin(b), -t - SKIN)
                    assert inside.body(apply(pattern.pose, at)) is None


def test_frames_look_out_of_the_angle(bracket):
    part, _ = bracket
    foot, face = part.frame("foot"), part.frame("face")
    np.testing.assert_array_equal(foot.pose[:3, 2], (0, 0, -1))
    np.testing.assert_array_equal(face.pose[:3, 2], (0, -1, 0))
    np.testing.assert_allclose(foot.pose[:3, 3], (0, part.foot / 2, 0))
    np.testing.assert_allclose(face.pose[:3, 3], (0, 0, part.upright / 2))
    assert foot.size == (part.width, part.foot)
    assert face.size == (part.width, part.upright)


def placed(pattern, by=None):
    """Hole centres in the coordinates of what `by` places the part in."""
    at = pattern.pose if by is None else compose(by, pattern.pose)
    return [apply(at, (h.x, h.y, 0)) for h in pattern.holes]


def pattern_of(part, name):
    return next(p for p in part.patterns() if p.name == name)


def test_the_slots_behind_a_pump_meet_the_brackets_holes():
    """Back to face, slid so that both patterns' middles meet: each hole lies in the middle of a slot."""
    pump, bracket = Pump(), PumpBracket()
    face, back = pattern_of(bracket, "face"), pattern_of(pump, "back")
    on = bring_together(back.pose, face.pose, offset=(0, float(np.mean([h.y for h in face.holes]))))
    theirs = placed(back, on)
    for at in placed(face):
        assert min(float(np.linalg.norm(at - b)) for b in theirs) == pytest.approx(0, abs=1e-9)


def test_the_holes_in_a_pumps_foot_meet_the_brackets_holes():
    pump, bracket = Pump(bracket=0), PumpBracket(face_pitch=(34, 34), upright=70)
    face, foot = pattern_of(bracket, "face"), pattern_of(pump, "base")
    on = bring_together(foot.pose, face.pose, offset=(0, float(np.mean([h.y for h in face.holes]))))
    for at in placed(face):
        assert min(float(np.linalg.norm(at - b)) for b in placed(foot, on)) == pytest.approx(0, abs=1e-9)
    assert {h.thread for h in foot.holes} == {"M4"}
    assert face.holes[0].diameter == 4.5  # ISO 273 medium for M4


@pytest.mark.parametrize(("size", "pitch"), [(120, 105.0), (140, 124.5)])
@pytest.mark.parametrize("rows", [1, 2])
def test_the_foots_slots_are_over_the_holes_of_a_fan_opening(size, pitch, rows):
    bracket = PumpBracket(fan_size=size, foot_rows=rows, foot=44 if rows == 1 else pitch + 30, width=pitch + 25)
    foot, fan = pattern_of(bracket, "foot"), pattern_of(Fan(size=size, hole_pitch=pitch), "intake")
    assert len(foot.holes) == 2 * rows
    # Brought so that the first hole meets, all of them do: the pitch is the opening's.
    on = bring_together(foot.pose, fan.pose)
    mine, theirs = placed(foot, on), placed(fan)
    first = min(theirs, key=lambda p: (p[0], p[1]))
    shift = first - min(mine, key=lambda p: (p[0], p[1]))
    for at in mine:
        assert min(float(np.linalg.norm(at + shift - b)) for b in theirs) == pytest.approx(0, abs=1e-9)


def test_a_plate_on_the_face_stands_square_to_the_panel_under_the_foot():
    part = PlateBracket()
    across = compose(inverse(part.frame("foot").pose), part.frame("face").pose)
    assert across[2, 2] == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: PlateBracket(foot_slot=28), r"hole 1 in the foot .* is 1.45 mm too near the edge: 1.2 mm of wall"),
        (lambda: PlateBracket(foot_pitch=5.5), r"holes 1 and 2 in the foot are 0.20 mm too near"),
        (lambda: PlateBracket(foot_pitch=28), r"in the foot .* washer 9 .* 1.50 mm too near a gusset"),
        (lambda: PlateBracket(face_centre=8), r"hole 1 in the face .* 9 wide: 0.50 mm too near the inner corner"),
        (lambda: PlateBracket(face_centre=41), r"hole 1 in the face .* is 0.38 mm too near the edge"),
        (lambda: PlateBracket(stiffening="fillet", fillet=40), r"fillet 40 is 8 mm more than the shorter flange"),
        (lambda: PlateBracket(stiffening="fillet", fillet=24, foot_slot=0), r"9 wide: 0.50 mm too near the inner"),
        (lambda: PlateBracket(width=10, gusset=4, foot_slots=1, face_holes=1), r"leave nothing between them: 0.4 mm"),
        (lambda: PlateBracket(foot=8, thickness=7), r"flanges 7 thick leave no angle: 1.4 mm short"),
        (lambda: PlateBracket(thickness=1), r"greater than or equal to 1.2"),
        (lambda: PlateBracket(face_thread="G1/4"), r"no screw of thread G1/4 passes through a bracket"),
        (lambda: PumpBracket(fan_size=None), r"plain slots need foot_pitch"),
        (lambda: PumpBracket(fan_size=100), r"no hole pitch is known for a 100 mm fan"),
        (lambda: PumpBracket(width=116), r"in the foot leaves no room for a washer 9 wide: 2.00 mm too near a gusset"),
        (lambda: PumpBracket(upright=116), r"hole 3 in the face .* is 1.38 mm too near the edge"),
        (lambda: PumpBracket(face_pitch=(0, 34)), r"face_pitch 0, 34 must be above 0 both ways"),
        (lambda: PumpBracket(foot_rows=2), r"hole 1 in the foot .* too near the edge"),
    ],
)  # fmt: skip
def test_bracket_that_cannot_be_made_is_refused(make, message):
    with pytest.raises(ValidationError, match=message):
        make()
