"""What holds for every test: none reads or fills a person's own cache, and shapes drawn by one are there for the next.

The cache is a folder of this run's own, shared by its worker processes, which take their environment from the first.
"""

from __future__ import annotations

import os
import shutil
import tempfile

import pytest

_OWN = pytest.StashKey[str]()


def pytest_configure(config: pytest.Config) -> None:
    if "PYTEST_XDIST_WORKER" not in os.environ:
        config.stash[_OWN] = tempfile.mkdtemp(prefix="elbowroom-tests-")
        os.environ["ELBOWROOM_CACHE"] = config.stash[_OWN]


def pytest_unconfigure(config: pytest.Config) -> None:
    if _OWN in config.stash:
        shutil.rmtree(config.stash[_OWN], ignore_errors=True)
