"""Would a radiator whose ports cannot be used do better the other way round?

Owns that one remedy. The radiator of a stack is turned so that its ports point to the opposite wall, in the placed
build; the build is fastened and judged again, every port asked anew and every tube laid again. It is offered only where
the radiator's own ports then pass, no port and no run fails that did not before, and nothing else is worse.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from elbowroom.model import reach
from elbowroom.model.build.entries import Entry
from elbowroom.model.build.problems import BuildError
from elbowroom.model.build.spec import WALLS, Layering
from elbowroom.model.geometry.solidify import CannotDraw, solidify
from elbowroom.model.laying.laying import Laid, lay
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.layout.place import placed
from elbowroom.model.loop.plumbing import Plumbing, plumb
from elbowroom.model.screws.trial import Trials
from elbowroom.model.told.findings import FAILING, UNDECIDED, Finding
from elbowroom.model.told.particulars import AtPort

MOST_TRIED = 2  # radiators that are turned round in one check: each is fastened, judged and laid anew. By choice
_SQUARE = 0.9  # of a unit vector's length along one axis of the case, from which an end points to a wall


@dataclass(frozen=True, slots=True, eq=False)
class Round:
    """Turns radiators of a build round. laid: its tubes as they are; None where it has no loop."""

    trials: Trials
    laid: Laid | None

    def offered(self, found: Sequence[Finding]) -> list[Finding]:
        """Findings of ports, those that turning their radiator round would mend with that as their first remedy."""
        bad = [f for f in found if _shut(f) and isinstance(f.about, AtPort)]
        mended: dict[str, str] = {}
        names = list(dict.fromkeys(f.parts[0] for f in bad))
        pieces = {p.name: p for p in self.trials.layout.pieces}
        ours = [(n, e) for n in names for e in self._entries() if n in pieces and pieces[n].part is e.part]
        for name, entry in ours[:MOST_TRIED]:
            wall = self._opposite(self.trials.layout.piece(name))
            if wall is not None and self._better(name, entry, wall, found):
                mended[name] = (
                    f"turn {name} round, ports_to: {wall}: its ports can then be used, and nothing else is worse"
                )
        return [
            replace(f, remedies=(mended[f.parts[0]], *f.remedies)) if f in bad and f.parts[0] in mended else f
            for f in found
        ]

    def _entries(self) -> list[Entry]:
        """Layers with ports, one piece each."""
        every = [e for s in self.trials.build.stacks for e in (*s.layers, *s.outside)]
        return [
            e for e in every if e.part.holds_coolant and isinstance(e.words, Layering) and e.words.count in (None, 1)
        ]

    @staticmethod
    def _opposite(piece: Piece) -> str | None:
        """The wall that the end without ports points to; None where it points to none."""
        box = piece.part.box()
        ports = [f.pose[:3, 3] for f in piece.part.frames() if f.kind == "port"]
        if not ports:
            return None
        size = np.array(box.hi) - np.array(box.lo)
        off = (np.mean(ports, axis=0) - (np.array(box.lo) + np.array(box.hi)) / 2) / size
        off[2] = 0.0
        k = int(np.abs(off).argmax())
        away = -np.sign(off[k]) * piece.pose[:3, k]
        axis = int(np.abs(away).argmax())
        if abs(away[axis]) < _SQUARE:
            return None
        return next(w for w, (i, far) in WALLS.items() if i == axis and far == bool(away[axis] > 0))

    def _better(self, name: str, entry: Entry, wall: str, found: Sequence[Finding]) -> bool:
        """Whether the radiator's ports pass the other way round, and nothing fails that did not."""
        words = entry.words.model_copy(update={"ports_to": wall, "clock": None})
        build = self.trials.build.with_entries(lambda e: replace(e, words=words) if e is entry else e)
        try:
            turned = placed(build)
            plumbing = plumb(build, turned.layout)
            outcome = self.trials.placed(turned)
        except (BuildError, CannotDraw):
            return False
        if outcome is None or outcome.breaks or plumbing is None:
            return False
        return self._ports_pass(name, outcome.fastened.layout, plumbing, found) and self._runs_lie(
            outcome.fastened.layout, plumbing
        )

    def _ports_pass(self, name: str, layout: Layout, plumbing: Plumbing, found: Sequence[Finding]) -> bool:
        was = {f.id for f in found if _shut(f) or f.verdict in UNDECIDED}
        now = reach.check(solidify(layout, self.trials.store), plumbing, self.trials.store)
        bad = [f for f in now if _shut(f) or f.verdict in UNDECIDED]
        return not any(name in f.parts or f.id not in was for f in bad)

    def _runs_lie(self, layout: Layout, plumbing: Plumbing) -> bool:
        if self.laid is None:
            return True
        before = {n for n, r in self.laid.routes.items() if r.way is not None and not r.faults}
        laid = lay(layout, plumbing, self.trials.store)
        return before <= {n for n, r in laid.routes.items() if r.way is not None and not r.faults}


def _shut(f: Finding) -> bool:
    """Whether a port cannot be used: what is meant for it does not go on, or, where nothing is, no fitting does."""
    return f.verdict in FAILING or (f.verdict == "caution" and isinstance(f.about, AtPort) and f.about.takes_none)
