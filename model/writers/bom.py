"""Bill of materials: a row for each thing to buy or make, as CSV (RFC 4180, UTF-8) that a spreadsheet opens safely.

Owns the columns and the guarding of cells. A row is a distinct shape that the scene holds; shapes that are one
article turned differently (a swivel at several angles) share a row. A tube says the length it is cut to and the ports
it runs between; what is not to be had as it is says how to come by it. Inserts, nuts and screws that are set into made
parts are bought as well. Fields that mean nothing to a part's variant are not listed.
"""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from elbowroom.model.geometry.names import POSTURE, article, catalogue_name
from elbowroom.model.layout.identity import Fitted
from elbowroom.model.layout.layout import Layout, Piece
from elbowroom.model.writers.job import Files, Job
from elbowroom.parts.made.adapter import Adapter
from elbowroom.parts.screw.captive import insert_for
from elbowroom.parts.screw.screw import Nut, Screw
from elbowroom.parts.screw.screw_tables import odd
from elbowroom.parts.tube.tube import TubeRun
from elbowroom.parts.vocabulary.base import ASSUMED, MARKS, Mark, Part
from elbowroom.parts.vocabulary.measure import Measure, Mm

FILE = "bom.csv"
COLUMNS = (
    "count", "item", "kind", "catalogue size", "outer x (mm)", "outer y (mm)", "outer z (mm)", "dimensions",
    "where the sizes come from", "pieces in the build", "note",
)  # fmt: skip

# A cell that begins with one of these is run as a formula by spreadsheets (OWASP, "CSV Injection").
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
_STRENGTH = ("M", "P", "C", "V")  # weakest evidence first


def write(job: Job) -> Files:
    """`bom.csv`, rows in order of first appearance."""
    out = io.StringIO(newline="")
    table = csv.writer(out, lineterminator="\r\n")
    table.writerow(COLUMNS)
    for label, pieces in bought(job):
        part = pieces[0].part
        x, y, z = (number(edge) for edge in part.box().size)
        table.writerow(
            [
                len(pieces), label, part.family, guarded(catalogue_name(part) or ""), x, y, z,
                guarded(dimensions(pieces[0])), guarded(rests_on(pieces)), guarded("; ".join(p.name for p in pieces)),
                guarded("; ".join(dict.fromkeys(n for p in pieces if (n := note(p, job.scene.layout))))),
            ]
        )  # fmt: skip
    table.writerows(_inserts([p for _, _, pieces, _ in job.shapes for p in pieces]))
    yield FILE, out.getvalue().encode("utf-8", "replace")


def bought(job: Job) -> list[tuple[str, list[Piece]]]:
    """What there is to buy or make, each with its pieces, in the order of the rows; inserts alone are told after it."""
    found: dict[str, tuple[str, list[Piece]]] = {}
    for label, _, pieces, solids in job.shapes:
        if all(s.body.keep_out is not None for s in solids):
            continue  # nothing to buy or make
        name = catalogue_name(pieces[0].part)
        key = name or f"{pieces[0].part.family} {article(pieces[0].part)}"
        found.setdefault(key, (name or label, []))[1].extend(pieces)
    pieces_made = [p for _, _, pieces, _ in job.shapes for p in pieces]
    for piece in _standard(pieces_made):
        name = catalogue_name(piece.part)
        key = name or f"{piece.part.family} {article(piece.part)}"
        found.setdefault(key, (name or _sized(piece.part), []))[1].append(piece)
    return list(found.values())


def _standard(pieces: Sequence[Piece]) -> list[Piece]:
    """The nuts and screws that are set into parts, as pieces of their own."""
    out = []
    for piece in pieces:
        for own in piece.part.set_in():
            part: Nut | Screw
            rests: tuple[str, Mark]
            if own.kind == "nut":
                part, rests = Nut(thread=own.thread), ("ISO 4032 (transcribed by public code)", "C")
            elif own.kind == "screw":
                part, rests = Screw(thread=own.thread, length=Mm(own.length), head="cap"), ("ISO 4762", "V")
            else:
                continue
            sources = dict.fromkeys(type(part).model_fields, rests)
            out.append(replace(piece, name=f"in {piece.name}", part=part, given=frozenset(), sources=sources))
    return out


