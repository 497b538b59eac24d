"""The command line: wires the stages together and turns results into text, files and an exit status.

Owns the commands, their options and how faults of the input or of the machine are told. Decides nothing about builds.
Heavy modules load inside the commands, so that `--help` and a refused file answer at once.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer

FITS, FAILS, BAD_INPUT, UNDECIDED = 0, 1, 2, 3

app = typer.Typer(
    name="elbowroom",
    help="Check that the parts of a liquid-cooled PC fit together, from one build file. "
    "Exit status: 0 it fits, 1 something fails, 2 bad input, 3 something is unknown.",
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


@app.command()
def check(
    file: BuildFile,
    json: Annotated[str | None, typer.Option("--json", metavar="FILE|-", help="Write the findings as JSON.")] = None,
    set_: Set = None,
    every: Annotated[bool, typer.Option("--all", help="List the pairs that are clear, too.")] = False,
) -> None:
    """Judge every pair of parts: what touches, what nearly touches, what is unknown."""
    from elbowroom.model import pipeline
    from elbowroom.model.terminal import bar, summary

    with bar() as progress:
        checked = pipeline.check(file, set_ or (), progress)
    if json is not None:
        from elbowroom.model.writers import json_report

        text = json_report.render(checked.scene, checked.findings)
        if json == "-":
            with _printing():
                sys.stdout.buffer.write(text)
        else:
            from elbowroom.model.writers.atomic import write_file

            write_file(Path(json), text)
    if json != "-":
        with _printing():
            summary(checked.layout.title, checked.findings, checked.layout.interior, every=every)
    raise typer.Exit(_status(checked))


@app.command()
def export(
    file: BuildFile,
    to: Annotated[Path, typer.Option("--to", metavar="DIR", help="Folder to write into.", show_default=False)],
    only: Annotated[str | None, typer.Option("--only", metavar="step,stl,...", help="Only these formats.")] = None,
    set_: Set = None,
) -> None:
    """Write the build as files: step, stl, glb, json, bom, templates; and reach, the room before ports, when named."""
    from elbowroom.model import pipeline
    from elbowroom.model.terminal import bar, summary, written
    from elbowroom.model.writers import chosen, write

    formats = chosen(only)
    with bar() as progress:
        checked = pipeline.check(file, set_ or (), progress)
        spaces = partial(pipeline.reach_solids, checked)
        result = write(
            checked.scene, checked.findings, to, formats, progress, reach=spaces, templates=checked.build.templates
        )
    summary(checked.layout.title, checked.findings, checked.layout.interior)
    written(result)
    raise typer.Exit(_status(checked))


@app.command()
def make(
    to: Annotated[Path, typer.Option("--to", metavar="DIR", help="Folder to write into.", show_default=False)],
    file: Annotated[
        Path | None, typer.Argument(metavar="[FILE]", help="The build file (YAML).", show_default=False)
    ] = None,
    only: Annotated[str | None, typer.Option("--only", metavar="stl,3mf,step", help="Only these formats.")] = None,
    part: Annotated[
        str | None, typer.Option("--part", metavar="SIZE", help="This part alone, by size or family.")
    ] = None,
    set_: Set = None,
) -> None:
    """Write the parts one makes for a printer: those of the build and under its make, or one part alone."""
    from elbowroom.model import making
    from elbowroom.model.terminal import bar, made

    formats = making.chosen(only)
    with bar() as progress:
        result = making.make(file, to, formats, part, set_ or (), progress)
    made(result)
    raise typer.Exit(FAILS if result.fails else FITS)


@app.command()
def demo(
    to: Annotated[Path, typer.Option("--to", metavar="DIR", help="Folder to write into.")] = Path("elbowroom-demo"),
    every: Annotated[bool, typer.Option("--all", help="All shipped demo builds, as planned and as mended.")] = False,
    only: Annotated[str | None, typer.Option("--only", metavar="step,stl,...", help="Only these formats.")] = None,
) -> None:
    """Check a shipped demo build as first planned, then as mended, and export the mended one."""
    from elbowroom.model import demos, pipeline
    from elbowroom.model.terminal import bar, summary, written
    from elbowroom.model.writers import chosen, write

    status, formats = FITS, chosen(only)
    for planned, mended in demos.pairs() if every else demos.pairs()[:1]:
        with bar() as progress:
            before = pipeline.check(planned, (), progress)
        summary(f"{before.layout.title}, as first planned", before.findings, before.layout.interior)
        with bar() as progress:
            after = pipeline.check(mended, (), progress)
            result = write(
                after.scene, after.findings, to / demos.slug(mended), formats, progress, templates=after.build.templates
            )
        summary(f"{after.layout.title}, as mended", after.findings, after.layout.interior)
        written(result)
        status = max(status, _status(after))
    raise typer.Exit(status)


@app.command()
def catalogue(
    family: Annotated[
        str | None, typer.Argument(metavar="[FAMILY]", help="One part family.", show_default=False)
    ] = None,
) -> None:
    """List the part families, or one family's sizes and fields with units, ranges and sources."""
    from elbowroom.model.terminal import families, family_details
    from elbowroom.parts import FAMILIES

    if family is None:
        families()
    elif family in FAMILIES:
        family_details(family)
    else:
        from elbowroom.model.problems import choices, shown

        raise _Refused(f"no part family {shown(family)}{choices(family, FAMILIES, 30)}")


