"""One screw through its stack: trade facts, worked examples, and random stacks against formulas of the tests' own.

Trade facts are common practice without a source (P): a 25 mm fan takes the 30 mm screw, a 15 mm fan the 20, a radiator
straight on the panel the 5; a 30 through a 15 mm fan pierces.
"""

from __future__ import annotations

import itertools
import math
import random
import subprocess
import sys
from collections import Counter
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from elbowroom.model.screws.picking import AMPLE, ENOUGH, TIE, Choice, choose
from elbowroom.model.screws.stack import (
    CLEAR,
    Judged,
    Layer,
    Receiver,
    judge,
    least_engagement,
    washer_layer,
    window,
)
from elbowroom.parts.screw.screw_tables import ENGAGEMENT, SCREW_THREADS, Stock, length_tolerance, stock
from elbowroom.parts.vocabulary.base import Material

ROUNDING = 1e-9  # mm: sums of a few tens of millimetres in double precision
# General tolerances ISO 2768-m: 0.1 to 6 mm, 0.2 to 30 mm.
PANEL = Layer("panel", 1.2, 0.1, 0.1)
FAN_25 = Layer("fan", 25.0, 0.2, 0.2)
FAN_15 = Layer("fan", 15.0, 0.2, 0.2)


def radiator(depth: float = 7.0, thread: str = "M3", plate: float = 1.2) -> Receiver:
    """A radiator's plate, `depth` from its face to the fins."""
    least = least_engagement(thread, "aluminium", plate, depth)
    return Receiver(thread, depth, 0.2, 0.2, plate, "fins", least.value, least.why)


def m3(length: float, layers: list[Layer], receiver: Receiver) -> Judged:
    return judge(length, length_tolerance("M3", length), layers, receiver)


@pytest.mark.parametrize("thread", ["M3", "M4"])
@pytest.mark.parametrize(
    ("layers", "length"),
    [([FAN_25], 30), ([PANEL, FAN_25], 30), ([FAN_15], 20), ([PANEL, FAN_15], 20), ([PANEL], 5)],
    ids=["25 fan", "panel and 25 fan", "15 fan", "panel and 15 fan", "panel alone"],
)
def test_trade_facts_what_to_buy(layers, length, thread):
    choice = choose(layers, radiator(thread=thread))
    assert choice.best is not None
    assert (choice.best.length, choice.washers, choice.reason) == (length, 0, None)
    assert choice.best.verdict == "safe"


@pytest.mark.parametrize("panel", [[], [PANEL]])
def test_trade_fact_a_30_screw_through_a_15_fan_pierces(panel):
    judged = m3(30, [*panel, FAN_15], radiator())
    assert judged.verdict == "pierces"
    assert judged.margin is not None
    assert judged.margin.high < 0  # in the best case, too


def test_trade_check_case_35_screw_25_fan_panel_and_6_to_the_fins():
    """35 - 25 - 1.2 = 8.8: a puncture by 2.8."""
    judged = m3(35, [PANEL, FAN_25], radiator(depth=6.0))
    assert judged.tip.nominal == pytest.approx(8.8)
    assert judged.margin is not None
    assert judged.margin.nominal == pytest.approx(-2.8)
    assert judged.verdict == "pierces"
    assert judged.engagement.nominal == 1.2  # no more thread than the plate has


def test_inch_screws_of_a_radiator():
    """A 25 mm fan takes 1 1/4 in (31.75): 6.75 without a panel is too near 7; with one it is safe, and the 30 mm that
    such radiators come with leaves more: 3.2 before 7 against 1.45."""
    choice = choose([PANEL, FAN_25], radiator(thread="6-32"))
    assert choice.best is not None
    assert choice.best.name == "6-32 x 30 mm"
    assert "6-32 x 1 1/4 in" in [j.name for j in choice.safe]
    bare = judge(31.75, length_tolerance("6-32", 31.75), [FAN_25], radiator(thread="6-32"))
    assert bare.verdict == "pierces"  # 6.75 + 0.5 + 0.2 against 6.8 at worst


