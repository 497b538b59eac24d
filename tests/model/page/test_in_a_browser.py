"""The page in a real browser: what is chosen is shown, by mouse, keyboard and touch; hostile names are text; nothing is
asked of a network or said on the console, which `opened` looks at.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from elbowroom.model.geometry.scene import Scene
from elbowroom.model.layout.layout import Gaps, Layout
from elbowroom.model.page.contents import Build, contents
from elbowroom.model.page.document import document
from elbowroom.model.pipeline import Checked
from elbowroom.model.told.findings import Finding
from elbowroom.parts.vocabulary.base import Box

Open = Callable[..., Any]  # conftest's `opened`
HOSTILE = "</script><img src=x onerror=alert(1)>{{scripts}}"
CHORD_MM = 0.05  # what a drawn round face may be off by


def made(count: int) -> str:
    found = [
        Finding("interference", "clash", (f"{HOSTILE} {i}", "b"), "...", (f"a {i}/x", "b/y"), i + 0.5, "mm", 0.0,
                where=((i, 0.0, 0.0), (i, 1.0, 0.0)))
        for i in range(count)
    ]  # fmt: skip
    layout = Layout(HOSTILE, (), (), Gaps(), Box((0, 0, 0), (400, 200, 400)))
    return document(*contents(Build(Scene(layout, ()), found, [], [], {})))


def test_names_are_text(opened: Open, small: Path, checked: Checked) -> None:
    assert checked.layout.title == HOSTILE
    page = opened(small).page
    assert page.locator("img").count() == 0
    assert page.locator("#build").inner_text() == HOSTILE
    assert page.title() == f"{HOSTILE}: It does not fit"


@pytest.mark.slow
def test_of_300_findings_all_can_be_listed_and_few_are_pinned(opened: Open, tmp_path: Path) -> None:
    file = tmp_path / "page.html"
    file.write_text(made(300), encoding="utf-8")
    it = opened(file)
    rows = it.page.locator("#findings > li > button[data-id]")
    assert it.page.locator("img").count() == 0
    assert rows.count() < 300
    it.page.locator("#findings [data-key=more]").click()
    assert rows.count() == 300
    rows.nth(0).click()
    assert it.page.locator("#pins .gap").inner_text() == "299.5 mm into each other"
    it.page.keyboard.press("Escape")
    boxes = [b for e in it.page.locator("#pins span").all() if (b := e.bounding_box()) is not None]
    assert 5 < len(boxes) <= 24
    for i, a in enumerate(boxes):
        for b in boxes[:i]:
            apart = abs(a["x"] - b["x"]) >= min(a["width"], b["width"]) or abs(a["y"] - b["y"]) >= a["height"]
            assert apart, "two numbers lie on each other"


def test_a_chosen_finding_is_flown_to_and_all_else_becomes_a_ghost(opened: Open, small: Path) -> None:
    it = opened(small)
    before = it.look("elbowroom.stage.eye.camera.position.toArray()")
    it.page.locator("#findings button[data-id]").first.click()
    assert it.page.locator("#findings [data-id][aria-expanded=true]").count() == 1
    ghosts = it.look("elbowroom.stage.bodies.filter((b) => b.ghost).map((b) => b.piece)")
    assert {"post", "fan"} <= set(ghosts)
    assert not {"one", "two"} & set(ghosts)
    (shared,) = it.look("[...elbowroom.stage.overlaps.values()].filter((o) => o.surface.visible).map((o) => o.box)")
    assert shared["max"]["x"] - shared["min"]["x"] == pytest.approx(2.0, abs=0.01)
    assert it.page.locator("#pins .gap").inner_text() == "2.0 mm into each other"
    assert it.look("elbowroom.gap.group.visible && elbowroom.gap.rod.scale.x > 0.1") is True
    assert it.look("elbowroom.stage.eye.camera.position.toArray()") != before
    it.page.locator("#choice [data-key='let go']").click()
    assert it.look("elbowroom.stage.bodies.some((b) => b.ghost)") is False


def test_filters_let_through_what_they_say(opened: Open, small: Path) -> None:
    page = opened(small).page
    rows = page.locator("#findings > li > button[data-id]")
    listed = rows.count()
    assert listed > 1
    page.locator("#verdicts .bad").click()
    assert rows.count() == listed - 1
    assert page.locator("#pins .bad").count() == 0
    assert page.locator("#pins .look").count() >= 1
    page.locator("#verdicts .bad").click()
    page.locator("#words").fill("into EACH two")
    assert rows.count() == 1
    page.locator("#words").fill("nonesuch")
    assert rows.count() == 0
    page.locator("#none button").click()
    assert rows.count() > 10
    page.locator("#of-piece").select_option("post")
    assert all("post" in id_ for id_ in page.evaluate("elbowroom.findings.shown().map(([f]) => f.parts.join())"))
    page.locator("#question").select_option("mate")
    assert page.locator("#none").is_visible()


@pytest.mark.slow
def test_parts_are_searched_hidden_shown_and_looked_at_alone(opened: Open, small: Path) -> None:
    it = opened(small)
    page = it.page
    page.locator("#tab-parts").click()
    visible = "[...new Set(elbowroom.stage.bodies.filter((b) => b.surface.visible).map((b) => b.piece))].sort()"
    page.locator("#part-words").fill("post")
    assert page.locator("#parts .name").all_inner_texts() == ["post"]
    page.locator("#parts input").uncheck()
    assert "post" not in it.look(visible)
    page.locator("#part-words").fill("")
    page.locator("[data-key='only one']").click()
    assert it.look(visible) == ["one"]
    page.locator("#all-parts").click()
    assert {"one", "two", "post"} <= set(it.look(visible))
    page.locator("[data-key='name post']").click()
    row = page.locator("#piece [data-field=diameter]")
    assert row.locator("td").first.inner_text() == "30 mm"
    assert "this build" in row.inner_text()
    page.locator("[data-key='name fan']").click()
    assert "assumed" in page.locator("#piece [data-field=depth]").inner_text()
    assert "pitch" in page.locator("#piece [data-field=hole_pitch]").inner_text()


@pytest.mark.slow
def test_a_click_on_the_model_chooses_the_part_and_on_a_number_the_finding(opened: Open, small: Path) -> None:
    it = opened(small)
    box = it.page.locator("#canvas").bounding_box()
    assert box is not None
    x, y = it.middle("post")
    it.page.mouse.click(box["x"] + x, box["y"] + y)
    assert it.page.locator("#piece h2").inner_text() == "post"
    it.page.keyboard.press("Escape")
    it.look("0")
    pin = it.page.locator("#pins .bad").bounding_box()
    assert pin is not None
    it.page.mouse.click(pin["x"] + 5, pin["y"] + 8)
    assert it.page.locator("#findings [aria-expanded=true]").count() == 1


@pytest.mark.slow
def test_a_section_is_filled_and_takes_away_what_lies_before_it(opened: Open, small: Path) -> None:
    it = opened(small)
    whole = it.painted()
    it.page.locator("[data-drawer=cut]").click()
    it.page.locator("#axis").select_option("z")
    it.page.locator("#placed").fill("90")
    gone = it.look("elbowroom.stage.bodies.filter((b) => b.gone).map((b) => b.piece)")
    assert {"one", "two"} <= set(gone)
    assert "post" not in gone
    assert it.look("elbowroom.section.kinds.filter((k) => k.cap.visible).length") > 0
    cut = it.painted()
    assert cut != whole
    assert sum(n > 0 for n in cut) > 4, "the picture is blank"
    # The caps alone, seen along the plane's normal: the post's round is filled, so many points of the picture as it is
    # large. Pi r2 over the square of what a point covers.
    share = it.look(
        """() => {
          const s = elbowroom.stage, r = s.renderer, e = s.eye, { kinds } = elbowroom.section;
          const at = s.pieces.get("post").box.getCenter(s.centre.clone());
          at.z = 90;
          e.controls.target.copy(at);
          e.camera.position.set(at.x, at.y - 0.01, at.z + 400);
          e.controls.update();
          e.camera.updateMatrixWorld();
          s.model.visible = false;
          const post = (c) => c.body.piece === "post";
          for (const { counted, cap } of kinds) {
            cap.visible = counted.some(post);
            for (const c of counted) for (const m of c.meshes) m.visible = post(c);
          }
          r.clear();
          r.render(s.scene, e.camera);
          const gl = r.getContext(), w = gl.drawingBufferWidth, h = gl.drawingBufferHeight;
          const px = new Uint8Array(4 * w * h);
          gl.readPixels(0, 0, w, h, gl.RGBA, gl.UNSIGNED_BYTE, px);
          let filled = 0;
          for (let i = 3; i < px.length; i += 4) if (px[i] > 200) filled++;
          const grain = e.grain(400) / (h / s.canvas.clientHeight);
          return filled * grain * grain / (Math.PI * 15 * 15); }"""
    )
    assert share == pytest.approx(1.0, abs=0.03)


@pytest.mark.slow
def test_measuring_snaps_to_the_axis_of_a_round_face_and_to_a_flat_face(opened: Open, small: Path) -> None:
    it = opened(small)
    it.page.locator("[data-drawer=from]").click()
    it.page.locator("#drawer-from button").first.click()  # from the open side
    it.page.locator("[data-drawer=measure]").click()
    box = it.page.locator("#canvas").bounding_box()
    assert box is not None
    for name in ("post", "one"):
        x, y = it.middle(name)
        it.page.mouse.click(box["x"] + x, box["y"] + y)
    ends = it.look("elbowroom.measure.ends.map((e) => [e.kind, e.radius ?? 0, ...e.point.toArray()])")
    assert [e[0] for e in ends] == ["axis", "face"]
    assert ends[0][1] == pytest.approx(15.0, abs=CHORD_MM)
    post, one = it.look("['post', 'one'].map((n) => elbowroom.stage.pieces.get(n).box)")
    axis = (post["min"]["y"] + post["max"]["y"]) / 2
    assert ends[0][3] == pytest.approx(axis, abs=CHORD_MM)
    told = it.look("elbowroom.measure.result()")
    assert told["square"][1] == pytest.approx(abs(axis - one["min"]["y"]), abs=CHORD_MM)
    assert told["distance"] == pytest.approx(sum(told[d] ** 2 for d in ("dx", "dy", "dz")) ** 0.5)
    assert told["tolerance"] >= it.look("elbowroom.measure.ends[0].body.bound")
    assert f"{told['distance']:.2f} mm" in it.page.locator("#measured").inner_text()


def test_other_data_take_the_place_and_what_was_set_stays(opened: Open, small: Path) -> None:
    it = opened(small)
    it.page.evaluate("elbowroom.choosePiece('post')")
    it.look("elbowroom.stage.eye.turn(0.4, 0.1)")
    it.page.locator("[data-drawer=cut]").click()
    it.page.locator("#placed").fill("77")
    it.page.locator("#tab-layers").click()
    it.page.locator("#layer-air").check()
    kept = """() => [elbowroom.stage.eye.camera.position.toArray(), elbowroom.piece?.name, elbowroom.section.place,
                     elbowroom.section.axis, elbowroom.stage.layers.air, [...elbowroom.stage.hidden]]"""
    it.page.evaluate("elbowroom.parts.toggle(['fan'], true)")
    before = it.look(kept)
    it.page.evaluate(
        """() => {
          const told = structuredClone(elbowroom.told), seen = (elbowroom.seen = []);
          Object.assign(told, { said: "It fits", verdict: "fits" });
          told.pieces.find((p) => p.name === "post").fields.diameter.value = 31;
          const value = (panel) => panel.querySelector("[data-field=diameter] td").textContent;
          elbowroom.onPiece((piece, panel) => seen.push([piece.name, value(panel)]));
          elbowroom.show({ told, meshes: elbowroom.stage.meshes }); }"""
    )
    assert it.look(kept) == before
    assert before[1:] == ["post", 77, "y", True, ["fan"]]
    assert it.page.locator("#said").inner_text() == "It fits"
    assert it.page.evaluate("elbowroom.seen") == [["post", "30 mm"], ["post", "31 mm"]]


def test_the_air_is_told_as_arrows_and_as_a_table(opened: Open, small: Path) -> None:
    it = opened(small)
    it.page.locator("#tab-layers").click()
    it.page.locator("#layer-air").check()
    ways = it.look("elbowroom.layers.drawn.map((a) => a.way.toArray().map(Math.round))")
    assert ways == [[1, 0, 0], [1, 0, 0]], "from the rear to the front, at the fan and at its opening"
    assert it.page.locator("#pins .air").all_inner_texts() == ["air in"]
    it.page.locator("#layers summary", has_text="fan").click()
    assert "toward the front" in it.page.locator("#layers").inner_text()


@pytest.mark.slow
def test_pulled_apart_the_label_goes_with_its_parts(opened: Open, small: Path) -> None:
    it = opened(small)
    it.page.locator("#findings button[data-id]").first.click()
    gap = "[elbowroom.gap.a.toArray(), elbowroom.gap.b.toArray()]"
    home = it.look(gap)
    it.page.locator("[data-drawer=apart]").click()
    it.page.locator("#apart").fill("1")
    off = it.look("['one', 'two'].map((n) => elbowroom.stage.offset(n).toArray())")
    assert off[0] != off[1]
    moved = it.look(gap)
    for end, (was, now) in enumerate(zip(home, moved, strict=True)):
        assert now == pytest.approx([a + b for a, b in zip(was, off[end], strict=True)])


@pytest.mark.slow
def test_the_keyboard_alone_gets_everywhere(opened: Open, small: Path) -> None:
    it = opened(small)
    page = it.page
    active = "document.activeElement.id || document.activeElement.dataset.key || ''"
    reached = set()
    for _ in range(40):
        page.keyboard.press("Tab")
        reached.add(page.evaluate(active))
    assert {"theme", "help", "canvas", "whole", "tab-findings", "words", "question", "of-piece", "bad"} <= reached
    page.locator("#canvas").focus()
    eye = "elbowroom.stage.eye.camera.position.toArray()"
    for key in ("ArrowLeft", "Shift+ArrowUp", "+"):
        before = it.look(eye)
        page.keyboard.press(key)
        assert it.look(eye) != before
    listed = page.locator("#findings button[data-id]").count()
    for n in (1, 2):
        page.keyboard.press(".")
        assert page.locator("#choice .count").inner_text() == f"{n} of {listed}"
    page.keyboard.press(",")
    assert page.locator("#choice .count").inner_text() == f"1 of {listed}"
    page.keyboard.press("0")
    assert page.locator("#choice").is_hidden()
    page.locator("#tab-findings").focus()
    page.keyboard.press("ArrowRight")
    assert page.evaluate(active) == "tab-parts"
    page.locator("[data-drawer=measure]").focus()
    page.keyboard.press("Enter")
    page.locator("#canvas").focus()
    box = page.locator("#canvas").bounding_box()
    assert box is not None
    x, y = it.middle("one")
    for steps, ways in (
        (x - box["width"] / 2, ("ArrowLeft", "ArrowRight")),
        (y - box["height"] / 2, ("ArrowUp", "ArrowDown")),
    ):
        for _ in range(round(abs(steps) / 12)):
            page.keyboard.press(ways[steps > 0])
    page.keyboard.press("Enter")
    assert it.look("elbowroom.measure.ends.map((e) => e.body.piece)") == ["one"]
    page.keyboard.press("Escape")
    assert page.locator("#drawer-measure").is_hidden()


@pytest.mark.slow
def test_on_a_phone_all_is_in_reach_of_a_finger(opened: Open, small: Path) -> None:
    it = opened(small, 390, 844, has_touch=True, is_mobile=True)
    page = it.page
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    picture, bar = page.locator("#picture").bounding_box(), page.locator("#bar").bounding_box()
    assert picture is not None and bar is not None  # noqa: PT018
    assert picture["height"] > 280
    assert bar["y"] >= picture["y"] + picture["height"] - 1, "the tools stand over the picture"
    tools = [b for e in page.locator("#bar button").all() if (b := e.bounding_box()) is not None]
    assert len({round(b["y"]) for b in tools}) == 1, "the tools take two rows"
    assert all(b["height"] >= 40 and b["x"] >= 0 and b["x"] + b["width"] <= 390 for b in tools)
    page.locator("#findings button[data-id]").first.tap()
    caption = page.locator("#choice").bounding_box()
    assert caption is not None
    assert caption["height"] <= 60
    page.locator("#choice [data-key='The next finding']").tap()
    assert page.locator("#choice .count").inner_text().startswith("2 of ")
    page.locator("#whole").tap()
    it.look("0")
    pin = page.locator("#pins .bad").bounding_box()
    assert pin is not None
    page.touchscreen.tap(pin["x"] + 6, pin["y"] + 8)
    assert page.locator("#choice .count").inner_text().startswith("1 of ")
    for drawer in ("from", "cut", "apart", "measure"):
        page.locator(f"[data-drawer={drawer}]").tap()
        assert page.locator(f"#drawer-{drawer}").is_visible()
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        assert page.locator("#side").bounding_box()["height"] > 150
    for tab in ("parts", "layers", "findings"):
        page.locator(f"#tab-{tab}").tap()
        assert page.locator(f"#{tab}-tab").is_visible()


def test_two_points_that_are_not_what_is_measured_are_no_line(opened: Open, tmp_path: Path) -> None:
    far, near = ((0.0, 0.0, 0.0), (240.0, 0.0, 0.0)), ((0.0, 0.0, 0.0), (7.0, 0.0, 0.0))
    found = [
        Finding("mate", "fail", (n, "c"), "...", (), 7.0, "mm", 0.0, where=w) for n, w in (("a", far), ("b", near))
    ]
    layout = Layout("t", (), (), Gaps(), Box((0, 0, 0), (400, 200, 400)))
    file = tmp_path / "page.html"
    file.write_text(document(*contents(Build(Scene(layout, ()), found, [], [], {}))), encoding="utf-8")
    it = opened(file)
    for f, length in zip(found, (0.0, 7.0), strict=True):
        it.page.evaluate("(id) => elbowroom.chooseFinding(id)", f.id)
        assert it.look("elbowroom.gap.a.distanceTo(elbowroom.gap.b)") == pytest.approx(length)


def test_what_fits_is_said_so(opened: Open, tmp_path: Path) -> None:
    found = [Finding("clearance", "clear", ("a", "b"), "...", (), 7.0, "mm", 1.0)]
    layout = Layout("t", (), (), Gaps(), Box((0, 0, 0), (400, 200, 400)))
    file = tmp_path / "page.html"
    file.write_text(document(*contents(Build(Scene(layout, ()), found, [], [], {}))), encoding="utf-8")
    page = opened(file).page
    assert page.locator("#said").inner_text() == "It fits"
    assert page.locator("#none").inner_text().startswith("Nothing is in the way, and nothing has to be looked at.")
    page.locator("#none button").click()
    assert page.locator("#findings button[data-id]").count() == 1


def test_the_file_is_the_same_each_time_and_small(small: Path) -> None:
    assert made(3) == made(3)
    assert 0.3e6 < len(made(0)) < 0.8e6, "the viewer itself, bytes"
    assert small.stat().st_size < 1.2e6
