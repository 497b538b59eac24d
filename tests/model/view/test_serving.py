"""The page's server: who is answered and who is not, what may come in, and what becomes of it."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from elbowroom.model.view.room import Room
from elbowroom.model.view.serving import MOST_BODY, application
from tests.model.builds_for_tests import SMALL

TOKEN, TICKET, PORT = "t" * 32, "k" * 32, 8123
HERE = f"http://127.0.0.1:{PORT}"
OWN = {"Origin": HERE, "X-Elbowroom-Token": TOKEN}
PATH = ["parts", "crate", "height"]


class Noted:
    """In place of a process that checks: what it is asked is noted, and a test answers as it would."""

    def __init__(self, stage: str, file: Path, heard: Callable[[str, dict[str, Any], bytes], None]) -> None:
        self.stage, self.heard, self.asked, self.busy_for, self.ended = stage, heard, [], None, 0

    def ask(self, kind: str, told: dict[str, Any]) -> None:
        self.asked.append((kind, told))
        if kind == "piece":
            self.heard("piece", {"n": told["n"], "name": told["name"], "numbers": []}, b"")

    def end(self) -> None:
        self.ended += 1


@pytest.fixture
def file(tmp_path: Path) -> Path:
    file = tmp_path / "small.yaml"
    file.write_text(SMALL, encoding="utf-8")
    (tmp_path / "other.txt").write_text("not for others")
    return file


@pytest.fixture
def room(file: Path) -> Room:
    return Room(file, Noted)  # type: ignore[arg-type]


@pytest.fixture
def page(room: Room) -> TestClient:
    return TestClient(application(room, lambda: PORT, TOKEN, TICKET), base_url=HERE, follow_redirects=False)


def change(page: TestClient, value: str = "355", **words: Any) -> Any:
    return page.post(f"/{TOKEN}/change", json={"path": PATH, "value": value, **words}, headers=OWN)


def test_the_page_is_one_text_with_a_policy_that_knows_this_server_alone(page: TestClient) -> None:
    answer = page.get(f"/{TOKEN}/")
    assert answer.status_code == 200
    assert "connect-src &#x27;self&#x27;" in answer.text
    assert "default-src &#x27;none&#x27;" in answer.text
    assert "unsafe" not in answer.text.split("<style>")[0]
    for name, value in (("x-frame-options", "DENY"), ("referrer-policy", "no-referrer"), ("cache-control", "no-store"),
                        ("cross-origin-resource-policy", "same-origin")):  # fmt: skip
        assert answer.headers[name] == value
    assert "access-control-allow-origin" not in answer.headers


@pytest.mark.parametrize(
    "path",
    ["/", "/x/", f"/{TOKEN[:-1]}/", f"/{TOKEN}x/", "/state", "/open/", "/open/wrong", f"/{TOKEN}/other.txt",
     f"/{TOKEN}/../other.txt", f"/{TOKEN}/%2e%2e/other.txt", f"/{TOKEN}/model/../../other.txt", f"/{TOKEN}/model/-1",
     f"/{TOKEN}//etc/passwd", f"/{TOKEN}/small.yaml", f"/{TOKEN}/viewer.css", f"/{TOKEN}"],
)  # fmt: skip
def test_without_the_token_and_beyond_its_own_answers_there_is_nothing(page: TestClient, path: str) -> None:
    answer = page.get(path)
    assert answer.status_code == 404
    assert "not for others" not in answer.text


@pytest.mark.parametrize("host", ["evil.example", f"evil.example:{PORT}", "127.0.0.1", "127.0.0.1:1", f"[::1]:{PORT}"])
def test_another_name_for_this_machine_is_not_answered(page: TestClient, host: str) -> None:
    """A page elsewhere can have its own name lead here (DNS rebinding); the name it asks by gives it away."""
    assert page.get(f"/{TOKEN}/state", headers={"Host": host}).status_code == 421


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", f"http://127.0.0.1:{PORT + 1}", f"https://127.0.0.1:{PORT}"]
)
def test_another_page_is_not_answered_even_with_the_token(page: TestClient, room: Room, origin: str) -> None:
    assert page.get(f"/{TOKEN}/state", headers={"Origin": origin}).status_code == 403
    body = {"path": PATH, "value": "355"}
    assert page.post(f"/{TOKEN}/change", json=body, headers=OWN | {"Origin": origin}).status_code == 403
    assert page.options(f"/{TOKEN}/change", headers={"Origin": origin}).status_code == 403
    assert room.desk.text == SMALL


def test_what_another_page_embeds_is_not_answered_but_a_person_may_come_from_anywhere(page: TestClient) -> None:
    across = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Dest": "script"}
    assert page.get(f"/{TOKEN}/state", headers=across).status_code == 403
    assert page.get(f"/{TOKEN}/", headers=across | {"Sec-Fetch-Dest": "iframe"}).status_code == 403
    assert page.get(f"/{TOKEN}/", headers=across | {"Sec-Fetch-Dest": "document"}).status_code == 200


@pytest.mark.parametrize("missing", ["Origin", "X-Elbowroom-Token"])
def test_a_change_needs_the_token_in_a_header_and_to_come_from_the_page(
    page: TestClient, room: Room, missing: str
) -> None:
    """A form of another page can send neither; only a script of this page sets the header."""
    headers = {k: v for k, v in OWN.items() if k != missing}
    for name in ("change", "undo", "redo", "drop", "write"):
        assert page.post(f"/{TOKEN}/{name}", json={"path": PATH, "value": "1"}, headers=headers).status_code == 403
    assert page.post(f"/{TOKEN}/change", json={}, headers=OWN | {"X-Elbowroom-Token": "t" * 31}).status_code == 403
    assert room.desk.text == SMALL


def test_a_change_is_not_asked_for_by_looking(page: TestClient) -> None:
    for name in ("change", "write", "undo"):
        assert page.get(f"/{TOKEN}/{name}").status_code == 405


def test_the_way_in_from_a_command_line_is_open_once(page: TestClient) -> None:
    first = page.get(f"/open/{TICKET}")
    assert (first.status_code, first.headers["location"]) == (303, f"/{TOKEN}/")
    again = page.get(f"/open/{TICKET}")
    assert again.status_code == 404
    assert TOKEN not in again.text


@pytest.mark.parametrize(
    ("body", "status"),
    [(b"", 400), (b"{", 400), (b"[]", 400), (b"\xff", 400), (b"[" * 30_000, 400), (b"1" * (MOST_BODY + 1), 413),
     (b'{"path": [], "value": "1"}', 400), (b'{"path": "parts", "value": "1"}', 400),
     (b'{"path": [true], "value": "1"}', 400), (b'{"path": [["a"]], "value": "1"}', 400),
     (b'{"path": ["parts"], "value": 1}', 400), (b'{"path": ["parts"]}', 400),
     (b'{"path": ["title"], "value": "' + b"x" * 401 + b'"}', 400)],
    ids=range(13),
)  # fmt: skip
def test_what_is_no_change_is_told_and_changes_nothing(page: TestClient, room: Room, body: bytes, status: int) -> None:
    answer = page.post(f"/{TOKEN}/change", content=body, headers=OWN | {"Content-Type": "application/json"})
    assert answer.status_code == status
    assert answer.json()["said"]
    assert room.desk.text == SMALL


def test_only_json_comes_in(page: TestClient) -> None:
    """What a form can send without asking first is not taken for it."""
    answer = page.post(f"/{TOKEN}/undo", content=b"{}", headers=OWN | {"Content-Type": "text/plain"})
    assert answer.status_code == 415


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [(PATH, "abc", "expected a number in mm"), (PATH, "-5", "more than 0.1"), (PATH, "", "nothing is written"),
     (PATH, "1\x1b", "U+001B"), (["parts", "crate", "hieght"], "3", "nearest"), (["parts"], "3", "several lines"),
     (["stacks", "roof", "layers", 7, "slide"], "3", "no item")],
)  # fmt: skip
def test_a_number_that_cannot_stand_there_is_refused_with_what_was_expected(
    page: TestClient, room: Room, path: list[str | int], value: str, said: str
) -> None:
    answer = page.post(f"/{TOKEN}/change", json={"path": path, "value": value}, headers=OWN)
    assert answer.status_code in (409, 422)
    assert said in answer.json()["said"]
    assert room.desk.text == SMALL


def test_a_change_is_checked_at_once_and_its_difference_told(page: TestClient, room: Room) -> None:
    state = change(page).json()
    assert state["stage"] == "checking"
    assert state["undo"] == "parts.crate.height: 100 → 355"
    kind, told = room._first.asked[-1]  # type: ignore[attr-defined]
    assert kind == "look"
    assert told["text"] == SMALL.replace("height: 100", "height: 355")
    assert any("height: 355" in line for line in state["unsaved"])
    assert room.desk.file.read_text() == SMALL
    assert page.post(f"/{TOKEN}/undo", json={}, headers=OWN).json()["unsaved"] == []
    assert page.post(f"/{TOKEN}/redo", json={}, headers=OWN).json()["digest"] == state["digest"]


def test_writing_is_refused_where_the_file_was_changed_or_the_difference_is_another(
    page: TestClient, room: Room, file: Path
) -> None:
    digest = change(page).json()["digest"]
    file.write_text(SMALL + "# another's\n")
    answer = page.post(f"/{TOKEN}/write", json={"shown": digest}, headers=OWN)
    assert answer.status_code == 409
    assert "changed on the disk" in answer.json()["said"]
    assert file.read_text() == SMALL + "# another's\n"
    file.write_text(SMALL)
    assert page.post(f"/{TOKEN}/write", json={"shown": "x"}, headers=OWN).status_code == 409
    assert page.post(f"/{TOKEN}/write", json={}, headers=OWN).status_code == 400
    assert page.post(f"/{TOKEN}/write", json={"shown": digest}, headers=OWN).status_code == 200
    assert file.read_text() == SMALL.replace("height: 100", "height: 355")


def test_an_answer_to_words_that_have_changed_since_is_not_shown(page: TestClient, room: Room) -> None:
    room.look()
    first: Any = room._first
    old = first.asked[-1][1]["n"]
    change(page)
    first.heard("first", {"n": old, "changes": [], "verdict": "fits"}, json.dumps({}).encode())
    state = page.get(f"/{TOKEN}/state").json()
    assert state["stage"] == "checking"
    assert state["model"] == {}
    n = first.asked[-1][1]["n"]
    first.heard("first", {"n": n, "changes": [], "verdict": "fails"}, b"[1]")
    first.heard("model", {"n": n, "stage": "first"}, b'{"a": 1}')
    state = page.get(f"/{TOKEN}/state").json()
    assert (state["stage"], state["found"]["verdict"]) == ("first", "fails")
    assert page.get(f"/{TOKEN}/model/{state['model']['number']}").json() == {"a": 1}
    assert room._whole.asked[-1][1]["text"] == room.desk.text  # type: ignore[attr-defined]
    change(page, "360")
    assert first.asked[-1][1]["before"] == "[1]"  # what changes are told against


def test_a_mistake_and_a_lost_process_leave_the_last_good_model(page: TestClient, room: Room) -> None:
    room.look()
    first: Any = room._first
    n = first.asked[-1][1]["n"]
    first.heard("first", {"n": n, "changes": [], "verdict": "fits"}, b"[]")
    first.heard("model", {"n": n, "stage": "first"}, b"{}")
    room.look()
    problem = {"line": 2, "column": 8, "path": "title", "said": "expected text"}
    first.heard("wrong", {"n": first.asked[-1][1]["n"], "problems": [problem]}, b"")
    state = page.get(f"/{TOKEN}/state").json()
    assert state["stage"] == "wrong"
    assert state["problems"] == [problem | {"text": "title: small"}]
    assert (state["model"]["number"], state["found"]["verdict"]) == (1, "fits")
    room.look()
    first.heard("lost", {"said": "it crashed"}, b"")
    state = page.get(f"/{TOKEN}/state").json()
    assert (state["stage"], state["lost"], state["model"]["number"]) == ("lost", "it crashed", 1)


def test_a_piece_s_numbers_are_asked_of_the_words_as_they_are_now(page: TestClient, room: Room) -> None:
    change(page)
    assert page.get(f"/{TOKEN}/piece", params={"name": "crate"}).json()["name"] == "crate"
    kind, told = room._first.asked[-1]  # type: ignore[attr-defined]
    assert (kind, told["name"], told["text"]) == ("piece", "crate", room.desk.text)


def test_a_change_that_comes_while_a_piece_is_asked_about_is_looked_at_after_it(page: TestClient, room: Room) -> None:
    room.look()
    first: Any = room._first
    first.heard("model", {"n": first.asked[-1][1]["n"], "stage": "first"}, b"{}")
    first.busy_for = 0.1  # with a piece
    change(page)
    assert first.asked[-1][1]["text"] == SMALL
    first.busy_for = None
    first.heard("piece", {"n": "piece 1", "name": "crate", "numbers": []}, b"")
    assert first.asked[-1][1]["text"] == room.desk.text
