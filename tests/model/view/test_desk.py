"""The words worked on: nothing is written unasked, nor over what somebody else has saved; each has a way back."""

from __future__ import annotations

import stat
from pathlib import Path

import pytest

from elbowroom.model.build.problems import BuildError
from elbowroom.model.view.desk import Desk, Refused
from tests.model.builds_for_tests import SMALL

CRATE = ("parts", "crate", "height")
REAR = ("parts", "drive", "at", "rear")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    file = tmp_path / "small.yaml"
    file.write_text(SMALL, encoding="utf-8")
    return file


def test_changes_stay_off_the_disk_until_they_are_written_and_keep_every_comment(file: Path) -> None:
    desk = Desk(file)
    assert desk.difference() == []
    desk.change(CRATE, 355)
    desk.change(REAR, 101)
    assert file.read_text() == SMALL
    changed = [d for d in desk.difference()[2:] if d[0] in "+-"]
    rest = "on: case.floor-wall, at: {rear: 250, tray: 110}}  # tools"
    assert changed == [
        "-  drive: {box: drive-2.5in-7,  on: case.floor-wall, at: {rear: 100, tray: 60}}",
        "-  crate: {box: custom, length: 80, width: 60, height: 100, " + rest,
        "+  drive: {box: drive-2.5in-7,  on: case.floor-wall, at: {rear: 101, tray: 60}}",
        "+  crate: {box: custom, length: 80, width: 60, height: 355, " + rest,
    ]  # fmt: skip
    desk.write(desk.digest)
    assert file.read_text() == SMALL.replace("height: 100", "height: 355").replace("rear: 100", "rear: 101")
    assert not desk.unsaved


def test_undo_and_redo_go_step_by_step_and_past_a_writing(file: Path) -> None:
    desk = Desk(file)
    desk.change(CRATE, 355)
    desk.change(REAR, 101)
    assert desk.undo_words == "parts.drive.at.rear: 100 → 101"
    assert desk.undo()
    assert desk.undo_words == "parts.crate.height: 100 → 355"
    assert desk.redo_words == "parts.drive.at.rear: 100 → 101"
    desk.write(desk.digest)
    assert desk.undo()
    assert desk.text == SMALL
    assert desk.unsaved
    assert not desk.undo()
    assert desk.redo()
    assert desk.redo()
    assert not desk.redo()
    desk.drop()
    assert not desk.unsaved
    desk.change(CRATE, 90)
    assert desk.redo_words is None  # another way was taken


def test_steps_to_one_number_in_one_go_are_undone_in_one(file: Path) -> None:
    desk = Desk(file)
    for value in (101, 102, 103):
        desk.change(CRATE, value, going_on=True)
    assert "height: 103" in desk.text
    desk.undo()
    assert desk.text == SMALL
    desk.redo()
    desk.change(CRATE, 100, going_on=True)  # back to where it began: no step at all
    assert desk.text == SMALL
    assert desk.undo_words is None


def test_a_file_saved_by_somebody_else_is_not_written_over(file: Path) -> None:
    desk = Desk(file)
    desk.change(CRATE, 355)
    shown = desk.digest
    other = SMALL.replace("title: small", "title: other")
    file.write_text(other)
    with pytest.raises(Refused, match="changed on the disk"):
        desk.write(shown)
    assert file.read_text() == other
    assert desk.reread() == []
    with pytest.raises(Refused, match="no longer those that were shown"):
        desk.write(shown)
    assert file.read_text() == other
    desk.write(desk.digest)
    assert file.read_text() == other.replace("height: 100", "height: 355")


def test_what_is_written_is_what_was_shown(file: Path) -> None:
    desk = Desk(file)
    desk.change(CRATE, 355)
    shown = desk.digest
    desk.change(CRATE, 356)
    with pytest.raises(Refused, match="look at them again"):
        desk.write(shown)
    assert file.read_text() == SMALL


def test_a_change_to_what_was_changed_in_the_file_too_is_lost_and_told(file: Path) -> None:
    desk = Desk(file)
    desk.change(CRATE, 355)
    desk.change(REAR, 101)
    file.write_text(SMALL.replace("height: 100", "height: 70"))
    [lost] = desk.reread() or []
    assert lost.startswith("parts.crate.height: 100 → 355")
    assert "height: 70" in desk.text
    assert "rear: 101" in desk.text
    file.write_text(desk.text.replace("  drive:", "  disk:"))
    [lost] = desk.reread() or []
    assert lost.startswith("parts.drive.at.rear: 100 → 101")


def test_changes_outlive_a_save_with_a_mistake_in_it(file: Path) -> None:
    desk = Desk(file)
    desk.change(CRATE, 355)
    file.write_text(SMALL.replace("parts:", "parts: ["))
    assert desk.reread() == []
    file.write_text(SMALL.replace("title: small", "title: other"))
    assert desk.reread() == []
    assert "height: 355" in desk.text
    assert "title: other" in desk.text
    assert desk.reread() is None


def test_a_value_that_cannot_stand_there_changes_nothing(file: Path) -> None:
    desk = Desk(file)
    with pytest.raises(BuildError, match=r"U\+001B"):
        desk.change(CRATE, "1\x1b")
    assert desk.text == SMALL
    assert desk.undo_words is None


def test_links_modes_line_ends_and_the_mark_of_byte_order_stay(tmp_path: Path) -> None:
    true = tmp_path / "true.yaml"
    true.write_bytes(b"\xef\xbb\xbf" + SMALL.replace("\n", "\r\n").encode())
    true.chmod(0o640)
    link = tmp_path / "link.yaml"
    link.symlink_to(true)
    desk = Desk(link)
    desk.change(CRATE, 355)
    desk.write(desk.digest)
    assert link.is_symlink()
    expected = b"\xef\xbb\xbf" + SMALL.replace("\n", "\r\n").replace("height: 100", "height: 355").encode()
    assert true.read_bytes() == expected
    assert stat.S_IMODE(true.stat().st_mode) == 0o640


def test_a_file_that_is_gone_is_told_and_the_words_stay(file: Path) -> None:
    desk = Desk(file)
    desk.change(CRATE, 355)
    file.unlink()
    with pytest.raises(BuildError, match="cannot read"):
        desk.reread()
    assert "height: 355" in desk.text
    with pytest.raises(BuildError, match="cannot read"):
        desk.write(desk.digest)
