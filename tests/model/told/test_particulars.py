"""What findings are about survives being kept, and is told under the keys that scripts read."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from elbowroom.model.told.findings import Finding, led
from elbowroom.model.told.kept_findings import pack, unpack
from elbowroom.model.told.particulars import About, AtJoint, AtPort, BetweenPorts, Fingers, InSlot, unpacked

names = st.text(min_size=1, max_size=5)
degrees = st.integers(0, 359)
fingers = st.builds(Fingers, degrees, st.lists(st.tuples(degrees, degrees), max_size=3).map(tuple), st.booleans())
abouts: st.SearchStrategy[About | None] = st.none() | st.one_of(
    st.builds(
        AtPort, names, st.sampled_from(["", "open", "covered", "taken"]),
        st.none() | st.lists(names, max_size=3).map(tuple),
        st.none() | st.lists(st.tuples(degrees, degrees), max_size=3).map(tuple),
        st.none() | st.lists(fingers, max_size=3).map(tuple),
    ),
    st.builds(BetweenPorts, st.tuples(names, names), st.tuples(names, names)),
    st.builds(AtJoint, names, names, st.none() | st.integers(0, 9)),
    st.builds(InSlot, st.lists(names, max_size=3).map(tuple)),
)  # fmt: skip


@given(abouts, st.lists(names, max_size=2).map(tuple), names)
def test_a_kept_finding_is_the_finding(about: About | None, care: tuple[str, ...], spot: str) -> None:
    one = Finding("loop", "fail", ("a",), "t", about=about, take_care=care, spot=spot)
    two = Finding("loop", "fail", ("b",), "u", place="x", joint_face="up")
    found = [one, *led(two, [one])]
    assert unpack(pack(found)) == found


@pytest.mark.parametrize("values", [[], ["port"], ["port", 3], ["none such", {}], ["port", {"prot": "a"}], 7])
def test_what_was_kept_otherwise_is_no_finding(values: object) -> None:
    with pytest.raises((ValueError, TypeError, KeyError)):
        unpacked(values)


def test_the_keys_that_scripts_read() -> None:
    collar = Fingers(1, ((0, 90),), False)
    chosen = Finding("port-reach", "caution", ("a",), "t", about=AtPort("a.in", "open", None, ((1, 45),), (collar,)))
    told = chosen.to_json()
    assert told["port"] == "a.in"
    assert told["state"] == "open"
    assert told["posture"] == {"1": 45}
    assert told["fingers"] == [{"link": 1, "sides": [[0, 90]], "hand": False}]
    assert "fittings" not in told
    free = Finding("port-reach", "caution", ("a",), "t", about=AtPort("a.in", "open", ())).to_json()
    assert free["fittings"] == []
    assert not {"posture", "fingers", "cause", "effects", "take_care", "place", "joint_face"} & set(free)
    screws = Finding("screw", "pass", ("a",), "t", about=AtJoint("a", "top", 0), spot="near the roof", take_care=("c",))
    assert {k: screws.to_json()[k] for k in ("joint", "count", "place", "take_care")} == {
        "joint": "a.top", "count": 0, "place": "near the roof", "take_care": ["c"],
    }  # fmt: skip
    cause, effect = led(screws, [chosen])
    assert cause.to_json()["effects"] == [chosen.id]
    assert effect.to_json()["cause"] == screws.id
