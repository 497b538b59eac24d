"""What is said of ports: verdicts, neighbours, covers, lands, remedies, and answers kept."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

import pytest

from elbowroom.model.geometry.scene import Scene
from elbowroom.model.layout.layout import Mate
from elbowroom.model.loop.plumbing import Link
from elbowroom.model.reach import check
from elbowroom.model.reach.choices import all_that_go_on, candidates
from elbowroom.model.reach.choices import link as link_of
from elbowroom.model.reach.land import land_state
from elbowroom.model.reach.trial import attempt
from elbowroom.model.store import Store
from elbowroom.model.told.findings import Finding
from elbowroom.model.told.kept_findings import pack, unpack
from elbowroom.parts.case.case import Case
from elbowroom.parts.fitting.fitting_choice import catalogue_fittings
from elbowroom.parts.vocabulary.pose import compose, rotation, shift
from tests.model.reach.sites_for_tests import PETG, TOP, brick, link, plate, plumbing, rooms, scene, site

END = link("hard-tube-14")


def findings(s: Scene, store: Store, asked: dict[str, list[Link]] | None) -> dict[str, Finding]:
    found = check(s, None if asked is None else plumbing(asked), store)
    ids = [f.id for f in found]
    assert len(set(ids)) == len(ids)
    return {f.place: f for f in found}


def wide(collar: float) -> Link:
    """A hard-tube fitting whose collar has been measured."""
    return link("hard-tube-14", collar_od=collar)


# Hands ----------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("lid", [False, True])
def test_what_is_in_a_hands_way_is_named_and_taking_it_away_opens_the_way(store: Store, lid: bool) -> None:
    """A shelf 45 mm over a plate of 240 leaves the fitting and a finger their room, and no hand of 75 x 100; beside it
    stands a brick that keeps nothing. lid: a second shelf above the first, which alone would be in the way as well."""
    shelf = brick((-120, -120, TOP + 45), (120, 120, TOP + 50))
    others = [brick((100, 100, TOP), (110, 110, TOP + 10))]
    if lid:
        others.append(brick((-120, -120, TOP + 55), (120, 120, TOP + 60)))
    blocked = findings(scene(store, plate((0, 0)), shelf, *others), store, {"a": [link("plug")]})["a"]
    assert blocked.verdict == "caution"
    named = "p2 and p4" if lid else "p2"
    assert f"{named} {'are' if lid else 'is'} in the way; screw it in before {named} go" in blocked.text
    free = findings(scene(store, plate((0, 0)), others[0]), store, {"a": [link("plug")]})["a"]
    assert "in the way" not in free.text
    assert free.verdict == "pass"


# Neighbours -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pitch", "collar", "gap"), [(20.0, 22.0, -2.0), (23.4, 22.0, 1.4), (23.6, 22.0, None), (26.0, 22.0, None)]
)
def test_the_pitch_rule(store: Store, pitch: float, collar: float, gap: float | None) -> None:
    # Least pitch (22 + 22) / 2 + 1.5 = 23.5.
    s = scene(store, plate((0, 0), (pitch, 0)))
    found = findings(s, store, {"a": [wide(collar)], "b": [wide(collar)]})
    assert found["a"].verdict == found["b"].verdict == "pass"  # each alone goes on
    pair = found.get("a~b")
    if gap is None:
        assert pair is None
        return
    assert pair is not None
    assert pair.verdict == "fail"
    assert pair.measured == pytest.approx(gap, abs=1e-9)
    assert pair.required == 1.5
    assert dict(pair.extra)["pitch_mm"] == pytest.approx(pitch)
    assert all(abs(y) < 1e-9 and 0 <= x <= pitch for x, y, _ in pair.where)


@pytest.mark.slow
def test_every_pair_of_a_plate_is_judged(store: Store) -> None:
    s = scene(store, plate((0, 0), (20, 0), (0, 20), (20, 20)))
    found = findings(s, store, {n: [wide(22.0)] for n in "abcd"})
    assert {p for p, f in found.items() if f.verdict == "fail"} == {"a~b", "a~c", "b~d", "c~d"}  # not the diagonals


def test_a_port_that_nobody_chose_for_makes_cautions_only(store: Store) -> None:
    s = scene(store, plate((0, 0), (18.5, 0), land=18.0))
    found = findings(s, store, {"a": [wide(22.0)]})
    assert found["a~b"].verdict == "caution"  # a plug of 17.5 would be in the way
    assert "nothing is chosen for plate.b" in found["a~b"].text


def test_swivels_may_be_turned_away_from_each_other(store: Store) -> None:
    s = scene(store, plate((0, 0), (24, 0)))
    turned = {n: [link("rotary-90"), END] for n in "ab"}
    assert "a~b" not in findings(s, store, turned)
    held = {"a": [link("rotary-90", angle=0), END], "b": [link("rotary-90", angle=90), END]}
    pair = findings(s, store, held)["a~b"]
    assert pair.verdict == "fail"
    assert pair.measured is not None
    assert pair.measured < 0
    turn = re.fullmatch(r"rotary-90 turned (.+) \(angle: (\d+)\) \+ hard-tube-14 on plate\.a", pair.remedies[0])
    assert turn is not None
    mended = {**held, "a": [link("rotary-90", angle=int(turn[2])), END]}
    assert "a~b" not in findings(s, store, mended)


def test_a_collar_among_eight_neighbours_has_no_finger_room(store: Store) -> None:
    for pitch, enclosed in ((26.0, True), (40.0, False)):
        at = [(0.0, 0.0)] + [(x * pitch, y * pitch) for x in (-1, 0, 1) for y in (-1, 0, 1) if (x, y) != (0, 0)]
        found = findings(scene(store, plate(*at)), store, {n: [wide(22.0)] for n in "abcdefghi"})
        cautions = {p for p, f in found.items() if "~" in p}
        assert cautions == ({"a~fingers"} if enclosed else set())


# Land and cover -------------------------------------------------------------------------------------------------------


def test_a_land_over_the_edge_is_broken_by_its_segment(store: Store) -> None:
    # Land of radius 9 whose centre is 7 from the edge: a segment of 81 acos(7/9) - 7 sqrt(32) is missing.
    r = rooms(store, plate((0, 113)))
    ground = land_state(r, site(r), 18.0)
    assert ground.state == "broken"
    assert ground.missing == pytest.approx(81 * math.acos(7 / 9) - 7 * math.sqrt(32), rel=0.02)
    assert ground.at is not None
    assert ground.at[1] > 120
    found = findings(r.scene, store, {"a": [END]})
    assert found["a"].verdict == "fail"  # the seal ring is 16.4 wide
    assert "seal face" in found["a"].text
    whole = rooms(store, plate((0, 110.9)))
    assert land_state(whole, site(whole), 18.0).state == "free"


def test_something_on_the_land_blocks_it_and_a_mated_part_covers_it(store: Store) -> None:
    on = brick((-30, -30, TOP), (30, 30, TOP + 12))
    loose = findings(scene(store, plate((0, 0)), on), store, {"a": [END]})
    assert loose["a"].verdict == "fail"
    assert loose["a"].about.state == "blocked"
    mate = Mate("p2", "bottom", "plate", "front")
    unused = findings(scene(store, plate((0, 0)), on, mates=(mate,)), store, None)
    assert unused["a"].verdict == "pass"
    assert unused["a"].about.state == "covered"
    assert "not blocked" in unused["a"].text
    assert findings(scene(store, plate((0, 0)), on, mates=(mate,)), store, {"a": [END]})["a"].verdict == "fail"


def test_a_mated_part_over_half_the_land_blocks_it(store: Store) -> None:
    mate = Mate("p2", "bottom", "plate", "front")
    half = brick((0, -30, TOP), (30, 30, TOP + 12))
    found = findings(scene(store, plate((0, 0)), half, mates=(mate,)), store, {"a": [END]})
    assert found["a"].about.state == "blocked"


# Words and remedies ---------------------------------------------------------------------------------------------------


def test_a_bracket_in_front_is_named_in_plain_words(store: Store) -> None:
    s = scene(store, plate((0, 0)), brick((-40, 7, TOP + 3), (40, 12, TOP + 90)))
    found = findings(s, store, {"a": [END]})["a"]
    assert found.verdict == "fail"
    assert found.text == "plate.a: hard-tube-14 cannot be screwed in: p2/body is 3.3 mm in its way"
    assert found.measured == pytest.approx(-3.25, abs=2e-3)
    assert dict(found.extra)["short_mm"] == pytest.approx(3.25, abs=2e-3)
    assert any(p[1] == pytest.approx(7.0) for p in found.where)


def test_every_obstacle_is_named_with_what_it_is_short_by(store: Store) -> None:
    """Walls 7 mm to one side of the axis and 9 to the other: the collar's radius less each is what is short."""
    near, far = brick((-40, 7, TOP + 3), (40, 12, TOP + 90)), brick((-40, -14, TOP + 3), (40, -9, TOP + 90))
    alone = findings(scene(store, plate((0, 0)), far), store, {"a": [END]})["a"]
    found = findings(scene(store, plate((0, 0)), near, far), store, {"a": [END]})["a"]
    assert found.text.startswith(
        "plate.a: hard-tube-14 cannot be screwed in: p2/body is 3.3 mm in its way; p3/body is "
    )
    assert dict(found.extra)["short_mm"] == pytest.approx(3.25, abs=2e-3)
    (other,) = dict(found.extra)["also"]
    assert other["obstacle"] == "p3/body"
    assert other["short_mm"] == pytest.approx(1.25, abs=2e-3)
    assert other["short_mm"] == pytest.approx(dict(alone.extra)["short_mm"], abs=1e-6)
    assert dict(alone.extra)["also"] == []


