"""Elbowroom: will the parts of a liquid-cooled PC fit together?

    from elbowroom import check
    answer = check("mine.yaml")
    print(answer.verdict, [f.text for f in answer.findings[:3]])

`check` looks once; a `Session` looks again after a change and says what became of each finding. Both load when they are
first used, so that importing the package costs nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from elbowroom.model.build.problems import BuildError
    from elbowroom.model.session import Answer, Body, Change, Session, check
    from elbowroom.model.told.findings import Finding

__all__ = ["Answer", "Body", "BuildError", "Change", "Finding", "Session", "check"]

_ELSEWHERE = {"BuildError": "build.problems", "Finding": "told.findings"}


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(f"elbowroom.model.{_ELSEWHERE.get(name, 'session')}"), name)


def __dir__() -> list[str]:
    return sorted(__all__)
