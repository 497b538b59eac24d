"""Names by a pattern: the star alone is special, since names of pieces may hold brackets and question marks."""

from __future__ import annotations

import pytest

from elbowroom.model.layout.wildcard import matches


@pytest.mark.parametrize(
    ("name", "pattern", "wanted"),
    [
        ("fan 1", "fan 1", True), ("fan 1", "fan *", True), ("fan 1", "*", True), ("fan 1", "fan", False),
        ("fan 1", "fan ?", False), ("fan ?", "fan ?", True), ("fan ? 1", "fan ? *", True),
        ("fan x 1", "fan ? *", False),
        ("lid [a]", "lid [a]", True), ("lid [a] 2", "lid [a]*", True), ("lid a 2", "lid [a]*", False),
        ("Fan 1", "fan *", False),
    ],
)  # fmt: skip
def test_what_a_pattern_names(name: str, pattern: str, wanted: bool) -> None:
    assert matches(name, pattern) is wanted
