"""Which way the air goes, as a table of the openings, and what was found about it.

Owns the text of `elbowroom air`. Every word and number is a finding's.
"""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from elbowroom.model.checks.air_amounts import said
from elbowroom.model.command.screen import STYLE
from elbowroom.model.told.findings import Finding
from elbowroom.model.told.verdict_words import SIGN

_WAY = {"in": "in", "out": "out", "both": "in and out", "none": "no fan"}
_AIR = {
    "room": "the room's air", "case": "air from inside the case", "both": "air of the room and of the case",
    "none": "no fan blows through it", "unknown": "no case to tell by",
}  # fmt: skip


def tell(out: Console, findings: Sequence[Finding]) -> None:
    """Print the openings, each radiator's air, and the findings, worst first."""
    flow = next((dict(f.extra) for f in findings if f.place == "flow"), None)
    if flow is None:
        out.print("no fans and no radiators: nothing moves air in this build")
        return
    toward = {f["fan"]: f["toward"] for f in flow["fans"]}
    table = Table("opening", "air goes", "fans, by the way they blow", "dust filter", "free flow", box=None)
    for o in flow["openings"]:
        ways = dict.fromkeys(toward[name] for name in o["fans"])
        fans = "; ".join(f"{way}: {', '.join(n for n in o['fans'] if toward[n] == way)}" for way in ways)
        stated = o["free_flow_m3h"]
        amount = "-" if stated is None and not o["fans"] else "not stated" if stated is None else said(stated)
        dust = {True: "yes", False: "no", None: "-"}[o["filter"]]
        table.add_row(escape(o["opening"]), _WAY[o["air"]], escape(fans), dust, amount)
    out.print(table)
    inside = [f["fan"] for f in flow["fans"] if f["opening"] is None]
    if inside:
        out.print(f"at no opening: {escape(', '.join(f'{name} {toward[name]}' for name in inside))}")
    for r in flow["radiators"]:
        out.print(f"{escape(r['radiator'])}: {_AIR[r['air']]}")
    out.print()
    for f in sorted(findings, key=lambda f: f.rank):
        said_as = escape(f"{SIGN[f.verdict]} {f.verdict}")
        out.print(f"[{STYLE.get(f.verdict, 'dim')}]{said_as}[/]  {escape(f.text)}", soft_wrap=True)
        for remedy in f.remedies:
            out.print(f"    {escape(remedy)}", soft_wrap=True)
