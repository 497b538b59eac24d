"""What a person at a terminal sees while the work goes on: a bar with the step at work, and what fails already.

Owns the colours of the verdicts and the console, which the findings are printed with as well. Loads no engine, so that
something shows at once. Nothing of the bar is written where standard error is no terminal.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import NamedTuple

from rich.console import Console
from rich.markup import escape

from elbowroom.model.told.findings import Finding
from elbowroom.model.told.progress import Early, Progress
from elbowroom.model.told.verdict_words import SIGN

STYLE = {
    "clash": "bold red",
    "fail": "bold red",
    "touch": "red",
    "tight": "red",
    "unknown": "yellow",
    "caution": "yellow",
}
EARLY = 5  # findings told while tubes are still being laid; all are told at the end


class _Answer(Console):
    """A console that leaves it to the command what a closed pipe means."""

    def on_broken_pipe(self) -> None:
        raise BrokenPipeError


def answers() -> Console:
    """Where answers are printed."""
    # Where there is no terminal to fit into, tables keep their columns whole.
    return _Answer(highlight=False, soft_wrap=True, width=None if sys.stdout.isatty() else 240)


class Screen(NamedTuple):
    """Where a person waits: how far the work is, and what is found before the rest of it."""

    step: Progress
    early: Early


@contextmanager
def screen() -> Iterator[Screen | None]:
    """A bar on standard error, and above it what is found early, where that is a terminal; None where it is not."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bars

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Bars(*columns, console=Console(stderr=True, highlight=False), transient=True) as bars:
        task = bars.add_task("reading the build", total=None)

        def step(done: int, total: int, what: str) -> None:
            bars.update(task, description=what, completed=done, total=total)

        def early(found: Sequence[Finding]) -> None:
            for line in _before_tubes(found):
                bars.console.print(line)

        yield Screen(step, early)


def _before_tubes(found: Sequence[Finding]) -> list[str]:
    """What fails already, worst first, while the tubes are still being laid."""
    from elbowroom.model.told.alike import leading

    heads = leading(found)
    if not heads:
        return ["[dim]so far nothing fails: parts, holes and screws; tubes, ports and air are still to come[/dim]"]
    lines = [f"[dim]so far, before tubes, ports and air: {len(heads)} that do not fit[/dim]"]
    lines += [f"  [{STYLE[f.verdict]}]{SIGN[f.verdict]} {f.verdict:8}[/] {escape(f.text)}" for f in heads[:EARLY]]
    return lines + [f"  [dim]and {len(heads) - EARLY} more[/dim]"] * (len(heads) > EARLY)
