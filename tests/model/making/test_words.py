"""What stands under `make`: sets, counts, what is printed, and what is refused with its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from elbowroom.model import making, pipeline
from elbowroom.model.build.entries import Build
from elbowroom.model.build.make_spec import MakeWords, variants
from elbowroom.model.build.problems import BuildError, InputError
from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import parse
from elbowroom.model.geometry.names import safe_name
from elbowroom.model.layout.place import place
from elbowroom.model.making.asked import build_to_make
from elbowroom.model.making.orders import gathered
from elbowroom.model.screws.offers import name_for
from elbowroom.model.store import Store


def build(text: str) -> Build:
    return load(parse(f"title: t\n{text}"))


def made(text: str) -> list[tuple[int, str, float]]:
    b = build(text)
    return [(o.count, o.label, o.height) for o in gathered(place(b), b.make, b.printer)]


def test_a_list_makes_a_set_and_count_says_how_many_of_each() -> None:
    assert made("make: [{riser: riser-12x18, height: [18, 22], count: 4}]") == [
        (4, "riser-12x18", 18.0), (4, "riser-12x12x22", 22.0),
    ]  # fmt: skip


def test_two_lists_make_every_combination() -> None:
    found = variants({"riser": "custom", "height": [10, 12], "across": [12, 14, 16]})
    assert [(v["height"], v["across"]) for v in found] == [(h, a) for h in (10, 12) for a in (12, 14, 16)]


def test_a_field_that_is_a_list_by_nature_is_left_as_it_is() -> None:
    one = {"sheet": "custom", "outline": [[0, 0], [9, 0], [0, 9]], "holes": [{"at": [1, 1], "diameter": 2}]}
    [found] = variants(one)
    assert found["holes"] == one["holes"]


def test_what_is_made_is_printed_unless_the_entry_says_what_else() -> None:
    """The catalogue's riser is aluminium; under make it is the one that is printed."""
    [entry] = build("make: [riser-12x18]").make
    assert entry.part.model_dump()["material"] == "printed"
    with pytest.raises(BuildError, match=r"build:2:8 make\.0: a riser with these fields is not a part one prints"):
        build("make: [{riser: riser-12x18, material: brass}]")


def test_the_same_part_asked_for_twice_is_made_once_with_both_counts() -> None:
    assert made("make: [{riser: riser-12x18, count: 3}, {riser: riser-12x18, height: 18 mm, count: 2}]") == [
        (5, "riser-12x18", 18.0)
    ]


def test_names_are_kept_and_a_set_of_one_name_carries_its_sizes() -> None:
    text = "make: [{riser: custom, height: [8, 9], name: foot}, {spacer: custom, name: pump foot}]"
    assert [label for _, label, _ in made(text)] == ["foot-12x12x8", "foot-12x12x9", "pump-foot"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("make: [{riser: riser-12x18, heigth: [18, 22]}]", r'make\.0\.heigth: unknown key "heigth"; nearest: "height"'),
        ("make: [{riser: riser-12x18, height: [18, -2]}]", r'make\.0\.height: "-2" must be at least 1 mm'),
        ("make: [{riser: riser-12x18, height: []}]", r"make\.0\.height"),
        ("make: [{riser: riser-12x18, count: 0}]", r'make\.0\.count: "0" must be at least 1'),
        ("make: [{riser: riser-12x18, count: 201}]", r'"201" must be at most 200'),
        ("make: [fan-120x25]", r"make\.0: a fan with these fields is not a part one prints"),
        ("make: [rizer-12x18]", r'make\.0: no family or catalogue size "rizer-12x18"; nearest: "riser-12x18"'),
        ("make: {riser: riser-12x18}", r"make: .*list"),
        ("make: [riser]\nprinter: {layer: thick}", r'printer\.layer: "thick": expected a number in mm'),
        (
            "make: [riser]\nprinter: {bed: [220, 220]}",
            r'"\[220, 220\]": expected three numbers in mm, written \[a, b, c',
        ),
        ("make: [riser]\nprinter: {bed: 220}", r'printer\.bed: "220": expected three numbers in mm'),
        ("make: [riser]\nprinter: {bed: [9, 9, 9, 9]}", r"printer\.bed: .*expected three numbers in mm"),
        # A layer is at most 0.8 of the nozzle: 0.8 * 0.4 = 0.32, 0.8 * 0.6 = 0.48; common practice, no source (P).
        ("make: [riser]\nprinter: {nozzle: 0.4, layer: 0.6}", r"layers 0\.6 mm .* nozzle of 0\.4 mm .* most 0\.32 mm"),
        ("make: [riser]\nprinter: {nozzle: 0.6, layer: 0.49}", r"at most 0\.48 mm"),
        ("make: [riser]\nprinter: {bed: [220, 220, 1]}", r'printer\.bed\.2: "1" must be at least 40'),
        ("make: [riser]\nprinter: {material: abs}", r'"abs" is not one of the choices'),
        ("make: [riser]\nprinter: {nozle: 0.4}", r'printer\.nozle: unknown key "nozle"; nearest: "nozzle"'),
    ],
)
def test_faults_are_told_with_their_place_and_what_was_expected(text: str, said: str) -> None:
    with pytest.raises(BuildError, match=said):
        build(text)


