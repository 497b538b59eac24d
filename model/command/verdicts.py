"""What a check says: the findings worst first, one short line each, and all there is to say of one.

Owns which findings are listed, which speak for others, and how a line is laid out. Every number comes from a finding,
as every other output's does; the short words are `told.headlines`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from elbowroom.model.build.problems import InputError, choices, shown
from elbowroom.model.command.screen import STYLE, answers
from elbowroom.model.layout.layout import Layout
from elbowroom.model.told import alike, cautions
from elbowroom.model.told.findings import FAILING, Finding, overall, rounded
from elbowroom.model.told.headlines import headline
from elbowroom.model.told.particulars import AtJoint
from elbowroom.model.told.places import distances
from elbowroom.model.told.verdict_words import SIGN, WHOLE
from elbowroom.parts.vocabulary.base import Box

_WIDTH = 110  # characters of a line of cautions
_BY = {
    "exact": "exactly", "mesh": "on meshes", "boxes": "as a lower bound, from boxes", "arithmetic": "by arithmetic",
    "none": "from what the build says",
}  # fmt: skip
_INDENT = 17  # columns before a finding's words: its number, sign and verdict


def summary(title: str, findings: Sequence[Finding], layout: Layout, *, every: bool = False) -> None:
    """The findings worst first, a short line each, or with `every` all that each says; then whether it fits, and last
    what to do next.

    layout: what they are about; where it has a case, places are told from its walls.
    """
    out, interior = answers(), layout.interior
    ordered = sorted(findings, key=lambda f: f.rank)
    present = {f.id: f for f in ordered}
    heads = alike.numbered(ordered)
    numbers = {f.id: n for n, f in enumerate(heads, 1)}
    kinds = alike.gathered(ordered, {p.name: p for p in layout.pieces})
    shown = [(same[0], len(same) - 1) for same in kinds if same[0].id in numbers or same[0].question == "height"]
    listed = [(f, 0) for f in alike.leading(ordered)] if every else shown
    out.print(f"[bold]{escape(title)}[/bold]")
    if interior is None and any(f.where for f, _ in listed):
        out.print(
            "  [dim]places x, y, z are mm from the zero point that the build's own x, y, z are measured from[/dim]"
        )
    lettered: set[str] = set()  # hole patterns whose letter was said to be which face
    for f, more in listed:
        follow = [present[i] for i in f.effects if i in present]
        if every:
            _told(out, f, interior, _lettered(f, lettered), numbers.get(f.id))
            for other in follow:
                _told(out, other, interior, indent=4)
        else:
            _in_short(out, f, interior, numbers.get(f.id), more, len(follow), lettered)
    result = overall(ordered)
    counts = Counter(f.verdict for f in ordered)
    listing = ", ".join(f"{n} {v}" for v, n in counts.items())
    style = {"fits": "bold green", "fails": "bold red", "unknown": "bold yellow"}[result]
    out.print(f"  [{style}]{WHOLE[result].lower()}[/]: {len(ordered)} findings{f' ({listing})' if listing else ''}")
    assumed = {
        (name, field) for f in ordered if f.verdict in FAILING for name, fields in f.basis.assumed for field in fields
    }
    if assumed:
        pieces = len({name for name, _ in assumed})
        out.print(
            f"  The failing findings rest on {len(assumed)} assumed dimensions of {pieces} parts; "
            "measure those before you cut (listed in the JSON under basis)."
        )
    care = cautions.of(ordered)
    for line in cautions.listed(care, _WIDTH) if care else ():
        out.print(f"  [dim]{escape(line)}[/dim]")
    out.print(f"  [bold]Next:[/bold] {escape(_next(heads, result))}")


def explain(findings: Sequence[Finding], layout: Layout, what: str) -> None:
    """All there is to say of one finding, named by its number in the list or its id, or of all about one piece.

    Raises InputError where `what` names none of these.
    """
    ordered = sorted(findings, key=lambda f: f.rank)
    present, out = {f.id: f for f in ordered}, answers()
    numbers = {f.id: n for n, f in enumerate(alike.numbered(ordered), 1)}
    about = [f for f in ordered if what == f.id]
    if what.isdecimal():
        about = [alike.by_number(findings, what)]
    if not about:
        called = {p.name for p in layout.pieces if p.answers_to(what)}
        named = [f for f in ordered if called & set(f.parts)]
        about = [f for f in named if f.verdict in alike.SHOWN] or named
    if not about:
        known = [f.id for f in ordered] if ":" in what else [p.name for p in layout.pieces]
        raise InputError(f"no finding, number or part {shown(what)}{choices(what, known)}")
    for f in about:
        _told(out, f, layout.interior, number=numbers.get(f.id))
        for line in _rests(f):
            out.print(" " * _INDENT + f"[dim]{escape(line)}[/dim]")
        for i in f.effects:
            if i in present:
                _told(out, present[i], layout.interior, indent=4)
        care = cautions.of([f])
        for line in cautions.listed(care, _WIDTH) if care else ():
            out.print(" " * _INDENT + f"[dim]{escape(line)}[/dim]")


def _next(heads: Sequence[Finding], result: str) -> str:
    if result == "fits" and not heads:
        return "elbowroom export FILE --to DIR writes the model, templates and the parts list"
    first = heads[0]
    if first.remedies and result != "fits":
        return f"{first.remedies[0]} (1); elbowroom explain FILE 1 says all there is to it"
    return "elbowroom explain FILE 1 says all there is to the first" + (
        "; export writes the model, templates and the parts list" if result == "fits" else ""
    )


def _rests(f: Finding) -> list[str]:
    """The numbers behind a finding and what they rest on."""
    out = []
    if f.measured is not None:
        spread = ""
        if f.low is not None and f.high is not None and f.high > f.low:
            spread = f", between {rounded(f.low, 3):g} and {rounded(f.high, 3):g}"
        wanted = "" if not f.required else f"; wanted {rounded(f.required, 3):g}"
        out.append(f"measured {rounded(f.measured, 3):g} {f.unit}{spread}{wanted}")
    bound = f" to {rounded(f.basis.bound, 4):g} mm" if f.basis.bound else ""
    out.append(f"worked out {_BY[f.basis.method]}{bound}")
    out += [f"assumed of {name}: {', '.join(fields)}" for name, fields in f.basis.assumed if fields]
    out.append(f"id {f.id}")
    return out


def _in_short(
    out: Console, f: Finding, interior: Box | None, number: int | None, more: int, follow: int, lettered: set[str]
) -> None:
    """One line: what, how much, where; below it the first way out."""
    notes = _lettered(f, lettered)
    notes += f" [dim](and {more} more like this)[/dim]" if more else ""
    notes += f" [dim](and {follow} that follow from it)[/dim]" if follow else ""
    _line(out, _lead(f, number), f"{escape(headline(f))}{_where(f, interior)}{notes}")
    if not f.remedies and "clear_after_mm" in dict(f.extra) and (farther := f.text.split("; ")[1:]):
        _line(out, " " * _INDENT, f"→ {escape(farther[-1])}")
    if f.remedies:
        rest = len(f.remedies) - 1
        others = f" [dim](or {rest} more way{'s' * (rest > 1)})[/dim]" if rest else ""
        _line(out, " " * _INDENT, f"→ {escape(f.remedies[0])}{others}")


def _lead(f: Finding, number: int | None) -> str:
    return f"{'' if number is None else number:>4} [{STYLE.get(f.verdict, 'green')}]{SIGN[f.verdict]} {f.verdict:9}[/]"


def _line(out: Console, lead: str, words: str) -> None:
    """Words after a lead, kept to their own column where a terminal's width breaks them."""
    if not out.is_terminal:
        out.print(f"{lead} {words}")
        return
    grid = Table.grid(padding=(0, 1))
    grid.add_column(no_wrap=True, min_width=_INDENT - 1)
    grid.add_column()
    grid.add_row(lead, words)
    out.print(grid, soft_wrap=False)


