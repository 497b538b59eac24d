"""The coolant's graph against brute force on random graphs: what shares a way round, what follows its arrows."""

from __future__ import annotations

import itertools
from types import SimpleNamespace

from hypothesis import given
from hypothesis import strategies as st

from elbowroom.model.layout.identity import Port
from elbowroom.model.loop.hydraulics import (
    Network,
    Way,
    against_all,
    blocks,
    branches,
    is_ring,
    parts_apart,
    round_trip,
)

edges = st.lists(st.tuples(st.integers(0, 5), st.integers(0, 5)), min_size=1, max_size=9)


def graph(pairs: list[tuple[int, int]]) -> Network:
    """A network whose pipe i leads from way pairs[i][0] to way pairs[i][1]."""
    ports = {
        k: tuple(Port(str(k), f"{i}{s}") for i, p in enumerate(pairs) for s in (0, 1) if p[s] == k) for k in range(6)
    }
    ways = tuple(Way(ports[k], True, False, False) for k in range(6))
    pipes = tuple(
        SimpleNamespace(
            start=SimpleNamespace(port=Port(str(a), f"{i}0")), end=SimpleNamespace(port=Port(str(b), f"{i}1"))
        )
        for i, (a, b) in enumerate(pairs)
    )
    net = Network(ways, pipes, {}, (), {p: k for k in range(6) for p in ports[k]})  # type: ignore[arg-type]
    for i, (a, b) in enumerate(pairs):
        net.at.setdefault(a, []).append(i)
        net.at.setdefault(b, []).append(i)
    return net


def on_one_way_round(pairs: list[tuple[int, int]], i: int, j: int) -> bool:
    """Whether some simple ring holds both pipes, by trying every set of pipes: connected, and two ends at each way."""
    rest = [k for k in range(len(pairs)) if k not in (i, j)]
    for n in range(len(rest) + 1):
        for more in itertools.combinations(rest, n):
            ring = [pairs[k] for k in (i, j, *more)]
            count: dict[int, int] = {}
            for a, b in ring:
                count[a] = count.get(a, 0) + 1
                count[b] = count.get(b, 0) + 1
            if any(c != 2 for c in count.values()):
                continue
            seen, grown = {ring[0][0]}, True
            while grown:
                new = {v for e in ring if set(e) & seen for v in e} - seen
                grown = bool(new)
                seen |= new
            if seen == set(count):
                return True
    return False


@given(edges)
def test_blocks_are_the_pipes_that_share_a_way_round(pairs: list[tuple[int, int]]) -> None:
    found_blocks = blocks(graph(pairs))
    assert sorted(i for b in found_blocks for i in b) == list(range(len(pairs)))
    block_of = {i: k for k, b in enumerate(found_blocks) for i in b}
    for i, j in itertools.combinations(range(len(pairs)), 2):
        assert (block_of[i] == block_of[j]) == on_one_way_round(pairs, i, j)


def reachable(pairs: list[tuple[int, int]], a: int, b: int) -> bool:
    """Whether arrows lead from a to b, by powers of the relation."""
    seen = {a}
    for _ in pairs:
        seen |= {y for x, y in pairs if x in seen}
    return b in seen


@given(edges)
def test_arrows_on_no_way_round_are_found(pairs: list[tuple[int, int]]) -> None:
    wrong = against_all(graph(pairs), range(len(pairs)))
    assert wrong == [i for i, (a, b) in enumerate(pairs) if not reachable(pairs, b, a)]


@given(edges)
def test_pipes_apart_share_no_way(pairs: list[tuple[int, int]]) -> None:
    groups = parts_apart(graph(pairs), range(len(pairs)))
    assert sorted(i for g in groups for i in g) == list(range(len(pairs)))
    ways = [{w for i in g for w in pairs[i]} for g in groups]
    assert all(not (a & b) for a, b in itertools.combinations(ways, 2))
    both_ways = [*pairs, *((b, a) for a, b in pairs)]
    assert all(reachable(both_ways, pairs[g[0]][0], w) for g, ws in zip(groups, ways, strict=True) for w in ws)


@given(st.permutations(range(6)), st.lists(st.booleans(), min_size=6, max_size=6), st.permutations(range(6)))
def test_a_ring_is_walked_once_round(ways: list[int], turned: list[bool], order: list[int]) -> None:
    ring = [(ways[i], ways[(i + 1) % 6]) for i in range(6)]
    pairs = [ring[i][::-1] if turned[i] else ring[i] for i in order]
    net = graph(pairs)
    assert is_ring(net, range(6))
    start = net.pipes[0].start.port
    trip = round_trip(net, range(6), start)
    assert sorted(i for i, _ in trip) == list(range(6))
    assert trip[0] == (0, True)
    walked = [pairs[i] if along else pairs[i][::-1] for i, along in trip]
    assert all(a[1] == b[0] for a, b in itertools.pairwise([*walked, walked[0]]))


def test_branches_run_from_fork_to_join() -> None:
    # 0 -> 1, from 1 by 2 and by 3, 4 to 5, back to 0
    pairs = [(0, 1), (1, 2), (2, 5), (1, 3), (3, 4), (4, 5), (5, 0)]
    found = branches(graph(pairs), range(7))
    assert [(b.start, b.end, b.pipes) for b in found] == [(1, 5, (1, 2)), (1, 5, (3, 4, 5))]
    assert branches(graph([(0, 1), (1, 0)]), range(2)) == []
