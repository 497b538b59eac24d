"""Lists of known names in messages: short enough to read, and never without the one that was meant.

Owns which of many names is nearest to a wrong one, found by an index of pairs of letters so that thousands cost a
millisecond, and what is shown of them: rows that count up told by their ends, and, where there are more than can be
read, the nearest first.
"""

from __future__ import annotations

import difflib
import heapq
import re
from collections import Counter
from collections.abc import Sequence
from functools import lru_cache
from itertools import islice

_LONGEST = 80  # characters of a name that are compared
_COMPARED = 16  # names compared letter by letter: those that share most pairs of letters with the wrong one
_LIKE = 0.55  # share of letters in common from which a name counts as near; no source (P)


def nearest_name(wrong: str, known: tuple[str, ...]) -> str | None:
    """The known name most like the wrong one, not that one itself; None where none is."""
    return _among(known).nearest(wrong[:_LONGEST])


def known_names(wrong: str, known: tuple[str, ...], limit: int) -> str:
    """`known: a, b, slot-1 to slot-7`; of more than `limit` the nearest to a wrong name first, and how many more."""
    among = _among(known)
    rows = _rows(among.names)
    if len(rows) <= limit:
        return f"known: {', '.join(rows)}"
    first = among.alike(wrong[:_LONGEST], limit)
    return f"known, the nearest first: {', '.join(first)}, and {len(among.names) - limit} more"


class _Among:
    """Known names in order, with an index by pairs of letters."""

    def __init__(self, known: tuple[str, ...]) -> None:
        self.names = sorted(set(known), key=_natural)
        self._with: dict[str, list[int]] = {}
        for i, name in enumerate(self.names):
            for pair in _pairs(name):
                self._with.setdefault(pair, []).append(i)

    def alike(self, wrong: str, count: int) -> list[str]:
        """That many known names, those that share most pairs of letters with the wrong one first."""
        shared: Counter[int] = Counter()
        for pair in _pairs(wrong):
            shared.update(self._with.get(pair, ()))
        size = len(wrong)
        best = heapq.nlargest(count, shared, key=lambda i: (shared[i] / (len(self.names[i]) + size), -i))
        rest = (i for i in range(len(self.names)) if i not in shared)
        return [self.names[i] for i in (*best, *islice(rest, count - len(best)))]

    def nearest(self, wrong: str) -> str | None:
        best = [n for n in self.alike(wrong, _COMPARED) if n != wrong]
        near = difflib.get_close_matches(wrong, [n[:_LONGEST] for n in best], n=1, cutoff=_LIKE)
        return next((n for n in best if n[:_LONGEST] == near[0]), None) if near else None


@lru_cache(maxsize=16)
def _among(known: tuple[str, ...]) -> _Among:
    return _Among(known)


def _pairs(name: str) -> set[str]:
    """Pairs of neighbouring letters, and each letter alone, so that short names are found as well."""
    text = name.casefold()[:_LONGEST]
    return {text[i : i + 2] for i in range(len(text) - 1)} | (set(text) if len(text) < 6 else set())


def _natural(name: str) -> list[tuple[int, int, str]]:
    return [(0, int(t), "") if t.isdecimal() else (1, 0, t) for t in re.findall(r"\d{1,9}|\D+", name)]


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
