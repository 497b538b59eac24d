"""Words in files: text of an untrusted build made safe for a format's own writer.

Owns taking out what no file may hold; escaping is left to each format's library.
"""

from __future__ import annotations

import unicodedata


def printable(text: str) -> str:
    """The text on one line, without control characters, lone surrogates and what XML forbids."""
    kept = "".join(c if unicodedata.category(c) not in ("Cc", "Cs", "Cn", "Zl", "Zp") else " " for c in text)
    return " ".join(kept.split())


def latin(text: str) -> str | None:
    """The text in the letters of PDF's built-in fonts (Windows-1252); None where it has others."""
    line = unicodedata.normalize("NFC", printable(text))
    try:
        line.encode("cp1252")
    except UnicodeEncodeError:
        return None
    return line
