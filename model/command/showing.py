"""The commands that show a build: the page, the steps it goes together by, pictures, the report, a piece, the air.

Owns these and their options, as `cli` owns the others. Heavy modules load inside them.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from elbowroom.model.build.problems import InputError, choices, quoted, shown
from elbowroom.model.command.answering import FAILS, FITS, UNDECIDED, working
from elbowroom.model.command.words import BuildFile, Set, app, status_of
from elbowroom.model.store import Store


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
        from elbowroom.model.insertion.plan import freed
        from elbowroom.model.insertion.telling import Telling
        from elbowroom.model.insertion.written import rendered

        telling = Telling(made)
        if service is not None:
            known = made.building.items.parts
            if service not in known:
                raise InputError(f"no part {shown(service)}{choices(service, known, 30)}")
            lines = list(telling.service(service, freed(made.building, service)))
        else:
            lines = list(telling.lines())
    if json is not None:
        text = rendered(telling)
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
    raise typer.Exit(status_of(checked))


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
