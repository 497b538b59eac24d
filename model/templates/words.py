"""Words in files: text of an untrusted build made safe for a format's own writer.

Owns taking out what no file may hold; escaping is left to each format's library.
"""

from __future__ import annotations

import unicodedata

MOST = 200  # characters of one line in a template; what is longer would run off the page


def printable(text: str) -> str:
    """The text on one line, without control characters, lone surrogates and what XML forbids; at most `MOST` long."""
    kept = "".join(c if unicodedata.category(c) not in ("Cc", "Cs", "Cn", "Zl", "Zp") else " " for c in text)
    line = " ".join(kept.split())
    return line if len(line) <= MOST else line[: MOST - 1] + "…"


def latin(text: str) -> str | None:
    """The text in the letters of PDF's built-in fonts (Windows-1252); None where it has others."""
    line = unicodedata.normalize("NFC", printable(text))
    try:
        line.encode("cp1252")
    except UnicodeEncodeError:
        return None
    return line