def test_worked_example_of_worst_case_and_root_sum_square():
    """Two terms of 0.3 and two of 0.5: 1.6 at worst, 0.82 by root-sum-square."""
    layers = [Layer("a", 5, 0.3, 0.3), Layer("b", 5, 0.5, 0.5), Layer("c", 5, 0.5, 0.5)]
    judged = judge(25, (0.3, 0.3), layers, radiator(depth=30))
    assert judged.tip.nominal == 10
    assert (judged.tip.low, judged.tip.high) == pytest.approx((8.4, 11.6))
    assert judged.tip_rss.high - 10 == pytest.approx(0.82, abs=0.005)
    assert 10 - judged.tip_rss.low == pytest.approx(0.82, abs=0.005)


def test_a_soft_layer_gives_more_than_it_gains():
    """A 2 mm gasket pressed to half lets the tip 1 mm further in and takes nothing at the other end."""
    hard, soft = Layer("gasket", 2.0), Layer("gasket", 2.0, 1.0, 0.0)
    a, b = (m3(30, [FAN_25, x], radiator()) for x in (hard, soft))
    assert b.tip.high - a.tip.high == pytest.approx(1.0)
    assert b.tip.low == pytest.approx(a.tip.low)


@pytest.mark.parametrize(
    ("length", "depth", "stop", "least", "verdict"),
    [
        (10, 4.9, "fins", 2.0, "pierces"),  # tip 5 at worst beyond 4.9
        (10, 4.9, None, 2.0, "bottoms"),
        (10, 4.9, "fins", 9.0, "pierces"),  # short as well: the dearer fault is told
        (10, 5.0, "fins", 9.0, "short"),  # close as well
        (10, 5.0, "fins", 5.0, "close"),
        (10, 5.99, "fins", 5.0, "close"),
        (10, 6.0, "fins", 5.0, "safe"),
        (10, 6.0, "fins", 5.01, "short"),
        (10, None, None, 5.0, "safe"),
        (5, None, None, 0.5, "short"),  # just flush: holds nothing
        (4, 6.0, "fins", 0.5, "short"),  # does not get there
    ],
)
def test_order_and_edges_of_the_verdicts(length, depth, stop, least, verdict):
    """Exact sizes through 5 mm, thread all the way: the edges by hand."""
    receiver = Receiver("M3", depth, 0.0, 0.0, 9.0, stop, least)
    assert judge(length, (0.0, 0.0), [Layer("sheet", 5.0)], receiver).verdict == verdict


def test_edges_do_not_fall_by_the_last_bit():
    """0.1 + 0.2 is not 0.3 in binary; a screw at 1.0 from the bottom is safe however its stack is added up."""
    layers = [Layer("a", 0.1), Layer("b", 0.2), Layer("c", 1.2)]
    for tenths in range(30, 120):
        receiver = Receiver("M3", tenths / 10 - 1.5 + CLEAR, 0.0, 0.0, 20.0, "fins", tenths / 10 - 1.5)
        assert judge(tenths / 10, (0.0, 0.0), layers, receiver).verdict == "safe", tenths


def test_a_screw_that_does_not_get_there_is_short_however_little_is_wanted():
    receiver = Receiver("M3", 6.0, 0.0, 0.0, 6.0, "fins", 1e-7)
    assert judge(4, (0.0, 0.0), [Layer("sheet", 5.0)], receiver).verdict == "short"


def test_the_margin_is_the_room_less_the_tip_end_by_end():
    """5 past the face (4.5 to 5.7), 7 to the fins (6.6 to 7.9)."""
    margin = judge(10, (0.2, 0.4), [Layer("s", 5, 0.3, 0.3)], Receiver("M3", 7, 0.4, 0.9, 2, "fins", 2)).margin
    assert margin is not None
    assert (margin.low, margin.nominal, margin.high) == pytest.approx((6.6 - 5.7, 2.0, 7.9 - 4.5))


