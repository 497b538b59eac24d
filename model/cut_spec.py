"""Cuts that a build asks for: a sheet notched so that other pieces clear it, and their coming into the layout.

Owns the words (`in`, `for`, `gap`, `tool`), what they name in a placed build, and the layout with the sheets cut. The
outline of a cut is worked out by `templates.notch`; how a sheet holds it is `parts.cutouts`' work.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from elbowroom.model.layout import Layout, Piece
from elbowroom.model.problems import BuildError, Path, Problem, choices, shown
from elbowroom.model.scene import Scene
from elbowroom.model.source import Document
from elbowroom.parts.cutouts import cutout_of
from elbowroom.parts.measure import Mm
from elbowroom.parts.sheet import PlainSheet

MAX_CUTS = 50  # in one build
MAX_NAMES = 50  # pieces that one cut clears


class CutSpec(BaseModel):
    """One sheet cut so that other pieces clear it."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    in_: str = Field(alias="in", min_length=1, max_length=200, description="the sheet that is cut")
    for_: list[str] = Field(
        alias="for", min_length=1, max_length=MAX_NAMES,
        description="what must clear it: pieces, or piece.port for the fittings on that port",
    )  # fmt: skip
    gap: Mm = Field(Mm(2), ge=0, le=100, description="gap wanted around it")
    tool: Mm = Field(Mm(3), ge=0, le=100, description="diameter of the tool: no inner corner is sharper")

    @field_validator("for_", mode="before", json_schema_input_type=str | list[str])
    @classmethod
    def _one_or_more(cls, value: Any) -> Any:
        return [value] if isinstance(value, str) else value


@dataclass(frozen=True, slots=True, eq=False)
class CutLayout:
    """The layout with its sheets cut, and what a builder must be told of each cut."""

    layout: Layout
    notes: tuple[str, ...]


def apply(layout: Layout, scene: Scene, cuts: Sequence[CutSpec], document: Document) -> CutLayout:
    """The layout with every cut made, in order; `scene` is that layout made solid. Raises BuildError with every fault.

    A sheet cut twice keeps its first cuts. Nothing that stands in the scene is moved, and a piece that is cut keeps its
    name, pose and mates.
    """
    problems: list[Problem] = []
    notes: list[str] = []
    changed: dict[str, Piece] = {}
    for i, cut in enumerate(cuts):
        path: Path = ("cut", i)
        sheets = _sheets(layout, cut.in_, (*path, "in"), document, problems)
        names: list[str] = []
        for j, text in enumerate(cut.for_):
            where = (*path, "for", j) if isinstance(_written(document, i), list) else (*path, "for")
            names += _obstacles(layout, text, where, document, problems)
        if problems:
            continue
        for sheet in sheets:
            now = changed.get(sheet.name, sheet)
            made = _made(
                now, cut, [n for n in dict.fromkeys(names) if n != sheet.name], scene, path, document, problems
            )
            if made is not None:
                changed[sheet.name], said = made
                notes += said
    if problems:
        raise BuildError(problems)
    pieces = tuple(changed.get(p.name, p) for p in layout.pieces)
    return CutLayout(replace(layout, pieces=pieces), tuple(notes))


def _written(document: Document, i: int) -> Any:
    """What the build itself has under `for`: one name, or a list of them."""
    try:
        return document.values["cut"][i]["for"]
    except (KeyError, IndexError, TypeError):
        return None


def _called(layout: Layout, name: str) -> list[Piece]:
    """The pieces an entry's name means: the one of that name, or its numbered ones."""
    one = [p for p in layout.pieces if p.name == name]
    return one or [p for p in layout.pieces if re.fullmatch(re.escape(name) + r" \d+", p.name)]


def _sheets(layout: Layout, name: str, path: Path, document: Document, problems: list[Problem]) -> list[Piece]:
    sheets = [p.name for p in layout.pieces if _is_sheet(p)]
    found = _called(layout, name)
    if not found:
        known = choices(name, sheets, 30) if sheets else "; the build has no sheet to cut"
        problems.append(document.problem(path, f"no part {shown(name)}{known}"))
    wrong = next((p for p in found if not _is_sheet(p)), None)
    if wrong is not None:
        what = f"{shown(name)} is a {wrong.part.family}; only a sheet can be cut{choices(name, sheets, 30)}"
        problems.append(document.problem(path, what))
    return [p for p in found if _is_sheet(p)]


def _is_sheet(piece: Piece) -> bool:
    return isinstance(piece.part, PlainSheet)


def _names(layout: Layout) -> list[str]:
    """The pieces a build names: not the screws and washers that were chosen for it."""
    return [p.name for p in layout.pieces if not p.part.small]


