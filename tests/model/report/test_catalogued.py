"""The page of the catalogue, read as HTML by the standard library: every family, its names, what it rests on."""

from __future__ import annotations

from html.parser import HTMLParser

import pytest

from elbowroom.model.report.catalogued import page
from elbowroom.model.store import Store
from elbowroom.parts.catalogue import sizes
from elbowroom.parts.families import FAMILIES


class Read(HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.headings: list[str] = []
        self.links: list[str] = []
        self.ids: set[str] = set()
        self.cells: list[str] = []
        self.images = 0
        self._in = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._in = tag
        told = dict(attrs)
        self.images += tag == "img" and str(told["src"]).startswith("data:")
        if tag == "a":
            self.links.append(str(told["href"])[1:])
        if tag == "section":
            self.ids.add(str(told["id"]))

    def handle_data(self, data: str) -> None:
        if self._in == "h2":
            self.headings.append(data)
        if self._in == "td":
            self.cells.append(data)

    def handle_endtag(self, tag: str) -> None:
        self._in = ""


def test_a_family_is_told_with_its_picture_sizes_names_and_fields(store: Store) -> None:
    read = Read(page(["riser", "file"], store).decode())
    assert read.headings == ["riser", "file", "What figures rest on"]
    assert read.images == 1, "a file of one's own has nothing to draw"
    assert set(sizes("riser")) <= set(read.cells)
    assert {"height", "top", "foot"} <= set(read.cells)


def test_every_family_can_be_told_and_a_long_page_begins_with_links_to_each(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("elbowroom.model.report.catalogued.drawn.picture", lambda family, store: None)
    read = Read(page(list(FAMILIES), store).decode())
    assert read.headings[:-1] == list(FAMILIES)
    assert set(read.links) == read.ids
