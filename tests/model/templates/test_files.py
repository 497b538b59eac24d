"""Template files read by others: ezdxf and its auditor, an XML parser, poppler's vectors and pixels."""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys
from collections import Counter
from xml.etree import ElementTree as ET

import ezdxf
import pytest
from ezdxf import recover

from elbowroom.model.build.problems import InputError
from elbowroom.model.templates import write
from elbowroom.model.templates.beside import MACHINE, words
from elbowroom.model.templates.drawing import PRINTED_SCALE, Circle, Cross, Datum, Drawing, HoleRow, Line, Outline, Text
from elbowroom.model.templates.tiling import OVERLAP, tiled
from elbowroom.model.told.cautions import CUTTING, DEFER, UNPLUG
from elbowroom.parts.vocabulary import contour

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = '<script>alert("x")</script> & "roof"\n\x00panel'
PT = 25.4 / 72  # mm in a point
AS_IT_IS = ("-svg", "-origpagesizes", "-noshrink", "-nocenter")  # pdftocairo fits pages to its own paper otherwise
VECTOR_MM = 2e-3  # mm: poppler's SVG writes hundredths of a point, 0.0035 mm, rounded to half of that
DPI = 300
PIXEL_MM = 25.4 / DPI


def panel(width=380.0, height=150.0, title=HOSTILE):
    return Drawing(
        "roof panel", title, "outside",
        (
            Outline("cut", contour.rectangle(0, 0, width, height), False),
            Outline("cut", contour.slot(60, 75, 10, 40, 30)),
            Circle("drill", 20, 20, 4.5), Cross(20, 20, 8.5),
            Circle("cut", 185, 75, 40), Cross(185, 75, 8),
            Line("fold", (300, 0), (300, height)),
            Text(24, 24, 2.5, "1"),
        ),
        Datum(0, 0, "the left edge and the lower edge"),
        (HoleRow(1, 20, 20, 4.5, "M4 screw"), HoleRow(2, 185, 75, 40, "cable"), HoleRow(3, 60, 75, 10, "slot", 40, 30)),
        1.2, ("a note",),
    )  # fmt: skip


def made(formats=("dxf", "svg", "pdf"), **more):
    return dict(write([panel()], formats, **more))


@pytest.fixture(scope="module")
def files():
    return made()


# DXF


def test_dxf_is_clean_in_millimetres_and_counted_per_layer(files):
    data = files["templates/roof-panel.dxf"]
    doc, auditor = recover.read(io.BytesIO(data))
    assert not auditor.errors
    assert not auditor.fixes
    assert doc.dxfversion >= "AC1024"  # R2010
    assert doc.header["$INSUNITS"] == 4
    assert doc.header["$MEASUREMENT"] == 1
    space = doc.modelspace()
    lines = sum(1 for line in words(panel()) if line)
    assert Counter((e.dxf.layer, e.dxftype()) for e in space) == {
        ("cut", "LWPOLYLINE"): 2, ("cut", "CIRCLE"): 1, ("drill", "CIRCLE"): 1,
        ("fold", "LINE"): 1, ("mark", "LINE"): 4 + 6, ("mark", "TEXT"): 1, ("notes", "TEXT"): lines,
    }  # fmt: skip
    assert all(p.closed for p in space.query("LWPOLYLINE"))
    layers = [doc.layers.get(n) for n in ("cut", "drill", "fold", "mark")]
    assert len({a.dxf.linetype for a in layers}) == 4
    assert {a.color for a in layers} == {7}  # black on white: no layer asks for a colour of its own


def test_dxf_has_bars_of_100_mm_and_every_caution(files):
    space = recover.read(io.BytesIO(files["templates/roof-panel.dxf"]))[0].modelspace()
    marks = [(e.dxf.end - e.dxf.start) for e in space.query('LINE[layer=="mark"]')]
    assert sorted((v.x, v.y) for v in marks if v.magnitude == pytest.approx(100.0, abs=1e-9)) == [(0, 100), (100, 0)]
    said = " ".join(" ".join(e.dxf.text.removeprefix("- ").split()) for e in space.query("TEXT"))
    assert all(c in said for c in (UNPLUG, *CUTTING, DEFER))


