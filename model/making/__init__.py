"""From a build, or one part alone, to files a printer takes: STL, beds as 3MF, STEP, and a sheet that says how.

Owns the order of the work and the choice of files. What is made is gathered by `orders`, drawn like every other part,
judged by `printable` and `advice`, arranged by `bed`, and told by `told`; files go in place all together or not at all.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from elbowroom.model.build.problems import InputError, picked, quoted
from elbowroom.model.told.progress import Progress

if TYPE_CHECKING:
    from elbowroom.model.build.make_spec import PrinterSpec
    from elbowroom.model.making.mesh import Skin
    from elbowroom.model.making.orders import Order
    from elbowroom.model.making.verdict import Verdict
    from elbowroom.model.store import Store
    from elbowroom.model.writers.job import Job

FORMATS = ("stl", "3mf", "step")
SHEET = "making.txt"


@dataclass(frozen=True, slots=True, eq=False)
class Made:
    """What was made: each order with its skin and verdicts, the files, and what must be told."""

    title: str
    parts: list[tuple[Order, Skin, list[Verdict]]]
    paths: list[Path]
    notes: list[str] = field(default_factory=list)
    replaced: frozenset[Path] = frozenset()

    @property
    def fails(self) -> bool:
        """Whether a part cannot be printed as it is."""
        return any(v.verdict == "fail" for _, _, verdicts in self.parts for v in verdicts)


def chosen(only: str | None) -> tuple[str, ...]:
    """The formats a comma-separated list names, in our order; all where None. Raises InputError."""
    return FORMATS if only is None else picked(only.split(","), FORMATS)


def make(
    file: Path | None,
    folder: Path,
    only: Collection[str] = FORMATS,
    part: str | None = None,
    overrides: Sequence[str] = (),
    progress: Progress | None = None,
    *,
    store: Store,
) -> Made:
    """Write what the build in `file` has to make, or `part` alone (a size or family), into `folder`.

    overrides: `path=value` in the build, or of the part's own fields where `part` is named. Raises BuildError or
    InputError where the input cannot be used, OutputError where the files cannot be written.
    """
    from elbowroom.model import pipeline
    from elbowroom.model.making.adapters import adapters
    from elbowroom.model.making.asked import asked
    from elbowroom.model.making.orders import gathered
    from elbowroom.model.making.standing import standing

    found = asked(file, part, overrides, store, progress)
    placed, build = found.placed, found.placed.build
    orders = gathered(placed.layout, build.make, build.printer)
    screwed = None if build.case is None else pipeline.fastened(placed, store, progress)
    orders = [replace(o, stands=tuple(standing(o, placed.layout, found.heights, screwed))) for o in orders]
    if screwed is not None:
        orders += adapters(screwed, store, [o.label for o in orders])
    if not orders:
        raise InputError(
            f"{quoted(file)}: nothing to make: no part of the build is printed, and nothing stands under make; "
            "name one there, or with --part"
        )
    return write(build.title, orders, build.printer, folder, only, progress, store=store)


def write(
    title: str,
    orders: Sequence[Order],
    printer: PrinterSpec,
    folder: Path,
    only: Collection[str] = FORMATS,
    progress: Progress | None = None,
    *,
    store: Store,
) -> Made:
    """Draw, judge and write the orders; all files or none."""
    from elbowroom.model.making import bed, told
    from elbowroom.model.making.advice import judged
    from elbowroom.model.making.coupon import LABEL, coupon_for
    from elbowroom.model.making.drawn import exact_step, job_of, shapes_of, skins
    from elbowroom.model.making.files import left_over, refuse_others
    from elbowroom.model.making.printable import judge
    from elbowroom.model.making.threemf import bed_file
    from elbowroom.model.writers.atomic import Staging
    from elbowroom.model.writers.stl import encoded

    coupon = coupon_for(orders, printer)
    orders = orders if coupon is None else [*orders, coupon]
    job: Job = job_of(title, orders, store, progress, designed="step" in only)
    shapes, made = shapes_of(job), []
    for i, (order, skin) in enumerate(zip(orders, skins(orders, job, shapes), strict=True)):
        if progress:
            progress(i + 1, len(orders), "judging what is printed")
        verdicts = [*judge(order.drawn, order.pose, skin, printer, order.bodies), judged(order.need, printer)]
        made.append((order, skin, verdicts))
    files: dict[str, bytes] = {}
    notes: list[str] = []
    if "stl" in only:
        files |= {f"print/{order.label}.stl": encoded(skin.vertices, skin.triangles) for order, skin, _ in made}
    if "3mf" in only:
        named = [(order.label, skin) for order, skin, _ in made]
        counts = [(skin, 0 if order is coupon else order.count) for order, skin, _ in made]
        laid = bed.arranged(counts, printer)
        for n, items in enumerate(laid, 1):
            files[f"print/bed-{n}.3mf"] = bed_file(f"{title}, bed {n} of {len(laid)}", named, items)
        if coupon is not None:  # by itself: it is printed first, and what it shows changes the rest
            for items in bed.arranged([(skin, 1 if order is coupon else 0) for order, skin, _ in made], printer):
                files[f"print/{LABEL}.3mf"] = bed_file(f"{title}, fit coupon", named, items)
                laid = [*laid, items]
        on = {item.index for items in laid for item in items}
        notes += [f"{o.label} does not fit the bed and is on none" for i, (o, *_) in enumerate(made) if i not in on]
    if "step" in only:
        for order, _, _ in made:
            files[f"step/{order.label}.step"] = exact_step(order, job, shapes)
    files |= {f"layers/{order.label}.yaml": order.entry.encode() for order, _, _ in made if order.entry}
    names = [*files, SHEET]
    refuse_others(folder, names)
    notes += [f"{name} is from an earlier run; it is left as it is" for name in left_over(folder, names)]
    files[SHEET] = told.text(title, printer, made, names, notes)
    with Staging(folder) as staging:
        for name, content in files.items():
            staging.add(name, content)
        paths = staging.commit()
    return Made(title, made, paths, notes, staging.replaced)
