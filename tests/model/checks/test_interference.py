"""The verdict on every pair of pieces, and on the room that must stay free."""

from __future__ import annotations

from itertools import combinations

import pytest

from elbowroom.model import checks
from elbowroom.model.checks import interference, keep_out
from elbowroom.model.geometry.pairs import Checker
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.layout.layout import DEFAULT_GAP, Gaps, Mate
from elbowroom.model.store import Store
from elbowroom.model.told.findings import Finding, overall
from elbowroom.model.tolerances import HORIZON_MM
from elbowroom.parts.fan.fan import Fan
from elbowroom.parts.vocabulary.pose import IDENTITY, compose, rotation, shift
from tests.model.shapes_for_tests import ODD, Ball, Block, Bored, GivenMesh, Rod, Socket, layout_of, scene_of

MICRON = 1e-3


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return Store(tmp_path_factory.mktemp("cache"))


def pairs(scene: Scene, store: Store) -> list[Finding]:
    return interference(scene, Checker(scene, store))


def test_every_two_pieces_have_a_finding(store: Store) -> None:
    placed = [(Block(), shift(13.0 * i, 40.0 * (i % 3), 0)) for i in range(7)]
    scene = scene_of(store, *placed)
    asked = {f.parts for f in pairs(scene, store)}
    assert asked == set(combinations([p.name for p in scene.layout.pieces], 2))


@pytest.mark.parametrize(
    ("gap", "question", "verdict"),
    [
        (-3.0, "interference", "clash"),
        (-MICRON, "interference", "clash"),
        (0.0, "clearance", "touch"),
        (MICRON, "clearance", "tight"),
        (DEFAULT_GAP - MICRON, "clearance", "tight"),
        (DEFAULT_GAP, "clearance", "clear"),
        (5.0, "clearance", "clear"),
        (HORIZON_MM + 1, "clearance", "clear"),
    ],
)
@pytest.mark.parametrize("case", [IDENTITY, ODD])
def test_the_verdicts_of_two_blocks(store: Store, case: object, gap: float, question: str, verdict: str) -> None:
    scene = scene_of(store, (Block(), case), (Block(), compose(case, shift(10 + gap, 1, 1))))  # type: ignore[arg-type]
    (found,) = pairs(scene, store)
    assert (found.question, found.verdict) == (question, verdict)
    if gap < 0:
        assert found.measured == pytest.approx(-gap, abs=1e-8)
        assert dict(found.extra)["volume_mm3"] == pytest.approx(-gap * 81, rel=1e-6)
        assert f"{dict(found.extra)['depth_mm']:.3f}"[:5] in f"{-gap:.3f}"
    elif found.basis.method == "boxes":
        assert found.high is None
        assert found.low <= gap
    else:
        assert found.measured == pytest.approx(gap, abs=1e-8)
        assert found.required == DEFAULT_GAP


def test_the_larger_wanted_gap_wins(store: Store) -> None:
    placed = ((Block(), IDENTITY), (Rod(), shift(20, 5, 0)))
    for gaps, verdict in (
        (Gaps(), "clear"),
        (Gaps(families={("block", "rod"): 6.0}), "tight"),
        (Gaps(pieces={"p2": 5.5}), "tight"),
        (Gaps(default=6.0), "tight"),
    ):
        (found,) = pairs(scene_of(store, *placed, gaps=gaps), store)
        assert found.verdict == verdict
        assert found.required == gaps.wanted(*scene_of(store, *placed).layout.pieces)


def test_a_wanted_gap_beyond_the_horizon_is_measured(store: Store) -> None:
    scene = scene_of(store, (Block(), IDENTITY), (Block(), shift(10 + HORIZON_MM + 5)), gaps=Gaps(default=70))
    (found,) = pairs(scene, store)
    assert (found.verdict, found.measured) == ("tight", pytest.approx(HORIZON_MM + 5))


def test_a_curved_gap_at_its_limit_is_refined_until_it_clears(store: Store) -> None:
    """Radii 5 and 5, axes 11 apart: the gap is the wanted millimetre, which meshes alone cannot tell."""
    for over, verdict in ((1e-4, "clear"), (0.0, "clear"), (-1e-4, "tight")):
        turned = compose(shift(11 + over, 0, 3), rotation((0, 0, 1), 17))
        (found,) = pairs(scene_of(store, (Rod(), IDENTITY), (Rod(), turned)), store)
        assert found.verdict == verdict
        assert found.low - 1e-6 <= 1 + over <= found.high + 1e-6


