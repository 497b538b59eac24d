"""The JSON Schema of a build file, for editors and other programs.

Owns joining the structure's schema (`spec`) with those of the part families: an entry is an object with exactly one
family key, the family's fields, and the words that say where it stands or how it lies.
"""

from __future__ import annotations

import json
from typing import Any

from pydantic import BaseModel

from elbowroom.model.build.make_spec import MakeWords, holds_list
from elbowroom.model.build.merging import CUSTOM
from elbowroom.model.build.spec import At, BuildSpec, Layering, Placement
from elbowroom.model.heights.words import FIT, OPEN, Fit
from elbowroom.parts import FAMILIES, family_class
from elbowroom.parts.catalogue import sizes

AT = "place"  # the definition of measured distances
DIALECT = "https://json-schema.org/draft/2020-12/schema"


def build_schema() -> dict[str, Any]:
    """The schema of a whole build file (JSON Schema 2020-12), with units, ranges and sources of every field."""
    schema = BuildSpec.model_json_schema()
    defs: dict[str, Any] = schema.setdefault("$defs", {})
    defs[AT] = At.model_json_schema()
    defs[FIT] = Fit.model_json_schema()
    for kind, words in (("part", Placement), ("layer", Layering), ("make", MakeWords)):
        defs[kind] = _entry(kind, words, defs)
    defs["case"] = _case(defs)
    schema["properties"]["case"] = {"$ref": "#/$defs/case"}
    schema["properties"]["parts"] = _map_of(schema["properties"]["parts"], "part")
    schema["properties"]["make"]["items"] = {"$ref": "#/$defs/make"}
    for side in ("layers", "outside"):
        defs["Stack"]["properties"][side]["items"] = {"$ref": "#/$defs/layer"}
    _measures(schema, defs)
    while _once(schema, defs):
        pass
    return {"$schema": DIALECT, "title": "elbowroom build", **{k: v for k, v in schema.items() if k != "title"}}


def text() -> str:
    """The schema as JSON, one definition a line: an editor reads it at once, and a person can search in it."""
    schema = build_schema()
    defs = schema.pop("$defs")
    lines = ",\n".join(f"  {_json(name)}: {_json(value)}" for name, value in defs.items())
    head = ",\n".join(f" {_json(key)}: {_json(value)}" for key, value in schema.items())
    return f'{{\n{head},\n "$defs": {{\n{lines}\n }}\n}}'


def _json(value: Any) -> str:
    return json.dumps(value, separators=(",", ":"), ensure_ascii=False)


def _once(schema: dict[str, Any], defs: dict[str, Any]) -> bool:
    """Keep one of definitions that say the same, under the name that comes first, and refer to that; whether any was
    dropped, since others may say the same by then.
    """
    first: dict[str, str] = {}
    same = {name: first.setdefault(_json(value), name) for name, value in sorted(defs.items())}

    def refer(node: Any) -> None:
        for value in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
            refer(value)
        if isinstance(node, dict) and isinstance(node.get("$ref"), str):
            name = node["$ref"].removeprefix("#/$defs/")
            node["$ref"] = f"#/$defs/{same.get(name, name)}"

    refer(schema)
    dropped = [name for name, kept in same.items() if name != kept]
    for name in dropped:
        del defs[name]
    return bool(dropped)


def _measures(node: Any, defs: dict[str, Any]) -> None:
    """Put what every measure of one unit says the same way into one definition, and refer to it."""
    for value in list(node.values() if isinstance(node, dict) else node if isinstance(node, list) else ()):
        _measures(value, defs)
    if isinstance(node, dict) and isinstance(node.get("unit"), str):
        common = {k: node.pop(k) for k in ("type", "examples", "unit") if k in node}
        name = f"measure.{common['unit']}"
        if defs.setdefault(name, common) != common:
            node |= common
        else:
            node["$ref"] = f"#/$defs/{name}"


