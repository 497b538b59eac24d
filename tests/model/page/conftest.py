"""A small build whose page is looked at, and a browser that draws without a graphics card."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from elbowroom.model import pipeline
from elbowroom.model.pipeline import Checked
from elbowroom.model.store import Store
from elbowroom.model.writers import html
from elbowroom.model.writers.job import Job

HOSTILE = "</script><img src=x onerror=alert(1)>{{scripts}}"
ARGS = ["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]
# one and two run 2 mm into each other; posts stand 20 mm apart; a fan blows into the case.
BUILD = f"""title: {json.dumps(HOSTILE)}
case: {{interior: {{depth: 300, width: 200, height: 300}}, slots: 0, board: null, sheet: 1.2,
  openings: {{rear: {{face: rear, size: 120, centre: {{tray: 85, floor: 90}}, count: 1}}}}}}
parts:
  one: {{box: custom, length: 60, width: 40, height: 30, at: {{rear: 100, tray: 100, floor: 200}}}}
  two: {{box: custom, length: 60, width: 40, height: 30, at: {{rear: 158, tray: 100, floor: 205}}}}
  post: {{cylinder: custom, diameter: 30, height: 60, at: {{rear: 120, tray: 120, floor: 60}}}}
  fan: {{fan: fan-120x25, on: case.rear}}
"""


@dataclass
class Opened:
    """A page in a browser, what it said on the console, and what it asked for."""

    page: Page
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    def look(self, script: str) -> Any:
        """What a script says of the page's own objects, once the picture rests."""
        # Not wait_for_function: it asks for eval, which the page's own policy refuses.
        for _ in range(400):
            if self.page.evaluate("!elbowroom.stage.moving && !elbowroom.stage.eye.flight && !elbowroom.stage.asked"):
                break
            self.page.wait_for_timeout(25)
        return self.page.evaluate(script)

    def middle(self, piece: str) -> tuple[float, float]:
        """Where the middle of a piece is seen, in points of the picture from its upper left corner."""
        x, y = self.look(
            f"""(() => {{
              const s = elbowroom.stage, p = s.onScreen(s.pieces.get('{piece}').box.getCenter(s.centre.clone()));
              return [p.x, p.y]; }})()"""
        )
        return x, y

    def painted(self) -> list[int]:
        """How many points of the picture have each brightness, in sixteen steps."""
        counts: list[int] = self.look(
            """() => {
              const s = elbowroom.stage, gl = s.renderer.getContext();
              const w = gl.drawingBufferWidth, h = gl.drawingBufferHeight;
              s.renderer.clear(); s.renderer.render(s.scene, s.eye.camera);
              const px = new Uint8Array(4 * w * h); gl.readPixels(0, 0, w, h, gl.RGBA, gl.UNSIGNED_BYTE, px);
              const counts = Array(16).fill(0);
              for (let i = 0; i < px.length; i += 4)
                if (px[i + 3] > 200) counts[((px[i] + px[i + 1] + px[i + 2]) / 48) | 0]++;
              return counts; }"""
        )
        return counts


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    with sync_playwright() as p:
        browser = p.chromium.launch(executable_path="/usr/bin/chromium", args=ARGS)
        yield browser
        browser.close()


@pytest.fixture(scope="package")
def checked(tmp_path_factory: pytest.TempPathFactory) -> Checked:
    file = tmp_path_factory.mktemp("build") / "build.yaml"
    file.write_text(BUILD, encoding="utf-8")
    return pipeline.check(file, Store.default())


@pytest.fixture(scope="package")
def small(checked: Checked, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of the small build."""
    store = Store.default()
    job = Job(checked.scene, checked.findings, store.folder, reach=lambda: pipeline.reach_solids(checked, store))
    ((name, content),) = html.write(job)
    file = tmp_path_factory.mktemp("page") / name
    file.write_bytes(content)
    return file


@pytest.fixture
def opened(browser: Browser) -> Iterator[Callable[..., Opened]]:
    """Opens a page; what it said and asked is looked at when the test is over."""
    contexts: list[BrowserContext] = []
    all_of: list[Opened] = []

    def open_(file: Path, width: int = 1280, height: int = 800, **more: Any) -> Opened:
        context = browser.new_context(viewport={"width": width, "height": height}, reduced_motion="reduce", **more)
        contexts.append(context)
        it = Opened(context.new_page())
        all_of.append(it)
        it.page.on("console", lambda m: it.said.append(m.text) if m.type == "error" else None)
        it.page.on("pageerror", lambda e: it.said.append(str(e)))
        it.page.on("request", lambda r: it.asked.append(r.url))
        it.page.goto(file.as_uri())
        it.page.wait_for_selector("html[data-ready]", timeout=30_000)
        return it

    yield open_
    for context in contexts:
        context.close()
    for it in all_of:
        assert it.said == []
        assert all(url.startswith(("file:", "data:")) for url in it.asked)
