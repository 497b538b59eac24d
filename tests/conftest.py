"""What holds for every test: none reads or fills a person's own cache, and shapes drawn by one are there for the next.

The cache is a folder of this run's own, shared by its worker processes, which take their environment from the first.
From run to run only compiled code is kept, in the virtual environment: the machine code of the planner's loops, and
Python's own where it may not stand beside its sources. Else each worker would compile the loops before its first test,
and each of the hundreds of commands that are run the whole project. Both name their sources by time and size.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from elbowroom.model.store import Store

_OWN = pytest.StashKey[str]()

# How long an example takes depends on what else the machine does: no reason to fail.
settings.register_profile("here", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("here")


def pytest_configure(config: pytest.Config) -> None:
    if "PYTEST_XDIST_WORKER" not in os.environ:
        config.stash[_OWN] = tempfile.mkdtemp(prefix="elbowroom-tests-")
        os.environ["ELBOWROOM_CACHE"] = config.stash[_OWN]
        if sys.prefix != sys.base_prefix:
            _keep_compiled(Path(sys.prefix) / "compiled", Path(config.stash[_OWN]))


def _keep_compiled(folder: Path, cache: Path) -> None:
    kernels = folder / "kernels"
    kernels.mkdir(mode=0o700, parents=True, exist_ok=True)  # code from a folder others can write to is not run
    (cache / "kernels").symlink_to(kernels)
    if os.environ.pop("PYTHONDONTWRITEBYTECODE", None):
        sys.dont_write_bytecode = False
        sys.pycache_prefix = os.environ["PYTHONPYCACHEPREFIX"] = str(folder / "python")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Tests of whole demos come first: all in one process, so that none is worked out in both at once."""
    items.sort(key=lambda item: item.get_closest_marker("demos") is None)


def pytest_unconfigure(config: pytest.Config) -> None:
    if _OWN in config.stash:
        shutil.rmtree(config.stash[_OWN], ignore_errors=True)


@pytest.fixture(scope="module")
def store() -> Store:
    """The run's cache, with a memory of this module's own. What must begin with an empty one makes its own."""
    return Store.default()