def test_room_behind_a_hole_through_counts_like_depth():
    through = Receiver("M3", None, 0.0, 0.0, 2.4, None, 2.4)
    walled = Receiver("M3", None, 0.0, 0.0, 2.4, None, 2.4, free=5.0)
    layers = [Layer("sheet", 5.0)]
    assert judge(12, (0.0, 0.0), layers, through).verdict == "safe"
    assert judge(12, (0.0, 0.0), layers, through).margin is None
    assert judge(12, (0.0, 0.0), layers, walled).verdict == "bottoms"
    assert judge(9.5, (0.0, 0.0), layers, walled).verdict == "close"
    assert judge(9, (0.0, 0.0), layers, walled).verdict == "safe"


# Random stacks ------------------------------------------------------------------------------------------------------
# Whole hundredths of a millimetre, so that the tests' own formulas are exact and edges are met often.


def random_case(rng: random.Random) -> tuple[int, tuple[int, int], list[tuple[int, int, int]], tuple[int, ...], bool]:
    """(length, its tolerance, layers, receiver, stop), hundredths of a millimetre; the receiver's first is its depth or
    -1 for a hole through, then depth_minus, threaded, least."""
    step = rng.choice((1, 10, 50))  # coarse steps make ties
    loose = rng.choice((1, 10, 60))  # tolerances from none to as much as the rule of 1.0 keeps
    layers = []
    for _ in range(rng.randint(0, 4)):
        thick = rng.randrange(0, 1500, step)
        layers.append((thick, rng.randrange(0, min(thick, loose) + 1, step), rng.randrange(0, loose, step)))
    total = sum(t for t, _, _ in layers)
    depth = rng.choice((-1, rng.randrange(200, 1000, step)))
    threaded, least = rng.randrange(50, 800, step), rng.randrange(50, 700, step)
    length = max(0, total + rng.randrange(-100, 900, step))
    tol = (rng.randrange(0, loose, step), rng.randrange(0, loose, step))
    return length, tol, layers, (depth, rng.randrange(0, loose, step), threaded, least), rng.random() < 0.5


def built(case: tuple[int, tuple[int, int], list[tuple[int, int, int]], tuple[int, ...], bool]) -> Judged:
    length, tol, layers, (depth, minus, threaded, least), stop = case
    receiver = Receiver(
        "M3",
        None if depth < 0 else depth / 100,
        minus / 100,
        0.0,
        threaded / 100,
        "fins" if stop else None,
        least / 100,
    )
    stack = [Layer(f"layer {i}", t / 100, a / 100, b / 100) for i, (t, a, b) in enumerate(layers)]
    return judge(length / 100, (tol[0] / 100, tol[1] / 100), stack, receiver)


def test_10_000_random_stacks_none_unsafe_called_safe_and_none_safe_called_unsafe():
    """Every corner of the tolerances is assembled, in whole hundredths: what happens to any of them is the truth."""
    rng, told = random.Random(20260101), Counter[str]()
    for _ in range(10_000):
        case = random_case(rng)
        length, (shorter, longer), layers, (depth, minus, threaded, least), stop = case
        tips = [
            length + d - sum(assembled)
            for d in (-shorter, longer)
            for assembled in itertools.product(*((t - a, t + b) for t, a, b in layers))
        ]
        hits = depth >= 0 and any(tip > depth - minus for tip in tips)
        weak = any(tip <= 0 or min(tip, threaded) < min(least, threaded) for tip in tips)
        near = depth >= 0 and length - sum(t for t, _, _ in layers) > depth - 100
        said = built(case).verdict
        unsafe = hits or weak or near
        assert (said == "safe") == (not unsafe), case
        assert (said in ("pierces", "bottoms")) == hits, case
        assert (said == "pierces") == (hits and stop), case
        if not hits:
            assert (said == "short") == weak, case
        told[said] += 1
    assert min(told[v] for v in ("safe", "short", "close", "pierces", "bottoms")) > 200, told


