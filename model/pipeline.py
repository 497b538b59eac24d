"""The one way from a build file to its findings, for every command and test.

Owns the order load -> place -> lay the loop -> solidify -> check and the value that holds each stage's result. Each
stage is a plain function of another module.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from elbowroom.model import heights
from elbowroom.model.build import source
from elbowroom.model.build.problems import BuildError
from elbowroom.model.build.resolve import Build, load
from elbowroom.model.geometry.scene import Mesh, Scene
from elbowroom.model.layout.layout import Layout
from elbowroom.model.layout.place import place
from elbowroom.model.loop.plumbing import Plumbing, plumb
from elbowroom.model.told.causes import gathered
from elbowroom.model.told.findings import Finding
from elbowroom.model.told.places import placed

if TYPE_CHECKING:
    from elbowroom.model.screws.fasten import Fastened
    from elbowroom.model.screws.offers import Offer

Progress = Callable[[int, int, str], None]  # done, total, what


@dataclass(frozen=True, slots=True, eq=False)
class Checked:
    """A build with everything that was worked out from it."""

    build: Build
    layout: Layout
    scene: Scene
    findings: list[Finding]
    parts: Scene  # the parts alone, without fittings and tubes: what port reach is judged in
    plumbing: Plumbing | None = None
    fastened: Fastened | None = None
    offers: Sequence[Offer] = ()


def read(
    file: Path, overrides: Sequence[str] = (), progress: Progress | None = None
) -> tuple[Build, Layout, Plumbing | None, list[Finding]]:
    """The build in a file, its parts in their places, what it asks of its loop, and what was found for open heights.

    Raises BuildError with every fault of the input.
    """
    document, found = heights.settled(source.read(file, overrides), progress)
    build = load(document)
    layout = place(build)
    return build, layout, plumb(build, layout), found


def check(file: Path, overrides: Sequence[str] = (), progress: Progress | None = None) -> Checked:
    """Everything about the build in a file; raises BuildError where the input cannot be used."""
    build, layout, plumbing, heights_found = read(file, overrides, progress)
    _templates_named(build, layout)
    # The engine is loaded only once the input is known to be sound: faults come out at once.
    from elbowroom.model import checks, reach
    from elbowroom.model.checks import air, loop_parts
    from elbowroom.model.cutting.cutting import cut
    from elbowroom.model.geometry.solidify import solidify
    from elbowroom.model.screws import drivers, holes
    from elbowroom.model.screws import lengths as screws
    from elbowroom.model.screws.fasten import fasten
    from elbowroom.model.screws.remedies import remedies
    from elbowroom.model.screws.trial import Trials
    from elbowroom.model.store import Store

    store = Store.default()
    fastened = fasten(build, layout, solidify(layout, store, progress))
    trials = Trials(build, layout, fastened, store)
    mended = remedies(trials)
    layout, was_cut = cut(build, fastened.layout, plumbing, store, progress)
    parts = solidify(layout, store, progress)
    ports = reach.check(parts, plumbing, store, progress)
    findings = [
        *air.check(build, layout, parts),
        *loop_parts.check(layout, plumbing),
        *holes.check(fastened, mended),
        *was_cut,
        *screws.check(fastened.chosen, mended.screws),
        *drivers.check(parts, fastened.chosen, store),
        *ports,
    ]
    scene = parts
    if plumbing is not None:
        from elbowroom.model.checks import coolant, loop, tubes
        from elbowroom.model.laying.laying import lay
        from elbowroom.model.reach import walled
        from elbowroom.model.remedies.turning_round import Round

        laid = lay(layout, plumbing, store, progress)
        scene = solidify(laid.layout, store, progress)
        shut = walled.check(parts, scene, plumbing, laid.tubes, ports, store)
        findings += [
            *tubes.check(layout, plumbing, laid),
            *loop.check(layout, plumbing),
            *coolant.check(layout, plumbing, laid.tubes, reach.out_of_reach(layout, [*ports, *shut])),
            *shut,
        ]
        layout = laid.layout
        turned = {f.id: f for f in Round(build, trials, plumbing, laid, store).offered(ports)}
        findings = [turned.get(f.id, f) for f in findings]
    findings = gathered([*heights_found, *checks.run(scene, store, progress), *findings], layout)
    findings = placed(findings, layout)
    return Checked(build, layout, scene, findings, parts, plumbing, fastened, mended.offers)


def _templates_named(build: Build, layout: Layout) -> None:
    """Raises BuildError with every word under `templates: of` that names no side of a placed piece."""
    if build.templates.of:
        from elbowroom.model.templates.views import faults

        found = faults(layout, build.templates.of)
        if found:
            raise BuildError(build.document.problem(("templates", "of", i), said) for i, said in found)


def reach_solids(checked: Checked) -> dict[str, Mesh]:
    """The reachable space in front of each port, by the port's name, in case coordinates."""
    from elbowroom.model import reach
    from elbowroom.model.store import Store

    return reach.reach_solids(checked.parts, checked.plumbing, Store.default())
