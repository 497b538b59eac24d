"""A STEP file as it is meant to be: products, bodies and where they stand, before the kernel is asked for anything.

Owns the plan and where its text is made: in this process where all bodies are our own, in the child of
`geometry.confined` where one is drawn from a file that someone else made. Making the text is `step_tree`'s work.
"""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from elbowroom.model.geometry.confined import Confined, Given, given
from elbowroom.model.geometry.drawing import is_foreign, request
from elbowroom.model.geometry.scene import Shape
from elbowroom.model.store import Store
from elbowroom.model.writers.materials import KEEP_OUT, Look
from elbowroom.model.writers.step_tree import Tree
from elbowroom.parts.imported import child
from elbowroom.parts.imported.unreadable import PartFileError
from elbowroom.parts.vocabulary.base import Part
from elbowroom.parts.vocabulary.pose import IDENTITY, Pose

ROOT = 0  # the number of the whole build among a plan's products
# Translating a large build takes 10 s; one shape to be found out takes a second. Bound by choice.
WHOLE = child.Limits(cpu=60, clock=120.0, memory=child.FOREIGN.memory)
ALONE = child.Limits(cpu=10, clock=20.0, memory=child.FOREIGN.memory)
MOST_SEARCH = 40.0  # s in all for finding out which of several shapes it was

Step = tuple[str, tuple[Any, ...]]  # a method of the tree with what it takes, products and bodies by their numbers


@dataclass(eq=False)
class Plan:
    """What a file is to hold. Products and bodies are numbered as they are made; the root is number 0."""

    title: str
    steps: list[Step] = field(default_factory=list)
    _sources: dict[str, tuple[Part, Shape]] = field(default_factory=dict)
    _made: int = 0

    def product(self, name: str) -> int:
        """A new, empty assembly product."""
        return self._add("product", (name,))

    def body(self, name: str, part: Part, shape: Shape, body: str, look: Look) -> int:
        """A new product that is one solid of one colour: the body of a drawn part."""
        self._sources.setdefault(shape.key, (part, shape))
        return self._add("body", (name, shape.key, list(shape.meshes).index(body), look))

    def place(self, parent: int, product: int, pose: Pose, name: str) -> None:
        """An occurrence of a product in an assembly."""
        self.steps.append(("place", (parent, product, pose, name)))

    def _add(self, kind: str, what: tuple[Any, ...]) -> int:
        self.steps.append((kind, what))
        self._made += 1
        return self._made

    @property
    def foreign(self) -> list[str]:
        """Keys of the shapes that someone else drew."""
        return [key for key, (part, _) in self._sources.items() if is_foreign(part)]

    def text(self, store: Store) -> bytes:
        """The file's content; `child.Lost` where the child that works on a user's shape gives none."""
        if not self.foreign:
            return grown(self.title, self.steps, {k: _own(p, s, store) for k, (p, s) in self._sources.items()})
        return _apart(WHOLE, self.title, self.steps, [sent(p, s, store) for p, s in self._sources.values()])

    def culprits(self, store: Store) -> dict[str, str]:
        """Which of the foreign shapes are lost by themselves, with the reason, as far as the time for it goes."""
        began, found = time.monotonic(), {}
        for key in self.foreign if len(self.foreign) > 1 else ():
            if time.monotonic() - began > MOST_SEARCH:
                found[key] = "another file took all the time there is"
                continue
            part, shape = self._sources[key]
            steps: list[Step] = [("body", ("alone", key, i, KEEP_OUT)) for i in range(len(shape.meshes))]
            steps += [("place", (ROOT, i, IDENTITY, "alone")) for i in range(1, len(shape.meshes) + 1)]
            try:
                _apart(ALONE, "alone", steps, [sent(part, shape, store)])
            except child.Lost as end:
                found[key] = str(end)
        return found


def sent(part: Part, shape: Shape, store: Store) -> Given:
    """A shape as the child is sent it. PartFileError where no exact solids can be made of a user's file."""
    found = given(shape, part, store)
    if found is not None:
        return found
    part.refuse_solids()  # type: ignore[attr-defined]
    if not part.is_mesh:  # type: ignore[attr-defined]
        raise PartFileError(next((m.fault for m in shape.meshes.values() if m.fault), "it could not be drawn"))
    return Given(shape.key, request(part), 0, True, drawn=False)


def _own(part: Part, shape: Shape, store: Store) -> list[Any]:
    """The exact solids of a part of ours, in the order of its bodies."""
    from elbowroom.model.geometry import exact

    kept = exact.bodies(shape, part, store) if shape.brep is not None else None
    if kept is None:
        kept = {name: solid.wrapped for name, solid in part.drawn().items()}
    return [kept[name] for name in shape.meshes]


def _apart(limits: child.Limits, title: str, steps: Sequence[Step], shapes: Sequence[Given]) -> bytes:
    worker = Confined(limits)
    try:
        return worker.ask(shapes, __name__, "grown_told", (title, list(steps), [g.key for g in shapes]))
    finally:
        worker.close()


def grown_told(shapes: list[list[Any]], wanted: tuple[str, list[Step], list[str]]) -> bytes:
    """In the child: the file's content."""
    title, steps, keys = wanted
    return grown(title, steps, dict(zip(keys, shapes, strict=True)))


def grown(title: str, steps: Sequence[Step], solids: Mapping[str, Sequence[Any]]) -> bytes:
    """The content of a file: `steps` taken one after another, bodies from `solids` by shape key and number."""
    tree = Tree(title)
    labels = [tree.root]
    for kind, what in steps:
        if kind == "product":
            labels.append(tree.product(*what))
        elif kind == "body":
            name, key, index, look = what
            labels.append(tree.body(name, solids[key][index], look))
        else:
            parent, product, pose, name = what
            tree.place(labels[parent], labels[product], pose, name)
    return tree.text()
