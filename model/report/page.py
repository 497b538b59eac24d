"""The report as one HTML file, to read and to print: no script, nothing fetched, pictures inside.

Owns its look on screen and paper. Text goes in through an XML writer and cannot become markup.
"""

from __future__ import annotations

import base64
from xml.etree import ElementTree as ET

from elbowroom.model.pictures import Picture
from elbowroom.model.report.content import Content, Part, Table, Told
from elbowroom.model.templates.words import printable
from elbowroom.model.told.verdict_words import SIGN

STYLE = """
:root { color-scheme: light; }
body { font: 15px/1.45 "DejaVu Sans", Verdana, sans-serif; color: #1c2230; background: #fbfaf6;
  max-width: 60rem; margin: 2rem auto; padding: 0 1.2rem; }
h1 { font-size: 1.7rem; margin: 0; } h2 { font-size: 1.25rem; border-bottom: 2px solid #1c2230; margin: 2.4rem 0 1rem; }
h3 { font-size: 1rem; margin: 1.4rem 0 .4rem; }
.verdict { display: inline-block; border: 2px solid; padding: .2rem .7rem; margin: .8rem 0 .2rem; font-size: 1.2rem; }
.bad { color: #a31550; } .wary { color: #7a4f00; } .good { color: #1d6a5b; } .soft { color: #525b69; }
.finding { break-inside: avoid; margin: 0 0 1.4rem; padding-left: .8rem; border-left: 4px solid #c9c8c0; }
.finding p, .finding ul { margin: .2rem 0; } .id { font-size: .8rem; overflow-wrap: anywhere; }
img { width: 100%; height: auto; border: 1px solid #c9c8c0; break-inside: avoid; margin: .5rem 0; }
table { border-collapse: collapse; width: 100%; font-size: .86rem; } thead { display: table-header-group; }
th, td { text-align: left; vertical-align: top; padding: .25rem .5rem; border-bottom: 1px solid #c9c8c0;
  overflow-wrap: anywhere; } tr { break-inside: avoid; }
.short { white-space: nowrap; }
.scroll { overflow-x: auto; }
.gallery { display: grid; grid-template-columns: repeat(auto-fill, minmax(24rem, 1fr)); gap: .6rem; }
.gallery img { margin: 0; }
nav a { display: inline-block; margin: 0 .6rem .3rem 0; color: #1f4f8a; }
@page { size: A4; margin: 16mm 14mm; }
@media print { .gallery { grid-template-columns: 1fr 1fr; } .finding img { width: 68%; }
  nav { display: none; }
  body { margin: 0; max-width: none; background: none; font-size: 10.5pt; } h2 { break-after: avoid; } }
"""
MANY = 9  # parts from which on they are listed at the top
SHORT = 32  # characters of a cell in the first two columns that stand on one line
POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"  # nothing runs, nothing is fetched


def write(told: Content) -> bytes:
    """The report as the bytes of an HTML file."""
    root = ET.Element("html", {"lang": "en"})
    head = ET.SubElement(root, "head")
    ET.SubElement(head, "meta", {"charset": "utf-8"})
    ET.SubElement(head, "meta", {"name": "viewport", "content": "width=device-width, initial-scale=1"})
    ET.SubElement(head, "meta", {"http-equiv": "Content-Security-Policy", "content": POLICY})
    _say(head, "title", f"{told.title}: {told.verdict}" if told.verdict else told.title)
    _say(head, "style", STYLE)
    body = ET.SubElement(ET.SubElement(root, "body"), "main")
    _say(body, "h1", told.title)
    if told.verdict:
        _verdict(body, told)
    _say(body, "p", told.says, {"class": "soft"})
    if len(told.parts) > MANY:
        listed = ET.SubElement(body, "nav", {"aria-label": "contents"})
        for i, part in enumerate(told.parts):
            _say(listed, "a", part.heading, {"href": f"#part-{i}"}).tail = " "
    for i, part in enumerate(told.parts):
        _part(body, part, f"part-{i}")
    text: str = ET.tostring(root, encoding="unicode", method="html")
    return f"<!DOCTYPE html>\n{text}\n".encode("utf-8", "replace")


def _verdict(body: ET.Element, told: Content) -> None:
    kind = {"fits": "good", "fails": "bad"}.get(told.result, "wary")
    _say(body, "p", told.verdict, {"class": f"verdict {kind}"})


def _part(body: ET.Element, part: Part, name: str) -> None:
    section = ET.SubElement(body, "section", {"id": name})
    _say(section, "h2", part.heading)
    if len(part.lines) > 1:
        listed = ET.SubElement(section, "ul")
        for line in part.lines:
            _say(listed, "li", line)
    elif part.lines:
        _say(section, "p", part.lines[0])
    for f in part.findings:
        _finding(section, f)
    if part.pictures:
        several = len(part.pictures) > 1
        gallery = ET.SubElement(section, "div", {"class": "gallery"} if several else {})
        for picture in part.pictures:
            _picture(gallery, picture)
    for heading, table in part.tables:
        _say(section, "h3", heading)
        _table(section, table)


def _finding(section: ET.Element, f: Told) -> None:
    box = ET.SubElement(section, "article", {"class": "finding"})
    line = ET.SubElement(box, "p")
    kind = "bad" if f.verdict in ("clash", "fail") else "good" if f.verdict in ("pass", "clear") else "wary"
    verdict = _say(line, "strong", f"{SIGN[f.verdict]} {f.verdict}", {"class": kind})
    verdict.tail = f" {printable(f.text)}"
    about = "; ".join(w for w in (f.where, f.number) if w)
    if about:
        _say(box, "p", about, {"class": "soft"})
    if f.remedies:
        listed = ET.SubElement(box, "ul")
        for remedy in f.remedies:
            _say(listed, "li", remedy)
    if f.more:
        _say(box, "p", f.more, {"class": "soft id"})
    _say(box, "p", f.id, {"class": "soft id"})
    if f.picture is not None:
        _picture(box, f.picture)


def _picture(box: ET.Element, picture: Picture) -> None:
    data = base64.b64encode(picture.svg).decode()
    ET.SubElement(box, "img", {"alt": picture.title, "src": f"data:image/svg+xml;base64,{data}"})


def _table(section: ET.Element, table: Table) -> None:
    made = ET.SubElement(ET.SubElement(section, "div", {"class": "scroll", "tabindex": "0"}), "table")
    row = ET.SubElement(ET.SubElement(made, "thead"), "tr")
    for head in table.heads:
        _say(row, "th", head, {"scope": "col"})
    body = ET.SubElement(made, "tbody")
    for cells in table.rows:
        row = ET.SubElement(body, "tr")
        for i, cell in enumerate(cells):
            _say(row, "td", cell, {"class": "short"} if i < 2 and len(cell) <= SHORT else {})


def _say(parent: ET.Element, tag: str, words: str, attributes: dict[str, str] | None = None) -> ET.Element:
    made = ET.SubElement(parent, tag, attributes or {})
    made.text = words if tag == "style" else printable(words)
    return made