lengths = st.floats(0, 40)
spreads = st.floats(0, 1)
layer = st.builds(lambda t, a, b: Layer("layer", t, min(a, t), b), st.floats(0, 20), spreads, spreads)
receiver = st.builds(
    lambda depth, minus, plus, threaded, least, stop: Receiver("M3", depth, minus, plus, threaded, stop, least),
    st.none() | st.floats(1, 12), spreads, spreads, st.floats(0.5, 10), st.floats(0.5, 10), st.none() | st.just("fins"),
)  # fmt: skip
RANK = {"safe": 0, "close": 1, "short": 2, "bottoms": 3, "pierces": 3}


@given(lengths, spreads, spreads, st.lists(layer, max_size=4), receiver, st.floats(0, 1), st.floats(0, 1))
def test_wider_tolerances_only_widen(length, shorter, longer, layers, into, more, also):
    """Every interval holds the one of tighter tolerances, and no verdict gets better; the nominal values stay."""
    tight = judge(length, (shorter, longer), layers, into)
    wider = [Layer(x.name, x.thickness, min(x.minus + more, x.thickness), x.plus + also) for x in layers]
    looser = Receiver(
        into.thread, into.depth, into.depth_minus + also, into.depth_plus + more, into.threaded, into.stop, into.least
    )
    loose = judge(length, (shorter + more, longer + also), wider, looser)
    for name in ("tip", "tip_rss", "engagement", "margin"):
        a, b = getattr(tight, name), getattr(loose, name)
        if a is not None:
            assert b.low <= a.low + ROUNDING
            assert b.high >= a.high - ROUNDING
            assert b.nominal == pytest.approx(a.nominal, abs=ROUNDING)
            assert a.low - ROUNDING <= a.nominal <= a.high + ROUNDING
    assert RANK[loose.verdict] >= RANK[tight.verdict]
    assert tight.tip.low - ROUNDING <= tight.tip_rss.low <= tight.tip_rss.high <= tight.tip.high + ROUNDING


# Choosing -----------------------------------------------------------------------------------------------------------


def random_choice(rng: random.Random) -> tuple[list[Layer], Receiver, Stock, Layer | None, Choice]:
    layers = [Layer(f"{i}", rng.uniform(0, 15), 0.0, rng.uniform(0, 0.3)) for i in range(rng.randint(1, 3))]
    thread = rng.choice(SCREW_THREADS)
    depth = rng.choice((None, rng.uniform(2, 10)))
    into = Receiver(
        thread, depth, rng.uniform(0, 0.5), 0.2, rng.uniform(1, 4), rng.choice((None, "fins")), rng.uniform(0.5, 4)
    )
    washer = rng.choice((None, washer_layer(thread)))
    return layers, into, stock(thread), washer, choose(layers, into, stock(thread), washer)


def best_by_hand(layers: list[Layer], into: Receiver, lengths: Stock, washer: Layer | None, counts: range) -> Any:
    """Every length with every number of washers, judged one by one; the best by the rule as it is written."""
    safe = []
    for n in counts if washer is not None else range(1):
        under = [*layers, *([washer] * n if washer is not None else [])]
        for x in lengths.all():
            j = judge(x, length_tolerance(into.thread, x), under, into)
            if j.verdict == "safe":
                safe.append((0.0 if into.depth is None else round(j.spare, 6), x in lengths.first, n, x))
    if not safe:
        return None
    top = min(max(s for s, *_ in safe), ENOUGH)
    alike = [c for c in safe if min(c[0], ENOUGH) >= top - TIE]
    return min(alike, key=lambda c: (not c[1], c[2], -min(c[0], AMPLE), c[3])), safe


