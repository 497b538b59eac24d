"""The command line: wires the stages together and turns results into text, files and an exit status.

Owns the commands and their options, but for those that show a build (`showing`). Decides nothing about builds; how
faults are told and what becomes of the exit status is `answering`'s. Heavy modules load inside the commands, so that
`--help` and a refused file answer at once.
"""

from __future__ import annotations

import sys
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from elbowroom.model.build.problems import InputError, choices, quoted, shown
from elbowroom.model.command.answering import FAILS, FITS, answer, working
from elbowroom.model.command.words import BuildFile, Set, app, status_of
from elbowroom.model.store import Store


@app.command()
def check(
    file: BuildFile,
    json: Annotated[str | None, typer.Option("--json", metavar="FILE|-", help="Write the findings as JSON.")] = None,
    set_: Set = None,
    every: Annotated[
        bool, typer.Option("--all", help="List every finding: what is clear or passes, and what follows from others.")
    ] = False,
) -> None:
    """Say whether the build fits: parts that meet or stand too near, ports, tubes, holes, screws, air and coolant."""
    if json == "":
        raise InputError("--json names no file; - is standard output")
    with working() as progress:
        from elbowroom.model import pipeline

        store = Store.default()
        checked = pipeline.check(file, store, set_ or (), progress, progress.early)
    from elbowroom.model.command.verdicts import summary

    if json is not None:
        from elbowroom.model.writers import json_report

        text = json_report.render(checked.scene, checked.findings)
        if json == "-":
            sys.stdout.buffer.write(text)
        else:
            from elbowroom.model.writers.atomic import write_file

            write_file(Path(json), text)
    if json != "-":
        summary(checked.layout.title, checked.findings, checked.layout, every=every)
    raise typer.Exit(status_of(checked))


@app.command()
def explain(
    file: BuildFile,
    what: Annotated[
        str, typer.Argument(metavar="NUMBER|ID|PART", help="A finding of check's list, or a part.", show_default=False)
    ],
    set_: Set = None,
) -> None:
    """Say all there is to one finding, or to all about one part: its numbers, what they rest on, what would help.

    Exit status 0 where there is something to say, whatever the build's verdict.
    """
    with working() as progress:
        from elbowroom.model import pipeline

        checked = pipeline.check(file, Store.default(), set_ or (), progress)
    from elbowroom.model.command.verdicts import explain

    explain(checked.findings, checked.layout, what)


@app.command()
def export(
    file: BuildFile,
    to: Annotated[Path, typer.Option("--to", metavar="DIR", help="Folder to write into.", show_default=False)],
    only: Annotated[str | None, typer.Option("--only", metavar="step,stl,...", help="Only these formats.")] = None,
    set_: Set = None,
    detailed: Annotated[
        bool, typer.Option("--detailed", help="STEP with blades, fins and plugs, as GLB has them; larger and slower.")
    ] = False,
) -> None:
    """Write the build as files: step, stl, glb, json, bom, templates, pictures, and html, a page to look at; when named
    reach, the room before each port, and steps, the order of building.
    """
    from elbowroom.model import pictures, pipeline
    from elbowroom.model.command.terminal import written
    from elbowroom.model.command.verdicts import summary
    from elbowroom.model.writers import chosen, write

    store, formats = Store.default(), chosen(only)
    with working() as progress:
        checked = pipeline.check(file, store, set_ or (), progress)
        spaces = partial(pipeline.reach_solids, checked, store)
        result = write(
            checked.scene, checked.findings, to, formats, progress, store=store, reach=spaces,
            pictures=partial(pictures.files, checked, store, progress), templates=checked.build.templates,
            steps=partial(pipeline.steps, checked.plumbed, store), detailed=detailed,
        )  # fmt: skip
    written(result)
    summary(checked.layout.title, checked.findings, checked.layout)
    raise typer.Exit(status_of(checked))


@app.command()
def make(
    to: Annotated[Path, typer.Option("--to", metavar="DIR", help="Folder to write into.", show_default=False)],
    file: Annotated[
        Path | None, typer.Argument(metavar="[FILE]", help="The build file (YAML).", show_default=False)
    ] = None,
    only: Annotated[str | None, typer.Option("--only", metavar="stl,3mf,step", help="Only these formats.")] = None,
    part: Annotated[
        str | None, typer.Option("--part", metavar="SIZE", help="This part alone: a catalogue size, or a family.")
    ] = None,
    set_: Set = None,
) -> None:
    """Write the parts you print: those of the build and those under its make, or one part alone.

    With --part, --set changes a field of that part (height=22); else it changes the build, as for check.
    """
    from elbowroom.model import making
    from elbowroom.model.command.terminal import made

    formats = making.chosen(only)
    with working() as progress:
        result = making.make(file, to, formats, part, set_ or (), progress, store=Store.default())
    made(result)
    raise typer.Exit(FAILS if result.fails else FITS)