def _sized(part: Part) -> str:
    return f"{part.family}-{'x'.join(f'{round(edge, 1):g}'.replace('.', '_') for edge in part.box().size)}"


def _inserts(pieces: Sequence[Piece]) -> list[list[object]]:
    """A row for the heat-set inserts of each thread."""
    into: dict[str, Counter[str]] = {}
    for piece in pieces:
        for own in piece.part.set_in():
            if own.kind == "insert":
                into.setdefault(own.thread, Counter())[piece.name] += 1
    rows: list[list[object]] = []
    for thread, counts in into.items():
        made = insert_for(thread)
        size = [number(v) for v in (made.outer, made.outer, made.length)]
        told = f"outer {number(made.outer)} mm; length {number(made.length)} mm; pilot {number(made.pilot)} mm"
        where = "; ".join(f"in {name} ({n})" if n > 1 else f"in {name}" for name, n in counts.items())
        rows.append([
            sum(counts.values()), f"insert-{thread.lower()}", "insert", "", *size, told,
            f"{MARKS['V']}: outer, length, pilot", guarded(where), f"heat-set insert {thread}, melted in",
        ])  # fmt: skip
    return rows


def note(piece: Piece, layout: Layout) -> str:
    """What one must know to get a piece: where a tube runs, how to come by an odd screw, what no shop has."""
    part = piece.part
    if isinstance(part, TubeRun):
        ends = [run_end(piece, frame, layout) for frame in ("start", "end")]
        return f"{piece.name}: {ends[0]} -> {ends[1]}" if all(ends) else ""
    if isinstance(part, Screw):
        return odd(part.thread, float(part.length))
    if isinstance(part, Adapter) and catalogue_name(part) is None:
        return "made for this build: no catalogue size"
    return ""


def run_end(tube: Piece, frame: str, layout: Layout) -> str | None:
    """The port, piece.port, that the fittings at one end of a tube are screwed into; None where it has none."""
    fitted = {p.name: str(p.identity.port) for p in layout.pieces if isinstance(p.identity, Fitted)}
    for m in layout.mates:
        for own, own_frame, other in ((m.piece, m.frame, m.to_piece), (m.to_piece, m.to_frame, m.piece)):
            if (own, own_frame) == (tube.name, frame) and other in fitted:
                return fitted[other]
    return None


def dimensions(piece: Piece) -> str:
    """The part's measured fields with their units, in the order the family declares them."""
    hidden = POSTURE | piece.part.unused_fields()
    values = [(name, getattr(piece.part, name)) for name in piece.part.dimensions() if name not in hidden]
    if isinstance(piece.part, TubeRun):
        values.insert(0, ("cut_length", Mm(piece.part.cut_length)))
    return "; ".join(f"{name} {number(v)} {v.UNIT}" for name, v in values if isinstance(v, Measure))


def rests_on(pieces: Sequence[Piece]) -> str:
    """Which fields the build states and which rest on what evidence, the weakest of any instance counting."""
    groups: dict[str, list[str]] = {}
    for name in type(pieces[0].part).model_fields:
        if name in pieces[0].part.unused_fields():
            continue
        marks = {"build" if name in p.given else p.sources[name][1] for p in pieces if name in p.given | set(p.sources)}
        if marks:
            groups.setdefault(min(marks, key=lambda m: (*_STRENGTH, "build").index(m)), []).append(name)
    said = []
    for mark in ("build", *reversed(_STRENGTH)):
        if mark in groups:
            basis = "the build" if mark == "build" else MARKS[mark] + (" (assumed)" if mark in ASSUMED else "")
            said.append(f"{basis}: {', '.join(groups[mark])}")
    return "; ".join(said)


def number(value: float) -> str:
    """A number to a thousandth, without trailing zeros."""
    return f"{round(float(value), 3) + 0.0:.3f}".rstrip("0").rstrip(".")


def guarded(text: str) -> str:
    """A text cell that no spreadsheet takes for a formula."""
    return f"'{text}" if text.startswith(_FORMULA) else text
