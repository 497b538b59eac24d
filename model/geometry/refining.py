"""More exact forms of bodies whose meshes do not settle a verdict: exact solids and finer meshes.

Owns where that work is done: for our own parts in this process, and for what is drawn from a file that someone else
made in the child of `geometry.confined`, alone or together with one of ours.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from elbowroom.model.geometry.confined import Confined, Given, confined, given
from elbowroom.model.geometry.drawing import is_foreign
from elbowroom.model.geometry.exact import ExactPair, bodies, finer_mesh, judge_exact
from elbowroom.model.geometry.narrow import Kernel
from elbowroom.model.geometry.scene import Mesh, Solid
from elbowroom.model.store import Store
from elbowroom.parts.imported import child
from elbowroom.parts.vocabulary.arrays import Floats

if TYPE_CHECKING:
    from elbowroom.model.geometry.pairs import Checker


class Refiner:
    """The more exact forms of one pair, made when asked for."""

    def __init__(self, checker: Checker, one: Solid, other: Solid, turn: Floats, move: Floats) -> None:
        self._checker, self._pair, self._turn, self._move = checker, (one, other), turn, move
        self.lost: str | None = None  # why no answer was had on what someone else drew

    def exact(self) -> ExactPair | None:
        exactly = self._checker.exactly
        try:
            if not any(is_foreign(s.piece.part) for s in self._pair):
                a, b = (exactly.here(s) for s in self._pair)
                return None if a is None or b is None else judge_exact(a, b, self._turn, self._move)
            one, other = (exactly.given(s) for s in self._pair)
            if one is None or other is None:
                return None
            return exactly.confined.pair(one, other, self._turn, self._move)
        except child.Lost as end:
            self.lost = str(end)
            return None

    def finer(self, factor: float) -> tuple[Kernel, Kernel] | None:
        """Both bodies at a finer chord, a user's mesh as it is; None where neither can be made finer."""

        if all(s.mesh.bound == 0.0 for s in self._pair):
            return None
        try:
            a, b = (self._checker.finer(s, factor) for s in self._pair)
        except child.Lost as end:
            self.lost = str(end)
            return None
        return a, b


class Exactly:
    """The exact solids of bodies: in this process those of our own parts, as bytes for the child those of others."""

    def __init__(self, store: Store) -> None:
        self._store = store

    @property
    def confined(self) -> Confined:
        """The store's child: one for all that is asked in this process."""
        return confined(self._store)

    def here(self, solid: Solid) -> Any | None:
        """The exact solid of a body of our own; None of a mesh."""
        found = bodies(solid.shape, solid.piece.part, self._store)
        return None if found is None else found[solid.body.name]

    def given(self, solid: Solid) -> Given | None:
        """A body as the child is sent it; None of a mesh, and of a user's shape that could not be drawn."""
        return given(solid.shape, solid.piece.part, self._store, solid.body.name)

    def finer(self, solid: Solid, factor: float) -> Mesh | None:
        """A body's mesh at a finer chord; None of a user's mesh, `child.Lost` where no answer comes."""
        if not is_foreign(solid.piece.part):
            own = self.here(solid)
            return None if own is None else finer_mesh(own, factor)
        given = self.given(solid)
        return None if given is None else self.confined.finer(given, factor)