def test_an_extension_lifts_a_fitting_out_of_a_frame(store: Store) -> None:
    # Rails 9.5 to both sides, 12 high: an extension of 17.5 stands between them, the fitting of 20.5 above them.
    rails = [brick((-90, s, TOP), (90, s + 20, TOP + 12)) for s in (9.5, -29.5)]
    s = scene(store, plate((0, 0)), *rails)
    found = findings(s, store, {"a": [END]})["a"]
    assert found.verdict == "fail"
    assert found.remedies[0] == "extension-15 + hard-tube-14"
    r = rooms(store, plate((0, 0)), *rails)
    assert attempt(r, site(r), [link("extension-15"), END], PETG, full=False).problem is None
    assert attempt(r, site(r), [link("extension-10"), END], PETG, full=False).problem is not None


def chain_of(remedy: str) -> list[Link]:
    """The chain a remedy names, its swivels turned as it says."""
    out = []
    for word in remedy.split(" + "):
        size, angle = word.split(" ")[0], re.search(r"\(angle: (\d+)\)", word)
        out.append(link(size, angle=float(angle[1]) if angle else None))
    return out


@pytest.mark.slow
@pytest.mark.parametrize("collar", [24.0, 30.0, 36.0])
def test_what_is_offered_goes_beside_what_is_on_other_ports(store: Store, collar: float) -> None:
    # Rails as above, and 24 beside the port a wide collar at the height that an extension of 17.5 lifts a fitting to.
    rails = [brick((-90, s, TOP), (90, s + 20, TOP + 12)) for s in (9.5, -29.5)]
    s = scene(store, plate((0, 0), (24, 0)), *rails)
    other = {"b": [link("extension-15"), wide(collar)]}
    alone = findings(s, store, {"a": [END]})["a"].remedies
    assert alone
    told = findings(s, store, {"a": [END], **other})["a"]
    assert told.verdict == "fail"
    assert told.remedies != alone  # the lowest extension holds the fitting right beside the collar
    for remedy in told.remedies:
        after = findings(s, store, {"a": chain_of(remedy), **other})
        assert after["a"].verdict != "fail", (remedy, after["a"].text)
        assert "a~b" not in after, (remedy, after["a~b"].text)


