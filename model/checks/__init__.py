"""The checks: one module a question, each `check(scene, ...) -> list[Finding]`.

Owns running them in order over one scene with one memory of judged pairs.
"""

from __future__ import annotations

from elbowroom.model.checks.containment import check as containment
from elbowroom.model.checks.interference import check as interference
from elbowroom.model.checks.keep_out import check as keep_out
from elbowroom.model.checks.mates import check as mates
from elbowroom.model.checks.parts import check as parts
from elbowroom.model.checks.slot_places import trier
from elbowroom.model.checks.slots import check as slots
from elbowroom.model.checks.slots import gathered
from elbowroom.model.checks.standing import check as standing
from elbowroom.model.checks.swallowed import check as swallowed
from elbowroom.model.checks.to_cut import check as to_cut
from elbowroom.model.geometry.pairs import Checker
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.store import Store
from elbowroom.model.told.findings import Finding
from elbowroom.model.told.progress import Progress


def run(scene: Scene, store: Store, progress: Progress | None = None) -> list[Finding]:
    """Every finding about the scene, in the order of the questions."""
    checker = Checker(scene, store)
    try:
        return gathered(
            [
                *parts(scene.layout),
                *swallowed(scene, checker),
                *slots(scene.layout, trier(scene, store)),
                *to_cut(scene.layout),
                *interference(scene, checker, progress),
                *keep_out(scene, checker),
                *mates(scene, checker),
                *standing(scene),
                *containment(scene, checker),
            ]
        )
    finally:
        checker.flush()
