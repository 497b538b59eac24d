"""The command line: wires the stages together and turns results into text, files and an exit status.

Owns the commands and their options. Decides nothing about builds; how faults are told and what becomes of the exit
status is `answering`'s. Heavy modules load inside the commands, so that `--help` and a refused file answer at once.
"""

from __future__ import annotations

import sys
from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer

from elbowroom.model.build.problems import InputError, choices, quoted, shown
from elbowroom.model.command.answering import FAILS, FITS, UNDECIDED, answer, working
from elbowroom.model.store import Store

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
    raise typer.Exit(_status(checked))


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
    raise typer.Exit(_status(checked))


@app.command()
def view(
    file: BuildFile,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the page, or only print its address.")
    ] = True,
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Of the address; 0: any that is free.")] = 0,
) -> None:
    """Look at the build in a browser while you work on it: checked at each save, numbers to change on the page.

    Nothing is written before you ask for it there. Ctrl-C ends it, with exit status 0.
    """
    from elbowroom.model.command.answering import waiting
    from elbowroom.model.command.supervise import say
    from elbowroom.model.view import desk, run

    def said(address: str) -> None:
        typer.echo(address)
        typer.echo(f"{quoted(file)} is checked at each save, and at each number changed on the page. Ctrl-C ends it.")
        sys.stdout.flush()

    waiting()
    try:
        left = run.view(file, browser=browser, port=port, said=said)
    except OSError as e:
        raise InputError(f"cannot serve the page at port {port}: {e.strerror or e}") from None
    if left:
        say(desk.unsaved(left))


@app.command()
def steps(
    file: BuildFile,
    service: Annotated[
        str | None, typer.Option("--service", metavar="PART", help="What must come out to get at this part.")
    ] = None,
    json: Annotated[str | None, typer.Option("--json", metavar="FILE|-", help="Write the steps as JSON.")] = None,
    set_: Set = None,
) -> None:
    """Say in which order the build goes together: what goes in from where, past what, and which screws are driven then.

    Every step was played again and found free. Exit status 0 where all has its step, 1 where something cannot go in or
    runs into another part where it stands, 3 where it cannot be said how something goes in.
    """
    from elbowroom.model import pipeline

    if json == "":
        raise InputError("--json names no file; - is standard output")
    store = Store.default()
    with working() as progress:
        stands = pipeline.standing(file, store, set_ or (), progress)
        made = pipeline.assembled(stands, store)
        from elbowroom.model.insertion.telling import Telling, freed

        telling = Telling(made)
        if service is not None:
            known = made.building.items.parts
            if service not in known:
                raise InputError(f"no part {shown(service)}{choices(service, known, 30)}")
            lines = list(telling.service(service, freed(made.building, service)))
        else:
            lines = list(telling.lines())
    if json is not None:
        text = telling.rendered()
        if json == "-":
            sys.stdout.buffer.write(text)
        else:
            from elbowroom.model.writers.atomic import write_file

            write_file(Path(json), text)
    if json != "-":
        for line in lines:
            typer.echo(line)
    failed = made.plan.impossible or made.clashes
    raise typer.Exit(FAILS if failed else FITS if made.plan.complete else UNDECIDED)


@app.command()
def picture(
    file: BuildFile,
    to: Annotated[
        Path,
        typer.Option("--to", metavar="DIR|FILE", help="Folder to write into, or one .svg or .png.", show_default=False),
    ],
    finding: Annotated[
        str | None, typer.Option("--finding", metavar="NUMBER|ID", help="Of this finding of check's list.")
    ] = None,
    piece: Annotated[str | None, typer.Option("--piece", metavar="NAME", help="Of this piece in its place.")] = None,
    view: Annotated[
        str | None, typer.Option("--view", metavar="VIEW", help="open, tray, front, rear, roof, floor or corner.")
    ] = None,
    exploded: Annotated[bool, typer.Option("--exploded", help="Pulled apart, numbered as the parts list.")] = False,
    set_: Set = None,
) -> None:
    """Draw one picture, as SVG and PNG: a section through what a finding is about, a piece in its place, a view.

    Exit status 0 where it is drawn, whatever the build's verdict.
    """
    from elbowroom.model import pictures, pipeline
    from elbowroom.model.command.drawing import put_pictures

    asked = [w for w in (finding, piece, view, exploded or None) if w is not None]
    if len(asked) != 1:
        raise InputError("name one thing to draw: --finding ID, --piece NAME, --view VIEW or --exploded")
    if view is not None:
        pictures.view_named(view)
    store = Store.default()
    with working() as progress:
        checked = pipeline.check(file, store, set_ or (), progress)
        if finding is not None:
            found = pictures.of_finding(checked, finding)
        elif piece is not None:
            found = pictures.of_piece(checked, piece)
        elif view is not None:
            found = pictures.of_view(checked, view)
        else:
            found = pictures.of_parts(checked, store)
    put_pictures([found], to)


@app.command()
def report(
    file: BuildFile,
    to: Annotated[
        Path,
        typer.Option("--to", metavar="DIR|FILE", help="Folder, or one .html or .pdf.", show_default=False),
    ],
    set_: Set = None,
) -> None:
    """Write a report to print, as HTML and PDF: findings with pictures, what to buy, cut and drill, what is assumed."""
    from elbowroom.model import pipeline
    from elbowroom.model import report as reports
    from elbowroom.model.command.drawing import put
    from elbowroom.model.command.terminal import drawn

    kind, store = to.suffix.lower().removeprefix("."), Store.default()
    kinds = [kind] if kind in reports.FORMATS else reports.FORMATS
    with working() as progress:
        checked = pipeline.check(file, store, set_ or (), progress)
        paths = put(reports.files(checked, store, kinds, progress), to, [f".{k}" for k in reports.FORMATS])
    drawn(checked.layout.title, paths)
    raise typer.Exit(_status(checked))


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
        status = max(status, _status(after))
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
def describe(
    file: BuildFile,
    piece: Annotated[str, typer.Argument(metavar="PIECE", help="A piece of the build, e.g. card.", show_default=False)],
    set_: Set = None,
) -> None:
    """Tell all about one piece: size, place, fields and what they rest on, its names with what is on each, findings."""
    from elbowroom.model import pipeline
    from elbowroom.model.command.describing import describe as told
    from elbowroom.model.command.screen import answers

    with working() as progress:
        checked = pipeline.check(file, Store.default(), set_ or (), progress)
    found = {p.name: p for p in checked.layout.pieces}
    if piece not in found:
        raise InputError(f"no part {shown(piece)}{choices(piece, found, 30)}")
    told(answers(), checked, found[piece])


@app.command("air")
def air_(file: BuildFile, set_: Set = None) -> None:
    """Tell which way the air goes: a table of the openings, each radiator's air, in against out, and the heat."""
    from elbowroom.model import pipeline
    from elbowroom.model.command.airing import tell
    from elbowroom.model.command.screen import answers

    with working() as progress:
        store = Store.default()
        findings = pipeline.air_of(pipeline.read(file, store, set_ or (), progress), store, progress)
    tell(answers(), findings)


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


def _status(checked: Any) -> int:
    from elbowroom.model.told.findings import EXIT_STATUS, overall

    return EXIT_STATUS[overall(checked.findings)]


def main() -> None:
    """Entry point: answer what the command line asks, and exit with the answer's status."""
    sys.exit(answer(app))


if __name__ == "__main__":
    main()