def _lettered(f: Finding, explained: set[str]) -> str:
    """What the letter of a hole pattern stands for, where it first appears."""
    if f.joint_face is None or not isinstance(at := f.about, AtJoint):
        return ""
    if len(at.pattern) > 1 or at.joint in explained:
        return ""
    explained.add(at.joint)
    return f" [dim]({escape(at.joint)}: its face {f.joint_face})[/dim]"


def _told(
    out: Console, f: Finding, interior: Box | None, more: str = "", number: int | None = None, indent: int = 0
) -> None:
    """One finding: its verdict, all it says, where it is, and what would help."""
    space = " " * indent
    _line(out, f"{space}{_lead(f, number)}", f"{escape(f.text)}{_where(f, interior)}{more}")
    for remedy in f.remedies:
        _line(out, f"{space}{' ' * _INDENT}", f"→ {escape(remedy)}")


def _where(f: Finding, interior: Box | None) -> str:
    """Where a finding is: in words, then as a person with a tape finds it, from rear wall, tray and floor."""
    if not f.where or f.verdict in ("clear", "pass"):
        return ""
    x, y, z = f.where[0]
    if interior is None:
        return f" [dim]at x {x:.1f}, y {y:.1f}, z {z:.1f}[/dim]"
    words = f"{f.spot}: " if f.spot else ""
    return f" [dim]({words}{distances(f.where[0], interior)})[/dim]"