def test_dxf_shapes_have_their_sizes_by_the_readers_own_measure(files):
    from ezdxf import bbox
    from ezdxf.math import bulge_radius

    space = recover.read(io.BytesIO(files["templates/roof-panel.dxf"]))[0].modelspace()
    edge, slot = space.query("LWPOLYLINE")
    box = bbox.extents([edge])
    assert (*box.extmin.vec2, *box.extmax.vec2) == pytest.approx((0, 0, 380, 150), abs=1e-9)
    points = list(slot.get_points("xyb"))
    assert [b for *_, b in points] == pytest.approx([0, 1, 0, 1])
    assert bulge_radius(points[1][:2], points[2][:2], 1) == pytest.approx(5, abs=1e-9)
    (drill,) = space.query('CIRCLE[layer=="drill"]')
    assert (drill.dxf.center.x, drill.dxf.center.y, drill.dxf.radius) == pytest.approx((20, 20, 2.25))


def test_kerf_goes_into_what_machines_follow_and_not_onto_paper(files):
    with_kerf = made(kerf=0.2)
    space = ezdxf.read(io.StringIO(with_kerf["templates/roof-panel.dxf"].decode())).modelspace()
    assert [c.dxf.radius for c in space.query("CIRCLE")] == pytest.approx([2.15, 19.9])
    assert with_kerf["templates/roof-panel.pdf"] == files["templates/roof-panel.pdf"]


# SVG


def test_svg_is_true_to_size_and_its_words_cannot_become_markup(files):
    root = ET.fromstring(files["templates/roof-panel.svg"])
    ns = {"s": "http://www.w3.org/2000/svg"}
    _, _, wide, high = map(float, root.get("viewBox", "").split())
    assert (root.get("width"), root.get("height")) == (f"{wide:g}mm", f"{high:g}mm")
    groups = {g.get("id"): g for g in root.findall("s:g", ns)}
    assert list(groups) == ["cut", "drill", "fold", "mark", "notes"]
    lines = [g for name, g in groups.items() if name != "notes"]
    assert len({g.get("stroke-dasharray") for g in lines}) == 4
    assert {g.get("stroke") for g in lines} == {"#000000"}
    edge, slot = groups["cut"].findall("s:path", ns)
    numbers = [list(map(float, p)) for p in re.findall(r"[ML] (\S+) (\S+)", edge.get("d", ""))]
    xs, ys = [x for x, _ in numbers], [y for _, y in numbers]
    assert (max(xs) - min(xs), max(ys) - min(ys)) == pytest.approx((380, 150), abs=1e-4)
    assert re.findall(r"A (\S+) (\S+) 0 \d (\d)", slot.get("d", "")) == [("5", "5", "0")] * 2  # y down: 0 is left
    (hole,) = groups["drill"].findall("s:circle", ns)
    assert float(hole.get("r", 0)) == 2.25
    assert (float(hole.get("cx", 0)) - min(xs), max(ys) - float(hole.get("cy", 0))) == pytest.approx((20, 20), abs=1e-4)
    assert not list(root.iter(SVG + "script"))
    assert any("<script>" in (t.text or "") for t in root.iter(SVG + "text"))
    marks = [[float(e.get(k, 0)) for k in ("x1", "y1", "x2", "y2")] for e in groups["mark"].findall("s:line", ns)]
    assert sorted(abs(x1 - x0) + abs(y1 - y0) for x0, y0, x1, y1 in marks)[-2:] == pytest.approx([100, 100], abs=1e-4)
    said = " ".join(" ".join((t.text or "").removeprefix("- ").split()) for t in root.iter(SVG + "text"))
    assert all(c in said for c in (UNPLUG, *CUTTING, DEFER))
    assert all(0 <= float(t.get("x", -1)) < wide and 0 < float(t.get("y", -1)) < high for t in root.iter(SVG + "text"))


