"""The faults of one build's words, gathered as they are found, so that all are told at once.

Owns the collector that every reader of a build uses: of its structure, its places, its loop, its cuts, its heights.
What a fault is, and how many are told, is `problems`'; how validation's are worded, `wording`'s.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from pydantic import BaseModel, ValidationError

from elbowroom.model.build.problems import BuildError, Path, Problem
from elbowroom.model.build.source import Document
from elbowroom.model.build.wording import problems_of


class Faults:
    """Every fault found in a document so far; true where there is one."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self._found: list[Problem] = []

    def __bool__(self) -> bool:
        return bool(self._found)

    def __iter__(self) -> Iterator[Problem]:
        return iter(self._found)

    def add(self, path: Path, message: str) -> None:
        """A fault of what stands at a path of the document, or would stand there."""
        self._found.append(self.document.problem(path, message))

    def invalid(
        self, error: ValidationError, path: Path, values: Any, model: type[BaseModel], more_keys: tuple[str, ...] = ()
    ) -> None:
        """The faults of values that stand at a path and are none of a model."""
        self._found += problems_of(error, self.document, path, values, model, more_keys)

    def take(self, found: Iterable[Problem]) -> None:
        """Faults that were found elsewhere."""
        self._found += found

    def stop(self) -> None:
        """Raises BuildError with all of them where there is any."""
        if self._found:
            raise BuildError(self._found)
