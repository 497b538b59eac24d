"""The gaps a build wants, for the pieces that are placed.

Owns reading `gaps` against families and pieces, and its faults.
"""

from __future__ import annotations

from collections.abc import Collection

from elbowroom.model.build.entries import Build
from elbowroom.model.build.faults import Faults
from elbowroom.model.build.problems import choices, everyday, shown
from elbowroom.model.layout.layout import Gaps, Piece
from elbowroom.model.layout.wildcard import matches
from elbowroom.parts import FAMILIES


def gaps(build: Build, pieces: Collection[Piece], faults: Faults) -> Gaps:
    """The wanted gaps among these pieces; what is wrong with the words goes to the faults."""
    spec = build.gaps
    pairs: dict[tuple[str, str], float] = {}
    for i, between in enumerate(spec.between):
        for j, family in enumerate(between.families):
            if family not in FAMILIES:
                where = ("gaps", "between", i, "families", j)
                nearest = everyday(family, FAMILIES) or choices(family, FAMILIES, 30)
                faults.add(where, f"no part family {shown(family)}{nearest}")
        a, b = sorted(between.families)
        pairs[a, b] = max(pairs.get((a, b), 0.0), float(between.gap))
    own: dict[str, float] = {}
    for name, gap in spec.parts.items():
        meant = [p.name for p in pieces if matches(p.name, name) or p.answers_to(name)]
        if not meant:
            said = f"no part {shown(name)}{choices(name, [p.name for p in pieces], 30)}"
            faults.add(("gaps", "parts", name), said)
        own.update(dict.fromkeys(meant, float(gap)))
    return Gaps(float(spec.default), pairs, own)
