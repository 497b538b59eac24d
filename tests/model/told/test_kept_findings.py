"""A finding that was kept is the finding: no field of it is forgotten."""

from __future__ import annotations

from dataclasses import MISSING, fields

from elbowroom.model.told.findings import Basis, Finding
from elbowroom.model.told.kept_findings import pack, unpack
from elbowroom.model.told.particulars import AtJoint


def test_every_field_of_a_finding_comes_back() -> None:
    whole = Finding(
        "screw", "fail", ("a", "b"), "text", ("a/x", "b/y"), 1.5, "ml", 2.5, 1.0, 3.0, ((1.0, 2.0, 3.0),),
        Basis("mesh", 0.1, (("a", ("w",)),)), ("mend it",), (("volume_mm3", 4.0),), "place", AtJoint("a", "b", 3),
        "cause", ("effect",), ("care",), "spot", "face", "short",
    )  # fmt: skip
    for f in fields(Finding):
        default = f.default_factory() if f.default_factory is not MISSING else f.default
        assert getattr(whole, f.name) != default, f"{f.name} would not be missed"
    assert unpack(pack([whole])) == [whole]
