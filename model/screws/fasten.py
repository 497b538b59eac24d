"""Fastening a layout: its joints found, a screw chosen for each, and screws, washers and nuts set in their places.

Owns the order of it, the faults of the build's words for screws, and the value that holds what came of it. The result
is an ordinary layout with more pieces.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

from elbowroom.model.build.entries import Build
from elbowroom.model.build.faults import Faults
from elbowroom.model.build.problems import BuildError, choices, shown
from elbowroom.model.build.screw_spec import ScrewsSpec
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.layout.layout import Layout
from elbowroom.model.layout.place import Placed
from elbowroom.model.layout.wildcard import matches
from elbowroom.model.screws.axes import axes
from elbowroom.model.screws.choosing import Chosen, chosen
from elbowroom.model.screws.drilling import drill
from elbowroom.model.screws.fasteners import insert_fasteners
from elbowroom.model.screws.joints import Joint, joints, words_for
from elbowroom.model.screws.lines import Axis, bolted
from elbowroom.parts.screw.screw_tables import NUTS

MAX_SCREWS = 600  # in one build: ten times a large machine's; each is a piece of its own


@dataclass(frozen=True, slots=True, eq=False)
class Fastened:
    """A placed build with its screws in it and its walls drilled for them: the second state. With the joints it was
    found to have, and their screws.

    layout: with screws, washers and nuts; `placed.layout` is the one without. undrilled: why a wall cannot be drilled,
    by joint and axis. left: joints that the build leaves without screws.
    """

    placed: Placed
    layout: Layout
    joints: tuple[Joint, ...]
    chosen: tuple[Chosen, ...]
    undrilled: Mapping[tuple[str, int], str]
    left: tuple[Joint, ...] = ()


def fasten(placed: Placed, scene: Scene, whole: bool = True, about: Collection[str] | None = None) -> Fastened:
    """Screw together what is mated. `scene` is the placed layout made solid. Raises BuildError with the words' faults.

    whole: False for a part of the build's layout, in which not all joints that the words name need be. about: only the
    joints of these pieces are wanted.
    """
    build, layout = placed.build, placed.layout
    lines = axes(layout, scene, about)
    if len(lines) > MAX_SCREWS:
        said = f"{len(lines)} screws are more than the {MAX_SCREWS} of one build; leave out holes that take none"
        raise BuildError([build.document.problem((), said)])
    found = joints([bolted(a) if _by_bolt(a, build.screws) else a for a in lines])
    if whole:
        _check_words(build, build.screws, [j.name for j in found])
    left = [j for j in found if any(matches(j.name, pattern) for pattern in build.screws.no_screws)]
    kept = [j for j in found if j not in left]
    bored, undrilled = drill(layout.pieces, kept)
    screws = [c for j in kept for c in chosen(j, build.screws, {i for name, i in undrilled if name == j.name})]
    pieces, joined = insert_fasteners(screws)
    screwed = replace(layout, pieces=(*bored, *pieces), joined=(*layout.joined, *joined))
    return Fastened(placed, screwed, tuple(kept), tuple(screws), undrilled, tuple(left))


def _by_bolt(axis: Axis, spec: ScrewsSpec) -> bool:
    """Whether the build has a bolt where a screw would be cut into a fan."""
    if axis.ends != "forming" or axis.fan is None:
        return False
    words = words_for(f"{axis.piece.name}.{axis.pattern.name}", spec.use)
    return words is not None and words.thread in NUTS


def _check_words(build: Build, spec: ScrewsSpec, names: list[str]) -> None:
    faults = Faults(build.document)
    for key, words in (("use", spec.use), ("no_screws", dict(enumerate(spec.no_screws)))):
        for at, pattern in words.items() if key == "no_screws" else ((k, k) for k in words):
            if not any(matches(n, str(pattern)) for n in names):
                said = f"no screws go into {shown(pattern)}; write piece.pattern{choices(pattern, names, 30)}"
                faults.add(("screws", key, at), said)
    faults.stop()
