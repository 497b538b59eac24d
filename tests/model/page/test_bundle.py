"""The committed scripts are what their sources give."""

from __future__ import annotations

import hashlib
import re
import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
PAGE, TOOLS = ROOT / "model/page", ROOT / ".ci/viewer"
BUNDLES = ("viewer.min.js", "live.min.js")


@pytest.mark.parametrize("name", BUNDLES)
def test_a_bundle_says_that_it_was_made_of_the_sources_as_they_are(name: str) -> None:
    digest = hashlib.sha256()
    for path in (*sorted((PAGE / "viewer").glob("*.js")), TOOLS / "build.mjs", TOOLS / "package-lock.json"):
        digest.update(path.read_bytes())
    made_of = re.search(r"Made of ([0-9a-f]{64})\.", (PAGE / name).read_text(encoding="utf-8"))
    assert made_of is not None
    assert made_of[1] == digest.hexdigest(), "(cd .ci/viewer && npm ci && npm run build)"


@pytest.mark.skipif(
    shutil.which("node") is None or not (TOOLS / "node_modules/esbuild").exists(), reason="npm ci was not run"
)
def test_built_again_the_bundles_are_the_same_bytes(tmp_path: Path) -> None:
    subprocess.run(["node", "build.mjs", str(tmp_path)], cwd=TOOLS, check=True, timeout=120)
    for name in BUNDLES:
        assert (tmp_path / name).read_bytes() == (PAGE / name).read_bytes()
