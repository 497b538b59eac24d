"""Pictures of a checked build, as SVG and PNG, drawn without a display: what one looks at before one reads.

Owns which pictures a build has, their names, and how one is asked for. Every number in them is that of the finding or
the choice they show; nothing is measured on a picture.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from elbowroom.model.build.problems import InputError, choices, shown
from elbowroom.model.pictures import exploded, holes, port, section, stack, view
from elbowroom.model.pictures.camera import FIXED, VIEWS
from elbowroom.model.pictures.sheet import Picture, slug
from elbowroom.model.pipeline import Checked
from elbowroom.model.screws.choosing import Chosen
from elbowroom.model.store import Store
from elbowroom.model.told.findings import FAILING, UNDECIDED, Finding
from elbowroom.model.told.particulars import AtJoint
from elbowroom.model.told.progress import Progress
from elbowroom.model.writers.bom import bought
from elbowroom.model.writers.job import Job

FOLDER = "pictures"
MOST_FINDINGS = 80  # that a picture is drawn of, worst first: with more, a build is to be mended first. By choice


class Work(NamedTuple):
    """A picture that can be drawn: what it is of, and how."""

    of: str
    draw: Callable[[], Picture | None]


def pictures(checked: Checked, store: Store, progress: Progress | None = None) -> Iterator[Picture]:
    """All pictures of a build: four views, the exploded view, each finding that fails, and each kind of screw."""
    work = list(_all(checked, store))
    names: dict[str, int] = {}
    for i, (of, draw) in enumerate(work):
        if progress is not None:
            progress(i, len(work), f"drawing {of}")
        found = draw()
        if found is not None:
            names[found.name] = names.get(found.name, 0) + 1
            yield found if names[found.name] == 1 else replace(found, name=f"{found.name}-{names[found.name]}")


def files(checked: Checked, store: Store, progress: Progress | None = None) -> Iterator[tuple[str, bytes]]:
    """`pictures/<name>.svg` and `.png` of each."""
    for p in pictures(checked, store, progress):
        yield f"{FOLDER}/{p.name}.svg", p.svg
        yield f"{FOLDER}/{p.name}.png", p.png()


def _all(checked: Checked, store: Store) -> Iterator[Work]:
    if not any(s.body.keep_out is None for s in checked.scene.solids):
        return
    for name in FIXED:
        yield Work(f"the view {name}", lambda name=name: view.view(checked.scene, name))  # type: ignore[misc]
    yield Work("the exploded view", lambda: of_parts(checked, store))
    told = [f for f in checked.findings if f.verdict in FAILING | UNDECIDED and f.question != "screw"]
    for f in sorted(told, key=lambda f: f.rank)[:MOST_FINDINGS]:
        yield Work(f.id, lambda f=f: _finding(f, checked))  # type: ignore[misc]
    for chosen, finding in _screws(checked):
        yield Work(f"screws of {chosen.joint.name}", lambda c=chosen, f=finding: stack.picture(c, f, checked.scene))  # type: ignore[misc]


def _screws(checked: Checked) -> list[tuple[Chosen, Finding | None]]:
    """The screws to draw: all that are not as they should be, and one of those that are alike."""
    out: list[tuple[Chosen, Finding | None]] = []
    known = set()
    for chosen, finding in stack.screws_of(checked.fastened.chosen, checked.findings):
        alike = (chosen.label, chosen.head, chosen.washers, chosen.layers, chosen.receiver)
        if finding is not None and finding.verdict not in ("pass", "clear"):
            out.append((chosen, finding))
        elif alike not in known:
            out.append((chosen, finding))
            known.add(alike)
    return out


def of_parts(checked: Checked, store: Store) -> Picture:
    """The exploded view, numbered as the parts list."""
    items = bought(Job(checked.scene, checked.findings, store.folder))
    return exploded.picture(checked.scene, checked.fastened.joints, items)


def view_named(name: str) -> None:
    """Raises InputError for a view that is none."""
    if name not in VIEWS:
        raise InputError(f"no view {shown(name)}{choices(name, VIEWS)}")


def of_view(checked: Checked, name: str) -> Picture:
    """A view by its name. Raises InputError for one that is none."""
    view_named(name)
    if not any(s.body.keep_out is None for s in checked.scene.solids):
        raise InputError("there is nothing to draw: the build has no parts")
    return view.view(checked.scene, name)


def of_piece(checked: Checked, name: str) -> Picture:
    """A piece in its place. Raises InputError for one that is none."""
    names = [p.name for p in checked.layout.pieces]
    if name not in names:
        raise InputError(f"no part {shown(name)}{choices(name, names, 30)}")
    if not any(s.piece.name == name and s.body.keep_out is None for s in checked.scene.solids):
        raise InputError(f"there is nothing to draw of {shown(name)}: it has no solid")
    return view.one(checked.scene, name)


def of_finding(checked: Checked, id_: str) -> Picture:
    """The picture of a finding by its id. Raises InputError for an id that is none, and where there is nothing to show:
    a finding that stands nowhere in the case."""
    found = next((f for f in checked.findings if f.id == id_), None)
    if found is None:
        ids = [f.id for f in sorted(checked.findings, key=lambda f: f.rank)]
        raise InputError(f"no finding {shown(id_, 200)}{choices(id_, ids, 8)}")
    drawn = _finding(found, checked)
    if drawn is None:
        raise InputError(f"there is no picture of {shown(id_, 200)}: it names no place in the case")
    return drawn


def _finding(finding: Finding, checked: Checked) -> Picture | None:
    if finding.question == "screw":
        pairs: Sequence[tuple[Chosen, Finding | None]] = stack.screws_of(checked.fastened.chosen, checked.findings)
        own = next((c for c, f in pairs if f is finding), None)
        if own is not None:
            return stack.picture(own, finding, checked.scene)
    if finding.question == "hole-alignment" and isinstance(finding.about, AtJoint):
        drawn = holes.picture(finding, checked.scene, checked.fastened.joints)
        if drawn is not None:
            return drawn
    return section.picture(finding, checked.scene) or port.picture(finding, checked.scene, checked.plumbed.plumbing)


def both(found: Iterable[Picture]) -> Iterator[tuple[str, bytes]]:
    """Each picture as SVG and as PNG, by the name of its file."""
    for p in found:
        yield f"{p.name}.svg", p.svg
        yield f"{p.name}.png", p.png()


__all__ = [
    "FIXED", "VIEWS", "Picture", "both", "files", "of_finding", "of_parts", "of_piece", "of_view", "pictures", "slug",
    "view_named",
]  # fmt: skip
