"""The report as PDF on A4: the same parts in the same order, pages numbered.

Owns the setting of it. Letters that the embedded font has not become "?", as in the templates.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any
from xml.sax.saxutils import escape

from elbowroom.model.pictures import Picture
from elbowroom.model.report.content import Content, Part, Table, Told
from elbowroom.model.templates.lettering import NAME, spelled, wide
from elbowroom.model.templates.words import printable
from elbowroom.model.told.verdict_words import SIGN

MARGIN_MM = 16.0
BAD, WARY, GOOD, SOFT, LINE = "#a31550", "#7a4f00", "#1d6a5b", "#525b69", "#c9c8c0"
# Shares of the width that the columns of a table have, by how many there are.
SHARES = {3: (0.2, 0.62, 0.18), 5: (0.06, 0.1, 0.24, 0.34, 0.26)}
WITH_PICTURE, WITHOUT = 340, 120  # points a heading needs below it, so that it stands with what it heads
PICTURE_SHARE = 0.64  # of the width of a page, for a picture beside its finding


def write(told: Content) -> bytes:
    """The report as the bytes of a PDF file; the same report gives the same bytes."""
    from reportlab.lib.pagesizes import A4
    from reportlab.lib.units import mm
    from reportlab.platypus import SimpleDocTemplate

    wide("", 1)  # which makes the font known
    out = io.BytesIO()
    margin = MARGIN_MM * mm
    title = _words(told.title)
    document = SimpleDocTemplate(
        out, pagesize=A4, leftMargin=margin, rightMargin=margin, topMargin=margin, bottomMargin=margin,
        title=title, author="elbowroom", subject=told.verdict, invariant=1,
    )  # fmt: skip

    def foot(canvas: Any, _: Any) -> None:
        canvas.setFont(NAME, 7.5)
        canvas.drawString(margin, 9 * mm, f"{title[:90]}: {told.verdict.lower()}")
        canvas.drawRightString(A4[0] - margin, 9 * mm, str(canvas.getPageNumber()))

    kind = {"fits": GOOD, "fails": BAD}.get(told.result, WARY)
    story: list[Any] = [
        _line(told.title, 17),
        _line(told.verdict, 14, kind),
        _line(told.says, 8.5, SOFT),
    ]
    for part in told.parts:
        story += _part(part, document.width)
    document.build(story, onFirstPage=foot, onLaterPages=foot)
    return out.getvalue()


def _part(part: Part, width: float) -> list[Any]:
    from reportlab.lib.pagesizes import A4
    from reportlab.platypus import CondPageBreak, HRFlowable, Spacer

    pictured = bool(part.findings and part.findings[0].picture)
    room = WITH_PICTURE if pictured else WITHOUT
    gallery = _gallery(part.pictures, width)
    if gallery and not part.lines and not part.findings:  # a heading stands with the first row of its pictures
        room = WITHOUT + gallery[0].wrap(width, A4[1])[1] / max(1, (len(part.pictures) + 1) // 2)
    out: list[Any] = [
        Spacer(1, 10),
        CondPageBreak(room),
        _line(part.heading, 13),
        HRFlowable(width="100%", color="#1c2230"),
    ]
    bullet = "- " if len(part.lines) > 1 else ""
    out += [_line(bullet + line, 9) for line in part.lines]
    for f in part.findings:
        out += _finding(f, width)
    out += gallery
    for heading, table in part.tables:
        out += [Spacer(1, 6), CondPageBreak(70), _line(heading, 10.5), _table(table, width)]
    return out


def _gallery(pictures: Sequence[Picture], width: float) -> list[Any]:
    """One picture as wide as the page, several two by two."""
    from reportlab.platypus import Table as Grid

    if len(pictures) < 2:
        return [_picture(p, width) for p in pictures]
    half = width / 2
    made = [_picture(p, half - 6) for p in pictures]
    rows = [[made[k], made[k + 1] if k + 1 < len(made) else ""] for k in range(0, len(made), 2)]
    return [Grid(rows, colWidths=[half, half], style=[("VALIGN", (0, 0), (-1, -1), "TOP")])]


def _finding(f: Told, width: float) -> list[Any]:
    from reportlab.platypus import KeepTogether, Spacer

    colour = BAD if f.verdict in ("clash", "fail") else GOOD if f.verdict in ("pass", "clear") else WARY
    sign = "" if f.verdict in ("pass", "clear") else _words(SIGN[f.verdict].replace("✖", "×"))
    verdict = f'<font color="{colour}">{escape(f"{sign} {f.verdict}".strip())}</font> '
    out = [Spacer(1, 5), _marked(verdict + escape(_words(f.text)), 9.5)]
    about = "; ".join(w for w in (f.where, f.number) if w)
    out += [_line(about, 8.5, SOFT)] if about else []
    out += [_line(f"→ {r}", 9) for r in f.remedies]
    out += [_line(f.more, 7.5, SOFT)] if f.more else []
    if f.picture is not None:
        out.append(_picture(f.picture, PICTURE_SHARE * width))
    return [KeepTogether(out)]


def _picture(picture: Picture, width: float) -> Any:
    from reportlab.lib.utils import ImageReader
    from reportlab.platypus import Image

    png = picture.png()
    across, high = ImageReader(io.BytesIO(png)).getSize()
    scale = min(width / across, 0.86 * 700 / high)
    return Image(io.BytesIO(png), width=across * scale, height=high * scale)


def _table(table: Table, width: float) -> Any:
    from reportlab.platypus import LongTable, TableStyle

    shares = SHARES.get(len(table.heads), (1 / len(table.heads),) * len(table.heads))
    rows = [[_line(c, 8, SOFT) for c in table.heads], *([_line(c, 8) for c in row] for row in table.rows)]
    made = LongTable(rows, colWidths=[s * width for s in shares], repeatRows=1)
    made.setStyle(
        TableStyle([
            ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LINEBELOW", (0, 0), (-1, -1), 0.4, LINE),
            ("LEFTPADDING", (0, 0), (-1, -1), 2), ("RIGHTPADDING", (0, 0), (-1, -1), 4),
            ("TOPPADDING", (0, 0), (-1, -1), 1.5), ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
        ])
    )  # fmt: skip
    return made


def _line(words: str, size: float, colour: str = "#1c2230") -> Any:
    return _marked(escape(_words(words)), size, colour)


def _marked(words: str, size: float, colour: str = "#1c2230") -> Any:
    """A paragraph of words that are escaped already."""
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Paragraph

    style = ParagraphStyle(
        f"{size}", fontName=NAME, fontSize=size, leading=size * 1.32, textColor=colour, splitLongWords=1, spaceAfter=1.5
    )
    return Paragraph(words, style)


def _words(text: str) -> str:
    return spelled(printable(text))