@pytest.mark.parametrize("words", ["nozzle: 0.4, layer: 0.32", "nozzle: 0.6, layer: 0.48", "nozzle: 0.3, layer: 0.24"])
def test_layers_of_eight_tenths_of_the_nozzle_are_taken(words: str) -> None:
    assert build(f"make: [riser]\nprinter: {{{words}}}").printer.layer > 0


def test_a_name_like_none_of_very_many_gets_no_empty_list() -> None:
    with pytest.raises(BuildError) as caught:
        build("make: [rizer, zzzzqqqq]")
    near, far = (p.message for p in caught.value.problems)
    assert near.endswith('nearest: "riser"')
    assert "none of the" in far
    assert "known:" not in near + far


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("screws: {use: {rad.b: 30}}", "expected {key: value} with keys screw, thread, length, head, washers"),
        ("screws: [rad.b]", "expected {key: value} with keys head, stock, washers, use, no_screws"),
        ("screws: {use: [a]}", "expected entries written {name: value}"),
        ("screws: {no_screws: x}", "expected a list of names, written [a, b]"),
        ("screws: {use: {a.b: {washers: x}}}", "expected a whole number"),
        ("mates: [[a]]", "expected two names, written [a, b]"),
        ("templates: {of: [3]}", 'templates.of.0: "3": expected text'),
        ("case: {holes: 3}", "expected a list, written [a, b]"),
        ("parts: {a: {box: custom, on: x, flip: 3}}", "expected true or false"),
        ("parts: {a: {box: custom, on: x, offset: 3}}", "expected two numbers in mm, written [a, b]"),
    ],
)
def test_a_value_of_the_wrong_shape_is_told_without_words_of_a_programmer(text: str, said: str) -> None:
    with pytest.raises(BuildError) as caught:
        build(f"make: [riser]\n{text}")
    message = "\n".join(str(p) for p in caught.value.problems)
    assert said in message
    for word in ("tuple", "instance", "dictionary", "boolean", "string", "integer", "Spec", "Words"):
        assert word not in message


def test_faults_under_make_come_out_with_all_the_others() -> None:
    with pytest.raises(BuildError) as caught:
        build("parts: {a: {fan: fan-120x26, at: {x: 0, y: 0, z: 0}}}\nmake: [{riser: riser-12x18, hight: 1}]\nloop: 3")
    assert len(caught.value.problems) == 3


def test_a_part_alone_takes_its_fields_and_the_printer_by_set() -> None:
    b = build_to_make(
        None, "riser-12x18", ["height=[9, 11]", "count=2", "printer.layer=0.1"], Store.default()
    ).placed.build
    assert [(e.words, float(e.part.model_dump()["height"])) for e in b.make] == [
        (MakeWords(count=2), 9.0), (MakeWords(count=2), 11.0),
    ]  # fmt: skip
    assert float(b.printer.layer) == 0.1


def test_a_part_alone_takes_the_printer_of_the_build_and_nothing_else(tmp_path: Path) -> None:
    file = tmp_path / "b.yaml"
    file.write_text("title: t\nprinter: {nozzle: 0.6}\nmake: [riser-12x18]\nparts: {a: {fan: nonsense}}\n")
    b = build_to_make(file, "spacer", [], Store.default()).placed.build
    assert float(b.printer.nozzle) == 0.6
    assert [e.part.family for e in b.make] == ["spacer"]
    assert b.parts == ()


