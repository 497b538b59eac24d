"""What would go on instead: fittings of the catalogue and short chains of them, best first.

Owns the candidates and their order: fewest pieces first, then the lowest. Each is put to the same trial as the chain
that failed. Leaves the trial to `trial`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from itertools import islice

import numpy as np

from elbowroom.model.build.loop_spec import MAX_CHAIN
from elbowroom.model.loop.plumbing import Link, Tubing
from elbowroom.model.reach.chains import Postures, items
from elbowroom.model.reach.hands import fingers_at_once
from elbowroom.model.reach.rooms import Rooms, Site, bars_met
from elbowroom.model.reach.trial import Trial, attempt, seat, sets
from elbowroom.parts.fitting.fitting_choice import Choice, adapters_for, catalogue_fittings, fittings_for, plugs_for

MOST_REMEDIES = 3  # answers are read by people: the three best
MOST_TRIES = 60  # candidates tried for them: all with one adapter and the lowest with two


def link(choice: Choice) -> Link:
    return Link(choice.name, choice.fitting, choice.fitting.is_rotary)


def all_that_go_on(rooms: Rooms, site: Site) -> tuple[str, ...]:
    """Every fitting of the catalogue that goes on the port alone, in the catalogue's order; tubes are not asked.

    The same questions as in `trial`, but put for all fittings at once as far as nothing turns.
    """
    thread = site.frame.thread or ""
    known = [c for c in catalogue_fittings() if c.fitting.accepts(thread) and seat(site, [link(c)]) is None]
    parts = {c.name: items([link(c)], site)[0] for c in known}
    base = {name: np.array(site.pose)[None] @ one.mount for name, one in parts.items()}
    left = {c.name: c for c in known}
    for space, bars in (
        (rooms.workshop, [(n, r) for n, one in parts.items() for r in one.fixed_in]),
        (rooms.rest, [(n, r) for n, one in parts.items() for r in one.fixed]),
    ):
        met = bars_met(space, [(r, base[n]) for n, r in bars])
        for (name, _), hit in zip(bars, met, strict=True):
            if hit:
                left.pop(name, None)
    on = fingers_at_once(rooms, [(base[n][0], c.fitting, site.lift) for n, c in left.items()])
    return tuple(
        name
        for (name, c), held in zip(left.items(), on, strict=True)
        if held and (not c.fitting.is_rotary or len(next(sets(rooms, site, [parts[name]]), ())))
    )


def lowest(site: Site, tubing: Tubing | None) -> Link | None:
    """What is assumed on a port that nobody chose for: the lowest fitting that holds the tube, or the lowest plug."""
    thread = site.frame.thread or ""
    known = plugs_for(thread)
    if tubing is not None:
        stock = tubing.stock
        known = fittings_for(thread, stock.od, stock.id, stock.kind)
    return link(known[0]) if known else None


def remedies(
    rooms: Rooms, site: Site, chosen: Sequence[Link], tubing: Tubing | None, *,
    seals: Callable[[Sequence[Link]], bool] = lambda _: True,
    beside: Callable[[Sequence[Link], Postures], bool] | None = None,
) -> tuple[Trial, ...]:  # fmt: skip
    """The best chains that go on where the chosen one does not, at most MOST_REMEDIES; and the chosen chain on the
    lowest extension that mends it, where there is one and it is not among them.

    seals: whether a chain's seal ring lies on sound ground. beside: whether a posture of it goes with what is on other
    ports; left out, these are not asked.
    """
    alone: dict[str, bool] = {}  # whether a first link stands on the port at all: if not, no chain that starts with it

    def accept(links: Sequence[Link]) -> Callable[[Postures], bool] | None:
        return None if beside is None else partial(beside, links)

    def goes_on(links: Sequence[Link]) -> bool:
        first = links[0]
        if not seals(links):
            return False
        name = f"{first.size} {first.free} {first.fitting.shape_key()}"
        if name not in alone:
            trial = attempt(rooms, site, [first], None, full=False, coarsely=True)
            alone[name] = trial.problem in (None, "fingers")
        if not alone[name]:
            return False
        trial = attempt(rooms, site, links, tubing, full=False, coarsely=True, accept=accept(links))
        return trial.problem is None

    tried = islice(candidates(site, chosen, tubing), MOST_TRIES)
    best = list(islice((c for c in tried if goes_on(c)), MOST_REMEDIES))
    if len(chosen) < MAX_CHAIN and not any(_names(c[1:]) == _names(chosen) for c in best):
        lifted = ((link(c), *chosen) for c in adapters_for(site.frame.thread or "") if not c.fitting.is_rotary)
        best += islice((c for c in lifted if goes_on(c)), 1)
    return tuple(attempt(rooms, site, c, tubing, full=True, accept=accept(c)) for c in best)


def candidates(site: Site, chosen: Sequence[Link], tubing: Tubing | None) -> Iterator[tuple[Link, ...]]:
    """Other chains that would serve as the chosen one does, best first, by thread and tube alone."""
    thread = site.frame.thread or ""
    turned = tuple(Link(li.size, li.fitting, li.fitting.is_rotary, li.given - {"angle"}) for li in chosen)
    if any(t.free and not c.free for t, c in zip(turned, chosen, strict=True)):
        yield turned
    last = chosen[-1]
    if tubing is not None and last.fitting.holds_tube:
        stock = tubing.stock
        ends = [link(c) for c in fittings_for(thread, stock.od, stock.id, stock.kind)]
        if last.given:
            ends.insert(0, last)  # measured by the user: it is at hand
    elif last.fitting.kind == "plug":
        ends = [link(c) for c in plugs_for(thread)]
    else:
        ends = [last]
    adapters = [link(c) for c in adapters_for(thread)]
    straight, swivels = [a for a in adapters if not a.free], [a for a in adapters if a.free]
    every = [
        *((e,) for e in ends),
        *((a, e) for a in adapters for e in ends),
        *((a, s, e) for a in straight for s in swivels for e in ends),
        *((s, a, e) for a in straight for s in swivels for e in ends),
    ]
    before = _names(chosen)
    for links in sorted(every, key=lambda c: (len(c), sum(li.fitting.reach_length for li in c))):
        if _names(links) != before:
            yield links


def _names(links: Sequence[Link]) -> tuple[tuple[str, bool, str], ...]:
    return tuple((li.size, li.free, li.fitting.shape_key()) for li in links)
