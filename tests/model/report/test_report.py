"""The report of a small build: the facts of the JSON, on a page that nothing runs on, and on paper."""

from __future__ import annotations

import base64
import json
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import pytest

from elbowroom.model import pipeline, report
from elbowroom.model.pipeline import Checked
from elbowroom.model.report.content import Content, content
from elbowroom.model.store import Store

TITLE = '<img src=x onerror=y> &amp; "größe" 潮'
BUILD = f"""title: {json.dumps(TITLE)}
case: {{interior: {{depth: 300, width: 200, height: 300}}, slots: 0, board: null, sheet: 1.2}}
parts:
  base: {{box: custom, length: 80, width: 60, height: 20, material: aluminium, on: case.floor-wall,
    at: {{rear: 100, tray: 20}}, holes: [{{face: top, at: [0, 0], thread: M3, depth: 12}}]}}
  lid: {{sheet: custom, length: 80, width: 60, thickness: 5, on: base.top,
    holes: [{{face: bottom, at: [0, 0], diameter: 3.4}}]}}
  one: {{box: custom, length: 60, width: 40, height: 30, at: {{rear: 40, tray: 100, floor: 200}}}}
  two: {{cylinder: custom, diameter: 30, height: 40, at: {{rear: 98, tray: 100, floor: 210}}}}
"""


@pytest.fixture(scope="module")
def checked(tmp_path_factory: pytest.TempPathFactory) -> Checked:
    file = tmp_path_factory.mktemp("build") / "build.yaml"
    file.write_text(BUILD, encoding="utf-8")
    return pipeline.check(file, Store.default())


@pytest.fixture(scope="module")
def told(checked: Checked) -> Content:
    return content(checked, Store.default())


@pytest.fixture(scope="module")
def written(checked: Checked) -> dict[str, bytes]:
    return dict(report.files(checked, Store.default()))


def test_every_failing_finding_is_told_or_spoken_for(checked: Checked, told: Content) -> None:
    failing = {f.id for f in checked.findings if f.verdict in ("clash", "fail", "touch", "tight", "unknown")}
    assert failing
    part = next(p for p in told.parts if p.heading == "What does not fit")
    said = " ".join(f"{f.id} {f.more}" for f in part.findings)
    assert all(i in said for i in failing)
    assert told.verdict == "It does not fit"
    for f in part.findings:
        own = next(x for x in checked.findings if x.id == f.id).to_json()
        assert f.picture is not None
        assert f.picture.finding == f.id
        assert f.number.startswith(f"{json.dumps(own['measured'])} {own['unit']}")


def test_what_to_buy_is_the_parts_list_in_groups(checked: Checked, told: Content) -> None:
    tables = dict(next(p for p in told.parts if p.heading == "To buy and make").tables)
    rows = [r for t in tables.values() for r in t.rows]
    assert sorted(int(r[0]) for r in rows) == list(range(1, len(rows) + 1))
    counts = sum(int(r[1]) for r in rows)
    assert counts == len(checked.layout.pieces)
    assert any("lid" in r[4] for r in tables["Sheet to cut"].rows)
    assert any("M3" in r[2] for r in tables["Screws, nuts and washers"].rows)


class _Tags(HTMLParser):
    """Every tag of a page with its attributes, and its words."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.said: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.said.append(data)


def test_the_page_fetches_nothing_and_names_are_words(written: dict[str, bytes]) -> None:
    page = _Tags()
    page.feed(written["report.html"].decode())
    assert TITLE in page.said
    assert not {tag for tag, _ in page.tags} & {"script", "link", "iframe", "object", "base", "form"}
    assert not {name for _, found in page.tags for name in found if name.startswith("on") or name == "href"}
    sources = [str(found["src"]) for _, found in page.tags if "src" in found]
    assert len(sources) >= 6
    for source in sources:
        assert source.startswith("data:image/svg+xml;base64,")
        assert base64.b64decode(source.partition(",")[2]).startswith(b"<?xml")


def test_the_paper_says_what_the_page_says(checked: Checked, written: dict[str, bytes], tmp_path: Path) -> None:
    """Read by poppler, which is not ours."""
    file = tmp_path / "report.pdf"
    file.write_bytes(written["report.pdf"])
    done = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, text=True, check=True)
    said = " ".join(done.stdout.split())
    assert "It does not fit" in said
    clash = next(f for f in checked.findings if f.verdict == "clash")
    assert clash.text in said
    assert json.dumps(clash.to_json()["measured"]) in said
    for heading in ("At a glance", "What does not fit", "To buy and make"):
        assert heading in said


def test_the_same_build_gives_the_same_report(checked: Checked, written: dict[str, bytes]) -> None:
    assert dict(report.files(checked, Store.default())) == written
