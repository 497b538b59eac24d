"""An order in which everything comes apart, and where there is none, the least that must be loose for one.

Owns the search, which knows nothing of geometry: whoever asks says what can be taken out while certain others are
there. To have less standing there never takes a way out away from anything; so whatever can be taken may be taken, and
what is left when nothing more can be is stuck in every order there is. Building is the same order backward.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Generic, TypeVar

How = TypeVar("How")
MOST_LOOSE = 3  # parts that are tried loose together; a build that needs more is to be thought over, not loosened
MOST_TRIED = 2000  # sets of them


@dataclass(frozen=True, slots=True)
class Taken(Generic[How]):
    """Something taken out: the item asked about, all that leaves with it, and how."""

    item: str
    goes: frozenset[str]
    how: How


Take = Callable[[str, frozenset[str]], Taken[How] | None]


@dataclass(frozen=True, slots=True)
class Apart(Generic[How]):
    """What was taken out, first to last, and what nothing gets out of the rest."""

    taken: tuple[Taken[How], ...]
    stuck: frozenset[str]


def apart(items: Sequence[str], take: Take[How], there: frozenset[str] | None = None) -> Apart[How]:
    """Take out whatever can be, of those that can the first of `items`. there: what stands, all of them if left out."""
    left = frozenset(items) if there is None else there
    out: list[Taken[How]] = []
    while left:
        found = next((t for i in items if i in left and (t := take(i, left)) is not None), None)
        if found is None:
            break
        out.append(found)
        left -= found.goes
    return Apart(tuple(out), left)


def least_loose(
    items: Sequence[str], stuck: frozenset[str], take: Take[How], candidates: Sequence[str] | None = None
) -> tuple[frozenset[str], Apart[How]] | None:
    """The fewest of the stuck items that must be loose, so that the others come out past them, and how those do.

    What is there and no item itself (the screws of what is loose) may be left. Of equally few the first in the order of
    `candidates` (of `items` where left out). None where more than MOST_LOOSE would be needed, or more than MOST_TRIED
    sets tried.
    """
    core = [i for i in (items if candidates is None else candidates) if i in stuck]
    tried = 0
    for count in range(1, min(MOST_LOOSE, len(core)) + 1):
        for some in combinations(core, count):
            if tried >= MOST_TRIED:
                return None
            tried += 1
            found = apart(items, take, stuck - frozenset(some))
            if found.stuck.isdisjoint(items):
                return frozenset(some), found
    return None


def to_free(items: Sequence[str], wanted: str, take: Take[How]) -> Apart[How] | None:
    """What comes out, first to last and the wanted item last, with nothing taken that need not be; None where it does
    not come out at all.

    All that can be taken is, until the wanted item can; then each is put back, last first, that the others do not
    need. So none of what is left can be spared, though a smaller set of others may do as well.
    """
    left, order = frozenset(items), []
    while take(wanted, left) is None:
        found = next((t for i in items if i in left and i != wanted and (t := take(i, left)) is not None), None)
        if found is None:
            return None
        order.append(found.item)
        left -= found.goes
    for item in reversed(order.copy()):
        fewer = [i for i in order if i != item]
        if _replayed(items, fewer, wanted, take) is not None:
            order = fewer
    return _replayed(items, order, wanted, take)


def _replayed(items: Sequence[str], order: Sequence[str], wanted: str, take: Take[How]) -> Apart[How] | None:
    left, out = frozenset(items), []
    for item in (*order, wanted):
        if item not in left:
            continue
        found = take(item, left)
        if found is None:
            return None
        out.append(found)
        left -= found.goes
    return Apart(tuple(out), left)
