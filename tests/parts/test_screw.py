"""Screw tables against outside copies of the standards; screws and nuts drawn as declared and clear of their bores.

The outside data are the tables of the PyPI package bd_warehouse, read as data and never imported.
"""

from __future__ import annotations

import csv
import importlib.util
import math
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from pydantic import ValidationError

from elbowroom.model.geometry.tessellate import tessellate
from elbowroom.parts.catalogue import sizes
from elbowroom.parts.fan.layers import ISO_7089
from elbowroom.parts.made.riser import Riser
from elbowroom.parts.screw.screw import Nut, Screw
from elbowroom.parts.screw.screw_tables import (
    DRIVER,
    ENGAGEMENT,
    FAN_SCREW,
    HEADS,
    INCH,
    INCHES,
    LENGTH_TOLERANCE,
    LONG,
    METRIC,
    NUTS,
    ROOT_LESS,
    SCREW_THREADS,
    TORQUES,
    WASHERS,
    Cited,
    designation,
    head,
    length_tolerance,
    look_alikes,
    nut,
    shank,
    stock,
    washer,
)
from elbowroom.parts.vocabulary.base import MARKS
from elbowroom.parts.vocabulary.pose import apply, bring_together
from elbowroom.parts.vocabulary.threads import THREADS
from tests.parts.probe import KERNEL_MM, Inside, catalogue_parts, check_drawing, check_frames, check_pattern

PRINTED_MM = 0.0005  # tables are printed to 0.01 mm or 0.001 in; half a unit of a finer one
KEYS = {"M2.5": "M2.5-0.45", "M3": "M3-0.5", "M4": "M4-0.7", "M5": "M5-0.8", "6-32": "#6-32"}
COLUMNS = {  # where the outside tables keep each head; ISO 7045 has the head of ISO 14583, and only that is there
    "cap": ("socket_head_cap_parameters.csv", "iso4762", "asme_b18.3"),
    "pan": ("pan_head_parameters.csv", "iso14583", "asme_b_18.6.3"),
    "button": ("button_head_parameters.csv", "iso7380_1", ""),
}
# What the outside tables are known to have wrong, or to mean otherwise: (what they say, why it is not copied).
SLIPS = {
    ("pan", "6-32", "k"): (0.103 * INCH, "B18.6.3 gives 0.103 in for the square recess and 0.097 for the cross recess"),
    ("washer", "M2.5", "h"): (0.55, "the greatest thickness of ISO 7089, not the nominal one"),
    ("washer", "M3", "h"): (0.55, "the same"),
    ("washer", "M3.5", "h"): (0.55, "the same"),
    ("washer", "M4", "h"): (0.9, "the same"),
    ("washer", "M5", "h"): (1.1, "the same"),
}


def table(name: str) -> dict[str, dict[str, str]]:
    spec = importlib.util.find_spec("bd_warehouse")
    assert spec is not None, "the outside data package bd_warehouse is not installed"
    assert spec.submodule_search_locations
    path = Path(next(iter(spec.submodule_search_locations))) / "data" / name
    with path.open(encoding="utf-8", newline="") as handle:
        rows = [{k.strip(): (v or "").strip() for k, v in row.items()} for row in csv.DictReader(handle)]
    return {next(iter(row.values())): row for row in rows}


@pytest.mark.parametrize("style", HEADS)
def test_heads_agree_with_the_outside_tables(style):
    name, metric, inch = COLUMNS[style]
    rows, seen = table(name), 0
    for size, own in HEADS[style].items():
        if size == FAN_SCREW:
            continue
        standard, unit = (inch, INCH) if size == "6-32" else (metric, 1.0)
        for column, value in (("dk", own.diameter), ("k", own.height)):
            outside, slip = float(rows[KEYS[size]][f"{standard}:{column}"]) * unit, SLIPS.get((style, size, column))
            if slip is None:
                assert value == pytest.approx(outside, abs=PRINTED_MM), (size, column)
            else:
                assert outside == pytest.approx(slip[0], abs=PRINTED_MM), f"{size} {column}: no longer a slip"
                assert abs(value - outside) > PRINTED_MM, f"{size} {column}: the slip is copied"
            seen += 1
    assert seen == 2 * len([s for s in HEADS[style] if s != FAN_SCREW])


def test_the_inch_pan_head_is_the_one_with_a_cross_recess():
    """ASME B18.6.3, number 6: 0.270 in across, 0.097 in high."""
    assert head("pan", "6-32").diameter == pytest.approx(6.858)
    assert head("pan", "6-32").height == pytest.approx(2.464, abs=PRINTED_MM)