def _map_of(prop: dict[str, Any], kind: str) -> dict[str, Any]:
    """The property with its values replaced by a reference, whether pydantic wrote them by pattern or not."""
    out = {k: v for k, v in prop.items() if k not in ("additionalProperties", "patternProperties")}
    patterns = prop.get("patternProperties")
    if patterns:
        out["patternProperties"] = {p: {"$ref": f"#/$defs/{kind}"} for p in patterns}
        out["additionalProperties"] = False
    else:
        out["additionalProperties"] = {"$ref": f"#/$defs/{kind}"}
    return out


def _fields(model: type[BaseModel], defs: dict[str, Any], prefix: str) -> dict[str, Any]:
    """The properties of a model, its own definitions moved under `prefix` in the common ones."""
    schema = model.model_json_schema(ref_template=f"#/$defs/{prefix}{{model}}")
    for name, inner in schema.pop("$defs", {}).items():
        defs[f"{prefix}{name}"] = inner
    properties: dict[str, Any] = schema.get("properties", {})
    for field in properties.values():
        field.pop("title", None)  # the field's name again, with a capital
    return properties


def _shared(fields: dict[str, Any], defs: dict[str, Any], prefix: str) -> dict[str, Any]:
    """The fields as references, each defined once under `prefix`: a family stands in three kinds of entry."""
    for name, field in fields.items():
        defs.setdefault(f"{prefix}{name}", field)
    return {name: {"$ref": f"#/$defs/{prefix}{name}"} for name in fields}


def _entry(kind: str, words: type[BaseModel], defs: dict[str, Any]) -> dict[str, Any]:
    own = _shared(_fields(words, defs, f"{kind}."), defs, f"{kind}.")
    names: list[str] = []
    shapes = []
    for family in FAMILIES:
        if family == "case":
            continue
        cls = family_class(family)
        known = list(sizes(family))
        names += [family, *known]
        value: dict[str, Any] = {"type": "string"} if cls.path_field else {"enum": [*known, CUSTOM]}
        fields = {k: v for k, v in _fields(cls, defs, f"{family}.").items() if k != cls.path_field}
        value = _shared({family: value}, defs, "size.")[family]
        if cls.own_place:
            either = {"anyOf": [fields["points"]["items"], {"$ref": f"#/$defs/{AT}"}]}
            fields["points"] = {**fields["points"], "items": either}
        several = {k for k in fields if not holds_list(cls, k)}
        fields = _shared(fields, defs, f"{family}.")
        if family in OPEN and words is Placement:
            height = OPEN[family][0]
            fields[height] = {"anyOf": [fields[height], {"$ref": f"#/$defs/{FIT}"}]}
        if words is MakeWords:  # a list in place of a value makes a set
            fields = {k: _or_several(v) if k in several else v for k, v in fields.items()}
        shapes.append(
            {
                "type": "object",
                "title": family,
                "description": (cls.__doc__ or "").strip(),
                "properties": {family: value, **fields, **own},
                "required": [family],
                "additionalProperties": False,
            }
        )
    return {"anyOf": [{"enum": names}, *shapes]}


def _or_several(field: dict[str, Any]) -> dict[str, Any]:
    """A field's schema that also takes a list of its values."""
    return {"anyOf": [field, {"type": "array", "items": field, "minItems": 1}]}


def _case(defs: dict[str, Any]) -> dict[str, Any]:
    cls = family_class("case")
    fields = _fields(cls, defs, "case.")
    for name in cls.members:  # of a catalogue case's, one may be changed in part or, by null, left out
        kind = fields[name]["additionalProperties"]
        defs[kind["$ref"].rsplit("/", 1)[1]].pop("required", None)
        fields[name]["additionalProperties"] = {"anyOf": [kind, {"type": "null"}]}
    like = {"enum": [*sizes("case"), CUSTOM], "description": "catalogue case to start from"}
    return {"type": "object", "properties": {"like": like, **fields}, "additionalProperties": False}
