"""What the commands share: the program itself, and the words that most of them take.

Owns these alone; the commands are `cli`'s and `showing`'s.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

app = typer.Typer(
    name="elbowroom",
    help="Check that the parts of a liquid-cooled PC fit together, from one build file. "
    "Exit status: 0 it fits, 1 something fails, 2 bad input (nothing is written), 3 nothing fails but something is "
    "unknown, 70 a fault of elbowroom itself, 130 stopped by Ctrl-C.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

BuildFile = Annotated[Path, typer.Argument(metavar="FILE", help="The build file (YAML).", show_default=False)]
Set = Annotated[
    list[str] | None,
    typer.Option("--set", metavar="PATH=VALUE", help="Change one value of the build, e.g. case.sheet=1.2. Repeatable."),
]


def status_of(checked: Any) -> int:
    """The exit status of a checked build."""
    from elbowroom.model.told.findings import EXIT_STATUS, overall

    return EXIT_STATUS[overall(checked.findings)]
