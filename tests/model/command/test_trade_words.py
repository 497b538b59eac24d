"""Everyday words lead to families that there are."""

from __future__ import annotations

import pytest

from elbowroom.model.command.trade_words import WORDS, families_of
from elbowroom.parts import FAMILIES


def test_every_word_leads_to_families_and_hides_none() -> None:
    assert all(f in FAMILIES for found in WORDS.values() for f in found)
    assert not set(WORDS) & set(FAMILIES)


@pytest.mark.parametrize(
    ("word", "first"),
    [("card", "gpu"), ("Graphics-Card", "gpu"), ("rads", "radiator"), ("mobo", "motherboard"), ("ram", "memory")],
)
def test_words_are_read_in_any_spelling(word: str, first: str) -> None:
    assert families_of(word)[0] == first


def test_an_unknown_word_means_none() -> None:
    assert families_of("teapot") == ()
