"""Small builds whose order is plain to see: one part behind another, a lock, a screw too far in.

Each is worked out by hand: boxes and plates in a case of which the glass is off.
"""

from __future__ import annotations

import json
from pathlib import Path

import manifold3d
import numpy as np
import pytest
import trimesh

from elbowroom.model import pipeline
from elbowroom.model.build.problems import BuildError
from elbowroom.model.insertion import Assembly
from elbowroom.model.insertion.plan import freed
from elbowroom.model.insertion.telling import Telling
from elbowroom.model.insertion.written import rendered, values
from elbowroom.model.store import Store

CASE = "case: {interior: {depth: 300, width: 150, height: 200}, openings: {}, board: null, slots: 0, feet: null}\n"

BEHIND = f"""
title: one behind the other
{CASE}
parts:
  drive: {{box: custom, length: 60, width: 60, height: 20, on: case.tray-wall, at: {{rear: 100, floor: 50}}}}
  shelf: {{box: custom, length: 120, width: 90, height: 5, on: case.tray-wall, lift: 40, at: {{rear: 70, floor: 30}}}}
"""


def assembled(text: str, store: Store, folder: Path) -> Assembly:
    file = folder / "build.yaml"
    file.write_text(text, encoding="utf-8")
    return pipeline.assembled(pipeline.standing(file, store), store)


def order(made: Assembly) -> list[str]:
    return [s.item for s in made.plan.steps]


def test_what_stands_behind_goes_in_first(store: Store, tmp_path: Path) -> None:
    """The file has them the same way round; turned round, the order is the same."""
    made = assembled(BEHIND, store, tmp_path)
    assert order(made) == ["drive", "shelf"]
    head, drive, shelf = BEHIND.rpartition("parts:\n")[0] + "parts:\n", *BEHIND.rpartition("parts:\n")[2].splitlines()
    turned = assembled("\n".join([head, shelf, drive, ""]), store, tmp_path)
    assert order(turned) == ["drive", "shelf"]
    assert all(s.played is not None and s.played.free for s in (*made.plan.steps, *turned.plan.steps))


def test_what_shares_room_where_it_stands_is_told_whatever_the_order(store: Store, tmp_path: Path) -> None:
    """The shelf stands 40 to 45 from the tray, the drive 60 deep before it; 20 deep it stands clear of it."""
    made = assembled(BEHIND.replace("width: 60, height: 20", "width: 60, height: 60"), store, tmp_path)
    clear = assembled(BEHIND, store, tmp_path)
    assert (made.clashes, clear.clashes) == ((("drive", "shelf"),), ())
    said = "✖ drive and shelf share room where they stand: how they pass each other is not judged"
    assert said in [*Telling(made).lines()]
    assert said in [*Telling(made).service("drive", freed(made.building, "drive"))]
    assert values(Telling(made))["clashes"] == [["drive", "shelf"]]


def test_to_get_at_what_stands_behind_the_other_comes_out(store: Store, tmp_path: Path) -> None:
    made = assembled(BEHIND, store, tmp_path)
    found = freed(made.building, "drive")
    assert found is not None
    assert [t.item for t in found.taken] == ["shelf", "drive"]
    told = list(Telling(made).service("drive", found))
    assert told[0] == "drive comes out once shelf is out"
    assert told[1].endswith("take out shelf, toward the glass")
    alone = freed(made.building, "shelf")
    assert alone is not None
    assert next(Telling(made).service("shelf", alone)) == "shelf comes out with all else in place"


def test_a_case_with_nothing_off_lets_nothing_in(store: Store, tmp_path: Path) -> None:
    made = assembled(BEHIND + "building: {open: []}\n", store, tmp_path)
    assert {n for n, _ in made.plan.stuck} == {"drive", "shelf"}
    assert not made.plan.complete
    said = "\n".join(Telling(made).lines())
    assert "no way out was found, straight, in two legs or tilted first" in said
    assert "case/glass" in said


def test_a_word_for_a_side_the_case_has_not_got_is_refused(store: Store, tmp_path: Path) -> None:
    with pytest.raises(BuildError, match='the case has no "lid" to take off'):
        assembled(BEHIND + "building: {open: [lid]}\n", store, tmp_path)


def test_with_the_roof_off_as_well_a_part_under_a_shelf_still_comes_out_by_the_glass(
    store: Store, tmp_path: Path
) -> None:
    """A shelf from wall to wall toward the glass: the way out is up, then there is none but through the roof."""
    wall = """
title: behind a wall
case: {interior: {depth: 300, width: 150, height: 200}, openings: {}, board: null, slots: 0, feet: null}
parts:
  wall: {box: custom, length: 299, width: 199, height: 5, on: case.tray-wall, lift: 100, at: {rear: 0.5, floor: 0.5}}
  drive: {box: custom, length: 60, width: 60, height: 20, on: case.tray-wall, at: {rear: 100, floor: 50}}
building: {open: [roof]}
"""
    made = assembled(wall, store, tmp_path)
    assert sorted(order(made)) == ["drive", "wall"]
    assert all(np.allclose(s.move.way.legs[-1].way, (0, 0, 1)) for s in made.plan.steps)


