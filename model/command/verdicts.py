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
from elbowroom.model.command.screen import SIGN, STYLE, answers
from elbowroom.model.layout.layout import Layout
from elbowroom.model.told import alike
from elbowroom.model.told.cautions import DEFER
from elbowroom.model.told.cautions import listed as listed_cautions
from elbowroom.model.told.findings import FAILING, Finding, overall, rounded
from elbowroom.model.told.headlines import headline
from elbowroom.model.told.particulars import AtJoint
from elbowroom.model.told.places import distances
from elbowroom.parts.vocabulary.base import Box

_WIDTH = 110  # characters of a line of cautions
_SHOWN = frozenset({"clash", "fail", "touch", "tight", "unknown", "caution"})
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
    heads = _heads(ordered)
    listed = _led(ordered) if every else [f for f, _ in gathered_alike(ordered, layout)]
    out.print(f"[bold]{escape(title)}[/bold]")
    if interior is None and any(f.where for f in listed):
        out.print(
            "  [dim]places x, y, z are mm from the zero point that the build's own x, y, z are measured from[/dim]"
        )
    lettered: set[str] = set()  # hole patterns whose letter was said to be which face
    more = {f.id: count - 1 for f, count in gathered_alike(ordered, layout)}
    for f in listed:
        number = heads.index(f) + 1 if f in heads else None
        if every:
            _told(out, f, interior, _lettered(f, lettered), number)
            for i in f.effects:
                if i in present:
                    _told(out, present[i], interior, indent=4)
        else:
            _in_short(out, f, interior, number, more[f.id], sum(i in present for i in f.effects), lettered)
    result = overall(ordered)
    counts = Counter(f.verdict for f in ordered)
    listing = ", ".join(f"{n} {v}" for v, n in counts.items())
    words = {"fits": "it fits", "fails": "it does not fit", "unknown": "unknown whether it fits"}
    style = {"fits": "bold green", "fails": "bold red", "unknown": "bold yellow"}[result]
    out.print(f"  [{style}]{words[result]}[/]: {len(ordered)} findings{f' ({listing})' if listing else ''}")
    assumed = {
        (name, field) for f in ordered if f.verdict in FAILING for name, fields in f.basis.assumed for field in fields
    }
    if assumed:
        pieces = len({name for name, _ in assumed})
        out.print(
            f"  The failing findings rest on {len(assumed)} assumed dimensions of {pieces} parts; "
            "measure those before you cut (listed in the JSON under basis)."
        )
    care = dict.fromkeys(c for f in ordered for c in f.take_care)
    last = [*(c for c in care if c != DEFER), DEFER]  # whatever hurts, those who know better are named once, at the end
    for line in listed_cautions(last, _WIDTH) if care else ():
        out.print(f"  [dim]{escape(line)}[/dim]")
    out.print(f"  [bold]Next:[/bold] {escape(_next(heads, result))}")


def explain(findings: Sequence[Finding], layout: Layout, what: str) -> None:
    """All there is to say of one finding, named by its number in the list or its id, or of all about one piece.

    Raises InputError where `what` names none of these.
    """
    ordered = sorted(findings, key=lambda f: f.rank)
    heads, out = _heads(ordered), answers()
    about = [f for f in ordered if what == f.id]
    if what.isdecimal():
        if not 0 < int(what) <= len(heads):
            raise InputError(
                f"no finding {what}; the list goes from 1 to {len(heads)}" if heads else "nothing is wrong"
            )
        about = [heads[int(what) - 1]]
    if not about:
        named = [f for f in ordered if any(p in f.parts for p in _pieces_called(layout, what))]
        about = [f for f in named if f.verdict in _SHOWN] or named
    if not about:
        known = [f.id for f in ordered] if ":" in what else [p.name for p in layout.pieces]
        raise InputError(f"no finding, number or part {shown(what)}{choices(what, known)}")
    for f in about:
        _told(out, f, layout.interior, number=heads.index(f) + 1 if f in heads else None)
        for line in _rests(f):
            out.print(" " * _INDENT + f"[dim]{escape(line)}[/dim]")
        for i in f.effects:
            for other in ordered:
                if other.id == i:
                    _told(out, other, layout.interior, indent=4)
        care = [*(c for c in f.take_care if c != DEFER), DEFER] if f.take_care else []
        for line in listed_cautions(care, _WIDTH) if care else ():
            out.print(" " * _INDENT + f"[dim]{escape(line)}[/dim]")


def gathered_alike(ordered: Sequence[Finding], layout: Layout) -> list[tuple[Finding, int]]:
    """What is listed, and how many findings of its kind each speaks for, itself too: the worst for the others."""
    pieces = {p.name: p for p in layout.pieces}
    kinds: dict[tuple[str, ...], list[Finding]] = {}
    for f in _led(ordered):
        if f.verdict in _SHOWN or f.question == "height":
            kinds.setdefault(alike.key(f, pieces), []).append(f)
    return [(same[0], len(same)) for same in kinds.values()]


def _led(ordered: Sequence[Finding]) -> list[Finding]:
    """Without what follows from another, which is told under it."""
    present = {f.id for f in ordered}
    return [f for f in ordered if f.cause not in present]


def _heads(ordered: Sequence[Finding]) -> list[Finding]:
    """What is numbered: all that is not well."""
    return [f for f in _led(ordered) if f.verdict in _SHOWN]


def _next(heads: Sequence[Finding], result: str) -> str:
    if result == "fits" and not heads:
        return "elbowroom export FILE --to DIR writes the model, templates and the parts list"
    first = heads[0]
    if first.remedies and result != "fits":
        return f"{first.remedies[0]} (1); elbowroom explain FILE 1 says all there is to it"
    return "elbowroom explain FILE 1 says all there is to the first" + (
        "; export writes the model, templates and the parts list" if result == "fits" else ""
    )


def _pieces_called(layout: Layout, name: str) -> list[str]:
    return [p.name for p in layout.pieces if p.answers_to(name)]


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
    out: Console, f: Finding, interior: Box | None, number: int | None, alike: int, follow: int, lettered: set[str]
) -> None:
    """One line: what, how much, where; below it the first way out."""
    notes = _lettered(f, lettered)
    notes += f" [dim](and {alike} more like this)[/dim]" if alike else ""
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