def test_neither_a_build_nor_a_part_is_refused() -> None:
    with pytest.raises(InputError, match="name a build file, or one part"):
        build_to_make(None, None, [], Store.default())
    with pytest.raises(BuildError, match=r'--set hight=3: unknown key "hight"'):
        build_to_make(None, "riser-12x18", ["hight=3"], Store.default())


def test_a_part_whose_holes_cannot_be_wider_is_refused_with_the_reason() -> None:
    b = build("make: [{riser: riser-12x18, hole_allowance: 0.9}]\nprinter: {hole_allowance: 0.5}")
    with pytest.raises(InputError, match=r"riser-12x12x18: its holes cannot be made 0\.5 mm wider"):
        gathered(place(b), b.make, b.printer)


STANDING = """
title: t
case: {interior: {depth: 400, width: 300, height: 300}}
parts:
  plate: {plate: custom, length: 120, width: 60, thickness: 20, on: case.front-wall, lift: fit,
          at: {tray: 80, floor: 100}}
  riser: {riser: riser-20x30-printed, height: {fit: least, at_least: 15, at_most: 20}, on: plate.mount-*, by: top}
  post: {riser: riser-20x30-printed, height: 31, on: case.floor-wall, by: foot, at: {rear: 50, tray: 60}}
make: [riser-20x30-printed]
"""


@pytest.mark.slow
def test_the_sheet_says_which_heights_do_and_how_each_end_stands(tmp_path: Path) -> None:
    """Worked by hand: nothing stands behind the plate, so that all heights asked for do; it hangs before the front."""
    file = tmp_path / "b.yaml"
    file.write_text(STANDING)
    made = making.make(file, tmp_path / "out", ["stl"], store=Store.default())
    orders = {o.wanted: o for o, _, _ in made.parts if o.part.family == "riser"}
    found = pipeline.read(file, Store.default())
    screwed = pipeline.fastened(found.placed, Store.default())
    (joint,) = {c.label for c in screwed.chosen if c.joint.name.startswith(("riser", "plate", "case"))}
    height, foot, top = orders["riser 1", "riser 2", "riser 3", "riser 4"].stands
    assert height.startswith("height 15 mm, found so that plate fits; 15.00 mm to 20.00 mm would do as well")
    assert foot == f"foot: 1 hole of 4.5 mm; looks toward the front, on case; screws 1 x {joint} right through it"
    assert top == f"top: 1 hole of 4.5 mm; looks toward the rear, on plate; screws 1 x {joint} right through it"
    assert orders["post",].stands[0] == (
        "height 31 mm as the build says; which others would do was not asked (height: fit asks)"
    )
    assert "known in a build alone" in orders[()].stands[0]
    sheet = (tmp_path / "out" / "making.txt").read_text(encoding="utf-8")
    assert all(f"- {line}\n" in sheet for o in orders.values() for line in o.stands)


PASTED = """
title: t
parts:
  adapter for low b: {adapter: adapter-120-on-140, at: {x: 0, y: 0, z: 0}}
"""


def test_a_plate_in_a_build_is_written_under_the_name_it_was_offered_under() -> None:
    b = load(parse(PASTED))
    assert [o.label for o in gathered(place(b), b.make, b.printer)] == [safe_name(name_for("low.b"))]


@pytest.mark.parametrize(
    ("part", "words", "said"),
    [
        ("riser-12x18", "height=2000", '--set height=2000: "2000" must be at most 200 mm'),
        ("riser-12x18", "height", "--set height: expected path=value"),
        ("rise-12x18", "height=9", '--part rise-12x18: no family or catalogue size "rise-12x18"'),
        ("riser-12x18", "hole.x=3", '--set hole.x=3: there is no "hole" here'),
        ("fan-120x25", "count=2", "--part fan-120x25: a fan with these fields is not a part one prints"),
        ("riser-12x18", "printer.layer=9", "--set printer.layer=9 printer.layer: "),
    ],
)
def test_a_fault_of_a_part_alone_stands_at_the_option_as_it_was_typed(part: str, words: str, said: str) -> None:
    with pytest.raises(BuildError) as caught:
        build_to_make(None, part, [words], Store.default())
    assert said in str(caught.value)
    assert "make.0" not in str(caught.value)
