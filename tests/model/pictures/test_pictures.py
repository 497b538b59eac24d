"""Pictures of one small build: every number is that of its finding, words stand clear of each other, names are only
words. Looked at by their facts - texts, extents, areas - and not by their pixels."""

from __future__ import annotations

import io
import json
import re
from xml.etree import ElementTree as ET

import numpy as np
import pytest
import shapely
from PIL import Image

from elbowroom.model import pictures, pipeline
from elbowroom.model.build.problems import InputError
from elbowroom.model.pictures import cut, port, section, stack
from elbowroom.model.pictures.camera import camera, fit
from elbowroom.model.pictures.cut import Plane
from elbowroom.model.pictures.hidden import Placed, draw
from elbowroom.model.pictures.sheet import FIRST, HEIGHT, WIDTH, Picture, Sheet, fitted, wrapped
from elbowroom.model.pipeline import Checked
from elbowroom.model.store import Store
from elbowroom.model.templates.lettering import wide
from elbowroom.model.told.findings import Finding
from elbowroom.model.told.particulars import AtPort
from elbowroom.model.writers.bom import bought
from elbowroom.model.writers.job import Job

HOSTILE = '<b>&amp; "größe" 潮 ]]> <script>x</script>'
LONG = "a very long name that no drawing has any room for at all"
BUILD = f"""title: {json.dumps(HOSTILE)}
case: {{interior: {{depth: 480, width: 240, height: 480}}, slots: 0, board: null, sheet: 1.2}}
parts:
  base: {{box: custom, length: 80, width: 60, height: 20, material: aluminium, on: case.floor-wall,
    at: {{rear: 100, tray: 20}},
    holes: [{{face: top, at: [0, 0], thread: M3, depth: 10}}, {{face: top, at: [20, 0], thread: M3, depth: 10}}]}}
  lid: {{sheet: custom, length: 80, width: 60, thickness: 5, on: base.top, offset: [2, 1],
    holes: [{{face: bottom, at: [0, 0], diameter: 3.4}}, {{face: bottom, at: [20, 0], diameter: 3.4}}]}}
  foot: {{box: custom, length: 40, width: 30, height: 20, material: aluminium, on: case.floor-wall,
    at: {{rear: 300, tray: 20}}, holes: [{{face: top, at: [0, 0], thread: M3, depth: 8}}]}}
  strap: {{sheet: custom, length: 40, width: 30, thickness: 4, on: foot.top,
    holes: [{{face: bottom, at: [0, 0], diameter: 3.4}}]}}
  one: {{box: custom, length: 60, width: 40, height: 30, at: {{rear: 40, tray: 100, floor: 200}}}}
  {LONG}: {{box: custom, length: 60, width: 40, height: 30, at: {{rear: 98, tray: 100, floor: 210}}}}
  near größe 潮: {{box: custom, length: 60, width: 40, height: 30, at: {{rear: 40, tray: 100, floor: 230.5}}}}
  rod: {{cylinder: custom, diameter: 20, height: 60, at: {{rear: 100.7, tray: 110, floor: 280}}, turn: {{x: 31}}}}
  stop: {{cylinder: custom, diameter: 24, height: 60, at: {{rear: 119, tray: 110, floor: 280}}}}
  out of it: {{box: custom, length: 20, width: 60, height: 20, at: {{rear: 400, open: -30, floor: 300}}}}
  pump: {{pump: pump-combo-75, bracket: 0, on: case.floor-wall, at: {{rear: 300, open: 20}}}}
  wall: {{box: custom, length: 4, width: 80, height: 200, at: {{rear: 389, open: 10, floor: 5}}}}
screws: {{use: {{foot.top: M3x16}}}}
"""
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def checked(tmp_path_factory: pytest.TempPathFactory) -> Checked:
    file = tmp_path_factory.mktemp("build") / "build.yaml"
    file.write_text(BUILD, encoding="utf-8")
    return pipeline.check(file, Store.default())


@pytest.fixture(scope="module")
def drawn(checked: Checked) -> dict[str, Picture]:
    found = list(pictures.pictures(checked, Store.default()))
    assert len({p.name for p in found}) == len(found)
    return {p.name: p for p in found}


def tree(picture: Picture) -> ET.Element:
    return ET.fromstring(picture.svg)


def words(picture: Picture) -> list[str]:
    return [t.text or "" for t in tree(picture).iter(f"{SVG}text")]