def _obstacles(layout: Layout, text: str, path: Path, document: Document, problems: list[Problem]) -> list[str]:
    """Names of the pieces that `text` means: a piece, a numbered entry, or the fittings on piece.port."""
    found = _called(layout, text)
    if found:
        return [p.name for p in found]
    on_port = re.compile(r".+ at " + re.escape(text) + r"(?: \(\d+\))?")
    fittings = [p.name for p in layout.pieces if on_port.fullmatch(p.name)]
    if fittings:
        return fittings
    name, dot, port = text.partition(".")
    pieces = _called(layout, name) if dot else []
    if not pieces:
        problems.append(document.problem(path, f"no part {shown(name)}{choices(name, _names(layout), 30)}"))
        return []
    ports = [f.name for f in pieces[0].part.frames() if f.kind == "port"]
    if port not in ports:
        problems.append(document.problem(path, f"{name} has no port {shown(port)}{choices(port, ports, 30)}"))
    else:
        problems.append(document.problem(path, f"nothing is screwed into {text}: there is no fitting to clear"))
    return []


def _made(
    piece: Piece, cut: CutSpec, names: list[str], scene: Scene, path: Path, document: Document, problems: list[Problem]
) -> tuple[Piece, list[str]] | None:
    """The piece with the cut in it, and what is to be told; None, with the faults noted, where it cannot be made."""
    from elbowroom.model.templates.drawing import TemplateError
    from elbowroom.model.templates.notch import Obstacle, Sheet, notch
    from elbowroom.parts.pose import apply as placed

    part: Any = piece.part
    wanted = set(names)
    obstacles = [
        Obstacle(s.name, placed(s.pose, s.mesh.vertices), s.mesh.triangles, s.mesh.bound)
        for s in scene.solids
        if s.piece.name in wanted and s.body.keep_out is None
    ]
    listed = ", ".join(names)
    sheet = Sheet(piece.pose, float(part.thickness), _with_holes(part))
    try:
        found = notch(sheet, obstacles, float(cut.gap), float(cut.tool))
    except TemplateError as e:
        problems.append(document.problem(path, f"{piece.name}: {e}"))
        return None
    if not found.cuts:
        return piece, [f"{piece.name}: nothing is cut, since it clears {listed} by {cut.gap:g} mm already"]
    fields = {name: getattr(part, name) for name in type(part).model_fields}
    fields["cutouts"] = (*part.cutouts, *(cutout_of(c.contour) for c in found.cuts))
    try:
        new = type(part).model_validate(fields)
    except ValidationError as e:
        for fault in e.errors(include_url=False):
            said = str((fault.get("ctx") or {}).get("error", fault["msg"]))
            problems.append(document.problem(path, f"cutting {piece.name} to clear {listed} by {cut.gap:g} mm: {said}"))
        return None
    sources = {k: v for k, v in piece.sources.items() if k != "cutouts"}
    whole = replace(piece, part=new, given=piece.given | {"cutouts"}, sources=sources)
    return whole, [_told(piece.name, listed, cut, found)]


def _with_holes(part: Any) -> Any:
    """What the sheet is at present, its own through holes taken out, so that webs to them are counted."""
    import shapely

    from elbowroom.parts.contour import flattened, slot

    holes = [
        shapely.Polygon(flattened(slot(float(h.at[0]), k * h.at[1], h.width, float(h.slot), k * h.angle), 0.01))
        for h in part.holes
        if h.face in ("top", "bottom") and h.depth is None
        for k in (1.0 if h.face == "top" else -1.0,)  # the underside's y, and its angles with it, run the other way
    ]
    return shapely.difference(part.left(), shapely.union_all(holes))


def _told(name: str, listed: str, cut: CutSpec, found: Any) -> str:
    kinds = [c.kind for c in found.cuts]
    many = {"notch": "notches", "hole": "holes"}
    counted = [(k, kinds.count(k)) for k in many if k in kinds]
    what = ", ".join(f"{n} {many[k] if n > 1 else k}" for k, n in counted)
    webs = [c.web for c in found.cuts if c.web is not None]
    said = f"{name}: {what} to clear {listed} by {cut.gap:g} mm takes {sum(c.area for c in found.cuts):.0f} mm2"
    if webs:
        said += f"; the narrowest material left beside it is {min(webs):.1f} mm"
    if found.fallen:
        n = len(found.fallen)
        said += f"; {f'{n} pieces come' if n > 1 else 'a piece comes'} away ({found.fallen[0]:.0f} mm2)"
    return said + ". Deburr the edges: they are sharp."