# PDF


def poppler(tool, data, tmp_path, *options):
    source, target = tmp_path / "t.pdf", tmp_path / "out"
    source.write_bytes(data)
    subprocess.run([tool, *options, str(source), str(target)], check=True, capture_output=True)
    return target


def straights(svg: bytes):
    """Straight strokes of poppler's SVG, mm from the page's lower left corner: (x0, y0, x1, y1)."""
    root = ET.fromstring(svg)
    high = float(root.get("viewBox", "0 0 0 0").split()[3])
    out = []
    for p in root.iter(SVG + "path"):
        found = re.fullmatch(r"M (\S+) (\S+) L (\S+) (\S+) ?", p.get("d", ""))
        if found is None or "stroke:none" in p.get("style", "stroke:none"):
            continue
        m = [float(v) for v in re.findall(r"[-\d.]+", p.get("transform", "matrix(1 0 0 1 0 0)"))]
        x0, y0, x1, y1 = map(float, found.groups())
        ends = [(m[0] * x + m[2] * y + m[4], m[1] * x + m[3] * y + m[5]) for x, y in ((x0, y0), (x1, y1))]
        out.append(tuple(v * PT for x, y in ends for v in (x, high - y)))
    return out


def page_count(data, tmp_path):
    (tmp_path / "n.pdf").write_bytes(data)
    said = subprocess.run(["pdfinfo", str(tmp_path / "n.pdf")], check=True, capture_output=True, text=True).stdout
    return int(re.search(r"Pages:\s+(\d+)", said)[1]), re.search(r"Page size:\s+(\S+) x (\S+)", said).groups()


@pytest.mark.parametrize(("paper", "size"), [("A4", (297, 210)), ("Letter", (279.4, 215.9))])
def test_every_page_has_bars_of_100_mm_both_ways_by_its_vectors(paper, size, tmp_path):
    data = made(("pdf",), paper=paper)["templates/roof-panel.pdf"]
    pages, (wide, high) = page_count(data, tmp_path)
    assert (float(wide) * PT, float(high) * PT) == pytest.approx(size, abs=0.01)
    assert pages == 4  # cover, holes, A1, B1
    for page in range(1, pages + 1):
        svg = poppler("pdftocairo", data, tmp_path, *AS_IT_IS, "-f", str(page), "-l", str(page)).read_bytes()
        lines = straights(svg)
        level = [x1 - x0 for x0, y0, x1, y1 in lines if y0 == y1 and abs(abs(x1 - x0) - 100) < 1]
        upright = [y1 - y0 for x0, y0, x1, y1 in lines if x0 == x1 and abs(abs(y1 - y0) - 100) < 1]
        assert [abs(v) for v in level] == pytest.approx([100.0], abs=VECTOR_MM)
        assert [abs(v) for v in upright] == pytest.approx([100.0], abs=VECTOR_MM)


def test_bars_and_holes_by_poppler_s_pixels(tmp_path):
    """At 300 dpi the bar's end ticks lie 100 mm apart within a pixel, and a 40 mm circle is 40 mm across."""
    import numpy as np

    data = made(("pdf",))["templates/roof-panel.pdf"]
    poppler("pdftoppm", data, tmp_path, "-r", str(DPI), "-gray", "-f", "3", "-l", "3")
    raw = next(tmp_path.glob("out*.pgm")).read_bytes()
    head = re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", raw)
    w, h = int(head[1]), int(head[2])
    ink = 255 - np.frombuffer(raw[head.end() :], dtype=np.uint8).reshape(h, w).astype(float)

    def row(mm):
        return ink[round(h - mm / PIXEL_MM)]

    ticks = _middles(row(12.0 + 1.8)[: round(140 / PIXEL_MM)])  # over the short ticks and under the words
    assert (ticks[-1] - ticks[0]) * PIXEL_MM == pytest.approx(100, abs=PIXEL_MM)
    column = ink[:, round((12.0 + 1.8) / PIXEL_MM)][round(h - 140 / PIXEL_MM) :]
    ticks = _middles(column)
    assert (ticks[-1] - ticks[0]) * PIXEL_MM == pytest.approx(100, abs=PIXEL_MM)
    first = tiled(panel().box, "A4").tiles[0]
    slot_row = row(24.0 + (75 - 0.4 - first.y))
    at = [22 + x - first.x for x in (60 - 24, 60 + 24)]
    walls = [m for m in _middles(slot_row) if at[0] < m * PIXEL_MM < at[1]]
    # A level line 0.4 under the middle of a slot 10 wide at 30 degrees crosses its two straight walls 20 mm apart.
    assert (walls[-1] - walls[0]) * PIXEL_MM == pytest.approx(20, abs=1.5 * PIXEL_MM)


