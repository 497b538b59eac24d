"""Letters in PDF: which font a line is set in, and which letters no font of ours has.

Owns the one font that is embedded: DejaVu Sans, cut down to Latin, Greek, Cyrillic, Armenian and Georgian letters
(`fonts/`, with its licence). A line that PDF's built-in fonts can set is set in those, which need no room in the file.
"""

from __future__ import annotations

import re
import unicodedata
from functools import cache
from pathlib import Path

from elbowroom.model.templates.words import latin, printable

FONT = Path(__file__).parent / "fonts" / "DejaVuSans.ttf"
NAME = "DejaVuSans"
FAMILY = "DejaVu Sans"  # what the font calls itself
MISSING = "?"
_BEYOND = re.compile(r"[^\x00-\x7f]")


def set_in(text: str, *, bold: bool = False) -> tuple[str, str]:
    """A line as it is printed, and the name of the font that has its letters; "?" for each letter that none has."""
    plain = latin(text)
    if plain is not None:
        return plain, "Helvetica-Bold" if bold else "Helvetica"
    line = unicodedata.normalize("NFC", printable(text))
    have = _letters()
    return "".join(c if ord(c) in have else MISSING for c in line), NAME


def missing(texts: list[str]) -> str:
    """The letters of the texts that no font has, each once."""
    lines = [unicodedata.normalize("NFC", printable(t)) for t in texts if latin(t) is None]
    return "".join(dict.fromkeys(c for line in lines for c in line if ord(c) not in _letters()))


def spelled(text: str) -> str:
    """The text with a "?" for each letter that the embedded font has not."""
    have = _letters()  # all of ASCII among them
    return _BEYOND.sub(lambda c: c[0] if ord(c[0]) in have else MISSING, text)


@cache
def _letters() -> frozenset[int]:
    """The letters of the embedded font, which is made known to the PDF library."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    font = TTFont(NAME, str(FONT))
    pdfmetrics.registerFont(font)
    return frozenset(font.face.charToGlyph)


def wide(text: str, size: float) -> float:
    """How wide a line is in the embedded font at that size, in the size's own unit."""
    from reportlab.pdfbase import pdfmetrics

    _letters()
    return float(pdfmetrics.stringWidth(text, NAME, size))