def test_what_is_offered_seals_on_the_ground_there_is(store: Store) -> None:
    # 7.7 from the edge a ring of 15 lies whole on the plate, one of 16.4 does not; a rail keeps the fitting itself off.
    s = scene(store, plate((0, 112.3), land=18.0), brick((-90, 82.8, TOP), (90, 102.8, TOP + 12)))
    found = findings(s, store, {"a": [link("hard-tube-14", seal_od=15.0)]})["a"]
    assert "p2/body is" in found.text
    for remedy in found.remedies:
        after = findings(s, store, {"a": chain_of(remedy)})["a"]
        assert after.verdict != "fail", (remedy, after.text)


def test_a_chain_of_the_users_own_is_offered_on_an_extension(store: Store) -> None:
    # A fascia 8 to 14 above the plate with an opening of 45: fingers reach in, what the rotary holds does not turn.
    ledge = [
        brick((22.5, -60, TOP + 8), (80, 60, TOP + 14)), brick((-80, -60, TOP + 8), (-22.5, 60, TOP + 14)),
        brick((-22.5, 22.5, TOP + 8), (22.5, 60, TOP + 14)), brick((-22.5, -60, TOP + 8), (22.5, -22.5, TOP + 14)),
    ]  # fmt: skip
    chain = [link("rotary-90"), END]
    found = findings(scene(store, plate((0, 0)), *ledge), store, {"a": chain})["a"]
    assert found.verdict == "fail"
    r = rooms(store, plate((0, 0)), *ledge)
    lifted = [e for e in ("extension-10", "extension-15", "extension-20")
              if attempt(r, site(r), [link(e), *chain], PETG, full=False).problem is None]  # fmt: skip
    assert f"{lifted[0]} + rotary-90 (at any angle) + hard-tube-14" in found.remedies


