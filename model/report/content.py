"""What a report says: its headings, tables and pictures as plain values, for whatever it is written to.

Owns the choice and the order of it: whether it fits, the findings worst first with what would mend them, what to buy
grouped as one buys, what to cut, drill and print, air and coolant, what rests on assumed dimensions, cautions.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from elbowroom.model import pictures
from elbowroom.model.layout.layout import Piece
from elbowroom.model.pictures import Picture
from elbowroom.model.pipeline import Checked
from elbowroom.model.store import Store
from elbowroom.model.told import cautions
from elbowroom.model.told.alike import gathered
from elbowroom.model.told.findings import FAILING, UNDECIDED, Finding, overall, rounded
from elbowroom.model.told.places import distances
from elbowroom.model.told.progress import Progress
from elbowroom.model.told.verdict_words import WHOLE
from elbowroom.model.writers.bom import bought, dimensions, note, run_end
from elbowroom.model.writers.job import Job
from elbowroom.parts.fan.fan import Fan
from elbowroom.parts.fitting.fitting import Fitting
from elbowroom.parts.made.sheet import PlainSheet
from elbowroom.parts.screw.screw import Nut, Screw
from elbowroom.parts.tube.cable import CableBundle
from elbowroom.parts.tube.tube import TubeRun
from elbowroom.parts.vocabulary.base import SHORT_MARKS
from elbowroom.parts.vocabulary.measure import Measure


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of words under heads."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Told:
    """A finding as it is told: its verdict, what it says, where, what would help, which others it speaks for."""

    verdict: str
    text: str
    where: str
    number: str
    remedies: tuple[str, ...]
    more: str
    picture: Picture | None
    id: str


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the report: a heading with findings, tables, lines of words, pictures; empty ones are left out."""

    heading: str
    lines: tuple[str, ...] = ()
    findings: tuple[Told, ...] = ()
    tables: tuple[tuple[str, Table], ...] = ()
    pictures: tuple[Picture, ...] = ()


@dataclass(frozen=True, slots=True)
class Content:
    title: str
    result: str  # fits, fails or unknown
    verdict: str
    says: str
    parts: tuple[Part, ...] = field(default_factory=tuple)


def content(checked: Checked, store: Store, progress: Progress | None = None) -> Content:
    """The whole report of a checked build."""
    drawn = list(pictures.pictures(checked, store, progress))
    by_finding = {p.finding: p for p in drawn if p.finding}
    views = tuple(p for p in drawn if p.name.startswith("view-"))
    exploded = tuple(p for p in drawn if p.name == "exploded")
    ordered = sorted(checked.findings, key=lambda f: f.rank)
    failing = [f for f in ordered if f.verdict in FAILING | UNDECIDED]
    wary = [f for f in ordered if f.verdict == "caution" and f.question not in ("air", "coolant", "loop")]
    flow = [f for f in ordered if f.question in ("air", "coolant", "loop") and f.verdict not in FAILING | UNDECIDED]
    items = bought(Job(checked.scene, checked.findings, store.folder))
    count = f"{len(failing)} of {len(ordered)} findings fail or are undecided" if failing else ""
    parts = [
        Part("At a glance", (count or f"all {len(ordered)} findings are in order",), pictures=views[3:] + views[:3]),
        Part("What does not fit", findings=tuple(_told(failing, checked, by_finding))),
        Part("What to look at", findings=tuple(_told(wary, checked, {}))),
        Part("To buy and make", tables=tuple(_shopping(items, checked)), pictures=exploded),
        Part("To cut and drill", tuple(_work(ordered))),
        Part("Air and coolant", findings=tuple(_told(flow, checked, {}))),
        Part("Screws", pictures=tuple(p for p in drawn if p.name.startswith("screw-"))),
        Part("Assumed dimensions: measure these", tables=tuple(_assumed(checked, failing))),
        Part("Take care", tuple(cautions.of(ordered)) or (cautions.DEFER,)),
    ]
    whole = tuple(p for p in parts if p.lines or p.findings or p.tables or p.pictures)
    result = overall(ordered)
    return Content(checked.layout.title, result, WHOLE[result], "all lengths in millimetres", whole)


def _told(findings: Sequence[Finding], checked: Checked, drawn: dict[str, Picture]) -> Iterator[Told]:
    """Findings as the terminal gathers them: what follows from another under it, those alike by the worst of them."""
    present = {f.id for f in findings}
    by_name = {p.name: p for p in checked.layout.pieces}
    for group in gathered(findings, by_name):
        f = group[0]
        more = []
        if len(group) > 1:
            more.append(f"and {len(group) - 1} more like this: " + ", ".join(x.id for x in group[1:]))
        follow = [i for i in f.effects if i in present]
        if follow:
            more.append(f"{len(follow)} more follow from it: " + ", ".join(follow))
        yield Told(
            f.verdict, f.text, _where(f, checked), _number(f), f.remedies, "; ".join(more), drawn.get(f.id), f.id
        )


