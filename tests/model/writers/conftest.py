"""One scene, and what two fresh processes with different hash seeds wrote of it."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from elbowroom.model.geometry.scene import Scene

HERE = Path(__file__).parent


def _load() -> ModuleType:
    spec = importlib.util.spec_from_file_location("writer_scenes", HERE / "scenes.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["writer_scenes"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def scenes() -> ModuleType:
    return _load()


@pytest.fixture(scope="session")
def scene(scenes: ModuleType) -> Scene:
    made: Scene = scenes.small()
    return made


def fresh(folder: Path, seed: str, *more: str) -> Path:
    """Write the small scene in a process of its own."""
    subprocess.run(
        [sys.executable, str(HERE / "scenes.py"), str(folder), *more],
        env=os.environ | {"PYTHONHASHSEED": seed}, check=True, timeout=120, cwd=folder.parent,
    )  # fmt: skip
    return folder


@pytest.fixture(scope="session")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small scene in every format, keep-outs included, from a fresh process."""
    return fresh(tmp_path_factory.mktemp("first") / "out", "1", "keep-outs")


@pytest.fixture(scope="session")
def written_again(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same from another process, another hash seed and another folder."""
    return fresh(tmp_path_factory.mktemp("second") / "out", "4242", "keep-outs")
