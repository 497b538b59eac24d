"""`view` as a person uses it: a number is changed on the page, looked at, written; a bad save shows its line."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, sync_playwright

from tests.model.builds_for_tests import SMALL

ARGS = ["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]
DONE = "html[data-stage=whole][data-shown$=whole]"
LONG_MS = 180_000

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, str, subprocess.Popen[str]]]:
    file = tmp_path_factory.mktemp("view") / "small.yaml"
    file.write_text(SMALL, encoding="utf-8")
    command = [sys.executable, "-m", "elbowroom", "view", str(file), "--no-browser"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert process.stdout is not None
    yield file, process.stdout.readline().strip(), process
    if process.poll() is None:
        process.send_signal(signal.SIGINT)
        process.wait(20)


@pytest.fixture(scope="module")
def opened(served: tuple[Path, str, subprocess.Popen[str]]) -> Iterator[tuple[Page, list[str], list[str]]]:
    said: list[str] = []
    asked: list[str] = []
    with sync_playwright() as p:
        browser = p.chromium.launch(executable_path="/usr/bin/chromium", args=ARGS)
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        # A number that is refused is one line of the browser's own.
        page.on("console", lambda m: said.append(m.text) if m.type == "error" and "422" not in m.text else None)
        page.on("pageerror", lambda e: said.append(str(e)))
        page.on("request", lambda r: asked.append(r.url))
        page.goto(served[1])
        page.wait_for_selector(DONE, timeout=LONG_MS)
        yield page, said, asked
        browser.close()


def put(page: Page, path: str, value: str) -> None:
    field = page.locator(f"input[data-path='{path}']")
    field.fill(value)
    field.press("Enter")


def test_a_number_is_changed_looked_at_and_written_and_a_mistake_shows_its_line(
    served: tuple[Path, str, subprocess.Popen[str]], opened: tuple[Page, list[str], list[str]]
) -> None:
    (file, address, _), (page, said, asked) = served, opened
    assert page.locator("#said").inner_text() == "It fits"
    page.evaluate("elbowroom.choosePiece('crate')")
    page.wait_for_selector("input[data-path='parts.crate.height']")
    page.wait_for_function("() => !elbowroom.stage.eye.flight")
    eye = page.evaluate("elbowroom.stage.eye.camera.position.toArray()")

    put(page, "parts.crate.height", "380")
    page.wait_for_function("() => document.getElementById('said').textContent === 'It does not fit'", timeout=LONG_MS)
    page.wait_for_selector(DONE, timeout=LONG_MS)
    assert "worse" in page.locator("#became summary").inner_text()
    assert "crate and top run" in page.locator("#became").inner_text()
    assert page.evaluate("elbowroom.stage.eye.camera.position.toArray()") == eye
    assert page.locator("#piece h2").first.inner_text() == "crate"
    assert file.read_text() == SMALL

    put(page, "parts.crate.height", "-3")
    page.wait_for_function(
        "() => document.querySelector('.number .mistake:not(:empty)')?.textContent.includes('more than')"
    )
    put(page, "parts.crate.height", "110")
    page.wait_for_function("() => document.getElementById('said').textContent === 'It fits'", timeout=LONG_MS)
    page.wait_for_selector(DONE, timeout=LONG_MS)
    assert "better" in page.locator("#became summary").inner_text()

    page.get_by_role("button", name="Look at 1 line to write").click()
    lines = page.locator("#sheet pre").inner_text()
    assert "-  crate: {box: custom, length: 80, width: 60, height: 100" in lines
    assert "+  crate: {box: custom, length: 80, width: 60, height: 110" in lines
    page.get_by_role("button", name="Write it into small.yaml").click()
    page.wait_for_selector("#sheet:not([open])", state="attached")
    assert file.read_text() == SMALL.replace("height: 100", "height: 110")

    page.get_by_role("button", name="Undo").click()
    page.wait_for_function("() => document.querySelector('#work').textContent.includes('1 line to write')")
    page.wait_for_selector(DONE, timeout=LONG_MS)
    page.get_by_role("button", name="Redo").click()
    page.wait_for_function("() => document.querySelector('#work').textContent.includes('Nothing to write')")

    broken = file.read_text().replace("rear: 100", "rear: 1OO")
    file.write_text(broken)
    page.wait_for_selector("#work .mistake", timeout=LONG_MS)
    line = next(i for i, text in enumerate(broken.splitlines(), 1) if "1OO" in text)
    told = page.locator("#work .mistake").inner_text()
    assert f"Line {line}, column 64" in told
    assert "no unit" in told
    assert page.evaluate("elbowroom.told.pieces.length") > 0
    file.write_text(broken.replace("1OO", "101"))
    page.wait_for_selector(DONE, timeout=LONG_MS)
    assert page.locator("#work .mistake").count() == 0

    assert said == []
    own = address.rsplit("/", 2)[0]
    assert all(url.startswith((own, "data:")) for url in asked)


def test_a_piece_is_pulled_along_its_wall_by_whole_steps(
    served: tuple[Path, str, subprocess.Popen[str]], opened: tuple[Page, list[str], list[str]]
) -> None:
    page, said, _ = opened
    page.evaluate("elbowroom.choosePiece('drive')")
    page.wait_for_selector("#pulls button:not([hidden])")
    page.wait_for_function("() => !elbowroom.stage.eye.flight")
    before = page.locator("input[data-path='parts.drive.at.rear']").input_value()
    handle = page.get_by_role("button", name="Pull drive: from the rear")
    box = handle.bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 60, y + 2, steps=6)
    assert "from the rear" in page.locator("#pulls output").inner_text()
    page.mouse.up()
    page.wait_for_function(
        "was => document.querySelector(\"input[data-path='parts.drive.at.rear']\").value !== was", arg=before
    )
    after = page.locator("input[data-path='parts.drive.at.rear']").input_value()
    assert float(after) > float(before)  # to the right of the page is toward the front, seen from the open side
    assert float(after) * 2 == round(float(after) * 2)
    page.wait_for_selector(DONE, timeout=LONG_MS)
    x_now = page.evaluate("elbowroom.stage.pieces.get('drive').box.min.x")
    assert x_now == pytest.approx(float(after), abs=0.01)
    assert said == []


def test_ctrl_c_ends_it_tells_what_was_not_written_and_leaves_no_process(
    served: tuple[Path, str, subprocess.Popen[str]],
) -> None:
    file, _, process = served
    process.send_signal(signal.SIGINT)
    started = time.monotonic()
    _, errors = process.communicate(timeout=20)
    assert time.monotonic() - started < 10
    assert process.returncode == 0
    assert "these changes were not written" in errors
    assert "drive" in errors
    assert "rear: 101" in file.read_text()
    working = [p for p in Path("/proc").glob("[0-9]*/cmdline") if _names(p, str(file))]
    assert working == []


def _names(cmdline: Path, file: str) -> bool:
    try:
        return os.fsencode(file) in cmdline.read_bytes()
    except OSError:
        return False