def test_glass_comes_off_for_screwing_in_but_stays_in_the_way(store: Store) -> None:
    case = Case(interior={"depth": 200, "width": 120, "height": 200}, board=None, psu=None, feet=None)
    for gap, verdict in ((18.0, "pass"), (16.0, "fail")):
        # A plug of 17 stands behind the glass at y = 0; coming in it passes 5 mm through where the glass was.
        part, _ = plate((0, 0), length=80.0, width=80.0)
        at = compose(shift(100, gap + TOP, 100), rotation((1, 0, 0), 90))
        found = findings(scene(store, (part, at), (case, shift())), store, {"a": [link("plug", height=17)]})["a"]
        assert found.verdict == verdict, found.text
        assert verdict == "pass" or dict(found.extra)["obstacle"] == "p2/glass"


def test_remedies_are_ordered_by_pieces_then_height(store: Store) -> None:
    r = rooms(store, plate((0, 0)))
    every = list(candidates(site(r), [END], PETG))
    ranks = [(len(c), sum(li.fitting.reach_length for li in c)) for c in every]
    assert ranks == sorted(ranks)
    assert all(c[-1].fitting.holds_tube for c in every)


def test_a_port_without_a_choice_lists_what_goes_on(store: Store) -> None:
    for height in (6.0, 12.0, 22.0, 30.0):
        r = rooms(store, plate((0, 0)), brick((-60, -60, TOP + height), (60, 60, TOP + height + 5)))
        told = check(r.scene, None, store)[0].about.fittings
        one_by_one = [
            c.name for c in catalogue_fittings()
            if c.fitting.accepts("G1/4") and attempt(r, site(r), [link_of(c)], None, full=False).problem is None
        ]  # fmt: skip
        assert list(told) == one_by_one == list(all_that_go_on(r, site(r)))
        assert all(link(n).fitting.reach_length <= height for n in told)


