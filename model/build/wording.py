"""Turning a validation fault into a sentence a builder can act on.

Owns the mapping from pydantic's error records to problems with a place in the file, the offending value, what was
expected and the nearest valid key. The rules themselves stay with the models.
"""

from __future__ import annotations

import types
import typing
from typing import Any

from pydantic import BaseModel, ValidationError

from elbowroom.model.build.problems import Path, Problem, choices, shown
from elbowroom.model.build.source import Document
from elbowroom.parts.vocabulary.base import NAME_PATTERN
from elbowroom.parts.vocabulary.measure import Measure

# Kinds of fault where the value has the wrong shape, so that what stands there at all must be said.
_SHAPES = frozenset({
    "model_type", "model_attributes_type", "dict_type", "mapping_type", "dataclass_type", "list_type", "tuple_type",
    "set_type", "frozen_set_type", "too_long", "too_short",
})  # fmt: skip
_PLAIN = {"int_": "a whole number", "float_": "a number", "bool_": "true or false", "string_type": "text"}
_NAME = (
    "it has letters, digits, spaces, hyphens, plus signs and underscores, at most 60, and starts with a letter or digit"
)
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six")
MOST_FAULTS = 40  # faults of one entry that are told: more than that are of one cause
_KEYS_NAMED = 8  # keys of a mapping named in a sentence


def problems_of(
    error: ValidationError,
    document: Document,
    path: Path,
    values: Any,
    model: type[BaseModel],
    more_keys: tuple[str, ...] = (),
) -> list[Problem]:
    """Each fault in `error` as a problem; `values` is what was validated, `path` where it stands in the document."""
    out = []
    faults = error.errors(include_url=False)
    for e in faults[:MOST_FAULTS]:
        where, inner = _located(e["loc"], values)
        at_key = e["type"] == "extra_forbidden"
        message = _message(e, inner, model, where, more_keys)
        out.append(document.problem((*path, *where), message, key=at_key))
    if len(faults) > MOST_FAULTS:
        out.append(document.problem(path, f"... and {len(faults) - MOST_FAULTS} more faults in it"))
    return out


def _located(loc: tuple[int | str, ...], values: Any) -> tuple[Path, Any]:
    """The part of `loc` that is really a path in `values` (pydantic adds steps of its own), and the value there."""
    where: list[int | str] = []
    here = values
    for step in loc:
        inside = isinstance(here, dict) and step in here
        if inside or (isinstance(here, list) and isinstance(step, int) and step < len(here)):
            here = here[step]
            where.append(step)
    return tuple(where), here


def _message(e: Any, value: Any, model: type[BaseModel], where: Path, more_keys: tuple[str, ...]) -> str:
    kind, ctx = e["type"], e.get("ctx") or {}
    unit = _unit(model, where)
    said = shown(value)
    if kind == "extra_forbidden":
        key = str(e["loc"][-1])
        known = [*_keys(model, where[:-1]), *(more_keys if len(where) == 1 else ())]
        return f"unknown key {shown(key)}{choices(key, known)}"
    if kind == "string_too_long" or (kind == "too_long" and _open_ended(_annotation(model, where) if where else model)):
        count = ctx.get("actual_length") or len(value)
        what = "characters" if kind == "string_too_long" else "entries"
        return f"{count} {what}; at most {ctx['max_length']} can stand here"
    if kind in _SHAPES or (kind == "missing" and isinstance(e["loc"][-1], int)):  # a number: an item of a row
        return f"{said}: expected {_shape(_annotation(model, where) if where else model)}"
    if kind == "missing":
        return f'needs "{e["loc"][-1]}", which is not given'
    if kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal"):
        word = {"greater_than": "more than", "greater_than_equal": "at least", "less_than": "less than"}.get(
            kind, "at most"
        )
        limit = next(iter(ctx.values()))
        return f"{said} must be {word} {limit:g}{unit}"
    if kind == "literal_error":
        known = [k.strip().strip("'") for k in str(ctx.get("expected", "")).replace(" or ", ", ").split(", ")]
        return f"{said} is not one of the choices{choices(value, known)}"
    if kind == "value_error":
        return str(ctx.get("error", e["msg"]))
    if e["loc"][-1:] == ("[key]",):
        return f"{shown(e['loc'][-2])} cannot be a name: {_NAME}"
    if kind == "string_pattern_mismatch":
        if str(ctx.get("pattern")) == NAME_PATTERN:
            return f"{said} cannot be a name: {_NAME}"
        return f"{said}: expected {_meaning(model, where) or 'other characters'}"
    if kind == "measure":
        return f"{said}: {e['msg']}"
    for start, words in _PLAIN.items():
        if kind.startswith(start):
            return f"{said}: expected {words}"
    text = e["msg"].replace("Input should be", "expected").replace("valid ", "")
    return f"{said}: {text[:1].lower()}{text[1:]}"