@pytest.mark.slow
def test_400_choices_are_the_best_of_all_that_could_be_bought():
    """None only where no length with any number of washers is safe; 250 of the thinnest are longer than any screw."""
    rng, outcomes = random.Random(7), Counter[str]()
    for _ in range(400):
        layers, into, lengths, washer, choice = random_choice(rng)
        assert washer is None or 250 * washer.thickness > max(lengths.all())
        # Coarse by a long way first: what is safe with more washers than the room is deep is safe with a longer screw.
        found = best_by_hand(layers, into, lengths, washer, range(250 if rng.random() < 0.1 else 30))
        if found is None:
            assert choice.best is None
            assert (choice.safe, choice.ranked) == ((), ())
            assert choice.reason
            outcomes["none"] += 1
            continue
        (_, usual, n, length), safe = found
        assert choice.best is not None
        assert (choice.best.length, choice.washers) == (length, n)
        assert choice.reason is None
        assert {(c.judged.length, c.washers) for c in choice.ranked} >= {(x, k) for _, _, k, x in safe}
        assert {j.length for j in choice.safe} == {x for _, _, k, x in safe if k == n}
        assert choice.best.spare > -ROUNDING
        if into.depth is not None:
            assert choice.best.spare >= min(max(s for s, *_ in safe), ENOUGH) - TIE - ROUNDING
        outcomes["washers" if n else "usual" if usual else "odd"] += 1
    assert min(outcomes[k] for k in ("none", "washers", "odd", "usual")) > 5, outcomes


@given(
    st.lists(layer, max_size=3), receiver, st.lists(st.integers(4, 60), min_size=1, max_size=4), st.integers(0, 3),
    st.integers(0, 4),
)  # fmt: skip
def test_what_lies_in_a_drawer_bounds_the_choice(layers, into, drawer, least, more):
    """No length and no number of washers but those given is chosen, and the best of them is."""
    lengths, washer = Stock(tuple(sorted(set(map(float, drawer)))), ()), washer_layer("M3")
    choice = choose(layers, into, lengths, washer, least + more, least)
    found = best_by_hand(layers, into, lengths, washer, range(least, least + more + 1))
    assert (choice.best is None) == (found is None)
    if found is not None and choice.best is not None:
        assert (choice.best.length, choice.washers) == (found[0][3], found[0][2])


@pytest.mark.parametrize("gap", [0.3, 0.4, 0.5])
def test_three_washers_where_two_leave_next_to_nothing(gap):
    """20 through 16.5: with 3 washers of 0.5 the tip is at 2.0, in the middle of what is safe; two leave it at 2.5."""
    into = Receiver("M3", 4.0 - gap, 0.2, 0.2, 1.2, "fins", 1.2)
    choice = choose([Layer("fan", 16.5, 0.0, 0.0)], into, washer=Layer("washer", 0.5))
    assert choice.best is not None
    assert (choice.best.length, choice.washers) == (20, 3)
    assert choice.best.tip.nominal == pytest.approx(2.0)


@given(st.lists(layer, min_size=1, max_size=3), receiver, st.floats(0.5, 100))
def test_the_window_holds_every_safe_length_and_its_ends_are_safe(layers, into, length):
    found = window(layers, into)

    def verdict(n: float) -> str:
        return judge(n, length_tolerance("M3", min(max(n, 1.0), 120.0)), layers, into).verdict

    if verdict(length) == "safe":
        assert not found.empty
        assert found.lo - 1e-5 <= length
        assert found.hi is None or length <= found.hi + 1e-5
    if not found.empty and 1 < found.lo < 119 and (found.hi is None or found.hi > found.lo + 1e-3):
        assert verdict(found.lo + 1e-6) == "safe"
        assert verdict(found.lo - 1e-3) != "safe"
    if not found.empty and found.hi is not None and 1 < found.lo < found.hi - 0.2 and found.hi < 119:
        assert verdict(found.hi - 1e-6) == "safe"
        assert verdict(found.hi + 1e-3) != "safe"


