"""The public Python side: the same answer as the command's, what changed between two looks, and never a stale one."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from elbowroom import BuildError, Session, check
from elbowroom.model.build.problems import InputError
from tests.model.builds_for_tests import SMALL

# Places, a dimension, a wanted gap, a thickness: each moves other verdicts.
EDITS: dict[str, list[object]] = {
    "parts.drive.at.rear": [100, 170, 215],
    "parts.crate.height": [100, 290, 355],
    "case.interior.height": [420, 380],
    "stacks.roof.layers.0.fan": ["fan-120x25", "fan-120x15"],
    "gaps.default": [1, 6],
}


@pytest.fixture
def build(tmp_path: Path) -> Path:
    file = tmp_path / "small.yaml"
    file.write_text(SMALL)
    return file


@pytest.mark.slow
def test_the_answer_is_the_command_s(build: Path) -> None:
    answer = check(build)
    done = subprocess.run([sys.executable, "-m", "elbowroom", "check", str(build), "--json", "-"], capture_output=True)
    assert answer.json() == done.stdout
    assert {"fits": 0, "fails": 1, "unknown": 3}[answer.verdict] == done.returncode
    assert answer.title == "small"


def test_bodies_stand_where_the_build_puts_them(build: Path) -> None:
    bodies = {b.name: b for b in check(build).bodies()}
    crate = bodies["crate/body"]
    low, high = crate.vertices.min(axis=0), crate.vertices.max(axis=0)
    assert np.allclose(high - low, (80, 60, 100))  # flat faces: exact but for the rounding of doubles
    assert np.isclose(low[2], 0.0)
    assert len({b.name for b in bodies.values()}) == len(bodies)
    assert crate.triangles.max() < len(crate.vertices)


def test_a_change_says_what_became_of_each_finding(build: Path) -> None:
    session = Session(build)
    first = session.check()
    assert first.changes == ()
    raised = session.check({"parts.crate.height": 380})
    worse = {c.id: c for c in raised.changes}
    clash = next(c for i, c in worse.items() if i.startswith("interference:") and "crate" in i and "top/" in i)
    assert clash.now is not None
    assert clash.now.verdict == "clash"
    assert raised.verdict == "fails"
    back = session.check()
    assert back.json() == first.json()
    assert any(c.what == "gone" or (c.now and c.now.verdict != "clash") for c in back.changes if c.id == clash.id)
    assert session.check().changes == ()


def test_a_saved_file_counts_at_the_next_look(build: Path) -> None:
    session = Session(build)
    session.check()
    build.write_text(SMALL.replace("height: 100,", "height: 380,"))
    assert session.check().verdict == "fails"


def test_a_fault_of_a_change_is_told_and_leaves_the_session_as_it_was(build: Path) -> None:
    session = Session(build)
    before = session.check().json()
    with pytest.raises(BuildError, match=r"hieght.*nearest"):
        session.check({"parts.crate.hieght": 3})
    with pytest.raises(InputError, match="text, a number"):
        session.check({"parts.crate.height": object()})
    again = session.check()
    assert again.json() == before
    assert again.changes == ()


@pytest.mark.slow
@settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.sampled_from([(k, v) for k, vs in EDITS.items() for v in vs]), min_size=2, max_size=5))
def test_no_answer_of_a_session_is_stale(
    build: Path, tmp_path_factory: pytest.TempPathFactory, edits: list[tuple[str, object]]
) -> None:
    """Warm, after other edits, equals cold: a cache folder that nothing was ever kept in."""
    session, changes = Session(build), dict[str, object]()
    for path, value in edits:
        changes[path] = value
        warm = session.check(changes)
    cold = check(build, changes, cache=tmp_path_factory.mktemp("cold"))
    assert warm.json() == cold.json()


def test_importing_the_package_loads_nothing_heavy() -> None:
    script = "import sys, elbowroom; print(sorted({'numpy', 'pydantic', 'cadquery', 'coal'} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", script], capture_output=True, text=True).stdout == "[]\n"


def test_a_look_at_words_that_are_not_saved_leaves_the_file_out_of_it(build: Path) -> None:
    session = Session(build)
    raised = session.check(text=SMALL.replace("height: 100,", "height: 380,"))
    assert raised.json() == Session(build).check({"parts.crate.height": 380}).json()
    assert build.read_text() == SMALL
    with pytest.raises(BuildError, match=f"{build}:14:"):
        session.check(text=SMALL.replace("height: 100,", "height: 38O,"))


def test_a_change_says_whether_it_is_for_the_better_and_by_how_much(build: Path) -> None:
    session = Session(build)
    session.check({"parts.crate.height": 370})
    deeper = session.check({"parts.crate.height": 372}).changes
    clash = next(c for c in deeper if c.id.startswith("interference:crate/body~top/") and c.what == "number")
    assert clash.better is False
    assert clash.by == pytest.approx(-2.0, abs=1e-3)  # mm; the height went up by two
    back = {c.id: c for c in session.check().changes}
    gone = [c for c in back.values() if c.was is not None and c.was.verdict == "clash"]
    assert gone
    assert all(c.better for c in gone)
    near = {c.id: c for c in session.check({"gaps.default": 50}).changes}
    tight = next(c for c in near.values() if c.now is not None and c.now.verdict == "tight")
    assert tight.better is False
    nearer = {c.id: c for c in session.check({"gaps.default": 50, "parts.crate.at.rear": 240}).changes}
    moved = [c for c in nearer.values() if c.what == "number" and c.now is not None and c.now.verdict == "tight"]
    assert all(
        c.better is not None and (c.better == (c.now.measured > c.was.measured)) for c in moved if c.now and c.was
    )
    assert moved


def test_what_is_well_before_and_after_is_neither_better_nor_worse(build: Path) -> None:
    session = Session(build)
    session.check()
    moved = session.check({"parts.drive.at.rear": 101}).changes
    assert moved
    assert all(c.better is None and c.by is None for c in moved)


def test_the_outlook_is_what_check_tells_early_and_all_of_it_fails_in_the_end(build: Path) -> None:
    session, told = Session(build), []
    change = {"parts.crate.height": 380}
    outlook = session.outlook(change)
    answer = session.check(change, early=told.append)
    assert [f.id for f in outlook.failing] == [f.id for f in told[0]]
    assert outlook.failing
    assert {f.id for f in outlook.failing} <= {f.id for f in answer.findings}
    better = session.outlook().changes
    assert {c.id for c in better} == {f.id for f in outlook.failing}
    assert all(c.better for c in better)