def _open_ended(annotation: Any) -> bool:
    """Whether what may stand there is a list or mapping of any length, up to a bound."""
    return any(
        (origin := typing.get_origin(t) or t) in (list, dict, set, frozenset)
        or (origin is tuple and Ellipsis in typing.get_args(t))
        for t in _flat(annotation)
    )


def _shape(annotation: Any) -> str:
    """What may stand at a place, in words: a mapping with its keys, so many numbers in a row, a list."""
    return " or ".join(dict.fromkeys(_shaped(t) for t in _flat(annotation) if t is not type(None))) or "something else"


def _shaped(t: Any) -> str:
    origin, args = typing.get_origin(t), typing.get_args(t)
    if isinstance(t, type) and issubclass(t, BaseModel):
        keys = _written(t)
        more = f" and {len(keys) - _KEYS_NAMED} more" if len(keys) > _KEYS_NAMED else ""
        return f"{{key: value}} with keys {', '.join(keys[:_KEYS_NAMED])}{more}"
    if t is dict or origin is dict:
        return "entries written {name: value}"
    items = [a for a in args if a is not Ellipsis]
    if origin is tuple and Ellipsis not in args and items:
        first = _item(items[0])
        one = items.count(items[0]) == len(items) and first is not None
        count = _NUMBERS[len(items)] if len(items) < len(_NUMBERS) else str(len(items))
        return f"{count} {first if one else 'values'}, written [{', '.join('abcdefghij'[: len(items)])}]"
    if t in (list, tuple, set) or origin in (list, tuple, set, frozenset):
        named = _item(items[0]) if items else None
        return f"a list of {named}, written [a, b]" if named else "a list, written [a, b]"
    if isinstance(t, type):
        return _word(t) or "another kind of value"
    return "one word of the choices" if origin is typing.Literal else "another kind of value"


def _word(t: Any) -> str | None:
    """A plain value in one word; None for anything else."""
    if not isinstance(t, type):
        return None
    if issubclass(t, Measure):
        return f"a number in {t.UNIT}"
    return {bool: "true or false", int: "a whole number", float: "a number", str: "text"}.get(t)


def _item(annotation: Any) -> str | None:
    """What the items of a row are, many of them; None where they are not of one plain kind."""
    kinds = _flat(annotation)
    if len(kinds) == 1 and isinstance(kinds[0], type):
        t = kinds[0]
        if issubclass(t, Measure):
            return f"numbers in {t.UNIT}"
        return "numbers" if t in (int, float) else "names" if t is str else None
    return None


def _unit(model: type[BaseModel], where: Path) -> str:
    annotation = _annotation(model, where)
    for t in (annotation, *typing.get_args(annotation)):
        if isinstance(t, type) and issubclass(t, Measure):
            return f" {t.UNIT}"
    return ""


def _meaning(model: type[BaseModel], where: Path) -> str | None:
    """The description of the field at `where`, or of the one field a plain value stands for."""
    inner = next(
        (t for t in _flat(_annotation(model, where)) if isinstance(t, type) and issubclass(t, BaseModel)), None
    )
    if inner is not None:
        return next((f.description for f in inner.model_fields.values() if f.is_required()), None)
    around = next((t for t in _flat(_annotation(model, where[:-1]) if where[1:] else model)
                   if isinstance(t, type) and issubclass(t, BaseModel)), None)  # fmt: skip
    field = around.model_fields.get(str(where[-1])) if around is not None and where else None
    return None if field is None else field.description


def _keys(model: type[BaseModel], where: Path) -> list[str]:
    """Valid keys of the model that stands at `where` inside `model`."""
    inner = _annotation(model, where) if where else model
    for t in _flat(inner):
        for m in (t, *_flat(typing.get_args(t)[-1] if typing.get_origin(t) in (list, dict) else None)):
            if isinstance(m, type) and issubclass(m, BaseModel):
                return _written(m)
    return _written(model)


def _written(model: type[BaseModel]) -> list[str]:
    """The keys of a model as a build writes them: some are words that Python keeps for itself."""
    return [f.alias or name for name, f in model.model_fields.items()]


def _annotation(model: type[BaseModel], where: Path) -> Any:
    here: Any = model
    for step in where:
        found = None
        for t in _flat(here):
            if isinstance(t, type) and issubclass(t, BaseModel) and step in _written(t):
                found = next(f.annotation for name, f in t.model_fields.items() if step == (f.alias or name))
            elif typing.get_origin(t) in (dict, list, tuple):
                found = typing.get_args(t)[-1]
                if typing.get_origin(t) is tuple and isinstance(step, int):
                    args = [a for a in typing.get_args(t) if a is not Ellipsis]
                    found = args[min(step, len(args) - 1)]
        if found is None:
            return None
        here = found
    return here


def _flat(t: Any) -> list[Any]:
    """The members of a union (or the type itself), `Annotated` opened."""
    if typing.get_origin(t) is typing.Annotated:
        return _flat(typing.get_args(t)[0])
    if typing.get_origin(t) in (typing.Union, types.UnionType):
        return [m for a in typing.get_args(t) for m in _flat(a)]
    return [t]
