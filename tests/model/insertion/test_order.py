"""The order of taking apart and the least that must be loose agree with trying everything, for up to ten parts."""

from __future__ import annotations

from itertools import combinations, permutations

import numpy as np
import pytest

from elbowroom.model.insertion.order import Taken, apart, least_loose, to_free

Ways = dict[str, list[frozenset[str]]]  # of each part, what bars each of its ways


def scene(seed: int, parts: int, ways: int, bars: float) -> Ways:
    rng = np.random.default_rng(seed)
    names = [f"p{i}" for i in range(parts)]
    return {n: [frozenset(m for m in names if m != n and rng.random() < bars) for _ in range(ways)] for n in names}


def taker(ways: Ways):  # type: ignore[no-untyped-def]
    def take(item: str, there: frozenset[str]) -> Taken[int] | None:
        for k, barred in enumerate(ways[item]):
            if not barred & there:
                return Taken(item, frozenset({item}), k)
        return None

    return take


def comes_apart(ways: Ways, names: frozenset[str]) -> bool:
    """By trying every order."""
    if len(names) > 7:  # 5040 orders; beyond, by removing whatever can be, any first
        left = set(names)
        while out := [n for n in sorted(left, reverse=True) if any(not b & left for b in ways[n])]:
            left.remove(out[0])
        return not left
    for order in permutations(sorted(names)):
        left = set(names)
        for n in order:
            if not any(not b & left for b in ways[n]):
                break
            left.remove(n)
        else:
            return True
    return False


@pytest.mark.parametrize("seed", range(60))
def test_an_order_is_found_if_and_only_if_there_is_one(seed: int) -> None:
    ways = scene(seed, 3 + seed % 4, 1 + seed % 3, 0.35)
    names = frozenset(ways)
    found = apart(sorted(ways), taker(ways))
    assert (not found.stuck) == comes_apart(ways, names)
    left = set(names)
    for t in found.taken:  # the order is one
        assert not ways[t.item][t.how] & left
        left.remove(t.item)
    assert frozenset(left) == found.stuck
    assert all(all(b & left for b in ways[n]) for n in left)  # and what is stuck is


@pytest.mark.parametrize("seed", range(60))
def test_no_fewer_need_be_loose_than_are_told(seed: int) -> None:
    ways = scene(1000 + seed, 5 + seed % 6, 2, 0.3)
    names = frozenset(ways)
    found = apart(sorted(ways), taker(ways))
    if not found.stuck:
        return
    told = least_loose(sorted(ways), found.stuck, taker(ways))
    least = next(
        (k for k in range(1, 4) if any(comes_apart(ways, names - set(c)) for c in combinations(sorted(names), k))), None
    )
    assert (told is None) == (least is None)
    if told is not None:
        assert len(told[0]) == least
        assert comes_apart(ways, names - told[0])


def test_what_comes_out_for_service_is_all_needed() -> None:
    """The pump lies behind the card, the card behind the fan; the drive bars nothing of theirs."""
    ways: Ways = {
        "drive": [frozenset()], "fan": [frozenset()], "card": [frozenset({"fan"})],
        "pump": [frozenset({"card"}), frozenset({"drive", "fan", "card"})],
    }  # fmt: skip
    found = to_free(["drive", "fan", "card", "pump"], "pump", taker(ways))
    assert found is not None
    assert [t.item for t in found.taken] == ["fan", "card", "pump"]


@pytest.mark.parametrize("seed", range(40))
def test_of_what_comes_out_for_service_none_can_be_spared(seed: int) -> None:
    ways = scene(2000 + seed, 8, 2, 0.2)
    for wanted in ways:
        found = to_free(sorted(ways), wanted, taker(ways))
        left, open_ = set(ways), True
        while open_:
            open_ = False
            for n in sorted(left):
                if any(not b & left for b in ways[n]):
                    left.remove(n)
                    open_ = True
        assert (found is None) == (wanted in left)
        if found is None:
            continue
        out = [t.item for t in found.taken]
        for spared in out[:-1]:
            there, done = frozenset(ways), True
            for n in out:
                if n == spared:
                    continue
                t = taker(ways)(n, there)
                done = done and t is not None
                there -= {n}
            assert not done, f"{spared} need not come out for {wanted}"
