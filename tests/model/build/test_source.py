"""Reading the build file: YAML 1.2 meaning, refusals with place, bounds."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from elbowroom.model.build.problems import BuildError
from elbowroom.model.build.source import MAX_BYTES, parse, read


def faults(text: str) -> list[str]:
    with pytest.raises(BuildError) as e:
        parse(text, "b.yaml")
    return [str(p) for p in e.value.problems]


@pytest.mark.parametrize(
    ("text", "value"),
    [
        # YAML 1.2.2, section 10.3.2 (core schema tag resolution); the 1.1 readings are in the comments.
        ("no", "no"),  # 1.1: false
        ("on", "on"),  # 1.1: true
        ("010", 10),  # 1.1: octal 8
        ("0o10", 8),
        ("0x1F", 31),
        ("1:30", "1:30"),  # 1.1: sexagesimal 90
        ("1_000", "1_000"),  # 1.1: 1000
        ("1e3", 1000.0),
        ("-.5", -0.5),
        ("true", True),
        ("~", None),
        ("2026-11-25", "2026-11-25"),  # 1.1: a date
        ("236 ± 1", "236 ± 1"),
        ("'12'", "12"),
    ],
)
def test_scalars_mean_what_a_person_wrote(text: str, value: object) -> None:
    read_value = parse(f"a: {text}").values["a"]
    assert read_value == value
    assert type(read_value) is type(value)


def test_every_refusal_comes_out_in_one_run_with_its_place() -> None:
    text = "a: 1\na: 2\nb: .nan\nc: &x 1\nd: *x\ne: !!binary aGk=\nf: 1e999\n[1]: 2\n"
    assert faults(text) == [
        'b.yaml:2:1 a: the key "a" stands twice; first in line 1',
        'b.yaml:3:4 b: ".nan" is not a finite number',
        'b.yaml:4:4 c: anchor "&x": anchors and aliases are not read',
        'b.yaml:5:4 d: alias "*x": write the value out, aliases are not read',
        'b.yaml:6:4 e: tag "tag:yaml.org,2002:binary": tags are not read; write the plain value',
        'b.yaml:7:4 f: "1e999" is not a finite number',
        "b.yaml:8:1: a key must be plain text",
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[" * 100_000, "nesting"),
        ("a: " + "[" * 30 + "]" * 30, "nested more than"),
        ("{b: " * 30, "nested more than"),
        ("a: [" + "1," * 200_000 + "]", "more than"),
        ("a: [1,\n b", "not YAML"),
        ("a: \x00", "control characters"),
        ("- 1", "a build file is lines of key: value"),
        ("", "the file holds nothing; elbowroom new FILE"),
        ("a: 1\n---\nb: 2", "second document"),
        ("a: " + "x" * 5000, "text of 5000 characters"),
    ],
)
def test_hostile_text_is_refused_with_a_sentence(text: str, said: str) -> None:
    assert said in faults(text)[0]


def test_a_billion_laughs_file_is_refused() -> None:
    lines = ["a: &a [1, 1]"] + [f"b{i}: &b{i} [*a, *a]" for i in range(50)]
    assert any("aliases are not read" in f for f in faults("\n".join(lines)))


def test_files_that_are_no_build_files(tmp_path: Path) -> None:
    junk = tmp_path / "junk.yaml"
    junk.write_bytes(os.urandom(MAX_BYTES + 1))
    latin = tmp_path / "latin.yaml"
    latin.write_bytes(b"title: x\nnote: caf\xe9\n")
    pipe = tmp_path / "pipe.yaml"
    os.mkfifo(pipe)
    for file, said in (
        (junk, "at most"),
        (latin, "latin.yaml:2:10: not UTF-8 text: byte 0xe9"),
        (pipe, "not a regular file"),
        (tmp_path, "a folder"),
        (tmp_path / "none.yaml", "No such file"),
    ):
        with pytest.raises(BuildError, match=said):
            read(file)


def test_overrides_replace_one_value_and_know_where_they_came_from(tmp_path: Path) -> None:
    file = tmp_path / "b.yaml"
    file.write_text("case: {sheet: 1, list: [1, {x: 2}]}\n")
    d = read(file, ["case.sheet=1.2", "case.list.1.x=3", "parts.low radiator={at: {rear: 30}}"])
    assert d.values == {
        "case": {"sheet": 1.2, "list": [1, {"x": 3}]},
        "parts": {"low radiator": {"at": {"rear": 30}}},
    }
    assert str(d.mark(("case", "sheet"))) == "--set case.sheet=1.2"
    assert str(d.mark(("case", "list", 0))) == f"{file}:1:25"


@pytest.mark.parametrize(
    "text", ["nonsense", "=3", "case.list.9=1", "case.sheet.x=1", "case.sheet=*a", "case.sheet=[1", "case.sheat.x=1"]
)
def test_a_wrong_override_is_told_by_its_own_text(tmp_path: Path, text: str) -> None:
    file = tmp_path / "b.yaml"
    file.write_text("case: {sheet: 1, list: [1]}\n")
    with pytest.raises(BuildError, match="--set "):
        read(file, [text])


@pytest.mark.parametrize(
    "c",
    ["\\e", "\\x07", "\\u009b", "\\u202e", "\\u2066", "\\u200b", "\\u00ad", "\\ufeff", "\\u2028", "\\u3164", "\\uffff"],
)
@pytest.mark.parametrize("where", ['title: "a{}b"', '"a{}b": 1', 'parts: {{x: {{box: "a{}b"}}}}', 'note: "a{}b"'])
def test_what_moves_or_hides_on_a_terminal_is_refused_with_its_place(c: str, where: str) -> None:
    """Control characters, marks of direction (UAX 9), and characters without a shape of their own."""
    said = faults(where.format(c))
    assert len(said) == 1
    assert "b.yaml:1:" in said[0]
    assert "leave it out" in said[0]
    assert all(ch.isprintable() for ch in said[0])


@pytest.mark.parametrize(
    "text", ["Крышка", "機箱", "Łódź", "5 °C ± 1", "family 👨\u200d👩\u200d👧", "किताब", "می\u200cخواهم", "e\u0301"]
)
def test_what_people_write_is_read(text: str) -> None:
    assert parse(f'title: "{text}"').values["title"] == text


def test_only_a_note_has_several_lines() -> None:
    assert parse("note: |\n  one\n  two\n").values["note"] == "one\ntwo\n"
    assert "only a note has several lines" in faults('title: "one\\ntwo"')[0]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a:\n\tb: 1\n", "b.yaml:2:1: not YAML: a tab stands here: indent with spaces"),
        ("a: b: c\n", 'b.yaml:1:5: not YAML: a second ": " in one line'),
        ("a: @x\n", 'b.yaml:1:4: not YAML: text cannot start with "@": put it in quotes'),
        ("a: [1, 2\nb: 3\n", '"," or "]" is missing'),
        ("a: 1\n  b: 2\n", "not YAML: "),
    ],
)
def test_what_is_no_yaml_is_told_in_a_builder_s_words(text: str, said: str) -> None:
    [told] = faults(text)
    assert said in told
    assert "token" not in told
