"""A build held in memory: check it, change something, look again.

Owns the public Python side of the main job: `check` for one look, `Session` for many. A session keeps one cache with
its memory, reads the file anew at each look, so that a save counts, or looks at the words it is handed in its place,
and says what changed since the last, for the better or the worse. It has no checker of its own: an answer is what
`elbowroom check` gives for the same words, byte for byte.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from elbowroom.model import pipeline
from elbowroom.model.build import source
from elbowroom.model.build.problems import InputError
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.store import Store
from elbowroom.model.told.findings import WELL, Finding, overall, rounded
from elbowroom.model.told.progress import Early, Progress
from elbowroom.parts.vocabulary.pose import apply

What = Literal["new", "gone", "verdict", "number"]


@dataclass(frozen=True, slots=True)
class Change:
    """What became of one finding since the look before. what: it is new, gone, has another verdict, or the same
    verdict with another number (mm or whatever `unit` says).
    """

    what: What
    was: Finding | None
    now: Finding | None

    @property
    def id(self) -> str:
        return self.either.id

    @property
    def either(self) -> Finding:
        """The finding as it is now, or as it was where it is gone."""
        either = self.now or self.was
        assert either is not None
        return either

    @property
    def by(self) -> float | None:
        """How much nearer to its limit the number has come, in the finding's unit; negative: farther from it. None
        where there is none to compare, or it means neither: two answers, or limits, that do not fail.
        """
        return None if self.was is None or self.now is None else self.now.step_from(self.was)

    @property
    def better(self) -> bool | None:
        """Whether it is a change for the better or the worse; None where it is neither: another number of what is well
        before and after, something new that is well, or well and gone.
        """
        if self.was is not None and self.now is not None:
            if self.was.order != self.now.order:
                return self.now.order > self.was.order
            return None if not self.by else self.by > 0
        return None if self.either.verdict in WELL else self.now is None


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """One body as it stands: vertices (n, 3) in case coordinates, mm; triangles (m, 3), outward.

    bound: mm that the true surface may lie from the mesh. fault: why no verdict rests on this mesh, None where one may.
    keep_out: what a space is to be left free for (plugs, fingers ...), None for a solid.
    """

    name: str  # piece/body, as in the findings
    vertices: NDArray[np.float64]
    triangles: NDArray[np.int32]
    bound: float
    fault: str | None
    keep_out: str | None


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """What was found about a build, worst first as in the terminal, and what changed since the look before it."""

    checked: pipeline.Checked
    changes: tuple[Change, ...] = ()

    @property
    def title(self) -> str:
        return self.checked.layout.title

    @property
    def findings(self) -> list[Finding]:
        return sorted(self.checked.findings, key=lambda f: f.rank)

    @property
    def verdict(self) -> str:
        """`fits`, `fails` or `unknown`, as the exit status of the command says."""
        return overall(self.checked.findings)

    def bodies(self) -> list[Body]:
        """Every body of every piece, fittings, tubes and screws included, in the layout's order."""
        return [
            Body(s.name, apply(s.pose, s.mesh.vertices), s.mesh.triangles, s.mesh.bound, s.mesh.fault, s.body.keep_out)
            for s in self.checked.scene.solids
        ]

    def json(self) -> bytes:
        """The same bytes as `elbowroom check --json`."""
        from elbowroom.model.writers import json_report

        return json_report.render(self.checked.scene, self.checked.findings)


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """What fails of the parts, their holes and screws alone, told before the whole answer: fittings and tubes are not
    in it, and what it does not name may fail yet. changes: since the outlook before it.
    """

    scene: Scene
    failing: list[Finding]
    changes: tuple[Change, ...] = ()


class Session:
    """One build file, looked at as often as wanted. Not for several threads at once.

    file: the build file, read anew at each look. cache: a folder for what is worked out, the user's own where None.
    """

    def __init__(self, file: str | Path, cache: str | Path | None = None) -> None:
        self.file = Path(file)
        self._store = Store.default() if cache is None else Store(Path(cache))
        self._last: dict[str, Finding] | None = None
        self._outlook: dict[str, Finding] | None = None

    @property
    def store(self) -> Store:
        """The session's cache."""
        return self._store

    def check(
        self,
        changes: Mapping[str, Any] | None = None,
        progress: Progress | None = None,
        early: Early | None = None,
        text: str | None = None,
    ) -> Answer:
        """Everything about the build with some of its values changed: `{"parts.card.length": 310}`, lists by place
        (`"stacks.roof.layers.0.slide": 4`). The file stays as it is, and the next look starts from it again.

        early: told what fails already, before tubes are laid. text: looked at in place of what the file holds.
        Raises BuildError with every fault of the file or of a change; the session is then as it was.
        """
        checked = pipeline.judged(self._read(changes, progress, text), self._store, progress, early)
        now = {f.id: f for f in checked.findings}
        told = () if self._last is None else tuple(changed(self._last, now))
        self._last = now
        return Answer(checked, told)

    def outlook(
        self, changes: Mapping[str, Any] | None = None, progress: Progress | None = None, text: str | None = None
    ) -> Outlook:
        """What fails already, without the rest of the work; words and faults as for `check`."""
        scene, failing = pipeline.failing_already(self._read(changes, progress, text), self._store, progress)
        now = {f.id: f for f in failing}
        told = () if self._outlook is None else tuple(changed(self._outlook, now))
        self._outlook = now
        return Outlook(scene, failing, told)

    def _read(self, changes: Mapping[str, Any] | None, progress: Progress | None, text: str | None) -> pipeline.Read:
        words = _written(changes or {})
        if text is None:
            return pipeline.read(self.file, self._store, words, progress)
        document = source.parse(text, str(self.file), self.file.parent)
        source.override(document, words)
        return pipeline.of_document(document, self._store, progress)


def check(file: str | Path, changes: Mapping[str, Any] | None = None, cache: str | Path | None = None) -> Answer:
    """Everything about the build in a file; see `Session` for its words. Raises BuildError where it cannot be used."""
    return Session(file, cache).check(changes)


def changed(was: Mapping[str, Finding], now: Mapping[str, Finding]) -> list[Change]:
    """What became of findings, by their ids: what is there now first, worst first, then what is gone."""
    out = []
    for f in sorted(now.values(), key=lambda f: f.rank):
        old = was.get(f.id)
        if old is None:
            out.append(Change("new", None, f))
        elif old.verdict != f.verdict:
            out.append(Change("verdict", old, f))
        elif rounded(old.measured) != rounded(f.measured):
            out.append(Change("number", old, f))
    return [*out, *(Change("gone", f, None) for i, f in was.items() if i not in now)]


def _written(changes: Mapping[str, Any]) -> Sequence[str]:
    """Changes as `--set` takes them: JSON is YAML. Raises InputError for a value that no build file can hold."""
    try:
        return [f"{path}={json.dumps(value, allow_nan=False)}" for path, value in changes.items()]
    except (TypeError, ValueError) as e:
        raise InputError(f"a change must be text, a number, true, false, a list or a mapping of those: {e}") from None
