"""Findings gathered by cause: invariants on random findings, and one elbow that stands outside a case."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from elbowroom.model import pipeline
from elbowroom.model.command.verdicts import summary
from elbowroom.model.layout.identity import Entered, Fitted, Port, Screwed
from elbowroom.model.layout.layout import Gaps, Layout, Mate, Piece
from elbowroom.model.store import Store
from elbowroom.model.told.causes import FEW, gathered
from elbowroom.model.told.findings import FAILING, Finding, overall
from elbowroom.model.told.particulars import AtJoint, AtPort
from elbowroom.parts.catalogue import sizes
from elbowroom.parts.fitting.fitting import Fitting
from elbowroom.parts.made.primitives import PlainBox
from elbowroom.parts.screw.screw import Screw
from elbowroom.parts.tube.cable import CableBundle
from elbowroom.parts.vocabulary.pose import IDENTITY

ELBOW = Fitting.model_validate(sizes("fitting")["rotary-90"].fields)
CABLE = CableBundle.model_validate({"points": [(0, 0, 0), (100, 0, 0)]})
WHO = (
    Entered("box"), Entered("other"), Entered("cable"),
    Fitted("elbow", Port("box", "in"), 0, 2), Fitted("collar", Port("box", "in"), 1, 2),
    Screwed("M3 x 10", "box.face", 0), Screwed("M3 x 10", "box.face", 1),
)  # fmt: skip
NAMES = tuple(map(str, WHO))
LINKS = NAMES[3:5]


def layout() -> Layout:
    parts = (PlainBox(), PlainBox(), CABLE, ELBOW, ELBOW, Screw(), Screw())
    room = {3: "fittings", 4: "fittings", 5: "screws", 6: "screws"}
    pieces = tuple(
        Piece(str(w), p, IDENTITY, room.get(i, "parts"), identity=w)
        for i, (w, p) in enumerate(zip(WHO, parts, strict=True))
    )
    mates = (Mate(LINKS[0], "base", "box", "in"), Mate(LINKS[1], "base", LINKS[0], "next"))
    return Layout("t", pieces, mates, Gaps())


def finding(question: str, verdict: str, parts: tuple[str, ...], place: str, depth: float = 1.0) -> Finding:
    about = AtPort("box.in") if question == "port-reach" else AtJoint("box", "face") if question == "screw" else None
    return Finding(question, verdict, parts, f"{question} {place}", measured=depth, place=place, about=about)  # type: ignore[arg-type]


questions = st.sampled_from(
    ["interference", "clearance", "keep-out", "containment", "port-reach", "screw", "hole-alignment", "air", "coolant"]
)
findings = st.lists(
    st.builds(
        finding, questions, st.sampled_from(["clash", "fail", "tight", "unknown", "caution", "pass"]),
        st.lists(st.sampled_from(NAMES), min_size=1, max_size=2, unique=True).map(tuple), st.uuids().map(str),
        st.floats(0, 9),
    ),
    max_size=14,
)  # fmt: skip


@given(findings)
def test_gathering_keeps_every_finding_and_marks_both_ways(before: list[Finding]) -> None:
    after = gathered(before, layout())
    assert [(f.id, f.verdict, f.text, f.parts) for f in after] == [(f.id, f.verdict, f.text, f.parts) for f in before]
    assert overall(after) == overall(before)
    by_id = {f.id: f for f in after}
    for f in after:
        if f.cause is not None:
            assert f.id in by_id[f.cause].effects
            assert f.verdict in FAILING
            assert f.question not in ("air", "coolant")  # no matter of where a thing stands
        for i in f.effects:
            assert by_id[i].cause == f.id
        if f.effects:
            assert f.cause is None
            assert len(f.effects) + 1 >= FEW
    assert gathered(after, layout()) == after


def test_what_leads_is_what_names_the_fault() -> None:
    clashes = [finding("interference", "clash", (LINKS[i % 2], "other"), str(i), 9.0) for i in range(4)]
    outside = [finding("containment", "fail", (name,), "roof") for name in reversed(LINKS)]
    port = finding("port-reach", "fail", ("box",), "in")
    for more, leader in ((outside, outside[1]), ([port], port), ([], None)):
        after = gathered([*clashes, *more], layout())
        (first,) = (f for f in after if f.effects)
        assert len(first.effects) == len(clashes) + len(more) - 1
        if leader is not None:
            assert first.id == leader.id


def test_a_part_in_the_case_with_several_faults_keeps_them_apart() -> None:
    """A box that meets three things has three faults, as it need not be the box that stands wrong."""
    clashes = [finding("interference", "clash", ("other", n), n) for n in ("box", "cable", LINKS[0])]
    assert all(f.cause is None for f in gathered(clashes, layout()))
    out = finding("containment", "fail", ("other",), "front")
    after = gathered([*clashes, out], layout())
    assert after[-1].effects == tuple(f.id for f in after[:-1])


def test_screws_that_are_too_long_lead_what_they_meet_below() -> None:
    met = [finding("interference", "clash", (n, "box"), str(i)) for i, n in enumerate(NAMES[-2:])]
    beside = finding("interference", "clash", (NAMES[-1], "other"), "beside")
    long = finding("screw", "fail", ("box",), "box.face")
    after = gathered([*met, beside, long], layout())
    assert after[-1].effects == tuple(f.id for f in met)
    assert after[2].cause is None


@pytest.mark.slow
def test_an_elbow_outside_the_case_is_one_cause(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A port 8 mm off the rear wall: what is screwed into it stands in the sheet and beyond it."""
    file = tmp_path / "b.yaml"
    file.write_text(
        "title: t\ncase: {interior: {depth: 300, width: 200, height: 300}, board: null, slots: 0, psu: null, "
        "feet: null, open_side: none, cable_space: 0}\n"
        "parts:\n  box: {box: custom, length: 60, width: 60, height: 60, at: {rear: 8, tray: 60, floor: 120}, "
        "turn: {z: 90}, ports: [{name: in, face: left}]}\n"
        "  plate: {box: custom, length: 3, width: 150, height: 200, at: {x: -14, y: 100, z: 50}, outside: true}\n"
        "fittings: {at: {box.in: [extension-20, {fitting: rotary-90, angle: 0}, hard-tube-14]}}\n"
    )
    checked = pipeline.check(file, Store.default())
    failing = [f for f in checked.findings if f.verdict in FAILING]
    causes = [f for f in failing if f.cause is None]
    assert len(failing) > FEW
    assert len(causes) == 1
    assert causes[0].question == "containment"
    summary("t", checked.findings, checked.layout)
    told = capsys.readouterr().out
    assert f"(and {len(failing) - 1} that follow from it)" in told
    assert sum("✖" in line for line in told.splitlines()) == 1
    summary("t", checked.findings, checked.layout, every=True)
    told = capsys.readouterr().out
    assert all(f.text in told for f in failing)
