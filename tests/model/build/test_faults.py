"""The collector of faults: all of them, each at its line, in the order of the file, and none twice."""

from __future__ import annotations

import pytest
from pydantic import BaseModel, ValidationError

from elbowroom.model.build.faults import Faults
from elbowroom.model.build.problems import BuildError
from elbowroom.model.build.source import parse

TEXT = "title: t\nparts:\n  a: {box: custom}\n  b: {box: custom}\n"


class Sized(BaseModel):
    width: float


def test_all_faults_come_out_at_once_in_the_order_of_the_file() -> None:
    faults = Faults(parse(TEXT, "b.yaml"))
    assert not faults
    faults.stop()
    faults.add(("parts", "b"), "second")
    faults.add(("parts", "a"), "first")
    faults.add(("parts", "b"), "second")
    try:
        Sized.model_validate({"width": "wide"})
    except ValidationError as e:
        faults.invalid(e, ("parts", "b"), {"width": "wide"}, Sized)
    faults.take([faults.document.problem(("title",), "from elsewhere")])
    assert faults
    with pytest.raises(BuildError) as raised:
        faults.stop()
    told = [(p.mark.line, p.path, p.message) for p in raised.value.problems]
    assert [t[0] for t in told] == [1, 3, 4, 4]
    assert [t[2] for t in told[:2]] == ["from elsewhere", "first"]
    assert told[3][1] == ("parts", "b", "width")
