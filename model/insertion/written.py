"""The steps of a build as files: the words, and as JSON.

Owns the form of the JSON. Its words are `telling`'s.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import numpy as np

from elbowroom.model.insertion import Assembly
from elbowroom.model.insertion.items import Fastening
from elbowroom.model.insertion.plan import Step
from elbowroom.model.insertion.telling import Telling
from elbowroom.model.told.findings import rounded
from elbowroom.parts.vocabulary.arrays import Vector

FORMAT = 1  # version of the JSON


def rendered(told: Telling) -> bytes:
    """The JSON as bytes."""
    return (json.dumps(values(told), indent=1, ensure_ascii=False) + "\n").encode()


def values(told: Telling) -> dict[str, Any]:
    """The steps as plain values."""
    plan = told.made.plan
    return {
        "format": FORMAT,
        "build": told.layout.title,
        "complete": plan.complete and not told.made.clashes,
        "open": [b for b in sorted(told.made.off) if told.is_there(b)],
        "steps": [_step(told, k, s) for k, s in enumerate(plan.steps, 1)],
        "cannot_say": list(plan.unfound),
        "loosened": [
            {
                "loose": sorted(x.pieces),
                "for": list(x.others),
                "aside": None
                if x.aside is None
                else [{"part": a.piece, "for": a.passes, "toward": _vector(a.way), "mm": a.far} for a in x.aside],
            }
            for x in plan.loosened
        ],
        "stuck": [{"part": n, "why": told.why(n, why)} for n, why in plan.stuck],
        "clashes": [list(pair) for pair in told.made.clashes],
        "bending": sorted(told.building.items.bending),
    }


def _step(told: Telling, k: int, step: Step) -> dict[str, Any]:
    move, played = step.move, step.played
    narrowest = None if played is None else played.narrowest
    return {
        "number": k,
        "parts": list(move.pieces),
        "text": told.step(k, step),
        "notes": list(told.notes(k, step)),
        "way_out": [{"toward": _vector(leg.way), "mm": rounded(leg.far)} for leg in move.way.legs],
        "motions": [[[rounded(float(c), 9) for c in row] for row in p] for p in move.way.poses],
        "in_hand": move.way.in_hand,
        "screws": [
            {
                "joint": u.fastening.name,
                "pieces": [n for names in u.fastening.screws.values() for n in names],
                "tool": u.by,
                "out": _vector(_out(u.fastening)),
                "mm": rounded(u.far),
            }
            for u in move.undone
        ],
        "screws_inside": [f.name for f in move.inner],
        "bench": [{"parts": list(b.move.pieces), "text": told.bench(b)} for b in told.made.bench.get(k, ())],
        "replayed": played is not None and played.free,
        "least_gap": None
        if narrowest is None
        else {
            "mm": rounded(narrowest.gap),
            "at_least": rounded(narrowest.low),
            "bodies": list(narrowest.bodies),
            "where": [[rounded(c) for c in p] for p in narrowest.at],
        },
    }


def _out(f: Fastening) -> Vector:
    return np.array(f.joint.axes[0].out)


def _vector(v: Vector) -> list[float | None]:
    return [rounded(float(c), 9) for c in v]


def files(made: Assembly) -> Iterator[tuple[str, bytes]]:
    """`steps.txt` and `steps.json`, as a writer hands them on."""
    told = Telling(made)
    yield "steps.txt", ("\n".join(told.lines()) + "\n").encode()
    yield "steps.json", rendered(told)