def _where(f: Finding, checked: Checked) -> str:
    interior = checked.layout.interior
    if not f.where or interior is None:
        return f.spot
    return f"{f.spot} ({distances(f.where[0], interior)})" if f.spot else distances(f.where[0], interior)


def _number(f: Finding) -> str:
    """The number of a finding, as the JSON has it."""
    if f.measured is None:
        return ""
    wanted = "" if not f.required else f"; wanted {rounded(f.required):g} {f.unit}"
    return f"{rounded(f.measured)} {f.unit}{wanted}"


def _shopping(items: Sequence[tuple[str, list[Piece]]], checked: Checked) -> Iterator[tuple[str, Table]]:
    """What to buy or make, a table a group, with its number in the parts list."""
    groups: dict[str, list[tuple[int, str, list[Piece]]]] = {}
    for n, (label, pieces) in enumerate(items, 1):
        groups.setdefault(_group(pieces[0]), []).append((n, label, pieces))
    for name in (*ORDER, *(g for g in groups if g not in ORDER)):
        rows = groups.get(name)
        if not rows:
            continue
        if name == "Screws, nuts and washers":
            rows.sort(key=lambda r: (type(r[2][0].part).__name__, r[2][0].part.box().size[2], r[1]))
        if name == "Tube":
            yield name, _tubes(rows, checked)
            continue
        cells = tuple(
            (str(n), str(len(p)), p[0].part.called or label, dimensions(p[0]), _notes(p, checked))
            for n, label, p in rows
        )
        yield name, Table(("no.", "count", "item", "dimensions", "where"), cells)


ORDER = (
    "Parts", "Fans", "Fittings", "Tube", "Screws, nuts and washers", "Sheet to cut", "To print", "Cables",
)  # fmt: skip


def _group(piece: Piece) -> str:
    part = piece.part
    if isinstance(part, (Screw, Nut)) or part.small:
        return "Screws, nuts and washers"
    if part.print_pose() is not None:
        return "To print"
    kinds: tuple[tuple[type, str], ...] = (
        (Fan, "Fans"), (Fitting, "Fittings"), (TubeRun, "Tube"), (PlainSheet, "Sheet to cut"), (CableBundle, "Cables"),
    )  # fmt: skip
    return next((name for kind, name in kinds if isinstance(part, kind)), "Parts")


def _notes(pieces: Sequence[Piece], checked: Checked) -> str:
    notes = dict.fromkeys(n for p in pieces if (n := note(p, checked.layout)))
    names = [p.name for p in pieces]
    where = ", ".join(names[:4]) + (f" and {len(names) - 4} more" if len(names) > 4 else "")
    return "; ".join([where, *notes])


def _tubes(rows: Sequence[tuple[int, str, list[Piece]]], checked: Checked) -> Table:
    """The cut list: a row a piece of tube, and one for what to buy of each thickness."""
    cells: list[tuple[str, ...]] = []
    sums: dict[str, float] = defaultdict(float)
    for n, _, pieces in rows:
        for p in pieces:
            part = p.part
            assert isinstance(part, TubeRun)
            size = f"{float(part.id):g}/{float(part.od):g}"
            ends = " -> ".join(str(run_end(p, frame, checked.layout) or "?") for frame in ("start", "end"))
            sums[size] += float(part.cut_length)
            cells.append((str(n), p.name, size, f"{float(part.cut_length):.1f}", ends))
    cells += [("", "in all", size, f"{total:.1f}", "without what is cut away") for size, total in sums.items()]
    return Table(("no.", "piece", "bore/outer", "cut length", "runs"), tuple(cells))


def _work(ordered: Sequence[Finding]) -> Iterator[str]:
    """What is to be cut or drilled, as the findings say it; the drawings at true size are templates of their own."""
    found = [
        f.text for f in ordered if f.question == "cut" or dict(f.extra).get("to_drill") or f.place.endswith("-window")
    ]
    yield from found
    if found:
        yield "drawings at true size: elbowroom export FILE --to DIR --only templates"


def _assumed(checked: Checked, failing: Sequence[Finding]) -> Iterator[tuple[str, Table]]:
    """Fields that rest on memory or practice, those that failing findings rest on first."""
    urgent = {name for f in failing for name, fields in f.basis.assumed if fields}
    for heading, wanted in (("what fails rests on these", True), ("the others", False)):
        rows, known = [], set()
        for p in checked.layout.pieces:
            if (p.name in urgent) is not wanted or p.part.small or (shape := p.part.shape_key()) in known:
                continue
            known.add(shape)
            values = [(n, getattr(p.part, n)) for n in p.assumed]
            said = [f"{n} {float(v):g} {v.UNIT}" for n, v in values if isinstance(v, Measure)]
            marks = sorted({SHORT_MARKS[p.sources[n][1]] for n in p.assumed})
            if said:
                rows.append((p.name, "; ".join(said), ", ".join(marks)))
        if rows:
            yield heading, Table(("part", "dimensions", "rest on"), tuple(rows))