def test_nuts_agree_with_the_outside_table_of_iso_4032():
    rows = table("hex_nut_parameters.csv")
    for size in ("M2.5", "M3", "M4", "M5"):
        row = rows[KEYS[size]]
        assert (nut(size).height, nut(size).across) == (float(row["iso4032:m"]), float(row["iso4032:s"]))
    assert "#6-32" not in rows  # so that the number 6 nut rests on memory, and says so
    assert nut("6-32").cited.mark == "M"


def test_washers_are_nominal_and_their_spread_reaches_the_greatest_thickness():
    rows = table("plain_washer_parameters.csv")
    for name, size in [(n, n) for n in ("M2.5", "M3", "M4", "M5")] + [("6-32", "M3.5"), (FAN_SCREW, "M5")]:
        own, slip = washer(name), SLIPS[("washer", size, "h")]
        assert (own.inner, own.outer, own.thickness) == ISO_7089[size]
        assert float(rows[size]["iso7089:h"]) == slip[0]
        assert own.thickness + own.plus_minus == pytest.approx(slip[0])
        assert own.inner > shank(name).major
    assert washer("6-32").cited.mark == washer(FAN_SCREW).cited.mark == "P"


def test_first_choice_lengths_are_those_of_the_standards():
    """ISO 4762's own list of lengths; the second choice is none of those up to 50, and of those beyond."""
    listed = {float(n) for n in table("nominal_screw_lengths.csv")["iso4762"]["Nominal_Sizes"].split(",")}
    assert set(METRIC.first) == {n for n in listed if 4 <= n <= 50}
    assert not set(METRIC.second) & listed
    assert set(LONG.second) - set(METRIC.second) == {n for n in listed if 50 < n <= 120}
    assert stock("M3") == stock("M4") == stock("M5") == LONG
    assert all(length_tolerance("M3", n)[1] > 0 for n in LONG.all())
    for name in SCREW_THREADS:
        own = stock(name)
        assert not set(own.first) & set(own.second)
        assert list(own.all()) == sorted({*own.first, *own.second})


def test_inch_lengths_are_sixteenths():
    for n in INCHES.first:
        assert n / INCH * 16 == pytest.approx(round(n / INCH * 16), abs=1e-9)
    assert designation("6-32", 31.75) == "6-32 x 1 1/4 in"
    assert designation("6-32", 6.35) == "6-32 x 1/4 in"
    assert designation("6-32", 25.4) == "6-32 x 1 in"
    assert designation("6-32", 30) == "6-32 x 30 mm"
    assert designation("M3", 30.0) == "M3 x 30"
    assert designation(FAN_SCREW, 10) == "fan screw 5 x 10"


def test_length_tolerance_follows_the_formula_of_iso_286_1():
    """IT15 = 640 i, i = 0.45 D^(1/3) + 0.001 D in micrometres, D the geometric mean of the step's ends. The standard
    prints ten times its rounded IT10, which lies up to 2.5 % from the formula; a wrong row would be 17 % off."""
    ends = (3, 6, 10, 18, 30, 50, 80, 120)
    for low, high in pairwise(ends):
        d = math.sqrt(low * high)
        it15 = 640 * (0.45 * d ** (1 / 3) + 0.001 * d) / 1000
        for length in (low + 0.001, high):
            minus, plus = length_tolerance("M3", length)
            assert minus == plus == pytest.approx(it15 / 2, rel=0.025), length
    # js15 as printed in charts of ISO tolerances for fasteners.
    printed = {3: 0.20, 6: 0.24, 10: 0.29, 18: 0.35, 30: 0.42, 50: 0.50, 80: 0.60, 120: 0.70}
    for length, half in printed.items():
        assert length_tolerance("M3", length) == (half, half)


def test_inch_screws_take_the_wider_of_two_tolerances():
    assert length_tolerance("6-32", 31.75) == pytest.approx((0.06 * INCH, 0.5))
    assert length_tolerance("6-32", 6.35) == pytest.approx((0.03 * INCH, 0.29))


@pytest.mark.parametrize("length", [0, -3, 121, math.nan])
def test_lengths_no_screw_has_get_no_tolerance(length):
    with pytest.raises(ValueError, match="no length tolerance"):
        length_tolerance("M3", length)


