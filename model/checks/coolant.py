"""How much coolant, where does air collect, by which ports is the loop filled and drained?

Owns those findings for the parts and runs that the loop joins:

- `volume`: what the loop holds, with its range, what of it is measured and what assumed, and how much to buy.
- `air`: with the case standing on its floor, each high point above the level that the loop fills to by itself is a
  `caution`; several follow from one that says what to do for all. That level is the chosen fill port's, else the top of
  the highest reservoir. High points below it are named in the `pass`: flow carries their air away, or tilting does.
- `fill`, `drain`: the chosen port against the best, highest with the case on its floor and lowest with it on the side
  it is drained on. A worse choice is a `caution`, and so is a loop with no free port; filling by a port that a run
  occupies is a `fail`. Where none is chosen, the `pass` names the best.

All of it is arithmetic on ports, declared boxes and centre lines; what the numbers rest on is told in each finding.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence

from elbowroom.model.checks import coolant_levels
from elbowroom.model.checks.loop_terms import listed
from elbowroom.model.layout.identity import Port
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.loop.coolant_volume import RADIATOR_SHARES, Share, shares, total
from elbowroom.model.loop.hydraulics import network
from elbowroom.model.loop.plumbing import Plumbing
from elbowroom.model.told.cautions import DEFER, FILLED, LEAK_TEST
from elbowroom.model.told.findings import Basis, Finding
from elbowroom.model.told.wordings import ml
from elbowroom.parts.water.radiator import Radiator

SPARE = 0.10  # bought beyond what the loop holds at most, for spills and topping up: common practice, no source (P)
BOTTLE_ML = 100.0  # coolant to buy is rounded up to this: common practice, no source (P)
TOLD_ML = 0.5  # a range narrower than this is not told: millilitres are written whole


def check(
    layout: Layout,
    plumbing: Plumbing | None,
    tubes: Mapping[str, Piece] | None = None,
    unreachable: Collection[Port] = (),
) -> list[Finding]:
    """Every finding about the coolant; none where the build lists no run.

    layout: as `plumbing` was read from, so without the fittings and tubes of the runs themselves. tubes: the laid runs
    by `Line.name`, in case coordinates. unreachable: ports not to be advised for filling or draining.
    """
    if plumbing is None or not plumbing.lines:
        return []
    net = network(layout, plumbing)
    held = shares(layout, plumbing, net, tubes or {})
    levels = coolant_levels.check(layout, plumbing, net, held, tubes or {}, frozenset(unreachable))
    return [_volume(layout, net.reached(), held), *levels]


def _volume(layout: Layout, parts: Sequence[str], held: Sequence[Share]) -> Finding:
    volume, low, high = total(held)
    partly = [s for s in held if s.rests == "partly"]
    least = "at least " if partly else ""
    buy = to_buy(math.fsum(s.ml if s.high is None else s.high for s in held))
    rough = any(s.rests == "assumed" for s in held)
    text = f"the loop holds {least}{ml(volume, rough=rough)}"
    if high is not None and high - low > TOLD_ML:
        text += f" ({ml(low, rough=rough)} to {ml(high, rough=rough)})"
    text += (
        f": {_told(layout, held)}. Buy {least}{ml(buy)}: {SPARE:.0%} spare for spills and topping up, rounded up to "
        f"whole {ml(BOTTLE_ML)}"
    )
    unlaid = [s.name for s in partly if s.kind == "tube"]
    unknown = [s.name for s in partly if s.kind == "part"]
    remedies = []
    if unlaid:
        text += f". Not laid yet and counted as if straight: {', '.join(unlaid)}"
    if unknown:
        text += f". Not stated, so not counted in full: {listed(unknown)}"
        remedies.append(f"measure what {listed(unknown)} {'holds' if len(unknown) == 1 else 'hold'}")
    guessed = [s for s in held if s.rests == "assumed"]
    if guessed:
        # A rule of thumb with a range first, by its width; then single numbers from a catalogue, by their size.
        worst = max(guessed, key=lambda s: ((s.high or s.ml) - s.low, s.ml))
        remedies.append(
            f"weigh {worst.name} empty and full of water, and state the difference as its coolant, 1 g as 1 ml"
        )
    listing = [{"name": s.name, "ml": round(s.ml, 6), "rests": s.rests} for s in held]
    assumed = tuple((s.name, s.fields) for s in held if s.fields)
    return Finding(
        "coolant", "caution" if partly else "pass", tuple(parts), text, measured=volume, unit="ml", low=low, high=high,
        basis=Basis("arithmetic", 0.0, assumed), remedies=tuple(remedies),
        extra=(("buy_ml", buy), ("shares", listing)),
        take_care=(*LEAK_TEST, *FILLED, DEFER),
        place="volume",
    )  # fmt: skip


def to_buy(most: float) -> float:
    """Coolant to buy for a loop that holds this much at most, ml."""
    bottles = most * (1 + SPARE) / BOTTLE_ML
    # Rounded first: 1.1 x 1000 is not quite 1100 in floating point, and must not cost a bottle.
    return math.ceil(round(bottles, 9)) * BOTTLE_ML


def _told(layout: Layout, held: Sequence[Share]) -> str:
    """The shares in words: each part, and all fittings and all tubes together."""
    told = []
    for s in held:
        if s.kind != "part" or s.rests == "partly":
            continue
        how, rough = str(s.rests), s.rests == "assumed"
        if s.high is not None and s.high - s.low > TOLD_ML:
            how += f", {ml(s.low, rough=rough)} to {ml(s.high, rough=rough)}"
            if s.rests == "assumed" and isinstance(layout.piece(s.name).part, Radiator):
                how += f" at {RADIATOR_SHARES[0]:.2f} to {RADIATOR_SHARES[1]:.2f} of its core"
        told.append(f"{s.name} {ml(s.ml, rough=rough)} ({how})")
    for kind in ("fittings", "tube"):
        of = [s for s in held if s.kind == kind]
        if of:
            least = "at least " if any(s.rests == "partly" for s in of) else ""
            told.append(f"{'tubes' if kind == 'tube' else kind} {least}{ml(math.fsum(s.ml for s in of))} (drawn)")
    return ", ".join(told)
