"""Cuts that a build asks for: a flat sheet notched so that other pieces clear it, and their coming into the layout.

Owns what the words of a cut name in a placed build, and the layout with the sheets cut. A
part of the family `sheet` is cut as a whole; of any other part each flat sheet is, by itself. The outline of a cut is
worked out by `templates.notch`, where a part's flat sheets lie by `templates.flats`; how a part holds a cut is
`parts.cutouts`' and `parts.flat_cut`'s work.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from elbowroom.model.build.cut_spec import CutSpec, split
from elbowroom.model.build.faults import Faults
from elbowroom.model.build.problems import Path, choices, shown
from elbowroom.model.build.source import Document
from elbowroom.model.cutting.flat_cutting import CannotCut, Known, with_cuts
from elbowroom.model.geometry.scene import Scene
from elbowroom.model.layout.identity import Fitted
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.parts.made.sheet import PlainSheet
from elbowroom.parts.vocabulary.cutouts import cutout_of

if TYPE_CHECKING:
    from elbowroom.model.store import Store
    from elbowroom.model.templates.flats import FlatSheet
    from elbowroom.model.templates.notch import Obstacle


@dataclass(frozen=True, slots=True)
class Note:
    """What a builder must be told of one cut of a piece."""

    piece: str
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class CutLayout:
    """The layout with its sheets cut, and what a builder must be told of each cut. severed: pieces that lose an end."""

    layout: Layout
    notes: tuple[Note, ...]
    severed: frozenset[str] = frozenset()


def apply(layout: Layout, scene: Scene, cuts: Sequence[CutSpec], document: Document, store: Store) -> CutLayout:
    """The layout with every cut made, in order; `scene` is that layout made solid. Raises BuildError with every fault.

    store: where the exact solids of parts with flat sheets are kept; left out, the user's. A sheet cut twice keeps its
    first cuts. Nothing that stands in the scene is moved, and a piece that is cut keeps its name, pose and mates.
    """
    faults = Faults(document)
    notes: list[Note] = []
    changed: dict[str, Piece] = {}
    severed: set[str] = set()
    known = Known(scene, store)
    for i, cut in enumerate(cuts):
        path: Path = ("cut", i)
        sheets = _sheets(layout, cut.in_, (*path, "in"), faults, known)
        names: list[str] = []
        for j, text in enumerate(cut.for_):
            where = (*path, "for", j) if isinstance(_written(document, i), list) else (*path, "for")
            names += _obstacles(layout, text, where, faults)
        if faults:
            continue
        for sheet, flats in sheets:
            now = changed.get(sheet.name, sheet)
            others = [n for n in dict.fromkeys(names) if n != sheet.name]
            if flats is None:
                made = _made(now, cut, others, scene, path, faults)
            else:
                made = _flats_made(now, flats, cut, others, known, path, faults, severed)
            if made is not None:
                changed[sheet.name], said = made
                notes += [Note(sheet.name, text) for text in said]
    faults.stop()
    pieces = tuple(changed.get(p.name, p) for p in layout.pieces)
    return CutLayout(replace(layout, pieces=pieces), tuple(notes), frozenset(severed))


def _written(document: Document, i: int) -> Any:
    """What the build itself has under `for`: one name, or a list of them."""
    try:
        return document.values["cut"][i]["for"]
    except (KeyError, IndexError, TypeError):
        return None


def _called(layout: Layout, name: str) -> list[Piece]:
    """The pieces an entry's name means: the one of that name, or its numbered ones."""
    one = [p for p in layout.pieces if p.name == name]
    return one or [p for p in layout.pieces if p.answers_to(name)]


def _sheets(
    layout: Layout, text: str, path: Path, faults: Faults, known: Known
) -> list[tuple[Piece, list[FlatSheet] | None]]:
    """The pieces that `text` means, with the flat sheets of each; None for one of the family `sheet`."""
    name, wanted = split(text)
    found = _called(layout, name)
    if not found:
        sheets = [p.name for p in layout.pieces if _is_sheet(p)]
        faults.add(path, f"no part {shown(name)}{choices(name, sheets or _names(layout))}")
    out: list[tuple[Piece, list[FlatSheet] | None]] = []
    for piece in found:
        if _is_sheet(piece) and wanted in ("", "body"):
            out.append((piece, None))
            continue
        try:
            flats = [] if _is_sheet(piece) else known.flats(piece)
        except CannotCut as e:
            faults.add(path, f"{name} cannot be cut: {e}")
            break
        meant = [f for f in flats if wanted in ("", f.name, f.body, *f.also)]
        if meant:
            out.append((piece, meant))
            continue
        if flats:
            listed = ", ".join(f"{f.name} ({f.words})" for f in flats)
            near = choices(wanted, [f.name for f in flats], 30).partition("; known:")[0]
            said = f"{name} has no flat sheet {shown(wanted)}{near}; it has {listed}"
        elif _is_sheet(piece):
            said = f"{name} is one sheet: write {shown(name)} alone"
        else:
            said = _uncut(layout, piece)
        faults.add(path, said)
        break
    return out


def _uncut(layout: Layout, piece: Piece) -> str:
    """Why a part has nothing that can be cut."""
    sheets = [p.name for p in layout.pieces if _is_sheet(p)]
    what = f"{shown(piece.name)} is a {piece.part.family}"
    if piece.part.wet:
        return f"{what} with ports: what holds coolant is not cut{choices(piece.name, sheets, 30)}"
    return f"{what} without a flat sheet that can be cut{choices(piece.name, sheets, 30)}"