def test_a_port_that_nobody_uses_cannot_fail(store: Store) -> None:
    s = scene(store, plate((0, 0)), brick((-60, -60, TOP + 3), (60, 60, TOP + 9)))
    found = findings(s, store, None)["a"]
    assert found.verdict == "caution"
    assert found.about.fittings == ()


@pytest.mark.parametrize(("gap", "room"), [(28.0, False), (60.0, True)])
def test_a_fitting_at_whose_port_no_run_ends_still_needs_its_tube(store: Store, gap: float, room: bool) -> None:
    """A collar 17 high under a brick: a tube goes 10 into it and 5 straight on, from above. Nobody leads one there, so
    that the port does not fail; and a plug in the same place needs nothing."""
    s = scene(store, plate((0, 0)), brick((-10, -10, TOP + gap), (10, 10, TOP + gap + 5)))
    told, plugged = (
        next(f for f in check(s, plumbing({"a": [end]}, tubing=None), store) if f.place == "a")
        for end in (END, link("plug"))
    )
    assert ("no run ends here" in told.text) is not room
    assert told.verdict == ("pass" if room else "caution")
    assert not [r for r in told.remedies if r.startswith("hard-tube-14")]
    assert plugged.verdict == "pass"


def test_the_free_axis_is_measured_and_its_end_named(store: Store) -> None:
    s = scene(
        store, plate((0, 0)), brick((-9, -9, TOP + 45), (9, 9, TOP + 50)), brick((8, -50, TOP + 33), (20, 50, 70))
    )
    told = dict(findings(s, store, {"a": [END]})["a"].extra)
    assert told["axis_free"] == pytest.approx(45, abs=0.02)  # a bar as wide as the thread passes the second brick
    assert told["axis_stop"] == "p2/body"
    assert told["axis_free_fitting"] == pytest.approx(33, abs=0.02)
    assert told["axis_stop_fitting"] == "p3/body"


def test_an_unsound_mesh_nearby_leaves_the_verdict_open(store: Store) -> None:
    far = brick((200, 0, TOP + 60), (210, 10, TOP + 70), open_top=True)
    near = brick((25, 0, TOP + 5), (35, 10, TOP + 15), open_top=True)
    assert findings(scene(store, plate((0, 0)), far), store, {"a": [END]})["a"].verdict == "pass"
    found = findings(scene(store, plate((0, 0)), near), store, {"a": [END]})["a"]
    assert found.verdict == "unknown"
    assert "not sound" in found.text


# Kept answers ---------------------------------------------------------------------------------------------------------


def test_answers_are_the_same_from_any_cache(tmp_path: Path) -> None:
    def said(store: Store) -> list[str]:
        s = scene(store, plate((0, 0), (20, 0)), brick((-40, 8, TOP + 3), (40, 12, TOP + 90)))
        asked = plumbing({"a": [wide(22.0)], "b": [link("rotary-90"), END]})
        return [json.dumps(f.to_json()) for f in check(s, asked, store)]

    first = Store(tmp_path / "one")
    fresh = said(first)
    assert said(first) == fresh
    assert said(Store(tmp_path / "one")) == fresh
    assert said(Store(tmp_path / "two")) == fresh


def test_findings_survive_being_kept(store: Store) -> None:
    s = scene(store, plate((0, 0), (20, 0)), brick((-40, 8, TOP + 3), (40, 12, TOP + 90)))
    found = check(s, plumbing({"a": [END], "b": [END]}), store)
    assert [f.to_json() for f in unpack(pack(found))] == [f.to_json() for f in found]


def test_a_moved_obstacle_is_a_new_question(store: Store) -> None:
    asked = {"a": [END]}
    for y, verdict in ((7.0, "fail"), (40.0, "pass"), (7.0, "fail")):
        s = scene(store, plate((0, 0)), brick((-40, y, TOP + 3), (40, y + 5, TOP + 90)))
        assert findings(s, store, asked)["a"].verdict == verdict
