"""Bill of materials: a row for each thing to buy or make, as CSV (RFC 4180, UTF-8) that a spreadsheet opens safely.

Owns the columns and the guarding of cells. A row is a distinct shape that the scene holds; shapes that are one
article turned differently (a swivel at several angles) share a row. A tube says the length it is cut to and the ports
it runs between; what is not to be had as it is says how to come by it. Fields that mean nothing to a part's variant are
not listed.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence

from elbowroom.model.layout import Layout, Piece
from elbowroom.model.writers.job import Files, Job
from elbowroom.model.writers.names import POSTURE, article, catalogue_name
from elbowroom.parts.adapter import Adapter
from elbowroom.parts.base import ASSUMED, MARKS
from elbowroom.parts.measure import Measure, Mm
from elbowroom.parts.screw import Screw
from elbowroom.parts.screw_tables import odd
from elbowroom.parts.tube import TubeRun

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
    bought: dict[str, tuple[str, list[Piece]]] = {}
    for label, _, pieces, solids in job.shapes:
        if all(s.body.keep_out is not None for s in solids):
            continue  # nothing to buy or make
        name = catalogue_name(pieces[0].part)
        key = name or f"{pieces[0].part.family} {article(pieces[0].part)}"
        bought.setdefault(key, (name or label, []))[1].extend(pieces)
    for label, pieces in bought.values():
        part = pieces[0].part
        x, y, z = (number(edge) for edge in part.box().size)
        table.writerow(
            [
                len(pieces), label, part.family, guarded(catalogue_name(part) or ""), x, y, z,
                guarded(dimensions(pieces[0])), guarded(rests_on(pieces)), guarded("; ".join(p.name for p in pieces)),
                guarded("; ".join(dict.fromkeys(n for p in pieces if (n := note(p, job.scene.layout))))),
            ]
        )  # fmt: skip
    yield FILE, out.getvalue().encode("utf-8", "replace")


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
    for m in layout.mates:
        for own, own_frame, other in ((m.piece, m.frame, m.to_piece), (m.to_piece, m.to_frame, m.piece)):
            if (own, own_frame) == (tube.name, frame) and " at " in other:
                return re.sub(r" \(\d+\)$", "", other.partition(" at ")[2])
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
