"""The one way from a build file to its findings, for every command and caller.

Owns the order of the states - `Placed`, `Fastened`, `Cut`, `Plumbed`, each a type that holds the one before it and what
it adds - and which questions are asked of which state. A caller takes as many of the steps as it needs: what is made is
known of a fastened build, what is checked of a plumbed one. Each step is a plain function of the room that owns it; the
cache is handed in.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from elbowroom.model import heights
from elbowroom.model.build import source
from elbowroom.model.build.entries import Build
from elbowroom.model.build.faults import Faults
from elbowroom.model.build.problems import choices, shown
from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import Document
from elbowroom.model.geometry.scene import Mesh, Scene
from elbowroom.model.layout.layout import Layout
from elbowroom.model.layout.place import Placed, placed
from elbowroom.model.loop.plumbing import Plumbing, plumb
from elbowroom.model.store import Store
from elbowroom.model.told.causes import gathered
from elbowroom.model.told.findings import FAILING, Finding
from elbowroom.model.told.places import located
from elbowroom.model.told.progress import Early, Progress

if TYPE_CHECKING:
    from elbowroom.model.cutting.cutting import Cut
    from elbowroom.model.insertion import Assembly
    from elbowroom.model.laying.laying import Laid
    from elbowroom.model.screws.fasten import Fastened
    from elbowroom.model.screws.remedies import Remedies
    from elbowroom.model.screws.trial import Trials


@dataclass(frozen=True, slots=True, eq=False)
class Read:
    """A build file as it was read, with what was found for the heights it leaves open."""

    placed: Placed
    heights: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Plumbed:
    """A cut build with its fittings and tubes: the last state. parts: without them, as solids, which ports are judged
    in; scene: all of it. plumbing, laid: what is asked of its loop and how it lies; None where it has none.
    """

    cut: Cut
    parts: Scene
    scene: Scene
    plumbing: Plumbing | None = None
    laid: Laid | None = None

    @property
    def layout(self) -> Layout:
        return self.cut.layout if self.laid is None else self.laid.layout


@dataclass(frozen=True, slots=True, eq=False)
class Checked:
    """A build in its last state, what was found about it, and what was found to mend its joints."""

    plumbed: Plumbed
    findings: list[Finding]
    mended: Remedies

    @property
    def build(self) -> Build:
        return self.fastened.placed.build

    @property
    def fastened(self) -> Fastened:
        return self.plumbed.cut.fastened

    @property
    def layout(self) -> Layout:
        return self.plumbed.layout

    @property
    def scene(self) -> Scene:
        return self.plumbed.scene


def read(file: Path, store: Store, overrides: Sequence[str] = (), progress: Progress | None = None) -> Read:
    """The build in a file, its parts in their places; raises BuildError with every fault of the input."""
    return of_document(source.read(file, overrides), store, progress)


def of_document(document: Document, store: Store, progress: Progress | None = None) -> Read:
    """The same of a document that was read already."""
    document, found = heights.settled(document, store, progress)
    return Read(placed(load(document)), tuple(found))


def fastened(at: Placed, store: Store, progress: Progress | None = None) -> Fastened:
    """A placed build with its screws; raises BuildError with the faults of the words for them."""
    from elbowroom.model.geometry.solidify import solidify
    from elbowroom.model.screws.fasten import fasten

    return fasten(at, solidify(at.layout, store, progress))


def plumbed(cut: Cut, plumbing: Plumbing | None, store: Store, progress: Progress | None = None) -> Plumbed:
    """A cut build with its fittings screwed in and its tubes laid."""
    from elbowroom.model.geometry.solidify import solidify

    parts = solidify(cut.layout, store, progress)
    if plumbing is None:
        return Plumbed(cut, parts, parts)
    from elbowroom.model.laying.laying import lay

    laid = lay(cut.layout, plumbing, store, progress)
    return Plumbed(cut, parts, solidify(laid.layout, store, progress), plumbing, laid)


def air_of(found: Read, store: Store, progress: Progress | None = None) -> list[Finding]:
    """What `judged` finds about the air alone, without looking at anything else."""
    plumbing = _asked(found)
    from elbowroom.model.checks import air
    from elbowroom.model.geometry.solidify import solidify

    opened = _opened(found, plumbing, store, progress)
    return air.check(found.placed.build, opened.layout, solidify(opened.layout, store, progress))


def check(
    file: Path,
    store: Store,
    overrides: Sequence[str] = (),
    progress: Progress | None = None,
    early: Early | None = None,
) -> Checked:
    """Everything about the build in a file; raises BuildError where the input cannot be used. early: see `judged`."""
    return judged(read(file, store, overrides, progress), store, progress, early)


def judged(found: Read, store: Store, progress: Progress | None = None, early: Early | None = None) -> Checked:
    """Everything about a build that was read. early: told what fails already, before tubes are laid and remedies are
    tried.
    """
    plumbing = _asked(found)
    from elbowroom.model import checks
    from elbowroom.model.checks import way_out
    from elbowroom.model.screws.remedies import remedies
    from elbowroom.model.screws.trial import Trials

    opened = _opened(found, plumbing, store, progress)
    screwed = opened.fastened
    if early is not None:
        early(_failing_already(found, opened, store, progress)[1])
    trials = Trials(screwed, store)
    mended = remedies(trials)
    stands = plumbed(opened, plumbing, store, progress)
    about = _about(stands, mended, trials, store, progress)
    placed = way_out.told(checks.run(stands.scene, store, progress), stands.scene, store)
    findings = gathered([*found.heights, *placed, *about], stands.layout)
    return Checked(stands, located(findings, stands.layout), mended)


def failing_already(found: Read, store: Store, progress: Progress | None = None) -> tuple[Scene, list[Finding]]:
    """What fails of a build's parts, holes and screws alone, and those as solids: what `judged` tells early. Fittings
    and tubes are in neither; raises BuildError for the faults of the words for them all the same.
    """
    return _failing_already(found, _opened(found, _asked(found), store, progress), store, progress)


def _asked(found: Read) -> Plumbing | None:
    """What is asked of a build's loop; faults of its words, and of those for templates, come out here, before the
    engine is loaded.
    """
    build, layout = found.placed.build, found.placed.layout
    plumbing = plumb(build, layout)
    _templates_named(build, layout)
    return plumbing


def _opened(found: Read, plumbing: Plumbing | None, store: Store, progress: Progress | None) -> Cut:
    """A build with its screws in and its sheets cut."""
    from elbowroom.model.cutting.cutting import cut

    return cut(fastened(found.placed, store, progress), plumbing, store, progress)


def _failing_already(read: Read, at: Cut, store: Store, progress: Progress | None) -> tuple[Scene, list[Finding]]:
    """The solids and what fails of them, without what would mend it: fittings and tubes only add to it."""
    from elbowroom.model import checks
    from elbowroom.model.geometry.solidify import solidify
    from elbowroom.model.screws import holes
    from elbowroom.model.screws import lengths as screws
    from elbowroom.model.screws.remedies import Remedies

    scene = solidify(at.layout, store, progress)
    found = [
        *read.heights,
        *checks.run(scene, store, progress),
        *holes.check(at.fastened, Remedies()),
        *at.findings,
        *screws.check(at.fastened.chosen),
    ]
    return scene, located(gathered([f for f in found if f.verdict in FAILING], at.layout), at.layout)


def _about(stands: Plumbed, mended: Remedies, trials: Trials, store: Store, progress: Progress | None) -> list[Finding]:
    """What is asked beside the questions of `checks.run`: air, screws, ports, and the loop as it lies."""
    from elbowroom.model import reach
    from elbowroom.model.checks import air, loop_parts
    from elbowroom.model.screws import drivers, holes
    from elbowroom.model.screws import lengths as screws

    screwed, parts, plumbing, laid = stands.cut.fastened, stands.parts, stands.plumbing, stands.laid
    bare = stands.cut.layout
    ports = reach.check(parts, plumbing, store, progress)
    findings = [
        *air.check(screwed.placed.build, bare, parts),
        *loop_parts.check(bare, plumbing),
        *holes.check(screwed, mended),
        *stands.cut.findings,
        *screws.check(screwed.chosen, mended.screws),
        *drivers.check(parts, screwed.chosen, store),
        *ports,
    ]
    if plumbing is None or laid is None:
        return findings
    from elbowroom.model.checks import coolant, loop, tubes
    from elbowroom.model.reach import walled
    from elbowroom.model.remedies.turning_round import Round

    shut = walled.check(parts, stands.scene, plumbing, laid.tubes, ports, store)
    findings += [
        *tubes.check(bare, plumbing, laid),
        *loop.check(bare, plumbing),
        *coolant.check(bare, plumbing, laid.tubes, reach.out_of_reach(bare, [*ports, *shut])),
        *shut,
    ]
    turned = {f.id: f for f in Round(trials, laid).offered(ports)}
    return [turned.get(f.id, f) for f in findings]


def _templates_named(build: Build, layout: Layout) -> None:
    """Raises BuildError with every word under `templates: of` that names no side of a placed piece."""
    if build.templates.of:
        from elbowroom.model.templates.views import faults

        told = Faults(build.document)
        for i, said in faults(layout, build.templates.of):
            told.add(("templates", "of", i), said)
        told.stop()


def assembled(checked: Plumbed, store: Store) -> Assembly:
    """The steps a build goes together by; raises BuildError for a word under `building` that names nothing."""
    fastened = checked.cut.fastened
    build = fastened.placed.build
    _open_named(build, checked.layout)
    from elbowroom.model.insertion import assembled as made

    return made(checked.scene, fastened.chosen, build.building, store)


def steps(checked: Plumbed, store: Store) -> Iterator[tuple[str, bytes]]:
    """The files that tell how a build goes together."""
    made = assembled(checked, store)
    from elbowroom.model.insertion.written import files

    yield from files(made)


def _open_named(build: Build, layout: Layout) -> None:
    """Raises BuildError with every word under `building: open` that is no body of the case."""
    told = Faults(build.document)
    known = [b.name for p in layout.pieces if p.part.encloses for b in p.part.bodies() if b.keep_out is None]
    for i, word in enumerate(build.building.open or ()):
        if word not in known:
            said = f"the case has no {shown(word)} to take off{choices(word, known, 20)}"
            told.add(("building", "open", i), said)
    told.stop()


def standing(file: Path, store: Store, overrides: Sequence[str] = (), progress: Progress | None = None) -> Plumbed:
    """A build from its file to its last state, without anything asked of it."""
    found = read(file, store, overrides, progress)
    plumbing = _asked(found)
    return plumbed(_opened(found, plumbing, store, progress), plumbing, store, progress)


def reach_solids(checked: Checked, store: Store) -> dict[str, Mesh]:
    """The reachable space in front of each port, by the port's name, in case coordinates."""
    from elbowroom.model import reach

    return reach.reach_solids(checked.plumbed.parts, checked.plumbed.plumbing, store)
