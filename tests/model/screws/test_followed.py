"""Every remedy for holes and screws, followed to the letter, does away with its fault and brings no other.

Over random stacks on one opening: rows of another gap, layers slid off, loose layers between, screws of any length.
What a remedy says it breaks, and what it says is still wrong, is left aside.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest

from elbowroom.model.making.adapters import layer_text
from elbowroom.model.screws import holes
from elbowroom.model.screws import lengths as check
from elbowroom.model.screws.fasten import Fastened
from elbowroom.model.screws.remedies import Remedies, remedies
from elbowroom.model.told.findings import Finding
from tests.model.screws.following import layered, left_out, screwed, slid
from tests.model.screws.test_remedies import made

LAYERS = {
    "fan": "{fan: fan-120x25, cable_to: rear tray}",
    "gasket": "{gasket: custom, fans: 2, thickness: THICK}",
    "shim": "{shim: custom, fans: 2, thickness: THICK}",
    "filter": "{dust-filter: custom, fans: 2, thickness: THICK, hole: 4.5}",
}
SEEDS = (2, 11, 21, 25, 26, 49, 51, 55)  # with plates, slides, screws, cut ones and layers left out among the remedies


def stack(seed: int) -> str:
    """A random stack; what is wrong with it is chance, and that something is, is not."""
    rng = random.Random(seed)
    size, slot = rng.choice([(120, 0), (120, 4), (120, 8), (140, 0)]), rng.choice(["", "fan"])
    between = rng.sample(["gasket", "shim", "filter"], rng.choice([0, 1, 1, 2]))
    layers = [LAYERS[n].replace("THICK", f"{rng.choice([1, 1.5, 2, 3])}") for n in ([slot] if slot else []) + between]
    row = rng.choice(["", ", gap: 20"])
    layers.append(f"{{radiator: radiator-240x30{row and ', gap: 20, length: 290'}, name: low, ports_to: front}}")
    for k in rng.sample(range(len(layers)), rng.choice([0, 1])):
        layers[k] = layers[k].replace("}", f", slide: {rng.choice([-5, -2.5, 3, 4])}}}")
    text = f"""title: t
case:
  interior: {{depth: 520, width: 240, height: 480}}
  sheet: 1.2
  slots: 0
  psu: null
  board: null
  feet: null
  openings:
    floor: {{face: floor, size: {size[0]}, count: 2, slot: {size[1]}, centre: {{rear: 260, tray: 120}}}}
stacks: {{floor: {{flow: in, layers: [{", ".join(layers)}]}}}}
"""
    if rng.random() < 0.6:
        text += f"screws: {{use: {{low.b: M3x{rng.choice([4, 6, 10, 25, 30, 40])}}}}}\n"
    return text


def failing(fastened: Fastened, mended: Remedies) -> dict[str, Finding]:
    every = [*holes.check(fastened, mended), *check.check(fastened.chosen, mended.screws)]
    return {f"{f.question} {f.place} {f.parts}": f for f in every if f.verdict == "fail"}


def edits(text: str, finding: Finding, mended: Remedies) -> Iterator[tuple[str, str]]:
    """Each remedy of a finding that can be written into the file, and the file with it."""
    joint = finding.about.joint
    for remedy in finding.remedies:
        if "but then" in remedy:
            continue
        if remedy.startswith("put an adapter plate"):
            (offer,) = [o for o in mended.offers if o.joint == joint and o.part is not None]
            assert offer.part is not None
            yield remedy, layered(text, layer_text(offer.part, joint, offer.centre), "floor")
            continue
        for new in (slid(text, remedy), left_out(text, remedy)):
            if new is not None:
                yield remedy, new
        if finding.question == "screw" and (new := screwed(text, remedy, joint)) is not None:
            yield remedy, new


def count(finding: Finding | None) -> int:
    """How many screws pass by a finding about holes; as many as can where there is no such finding."""
    return 10**6 if finding is None else int(dict(finding.extra).get("passing", 0))  # type: ignore[call-overload]


@pytest.mark.slow
@pytest.mark.parametrize("seed", SEEDS)
def test_every_remedy_followed_to_the_letter_helps(seed: int) -> None:
    text = stack(seed)
    trials, before = made(text)
    mended = remedies(trials)
    was = failing(before, mended)
    assert any(True for fault in was.values() for _ in edits(text, fault, mended))
    for key, fault in was.items():
        for remedy, new in edits(text, fault, mended):
            _, after = made(new)
            now = failing(after, Remedies())
            assert set(now) <= set(was), (remedy, now)
            if " of " in remedy.split("pass")[0] and fault.question == "hole-alignment" and "plate" not in remedy:
                assert count(now.get(key)) > count(fault), remedy
            else:
                assert key not in now, (remedy, now[key].text)
