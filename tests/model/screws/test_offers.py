"""Adapter plates end to end: offered for a radiator of the wrong gap, made, and put into the build, which then fits."""

from __future__ import annotations

import copy
import math
import re
from pathlib import Path

import pytest
import yaml

from elbowroom.model import making, pipeline
from elbowroom.model.build.source import parse
from elbowroom.model.checks import air
from elbowroom.model.checks.airflow import fans, open_share
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.making.adapters import layer_text
from elbowroom.model.screws import around
from elbowroom.model.screws.holding import holding
from elbowroom.model.screws.offers import offers
from elbowroom.model.store import Store
from elbowroom.model.told.findings import overall
from elbowroom.parts.vocabulary.pose import apply, inverse
from tests.model.screws.test_remedies import STORE, made

BUILD = """title: gap
case:
  interior: {depth: 480, width: 240, height: 480}
  sheet: 1.2
  openings:
    floor: {face: floor, size: 120, count: 3, gap: 20, slot: 4, centre: {rear: 240, tray: 120}}
stacks:
  floor:
    flow: in
    layers:
      - {fan: fan-120x25, cable_to: rear tray}
      - {radiator: radiator-360x45, name: low, ports_to: front}
printer: {bed: [420, 420, 250]}
"""


@pytest.mark.slow
def test_the_plate_that_is_offered_makes_the_build_fit(tmp_path: Path) -> None:
    file = tmp_path / "gap.yaml"
    file.write_text(BUILD)
    before = pipeline.check(file, Store.default())
    assert overall(before.findings) == "fails"
    (holes,) = [f for f in before.findings if f.question == "hole-alignment" and f.verdict == "fail"]
    # Common practice, no source: 15 against 20 mm drift by 5 mm a fan, more than a slot of 4 mm and M3 in 4.5 take.
    assert dict(holes.extra)["passing"] == 4
    assert any("adapter-for-low-b" in r for r in holes.remedies)
    made = making.make(file, tmp_path / "out", store=Store.default())
    assert not made.fails
    layer = (tmp_path / "out" / "layers" / "adapter-for-low-b.yaml").read_text()
    indented = "\n".join("      " + line for line in layer.splitlines())
    file.write_text(BUILD.replace("    layers:\n", f"    layers:\n{indented}\n"))
    after = pipeline.check(file, Store.default())
    assert overall(after.findings) == "fits", [f.text for f in after.findings if f.verdict == "fail"]
    screws = {f.about.joint: f.to_json() for f in after.findings if f.question == "screw"}
    assert set(screws) == {"low.b", "adapter for low b.b"}
    assert screws["low.b"]["count"] >= 8
    assert screws["adapter for low b.b"]["count"] >= 4
    # Every screw is a solid, and none of them meets what it passes.
    assert not [f.text for f in after.findings if f.verdict == "clash"]


@pytest.mark.parametrize("gap", [15, 20])
def test_nothing_is_offered_where_the_screws_pass(tmp_path: Path, gap: int) -> None:
    file = tmp_path / "gap.yaml"
    size = {15: "radiator-360x45", 20: "radiator-360x30-gap20"}[gap]
    file.write_text(re.sub("gap: 20", f"gap: {gap}", BUILD).replace("radiator-360x45", size))
    assert not pipeline.check(file, Store.default()).mended.offers


FILTERED = BUILD.replace("printer:", "    outside:\n      - {dust-filter: FILTER}\nprinter:")


@pytest.mark.slow
def test_a_dust_filter_that_keeps_the_plates_screws_out_is_named() -> None:
    """Rows of 15 over slots of 20: the heads of the plate's screws come 5 mm beside the filter's holes of 9 mm, in
    which a pan head of 5.6 mm (ISO 7045) has 1.7 mm to either side, and the slots reach 2 mm.
    """
    trials, fastened = made(FILTERED.replace("FILTER", "dust-filter-360"))
    (offer,) = offers(fastened.joints, trials)
    assert offer.part is not None
    assert "floor dust-filter must be left out, or cut free round the plate's screws" in offer.words


@pytest.mark.slow
def test_a_dust_filter_whose_holes_are_the_panels_needs_nothing() -> None:
    trials, fastened = made(FILTERED.replace("FILTER", "custom, fans: 3, gap: 20"))
    (offer,) = offers(fastened.joints, trials)
    assert offer.part is not None
    assert "dust-filter" not in offer.words


