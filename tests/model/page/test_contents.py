"""What the page is told is what the terminal and the JSON say, under the same numbers and ids."""

from __future__ import annotations

import json
from typing import Any, get_args

import numpy as np
import pytest

from elbowroom.model import pipeline
from elbowroom.model.geometry.scene import Mesh
from elbowroom.model.page.coarse import COARSE_MM, coarse
from elbowroom.model.pipeline import Checked
from elbowroom.model.store import Store
from elbowroom.model.told.alike import gathered, numbered
from elbowroom.model.told.findings import Finding, Question, report
from elbowroom.model.told.headlines import label
from elbowroom.model.told.verdict_words import QUESTIONS
from elbowroom.model.writers import html, json_report
from elbowroom.model.writers.job import Job


@pytest.fixture(scope="module")
def told(checked: Checked) -> dict[str, Any]:
    store = Store.default()
    job = Job(checked.scene, checked.findings, store.folder, reach=lambda: pipeline.reach_solids(checked, store))
    return html.told(job)[0]


def test_findings_and_pieces_are_those_of_the_json(checked: Checked, told: dict[str, Any]) -> None:
    whole = json.loads(json_report.render(checked.scene, checked.findings))
    by_id = {f["id"]: f for f in told["findings"]}
    assert told["verdict"] == whole["verdict"] == "fails"
    assert [f["id"] for f in told["findings"]] == [f["id"] for f in whole["findings"]]
    for f in whole["findings"]:
        assert f.items() <= by_id[f["id"]].items()
    for own, piece in zip(told["pieces"], whole["pieces"], strict=True):
        assert piece.items() <= own.items()


def test_numbers_and_groups_are_the_terminals(checked: Checked, told: dict[str, Any]) -> None:
    assert told["numbers"] == {f.id: n for n, f in enumerate(numbered(checked.findings), 1)}
    pieces = {p.name: p for p in checked.layout.pieces}
    assert told["groups"] == [[f.id for f in g] for g in gathered(checked.findings, pieces)]
    listed = [i for group in told["groups"] for i in group]
    causes = {f["id"] for f in report("", checked.findings)["findings"] if not f.get("cause")}
    assert set(listed) == causes


def test_every_question_has_words() -> None:
    assert set(QUESTIONS) == set(get_args(Question))


def test_every_field_says_what_it_means_and_what_it_rests_on(told: dict[str, Any]) -> None:
    fan = next(p for p in told["pieces"] if p["name"] == "fan")
    for name in ("size", "depth", "hole_pitch"):
        assert fan["meaning"][name]
        assert fan["fields"][name]["basis"] in told["marks"]
    assert {fan["fields"]["depth"]["basis"]} <= set(told["assumed_marks"])
    assert fan["spot"].startswith("near the floor at the rear")
    assert "rear" in fan["from_walls"]


def test_an_opening_is_where_it_was_asked_for_and_its_way_leads_inside(told: dict[str, Any]) -> None:
    opening = told["openings"]["case.rear"]
    assert opening["at"] == pytest.approx([0, 200 - 85, 90])
    assert opening["inward"] == [1, 0, 0]


def test_the_first_words_say_the_worst_and_where(told: dict[str, Any]) -> None:
    assert told["first"] == "First: one and two run 2.0 mm into each other, near the roof"


def ball(rows: int) -> Mesh:
    """A closed ball of 20 mm."""
    up, round_ = np.linspace(0, np.pi, rows)[1:-1], np.linspace(0, 2 * np.pi, 2 * rows, endpoint=False)
    v = [[0, 0, 20.0], *([20 * np.sin(u) * np.cos(r), 20 * np.sin(u) * np.sin(r), 20 * np.cos(u)]
                         for u in up for r in round_), [0, 0, -20.0]]  # fmt: skip
    n, last = len(round_), len(v) - 1
    t = [[0, 1 + i, 1 + (i + 1) % n] for i in range(n)]
    for k in range(len(up) - 1):
        a, b = 1 + k * n, 1 + (k + 1) * n
        for i in range(n):
            j = (i + 1) % n
            t += [[a + i, b + i, b + j], [a + i, b + j, a + j]]
    t += [[last, 1 + (len(up) - 1) * n + (i + 1) % n, 1 + (len(up) - 1) * n + i] for i in range(n)]
    return Mesh(np.array(v), np.array(t, dtype=np.int32), 0.0, 0.0)


def test_a_coarse_mesh_is_off_by_no_more_than_it_says_and_has_far_fewer_triangles() -> None:
    fine = ball(60)
    found = coarse(fine)
    assert found is not None
    vertices, triangles = found
    assert len(triangles) < len(fine.triangles) / 3
    middles = vertices[triangles].mean(axis=1)  # of a ball's facets these are the farthest from it
    assert np.abs(np.linalg.norm(middles, axis=1) - 20).max() <= COARSE_MM
    assert np.abs(np.linalg.norm(vertices, axis=1) - 20).max() <= 1e-9


def test_where_little_is_saved_there_is_no_coarse_mesh() -> None:
    v = np.array([[x, y, z] for x in (0, 9.0) for y in (0, 9.0) for z in (0, 9.0)])
    t = np.array([[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
                  [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3]], dtype=np.int32)  # fmt: skip
    assert coarse(Mesh(v, t, 0.0, 0.0)) is None


@pytest.mark.parametrize(
    ("question", "verdict", "measured", "required", "words"),
    [
        ("interference", "clash", 9.02, 0.0, "9.0 mm into each other"),
        ("clearance", "tight", 0.96, 1.0, "0.96 mm, 1.0 mm wanted"),
        ("clearance", "touch", 0.0, 1.0, "touches"),
        ("port-reach", "fail", -7.17, 0.0, "7.2 mm in the way"),
        ("screw", "fail", -4.5, 1.0, ""),
        ("tube", "fail", None, None, ""),
    ],
)
def test_a_label_is_the_number_as_the_headline_words_it(
    question: Any, verdict: Any, measured: float | None, required: float | None, words: str
) -> None:
    f = Finding(question, verdict, ("a", "b"), "...", measured=measured, required=required, where=((0, 0, 0),))
    assert label(f) == words
