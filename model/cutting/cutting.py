"""Cutting sheets of the build as it asks (`cut`): before what is screwed into ports and laid between them is judged.

Owns the order of it: the sheets to cut are taken out, fittings and tubes find their places among the rest, and the
sheets come back with the outlines that clear them. What an outline is belongs to `cut_spec` and `templates`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from elbowroom.model.build.cut_spec import split
from elbowroom.model.build.entries import Build
from elbowroom.model.cutting.asked import apply
from elbowroom.model.cutting.flat_cutting import TRIMMED_MM
from elbowroom.model.geometry.solidify import solidify
from elbowroom.model.layout.layout import Layout, Piece, piece_of
from elbowroom.model.loop.plumbing import Plumbing
from elbowroom.model.screws.fasten import Fastened
from elbowroom.model.store import Store
from elbowroom.model.told.cautions import AT_THE_SHEET
from elbowroom.model.told.findings import Basis, Finding, Verdict
from elbowroom.model.told.progress import Progress


@dataclass(frozen=True, slots=True, eq=False)
class Cut:
    """A fastened build with its sheets cut: the third state. With what was cut, as findings."""

    fastened: Fastened
    layout: Layout
    findings: tuple[Finding, ...] = ()


def cut(fastened: Fastened, plumbing: Plumbing | None, store: Store, progress: Progress | None = None) -> Cut:
    """Cut what the build asks for. Raises BuildError with the faults of the words."""
    build, layout = fastened.placed.build, fastened.layout
    if not build.cut:
        return Cut(fastened, layout)
    named = [split(c.in_)[0] for c in build.cut]
    sheets = {p.name for p in layout.pieces if any(p.answers_to(n) for n in named)}
    standing = _without(layout, sheets)
    if plumbing is not None:
        standing = _with_fittings(build, standing, plumbing, store, progress)
    whole = replace(standing, pieces=(*standing.pieces, *(p for p in layout.pieces if p.name in sheets)))
    done = apply(whole, solidify(whole, store, progress), build.cut, build.document, store)
    new = {p.name: p for p in done.layout.pieces if p.name in sheets}
    told = [
        _told(layout.piece(note.piece), new[note.piece], note.text, k, note.piece in done.severed)
        for k, note in enumerate(done.notes, 1)
    ]
    return Cut(fastened, replace(layout, pieces=tuple(new.get(p.name, p) for p in layout.pieces)), tuple(told))


def _with_fittings(
    build: Build, standing: Layout, plumbing: Plumbing, store: Store, progress: Progress | None
) -> Layout:
    """The layout with what the cuts are to clear: fittings that do not turn stand where they stand; where a swivel or a
    tube is named, the whole loop is laid.
    """
    from elbowroom.model.laying.laying import lay
    from elbowroom.model.loop.fitted import fittings

    fixed = [c for c in plumbing.chains.values() if not c.free]
    known = {str(c.port) for c in fixed} | {w for p in standing.pieces for w in (p.name, p.row)}
    if any(name not in known for c in build.cut for name in c.for_):
        return lay(standing, plumbing, store, progress).layout
    pieces, mates = fittings(standing, fixed, {})
    return replace(standing, pieces=(*standing.pieces, *pieces), mates=(*standing.mates, *mates))


def _told(old: Piece, new: Piece, note: str, number: int, severed: bool) -> Finding:
    """What became of a sheet: nothing, a notch or a hole, or (a fault) an end or a side that comes off whole."""
    verdict: Verdict = "pass" if new is old else "caution"
    before, after = old.part.box().size, new.part.box().size
    if any(b - a > TRIMMED_MM for b, a in zip(before, after, strict=True)):
        verdict = "fail"
        left = f"{after[0]:g} x {after[1]:g} of {before[0]:g} x {before[1]:g} mm"
        note += f" It cuts the sheet through: {left} are left."
    elif severed:
        verdict, note = "fail", note + " It cuts the sheet through: an end or a side of it comes off."
    return Finding(
        "cut", verdict, (old.name,), note, basis=Basis("mesh"),
        extra=(
            ("cutouts", len(getattr(new.part, "cutouts", ())) + len(new.part.cuts)),
        ),
        place=str(number), take_care=() if new is old else AT_THE_SHEET,
    )  # fmt: skip


def _without(layout: Layout, names: set[str]) -> Layout:
    return replace(
        layout,
        pieces=tuple(p for p in layout.pieces if p.name not in names),
        mates=tuple(m for m in layout.mates if m.piece not in names and m.to_piece not in names),
        joined=tuple(j for j in layout.joined if piece_of(j.body) not in names and piece_of(j.to_body) not in names),
    )