def test_washers_are_added_where_nothing_is_safe_without():
    """A 30 screw with 4 past the face of a hole that leaves 3.2: one washer of 0.5 is too little, two will do with 0.2
    to spare before the last millimetre; three leave 2.5 less 0.77 at worst, 0.53 over the 1.2 wanted."""
    into = Receiver("M3", 4.2, 0.1, 0.1, 1.2, "fins", 1.2)
    choice = choose([Layer("fan", 26, 0.2, 0.2)], into, Stock((30,), ()), washer_layer("M3"))
    assert choice.best is not None
    assert (choice.best.length, choice.washers) == (30, 3)
    assert choice.best.spare == pytest.approx(0.53)
    assert {(c.judged.length, c.washers) for c in choice.ranked} == {(30, 2), (30, 3)}
    one = choose([Layer("fan", 26, 0.2, 0.2)], into, Stock((30,), ()), washer_layer("M3"), most=1)
    assert one.best is None
    assert one.reason is not None
    assert "(nearest 30); nor with up to 1 of washer M3" in one.reason


def test_why_none_is_safe_is_said_with_numbers_that_add_up():
    """27.2 at most, 1.2 of thread, 0.42 of the screw: 28.82 to hold; 27 + 3 to the fins - 0.3 - 0.2 - 0.42 = 29.08 by
    worst case, 29 by the rule of 1.0: and 30 is the next that is sold, 28 the last."""
    into = Receiver("M3", 3.0, 0.3, 0.3, 1.2, "fins", 1.2)
    choice = choose([Layer("fan", 27, 0.2, 0.2)], into, washer=washer_layer("M3"), most=0)
    assert choice.best is None
    assert (choice.window.lo, choice.window.hi) == pytest.approx((28.82, 29.0))
    assert choice.reason == "no stock length lies in what is safe, from 28.82 to 29.00 mm (nearest 28 and 30)"
    tight = choose([Layer("fan", 27, 0.5, 0.5)], Receiver("M3", 2.4, 0.3, 0.3, 1.2, "fins", 1.2))
    assert tight.window.empty
    assert tight.reason is not None
    assert "takes 29.12 mm" in tight.reason
    assert "beyond 28.18 mm the tip comes too near to fins" in tight.reason


def test_a_stack_longer_than_any_screw_is_told():
    """Beyond the table nothing is said of what is sold; beyond what the builder owns, the longest of that."""
    into = Receiver("M3", None, 0, 0, 2.4, None, 2.4)
    choice = choose([Layer("fan", 130, 0.3, 0.3)], into)
    assert choice.best is None
    assert choice.reason is not None
    assert choice.reason.endswith("mm or more (nearest 120, the longest this catalogue lists)")
    own = choose([Layer("fan", 60, 0.3, 0.3)], into, Stock((50,), ()))
    assert own.reason is not None
    assert own.reason.endswith("of 63.30 mm or more (nearest 50, the longest there is)")


def test_a_thick_stack_takes_a_long_screw() -> None:
    """60.3 of layers at most, 2.4 of thread, 0.6 that the screw may be short: 63.3 to hold, so 65."""
    choice = choose([Layer("fan", 60, 0.3, 0.3)], Receiver("M3", None, 0, 0, 2.4, None, 2.4))
    assert choice.best is not None
    assert choice.best.length == 65


# Engagement ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("thread", "material", "threaded", "depth", "least"),
    [
        ("M3", "steel", 10, None, 3.0),  # 1 D
        ("M3", "brass", 10, None, 4.5),  # 1.5 D
        ("M4", "aluminium", 10, None, 8.0),  # 2 D
        ("M5", "printed", 20, None, 12.5),  # 2.5 D
        ("M3", "aluminium", 6, None, 6.0),  # just room for the rule
        ("M3", "aluminium", 5.9, None, 3.0),  # not for the rule, but for 1 D
        ("M3", "brass", 5, 5, 3.0),  # a board's standoff: 1.0 kept from its bottom leaves 4 of the 4.5
        ("M3", "aluminium", 1.5, None, 1.25),  # thin plate: 2.5 turns of 0.5
        ("M3", "aluminium", 1.2, None, 1.2),  # less than that: all there is
        ("6-32", "steel", 0.86, None, 0.86),  # a slot bracket's sheet
        ("fan-screw", "plastic", 4, None, 4.0),  # a fan's flange
    ],
)
def test_least_engagement_by_material_and_room(thread, material, threaded, depth, least):
    found = least_engagement(thread, material, threaded, depth)
    assert found.value == pytest.approx(least)
    assert found.why


