"""Does everything get in past what is there, in which order, and do hands and tools get to what is tightened?

Owns the one way from a build that stands to the steps it is put together by (`assembled`). A way is told only where it
was found exactly or sampled and then played again by `replay`. Not finding one is told as such.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from elbowroom.model.build.building_spec import BuildingSpec
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.insertion.building import Building
from elbowroom.model.insertion.items import Items, off_by_usage
from elbowroom.model.insertion.plan import Plan, Step, on_the_bench, plan, played
from elbowroom.model.screws.choosing import Chosen
from elbowroom.model.store import Store

__all__ = ["Assembly", "assembled", "off_the_case"]


@dataclass(frozen=True, slots=True, eq=False)
class Assembly:
    """A build as it is put together. bench: by number of the step, what is put together before it. clashes: what
    shares room where it stands, each two once.
    """

    building: Building
    plan: Plan
    bench: dict[int, tuple[Step, ...]]
    off: frozenset[str]
    said: bool  # whether the build says what is off
    clashes: tuple[tuple[str, str], ...] = ()


def off_the_case(scene: Scene, spec: BuildingSpec) -> frozenset[str]:
    """Bodies (piece/body) of the case that are off while it is built."""
    if spec.open is None:
        return off_by_usage(scene)
    return frozenset(f"{p.name}/{b}" for p in scene.layout.pieces if p.part.encloses for b in spec.open)


def assembled(scene: Scene, chosen: Sequence[Chosen], spec: BuildingSpec, store: Store) -> Assembly:
    """The steps a build goes together by, each played again."""
    off = off_the_case(scene, spec)
    items = Items(scene, chosen, off, soft=spec.bending)
    building = Building(scene, items, store)
    found = played(building, plan(building))
    bench = {}
    for n, step in enumerate(found.steps, 1):
        if len(step.move.pieces) > 1:
            own = on_the_bench(building, step)
            bench[n] = played(building, replace(found, steps=own)).steps
    clashes = tuple(building.blocking.clashes())
    building.blocking.checker.flush()
    return Assembly(building, found, bench, off, spec.open is not None, clashes)
