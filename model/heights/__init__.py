"""Heights left open: `height: fit` on a riser and `lift: fit` on the part it carries, solved from what stands around.

`words` reads what the build asks for and puts numbers in its place; `tying` finds which risers carry which part;
`moved` stands the parts at any height, `stages` puts screws and fittings on them; `nearing` tells which bodies come
near each other, `ranges` and `limits` at which heights each pair of them is at fault; `looking` is one search over a
range, `missing` says how much room is missing where nothing fits; `solving` chooses, `bearing_out` has the whole check
agree, `telling` says it as a finding, `keeping` keeps it. Only `words` is loaded for a build that leaves no height
open, and no kernel for an answer that was kept. Owns `settled`, which joins them.
"""

from __future__ import annotations

from elbowroom.model.build.faults import Faults
from elbowroom.model.build.problems import BuildError
from elbowroom.model.build.resolve import load
from elbowroom.model.build.source import Document
from elbowroom.model.heights.words import wishes_of, with_numbers
from elbowroom.model.layout.place import place
from elbowroom.model.store import Store
from elbowroom.model.told.findings import Finding
from elbowroom.model.told.progress import Progress


def settled(document: Document, store: Store, progress: Progress | None = None) -> tuple[Document, list[Finding]]:
    """The document with a number wherever a height was left open, and a finding about each; as it is where none was.

    Raises BuildError with every fault of the input, those of the rest of the build included.
    """
    faults = Faults(document)
    wishes = wishes_of(document, faults)
    if not (wishes.heights or wishes.lifts or faults):
        return document, []
    told = {p.path[:n] for p in faults for n in range(3, len(p.path) + 1)}  # what holds a fault is one by itself, too
    try:
        build = load(with_numbers(document, wishes.trial()))
        if faults:
            place(build)
    except BuildError as e:
        raise BuildError([*faults, *(p for p in e.problems if p.path not in told)]) from None
    faults.stop()
    from elbowroom.model.heights.keeping import keep, key_of, recalled

    key = key_of(document, wishes, build, float(build.printer.layer))
    kept = recalled(store, key)
    if kept is None:
        from elbowroom.model.heights.solving import solve

        kept = solve(document, wishes, build, store, progress)
        keep(store, key, *kept)
    numbers, findings = kept
    return with_numbers(document, numbers), findings
