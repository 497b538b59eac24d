"""Pictures and pages put where a command is told to: into a folder, or one of them into a file of its own.

Owns that choice, for `picture`, `report` and the pictures of the catalogue. What they show is theirs.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from pathlib import Path

from elbowroom.model.build.problems import InputError, choices, quoted, shown
from elbowroom.model.command.answering import working
from elbowroom.model.command.terminal import drawn
from elbowroom.model.pictures import Picture, both, family
from elbowroom.model.store import Store
from elbowroom.model.writers.atomic import Staging, write_file
from elbowroom.parts.families import FAMILIES, WORDS, families_of

DRAWN = (".svg", ".png")
OTHERS = (".jpg", ".jpeg", ".gif", ".webp", ".bmp", ".pdf")  # what people ask for as one picture, too


def put(found: Iterable[tuple[str, bytes]], to: Path, kinds: Collection[str]) -> list[Path]:
    """Files by their names put into a folder, or where `to` ends like one of `kinds` the one of that kind into it.

    Raises InputError where more than one would go into one file.
    """
    kind = to.suffix.lower()
    if kind not in kinds:
        with Staging(to):  # a folder that cannot be written into is told before the work
            pass
        made = list(found)
        with Staging(to) as staging:
            for name, content in made:
                staging.add(name, content)
            return staging.commit()
    alike = [content for name, content in found if name.endswith(kind)]
    if len(alike) != 1:
        raise InputError(f"{quoted(to)} is one file, and there are {len(alike)} pictures: name a folder")
    write_file(to, alike[0])
    return [to]


def put_pictures(found: Sequence[Picture], to: Path) -> None:
    """Pictures, as SVG and PNG, or one of them into the file of that name; told by their titles."""
    if to.suffix.lower() in OTHERS:
        raise InputError(f"{quoted(to)}: a picture is written as .svg or .png")
    paths = put(both(found), to, DRAWN)
    for p in found:
        drawn(p.title, [q for q in paths if q == to or q.stem == p.name])


def draw_catalogue(word: str | None, to: Path) -> None:
    """Pictures of what a word of the catalogue means; of every family where there is none."""
    with working() as progress:
        store, found = Store.default(), []
        asked = list(FAMILIES) if word is None else [word]
        for i, one in enumerate(asked):
            progress(i, len(asked), f"drawing {one}")
            made = family.picture(one, store)
            if made is not None:
                found.append(made)
            elif word is not None:
                raise InputError(f"there is no size of {shown(word)} to draw: the build states all of it")
    put_pictures(found, to)


def page_of_catalogue(word: str | None, to: Path) -> None:
    """The catalogue, or the families that a word of it means, as one HTML page."""
    from elbowroom.model.report.catalogued import page

    meant = list(FAMILIES) if word is None else [word] if word in FAMILIES else families_of(word)
    if word is not None and not meant:
        raise InputError(f"no part family {shown(word)}{choices(word, (*FAMILIES, *WORDS), 60)}")
    with working() as progress:
        content = page(meant, Store.default(), progress)
    write_file(to, content)
    drawn("catalogue", [to])