def test_every_row_is_cited():
    cited = [h.cited for rows in HEADS.values() for h in rows.values()]
    cited += [row.cited for t in (NUTS, WASHERS) for row in t.values()]
    cited += [c for _, c in ENGAGEMENT.values()] + [t.cited for t in TORQUES] + [DRIVER.cited, LENGTH_TOLERANCE]
    cited += [shank(t).cited for t in SCREW_THREADS]
    assert len(cited) > 30
    for c in cited:
        assert isinstance(c, Cited)
        assert len(c.source) > 7
        assert c.mark in MARKS
    assert all(WASHERS[t] and any(t in rows for rows in HEADS.values()) for t in SCREW_THREADS)


def test_look_alikes_are_told_apart_by_the_threads_numbers():
    """Both ways: the thicker jams in the thinner's hole, the thinner catches part of the thread or none."""
    assert set(look_alikes("M3")) == {"M2.5", "6-32"}
    assert set(look_alikes("6-32")) == {"M3", "M4"}
    assert not look_alikes("M5")
    assert not look_alikes(FAN_SCREW)
    for hole in SCREW_THREADS:
        for screw, why in look_alikes(hole).items():
            assert hole in look_alikes(screw)
            assert ("too thick" in why) == (shank(screw).major > shank(hole).major)
    assert "0.51 mm too thick" in look_alikes("M3")["6-32"]
    # A 3.0 screw in a 6-32 hole: (3.0 - 2.646) / (3.505 - 2.646) of the height.
    assert "41%" in look_alikes("6-32")["M3"]
    assert "loose" in look_alikes("M3")["M2.5"]


@pytest.mark.parametrize("name", ["G1/4", "M6", "m3"])
def test_what_is_no_screws_thread_is_refused_with_the_choices(name):
    for ask in (shank, stock, look_alikes, washer):
        with pytest.raises(KeyError, match="M3"):
            ask(name)
    with pytest.raises(ValidationError, match=r"M3|fan-screw"):
        Screw(thread=name)


def test_unknown_heads_and_nuts_name_what_there_is():
    with pytest.raises(KeyError, match="known: cap, pan"):
        head("button", "6-32")
    with pytest.raises(KeyError, match=r"known: M2\.5, M3"):
        nut(FAN_SCREW)


SCREWS = {f"{n} {plain}": (n, plain) for n in ("screw-m3x30", "screw-6-32x1.25in", "fan-screw") for plain in (0, 6.2)}


@pytest.mark.parametrize("case", [*SCREWS, "all plain"])
def test_a_screw_is_head_plain_length_and_thread(case):
    """Volume by the textbook; extents, frames and single bodies by the shared probe."""
    row, plain = SCREWS.get(case, ("screw-m3x30", 30.0))
    part = Screw(**sizes("screw")[row].fields, plain=plain)
    check_frames(part)
    solid = check_drawing(part)["screw"]
    d, k = part.head_size
    own = shank(part.thread)
    volume = math.pi / 4 * (d**2 * k + own.major**2 * plain + own.drawn**2 * (part.length - plain))
    assert solid.Volume() == pytest.approx(volume, rel=1e-9)
    inside = Inside({"screw": solid})
    for x, z, there in (
        (0, 0.1, True), (0, -part.length + 0.1, True), (0, -part.length - 0.1, False),
        (d / 2 - 0.1, 0.1, True), (own.major / 2 + 0.05, -0.1, False), (0, k + 0.1, False),
        (own.drawn / 2 + 0.05, -float(part.length) + 0.1, plain == part.length),
    ):  # fmt: skip
        assert (inside.body((x, 0, z)) is not None) == there, (x, z)


def test_what_comes_out_of_the_bore_is_as_thick_as_what_goes_in():
    """Volume by the textbook: 6 mm of layers, 9 of bore, and the rest of 30 in the open at the major diameter."""
    part = Screw(**sizes("screw")["screw-m3x30"].fields, plain=6, bored=9)
    solid = check_drawing(part)["screw"]
    d, k = part.head_size
    own = shank(part.thread)
    volume = math.pi / 4 * (d**2 * k + own.major**2 * (6 + 15) + own.drawn**2 * 9)
    assert solid.Volume() == pytest.approx(volume, rel=1e-9)


@pytest.mark.parametrize("plain", [1e-9, 30 - 1e-9])
def test_a_hair_of_plain_length_still_draws(plain):
    check_drawing(Screw(plain=plain))


