"""Lists of known names in messages: short enough to read, and never without the one that was meant.

Owns what is shown of many names: rows that count up told by their ends, and, where there are more than can be read, the
nearest first. Which name is nearest of all is said by `problems`.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence


def known_names(wrong: str, names: Sequence[str], limit: int) -> str:
    """`known: a, b, slot-1 to slot-7`; of more than `limit` the nearest to a wrong name first, and how many more.

    names: in the order they are to be told in, at least one.
    """
    rows = _rows(names)
    if len(rows) <= limit:
        return f"known: {', '.join(rows)}"
    alike = [difflib.SequenceMatcher(None, wrong.lower(), n.lower()).ratio() for n in names]
    first = sorted(range(len(names)), key=lambda i: (-alike[i], i))[:limit]
    return f"known, the nearest first: {', '.join(names[i] for i in first)}, and {len(names) - limit} more"


def _rows(names: Sequence[str]) -> list[str]:
    """Names in order, three or more that count up told as one: `slot-1 to slot-7`."""
    rows: list[list[str]] = []
    for name in names:
        stem, number = _numbered(name)
        before = _numbered(rows[-1][-1]) if rows else ("", None)
        if number is not None and before == (stem, number - 1):
            rows[-1].append(name)
        else:
            rows.append([name])
    return [t for row in rows for t in (row if len(row) < 3 else [f"{row[0]} to {row[-1]}"])]


def _numbered(name: str) -> tuple[str, int | None]:
    """A name without the number at its end, and that number."""
    found = re.fullmatch(r"(.*?)(0|[1-9][0-9]{0,5})", name)
    return (found[1], int(found[2])) if found else (name, None)