def write_stl(path: Path, solid: manifold3d.Manifold) -> None:
    m = solid.to_mesh64()
    trimesh.Trimesh(np.asarray(m.vert_properties)[:, :3], np.asarray(m.tri_verts), process=False).export(path)


def box(size: tuple[float, float, float], at: tuple[float, float, float]) -> manifold3d.Manifold:
    return manifold3d.Manifold.cube(list(size)).translate(list(at))


def hooked(folder: Path) -> str:
    """A plate from wall to wall with a window, and behind it a frame whose nose comes through the window and hooks over
    its upper edge. Seen from the glass (the part's -y): the frame is 100 x 60 at y 60..70, its neck 20 x 10 goes on to
    y 40 through a window 24 x 24, the nose rises 8 above the neck at y 40..44; the plate stands at y 48..52.
    """
    frame = box((100, 10, 60), (100, 60, 50)) + box((20, 20, 10), (140, 40, 75)) + box((20, 4, 14), (140, 40, 75))
    plate = box((299, 4, 199), (0.5, 48, 0.5)) - box((24, 10, 12), (138, 45, 74))
    write_stl(folder / "frame.stl", frame)
    write_stl(folder / "plate.stl", plate)
    return f"""
title: a hook through a window
{CASE}
parts:
  frame: {{file: frame.stl, unit: mm, at: {{x: 0, y: 0, z: 0}}}}
  plate: {{file: plate.stl, unit: mm, at: {{x: 0, y: 0, z: 0}}}}
gaps: {{default: 0}}
"""


@pytest.mark.slow
def test_a_hook_that_only_a_loose_part_lets_by_is_told_with_how_far_it_is_moved(store: Store, tmp_path: Path) -> None:
    """The nose ends at 89, the window at 86: the plate passes once the frame is 3 mm lower, for which there is 1 under
    the neck (75 over 74): 1 is too little, and no lower: so it is left to a window that reaches down to 70.
    """
    text = hooked(tmp_path)
    stuck = assembled(text, store, tmp_path)
    assert not stuck.plan.complete
    assert [sorted(x.pieces) for x in stuck.plan.loosened] in ([["frame"]], [["plate"]])
    assert stuck.plan.loosened[0].aside is None
    assert any("cannot say how they go in together" in line for line in Telling(stuck).lines())
    plate = box((299, 4, 199), (0.5, 48, 0.5)) - box((24, 10, 16), (138, 45, 70))
    write_stl(tmp_path / "plate.stl", plate)
    made = assembled(text, store, tmp_path)
    (lock,) = made.plan.loosened
    assert lock.aside is not None
    (aside,) = lock.aside
    assert (aside.piece, aside.passes) == ("frame", "plate")
    assert aside.far == 3.0
    assert np.allclose(aside.way, (0, 0, -1))
    assert made.plan.complete
    assert any(
        line.startswith("! plate goes in while frame is loose: move frame 3.0 mm toward the floor")
        for line in Telling(made).lines()
    )


CAGED = """
title: a cage before the board's screws
case:
  like: case-mini-itx
  interior: {height: 375}
  board: {form: mini-itx, at: {top: 106}}
  psu: null
  drive_cage: {at: {rear: 4, tray: 30, floor: 1}, size: {depth: 190, width: 40, height: 104.5}}
parts:
  board: {motherboard: motherboard-mini-itx, on: case.board}
"""


def test_screws_behind_a_fixed_cage_are_told_to_be_out_of_reach(store: Store, tmp_path: Path) -> None:
    """The cage's top sheet stands before the lower holes of the board, 19.5 mm over the heads, a key takes 25."""
    made = assembled(CAGED, store, tmp_path)
    ((name, why),) = made.plan.stuck
    assert name == "board"
    assert made.plan.impossible == {"board"}
    assert why is not None
    said = list(Telling(made).lines())
    assert any("nor a short key reaches the screws of case.board: case stands before them" in line for line in said)


def test_screws_beside_a_lower_cage_are_driven_at_their_step(store: Store, tmp_path: Path) -> None:
    made = assembled(CAGED.replace("height: 104.5", "height: 60"), store, tmp_path)
    assert made.plan.complete
    (step,) = made.plan.steps
    assert [(u.fastening.name, u.by) for u in step.move.undone] == [("case.board", "straight driver")]


def test_the_json_holds_every_step_as_it_was_played(store: Store, tmp_path: Path) -> None:
    made = assembled(BEHIND, store, tmp_path)
    told = json.loads(rendered(Telling(made)))
    assert [s["parts"] for s in told["steps"]] == [["drive"], ["shelf"]]
    assert all(s["replayed"] for s in told["steps"])
    assert told["complete"]
    assert told["open"] == ["case/back-side", "case/glass"]
    assert told["steps"][0]["way_out"][0]["toward"] == [0.0, -1.0, 0.0]


def test_a_plan_is_the_same_from_a_warm_cache(tmp_path: Path) -> None:
    store = Store(tmp_path / "cache")
    cold = rendered(Telling(assembled(BEHIND, store, tmp_path)))
    assert rendered(Telling(assembled(BEHIND, Store(tmp_path / "cache"), tmp_path))) == cold
