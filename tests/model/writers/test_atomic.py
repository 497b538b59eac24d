"""All files of an export or none: full disks, bad folders, links, and faults half-way through the renames."""

from __future__ import annotations

import errno
import os
import resource
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from elbowroom.model.build.problems import InputError
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.store import Store
from elbowroom.model.writers import write
from elbowroom.model.writers.atomic import OutputError, Staging, write_file


def everything(folder: Path) -> dict[str, bytes | None]:
    return {str(p.relative_to(folder)): p.read_bytes() if p.is_file() else None for p in sorted(folder.rglob("*"))}


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """A folder with an earlier export and a file of the user's."""
    folder = tmp_path / "out"
    (folder / "stl").mkdir(parents=True)
    for name in ("assembly.step", "report.json", "stl/fan-120x25.stl", "notes.txt"):
        (folder / name).write_text(f"old {name}")
    return folder


@pytest.fixture
def small_disk() -> Iterator[None]:
    """Writes beyond 100 kB into one file fail, as on a full disk (the kernel's own limit, for this process)."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, before[1]))
    yield
    resource.setrlimit(resource.RLIMIT_FSIZE, before)


@pytest.mark.usefixtures("small_disk")
def test_a_disk_that_fills_leaves_the_earlier_files_whole(scene: Scene, old: Path) -> None:
    before = everything(old)
    with pytest.raises(OutputError, match=r"cannot write .*assembly\.glb: .*; the earlier files are unchanged") as e:
        write(scene, [], old, ["json", "bom", "glb"], store=Store.default())
    assert isinstance(e.value, InputError)
    assert everything(old) == before


@pytest.mark.usefixtures("small_disk")
def test_a_failed_export_leaves_no_new_folder(scene: Scene, tmp_path: Path) -> None:
    with pytest.raises(OutputError):
        write(scene, [], tmp_path / "a/b/c", ["glb"], store=Store.default())
    assert everything(tmp_path) == {}


def put(folder: Path, *names: str) -> list[Path]:
    """Write "new" to each name, as one export."""
    with Staging(folder) as staging:
        for name in names:
            staging.add(name, b"new")
        return staging.commit()


class FailsAt:
    """A call that works but for its n-th time."""

    def __init__(self, true: Any, at: int, number: int) -> None:
        self.true, self.left, self.number = true, at, number

    def __call__(self, *args: Any, **more: Any) -> Any:
        self.left -= 1
        if self.left == 0:
            raise OSError(self.number, os.strerror(self.number))
        return self.true(*args, **more)


def no_links(*_: Any, **__: Any) -> None:
    raise OSError(errno.EPERM, "no links here")


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EIO])
@pytest.mark.parametrize("call", ["replace", "fsync", "copy"])
@pytest.mark.parametrize("at", [1, 2, 3])
def test_a_fault_at_any_step_leaves_everything_as_it_was(
    old: Path, monkeypatch: pytest.MonkeyPatch, number: int, call: str, at: int
) -> None:
    before = everything(old)
    if call == "copy":  # on a file system without links the earlier file is copied
        monkeypatch.setattr(os, "link", no_links)
        monkeypatch.setattr(shutil, "copy2", FailsAt(shutil.copy2, at, number))
    else:
        monkeypatch.setattr(os, call, FailsAt(getattr(os, call), at, number))
    with pytest.raises(OutputError) as e:
        put(old, "report.json", "assembly.step", "new/deep/file.txt", "stl/fan-120x25.stl")
    assert os.strerror(number).lower() in str(e.value)
    assert str(e.value).endswith("the earlier files are unchanged")
    assert everything(old) == before


def test_what_cannot_be_put_back_is_named_and_put_back_later(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before, true = everything(old), os.replace
    calls: list[Path] = []

    def dying(source: Path, target: Path) -> None:
        calls.append(target)
        if len(calls) > 2:  # the plan's own, and that of the first file, work
            raise OSError(errno.EIO, "Input/output error")
        true(source, target)

    monkeypatch.setattr(os, "replace", dying)
    with pytest.raises(
        OutputError, match=r"could not be put back: .*report\.json \(its earlier content is in .*\.old\)$"
    ):
        put(old, "report.json", "assembly.step")
    kept = old.rglob("*.old")
    assert "old report.json" in [p.read_text() for p in kept]
    monkeypatch.setattr(os, "replace", true)  # whoever comes next puts it back before anything else
    put(old, "other.txt")
    assert everything(old) == before | {"other.txt": b"new"}


def test_an_interrupt_between_two_renames_puts_all_back(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before, true = everything(old), os.replace
    renamed: list[object] = []

    def interrupted(source: Path, target: Path) -> None:
        true(source, target)
        renamed.append(target)
        if len(renamed) == 3:  # the first is the plan's own
            raise KeyboardInterrupt

    monkeypatch.setattr(os, "replace", interrupted)
    with pytest.raises(KeyboardInterrupt):
        put(old, "report.json", "new.txt", "assembly.step")
    assert everything(old) == before


def test_where_links_are_not_known_a_copy_serves(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = everything(old)
    monkeypatch.setattr(os, "link", no_links)
    put(old, "report.json")
    assert everything(old) == before | {"report.json": b"new"}


def test_success_replaces_and_leaves_nothing_else(old: Path) -> None:
    before = everything(old)
    with Staging(old) as staging:
        staging.add("report.json", b"new")
        staging.add("stl/other.stl", b"more")
        assert (old / "report.json").read_bytes() == b"old report.json"
        assert staging.commit() == [old / "report.json", old / "stl/other.stl"]
    assert everything(old) == before | {"report.json": b"new", "stl/other.stl": b"more"}
    write_file(old / "report.json", b"newer")
    assert everything(old) == before | {"report.json": b"newer", "stl/other.stl": b"more"}


def test_new_files_obey_the_umask(tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        write_file(tmp_path / "a.txt", b"a")
    finally:
        os.umask(before)
    assert (tmp_path / "a.txt").stat().st_mode & 0o777 == 0o640


def test_a_folder_that_cannot_be_is_refused_in_plain_words(tmp_path: Path, scene: Scene) -> None:
    (tmp_path / "file").write_text("mine")
    (tmp_path / "gone").symlink_to(tmp_path / "nowhere")
    for name in ("file", "file/below", "gone", "nul\0l", "x" * 300):
        with pytest.raises(OutputError, match="cannot make the folder"):
            write(scene, [], tmp_path / name, ["json"], store=Store.default())
    assert sorted(p.name for p in tmp_path.iterdir()) == ["file", "gone"]
    assert (tmp_path / "file").read_text() == "mine"


def test_a_folder_without_permission_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(path: Any, *_: Any, **__: Any) -> int:
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(os, "open", refused)
    with pytest.raises(OutputError, match=r"cannot write .*a\.txt: permission denied; the earlier files are unchanged"):
        write_file(tmp_path / "a.txt", b"a")
    assert list(tmp_path.iterdir()) == []


def test_a_target_that_is_a_folder_is_refused_before_anything_moves(old: Path, scene: Scene) -> None:
    (old / "bom.csv").mkdir()
    before = everything(old)
    with pytest.raises(OutputError, match=r"bom\.csv: there is a folder of that name"):
        write(scene, [], old, ["json", "bom"], store=Store.default())
    assert everything(old) == before


def test_no_link_leads_a_file_out_of_the_folder(old: Path, tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "victim.txt").write_text("precious")
    (old / "report.json").unlink()
    (old / "report.json").symlink_to(outside / "victim.txt")
    (old / "out").symlink_to(outside)
    write_file(old / "report.json", b"new")
    assert not (old / "report.json").is_symlink()
    assert (outside / "victim.txt").read_text() == "precious"
    with pytest.raises(OutputError, match="a link that leads out"), Staging(old) as staging:
        staging.add("out/victim.txt", b"new")
    assert everything(outside) == {"victim.txt": b"precious"}
    for name in ("../x", "/etc/x", "a/../../x", "", "a\\..\\x"):
        with pytest.raises(ValueError, match="not a path inside"), Staging(old) as staging:
            staging.add(name, b"new")


def test_a_linked_target_is_put_back_as_a_link(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (old / "bom.csv").symlink_to(old / "notes.txt")
    true = os.replace

    def second_fails(source: Path, target: Path) -> None:
        if Path(target).name == "report.json":
            raise OSError(errno.EIO, "Input/output error")
        true(source, target)

    monkeypatch.setattr(os, "replace", second_fails)
    with pytest.raises(OutputError):
        put(old, "bom.csv", "report.json")
    assert (old / "bom.csv").is_symlink()
    assert (old / "notes.txt").read_text() == "old notes.txt"
    assert sorted(p.name for p in old.iterdir()) == ["assembly.step", "bom.csv", "notes.txt", "report.json", "stl"]
