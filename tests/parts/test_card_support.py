"""Card supports: closed forms, the saddle at the height stated, the screw's room, and refusals with the millimetres."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pydantic import ValidationError

from elbowroom.parts.card.card_support import COLLAR, CardSupport
from elbowroom.parts.screw import captive
from elbowroom.parts.screw.screw_tables import HEADS, shank
from elbowroom.parts.vocabulary.threads import THREADS
from tests.parts.probe import SKIN, Inside, catalogue_parts, check_drawing, check_frames, check_pattern

SUPPORTS = catalogue_parts("card-support") | {
    "wide saddle": CardSupport(height=71.7, saddle=(44, 13.3), pad=0, lip=6.6, across=11),
    "no pad, screw": CardSupport(height=66, adjust="screw", pad=0, screw_thread="M3", screw_length=16, screw_out=0),
    "hex, M5 screw": CardSupport(height=120, post="hex", across=18, adjust="screw", screw_thread="M5"),
}


@pytest.fixture(scope="module", params=SUPPORTS)
def support(request):
    part = SUPPORTS[request.param]
    return part, check_drawing(part)


def prismatoid(low, high, height):
    """Volume between two parallel rectangles (textbook): ends and four times the middle, by a sixth of the height."""
    middle = [(a + b) / 2 for a, b in zip(low, high, strict=True)]
    return height / 6 * (math.prod(low) + 4 * math.prod(middle) + math.prod(high))


def test_card_rests_at_the_height_stated(support):
    part, solids = support
    check_frames(part)
    saddle = part.frame("saddle")
    np.testing.assert_array_equal(saddle.pose[:3, 3], (0, 0, part.height))
    np.testing.assert_array_equal(saddle.pose[:3, 2], (0, 0, 1))
    inside = Inside(solids)
    (rest,) = saddle.bodies
    for x in (0.0, saddle.size[0] / 2 - SKIN):
        assert inside.body((x, 0, part.height - SKIN)) == rest
        assert inside.body((x, 0, part.height + SKIN)) is None
    (pattern,) = part.patterns()
    check_pattern(pattern, inside, through=float(part.foot_thickness))
    if part.lip > 0:
        y, top = part.saddle[1] / 2, part.height + part.lip
        for s in (1, -1):
            assert inside.body((0, s * (y + SKIN), top - SKIN)) == "support"
            assert inside.body((0, s * (y - SKIN), top - SKIN)) is None


@pytest.mark.parametrize("name", [n for n, p in SUPPORTS.items() if p.post == "square" and p.adjust == "none"])
def test_volume_of_a_square_post_is_foot_root_post_flare_saddle_and_lips(name):
    part = SUPPORTS[name]
    a, f, tf = (float(v) for v in (part.across, part.foot, part.foot_thickness))
    floor = part.height - part.pad
    lips = part.lip_thickness if part.lip > 0 else 0.0
    x, y = float(part.saddle[0]), part.saddle[1] + 2 * lips
    under = floor - part.saddle_thickness
    rise = max(x - a, y - a) / 2  # the flare's steeper side leans 45 degrees
    volume = f * f * tf - 4 * math.pi / 4 * THREADS["M4"].clearance["medium"] ** 2 * tf
    volume += prismatoid((a + 2 * COLLAR, a + 2 * COLLAR), (a, a), COLLAR)
    volume += a * a * (under - rise - tf - COLLAR) + prismatoid((a, a), (x, y), rise)
    volume += x * y * part.saddle_thickness + 2 * x * lips * (part.pad + part.lip)
    assert part.solids()["support"].Volume() == pytest.approx(volume)


def test_the_screw_turns_in_its_insert(support):
    """Bored as deep as the screw is long and 1 mm more, its insert flush with the floor, head on the screw's end."""
    part, solids = support
    if part.adjust == "none":
        assert "screw" not in solids
        return
    own, head = captive.INSERTS[part.screw_thread], HEADS["cap"][part.screw_thread]
    floor = part.height - part.pad - head.height - part.screw_out
    inside = Inside({"support": solids["support"]})
    r = THREADS[part.screw_thread].clearance["medium"] / 2
    bottom = floor - part.screw_length - 1
    for z, radius in ((floor - SKIN, own.pilot / 2), (floor - own.pocket + SKIN, own.pilot / 2), (bottom + SKIN, r)):
        assert inside.body((radius - SKIN, 0, z)) is None
        assert inside.body((radius + SKIN, 0, z)) == "support"
    assert inside.body((0, 0, bottom - SKIN)) == "support"
    assert solids["insert"].BoundingBox().zmax == pytest.approx(floor, abs=1e-6)
    screw = math.pi / 4 * (head.diameter**2 * head.height + shank(part.screw_thread).drawn ** 2 * part.screw_length)
    assert solids["screw"].Volume() == pytest.approx(screw)
    assert {b.name: b.material for b in part.bodies()} == {
        "support": "printed", "insert": "brass", "screw": "steel", **({"pad": "rubber"} if part.pad > 0 else {}),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"height": 20}, r"height 20 is 1.00 mm too low for foot, post and saddle together"),
        ({"foot": 20, "foot_pitch": 8}, r"foot 20 is 2.00 mm narrower than the root of its post"),
        ({"foot_pitch": 44}, r"hole 1 in the foot .* is 1.45 mm too near the edge"),
        ({"foot_pitch": 26}, r"foot_pitch 26 lets washers 9 wide run into the post by 1.67 mm"),
        ({"saddle": (12, 20)}, r"the saddle's length is 2.00 mm narrower than its post"),
        ({"saddle": (30, 10), "lip": 0}, r"the saddle's width is 4.00 mm narrower than its post"),
        ({"saddle": (0, 20)}, r"saddle 0, 20 must be above 0 both ways"),
        ({"adjust": "screw", "screw_out": 13}, r"leaves 7 of a screw 20 long in its insert: 1.10 mm short"),
        ({"adjust": "screw", "screw_thread": "6-32"}, r"no heat-set insert of thread 6-32 is known; known: M2.5"),
        ({"adjust": "screw", "across": 9}, r"the post around the insert is 1.70 mm: 0.40 mm short"),
        ({"adjust": "screw", "height": 70, "screw_length": 60, "screw_out": 4},
         r"left under the screw's bore is -1.00 mm: 2.20 mm short"),
        ({"adjust": "screw", "screw_thread": "M5", "saddle": (14, 8), "across": 6, "lip": 0}, r"around the insert"),
        ({"foot_thread": "G1/4"}, r"no screw of thread G1/4 passes through a foot"),
    ],
)  # fmt: skip
def test_support_that_cannot_be_made_is_refused(fields, message):
    with pytest.raises(ValidationError, match=message):
        CardSupport(**fields)
