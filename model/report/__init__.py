"""The report on a build, to print: at a glance, each finding with its picture, what to buy, cut, drill and print.

Owns which parts it has. What they say is `content`'s, how they look on paper `page`'s (HTML) and `paper`'s (PDF). Its
facts are those of the JSON.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

from elbowroom.model.pipeline import Checked
from elbowroom.model.report.content import content
from elbowroom.model.store import Store
from elbowroom.model.told.progress import Progress

FORMATS = ("html", "pdf")


def files(
    checked: Checked, store: Store, wanted: Collection[str] = FORMATS, progress: Progress | None = None
) -> Iterator[tuple[str, bytes]]:
    """`report.html` and `report.pdf`, those of them that are wanted."""
    from elbowroom.model.report import page, paper

    told = content(checked, store, progress)
    if "html" in wanted:
        yield "report.html", page.write(told)
    if "pdf" in wanted:
        yield "report.pdf", paper.write(told)


__all__ = ["FORMATS", "files"]