def boxes(picture: Picture) -> list[tuple[float, float, float, float, str]]:
    """Room of each line of words, from what the file says alone: size, place, anchor, and the font's own widths."""
    out = []
    for t in tree(picture).iter(f"{SVG}text"):
        size, x, y, line = float(t.attrib["font-size"]), float(t.attrib["x"]), float(t.attrib["y"]), t.text or ""
        w = wide(line, size)
        left = x - {"end": w, "middle": w / 2}.get(t.get("text-anchor", "start"), 0.0)
        out.append((left, y - 0.73 * size, left + w, y + 0.2 * size, line))
    return out


def pairs(checked: Checked) -> list[Finding]:
    return [f for f in checked.findings if f.question in section.PAIRS and f.verdict not in ("clear", "pass")]


def test_every_failing_finding_has_a_picture_and_no_other(checked: Checked, drawn: dict[str, Picture]) -> None:
    failing = {f.id for f in checked.findings if f.verdict in ("clash", "fail", "touch", "tight", "unknown")}
    shown = {tree(p).get("data-finding") for p in drawn.values()} - {None}
    assert failing <= shown
    others = {f.id for f in checked.findings if f.id in shown - failing}
    assert all(i.startswith("screw:") for i in others)  # a stack is drawn of every kind of screw
    assert {"view-open", "view-front", "view-roof", "view-corner", "exploded"} <= set(drawn)


def test_a_section_says_the_number_of_the_json_to_the_digit(checked: Checked, drawn: dict[str, Picture]) -> None:
    by_id = {tree(p).get("data-finding"): p for p in drawn.values()}
    assert len(pairs(checked)) >= 6
    for f in pairs(checked):
        digits = json.dumps(f.to_json()["measured"])
        picture = by_id[f.id]
        assert tree(picture).get("data-measured") == digits
        assert f"{digits} mm" in words(picture)


def test_in_a_section_both_parts_are_cut_and_what_they_share_is_as_deep_as_told(checked: Checked) -> None:
    """Two boxes that share 2 mm, and two that stand 0.5 mm apart: measured again in the cut itself."""
    deep = next(f for f in checked.findings if f.verdict == "clash" and set(f.parts) == {"one", LONG})
    near = next(f for f in checked.findings if f.verdict == "tight")
    for f, expected in ((deep, 2.0), (near, 0.5)):
        found = section.meeting(f, checked.scene)
        assert found is not None
        plane, faces = section._best(found, checked.scene, 30.0)
        one, other = (
            shapely.union_all([x.outline for x in faces if x.solid in part]) for part in (found.first, found.second)
        )
        assert one.area > 100
        assert other.area > 100
        if f is deep:
            x0, y0, x1, y1 = one.intersection(other).bounds
            assert min(x1 - x0, y1 - y0) == pytest.approx(expected, abs=1e-6)
        else:
            assert one.distance(other) == pytest.approx(expected, abs=1e-6)
        for point in (found.a, found.b):  # the plane goes through the witness points, or a hair beside an edge
            assert abs(plane.flat(point)[2]) <= max(map(abs, section.BESIDE))


def test_parts_of_a_section_differ_by_hatch_and_not_by_colour_alone(drawn: dict[str, Picture]) -> None:
    picture = next(p for n, p in drawn.items() if n.startswith("section-interference-rod"))
    fills = [e.get("fill", "") for e in tree(picture).iter(f"{SVG}path")]
    assert len({f for f in fills if f.startswith("url(#")}) >= 3  # one, the other, and what they share


def test_the_cut_of_a_turned_cylinder_is_the_ellipse_it_should_be(checked: Checked) -> None:
    """A cylinder of 20 mm, its axis 31 degrees from upright, cut level: an ellipse of 10 by 10 / cos 31."""
    rod = next(s for s in checked.scene.solids if s.piece.name == "rod")
    middle = (rod.lo + rod.hi) / 2
    outline = cut.face(Plane(middle, camera("roof")), rod)
    x0, y0, x1, y1 = outline.bounds
    assert x1 - x0 == pytest.approx(20.0, abs=2 * rod.mesh.bound + 1e-6)
    assert y1 - y0 == pytest.approx(20.0 / np.cos(np.radians(31)), abs=3 * rod.mesh.bound + 1e-6)