def test_declared_contact_is_no_touch_but_an_overlap_stays_a_clash(store: Store) -> None:
    mate = Mate("p2", "bottom", "p1", "top")
    for gap, verdict in ((0.0, "clear"), (0.3, "clear"), (-0.2, "clash")):
        (found,) = pairs(scene_of(store, (Block(), IDENTITY), (Block(), shift(z=10 + gap)), mates=(mate,)), store)
        assert found.verdict == verdict
    allowed = Mate("p2", "bottom", "p1", "top", contact=False)
    for mates, verdict in (((allowed,), "clear"), ((), "touch")):
        (found,) = pairs(scene_of(store, (Block(), IDENTITY), (Block(), shift(z=10)), mates=mates), store)
        assert found.verdict == verdict


def test_a_mate_excuses_only_the_bodies_it_names(store: Store) -> None:
    """Two fans face to face: frames meet as declared, but a third one driven into the hub is still found."""
    mate = Mate("p2", "intake", "p1", "exhaust")
    scene = scene_of(store, (Fan(), IDENTITY), (Fan(), shift(z=25)), (Rod(r=8, h=6), shift(z=22)), mates=(mate,))
    found = {f.parts: [] for f in pairs(scene, store)}
    for f in pairs(scene, store):
        found[f.parts].append((f.verdict, f.bodies))
    assert [v for v, _ in found["p1", "p2"]] == ["clear"]
    assert found["p1", "p3"] == [("clash", ("p1/blades", "p3/body"))]
    assert found["p2", "p3"] == [("clash", ("p2/blades", "p3/body"))]


def test_every_fault_of_a_pair_is_listed_not_only_the_first(store: Store) -> None:
    """A rod through frame and blades of a fan."""
    lying = compose(shift(-70, 20, 12), rotation((0, 1, 0), 90))
    found = pairs(scene_of(store, (Fan(), IDENTITY), (Rod(r=2, h=140), lying)), store)
    assert {f.bodies for f in found} == {("p1/frame", "p2/body"), ("p1/blades", "p2/body")}
    assert {f.verdict for f in found} == {"clash"}
    assert len({f.id for f in found}) == 2


def test_an_unsound_mesh_is_never_clear_however_far_away(store: Store) -> None:
    for move in (5.0, 12.0, 400.0):
        scene = scene_of(store, (Block(), IDENTITY), (GivenMesh(open_top=True), shift(move)))
        (found,) = pairs(scene, store)
        assert found.verdict == "unknown"
        assert "not closed" in found.text
        assert overall([found]) == "unknown"


def test_a_mesh_without_a_free_edge_lies_in_its_box_and_is_clear_of_what_is_far_from_that(store: Store) -> None:
    """Ten cubes, of which one has a triangle the wrong way round: all of it lies in its box."""
    for gap, verdict in ((5.0, "clear"), (DEFAULT_GAP, "clear"), (DEFAULT_GAP - 0.01, "unknown"), (-2.0, "unknown")):
        scene = scene_of(store, (Block(), IDENTITY), (GivenMesh(twisted=True), shift(10 + gap)))
        (found,) = pairs(scene, store)
        assert found.verdict == verdict, gap
        if verdict == "clear":
            assert found.basis.method == "boxes"
            assert found.measured == pytest.approx(gap)


@pytest.mark.parametrize("count", [1, 2, 12])
def test_what_one_unsound_mesh_leaves_open_is_one_line(store: Store, count: int) -> None:
    blocks = [(Block(), shift(40.0 * k, 40.0, 0)) for k in range(count)]
    found = pairs(scene_of(store, *blocks, (GivenMesh(open_top=True), IDENTITY)), store)
    about = [f for f in found if f.verdict == "unknown"]
    leading = [f for f in about if f.cause is None]
    assert len(leading) == 1
    assert len([f for f in about if len(f.parts) == 2]) == count  # each pair is still told, under it
    if count > 1:
        assert set(leading[0].effects) == {f.id for f in about if f is not leading[0]}
    assert overall(found) == "unknown"