def _middles(line):
    """Middles of the runs of ink in a row of pixels, weighted by how dark they are."""
    import numpy as np

    on = np.flatnonzero(line > 40)
    runs = np.split(on, np.flatnonzero(np.diff(on) > 1) + 1)
    return [float((r * line[r]).sum() / line[r].sum()) for r in runs if len(r)]


def test_tiles_lap_and_their_joints_are_the_same_on_both(files):
    for box in ((0, 0, 380, 150), (0, 0, 900, 700), (-5, -5, 5, 5)):
        t = tiled(box, "A4")
        w, h = t.window
        for a in t.tiles:
            for b in t.tiles:
                if (b.column - a.column, b.row - a.row) == (1, 0):
                    assert a.x + w - b.x == pytest.approx(OVERLAP)
                if (b.column - a.column, b.row - a.row) == (0, 1):
                    assert b.y + h - a.y == pytest.approx(OVERLAP)
            for point, shared in t.joints(a):
                (other,) = [o for o in t.tiles if o.name in shared.split(" + ") and o is not a]
                assert any(p == pytest.approx(point) and s == shared for p, s in t.joints(other))
        left, low = min(a.x for a in t.tiles), min(a.y for a in t.tiles)
        right, top = max(a.x for a in t.tiles) + w, max(a.y for a in t.tiles) + h
        assert left < box[0]
        assert low < box[1]
        assert right > box[2]
        assert top > box[3]


def test_every_page_says_its_side_and_the_cover_every_caution(files, tmp_path):
    data = files["templates/roof-panel.pdf"]
    said = poppler("pdftotext", data, tmp_path, "-layout").read_text().split("\f")[:-1]
    assert len(said) == 4
    assert all("SEEN FROM OUTSIDE" in p and "print at 100 %, do not scale" in p for p in said)
    words = " ".join(said[0].split())
    assert all(c in words for c in (PRINTED_SCALE, UNPLUG, *CUTTING, DEFER))
    for wanted in ("sharp", "wired board", "mains", "Acrylic cracks", "local codes"):
        assert wanted in words
    assert "a note" in words
    assert re.search(r"3\s+60\.00\s+75\.00\s+10\.00 x 50\.00 at 30", said[1])


def test_the_same_drawing_gives_the_same_bytes(files):
    assert made() == files


@pytest.mark.slow
def test_the_same_drawing_gives_the_same_bytes_in_another_run(files, tmp_path):
    """Sets of words come in another order in each run: Python's hashes of them are salted."""
    script = (
        "import importlib.util, sys\nspec = importlib.util.spec_from_file_location('t', sys.argv[1])\n"
        "t = importlib.util.module_from_spec(spec)\nspec.loader.exec_module(t)\n"
        "import hashlib\nprint({n: hashlib.sha256(d).hexdigest() for n, d in sorted(t.made().items())})\n"
    )
    said = [
        subprocess.run(
            [sys.executable, "-c", script, __file__], env={**os.environ, "PYTHONHASHSEED": str(seed)},
            check=True, capture_output=True, text=True,
        ).stdout
        for seed in (1, 2)
    ]  # fmt: skip
    assert said[0] == said[1]