@app.command()
def demo(
    to: Annotated[Path, typer.Option("--to", metavar="DIR", help="Folder to write into.")] = Path("elbowroom-demo"),
    every: Annotated[bool, typer.Option("--all", help="All shipped demo builds, as planned and as mended.")] = False,
    only: Annotated[str | None, typer.Option("--only", metavar="step,stl,...", help="Only these formats.")] = None,
) -> None:
    """Check a shipped demo build as first planned, then as mended, and export the mended one."""
    from elbowroom.model import demos, pictures, pipeline
    from elbowroom.model.command.terminal import written
    from elbowroom.model.command.verdicts import summary
    from elbowroom.model.writers import chosen, write

    status, store, formats = FITS, Store.default(), chosen(only)
    for planned, mended in demos.pairs() if every else demos.pairs()[:1]:
        with working() as progress:
            before = pipeline.check(planned, store, (), progress)
        summary(f"{before.layout.title}, as first planned", before.findings, before.layout)
        with working() as progress:
            after = pipeline.check(mended, store, (), progress)
            result = write(
                after.scene,
                after.findings,
                to / demos.slug(mended),
                formats,
                progress,
                store=store,
                reach=partial(pipeline.reach_solids, after, store),
                pictures=partial(pictures.files, after, store, progress),
                templates=after.build.templates,
            )  # fmt: skip
        written(result)
        summary(f"{after.layout.title}, as mended", after.findings, after.layout)
        status = max(status, status_of(after))
    raise typer.Exit(status)


@app.command()
def catalogue(
    family: Annotated[
        str | None,
        typer.Argument(
            metavar="[FAMILY|SIZE]", help="One kind of part, e.g. radiator, or one size of it.", show_default=False
        ),
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option(
            "--picture", metavar="DIR|FILE", help="Draw it with its names: into a folder, or one .svg or .png."
        ),
    ] = None,
    page: Annotated[
        Path | None, typer.Option("--page", metavar="FILE", help="Write it as one HTML page with pictures.")
    ] = None,
) -> None:
    """List the kinds of parts, or the sizes, fields and names of one kind with units, ranges and sources.

    Names are what a build file writes after a piece's own: card.in, radiator.a, case.rear-slot-4.
    """
    from elbowroom.model.command.terminal import families, family_details
    from elbowroom.parts.catalogue import family_of
    from elbowroom.parts.families import FAMILIES, WORDS, families_of

    if picture is not None:
        from elbowroom.model.command.drawing import draw_catalogue

        draw_catalogue(family, picture)
    elif page is not None:
        from elbowroom.model.command.drawing import page_of_catalogue

        page_of_catalogue(family, page)
    elif family is None:
        families()
    elif family in FAMILIES:
        family_details(family)
    elif (of := family_of(family)) is not None:
        family_details(of, family)
    elif meant := families_of(family):
        for name in meant:
            family_details(name)
            typer.echo()
    else:
        raise InputError(f"no part family {shown(family)}{choices(family, (*FAMILIES, *WORDS), 60)}")


@app.command()
def new(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The build file to write.", show_default=False)],
) -> None:
    """Write a commented starter build that fits, to change into your own."""
    from elbowroom.model import demos
    from elbowroom.model.writers.atomic import write_file

    if file.exists() or file.is_symlink():
        raise InputError(f"{quoted(file)} is there already; it is left as it is")
    write_file(file, demos.starter())
    typer.echo(f"wrote {quoted(file)}; next: elbowroom check {quoted(file)}")


@app.command()
def schema() -> None:
    """Print the JSON Schema of a build file, for an editor to complete and check by."""
    from elbowroom.model.schema import text

    typer.echo(text())


from elbowroom.model.command import showing as showing  # noqa: E402  its commands come after these in the help


def main() -> None:
    """Entry point: answer what the command line asks, and exit with the answer's status."""
    sys.exit(answer(app))


if __name__ == "__main__":
    main()