@pytest.mark.slow
def test_many_instances_are_one_shape_and_all_are_judged(store: Store) -> None:
    """A grid of balls a millimetre apart along x and touching along y."""
    scene = scene_of(store, *[(Ball(r=5), shift(11.0 * (k % 5), 10.0 * (k // 5))) for k in range(15)])
    assert len({id(s.shape) for s in scene.solids}) == 1
    found = pairs(scene, store)
    assert len(found) == 15 * 14 // 2
    assert sum(f.verdict == "touch" for f in found) == 10
    assert sum(f.verdict == "clear" for f in found) == 95


def test_findings_do_not_depend_on_the_order_of_pieces(store: Store) -> None:
    placed = [
        (Bored(), IDENTITY),
        (Rod(r=9.5, h=50), shift(z=-5)),
        (Block(), shift(18, 0, 28)),
        (Ball(), shift(0, 0, 60)),
    ]
    there = {frozenset(f.parts): (f.verdict, f.measured, f.low) for f in pairs(scene_of(store, *placed), store)}
    back = {frozenset(f.parts): (f.verdict, f.measured, f.low) for f in pairs(scene_of(store, *placed[::-1]), store)}
    names = {f"p{i}": f"p{5 - i}" for i in range(1, 5)}
    assert there == {frozenset(names[n] for n in k): v for k, v in back.items()}


def keep_outs(scene: Scene, store: Store) -> list[Finding]:
    return keep_out(scene, Checker(scene, store))


def test_what_stands_in_a_keep_out_fails_and_what_touches_it_does_not(store: Store) -> None:
    for lift, deep in ((24.0, 1.0), (25 - MICRON, MICRON), (25.0, None), (25 + MICRON, None)):
        scene = scene_of(store, (Socket(), IDENTITY), (Block(), shift(3, 3, lift)))
        found = keep_outs(scene, store)
        if deep is None:
            assert found == []
        else:
            (f,) = found
            assert (f.question, f.verdict, f.bodies) == ("keep-out", "fail", ("p1/plug", "p2/body"))
            assert f.measured == pytest.approx(deep, abs=1e-8)
            assert dict(f.extra)["volume_mm3"] == pytest.approx(49 * deep, rel=1e-6)
            assert "plug and fingers" in f.text


def test_a_body_wholly_inside_a_keep_out_fails(store: Store) -> None:
    (found,) = keep_outs(scene_of(store, (Socket(x=40, y=40), IDENTITY), (Ball(r=3), shift(20, 20, 17))), store)
    assert found.verdict == "fail"


def test_a_keep_out_admits_whom_it_names_and_whom_a_mate_brings(store: Store) -> None:
    assert keep_outs(scene_of(store, (Socket(), IDENTITY), (Rod(r=2), shift(5, 5, 12))), store) == []
    brought = (Mate("p2", "bottom", "p1", "plugged"),)
    above = (Mate("p2", "bottom", "p1", "top"),)
    placed = ((Socket(), IDENTITY), (Block(x=4, y=4), shift(3, 3, 10)))
    assert keep_outs(scene_of(store, *placed, mates=brought), store) == []
    assert [f.verdict for f in keep_outs(scene_of(store, *placed, mates=above), store)] == ["fail"]


def test_keep_outs_neither_clash_nor_stand_in_each_other(store: Store) -> None:
    scene = scene_of(store, (Socket(), IDENTITY), (Socket(), compose(shift(0, 10, 45), rotation((1, 0, 0), 180))))
    assert keep_outs(scene, store) == []
    (found,) = pairs(scene, store)
    assert found.measured == pytest.approx(25.0)  # between the bodies, with the rooms overlapping in between


def test_an_unsound_mesh_in_a_keep_out_is_unknown(store: Store) -> None:
    scene = scene_of(store, (Socket(), IDENTITY), (GivenMesh(twisted=True), shift(3, 3, 12)))
    assert [f.verdict for f in keep_outs(scene, store)] == ["unknown"]


def test_run_answers_alike_cold_and_from_the_cache(store: Store) -> None:
    layout = layout_of((Socket(), IDENTITY), (Rod(), shift(5, 5, 9)), (Block(), shift(10)), mates=(
        Mate("p3", "bottom", "p1", "top"),))  # fmt: skip
    from elbowroom.model.geometry.solidify import solidify

    cold = checks.run(solidify(layout, store), store)
    again = Store(store.folder)
    warm = checks.run(solidify(layout, again), again)
    assert [f.to_json() for f in cold] == [f.to_json() for f in warm]
    assert {f.question for f in cold} >= {"interference", "clearance", "mate"}


def test_after_so_many_overlaps_the_rest_is_unknown_and_counted(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """Five blocks in one another, ten pairs: what is not judged is never said to be clear."""
    scene = scene_of(store, *((Block(), shift(0.5 * i, 0.7 * i, 0.3 * i)) for i in range(5)))
    whole = pairs(scene, store)
    monkeypatch.setitem(interference.__globals__, "MOST_CLASHES", 4)
    *told, last = pairs(scene, store)
    assert [f.id for f in told] == [f.id for f in whole[:4]]
    assert last.verdict == "unknown"
    assert "6 pairs" in last.text
    assert overall([*told, last]) == "fails"