@given(st.sampled_from(SCREW_THREADS), st.sampled_from(list(ENGAGEMENT)), st.floats(0.1, 40), st.floats(0, 10))
def test_least_engagement_is_never_more_than_the_thread_and_grows_with_it(thread, material, threaded, more):
    a, b = (least_engagement(thread, material, t).value for t in (threaded, threaded + more))
    assert 0 < a <= threaded + ROUNDING
    assert a <= b + ROUNDING


def test_a_screw_is_not_short_where_it_has_all_the_thread_there_is():
    judged = m3(30, [FAN_25], radiator(plate=1.0))
    assert judged.wanted == 1.0
    assert "all the thread there is" in judged.wanted_why
    assert judged.verdict == "safe"


def test_a_boards_standoff_takes_the_screw_boards_come_with():
    """Common practice (P): M3 x 5 or x 6 through a board of 1.57 (± 10 %) into 5 mm of brass thread."""
    least = least_engagement("M3", "brass", 5, 5)
    choice = choose([Layer("board", 1.57, 0.157, 0.157)], Receiver("M3", 5, 0.1, 0.1, 5, None, *least))
    assert choice.best is not None
    assert choice.best.length == 5
    assert next(j for j in choice.tried if j.length == 8).verdict == "bottoms"


# Bad input ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: Layer("fan", -1), "fan: thickness -1 is no length in mm: expected 0 or more"),
        (lambda: Layer("fan", math.nan), "fan: thickness nan is no length"),
        (lambda: Layer("fan", 1, minus=1.5), "fan: 1.5 mm cannot be lost of a thickness of 1"),
        (lambda: Receiver("M3", 5, 0, 0, 0, None, 1), "threaded 0 is no length in mm: expected more than 0"),
        (lambda: Receiver("M3", 5, 0, 0, 1, None, 0), "least 0 is no length in mm"),
        (lambda: Receiver("M3", 5, 0, 0, 1, None, 1, free=9), "a hole 5 mm deep has no room behind it: free 9"),
        (lambda: judge(math.inf, (0, 0), [], radiator()), "length inf is no length"),
        (lambda: judge(5, (0, -0.1), [], radiator()), "length_tol -0.1 is no length"),
        (lambda: choose([], radiator(), most=-1), "-1 washers cannot be added"),
        (lambda: least_engagement("M3", "glass", 5), "glass holds no thread; known: steel, brass"),
        (lambda: least_engagement("M3", "steel", 0), "threaded 0 is no length"),
    ],
)
def test_what_is_no_length_is_refused_with_its_value(make, said):
    with pytest.raises(ValueError, match=said.split(":")[0]) as e:
        make()
    assert said in str(e.value)


def test_an_unknown_thread_is_refused_with_the_choices():
    with pytest.raises(KeyError, match="did you mean M3"):
        Receiver("m3", 5, 0, 0, 1, None, 1)
    with pytest.raises(KeyError, match=r"no screw has the thread 'G1/4'; known: M2\.5"):
        Receiver("G1/4", 5, 0, 0, 1, None, 1)


def test_materials_of_threads_are_materials_of_bodies():
    assert set(ENGAGEMENT) <= set(Material.__args__)


def test_the_arithmetic_loads_no_kernel():
    code = (
        "import sys\n"
        "import elbowroom.model.screws.stack\n"
        "heavy = {'OCP', 'cadquery', 'shapely', 'trimesh', 'manifold3d', 'coal'} & set(sys.modules)\n"
        "sys.exit(f'loaded {sorted(heavy)}' if heavy else 0)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