def test_no_words_of_a_picture_stand_on_others_or_off_the_page(drawn: dict[str, Picture]) -> None:
    for name, picture in drawn.items():
        high = float(tree(picture).attrib["height"])
        found = boxes(picture)
        for i, (x0, y0, x1, y1, line) in enumerate(found):
            assert x0 >= 0, (name, line)
            assert x1 <= WIDTH, (name, line)
            assert y0 >= 0, (name, line)
            assert y1 <= high, (name, line)
            for a0, b0, a1, b1, other in found[i + 1 :]:
                assert x1 <= a0 or a1 <= x0 or y1 <= b0 or b1 <= y0, (name, line, other)


def test_names_are_words_and_never_markup(drawn: dict[str, Picture]) -> None:
    known = {"svg", "title", "desc", "defs", "clipPath", "rect", "g", "path", "circle", "text", "pattern", "image"}
    for picture in drawn.values():
        assert {e.tag.removeprefix(SVG) for e in tree(picture).iter()} <= known
        assert not re.search(rb'href="(?!data:image/png;base64,)', picture.svg)  # nothing is fetched
    assert tree(drawn["view-open"]).findtext(f"{SVG}title") == f"{HOSTILE}, seen from the glass"


def test_the_png_is_the_page_and_not_blank(drawn: dict[str, Picture]) -> None:
    for name in ("view-corner", "exploded", next(n for n in drawn if n.startswith("section-"))):
        image = Image.open(io.BytesIO(drawn[name].png())).convert("L")
        assert image.size[0] == WIDTH
        assert image.size[1] >= HEIGHT
        assert np.ptp(np.asarray(image)) > 150


def test_letters_that_the_font_has_not_are_question_marks_in_the_png_alone() -> None:
    def page(line: str) -> Picture:
        return Sheet(line).finished("x")

    assert page("潮").png() == page("?").png()
    assert "潮" in page("潮").svg.decode()


def test_views_tell_the_extents_of_all_that_is_solid(checked: Checked, drawn: dict[str, Picture]) -> None:
    solid = [s for s in checked.scene.solids if s.body.keep_out is None]
    size = np.max([s.hi for s in solid], axis=0) - np.min([s.lo for s in solid], axis=0)
    told = [f"{round(float(v), 1):g} mm" for v in size]
    assert {told[0], told[2]} <= set(words(drawn["view-open"]))
    assert {told[1], told[2]} <= set(words(drawn["view-front"]))
    assert {told[0], told[1]} <= set(words(drawn["view-roof"]))
    assert set(told) <= set(words(drawn["view-corner"]))


def test_what_stands_behind_another_part_is_not_drawn(checked: Checked) -> None:
    """From the roof the strap hides the foot under it, from the floor the foot the strap. Alone, both are seen."""
    by_name = {s.piece.name: s for s in checked.scene.solids}
    both = [Placed(by_name[n], np.zeros(3)) for n in ("foot", "strap")]

    def length(placed: list[Placed], name: str, view: str) -> float:
        eye = camera(view)
        points = np.array([s.lo for s in by_name.values()] + [s.hi for s in by_name.values()]) @ eye.axes
        put = fit(points.min(axis=0), points.max(axis=0), (0, 0, 900, 700))
        found = draw(Sheet("x"), placed, eye, put, (0, 0, 900, 700))
        k = next(i for i, p in enumerate(placed) if p.solid.piece.name == name)
        return float((found.seen == k).sum())

    for hidden, over, view in (("foot", "strap", "roof"), ("strap", "foot", "floor")):
        assert length(both, over, view) == length([both[0 if over == "foot" else 1]], over, view)
        assert length(both, hidden, view) < 0.05 * length([both[0 if hidden == "foot" else 1]], hidden, view)


def test_the_lines_of_a_box_are_its_edges(checked: Checked) -> None:
    """Seen square on, four edges: as long as the box is round, and no others."""
    one = next(s for s in checked.scene.solids if s.piece.name == "one")
    eye = camera("open")
    ends = np.array([one.lo, one.hi]) @ eye.axes
    put = fit(ends.min(axis=0), ends.max(axis=0), (100, 100, 900, 500))
    found = draw(Sheet("x"), [Placed(one, np.zeros(3))], eye, put, (0, 0, 1000, 600)).lines
    total = float(np.hypot(found[:, 2] - found[:, 0], found[:, 3] - found[:, 1]).sum())
    size = one.hi - one.lo
    assert total == pytest.approx(2 * (size[0] + size[2]) * put.scale, rel=0.01)


