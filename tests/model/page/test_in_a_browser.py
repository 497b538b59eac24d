"""The page in a real browser: nothing asked of a network, nothing said on the console, hostile names as text."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Page, sync_playwright

from elbowroom.model.geometry.scene import Scene
from elbowroom.model.layout.layout import Gaps, Layout
from elbowroom.model.page.contents import Build, contents
from elbowroom.model.page.document import document
from elbowroom.model.told.findings import Finding
from elbowroom.parts.vocabulary.base import Box

HOSTILE = "</script><img src=x onerror=alert(1)>{{script}}"
ARGS = ["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]


def made(count: int) -> str:
    found = [
        Finding("interference", "clash", (f"{HOSTILE} {i}", "b"), "...", (f"a {i}/x", "b/y"), i + 0.5, "mm", 0.0,
                where=((i, 0.0, 0.0), (i, 1.0, 0.0)))
        for i in range(count)
    ]  # fmt: skip
    layout = Layout(HOSTILE, (), (), Gaps(), Box((0, 0, 0), (400, 200, 400)))
    return document(*contents(Build(Scene(layout, ()), found, [], [], {})))


@pytest.fixture(scope="module")
def browser_page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Page, list[str], list[str]]]:
    file: Path = tmp_path_factory.mktemp("page") / "page.html"
    file.write_text(made(300), encoding="utf-8")
    said: list[str] = []
    asked: list[str] = []
    with sync_playwright() as p:
        browser = p.chromium.launch(executable_path="/usr/bin/chromium", args=ARGS)
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.on("console", lambda m: said.append(m.text) if m.type == "error" else None)
        page.on("pageerror", lambda e: said.append(str(e)))
        page.on("request", lambda r: asked.append(r.url))
        page.goto(file.as_uri())
        page.wait_for_selector("html[data-ready]", timeout=30_000)
        yield page, said, asked
        browser.close()


def test_names_are_text_and_nothing_is_asked_of_a_network(browser_page: tuple[Page, list[str], list[str]]) -> None:
    page, said, asked = browser_page
    assert page.locator("img").count() == 0
    assert HOSTILE in page.locator("header").inner_text()
    assert said == []
    assert all(url.startswith(("file:", "data:")) for url in asked)


def test_all_findings_are_listed_and_a_chosen_one_shows_the_number_of_the_json(
    browser_page: tuple[Page, list[str], list[str]],
) -> None:
    page, said, _ = browser_page
    rows = page.locator("#findings > li > button[data-id]")
    assert rows.count() == 150
    page.locator("#findings [data-key=more]").click()
    assert rows.count() == 300
    rows.nth(0).focus()
    page.keyboard.press("Enter")
    assert page.locator("#findings button[aria-expanded=true]").count() == 1
    assert page.locator("#pins .gap").inner_text() == "299.5 mm into each other"
    page.keyboard.press("Escape")
    assert page.locator("#findings button[aria-expanded=true]").count() == 0
    assert said == []


def test_the_file_is_the_same_each_time() -> None:
    assert made(3) == made(3)
    assert np.isclose(len(made(0)) / 1e6, 0.58, atol=0.2)  # MB: the viewer itself
