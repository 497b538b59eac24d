"""The window of safe lengths a finding tells is that of the screw as it stands, with the washers it stands on.

Worked by hand: a washer of M3 is 0.5 mm thick (ISO 7089) with its own tolerance, so that each moves the window up by as
much and narrows it by twice the tolerance. Whether a length is safe is then asked of the same build with that screw.
"""

from __future__ import annotations

from typing import Any

import pytest

from elbowroom.model.screws import lengths as check
from elbowroom.model.tolerances import CONTACT_MM
from elbowroom.parts.screw.screw_tables import stock, washer
from tests.model.screws.test_joints import THREAD, block, fastened

LID = "{face: bottom, at: [0, 0], diameter: 3.4}"


def finding(words: str, base: str = THREAD, lid: str = LID) -> dict[str, Any]:
    (found,) = check.check(fastened(block(base, lid, words)).chosen)
    return dict(found.extra) | {"verdict": found.verdict}


def stated(length: float, washers: int) -> str:
    return f"screws: {{use: {{base.top: {{screw: M3x{length:g}, washers: {washers}}}}}}}\n"


@pytest.mark.parametrize("washers", [0, 1, 3])
def test_the_window_is_that_of_the_washers_under_the_head(washers: int) -> None:
    told = finding(stated(10, washers))
    assert told["washers"] == washers
    bare, size = finding(stated(10, 0)), washer("M3")
    assert told["safe_from"] - bare["safe_from"] == pytest.approx(washers * (0.5 + size.plus_minus), abs=0.05)
    up = told["safe_to"] - bare["safe_to"]  # the end that is kept by nominal sizes moves by the whole thickness
    assert washers * (0.5 - size.plus_minus) - 0.05 <= up <= washers * 0.5 + 0.05
    for length in [n for n in stock("M3").all() if abs(n - told["safe_from"]) < 4 or abs(n - told["safe_to"]) < 4]:
        as_stated = finding(stated(length, washers))
        assert (as_stated["word"] == "safe") == (length in told["safe_lengths"])
        if abs(length - told["safe_from"]) > 0.05 and abs(length - told["safe_to"]) > CONTACT_MM:
            assert (length in told["safe_lengths"]) == (told["safe_from"] < length < told["safe_to"])


def test_what_is_chosen_lies_in_its_own_window() -> None:
    seen = set()
    for deep in (5, 6, 7, 8):
        told = finding("", THREAD.replace("depth: 10", f"depth: {deep}"))
        length = float(told["screw"].split(" x ")[1])
        assert told["safe_from"] <= length <= told["safe_to"]
        assert told["safe_lengths"][0] == length
        assert (told["buy"], told["buy_washers"]) == (told["screw"], told["washers"])
        seen.add(told["washers"])
    assert len(seen) > 2