def _is_sheet(piece: Piece) -> bool:
    return isinstance(piece.part, PlainSheet)


def _names(layout: Layout) -> list[str]:
    """The pieces a build names: not the screws and washers that were chosen for it."""
    return [p.name for p in layout.pieces if not p.part.small]


def _obstacles(layout: Layout, text: str, path: Path, faults: Faults) -> list[str]:
    """Names of the pieces that `text` means: a piece, a numbered entry, or the fittings on piece.port."""
    found = _called(layout, text)
    if found:
        return [p.name for p in found]
    fittings = [p.name for p in layout.pieces if isinstance(p.identity, Fitted) and str(p.identity.port) == text]
    if fittings:
        return fittings
    name, dot, port = text.partition(".")
    pieces = _called(layout, name) if dot else []
    if not pieces:
        faults.add(path, f"no part {shown(name)}{choices(name, _names(layout), 30)}")
        return []
    ports = [f.name for f in pieces[0].part.frames() if f.kind == "port"]
    if port not in ports:
        faults.add(path, f"{name} has no port {shown(port)}{choices(port, ports, 30)}")
    else:
        faults.add(path, f"nothing is screwed into {text}: there is no fitting to clear")
    return []


def _made(
    piece: Piece, cut: CutSpec, names: list[str], scene: Scene, path: Path, faults: Faults
) -> tuple[Piece, list[str]] | None:
    """The piece with the cut in it, and what is to be told; None, with the faults noted, where it cannot be made."""
    from elbowroom.model.templates.drawing import TemplateError
    from elbowroom.model.templates.notch import Sheet, notch

    part: Any = piece.part
    obstacles = _obstacle_meshes(scene, names)
    listed = ", ".join(names)
    sheet = Sheet(piece.pose, float(part.thickness), _with_holes(part))
    try:
        found = notch(sheet, obstacles, float(cut.gap), float(cut.tool))
    except TemplateError as e:
        faults.add(path, f"{piece.name}: {e}")
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
            faults.add(path, f"cutting {piece.name} to clear {listed} by {cut.gap:g} mm: {said}")
        return None
    sources = {k: v for k, v in piece.sources.items() if k != "cutouts"}
    whole = replace(piece, part=new, given=piece.given | {"cutouts"}, sources=sources)
    return whole, [_told(piece.name, listed, cut, found)]


def _obstacle_meshes(scene: Scene, names: Sequence[str]) -> list[Obstacle]:
    """The bodies of the named pieces, as the geometry of a cut takes them."""
    from elbowroom.model.templates.notch import Obstacle
    from elbowroom.parts.vocabulary.pose import apply as placed

    wanted = set(names)
    return [
        Obstacle(s.name, placed(s.pose, s.mesh.vertices), s.mesh.triangles, s.mesh.bound)
        for s in scene.solids
        if s.piece.name in wanted and s.body.keep_out is None
    ]


def _flats_made(
    piece: Piece, flats: Sequence[FlatSheet], cut: CutSpec, names: list[str], known: Known, path: Path,
    faults: Faults, severed: set[str],
) -> tuple[Piece, list[str]] | None:  # fmt: skip
    """The piece with its flat sheets cut, and what is to be told; None, with the fault noted, where it cannot be."""
    listed = ", ".join(names)
    try:
        obstacles = _obstacle_meshes(known.scene, names)
        whole, made = with_cuts(piece, flats, float(cut.gap), float(cut.tool), obstacles, known)
    except CannotCut as e:
        faults.add(path, f"cutting {piece.name} to clear {listed} by {cut.gap:g} mm: {e}")
        return None
    if not made:
        return piece, [f"{piece.name}: nothing is cut, since it clears {listed} by {cut.gap:g} mm already"]
    if any(m.severed for m in made):
        severed.add(piece.name)
    several = len(known.flats(piece)) > 1
    wheres = [f" in {m.flat.name} ({m.flat.words})" if several else "" for m in made]
    return whole, [_told(piece.name, listed, cut, m.notch, w) for m, w in zip(made, wheres, strict=True)]


def _with_holes(part: Any) -> Any:
    """What the sheet is at present, its own through holes taken out, so that webs to them are counted."""
    import shapely

    from elbowroom.parts.vocabulary.contour import flattened, slot

    holes = [
        shapely.Polygon(flattened(slot(float(h.at[0]), k * h.at[1], h.width, float(h.slot), k * h.angle), 0.01))
        for h in part.holes
        if h.face in ("top", "bottom") and h.depth is None
        for k in (1.0 if h.face == "top" else -1.0,)  # the underside's y, and its angles with it, run the other way
    ]
    return shapely.difference(part.left(), shapely.union_all(holes))


def _told(name: str, listed: str, cut: CutSpec, found: Any, where: str = "") -> str:
    kinds = [c.kind for c in found.cuts]
    many = {"notch": "notches", "hole": "holes"}
    counted = [(k, kinds.count(k)) for k in many if k in kinds]
    what = ", ".join(f"{n} {many[k] if n > 1 else k}" for k, n in counted)
    webs = [c.web for c in found.cuts if c.web is not None]
    said = f"{name}: {what}{where} to clear {listed} by {cut.gap:g} mm takes {sum(c.area for c in found.cuts):.0f} mm2"
    if webs:
        said += f"; the narrowest material left beside it is {min(webs):.1f} mm"
    if found.fallen:
        n = len(found.fallen)
        said += f"; {f'{n} pieces come' if n > 1 else 'a piece comes'} away ({found.fallen[0]:.0f} mm2)"
    return said + ". Deburr the edges: they are sharp."