def test_names_in_other_alphabets_are_letters_in_the_pdf_and_what_is_not_is_told(tmp_path):
    """Read back by poppler: Cyrillic, Greek and accented Latin as they are; lost letters are told."""
    names = "Крышка корпуса Ελληνικά Łódź Čeština"
    data = dict(write([panel(title=names)], ("pdf",)))["templates/roof-panel.pdf"]
    said = poppler("pdftotext", data, tmp_path, "-layout").read_text(encoding="utf-8")
    assert names in said
    assert "cannot be printed" not in said
    lost = dict(write([panel(title="机箱 roof")], ("pdf",)))["templates/roof-panel.pdf"]
    assert "2 different letters cannot be printed here" in poppler("pdftotext", lost, tmp_path).read_text()


NOTES = tuple(
    f"Pocket {i}: {' '.join(f'word{i}x{k}' for k in range(6 + 40 * (i % 2)))}, do not cut it." for i in range(1, 30)
)


def test_every_note_stands_whole_in_every_file(tmp_path):
    """However many there are and however long: drawn in DXF and SVG on the layer of words, on pages of the PDF."""
    from dataclasses import replace

    files = dict(write([replace(panel(), notes=NOTES)], ("dxf", "svg", "pdf")))
    space = ezdxf.read(io.StringIO(files["templates/roof-panel.dxf"].decode())).modelspace()
    drawn = " ".join(e.dxf.text for e in space.query('TEXT[layer=="notes"]'))
    group = ET.fromstring(files["templates/roof-panel.svg"]).findall(SVG + "g")[-1]
    shown = " ".join(t.text or "" for t in group)
    data = files["templates/roof-panel.pdf"]
    paper = " ".join(poppler("pdftotext", data, tmp_path, "-layout").read_text().split())
    for note in (*NOTES, MACHINE):
        assert note in drawn
        assert note in shown
    assert page_count(data, tmp_path)[0] > 4
    for word in " ".join(NOTES).split():
        assert word in paper
    once = poppler("pdftotext", made(("pdf",))["templates/roof-panel.pdf"], tmp_path).read_text()
    assert "a note" in once
    assert "next page" not in once


def test_words_beside_a_small_drawing_are_not_cut_off():
    """Set in the widest usual sans-serif, the one that comes with the templates' PDF, as a reader's may be."""
    from importlib.resources import files as resources

    from fontTools.ttLib import TTFont

    font = TTFont(io.BytesIO((resources("elbowroom.model.templates") / "fonts" / "DejaVuSans.ttf").read_bytes()))
    widths, glyphs, em = font["hmtx"], font.getBestCmap(), font["head"].unitsPerEm
    tag = Drawing(
        "tag", "tag", "inside", (Outline("cut", contour.rectangle(0, 0, 60, 40), False),), Datum(0, 0, "its left edge")
    )
    root = ET.fromstring(dict(write([tag], ("svg",)))["templates/tag.svg"])
    wide = float(root.get("viewBox", "").split()[2])
    texts = list(root.iter(SVG + "text"))
    assert max(len(t.text or "") for t in texts) > 60
    for t in texts:
        long = sum(widths[glyphs.get(ord(c), ".notdef")][0] for c in t.text or "") / em * float(t.get("font-size", 0))
        assert float(t.get("x", 0)) + long < wide, t.text


def test_wrong_wishes_are_told():
    with pytest.raises(InputError, match=r'no paper "A5".*known: A4, Letter'):
        made(paper="A5")
    with pytest.raises(InputError, match=r'no template format "dwg".*known: dxf, pdf, svg'):
        made(("dwg",))
    with pytest.raises(InputError, match=r"takes 165 pages of A4; at most 150"):
        list(write([panel(2500, 2500, "big")]))
    with pytest.raises(InputError, match="expected a width from 0 to 5 mm"):
        made(kerf=7.0)
