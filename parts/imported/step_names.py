"""The names that a STEP file gives its bodies, made fit to be shown and told apart."""

from __future__ import annotations

import contextlib
import re
import unicodedata
from collections.abc import Sequence

LONGEST = 40  # characters of a name that are kept; by choice
# Names that programs make up: a number, an occurrence's running number, a translator's stamp.
_MADE_UP = re.compile(r"(nauo|solid|body|shape|compound|part)?[\s_:-]*\d*(\.\d+)*|.*translator [\d .]+", re.IGNORECASE)


def useful_name(text: str) -> str | None:
    """A name in letters, digits and plain signs; None where it says nothing, or holds what cannot be shown."""
    with contextlib.suppress(UnicodeError):  # raw UTF-8, which the standard does not allow, read as Latin-1
        text = text.encode("latin-1").decode("utf-8")
    text = unicodedata.normalize("NFC", text.strip())
    if not text.isprintable() or _MADE_UP.fullmatch(text):
        return None
    text = "".join(c if c.isalnum() or c in " _.+-" else "-" for c in text)
    text = re.sub(r"\s+", " ", text)[:LONGEST].strip(" .-")
    return text if any(c.isalpha() for c in text) else None


def unique_names(names: Sequence[str | None], sound: Sequence[bool]) -> list[str]:
    """A name for each body, in order: its own, numbered where others have it; else `solid-3` or `open-shell-4`."""
    out: list[str] = []
    taken = {f"{kind}-{i}" for i, n in enumerate(names, 1) if n is None for kind in ("solid", "open-shell")}
    for i, (name, whole) in enumerate(zip(names, sound, strict=True), 1):
        own = (f"solid-{i}" if whole else f"open-shell-{i}") if name is None else name
        if name is not None:
            n = 1
            while own.casefold() in taken:
                n += 1
                own = f"{name}-{n}"
            taken.add(own.casefold())
        out.append(own)
    return out
