"""Names by a pattern, as a build file writes them."""

from __future__ import annotations

from fnmatch import fnmatchcase


def matches(name: str, pattern: str) -> bool:
    """Whether a word of a build file, with * for any run of characters, names this one; no other sign is special."""
    return name == pattern or ("*" in pattern and fnmatchcase(name, pattern.replace("[", "[[]").replace("?", "[?]")))