WIDER = """title: wider
case:
  interior: {depth: 520, width: 240, height: 480}
  sheet: 1.2
  slots: 0
  psu: null
  board: null
  feet: null
  openings:
    floor: {face: floor, size: 140, count: COUNT, slot: 0, centre: {rear: 260, tray: 120}}
stacks:
  floor:
    flow: in
    layers:
LAYERS
"""
FAN = "{fan: fan-120x25, cable_to: rear tray}"
GASKET = "{gasket: custom, fans: 2}"


def wider(count: int, layers: list[str]) -> str:
    radiator = f"{{radiator: radiator-{120 * count}x30, name: low, ports_to: front}}"
    text = "\n".join(f"      - {radiator if layer == 'radiator' else layer}" for layer in layers)
    return WIDER.replace("COUNT", str(count)).replace("LAYERS", text)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("count", "layers"),
    [
        (2, ["radiator", FAN]),
        (2, [FAN, "radiator"]),
        (3, ["radiator"]),
        (2, [FAN, "{gasket: custom, fans: 2}", "radiator"]),
    ],
)
def test_a_radiator_for_120_on_round_holes_for_140(count: int, layers: list[str]) -> None:
    """Hole pitches as drawn: 105 for 120, 124.5 for 140, fans that touch: no screw of the radiator meets a hole, whose
    nearest is 9.75 mm off along and across. The plate joins all of them; what it leaves open are the fans' own places,
    120 apart; and put into the file as it is told, everything holds and all of the air passes.
    """
    text = wider(count, layers)
    trials, fastened = made(text)
    (offer,) = offers(fastened.joints, trials)
    assert offer.part is not None, offer.words
    assert "but then" not in offer.words
    assert len(offer.part.holes_a) == len(offer.part.holes_b) == 4 * count
    assert len(offer.part.set_in()) == 4 * count
    places = sorted(float(o.at[0]) + offer.centre[0] for o in offer.part.openings)
    assert places == pytest.approx([120 * (i - (count - 1) / 2) for i in range(count)])
    document = copy.deepcopy(parse(text).values)
    (layer,) = yaml.safe_load(layer_text(offer.part, offer.joint, offer.centre))
    document["stacks"]["floor"]["layers"].insert(0, layer)
    _, after = made(yaml.safe_dump(document))
    joints = {j.name: j for j in after.joints}
    for name in ("low.b", "adapter for low b.b"):
        assert not joints[name].lost
        assert len(joints[name].axes) == 4 * count
    assert all(c.judged is not None and c.judged.verdict == "safe" for c in after.chosen)
    assert all(c.bears is None or c.bears.enough for c in after.chosen)
    scene = solidify(after.layout, STORE)
    assert not air.stopped(scene)
    plate = [s for s in scene.solids if s.piece.name == "adapter for low b"]
    for fan in fans(after.layout):
        # Of the fan's ring between its hub and a bore of 116 a hole of 113 leaves all but its rim.
        assert open_share(fan, plate) > 0.85


@pytest.mark.slow
@pytest.mark.parametrize("gap", [16, 22, 26, 30])
def test_nothing_is_offered_by_which_the_part_does_not_hold(gap: int) -> None:
    """Whatever the opening's gap: by the plate's screws into it the part holds, of all the screws it has, and so does
    the plate by those through the panel - or there is no offer, and its reason.
    """
    text = BUILD.replace("gap: 20, slot: 4", f"gap: {gap}, slot: 0").replace("depth: 480", "depth: 560")
    text = text.replace("      - {fan: fan-120x25, cable_to: rear tray}\n", "")
    trials, fastened = made(text)
    before = {j.name: j for j in fastened.joints}
    for offer in offers(fastened.joints, trials):
        if offer.part is None:
            assert offer.words.startswith("an adapter plate does not do it: ")
            continue
        joint = before[offer.joint]
        fit = next(f for f in joint.fits if f.piece.name == "case")
        at = around.pattern_pose(fit)
        holes = [(float(h.at[0]) + offer.centre[0], float(h.at[1]) + offer.centre[1]) for h in offer.part.holes_a]
        points = [tuple(float(v) for v in apply(inverse(at), a.origin)[:2]) for a in joint.axes]
        used = [i for i, p in enumerate(points) if min(math.dist(p, h) for h in holes) < 1e-3]
        assert len(used) == len(holes)
        assert holding(points, used).verdict == "holds"
        panel = [(h.x, h.y) for h in fit.pattern.holes]
        through = [(float(h.at[0]) + offer.centre[0], float(h.at[1]) + offer.centre[1]) for h in offer.part.holes_b]
        met = [min(range(len(panel)), key=lambda i: math.dist(panel[i], t)) for t in through]
        assert holding(panel, met).verdict == "holds"
