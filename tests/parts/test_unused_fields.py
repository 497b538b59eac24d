"""Fields that mean nothing to a part's variant: whatever they hold, the drawn part is the same."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from elbowroom.parts.card.card_support import CardSupport
from elbowroom.parts.card.gpu_mount import GpuMount
from elbowroom.parts.made.bracket import PlateBracket
from elbowroom.parts.made.riser import Riser
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.measure import Mm

OTHERS: dict[str, list[Any]] = {
    "slots": [1, 2], "insert_ends": ["top", "both"], "nut_end": ["foot", "top"], "screw_thread": ["M3", "M5"],
}  # fmt: skip


def others(part: Part, field: str) -> list[Part]:
    """The part with other values of one field, those it can have."""
    value = getattr(part, field)
    tried = OTHERS.get(field) or [Mm(float(40.0 if value is None else value) * k) for k in (0.7, 1.3, 1.02)]
    out = []
    for v in tried:
        try:
            out.append(type(part).model_validate({**{n: getattr(part, n) for n in part.model_fields_set}, field: v}))
        except ValidationError:
            continue
    return out


def sizes(part: Part) -> dict[str, float]:
    """Volume and area of each body as drawn."""
    return {f"{n} {w}": float(getattr(s, w)()) for n, s in part.solids().items() for w in ("Volume", "Area")}


@pytest.mark.slow
@pytest.mark.parametrize(
    "part",
    [
        GpuMount(style="rear"), GpuMount(style="stand"), PlateBracket(stiffening="plain"),
        PlateBracket(stiffening="fillet"), PlateBracket(), CardSupport(), CardSupport(lip=Mm(0)), Riser(),
        Riser(hole="blind"), Riser(hole="male-female"),
    ],
    ids=lambda p: p.family,
)  # fmt: skip
def test_they_change_nothing(part: Part) -> None:
    unused = part.unused_fields()
    assert unused <= set(type(part).model_fields)
    drawn = sizes(part)
    for field in sorted(unused):
        changed = others(part, field)
        assert changed, field
        for other in changed:
            assert other.box() == part.box(), field
            assert sizes(other) == pytest.approx(drawn), field
            assert [f.name for f in other.frames()] == [f.name for f in part.frames()]
            for a, b in zip(other.patterns(), part.patterns(), strict=True):
                assert a.holes == b.holes, field


def test_a_rear_mount_has_no_foot_of_a_stand() -> None:
    assert {"rise", "foot_length", "foot_depth"} <= GpuMount(style="rear").unused_fields()
    assert not {"rise", "foot_length", "foot_depth"} & GpuMount(style="stand").unused_fields()
