"""The page for those who see it otherwise or not at all: axe-core's rules, in light and dark, in each of its states."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe

STATES = {
    "as it opens": (),
    "all findings": ("#verdicts .good",),
    "a finding": ("#findings button[data-id] >> nth=0",),
    "a part": ("#tab-parts", "#parts .name >> nth=0"),
    "layers": (
        "#tab-layers",
        "#layer-air",
        "#layer-assumed",
        "#layer-keepOuts",
        "#layer-reach",
        "#layers summary >> nth=0",
    ),
    "a cut": ("[data-drawer=cut]",),
    "measuring": ("[data-drawer=measure]",),
    "looking from": ("[data-drawer=from]",),
    "the keys": ("#help",),
}


@pytest.mark.slow
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [(1280, 800), (390, 844)])
def test_no_rule_of_axe_is_broken(opened: Callable[..., Any], small: Path, scheme: str, size: tuple[int, int]) -> None:
    axe, broken = Axe(), []
    it = opened(small, *size, color_scheme=scheme)
    for state, clicks in STATES.items():
        it.page.reload()
        it.page.wait_for_selector("html[data-ready]")
        for click in clicks:
            if it.page.locator(click).is_visible():
                it.page.locator(click).click()
        found = axe.run(it.page).response
        assert len(found["passes"]) > 15, "axe did not look"
        broken += [
            f"{state}: {v['id']} ({v['impact']}): {n['target']} {n['failureSummary']}"
            for v in found["violations"]
            for n in v["nodes"]
            if v["impact"] in ("serious", "critical")
        ]
    assert broken == []