def test_a_screw_put_on_a_hole_points_into_it():
    """Seat against a face: the head stays outside, the tip goes in by the length, on the hole's axis."""
    riser = Riser(height=20, across=10, hole="blind", thread="M3", thread_depth=8)
    screw = Screw(length=6)
    for frame in ("seat", "shank"):
        pose = bring_together(screw.frame(frame).pose, riser.patterns()[1].pose)
        np.testing.assert_allclose(apply(pose, (0, 0, -6)), (0, 0, 14), atol=1e-12)
        np.testing.assert_allclose(apply(pose, (0, 0, 2.4)), (0, 0, 22.4), atol=1e-12)


@pytest.mark.parametrize("name", [t for t in SCREW_THREADS if t != FAN_SCREW])
def test_a_screw_in_its_bore_stands_clear_by_more_than_the_meshes_err(name):
    """Half of ROOT_LESS all round by the exact kernel, which is more than the bounds of both meshes together."""
    riser = Riser(height=20, across=10, hole="blind", thread=name, thread_depth=8)
    screw = Screw(thread=name, length=6)
    bored = riser.solids()["riser"]
    from elbowroom.parts.vocabulary import draw

    # Lifted, so that only shank and bore are near each other.
    placed = draw.baked(
        screw.solids()["screw"], bring_together(screw.frame("seat").pose, riser.patterns()[1].pose, lift=1.5)
    )
    gap = placed.distance(bored)
    assert gap == pytest.approx(ROOT_LESS / 2, abs=KERNEL_MM)
    assert shank(name).drawn == pytest.approx(THREADS[name].minor - ROOT_LESS)
    assert tessellate(placed.wrapped).bound + tessellate(bored.wrapped).bound < gap


def test_a_fan_screw_stands_clear_of_a_fans_hole():
    """Common practice (P): the hole of a fan's frame is 4.3 mm."""
    from elbowroom.parts.fan.fan import Fan

    assert Fan().patterns()[0].holes[0].diameter - shank(FAN_SCREW).drawn == pytest.approx(ROOT_LESS)


NUT_PARTS = catalogue_parts("nut") | {"odd": Nut(thread="M4", height=2.2, across=9.1)}


@pytest.mark.parametrize("case", NUT_PARTS)
def test_a_nut_is_a_bored_hexagon(case):
    part = NUT_PARTS[case]
    check_frames(part)
    solids = check_drawing(part)
    height, across = part.hexagon
    bore = shank(part.thread).major + ROOT_LESS
    assert solids["nut"].Volume() == pytest.approx((math.sqrt(3) / 2 * across**2 - math.pi / 4 * bore**2) * height)
    for pattern in part.patterns():
        check_pattern(pattern, Inside(solids), through=height)
        assert pattern.holes[0].threaded == height


def test_the_catalogue_says_what_the_tables_say():
    for part in catalogue_parts("nut").values():
        assert part.hexagon == pytest.approx((nut(part.thread).height, nut(part.thread).across))
    rows = catalogue_parts("screw")
    for name, part in rows.items():
        own = head(part.head, part.thread)
        assert part.head_size == pytest.approx((own.diameter, own.height)), name
        assert any(float(part.length) == pytest.approx(n) for n in stock(part.thread).all()), name
        assert part.plain == 0, name
    assert {p.thread for p in rows.values()} == set(SCREW_THREADS)
    m3 = {float(p.length) for p in rows.values() if (p.thread, p.head) == ("M3", "pan")}
    assert m3 == set(METRIC.first)


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: Screw(length=10, plain=12), "plain 12 is 2 mm more than the length of 10"),
        (lambda: Screw(thread="6-32", head="button"), "no button head is known for a 6-32 screw; known: cap, pan"),
        (lambda: Screw(thread="M5", head_diameter=5), "at least 5.5"),
        (lambda: Screw(length=1), "greater than or equal to 2"),
        (lambda: Screw(head="hex"), "'cap', 'pan' or 'button'"),
        (lambda: Nut(thread="fan-screw"), "there is no nut for a fan-screw; known: M2.5"),
        (lambda: Nut(thread="M5", across=5), "leaves no wall around a M5 bore; at least 5.7"),
    ],
)
def test_impossible_ones_are_refused_with_the_numbers(make, said):
    with pytest.raises(ValidationError) as e:
        make()
    assert said in str(e.value)


def test_a_measured_head_takes_the_place_of_the_standards():
    part = Screw(thread="6-32", head="button", head_diameter=6.6, head_height=1.9)
    assert part.head_size == (6.6, 1.9)
    assert part.called == "6-32 x 30 mm button head"
    assert Screw(head_diameter=7).head_size == (7.0, head("pan", "M3").height)