@app.command()
def new(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The build file to write.", show_default=False)],
) -> None:
    """Write a commented starter build that fits, to change into your own."""
    from elbowroom.model import demos
    from elbowroom.model.writers.atomic import write_file

    if file.exists() or file.is_symlink():
        raise _Refused(f"{file} is there already; it is left as it is")
    write_file(file, demos.starter())
    typer.echo(f"wrote {file}; next: elbowroom check {file}")


@app.command()
def schema() -> None:
    """Print the JSON Schema of a build file, for an editor to complete and check by."""
    from json import dumps

    from elbowroom.model.schema import build_schema

    typer.echo(dumps(build_schema(), indent=2, ensure_ascii=False))


class _Refused(Exception):
    """Something asked for on the command line cannot be done; the message says what and why."""


def _status(checked: Any) -> int:
    from elbowroom.model.findings import EXIT_STATUS, overall

    return EXIT_STATUS[overall(checked.findings)]


def main() -> None:
    """Entry point: no fault of the input or the machine ends in a traceback."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a machine set to ASCII must still be able to print ±
            stream.reconfigure(encoding="utf-8", errors="replace")
    status = _guarded(app)
    try:
        sys.stdout.flush()
    except OSError as e:
        status = _unsaid(e, status)
    sys.exit(status)


@contextmanager
def _printing() -> Iterator[None]:
    """Printing an answer that has been found: a reader that has gone (a closed pipe) does not change the answer."""
    try:
        yield
        sys.stdout.flush()
    except BrokenPipeError as e:
        _unsaid(e, FITS)


def _unsaid(fault: OSError, status: int) -> int:
    """The status where the answer could not be printed: its own if its reader has gone, else that of bad input."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # what is still buffered has nowhere to go
    if isinstance(fault, BrokenPipeError):
        return status
    _say(f"cannot print the answer: {fault.strerror or fault}")
    return BAD_INPUT


def _guarded(run: Callable[[], None]) -> int:
    from elbowroom.model.problems import BuildError, InputError

    try:
        run()
    except SystemExit as e:
        return e.code if isinstance(e.code, int) else BAD_INPUT
    except BuildError as e:
        n = len(e.problems)
        _say(f"{e}\n{n} problem{'s' if n != 1 else ''} in the input; nothing was checked or written")
    except (InputError, _Refused) as e:
        _say(_missing_library(str(e)) or str(e))
    except OSError as e:
        return _unsaid(e, BAD_INPUT)
    except ImportError as e:
        told = _missing_library(str(e))
        if told is None:
            raise
        _say(told)
    except KeyboardInterrupt:
        _say("stopped; nothing was half-written")
        return 130
    except MemoryError:
        _say("not enough memory for this build")
    return BAD_INPUT


def _missing_library(text: str) -> str | None:
    """What to install, where `text` is the dynamic linker's complaint about a library; None where it is not."""
    found = re.search(r"(lib[\w.+-]+\.so[.\d]*): cannot open shared object file", text)
    if found is None:
        return None
    package = "libgl1" if found[1].startswith("libGL.") else f"the package that holds {found[1]}"
    return (
        f"the geometry kernel needs the system library {found[1]}, which is not installed.\n"
        f"On Debian, as root: apt-get install -y --no-install-recommends {package}"
    )


def _say(text: str) -> None:
    print(text, file=sys.stderr)
