"""The digest that kept answers are kept under: every module and every row of data counts."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

import elbowroom.model
import elbowroom.parts
from elbowroom.model import digest

PACKAGES = [Path(next(iter(p.__path__))) for p in (elbowroom.model, elbowroom.parts)]


@pytest.mark.slow
def test_every_module_and_every_row_of_data_counts(tmp_path: Path) -> None:
    for package in PACKAGES:
        copy = tmp_path / package.name
        shutil.copytree(package, copy, ignore=shutil.ignore_patterns("__pycache__", "entry", "demos"))
        before, seen = digest.of_files(copy), set()
        files = [f for f in copy.rglob("*") if f.suffix in (".py", ".yaml")]
        assert len(files) > 40
        for file in files:
            data = file.read_bytes()
            file.write_bytes(data + b"\n")
            seen.add(digest.of_files(copy))
            file.write_bytes(data)
        assert len(seen) == len(files)
        assert before not in seen
        assert digest.of_files(copy) == before


def test_a_module_that_is_moved_renamed_or_added_counts(tmp_path: Path) -> None:
    (tmp_path / "room").mkdir()
    (tmp_path / "a.py").write_text("x = 1\n")
    seen = {digest.of_files(tmp_path)}
    (tmp_path / "a.py").rename(tmp_path / "b.py")
    seen.add(digest.of_files(tmp_path))
    (tmp_path / "b.py").rename(tmp_path / "room" / "b.py")
    seen.add(digest.of_files(tmp_path))
    (tmp_path / "room" / "c.py").write_text("")
    seen.add(digest.of_files(tmp_path))
    assert len(seen) == 4
