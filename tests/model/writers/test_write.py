"""The export as a whole: the same build gives the same bytes, and formats can be chosen."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType

import pytest

from elbowroom.model.build.problems import InputError
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.store import Store
from elbowroom.model.writers import FORMATS, chosen, write


def contents(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_two_fresh_processes_write_the_same_bytes(written: Path, written_again: Path) -> None:
    first, second = contents(written), contents(written_again)
    assert set(first) == {
        "assembly.step", "assembly.stl", "assembly.glb", "report.json", "bom.csv", "page.html",
        "stl/fan-120x25.stl", "stl/fan-120x25-padded.stl", "stl/bracket-30x15x30.stl", "stl/cylinder-60x60x120.stl",
        "stl/box-100x60x40.stl", "stl/box-100x60x40-2.stl",
    }  # fmt: skip
    assert [n for n in first if first[n] != second[n]] == []
    assert set(first) == set(second)


@pytest.mark.slow
def test_a_process_that_wrote_before_writes_the_same_bytes(
    written: Path, scene: Scene, scenes: ModuleType, tmp_path: Path
) -> None:
    for folder in ("one", "two"):
        result = write(scene, scenes.findings(), tmp_path / folder, keep_outs=True, store=Store.default())
        assert contents(tmp_path / folder) == contents(written)
        assert sorted(result.paths) == sorted(p for p in (tmp_path / folder).rglob("*") if p.is_file())
        assert result.notes == []


def test_only_the_chosen_formats_are_written(scene: Scene, tmp_path: Path) -> None:
    seen: list[tuple[int, int, str]] = []
    result = write(scene, [], tmp_path, chosen(" JSON,bom "), lambda *step: seen.append(step), store=Store.default())
    assert [p.name for p in result.paths] == ["report.json", "bom.csv"]
    assert sorted(p.name for p in tmp_path.iterdir()) == ["bom.csv", "report.json"]
    assert [(i, n) for i, n, _ in seen] == [(0, 2), (1, 2), (2, 2)]


@pytest.mark.parametrize(("only", "said"), [("step,gbl", '"gbl"; nearest: "glb"; known: bom,'), (" , ", "no format")])
def test_an_unknown_format_is_refused_before_anything_is_written(only: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        chosen(only)
    assert chosen(None) == tuple(n for n in FORMATS if n not in {"reach", "steps"})  # written when named alone
