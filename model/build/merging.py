"""Fields laid over fields: what an entry states over its catalogue size, and short ways to name a part spelled out.

Owns how mappings merge. Whether the outcome is a part is the business of `resolve`.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from elbowroom.model.build.spec import WALLS
from elbowroom.parts import FAMILIES
from elbowroom.parts.case.case_openings import BEHIND
from elbowroom.parts.catalogue import family_of

CUSTOM = "custom"  # the size that starts from the family's defaults
NONE: Mapping[str, str] = MappingProxyType({})


def spelled_out(value: Any) -> Any:
    """A bare family or catalogue size as `{family: size}`; anything else as it is."""
    family = (value if value in FAMILIES else family_of(value)) if isinstance(value, str) else None
    return value if family is None else {family: CUSTOM if value == family else value}


def laid_over(base: Mapping[str, Any], over: Mapping[str, Any], members: Mapping[str, str] = NONE) -> dict[str, Any]:
    """`over` laid on `base`, mappings merged inward, everything else replaced; `members`: see `Part.members`.

    Distances from walls are replaced together: a place measured from other walls is another place.
    """
    if over and set(over) <= {*WALLS, BEHIND}:
        return dict(over)
    out = dict(base)
    for key, value in over.items():
        mine = out.get(key)
        both = isinstance(mine, Mapping) and isinstance(value, Mapping)
        if both and key in members:
            out[key] = _named(mine, value, members[key])  # type: ignore[arg-type]
        else:
            out[key] = laid_over(mine, value) if both else value  # type: ignore[arg-type]
    return out


def _named(base: Mapping[str, Any], over: Mapping[str, Any], whole: str) -> dict[str, Any]:
    """Members of `base` with those of `over` laid on by name: one that states the field `whole` stands by itself, any
    other changes what it states of the one there, and null leaves that one out."""
    out = dict(base)
    for name, value in over.items():
        mine = out.get(name)
        if value is None and name in out:
            del out[name]
        elif isinstance(mine, Mapping) and isinstance(value, Mapping) and whole not in value:
            out[name] = laid_over(mine, value)
        else:
            out[name] = value
    return out