def test_the_exploded_view_is_numbered_as_the_parts_list(checked: Checked, drawn: dict[str, Picture]) -> None:
    items = bought(Job(checked.scene, checked.findings, Store.default().folder))
    said = words(drawn["exploded"])
    for n, (label, pieces) in enumerate(items, 1):
        assert said.count(str(n)) == 2, label  # in the list, and on what it means
        assert f"{len(pieces)} x {label}" in said


def test_a_screw_stack_names_every_layer_and_how_far_the_tip_gets(checked: Checked, drawn: dict[str, Picture]) -> None:
    [(chosen, finding)] = [
        (c, f) for c, f in stack.screws_of(checked.fastened.chosen, checked.findings) if c.joint.name == "foot.top"
    ]
    assert finding is not None
    assert finding.verdict == "fail"
    told = dict(finding.extra)
    picture = next(p for p in drawn.values() if tree(p).get("data-finding") == finding.id)
    said = words(picture)
    assert "strap 4 mm" in said
    assert f"tip {json.dumps(told['tip_mm'][1])} mm" in said
    assert f"thread {json.dumps(told['engagement_mm'][1])} mm" in said
    assert "room 8.0 mm" in said
    assert chosen.label in picture.title
    cut_bodies = {e.get("data-body") for e in tree(picture).iter(f"{SVG}path")}
    assert {"foot/body", "strap/body", "M3 x 16 at foot.top 1/screw"} <= cut_bodies


def test_holes_over_slots_say_by_how_much_each_screw_misses(checked: Checked, drawn: dict[str, Picture]) -> None:
    finding = next(f for f in checked.findings if f.question == "hole-alignment" and f.verdict == "fail")
    off = dict(finding.extra)["off_mm"]
    assert off == [2.0361, 2.0361]  # hypot(2, 1) less the play of 3.4 over 3, by hand
    said = words(next(p for p in drawn.values() if tree(p).get("data-finding") == finding.id))
    assert {"1: misses by 2.0361 mm", "2: misses by 2.0361 mm"} <= set(said)


def test_a_port_close_up_shows_the_port_and_what_is_in_its_way(checked: Checked) -> None:
    """A finding of a port of the pump, with a wall before it: cut through both, the number that of the finding."""
    pump = checked.layout.piece("pump")
    name = next(f.name for f in pump.part.frames() if f.kind == "port")
    origin, axis = pump.frame_pose(name)[:3, 3], pump.frame_pose(name)[:3, 2]
    at = tuple(float(c) for c in origin + 9 * axis)
    finding = Finding(
        "port-reach", "fail", ("pump",), "it is in the way", measured=-3.274999, where=(at, at),  # type: ignore[arg-type]
        extra=(("obstacle", "wall/body"),), about=AtPort(f"pump.{name}"), place=name,
    )  # fmt: skip
    picture = port.picture(finding, checked.scene, None)
    assert picture is not None
    assert {f"pump.{name}", "3.274999 mm in the way"} <= set(words(picture))
    assert tree(picture).get("data-measured") == "-3.274999"
    shown = {e.get("data-body") for e in tree(picture).iter(f"{SVG}path")}
    assert any(b and b.startswith("pump/") for b in shown)


def test_one_is_asked_for_by_id_piece_or_view(checked: Checked) -> None:
    f = pairs(checked)[0]
    assert tree(pictures.of_finding(checked, f.id)).get("data-finding") == f.id
    one = pictures.of_piece(checked, "one")
    assert "60 x 40 x 30 mm along the case: rear to front, glass to tray, floor to roof" in words(one)
    assert FIRST  # the piece is coloured, all else pale
    with pytest.raises(InputError, match="no view"):
        pictures.of_view(checked, "side")
    with pytest.raises(InputError, match=r'no part "ona"; nearest: "one"'):
        pictures.of_piece(checked, "ona")
    with pytest.raises(InputError, match="no finding"):
        pictures.of_finding(checked, "interference:no~such")


def test_words_that_are_too_wide_are_cut_short() -> None:
    assert wide(fitted("W" * 400, 17, 200), 17) <= 200
    lines = wrapped("word " * 90, 17, 300, 3)
    assert len(lines) == 3
    assert lines[-1].endswith("...")
    assert all(wide(line, 17) <= 300 for line in lines)
